"""The part of a sheet on which a plan lies: its axes, where places of the plan are on it, gaps under other track."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from matplotlib.axes import Axes

from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.show.base.sheet import SIZES, Row, Sheet, Size, SizeName
from gradehaul.track.piecewise import FloatArray

_TALLEST = 2.0
"""The height of the plan on a phone, at the most, as a share of its width."""

_LOWEST = 0.4
"""And at the least, so that labels have room."""

_WIDEST = 2.5
"""The width of the widest line, in gauges, unless that is thinner than can be seen."""

_THINNEST = 0.55
"""How thin lines become at the most, as a share of their usual width."""

_GAP = 4.0
"""Half the gap in a track that passes under another, points."""


@dataclass(frozen=True, slots=True)
class Canvas:
    """The part of a sheet with the plan on it: axes in meters, turned by a quarter where that makes better use of it.

    `dots` is how many dots a meter takes, `thin` by how much lines are thinner, so that neighbors stay apart.
    """

    sheet: Sheet
    axes: Axes
    turned: bool
    dots: float
    thin: float

    def xy(self, points: FloatArray) -> FloatArray:
        """Return points of the plan, m, shape (n, 2), as they lie on the axes."""
        return np.column_stack([points[:, 1], -points[:, 0]]) if self.turned else points

    def heading(self, heading: float) -> float:
        """Return a heading of the plan as it runs on the axes."""
        return heading - 0.5 * math.pi if self.turned else heading

    def spot(self, x: float, y: float) -> tuple[float, float]:
        """Return where a place of the plan, m, lies on the sheet, in dots."""
        ((across, up),) = self.xy(np.array([[x, y]])).tolist()
        return self.sheet.dots(self.axes, across, up)

    def line(self, points: FloatArray) -> FloatArray:
        """Return points every few dots along a line of the plan, shape (n, 2)."""
        there = self.xy(points)
        return self.sheet.line_dots(self.axes, there[:, 0], there[:, 1])

    def flanks(self, points: FloatArray, off: float) -> FloatArray:
        """Return points every few dots on both sides of a line of the plan, at a distance in points, shape (n, 2)."""
        line = self.line(points)
        along = np.gradient(line, axis=0)
        aside = np.column_stack([-along[:, 1], along[:, 0]])
        aside *= off * self.dots_per_point / np.maximum(np.hypot(*along.T), 1e-9)[:, None]
        return np.concatenate([line + aside, line - aside])

    @property
    def dots_per_point(self) -> float:
        """How many dots a point is on the sheet."""
        return self.sheet.dots_per_em / self.sheet.size.font

    def meters(self, points: float) -> float:
        """Return how many m of the plan a length on paper covers, in points."""
        return points * self.dots_per_point / self.dots


def plan_canvas(
    view: PlanView,
    size_name: SizeName,
    unit: str,
    feet: Callable[[Size, float], list[Row]],
    *,
    thickest: float,
) -> Canvas:
    """Return a sheet with rows for title, words, the plan and the scale, and the plan's axes in theirs.

    Parameters
    ----------
    view
        What lies on it.
    size_name
        The size of the sheet.
    unit
        The unit of lengths on it.
    feet
        Returns the rows under the scale, of a size and the height of a line, inches.
    thickest
        The usual width of the widest line that is drawn for track, points.
    """
    size = replace(SIZES[size_name], left=0.08, right=0.08)
    left, right, bottom, top = view.box
    wide, tall = right - left, top - bottom
    turned = size.height is None and wide > 1.3 * tall
    if turned:
        left, right, bottom, top = bottom, top, -right, -left
        wide, tall = tall, wide
    room = 0.09 if size.roomy else 0.16
    edge = room * max(wide, tall)
    share = min(max((tall + 2 * edge) / (wide + 2 * edge), _LOWEST), _TALLEST)
    across = size.width - size.left - size.right
    line = 1.6 * size.font / 72
    rows = [
        Row("title", 1.35 * line),
        Row("words", 1.05 * line),
        Row("plan", share * across if size.height is None else 2.0, grows=True),
        Row("scale", 1.5 * line),
        *feet(size, line),
    ]
    sheet = Sheet(size, rows, 1.0, unit)
    axes = sheet.panel("plan", 0.0, 1.0, grid=False)
    box = sheet.room("plan")
    pad = 3.2 * sheet.dots_per_line if size.roomy else 2.4 * sheet.dots_per_line
    dots = min((box.right - box.left - 2 * pad) / max(wide, 1e-9), (box.top - box.bottom - 2 * pad) / max(tall, 1e-9))
    half = (0.5 * (box.right - box.left) / dots, 0.5 * (box.top - box.bottom) / dots)
    middle = (0.5 * (left + right), 0.5 * (bottom + top))
    axes.set_xlim(middle[0] - half[0], middle[0] + half[0])
    axes.set_ylim(middle[1] - half[1], middle[1] + half[1])
    gauge = view.plan.scale.gauge * dots * sheet.size.font / sheet.dots_per_em  # points
    thin = min(max(_WIDEST * gauge / thickest, _THINNEST), 1.0)
    return Canvas(sheet, axes, turned, dots, thin)


def gaps_under(canvas: Canvas, view: PlanView) -> dict[str, list[tuple[float, float]]]:
    """Return the stretches of each track that lie under another track where they cross, m from its start."""
    found: dict[str, list[tuple[float, float]]] = {}
    for each in view.overpasses:
        half = canvas.meters(_GAP) / max(math.sin(each.angle), 0.25)
        found.setdefault(each.under.track, []).append((each.under.at - half, each.under.at + half))
    return found


def without(start: float, stop: float, gaps: list[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    """Yield what is left of a stretch between gaps."""
    at = start
    for begin, end in sorted(gaps):
        if begin < stop and end > at:
            if begin > at:
                yield at, begin
            at = max(at, end)
    if at < stop:
        yield at, stop
