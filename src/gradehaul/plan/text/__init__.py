"""The plan as text: its files, what no TOML parser can read, and faults by file and line."""
