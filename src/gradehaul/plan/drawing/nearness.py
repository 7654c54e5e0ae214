"""Which elements lie near which points: an index in plan whose work grows as n log n."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from gradehaul.plan.drawing.elements import in_plan
from gradehaul.plan.drawing.records import Element, FloatArray, Spot

_MOST_CHORDS = 64
"""Chords an element is cut into at most; beyond that they stand off from it and are looked up from further away."""
_OFF = 8.0
"""How far chords may stand off from an arc, in reaches: the fewer chords, the sooner they are all looked through."""


class Nearness:
    """Elements by where they lie, each as a few chords that stay within some reaches of it.

    The chords only choose candidates; how far a point is from an element is reckoned on the true arc.
    """

    def __init__(self, elements: Sequence[Element], reach: float) -> None:
        rows = np.array(
            [(e.start.x, e.start.y, e.heading, e.curvature, e.length) for e in elements], dtype=np.float64
        ).reshape(-1, 5)
        self.rows = rows
        """Start x and y, m, heading, radians, curvature, 1/m, and length, m, of every element, shape (n, 5)."""
        x, y, heading, curvature, length = rows.T
        bend = np.maximum(np.abs(curvature), 1e-12)
        longest = np.minimum(np.sqrt(8 * _OFF * reach / bend), 4 * length.mean() if len(length) else 1.0)
        parts = np.clip(np.ceil(length / longest), 1, _MOST_CHORDS).astype(np.int64)
        self._owner = np.repeat(np.arange(len(rows)), parts)
        first = np.concatenate(([0], np.cumsum(parts)))[:-1]
        number = np.arange(len(self._owner)) - first[self._owner]
        step = (length / parts)[self._owner]
        ends = np.empty((len(self._owner), 2, 2))
        for side in (0, 1):
            along = step * (number + side)
            half = curvature[self._owner] * along / 2
            chord = along * np.sinc(half / np.pi)
            middle = heading[self._owner] + half
            ends[:, side, 0] = x[self._owner] + chord * np.cos(middle)
            ends[:, side, 1] = y[self._owner] + chord * np.sin(middle)
        self._off = float((bend * (length / parts) ** 2 / 8).max(initial=0.0))
        self._tree = shapely.STRtree(np.asarray(shapely.linestrings(ends), dtype=np.object_))

    def near(self, spots: Sequence[Spot], distance: float) -> NDArray[np.int64]:
        """Return pairs of point and element that may be within a distance, m, shape (n, 2), sorted.

        Every pair that is within it is among them.
        """
        if not spots:
            return np.empty((0, 2), dtype=np.int64)
        points = shapely.points(in_plan(spots))
        which, chord = self._tree.query(points, predicate="dwithin", distance=distance + self._off)
        owner = self._owner[chord]
        pair = np.unique(which * (len(self._owner) + 1) + owner)
        return np.column_stack(np.divmod(pair, len(self._owner) + 1))

    def project(
        self, owner: NDArray[np.int64], spots: FloatArray, headings: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return where elements pass abreast of points: along them, and to the left of the points, m, and their turn.

        Parameters
        ----------
        owner
            Elements by number, shape (n,), none of which turns by more than half a circle.
        spots, headings
            A point for each, m, shape (n, 2), and a direction, radians, shape (n,).

        Returns
        -------
            How far along each element, m, nan where it does not pass; how far to the left of its point; and by how much
            its direction there differs from the point's, either way round, -π/2 .. π/2, radians; each shape (n,).
        """
        x, y, heading, curvature, length = self.rows[owner].T
        ahead = (spots[:, 0] - x) * np.cos(heading) + (spots[:, 1] - y) * np.sin(heading)
        aside = (spots[:, 1] - y) * np.cos(heading) - (spots[:, 0] - x) * np.sin(heading)
        straight = np.abs(curvature) < 1e-12
        bend = np.where(straight, 1.0, curvature)
        # In the element's own frame a point (u, v) lies abreast of the turn atan2(κu, 1 - κv) (plane geometry).
        along = np.where(straight, ahead, np.arctan2(bend * ahead, 1 - bend * aside) / bend)
        along = np.where((along >= 0) & (along <= length), along, np.nan)
        half = curvature * along / 2
        chord = along * np.sinc(half / np.pi)
        off_x = x + chord * np.cos(heading + half) - spots[:, 0]
        off_y = y + chord * np.sin(heading + half) - spots[:, 1]
        turn = np.remainder(heading + 2 * half - headings + np.pi / 2, np.pi) - np.pi / 2
        return along, off_y * np.cos(headings) - off_x * np.sin(headings), turn


def dot(spot: Spot) -> Element:
    """Return a point as an element, for an index of elements."""
    return Element(spot, spot, 0.0, 0.0, 1e-9, "", "")


def near_pairs(spots: Sequence[Spot], distance: float) -> NDArray[np.int64]:
    """Return pairs of points within a distance of one another in plan, m, shape (n, 2), the lower number first.

    Examples
    --------
    >>> near_pairs([Spot(0, 0), Spot(3, 0), Spot(0, 1)], 2.0).tolist()
    [[0, 2]]
    """
    return pairs_within(in_plan(spots), distance)


def pairs_within(points: FloatArray, distance: float) -> NDArray[np.int64]:
    """Return pairs of points, shape (n, 2), as `near_pairs` does.

    Examples
    --------
    >>> pairs_within(np.array([(0.0, 0.0), (3.0, 0.0), (0.0, 1.0)]), 2.0).tolist()
    [[0, 2]]
    """
    if len(points) < 2:
        return np.empty((0, 2), dtype=np.int64)
    dots = np.asarray(shapely.points(points), dtype=np.object_)
    one, other = shapely.STRtree(dots).query(dots, predicate="dwithin", distance=distance * (1 + 1e-9))
    near = (one < other) & (np.hypot(*(points[one] - points[other]).T) <= distance)
    pairs = np.column_stack((one[near], other[near]))
    return pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))].astype(np.int64)
