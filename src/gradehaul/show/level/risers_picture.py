"""The picture of a surveyed hill: how far readings lie off the even climb, the grades they make, and the shims."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from gradehaul.design.level.risers import Corrections
from gradehaul.plan.names import clean
from gradehaul.plan.records import Plan
from gradehaul.quantities import convert
from gradehaul.show.base.axis_numbers import convert_all, nice
from gradehaul.show.base.distance_axis import distance_rows, draw_distance
from gradehaul.show.base.picture import Format, drawing_rules, picture_bytes
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.sheet import INK, SIZES, Row, Sheet, SizeName, Spot
from gradehaul.show.level.marks import Line, draw_key, grade_panel, key_row, stairs
from gradehaul.show.level.risers_text import correction_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_MEASURED: Line = {"color": "#0057a8", "lw": 1.4, "ls": (0, (6, 2))}
_CORRECTED: Line = {"color": INK, "lw": 1.6, "ls": "-"}
_MEANT: Line = {"color": "#7a1330", "lw": 1.0, "ls": (0, (1, 1.6))}
_SPREAD = 2.0
"""Standard deviations either way that a bar or a band covers: 19 cases of 20."""


def risers_picture(plan: Plan, found: Corrections, reader: Reader, form: Format, *, size: SizeName = "a4") -> bytes:
    """Return the picture as the content of a file, the same bytes from run to run.

    Parameters
    ----------
    plan
        The plan, for its title.
    found
        What to do at each reading of one survey.
    reader
        The units of whoever reads it.
    form
        PNG, SVG or PDF.
    size
        A4 landscape, or the width of a phone.
    """
    with drawing_rules():
        figure = risers_figure(plan, found, reader, size=size)
        return picture_bytes(figure, form, dots_per_inch=SIZES[size].dots_per_inch)


def risers_figure(plan: Plan, found: Corrections, reader: Reader, *, size: SizeName = "a4") -> Figure:
    """Return the picture as a figure; to be called by the `drawing_rules`, as is all that is done with it."""
    hill = found.surveyed
    own = replace(SIZES[size], left=SIZES[size].left + (0.2 if reader.grades == "one-in" else 0.1))
    line = 1.6 * own.font / 72
    rows = [
        Row("title", 1.35 * line),
        Row("words", 1.05 * line),
        Row("outcome", 1.05 * line),
        Row("off words", 1.3 * line),
        Row("off", 1.3, grows=True),
        Row("grade words", 1.3 * line),
        Row("grade", 1.3, grows=True),
        Row("shim words", 1.3 * line),
        Row("shim", 1.2, grows=True),
        *distance_rows(line),
        key_row(line),
    ]
    start = float(hill.distance[0])
    along = hill.distance - start
    sheet = Sheet(own, rows, float(along[-1]), reader.length_unit)
    sheet.title(plan.title)
    sheet.heading("words", ["Surveyed hill"], name=clean(hill.name), scale=1.1)
    sheet.heading("outcome", [_outcome(found, reader)])
    _draw_off(sheet, found, reader)
    _draw_grades(sheet, found, reader)
    _draw_shims(sheet, found, reader)
    draw_distance(sheet, f"Distance from the first reading, {sheet.unit}")
    keys = {"measured": _MEASURED, "corrected": _CORRECTED, "meant": _MEANT}
    draw_key(sheet, keys if found.total else {"measured": _MEASURED, "meant": _MEANT})
    return sheet.figure


def _outcome(found: Corrections, reader: Reader) -> str:
    meant = f"Meant: {reader.grade(found.target)} at the most."
    if not found.total:
        return f"{meant} {'No riser need be touched.' if found.met else 'No shim within what is allowed helps.'}"
    if found.met:
        return f"{meant} With the shims below it is as meant."
    return f"{meant} The shims below bring it to {reader.grade(found.reached)}, no lower."


def _draw_off(sheet: Sheet, found: Corrections, reader: Reader) -> None:
    hill = found.surveyed
    unit = "mm" if reader.system == "metric" else "in"
    sheet.heading("off words", [f"Railhead above the even climb from end to end, {unit}"], weight="bold")
    even = hill.height[0] + hill.even_grade * (hill.distance - hill.distance[0])
    off = convert_all(hill.height - even, unit)
    done = convert_all(hill.height - even + found.corrections, unit)
    bar = _SPREAD * convert(hill.reading, unit)
    low, high = min(off.min(), done.min()) - bar, max(off.max(), done.max()) + bar
    room = 0.08 * (high - low)
    axes = sheet.panel("off", low - room, high + room)
    sheet.scale(axes, nice(low, high, 4))
    axes.axhline(0.0, color=INK, lw=0.7, zorder=1)
    x = convert_all(hill.distance - hill.distance[0], sheet.unit)
    axes.errorbar(
        x, off, yerr=bar, marker="o", ms=3.4, capsize=2.0, zorder=3, clip_on=False, gid="measured", **_MEASURED
    )
    if found.total:
        axes.plot(x, done, marker="s", ms=3.0, mfc="white", zorder=4, clip_on=False, gid="corrected", **_CORRECTED)


def _draw_grades(sheet: Sheet, found: Corrections, reader: Reader) -> None:
    hill = found.surveyed
    sheet.heading("grade words", ["Grade from reading to reading, with what is in doubt"], weight="bold")
    height = hill.height + found.corrections
    then = np.diff(height) / np.diff(hill.distance)
    spread = _SPREAD * hill.spreads
    low, high = hill.grades - spread, hill.grades + spread
    axes = grade_panel(sheet, "grade", [low, high, then, np.array([found.target])], reader)
    x = convert_all(hill.distance - hill.distance[0], sheet.unit)
    axes.fill_between(np.repeat(x, 2)[1:-1], np.repeat(low, 2), np.repeat(high, 2), color="#cfe6f5", lw=0, zorder=2)
    stairs(axes, x, hill.grades, gid="measured grade", zorder=3, **_MEASURED)
    if found.total:
        stairs(axes, x, then, gid="corrected grade", zorder=4, **_CORRECTED)
    axes.axhline(found.target, zorder=5, gid="meant", **_MEANT)


def _draw_shims(sheet: Sheet, found: Corrections, reader: Reader) -> None:
    hill = found.surveyed
    unit = "mm" if reader.system == "metric" else "in"
    sheet.heading("shim words", [f"Correction at each riser, up or down, {unit}"], weight="bold")
    tall = convert_all(found.corrections, unit)
    most = max(float(np.abs(tall).max()), convert(found.step, unit))
    axes = sheet.panel("shim", -1.45 * most, 1.45 * most)
    sheet.scale(axes, nice(-most, most, 4))
    axes.axhline(0.0, color=INK, lw=0.7, zorder=4)
    x = convert_all(hill.distance - hill.distance[0], sheet.unit)
    gap = sheet.dots_per_em / 3
    for number, (at, bar, steps) in enumerate(zip(x.tolist(), tall.tolist(), found.steps, strict=True), 1):
        if steps:
            axes.plot([at, at], [0.0, bar], color=INK, lw=4.0, solid_capstyle="butt", zorder=3, gid="shim")
            across, up = sheet.dots(axes, at, bar)
            spot = Spot(across, up + gap, "center", "bottom") if bar > 0 else Spot(across, up - gap, "center", "top")
            sheet.label(f"{number}: {correction_text(steps, found.step)}", [spot], scale=0.92)
