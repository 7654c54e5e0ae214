"""The main check: its text, table, document and load cards."""
