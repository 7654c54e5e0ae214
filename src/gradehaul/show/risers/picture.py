"""The risers from the side: railhead, deck and every riser with its number and height."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from gradehaul.design.risers.risers import Risers
from gradehaul.plan.names import clean
from gradehaul.show.base.axis_numbers import convert_all, nice
from gradehaul.show.base.curves import curve_points
from gradehaul.show.base.distance_axis import distance_rows, draw_distance
from gradehaul.show.base.picture import Format, drawing_rules, pages_bytes, picture_bytes
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.sheet import INK, SIZES, Row, Sheet, Spot
from gradehaul.show.risers.cut_list import cut_list_figures
from gradehaul.show.risers.strip import strip_figures
from gradehaul.show.risers.text import headline
from gradehaul.show.sheets.cautions import CAUTIONS
from gradehaul.show.sheets.form import PaperName
from gradehaul.show.sheets.rule_reading import on_rule

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def risers_sheet(found: Risers, reader: Reader, paper: PaperName, *, strip: float | None = None) -> bytes:
    """Return the content of a PDF file: the cut list, the risers from the side, and a strip of a length, m, if any."""
    with drawing_rules():
        figures = [*cut_list_figures(found, reader, paper), risers_figure(found, reader)]
        if strip is not None:
            figures += strip_figures(found, strip, reader, paper)
        return pages_bytes(figures)


def risers_picture(found: Risers, reader: Reader, form: Format) -> bytes:
    """Return the risers from the side as the content of a picture file."""
    with drawing_rules():
        return picture_bytes(risers_figure(found, reader), form, dots_per_inch=SIZES["a4"].dots_per_inch)


def risers_figure(found: Risers, reader: Reader) -> Figure:
    """Return the risers from the side; to be called by the `drawing_rules`."""
    size = SIZES["a4"]
    line = 1.6 * size.font / 72
    rows = [
        Row("title", 1.35 * line),
        Row("words", 1.05 * line),
        Row("what", 1.3 * line),
        Row("heights", 3.0, grows=True),
        *distance_rows(line),
        Row("care", 1.2 * line),
    ]
    walk, build = found.walk, found.build
    sheet = Sheet(size, rows, walk.length, reader.length_unit)
    sheet.title(walk.layout.plan.title)
    sheet.heading("words", [headline(found, reader)])
    unit = sheet.unit
    over = "the plan's 0" if build.datum is None else "the floor"
    what = f"Railhead and top of each riser over {over}, {unit}"
    sheet.heading("what", [what if build.datum is None else f"{what}; risers are cut off below"], weight="bold")
    x, heights = curve_points(walk.railhead)
    railhead = convert_all(heights + (build.datum or 0.0), unit)
    deck = convert_all(heights + (build.datum or 0.0) - build.structure, unit)
    high = float(railhead.max())
    low = float(deck.min()) - 0.6 * (high - float(deck.min()))
    low = low if build.datum is None else max(low, 0.0)
    axes = sheet.panel("heights", low, high + 0.05 * (high - low))
    sheet.scale(axes, nice(low, high, 6))
    along = convert_all(x, unit)
    axes.fill_between(along, deck, railhead, color="#e6dccb", lw=0, zorder=2)
    axes.plot(along, railhead, color=INK, lw=1.6, zorder=4, gid="railhead")
    bottom = axes.get_ylim()[0]
    tops = convert_all(np.array([riser.top for riser in found.risers]), unit)
    places = convert_all(np.array([riser.at for riser in found.risers]), unit)
    for at, top, riser in zip(places.tolist(), tops.tolist(), found.risers, strict=True):
        axes.plot([at, at], [bottom, top], color="#8a6d3b", lw=3.0, solid_capstyle="butt", zorder=3, gid="riser")
        across, up = sheet.dots(axes, at, top)
        gap = sheet.dots_per_em / 2
        words = f"{riser.number}: {on_rule(riser.cut, build.rule)}"
        spots = [Spot(across - gap, up - gap, "right", "top"), Spot(across + gap, up - gap, "left", "top")]
        sheet.label(words, spots, scale=0.85, rotation=90)
    draw_distance(sheet, f"Distance along {clean(walk.name)}, {unit}")
    sheet.heading("care", [f"{CAUTIONS[0]} {CAUTIONS[3]}", CAUTIONS[0]], scale=0.9)
    return sheet.figure
