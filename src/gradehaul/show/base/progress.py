"""Progress of long work, on a terminal only."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from rich.progress import Progress

PATIENCE = 1.0
"""Seconds of work before anything shows."""


@contextmanager
def progress_on(
    stream: TextIO | None, words: str, *, clock: Callable[[], float] = time.monotonic
) -> Iterator[Callable[[int, int], None] | None]:
    """Yield the function to call with how many parts of the work are done, and of how many; None where nothing shows.

    Parameters
    ----------
    stream
        Where progress shows, if it is a terminal.
    words
        What the work is.
    clock
        Returns the time, s.
    """
    if stream is None or not stream.isatty():
        yield None
        return
    begun = clock()
    shown: list[Progress] = []

    def tell(done: int, total: int) -> None:
        if not shown:
            if clock() - begun < PATIENCE or done >= total:
                return
            shown.append(_bar(stream, words))
        shown[0].update(shown[0].task_ids[0], completed=done, total=total)

    try:
        yield tell
    finally:
        for bar in shown:
            bar.stop()


def _bar(stream: TextIO | None, words: str) -> Progress:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn()
    bar = Progress(*columns, console=Console(file=stream), transient=True)
    bar.add_task(words, total=None)
    bar.start()
    return bar
