"""The long section: its picture and its numbers."""
