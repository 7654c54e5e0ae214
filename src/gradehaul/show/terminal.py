"""A page laid out for a terminal: wrapped to its width, with color where it can show it."""

from __future__ import annotations

import io
from collections.abc import Iterable

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from gradehaul.show.page import GAP, Columns, Line

_UNBOUNDED = 1_000_000
"""Columns where nothing is to be wrapped: more than any line has."""

_NARROWEST = 40

_SHORT = 11
"""Columns of a table up to this wide are not wrapped where that can be helped."""


def laid_out(parts: Iterable[Line | Columns], width: int | None, *, color: bool) -> str:
    """Return the parts of a page as text of a width, None where nothing is to be wrapped."""
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
    for part in parts:
        if isinstance(part, Columns):
            table = _table(part, columns - part.indent)
            console.print(Padding(table, (0, 0, 0, part.indent), expand=False))
        elif width is None:
            console.print(Text(" " * part.indent) + Text.assemble(*part.pieces), soft_wrap=True)
        else:
            _print_wrapped(console, Text.assemble(*part.pieces), part.indent, columns)
    return "\n".join(line.rstrip() for line in stream.getvalue().split("\n"))


def _table(columns: Columns, width: int) -> Table:
    """Return a table whose short columns stay on one line each where the others have room to wrap beside them."""
    texts = [[Text.assemble(cell) for cell in row] for row in columns.rows]
    heads = [Text(head.removesuffix(">")) for head in columns.heads]
    widest = [max(text.cell_len for text in column) for column in zip(heads, *texts, strict=True)]
    least = sum(min(wide, _SHORT) for wide in widest) + GAP * len(widest)
    table = Table(box=None, pad_edge=False, padding=(0, GAP, 0, 0), header_style="dim", show_edge=False)
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
