"""Railheads along the rail, and vertical curves."""
