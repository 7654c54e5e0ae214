"""Risers for a person: as text, as a table, as a cut list and as a strip to print at full size."""
