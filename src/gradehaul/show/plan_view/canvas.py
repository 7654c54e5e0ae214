"""The part of a sheet that holds a plan view: its axes, and where places of the plan are on it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.quantities import convert
from gradehaul.show.base.label_placing import Board
from gradehaul.show.base.paper import MARGIN, POINT, SIZES, Paper, SizeName
from gradehaul.show.base.picture import INK
from gradehaul.show.plan_view.styles import SHADES
from gradehaul.track.piecewise import FloatArray

_TALLEST, _LOWEST = 2.0, 0.4
"""The height of the plan on a phone, at the most and at the least, as a share of its width."""

_LEAST = 3.2
"""The least height of the plan on A4, inches: with more notes than leave it that, the sheet is longer."""

_WIDEST = 2.5
"""The width of the widest line, in gauges, unless that is thinner than can be seen."""

_THINNEST = 0.55
"""How thin lines become at the most, as a share of their usual width."""

_GAP = 4.0
"""Half the gap in a track that passes under another, points."""


class Canvas:
    """A sheet with a plan on it, turned by a quarter where that makes better use of it.

    Headline, words, notes and key are as of a `Paper`.
    """

    def __init__(
        self,
        view: PlanView,
        size_name: SizeName,
        unit: str,
        headline: str,
        words: Sequence[str],
        *,
        notes: Sequence[str],
        key: Mapping[str, Artist | tuple[Artist, ...]],
    ) -> None:
        size = SIZES[size_name]
        corners = np.concatenate([track.xy for track in (*view.tracks.values(), *view.unplaced)])
        (left, bottom), (right, top) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
        self.turned = size.height is None and right - left > 1.3 * (top - bottom)
        if self.turned:
            left, right, bottom, top = bottom, top, -right, -left
        wide, tall = right - left, top - bottom
        edge = 0.16 * max(wide, tall)
        share = min(max((tall + 2 * edge) / (wide + 2 * edge), _LOWEST), _TALLEST)
        body = _LEAST if size.height else share * (size.width - 2 * MARGIN)
        self.paper = Paper(size, headline, words, body=body, notes=notes, key=key)
        self.board = Board(gap=0.18 * size.font * POINT)
        low = self.paper.room.bottom + 1.5 * self.paper.dots_per_line
        self.room = self.paper.room._replace(bottom=low)
        pad = (3.2 if size.height else 2.4) * self.paper.dots_per_line
        across, up = self.room.right - self.room.left, self.room.top - self.room.bottom
        self.dots = min((across - 2 * pad) / max(wide, 1e-9), (up - 2 * pad) / max(tall, 1e-9))
        """Dots that a meter of the plan takes."""
        box = self.paper.figure.bbox
        self.axes: Axes = self.paper.figure.add_axes(
            (self.room.left / box.width, low / box.height, across / box.width, up / box.height)
        )
        self.axes.set_axis_off()
        half = (0.5 * across / self.dots, 0.5 * up / self.dots)
        middle = (0.5 * (left + right), 0.5 * (bottom + top))
        self.axes.set_xlim(middle[0] - half[0], middle[0] + half[0])
        self.axes.set_ylim(middle[1] - half[1], middle[1] + half[1])
        gauge = view.plan.scale.gauge * self.dots / POINT
        self.thin = min(max(_WIDEST * gauge / SHADES[-1].width, _THINNEST), 1.0)
        """By how much lines are thinner, so that neighbors stay apart."""
        self._draw_scale(unit)

    def _draw_scale(self, unit: str) -> None:
        """Draw the scale bar at the foot of the plan."""
        paper, left, low = self.paper, self.room.left, self.paper.room.bottom + 0.4 * self.paper.dots_per_line
        wide = convert((self.room.right - left) / self.dots, unit)
        length = float(MaxNLocator(nbins=2, steps=[1, 2, 2.5, 5, 10]).tick_values(0.0, 0.28 * wide)[1])
        long, tick = length / wide * (self.room.right - left), 0.35 * paper.font * POINT
        paper.line(
            [left, left, left, left + long, left + long, left + long],
            [low - tick, low + tick, low, low, low + tick, low - tick],
            color=INK,
            lw=1.2,
            gid="scale bar",
        )
        paper.text(left + long + 2 * tick, low, f"{length:g} {unit}", va="center")

    def xy(self, points: FloatArray) -> FloatArray:
        """Return points of the plan, m, shape (n, 2), as they lie on the axes."""
        return np.column_stack([points[:, 1], -points[:, 0]]) if self.turned else points

    def heading(self, heading: float) -> float:
        """Return a heading of the plan as it runs on the axes."""
        return heading - 0.5 * math.pi if self.turned else heading

    def spot(self, x: float, y: float) -> tuple[float, float]:
        """Return where a place of the plan, m, lies on the sheet, in dots."""
        ((across, up),) = self.axes.transData.transform(self.xy(np.array([[x, y]]))).tolist()
        return across, up

    def course(self, points: FloatArray, *, turned: bool = False) -> FloatArray:
        """Return points every few dots along a line of the plan, shape (n, 2); `turned` where it is as on the axes."""
        corners = np.asarray(self.axes.transData.transform(points if turned else self.xy(points)), dtype=float)
        steps = np.maximum(np.abs(np.diff(corners, axis=0)).max(axis=1, initial=0.0) / 6.0, 1.0)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        fine = np.arange(int(along[-1]) + 1)
        return np.column_stack([np.interp(fine, along, corners[:, k]) for k in (0, 1)])

    def flanks(self, points: FloatArray, off: float) -> FloatArray:
        """Return points every few dots on both sides of a line of the plan, at a distance in points, shape (n, 2)."""
        line = self.course(points)
        along = np.gradient(line, axis=0)
        aside = np.column_stack([-along[:, 1], along[:, 0]])
        aside *= off * POINT / np.maximum(np.hypot(*along.T), 1e-9)[:, None]
        return np.concatenate([line + aside, line - aside])

    def meters(self, points: float) -> float:
        """Return how many m of the plan a length on paper covers, in points."""
        return float(points * POINT / self.dots)


def gaps_under(canvas: Canvas, view: PlanView) -> dict[str, list[tuple[float, float]]]:
    """Return the stretches of each track that lie under another track where they cross, m from its start."""
    found: dict[str, list[tuple[float, float]]] = {}
    for each in view.overpasses:
        half = canvas.meters(_GAP) / max(math.sin(each.angle), 0.25)
        found.setdefault(each.under.track, []).append((each.under.at - half, each.under.at + half))
    return found


def without(start: float, stop: float, gaps: Sequence[tuple[float, float]]) -> Iterator[tuple[float, float]]:
    """Yield what is left of a stretch between gaps."""
    at = start
    for begin, end in sorted(gaps):
        if begin < stop and end > at:
            if begin > at:
                yield at, begin
            at = max(at, end)
    if at < stop:
        yield at, stop
