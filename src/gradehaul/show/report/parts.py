"""What is printed for a person, as the page shows it: headings, lines, and tables that sort by their numbers."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from gradehaul.show.base.page import Columns, Page, Piece, words_of
from gradehaul.show.check.outcome_words import OUTCOMES

_NUMBER = re.compile(r"(?P<part>1 in )?[<>]?(?P<number>-?\d+(\.\d+)?)")
_WHOLE = re.compile(r"(?P<first>\d+\+?|length) (?P<rest>\(.*|\D.*)")
"""A number of cars, and what is printed behind it."""

_LINE = 24
"""A cell that begins with a number keeps to one line up to so many letters."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell: its text, the number it sorts by where that is not its text, its kind, and a smaller text behind it."""

    text: str
    sort: float | None = None
    kind: str = ""
    more: str = ""


@dataclass(frozen=True, slots=True)
class Rows:
    """A table: heads, and rows of as many cells."""

    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True, slots=True)
class Part:
    """A heading, a line, or a table with its caption: what it is not is empty or None."""

    heading: str = ""
    line: str = ""
    table: Rows | None = None
    caption: str = ""


def parts_of(title: str, add: Callable[[Page], None]) -> list[Part]:
    """Return what is added to a page for a person, as parts; what names a table is the heading or line above it."""
    page = Page()
    add(page)
    parts: list[Part] = []
    above, captions = title, set[str]()
    for each in page.parts:
        if isinstance(each, Columns):
            number, caption = 1, above
            while caption in captions:
                number += 1
                caption = f"{above} ({number})"
            captions.add(caption)
            parts.append(Part(table=rows_of(each.heads, each.rows), caption=caption))
            continue
        words = "".join(map(words_of, each.pieces))
        if len(each.pieces) == 1 and not isinstance(each.pieces[0], str):
            above = words
            if words != title:
                parts.append(Part(heading=words))
        elif words:
            above = above if each.paragraph else words.removesuffix(":")
            parts.append(Part(line=words))
    return parts


def rows_of(heads: Sequence[str], rows: Sequence[Sequence[Piece]]) -> Rows:
    """Return a printed table as one that sorts."""
    cells = [tuple(map(_cell, row)) for row in rows]
    return Rows(tuple(head.removesuffix(">") for head in heads), tuple(cells))


def outcome_cell(outcome: Piece, risk: Piece, spare: Piece) -> Cell:
    """Return an outcome that sorts from the worst, with the pull to spare and the risk behind it.

    >>> outcome_cell(("STALLS", "red"), "60 %", "-1.9 gf")
    Cell(text='stalls', sort=0, kind='outcome stalls', more='-1.9 gf, 60 %')
    """
    cell = _cell(outcome)
    rank = [words.lower() for words, _ in OUTCOMES.values()].index(cell.text)
    more = "" if cell.text == "too long" else f"{words_of(spare)}, {words_of(risk)}"
    return replace(cell, sort=rank, more=more)


def _cell(piece: Piece) -> Cell:
    """Return a cell that sorts by the number it begins with, if any; an outcome has its class.

    >>> [(cell.text, cell.sort, cell.kind) for cell in map(_cell, ["<1 %", "1 in 50.0", "Foot", ("STALLS", "red")])]
    [('<1 %', 0.99, 'number'), ('1 in 50.0', 0.02, 'number'), ('Foot', None, ''), ('stalls', None, 'outcome stalls')]
    >>> _cell("8 (8 / 12) measured")
    Cell(text='8', sort=8.0, kind='load', more='(8 / 12) measured')
    """
    words = words_of(piece)
    if words.lower() in OUTCOMES:
        return Cell(words.lower(), kind=f"outcome {words.lower().replace(' ', '-')}")
    number = _NUMBER.match(words)
    if whole := _WHOLE.fullmatch(words) if "(" in words else None:
        first = whole["first"]
        return Cell(first, sort=float(number["number"]) if number else 1e9, kind="load", more=whole["rest"])
    if number is None:
        return Cell(words)
    value = float(number["number"]) + {"<": -0.01, ">": 0.01}.get(words[0], 0.0)
    return Cell(words, sort=1 / value if number["part"] else value, kind="number" if len(words) <= _LINE else "")
