"""Output of answers, errors and progress: printed, written whole or not at all, shown in a viewer."""

from __future__ import annotations

import os
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import click

if TYPE_CHECKING:
    from rich.progress import Progress

    from gradehaul.show.base.page import Page


def laid_out(page: Page, *, to_file: bool) -> str:
    """Return a page as text: as wide as the terminal and in color where it is shown on one.

    With FORCE_COLOR it is in color in a pipe too; NO_COLOR goes first.
    """
    terminal = not to_file and sys.stdout is not None and sys.stdout.isatty()
    wanted = (terminal and os.environ.get("TERM") != "dumb") or (not to_file and bool(os.environ.get("FORCE_COLOR")))
    color = wanted and not os.environ.get("NO_COLOR")
    return page.text(width=shutil.get_terminal_size().columns, color=color) if terminal else page.text(color=color)


def deliver(answer: str | bytes, output: str | None, *, open_it: bool = False, said: bool = False) -> None:
    """Print an answer, or write it to a file whole or not at all, and open that in the system's viewer where wanted.

    That a file is written is said on standard error, with its size, unless the answer itself has `said` so.
    """
    if output is not None and output != "-":
        from gradehaul.show.base.whole_file import write_whole

        data = answer.encode("utf-8") if isinstance(answer, str) else answer
        write_whole(output, data)
        if not said:
            complain(f"{output}: written, {_size(len(data))}")
        if open_it and click.launch(str(Path(output).absolute())) != 0:
            complain(f"{output}: written, but no viewer could be started for it")
        return
    if sys.stdout is None:  # closed by whoever started us: nobody listens
        return
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    try:
        click.echo(answer.encode(encoding, "replace") if isinstance(answer, str) else answer, nl=False)
    except BrokenPipeError:  # the reader has seen enough, as `| head` has
        _silence_output()
    except OSError as error:
        _silence_output()
        raise OSError(error.errno, f"cannot be written: {error.strerror or error}", "standard output") from error


def _size(count: int) -> str:
    """Return the size of a file."""
    if count < 1000:
        return f"{count} bytes"
    return f"{count / 1000:.0f} kB" if count < 1_000_000 else f"{count / 1_000_000:.1f} MB"


def _silence_output() -> None:
    """Send what is still held for standard output nowhere, so that the interpreter does not fail on it at its end."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def complain(lines: str) -> None:
    """Print lines on standard error, with nothing in them that a terminal would obey."""
    plain = "".join(sign if sign.isprintable() or sign == "\n" else "\N{REPLACEMENT CHARACTER}" for sign in lines)
    with suppress(OSError):
        click.echo(plain, err=True)


PATIENCE = 1.0
"""Seconds of work before anything shows."""


@contextmanager
def progress_on(
    stream: TextIO | None, *, clock: Callable[[], float] = time.monotonic
) -> Iterator[Callable[[int, int], None] | None]:
    """Yield the function to call with how many parts of the work are done, and of how many; None off a terminal."""
    if stream is None or not stream.isatty():
        yield None
        return
    begun = clock()
    shown: list[Progress] = []

    def show(done: int, total: int) -> None:
        if not shown:
            if clock() - begun < PATIENCE or done >= total:
                return
            shown.append(_bar(stream))
        shown[0].update(shown[0].task_ids[0], completed=done, total=total)

    try:
        yield show
    finally:
        for bar in shown:
            bar.stop()


def _bar(stream: TextIO | None) -> Progress:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn()
    bar = Progress(*columns, console=Console(file=stream), transient=True)
    bar.add_task("routes", total=None)
    bar.start()
    return bar
