"""How answers and complaints leave: printed, written whole or not at all, shown in a viewer."""

from __future__ import annotations

import os
import shutil
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from gradehaul.show.base.page import Page


def laid_out(page: Page, *, to_file: bool) -> str:
    """Return a page as text: as wide as the terminal and in color where it is shown on one."""
    terminal = not to_file and sys.stdout is not None and sys.stdout.isatty()
    color = terminal and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    return page.text(width=shutil.get_terminal_size().columns if terminal else None, color=color)


def deliver(answer: str | bytes, output: str | None, *, open_it: bool = False) -> None:
    """Print an answer, or write it to a file whole or not at all, and open that in the system's viewer."""
    if output is not None and output != "-":
        from gradehaul.show.base.whole_file import write_whole

        write_whole(output, answer.encode("utf-8") if isinstance(answer, str) else answer)
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


def _silence_output() -> None:
    """Send what is still held for standard output nowhere, so that the interpreter does not fail on it at its end."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def complain(lines: str) -> None:
    """Print lines on standard error, with nothing in them that a terminal would obey."""
    plain = "".join(sign if sign.isprintable() or sign == "\n" else "\N{REPLACEMENT CHARACTER}" for sign in lines)
    with suppress(OSError):
        click.echo(plain, err=True)
