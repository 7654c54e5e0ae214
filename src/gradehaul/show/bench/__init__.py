"""The bench: readings, and the sheet to fill."""
