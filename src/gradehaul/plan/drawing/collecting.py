"""Python's search for cycles of garbage, put off while a drawing is read, which makes many objects and few cycles."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def uncollected() -> Iterator[None]:
    """Put the search off while the block runs: it would look through all that was read so far, again and again.

    Examples
    --------
    >>> with uncollected():
    ...     gc.isenabled()
    False
    """
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if before:
            gc.enable()
