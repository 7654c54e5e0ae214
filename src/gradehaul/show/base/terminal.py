"""A page laid out for a terminal: wrapped to its width, with color where it can show it."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable

from rich.cells import cell_len
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from gradehaul.show.base.page import GAP, Columns, Line, shared_out

_UNBOUNDED = 1_000_000
"""Columns where nothing is to be wrapped: more than any line has."""

_NARROWEST = 40

_BLANKS_AT_END = re.compile(r" +((?:\x1b\[[0-9;]*m)*)$", re.MULTILINE)
"""Blanks at the end of a line, before the sequences that end its style."""


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
            if table is None:
                _print_one_by_one(console, part, columns)
            else:
                console.print(Padding(table, (0, 0, 0, part.indent), expand=False))
        elif width is None:
            console.print(Text(" " * part.indent) + Text.assemble(*part.pieces), soft_wrap=True)
        else:
            _print_wrapped(console, Text.assemble(*part.pieces), part.indent, columns)
    return _BLANKS_AT_END.sub(r"\1", stream.getvalue())


def _table(columns: Columns, width: int) -> Table | None:
    """Return a table whose cells wrap between words, None where not even its longest words have room side by side."""
    texts = [[Text.assemble(cell) for cell in row] for row in columns.rows]
    heads = [Text(head.removesuffix(">")) for head in columns.heads]
    cells = list(zip(heads, *texts, strict=True))
    widest = [max(text.cell_len for text in column) for column in cells]
    longest_word = [max(map(cell_len, " ".join(text.plain for text in column).split()), default=0) for column in cells]
    room = width - GAP * (len(cells) - 1)
    if sum(longest_word) > room:
        return None
    table = Table(
        box=None,
        pad_edge=False,
        padding=(0, GAP, 0, 0),
        header_style="dim",
        show_edge=False,
        show_header=any(head.plain for head in heads),
    )
    for head, text, wide in zip(columns.heads, heads, shared_out(room, longest_word, widest), strict=True):
        table.add_column(text, justify="right" if head.endswith(">") else "left", overflow="fold", width=wide)
    for row in texts:
        table.add_row(*row)
    return table


def _print_one_by_one(console: Console, part: Columns, columns: int) -> None:
    """Print each row of a table as lines, a cell with its head on each."""
    heads = [head.removesuffix(">") for head in part.heads]
    for row in part.rows:
        for number, (head, cell) in enumerate(zip(heads, row, strict=True)):
            text = Text.assemble(cell)
            if number == 0 or text.plain.strip():
                line = Text.assemble((f"{head}: ", "dim"), text)
                _print_wrapped(console, line, part.indent + (2 if number else 0), columns)


def _print_wrapped(console: Console, text: Text, indent: int, columns: int) -> None:
    fits = text.cell_len <= columns - indent
    lines = [text] if fits and text else text.wrap(console, columns - indent - 2, overflow="fold")
    for number, line in enumerate(lines):
        line.rstrip()
        line.pad_left(indent + (2 if number else 0))
        console.print(line, soft_wrap=True)
    if not lines:
        console.print()
