"""The picture of leveling: line by line the railheads and the grades, even between given heights and as leveled."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from gradehaul.design.level.railheads import Leveled
from gradehaul.show.base.axis_numbers import convert_all, nice
from gradehaul.show.base.distance_axis import distance_rows, draw_distance
from gradehaul.show.base.picture import Format, drawing_rules, picture_bytes
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.sheet import INK, SIZES, Row, Sheet, SizeName
from gradehaul.show.level.marks import Line, draw_key, grade_panel, key_row, stairs
from gradehaul.show.level.text import binding_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_EVEN: Line = {"color": "#0057a8", "lw": 1.2, "ls": (0, (6, 2))}
_LEVELED: Line = {"color": INK, "lw": 1.6, "ls": "-"}
MOST_LINES = 5
"""Lines on one sheet at the most; those in which the railheads change most come first."""


def level_picture(found: Leveled, reader: Reader, form: Format, *, size: SizeName = "a4") -> bytes:
    """Return the picture as the content of a file, the same bytes from run to run.

    Parameters
    ----------
    found
        The railheads found.
    reader
        The units of whoever reads it.
    form
        PNG, SVG or PDF.
    size
        A4 landscape, or the width of a phone.
    """
    with drawing_rules():
        figure = level_figure(found, reader, size=size)
        return picture_bytes(figure, form, dots_per_inch=SIZES[size].dots_per_inch)


def drawn_lines(found: Leveled) -> list[str]:
    """Return the lines with a free railhead that are drawn, in the order of the plan."""
    free = {
        name: float(np.abs(found.heights[numbers] - found.even[numbers]).max())
        for name, (numbers, _) in found.stations.lines.items()
        if found.stations.free[numbers].any()
    }
    most = sorted(free, key=lambda name: -free[name])[:MOST_LINES]
    return [name for name in free if name in most]


def level_figure(found: Leveled, reader: Reader, *, size: SizeName = "a4") -> Figure:
    """Return the picture as a figure; to be called by the `drawing_rules`, as is all that is done with it."""
    lines = drawn_lines(found)
    own = replace(SIZES[size], left=SIZES[size].left + (0.2 if reader.grades == "one-in" else 0.1))
    line = 1.6 * own.font / 72
    rows = [Row("title", 1.35 * line), Row("words", 1.05 * line)]
    rows += [Row(f"train {k}", 0.95 * line) for k in range(min(len(found.hardest), 4))]
    for k in range(len(lines)):
        rows += [Row(f"name {k}", 1.4 * line), Row(f"height {k}", 0.7, grows=True), Row(f"gap {k}", 0.5 * line)]
        rows += [Row(f"grade {k}", 0.7, grows=True)]
    rows += [*distance_rows(line), key_row(line)]
    longest = max(float(found.stations.lines[name][1][-1]) for name in lines)
    sheet = Sheet(own, rows, longest, reader.length_unit)
    sheet.title(found.plan.title)
    told = f"Railheads for even effort: railhead, {sheet.unit}, above grade to the next, line by line"
    more = len([1 for numbers, _ in found.stations.lines.values() if found.stations.free[numbers].any()]) - len(lines)
    sheet.heading("words", [f"{told}{f'; {more} lines more change less' if more else ''}", "Railheads for even effort"])
    for k, each in enumerate(found.hardest[:4]):
        even, now = reader.grade(each.even), reader.grade(each.leveled)
        words = [f"hardest effective grade {even} even, {now} leveled", f"{even} even, {now} leveled"]
        words = [f"{words[0]}; kept up by {each_words}" for each_words in binding_words(each, reader)[:1]] + words
        sheet.heading(f"train {k}", [f"{each.train}: {told}" for told in words])
    for k, name in enumerate(lines):
        _draw_line(sheet, found, reader, k, name)
    draw_distance(sheet, f"Distance from where each line begins, {sheet.unit}")
    draw_key(sheet, {"even between given heights": _EVEN, "leveled": _LEVELED})
    return sheet.figure


def _draw_line(sheet: Sheet, found: Leveled, reader: Reader, k: int, name: str) -> None:
    numbers, distance = found.stations.lines[name]
    sheet.heading(f"name {k}", ["Line"], name=name, weight="bold")
    x = convert_all(distance, sheet.unit)
    even, heights = (convert_all(values[numbers], sheet.unit) for values in (found.even, found.heights))
    low, high = min(even.min(), heights.min()), max(even.max(), heights.max())
    room = max(0.12 * (high - low), 1e-6)
    axes = sheet.panel(f"height {k}", low - room, high + room)
    sheet.scale(axes, nice(low, high, 3))
    axes.plot(x, even, zorder=3, gid=f"even {name}", **_EVEN)
    axes.plot(x, heights, zorder=4, gid=f"leveled {name}", **_LEVELED)
    given = ~found.stations.free[numbers]
    axes.plot(x[given], heights[given], "o", ms=4.6, mfc=INK, mec=INK, zorder=5, clip_on=False, gid=f"given {name}")
    axes.plot(
        x[~given],
        heights[~given],
        "o",
        ms=3.6,
        mfc="white",
        mec=INK,
        mew=0.8,
        zorder=5,
        clip_on=False,
        gid=f"free {name}",
    )
    apart = np.diff(distance)
    grades = [np.diff(values[numbers]) / apart for values in (found.even, found.heights)]
    axes = grade_panel(sheet, f"grade {k}", grades, reader)
    stairs(axes, x, grades[0], zorder=3, gid=f"even grade {name}", **_EVEN)
    stairs(axes, x, grades[1], zorder=4, gid=f"leveled grade {name}", **_LEVELED)
