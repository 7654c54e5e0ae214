"""The part of the page on where the film may go: the words and tables of the verb treat, as the page shows them."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from gradehaul.show.base.page import Columns, Page, Piece, words_of
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.film.text import add_film_plan
from gradehaul.show.report.rows import Cell, Rows
from gradehaul.treatment.keep_clean import KeepCleanPlan

_NUMBER = re.compile(r"-?\d+(\.\d+)?")
_PROSE = 24
"""A table's last column in which a cell has more letters than this is prose: on a phone it goes below its row."""


@dataclass(frozen=True, slots=True)
class FilmPart:
    """A heading, a line, or a table under the last heading: what it is not is empty or None."""

    heading: str = ""
    line: str = ""
    table: Rows | None = None
    caption: str = ""


def film_parts(found: KeepCleanPlan, reader: Reader) -> list[FilmPart]:
    """Return what is shown of the keep-clean plan, in order."""
    page = Page()
    add_film_plan(page, found, reader)
    parts: list[FilmPart] = []
    heading = "Where the film may go"
    for part in page.parts:
        if isinstance(part, Columns):
            rows = _rows(part)
            heads = tuple(head.removesuffix(">") for head in part.heads)
            parts.append(FilmPart(table=Rows(heads, rows), caption=heading))
            continue
        words = "".join(map(words_of, part.pieces))
        if len(part.pieces) == 1 and not isinstance(part.pieces[0], str):
            heading = words
            parts.append(FilmPart(heading=words))
        elif words:
            parts.append(FilmPart(line=words))
    return parts


def _rows(table: Columns) -> tuple[tuple[Cell, ...], ...]:
    rows = tuple(tuple(map(_cell, row)) for row in table.rows)
    if any(len(row[-1].text) > _PROSE for row in rows):
        return tuple((*row[:-1], replace(row[-1], kind="prose")) for row in rows)
    return rows


def _cell(piece: Piece) -> Cell:
    """Return a cell that sorts by the number it begins with, if any."""
    words = words_of(piece)
    number = _NUMBER.match(words)
    return Cell(words, sort=float(number[0]), kind="number") if number else Cell(words)
