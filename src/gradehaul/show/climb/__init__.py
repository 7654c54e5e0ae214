"""Helix and incline, in text and charts."""
