"""The plan view: its picture and its numbers."""
