"""Clearances, in text and pictures."""
