"""The cut list: a form with a row for every riser, to take to the saw and to the level."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from gradehaul.design.risers.risers import Risers
from gradehaul.plan.names import clean
from gradehaul.show.base.picture import plain
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.risers.text import beside_lines, cells, explained, headline, top_word
from gradehaul.show.sheets.cautions import CAUTIONS
from gradehaul.show.sheets.form import PAPERS, Column, Form, PaperName

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_ROW = 0.24


def cut_list_figures(found: Risers, reader: Reader, paper: PaperName) -> list[Figure]:
    """Return the pages of the cut list; to be called by the `drawing_rules`."""
    title = _cut(f"Risers: {plain(found.title)}", 52)
    form = Form(title, paper=PAPERS[paper], foot=_cut(f"{clean(found.walk.name)}: measure twice, cut once.", 60))
    form.words(
        headline(found, reader), [part for line in explained(found, reader) for part in wrapped(line)], numbered=False
    )
    form.words("Take care", CAUTIONS)
    columns = [
        Column("riser", 0.42),
        Column("at", 0.72),
        Column("from joint", 1.75),
        Column("railhead", 0.82),
        Column(top_word(found), 0.92),
        Column("off", 0.72),
        Column("change", 0.78),
        Column("block, low end", 1.0),
    ]
    rows = [[_cut(cell, 27) for cell in cells(riser, found, reader)] for riser in found.risers]
    form.table("Cut list", columns, rows, row=_ROW)
    if beside := beside_lines(found, reader):
        form.words("Tracks beside", [part for line in beside for part in wrapped(line)], numbered=False)
    return form.finish()


def wrapped(line: str) -> list[str]:
    """Return a line of words in lines as long as a form is wide."""
    return textwrap.wrap(line, 112)


def _cut(text: str, longest: int) -> str:
    text = plain(text)
    return text if len(text) <= longest else text[: longest - 1] + "…"
