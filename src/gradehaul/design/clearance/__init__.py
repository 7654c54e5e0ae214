"""Clearances between tracks, and the shape of single tracks, by the standards."""
