"""Quiet standard output: what a library prints there by itself is held aside from the answer."""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

_STDOUT = 1


@contextmanager
def quietly() -> Iterator[None]:
    """Throw away what compiled code writes to standard output, descriptor 1, while it works.

    The solvers of scipy's HiGHS print a line of their own on some problems, even where asked not to. What other threads
    write to standard output at that time is lost, too.

    Examples
    --------
    >>> with quietly():
    ...     _ = os.write(1, b"a line of the library's own")
    """
    _flush()
    try:
        kept = os.dup(_STDOUT)
    except OSError:  # closed: nothing can get there
        yield
        return
    try:
        with Path(os.devnull).open("wb") as nowhere:
            os.dup2(nowhere.fileno(), _STDOUT)
        try:
            yield
        finally:
            _flush()  # what the library has written but its buffer still holds
            os.dup2(kept, _STDOUT)
    finally:
        os.close(kept)


def _flush() -> None:
    """Write out what Python's and the C library's buffers of standard output hold."""
    with suppress(AttributeError, ValueError, OSError):  # no such stream, closed, or a pipe without a reader
        sys.stdout.flush()
    with suppress(AttributeError, OSError):
        (ctypes.cdll.ucrtbase if sys.platform == "win32" else ctypes.CDLL(None)).fflush(None)
