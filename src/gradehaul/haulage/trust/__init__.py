"""Trust: how far an answer can be relied on, from draws of every figure that is unsure."""
