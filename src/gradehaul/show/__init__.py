"""Show: how answers look; no computation."""
