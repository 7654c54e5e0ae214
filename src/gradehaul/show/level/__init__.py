"""Leveling, in text and pictures."""
