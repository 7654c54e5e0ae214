"""Haulage: what each route asks of a train, what its locomotives give, and so which trains climb."""
