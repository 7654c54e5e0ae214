"""Helix and incline: a climb that is not built yet."""
