"""A page for a person: lines and tables as text, wrapped, and in color for a terminal."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import zip_longest
from typing import NamedTuple

from rich.cells import cell_len

Piece = str | tuple[str, str]
"""Words, or words with a style; never markup."""

GAP = 2
"""Blanks between two columns of a table."""

FULL = 80
"""Columns of a usual terminal: what a line fills at the most anywhere, and a table in a file."""

_NARROWEST = 40

_CONTINUED = 2
"""Blanks before the second and further lines of what is wrapped."""

_UNITS = "mm|cm|m|km|in|ft|yd|mile|g|kg|oz|lb|gf|kgf|ozf|lbf|N|mN|deg|%|permille|h"
_IN_FIGURE = re.compile(rf"(?<=\d) (?=\d+/\d)|(?<=[\d+]) (?=(?:{_UNITS})(?!\w))|(?<=\b1 in) (?=\d)")
"""A blank within a figure: before its fraction or its unit, and in a grade of one in so many."""

_KEPT = "\N{NO-BREAK SPACE}"


class Line(NamedTuple):
    """Pieces one after the other, `indent` blanks in."""

    pieces: tuple[Piece, ...]
    indent: int


class Columns(NamedTuple):
    """A table: a head that ends in ``>`` sets its column to the right."""

    heads: tuple[str, ...]
    rows: tuple[tuple[Piece, ...], ...]
    indent: int


class Page:
    """Lines and tables in order. Names in them are shown as they are: nothing in them is read as markup."""

    def __init__(self) -> None:
        self.parts: list[Line | Columns] = []

    def line(self, *pieces: Piece, indent: int = 0) -> None:
        """Add a line; where it is too long it goes on below, further in, broken between words."""
        self.parts.append(Line(pieces, indent))

    def more(self, sections: Sequence[str]) -> None:
        """Add the line that names the sections which --more prints."""
        self.line(f"More: --more {', '.join((*sections, 'all'))}")

    def heading(self, words: str) -> None:
        """Add a blank line and a heading."""
        self.line()
        self.line((words, "bold"))

    def table(self, heads: Sequence[str], rows: Sequence[Sequence[Piece]], indent: int = 2) -> None:
        """Add a table; a head that ends in ``>`` sets its column to the right, a row of one cell goes across all.

        Where it is too wide, its cells are broken between words.
        """
        self.parts.append(Columns(tuple(heads), tuple(tuple(row) for row in rows), indent))

    def text(self, *, width: int = FULL, color: bool = False) -> str:
        """Return the page as text for a terminal of a width, or for a file; styles are escape sequences in `color`."""
        width = max(width, _NARROWEST)
        lines: list[Sequence[Piece]] = []
        for part in self.parts:
            lines += _table_lines(part, width) if isinstance(part, Columns) else _wrapped(part, min(width, FULL))
        text = "".join((_colored(line) if color else "".join(map(words_of, line)).rstrip()) + "\n" for line in lines)
        return text.replace(_KEPT, " ")


def words_of(piece: Piece) -> str:
    """Return the words of a piece without its style."""
    return piece if isinstance(piece, str) else piece[0]


def shortened(name: str, width: int) -> str:
    """Return a name in at most so many columns, its end left out where it is longer.

    >>> shortened("Quarry branch:1", 20), shortened("Quarry branch:1", 8)
    ('Quarry branch:1', 'Quarry …')
    """
    if cell_len(name) <= width:
        return name
    while cell_len(name) >= width:
        name = name[:-1]
    return f"{name}…"


def _whole_figures(words: str) -> str:
    """Return words whose figures stay whole: with blanks within them that no line is broken at.

    >>> _whole_figures("42 17/32 in, 2 posts at 1 in 45.0 at 2 h").replace(_KEPT, "_")
    '42_17/32_in, 2 posts at 1_in_45.0 at 2_h'
    """
    return _IN_FIGURE.sub(_KEPT, words)


def _colored(line: Sequence[Piece]) -> str:
    """Return a line with the escape sequences of its styles, and without blanks at its end."""
    from rich.color import ColorSystem
    from rich.style import Style

    left = len("".join(map(words_of, line)).rstrip())
    shown = []
    for piece in line:
        words = words_of(piece)[:left]
        left -= len(words)
        style = Style.parse("" if isinstance(piece, str) else piece[1])
        shown.append(style.render(words, color_system=ColorSystem.STANDARD))
    return "".join(shown)


def _cells(pieces: Sequence[Piece]) -> int:
    return sum(cell_len(words_of(piece)) for piece in pieces)


def _wrapped(line: Line, width: int) -> Iterator[list[Piece]]:
    """Yield a line, or as many as it takes in a width, those after the first further in."""
    if line.indent + _cells(line.pieces) <= width:
        yield [" " * line.indent, *line.pieces]
        return
    for part in _filled(line.pieces, width - line.indent, _CONTINUED):
        yield [" " * line.indent, *part]


def _filled(pieces: Sequence[Piece], width: int, further: int = 0) -> Iterator[list[Piece]]:
    """Yield lines of words that fill a width, those after the first so far in; a longer word has its own line."""
    words: list[list[Piece]] = [[]]
    for piece in pieces:
        for number, part in enumerate(_whole_figures(words_of(piece)).split(" ")):
            if number:
                words.append([])
            if part:
                words[-1].append(part if isinstance(piece, str) else (part, piece[1]))
    line: list[Piece] = []
    begun = False
    for word in filter(None, words):
        if begun and _cells(line) + 1 + _cells(word) > width:
            yield line
            line, begun = [" " * further], False
        line += [" ", *word] if begun else word
        begun = True
    if begun:
        yield line


def _table_lines(table: Columns, width: int) -> Iterator[list[Piece]]:
    """Yield the lines of a table, its cells broken between words where its width takes it.

    Where not even its longest words have room side by side, each cell has a line with its head.
    """
    heads = [head.removesuffix(">") for head in table.heads]
    rows = [tuple((head, "dim") for head in heads), *table.rows] if any(heads) else table.rows
    whole = [row for row in rows if len(row) == len(heads)]
    columns = [[words_of(cell) for cell in column] for column in zip(*whole, strict=True)]
    widths = [max(map(cell_len, column)) for column in columns]
    least = [max(cell_len(word) for cell in column for word in _whole_figures(cell).split(" ")) for column in columns]
    room = width - table.indent - GAP * (len(least) - 1)
    if sum(least) > room:
        yield from _one_by_one(table, heads, width)
        return
    widths = _shared_out(room, least, widths)
    for row in rows:
        if len(row) < len(heads):
            yield from _wrapped(Line(row, table.indent), width)
            continue
        cells = [
            [[cell]] if cell_len(words_of(cell)) <= wide else list(_filled([cell], wide))
            for cell, wide in zip(row, widths, strict=True)
        ]
        for parts in zip_longest(*cells, fillvalue=[]):
            line: list[Piece] = [" " * table.indent]
            for head, part, wide in zip(table.heads, parts, widths, strict=True):
                blank = " " * (wide - _cells(part))
                line += [blank, *part, " " * GAP] if head.endswith(">") else [*part, blank + " " * GAP]
            yield line


def _one_by_one(table: Columns, heads: Sequence[str], width: int) -> Iterator[list[Piece]]:
    for row in table.rows:
        for number, (head, cell) in enumerate(zip(heads if len(row) > 1 else [""], row, strict=True)):
            if number == 0 or words_of(cell).strip():
                named: tuple[Piece, ...] = ((f"{head.strip()}: ", "dim"), cell) if head else (cell,)
                yield from _wrapped(Line(named, table.indent + (2 if number else 0)), width)


def _shared_out(room: int, least: Sequence[int], most: Sequence[int]) -> list[int]:
    """Return the widths of columns: what each needs at the most where there is room, else the widest give way first.

    >>> _shared_out(20, [3, 4, 5], [3, 12, 9]), _shared_out(5, [3, 4], [4, 4])
    ([3, 8, 9], [3, 4])
    """
    widths = list(most)
    while sum(widths) > max(room, sum(least)):
        widest = max((k for k in range(len(widths)) if widths[k] > least[k]), key=lambda k: widths[k])
        widths[widest] -= 1
    return widths
