"""Network: the movement graph and the routes on it."""
