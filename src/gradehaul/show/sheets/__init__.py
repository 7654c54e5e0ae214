"""Sheets to print and take along: forms, and lengths as a rule shows them."""
