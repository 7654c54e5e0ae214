"""The chart of a sweep of helices: radius against rise per turn, contours of cars, and what forbids a design."""

from __future__ import annotations

from itertools import chain
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from gradehaul.design.climb.helix_sweep import Sweep
from gradehaul.errors import DesignError
from gradehaul.quantities import convert
from gradehaul.show.base.labels import percent_words
from gradehaul.show.base.paper import SIZES, Paper
from gradehaul.show.base.picture import FAINT, INK, as_picture, plain
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.track.piecewise import FloatArray

MOST_PANELS = 9
"""Powers times rail conditions on one chart."""

_LABELLED = 0.15
"""Share of the panel that a line crosses, one way or the other, before it gets a label."""


_FAILS = {"up": "does not climb", "down": "does not hold back", "both": "does not climb, or hold back going down,"}
"""What a train does that does not get over a design."""


class _Region(NamedTuple):
    """How a forbidden region is drawn: its hatch and its tint, distinct without color too."""

    words: str
    hatch: str
    tint: str
    beyond: FloatArray


def sweep_figure(found: Sweep, units: UnitFormat) -> Figure:
    """Return the chart as a figure; to be called by the `drawing_rules`, as is all that is done with it."""
    powers, rails = {each.power for each in found.cars}, {each.rail for each in found.cars}
    if len(found.cars) > MOST_PANELS:
        raise DesignError(
            f"a chart holds {MOST_PANELS} panels",
            found=f"{len(powers)} powers on {len(rails)} rails",
            write="--power with the one to draw",
        )
    if min(found.grade.shape) < 2:
        raise DesignError("a chart needs two radii and two rises at least", place="--sweep")
    regions = _regions(found, units)
    cars = f"Lines: the most cars ({found.car})" if found.car else "No car to count"
    key: dict[str, Patch | Line2D] = {
        each.words: Patch(facecolor=each.tint, edgecolor=INK, hatch=each.hatch) for each in regions
    }
    if found.nearest is not None:
        key["nearest design that works"] = Line2D([], [], **_NEAREST)
        key["outside: not calculated"] = Patch(facecolor=_OUTSIDE)
    paper = Paper(
        SIZES["a4"],
        _headline(found, units),
        [f"{cars}. Hatched: what does not work, and why"],
        body=4.0,
        key=dict(key),
    )
    panels = paper.grid(len(powers), len(rails))
    for axes, each in zip(chain.from_iterable(panels), found.cars, strict=True):
        _draw(axes, found, each.reach, units, regions)
        axes.set_title(plain(f"{each.power}, {each.rail} rail"), fontsize=paper.font, loc="left", color=INK)
    for axes in panels[-1]:
        axes.set_xlabel(f"Radius{' of the inner track' if found.two else ''}, {units.length_unit}")
    for row in panels:
        row[0].set_ylabel(f"Rise per turn, {units.length_unit}")
    return paper.figure


sweep_picture = as_picture(sweep_figure)


_NEAREST: dict[str, Any] = {"ls": "", "marker": "*", "ms": 13, "mfc": "white", "mec": INK, "mew": 1.2}


_OUTSIDE = "#c9d3dc"
"""The part of a chart around its grid, which nothing is known of."""


def _headline(found: Sweep, units: UnitFormat) -> str:
    if found.possible.any():
        return f"{percent_words(float(found.possible.mean()))} of the helices on this chart work"
    nearest = "; none was found near it"
    if found.nearest is not None:
        radius, rise = found.nearest
        grade = units.grade(rise / (2 * np.pi * radius))
        nearest = f"; the nearest that does: radius {units.length(radius)}, {units.length(rise)} a turn, {grade}"
    return f"No design on this chart works{nearest}"


def _regions(found: Sweep, units: UnitFormat) -> list[_Region]:
    regions = [
        _Region("headroom: the deck above is too low", "///", "#e3e3e3", found.low_by),
        _Region(f"grade: over {units.grade(found.steepest)}", "\\\\\\", "#f2f2f2", found.steep_by),
    ]
    if found.train is not None:
        words = f"train: {found.train} {_FAILS[found.direction]} on {' or '.join(found.judged)} rail"
        regions.append(_Region(words, "..", "#ffffff", found.short_by))
    return regions


def _draw(axes: Axes, found: Sweep, reach: FloatArray, units: UnitFormat, regions: list[_Region]) -> None:
    across, down = (convert(1.0, units.length_unit) * each for each in (found.radii, found.rises))
    for each in regions:
        most = float(each.beyond.max())
        if most > 0:
            region = axes.contourf(
                across,
                down,
                each.beyond,
                levels=[0.0, most * 1.001],
                colors=[each.tint],
                hatches=[each.hatch],
                alpha=0.6,
            )
            region.set_edgecolor(FAINT)
            region.set_linewidth(0.0)
            if each.beyond.min() < 0:
                axes.contour(across, down, each.beyond, levels=[0.0], colors=INK, linewidths=0.8, linestyles="--")
    counts = [
        count for count in MaxNLocator(9, integer=True).tick_values(reach.min(), reach.max())
        if reach.min() < count <= reach.max() and count >= 1
    ]  # fmt: skip
    if counts:
        # a line runs where a count is reached: on its side of more room and less rise so many cars run
        lines = axes.contour(across, down, reach, levels=counts, colors=INK, linewidths=1.4)
        whole = np.array([np.ptp(across), np.ptp(down)])
        drawn = [np.asarray(path.vertices) for path in lines.get_paths()]
        # a line across a corner has no room for its label
        long = [corners for corners in drawn if len(corners) and (np.ptp(corners, axis=0) / whole).max() > _LABELLED]
        middles = [tuple(corners[len(corners) // 2].tolist()) for corners in long]
        for label in axes.clabel(lines, fmt="%d", fontsize=8.5, inline=True, inline_spacing=3, manual=middles):
            label.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 0.6})
    else:
        axes.text(0.5, 0.5, f"{int(reach.min())} everywhere", transform=axes.transAxes, ha="center")
    left, right, low, high = across[0], across[-1], down[0], down[-1]
    if found.nearest is not None:
        axes.set_facecolor(_OUTSIDE)
        axes.fill([left, right, right, left], [low, low, high, high], color="white", zorder=0.5)
        x, y = (convert(each, units.length_unit) for each in found.nearest)
        axes.plot([x], [y], zorder=6, gid="nearest", **_NEAREST)
        whole_x, whole_y = max(right, x) - min(left, x), max(high, y) - min(low, y)
        left, right = min(left, x - 0.05 * whole_x), max(right, x + 0.05 * whole_x)
        low, high = min(low, y - 0.05 * whole_y), max(high, y + 0.05 * whole_y)
    axes.set_xlim(left, right)
    axes.set_ylim(low, high)
