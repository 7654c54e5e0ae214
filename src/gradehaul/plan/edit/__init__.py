"""Changing a person's plan file, with everything else as they wrote it."""
