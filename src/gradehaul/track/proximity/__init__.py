"""Tracks near one another: clear lengths, and the spacing they need."""
