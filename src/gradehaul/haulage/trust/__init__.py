"""Trust: how far an answer can be relied on, from random trials of every figure that is unsure."""
