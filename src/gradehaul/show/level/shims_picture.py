"""The picture of a surveyed hill: how far readings lie off the even climb, the grades they make, and the shims."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from gradehaul.design.level.shims import Corrections
from gradehaul.plan.names import clean
from gradehaul.plan.records import Plan
from gradehaul.quantities import convert
from gradehaul.show.base.band import Band, Column
from gradehaul.show.base.colors import EVEN, INK, PALE_CURVED
from gradehaul.show.base.paper import SIZES, Panel, Paper, SizeName, grade_axis, words_alone
from gradehaul.show.base.picture import as_picture
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.level.picture import stairs
from gradehaul.show.level.shims_text import correction_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_MEASURED: dict[str, Any] = {"color": EVEN, "lw": 1.4, "ls": (0, (6, 2))}
_CORRECTED: dict[str, Any] = {"color": INK, "lw": 1.6, "ls": "-"}
_WANTED: dict[str, Any] = {"color": "#7a1330", "lw": 1.0, "ls": (0, (1, 1.6))}
_SPREAD = 2.0
"""Standard deviations either way that a bar or a band covers: 19 cases of 20."""


def shims_figure(plan: Plan, found: Corrections, units: UnitFormat, *, size: SizeName = "a4") -> Figure:
    """Return the picture as a figure; to be called by the `drawing_rules`, as is all that is done with it."""
    hill, unit = found.surveyed, units.length_unit
    along = convert(1.0, unit) * (hill.distance - hill.distance[0])
    words = f"{plan.title}: surveyed hill {clean(hill.name)}, by distance from the first reading, {unit}"
    paper = Paper(SIZES[size], _headline(found, units), [words])
    columns = [
        Column(
            at,
            (
                f"{number}",
                units.number(at / convert(1.0, unit), fine=True),
                units.number(height, fine=True),
                correction_text(steps, found.step),
            ),
        )
        for number, (at, height, steps) in enumerate(
            zip(along.tolist(), hill.height.tolist(), found.steps, strict=True), 1
        )
    ]
    band = Band(paper, ("riser", "distance", "railhead", "shim"), columns, {})
    panels = paper.panels(
        {"off": Panel(1.2, 1.0), "grade": Panel(1.2, 1.0), "band": Panel(band.height)}, (0.0, float(along[-1]))
    )
    _draw_off(paper, panels["off"], found, units)
    _draw_grades(paper, panels["grade"], found, units)
    band.prepare(panels["band"])
    paper.settle()
    band.draw(panels["band"])
    return paper.figure


shims_picture = as_picture(shims_figure)


def _headline(found: Corrections, units: UnitFormat) -> str:
    wanted = f"Wanted: {units.grade(found.target)} at the most."
    if not found.total:
        return f"{wanted} {'No riser needs a shim.' if found.met else 'No shim within what is allowed helps.'}"
    if found.met:
        return f"{wanted} The shims below reach it."
    why = "the nearest that their step gives" if found.step_alone else "no lower"
    return f"{wanted} The shims below bring it to {units.grade(found.reached)}, {why}."


def _draw_off(paper: Paper, axes: Axes, found: Corrections, units: UnitFormat) -> None:
    """Draw how far readings lie off the even climb, and the shims that bring them elsewhere."""
    hill, unit = found.surveyed, "mm" if units.system == "metric" else "in"
    even = hill.height[0] + hill.even_grade * (hill.distance - hill.distance[0])
    off, done = (convert(1.0, unit) * each for each in (hill.height - even, hill.height - even + found.corrections))
    x = convert(1.0, units.length_unit) * (hill.distance - hill.distance[0])
    bars = axes.errorbar(
        x, off, yerr=_SPREAD * convert(hill.reading, unit), marker="o", ms=3.4, capsize=2.0, zorder=3, clip_on=False,
        gid="measured", **_MEASURED,
    )  # fmt: skip
    key: dict[str, Artist] = {f"Railhead above the even climb, {unit}": words_alone(), "measured": bars.lines[0]}
    if found.total:
        style: dict[str, Any] = {"marker": "s", "ms": 3.0, "mfc": "white", "clip_on": False}
        (key["with shims"],) = axes.plot(x, done, zorder=4, gid="corrected", **style, **_CORRECTED)
    for at, low, high, steps in zip(x, off, done, found.steps, strict=True):
        if steps:
            axes.plot([at, at], [low, high], color=INK, lw=4.0, solid_capstyle="butt", zorder=2, gid="shim")
    axes.axhline(0.0, color=INK, lw=0.7, zorder=1)
    axes.margins(y=0.08)
    axes.set_ylabel(unit)
    paper.key_above(axes, key)


def _draw_grades(paper: Paper, axes: Axes, found: Corrections, units: UnitFormat) -> None:
    hill = found.surveyed
    times = convert(1.0, units.grade_unit)
    spread = _SPREAD * hill.spreads
    x = convert(1.0, units.length_unit) * (hill.distance - hill.distance[0])
    low, high = (times * np.repeat(each, 2) for each in (hill.grades - spread, hill.grades + spread))
    axes.fill_between(np.repeat(x, 2)[1:-1], low, high, color=PALE_CURVED, lw=0, zorder=2)
    key: dict[str, Artist] = {
        "Grade from reading to reading": words_alone(),
        "measured": stairs(axes, x, hill.grades, units, gid="measured grade", zorder=3, **_MEASURED),
        "in doubt": Patch(facecolor=PALE_CURVED),
    }
    if found.total:
        then = np.diff(hill.height + found.corrections) / np.diff(hill.distance)
        key["with shims"] = stairs(axes, x, then, units, gid="corrected grade", zorder=4, **_CORRECTED)
    key["wanted"] = axes.axhline(times * found.target, zorder=5, gid="wanted", **_WANTED)
    grade_axis(axes, units)
    paper.key_above(axes, key)
