"""Risers: the posts that carry a deck, where each stands, how high, and what a strip of paper shows of them."""
