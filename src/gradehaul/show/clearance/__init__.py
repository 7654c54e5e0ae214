"""Clearances, in text."""
