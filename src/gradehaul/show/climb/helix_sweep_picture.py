"""The chart of a sweep of helices: radius against rise per turn, contours of cars, and what forbids a design."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from gradehaul.design.climb.helix_sweep import Sweep
from gradehaul.errors import DesignError
from gradehaul.quantities import convert
from gradehaul.show.base.picture import Format, drawing_rules, picture_bytes, plain
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.sheet import INK
from gradehaul.track.piecewise import FloatArray

MOST_PANELS = 9
"""Powers times rail conditions on one chart."""

_WIDTH, _HEIGHT, _DOTS = 11.69, 8.27, 150
_HATCH = "#8a8a8a"
_MOST_CONTOURS = 9
_LABELLED = 0.15
"""Share of the panel that a line crosses, one way or the other, before it gets a label."""
_STEPS = (1, 2, 5, 10, 20, 50, 100)


class _Mark(NamedTuple):
    """How a forbidden region is drawn: its hatch and its tint, told apart without color too."""

    words: str
    hatch: str
    tint: str


def sweep_picture(found: Sweep, reader: Reader, form: Format) -> bytes:
    """Return the chart as the content of a file, the same bytes from run to run.

    Raises
    ------
    DesignError
        More panels than a page holds, or a sweep of less than two radii or rises.
    """
    with drawing_rules():
        return picture_bytes(sweep_figure(found, reader), form, dots_per_inch=_DOTS)


def sweep_figure(found: Sweep, reader: Reader) -> Figure:
    """Return the chart as a figure; to be called by the `drawing_rules`, as is all that is done with it."""
    if len(found.powers) * len(found.rails) > MOST_PANELS:
        raise DesignError(
            f"a chart holds {MOST_PANELS} panels",
            found=f"{len(found.powers)} powers on {len(found.rails)} rails",
            write="--power with the one to draw",
        )
    if min(found.grade.shape) < 2:
        raise DesignError("a chart needs two radii and two rises at least", place="--sweep")
    figure = Figure(figsize=(_WIDTH, _HEIGHT), layout="constrained")
    FigureCanvasAgg(figure)
    panels = figure.subplots(len(found.powers), len(found.rails), sharex=True, sharey=True, squeeze=False)
    marks = _marks(found, reader)
    for i, power in enumerate(found.powers):
        for j, rail in enumerate(found.rails):
            axes = panels[i, j]
            _draw(axes, found, found.reach[i, j], reader, marks)
            axes.set_title(plain(f"{power}, {rail} rail"), fontsize=10, loc="left", color=INK)
    unit = reader.length_unit
    for axes in panels[-1]:
        axes.set_xlabel(f"Radius, {unit}", fontsize=9)
    for axes in panels[:, 0]:
        axes.set_ylabel(f"Rise per turn, {unit}", fontsize=9)
    cars = f"cars ({found.car}) to run" if found.car else "no car to count"
    figure.suptitle(plain(f"Round helices: lines are {cars}; hatched is what will not do"), fontsize=13, weight="bold")
    handles = [
        Patch(facecolor=mark.tint, edgecolor=INK, hatch=mark.hatch, label=plain(mark.words)) for mark, _ in marks
    ]
    figure.legend(handles=handles, loc="outside lower center", ncols=len(handles), fontsize=9, frameon=False)
    return figure


def _marks(found: Sweep, reader: Reader) -> list[tuple[_Mark, FloatArray]]:
    steepest = reader.grade(found.steepest)
    marks = [
        (_Mark("head room: the deck above is too low", "///", "#e3e3e3"), found.low_by),
        (_Mark(f"grade: beyond {steepest}", "\\\\\\", "#f2f2f2"), found.steep_by),
    ]
    if found.train is not None:
        words = f"train: {found.train} does not climb on {' or '.join(found.judged)} rail"
        marks.append((_Mark(words, "..", "#ffffff"), found.short_by))
    return marks


def _draw(
    axes: Axes,
    found: Sweep,
    reach: FloatArray,
    reader: Reader,
    marks: list[tuple[_Mark, FloatArray]],
) -> None:
    across = [convert(radius, reader.length_unit) for radius in found.radii.tolist()]
    down = [convert(rise, reader.length_unit) for rise in found.rises.tolist()]
    for mark, beyond in marks:
        if beyond.max() > 0:
            levels = [0.0, float(beyond.max()) * 1.001]
            region = axes.contourf(
                across, down, beyond, levels=levels, colors=[mark.tint], hatches=[mark.hatch], alpha=0.6
            )
            region.set_edgecolor(_HATCH)
            region.set_linewidth(0.0)
            if beyond.min() < 0:
                axes.contour(across, down, beyond, levels=[0.0], colors=INK, linewidths=0.8, linestyles="--")
    low, high = int(reach.min()), int(reach.max())
    step = next((step for step in _STEPS if (high - low) / step <= _MOST_CONTOURS), _STEPS[-1])
    counts = list(range(step * (low // step + 1), high + 1, step))
    if counts:
        # a line runs where a count is reached: on its side of more room and less rise so many cars run
        lines = axes.contour(across, down, reach, levels=counts, colors=INK, linewidths=1.4)
        whole = np.array([across[-1] - across[0], down[-1] - down[0]])
        drawn = [np.asarray(path.vertices) for path in lines.get_paths()]
        # a line across a corner has no room for its label
        long = [corners for corners in drawn if len(corners) and (np.ptp(corners, axis=0) / whole).max() > _LABELLED]
        middles = [tuple(corners[len(corners) // 2].tolist()) for corners in long]
        for label in axes.clabel(lines, fmt="%d", fontsize=9, inline=True, inline_spacing=3, manual=middles):
            label.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 0.6})
    else:
        axes.text(0.5, 0.5, f"{low} everywhere", transform=axes.transAxes, ha="center", fontsize=10)
    axes.set_xlim(across[0], across[-1])
    axes.set_ylim(down[0], down[-1])
    axes.tick_params(labelsize=9)
