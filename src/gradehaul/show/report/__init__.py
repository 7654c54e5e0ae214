"""The page: one HTML file with everything in it."""
