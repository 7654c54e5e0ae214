"""The sheets of risers: the cut list to take to the saw, and the risers from the side with their heights."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from gradehaul.design.risers.risers import Risers
from gradehaul.plan.names import clean
from gradehaul.quantities import convert
from gradehaul.show.base.band import Band, Column
from gradehaul.show.base.colors import EARTH, INK, PALE_EARTH
from gradehaul.show.base.page import shortened
from gradehaul.show.base.paper import LETTER, SIZES, Panel, Paper, Size
from gradehaul.show.base.picture import as_picture, curve_points, plain
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.risers.strip import strip_figures
from gradehaul.show.risers.text import beside_lines, explained, headline, riser_columns
from gradehaul.show.sheets import CAUTIONS, PAPERS, Form, FormColumn, PaperName, as_pages, on_rule

if TYPE_CHECKING:
    from matplotlib.figure import Figure


_ROW = 0.24


@as_pages
def risers_sheet(found: Risers, units: UnitFormat, paper: PaperName, *, strip: float | None = None) -> list[Figure]:
    """Return the cut list, the risers from the side, and a strip of a length, m, if any."""
    side = risers_figure(found, units, LETTER if paper == "letter" else SIZES["a4"])
    return [
        *cut_list_figures(found, units, paper),
        side,
        *([] if strip is None else strip_figures(found, strip, units, paper)),
    ]


def risers_figure(found: Risers, units: UnitFormat, size: Size = SIZES["a4"]) -> Figure:
    """Return the risers from the side; to be called by the `drawing_rules`."""
    walk, build, unit = found.walk, found.build, units.length_unit
    times, base = convert(1.0, unit), build.datum or 0.0
    over = "the plan's 0; without --datum these are no lengths to saw" if build.datum is None else "the floor"
    words = f"{headline(found, units)}. Railhead and top of each riser over {over}, {unit}."
    paper = Paper(size, found.title, [words], notes=[f"{CAUTIONS[0]} {CAUTIONS[3]}"])
    columns = [
        Column(
            times * riser.at,
            (f"{riser.number}", units.number(riser.at), on_rule(riser.cut, build.rule)),
        )
        for riser in found.risers
    ]
    band = Band(paper, ("riser", "distance", "top"), columns, {})
    panels = paper.panels({"heights": Panel(2.5, 1.0), "band": Panel(band.height)}, (0.0, times * walk.length))
    axes = panels["heights"]
    x, heights = curve_points(walk.railhead)
    railhead, deck = times * (heights + base), times * (heights + base - build.structure)
    low = float(deck.min()) - 0.6 * float(railhead.max() - deck.min())
    low = low if build.datum is None else max(low, 0.0)
    axes.fill_between(times * x, deck, railhead, color=PALE_EARTH, lw=0, zorder=2)
    axes.plot(times * x, railhead, color=INK, lw=1.6, zorder=4, gid="railhead")
    for riser in found.risers:
        at = times * riser.at
        axes.plot([at, at], [low, times * riser.top], color=EARTH, lw=3.0, solid_capstyle="butt", zorder=3, gid="riser")
    axes.set_ylim(bottom=low)
    axes.set_ylabel(unit)
    band.prepare(panels["band"])
    paper.settle()
    band.draw(panels["band"])
    return paper.figure


risers_picture = as_picture(risers_figure)


def cut_list_figures(found: Risers, units: UnitFormat, paper: PaperName) -> list[Figure]:
    """Return the pages of the cut list; to be called by the `drawing_rules`."""
    title = _cut(f"Risers: {plain(found.title)}", 52)
    form = Form(title, paper=PAPERS[paper], foot=_cut(f"{clean(found.walk.name)}: measure twice, cut once.", 60))
    form.words(
        headline(found, units), [part for line in explained(found, units) for part in wrapped(line)], numbered=False
    )
    form.words("Take care", CAUTIONS)
    columns = riser_columns(found, units)
    heads = [FormColumn(column.head.removesuffix(">"), column.width) for column in columns]
    rows = [[_cut(cell, 27) for cell in cells] for cells in zip(*(column.cells for column in columns), strict=True)]
    form.table("Cut list", heads, rows, row=_ROW)
    if beside := beside_lines(found, units):
        form.words("Tracks beside", [part for line in beside for part in wrapped(line)], numbered=False)
    return form.finish()


def wrapped(line: str) -> list[str]:
    """Return a line of words in lines as long as a form is wide."""
    return textwrap.wrap(line, 112)


def _cut(text: str, longest: int) -> str:
    return shortened(plain(text), longest)
