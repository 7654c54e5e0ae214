"""A page for a person: lines and tables of plain text, laid out for a terminal of some width or for a file."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import NamedTuple

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

Piece = str | tuple[str, str]
"""Words, or words with a style; never markup."""

_UNBOUNDED = 1_000_000
"""Columns of a page that goes to a file: more than any line has."""

_NARROWEST = 40

_SHORT = 11
"""Columns of a table up to this wide are not wrapped where that can be helped."""

_GAP = 2


class _Columns(NamedTuple):
    heads: tuple[str, ...]
    rows: tuple[tuple[Piece, ...], ...]


class Page:
    """Lines and tables in order. Names in them are shown as they are: nothing in them is read as markup.

    Examples
    --------
    >>> page = Page()
    >>> page.line("[red]x[/]", indent=2)
    >>> page.table(["car", "fit>"], [["ore", "7"]])
    >>> print(page.text())
      [red]x[/]
      car  fit
      ore    7
    """

    def __init__(self) -> None:
        self._parts: list[tuple[Text | _Columns, int]] = []

    def line(self, *pieces: Piece, indent: int = 0) -> None:
        """Add a line; where it is too long for a terminal it goes on below, further in."""
        self._parts.append((Text.assemble(*pieces), indent))

    def heading(self, words: str) -> None:
        """Add a blank line and a heading."""
        self.line()
        self.line((words, "bold"))

    def table(self, heads: Sequence[str], rows: Sequence[Sequence[Piece]], indent: int = 2) -> None:
        """Add a table; a head that ends in ``>`` sets its column to the right."""
        self._parts.append((_Columns(tuple(heads), tuple(tuple(row) for row in rows)), indent))

    def text(self, *, width: int | None = None, color: bool = False) -> str:
        """Return the page as text.

        Parameters
        ----------
        width
            Columns of the terminal; None for a file or a pipe, where nothing is wrapped.
        color
            Whether to set styles with escape sequences; else there are none.
        """
        columns = _UNBOUNDED if width is None else max(width, _NARROWEST)
        stream = io.StringIO()
        console = Console(
            file=stream,
            width=columns,
            force_terminal=color,
            color_system="standard" if color else None,
            no_color=not color,
            legacy_windows=False,
            markup=False,
            emoji=False,
            highlight=False,
        )
        for part, indent in self._parts:
            if isinstance(part, _Columns):
                console.print(Padding(_table(part, columns - indent), (0, 0, 0, indent), expand=False))
            elif width is None:
                console.print(Text(" " * indent) + part, soft_wrap=True)
            else:
                _print_wrapped(console, part, indent, columns)
        lines = stream.getvalue().split("\n")
        return "\n".join(line.rstrip() for line in lines)


def _table(columns: _Columns, width: int) -> Table:
    """Return a table whose short columns stay on one line each where the others have room to wrap beside them."""
    texts = [[Text.assemble(cell) for cell in row] for row in columns.rows]
    heads = [Text(head.removesuffix(">")) for head in columns.heads]
    widest = [max(text.cell_len for text in column) for column in zip(heads, *texts, strict=True)]
    least = sum(min(wide, _SHORT) for wide in widest) + _GAP * len(widest)
    table = Table(box=None, pad_edge=False, padding=(0, _GAP, 0, 0), header_style="dim", show_edge=False)
    for head, text, wide in zip(columns.heads, heads, widest, strict=True):
        table.add_column(
            text,
            justify="right" if head.endswith(">") else "left",
            overflow="fold",
            no_wrap=wide <= _SHORT and least <= width,
        )
    for row in texts:
        table.add_row(*row)
    return table


def _print_wrapped(console: Console, text: Text, indent: int, columns: int) -> None:
    lines = text.wrap(console, columns - indent - 2, overflow="fold")
    for number, line in enumerate(lines):
        line.rstrip()
        line.pad_left(indent + (2 if number else 0))
        console.print(line, soft_wrap=True)
    if not lines:
        console.print()
