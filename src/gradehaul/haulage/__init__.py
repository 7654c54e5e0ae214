"""Haulage: what each route needs of a train, what its locomotives can pull, and so which trains climb."""
