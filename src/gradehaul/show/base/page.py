"""A page for a person: lines and tables of plain text, for a file or, laid out by `terminal`, for a screen."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import zip_longest
from typing import NamedTuple

from rich.cells import cell_len

Piece = str | tuple[str, str]
"""Words, or words with a style; never markup."""

GAP = 2
"""Blanks between two columns of a table."""

FULL = 80
"""Columns of a usual terminal: what a paragraph fills at the most, wherever it is shown."""

WIDEST = 100
"""Columns of a table on a first screen at the most, in a file too."""


class Line(NamedTuple):
    """Pieces one after the other, `indent` blanks in."""

    pieces: tuple[Piece, ...]
    indent: int


class Columns(NamedTuple):
    """A table: a head that ends in ``>`` sets its column to the right; one that is `folded` is so in a file too."""

    heads: tuple[str, ...]
    rows: tuple[tuple[Piece, ...], ...]
    indent: int
    folded: bool


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
        self.parts: list[Line | Columns] = []

    def line(self, *pieces: Piece, indent: int = 0) -> None:
        """Add a line; where it is too long for a terminal it goes on below, further in."""
        self.parts.append(Line(pieces, indent))

    def paragraph(self, *pieces: Piece, indent: int = 0) -> None:
        """Add sentences, broken between words into lines that are never wrapped again on a usual terminal."""
        for number, line in enumerate(_filled(pieces, FULL - indent)):
            self.line(*line, indent=indent + (CONTINUED if number else 0))

    def more(self, sections: Sequence[str]) -> None:
        """Add the line that names the sections which --more prints."""
        self.paragraph(f"More: --more {', '.join((*sections, 'all'))}")

    def heading(self, words: str) -> None:
        """Add a blank line and a heading."""
        self.line()
        self.line((words, "bold"))

    def table(
        self, heads: Sequence[str], rows: Sequence[Sequence[Piece]], indent: int = 2, *, folded: bool = False
    ) -> None:
        """Add a table; a head that ends in ``>`` sets its column to the right.

        A terminal breaks cells between words where the table is too wide; `folded`, so does a file, at `WIDEST`.
        """
        self.parts.append(Columns(tuple(heads), tuple(tuple(row) for row in rows), indent, folded))

    def text(self, *, width: int | None = None, color: bool = False) -> str:
        """Return the page as text.

        Parameters
        ----------
        width
            Columns of the terminal; None for a file or a pipe, where nothing is wrapped.
        color
            Whether to set styles with escape sequences; else there are none.
        """
        if width is not None or color:
            from gradehaul.show.base.terminal import laid_out

            return laid_out(self.parts, width, color=color)
        lines: list[str] = []
        for part in self.parts:
            lines += _table_lines(part) if isinstance(part, Columns) else [_line(part)]
        return "".join(line.rstrip() + "\n" for line in lines)


CONTINUED = 2
"""Blanks before the second and further lines of a paragraph."""


def _filled(pieces: Sequence[Piece], width: int) -> Iterator[list[Piece]]:
    """Yield lines of words that fill a width, those after the first further in; a longer word has its own line."""
    words: list[list[Piece]] = [[]]
    for piece in pieces:
        for number, part in enumerate(words_of(piece).split(" ")):
            if number:
                words.append([])
            if part:
                words[-1].append(part if isinstance(piece, str) else (part, piece[1]))
    line: list[Piece] = []
    used = 0
    for word in filter(None, words):
        long = sum(cell_len(words_of(part)) for part in word)
        if line and used + 1 + long > width:
            yield line
            line, used = [], CONTINUED
        if line:
            line.append(" ")
            used += 1
        line += word
        used += long
    if line:
        yield line


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


def words_of(piece: Piece) -> str:
    """Return the words of a piece without its style."""
    return piece if isinstance(piece, str) else piece[0]


def _line(line: Line) -> str:
    return " " * line.indent + "".join(map(words_of, line.pieces))


def _table_lines(columns: Columns) -> list[str]:
    rows = [[*map(words_of, row)] for row in columns.rows]
    heads = [head.removesuffix(">") for head in columns.heads]
    if any(heads):
        rows.insert(0, heads)
    widest = [max(map(cell_len, column)) for column in zip(*rows, strict=True)]
    if columns.folded:
        least = [max(map(cell_len, " ".join(column).split()), default=0) for column in zip(*rows, strict=True)]
        widest = shared_out(WIDEST - columns.indent - GAP * (len(least) - 1), least, widest)
        rows = [list(line) for row in rows for line in _folded(row, widest)]
    right = [head.endswith(">") for head in columns.heads]
    return [
        " " * columns.indent
        + (" " * GAP).join(
            " " * (wide - cell_len(cell)) + cell if to_right else cell + " " * (wide - cell_len(cell))
            for cell, wide, to_right in zip(row, widest, right, strict=True)
        )
        for row in rows
    ]


def _folded(row: Sequence[str], widths: Sequence[int]) -> Iterator[tuple[str, ...]]:
    """Yield the lines of a row whose cells are broken between words."""
    cells = (
        [cell] if cell_len(cell) <= wide else ["".join(map(words_of, line)) for line in _filled([cell], wide)]
        for cell, wide in zip(row, widths, strict=True)
    )
    return zip_longest(*cells, fillvalue="")


def shared_out(room: int, least: Sequence[int], most: Sequence[int]) -> list[int]:
    """Return the widths of columns: what each needs at the most where there is room, else the widest give way first.

    >>> shared_out(20, [3, 4, 5], [3, 12, 9]), shared_out(5, [3, 4], [4, 4])
    ([3, 8, 9], [3, 4])
    """
    widths = list(most)
    while sum(widths) > max(room, sum(least)):
        widest = max((k for k in range(len(widths)) if widths[k] > least[k]), key=lambda k: widths[k])
        widths[widest] -= 1
    return widths
