"""Which elements and points lie near which points: trees in plan, whose work grows as n log n."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from gradehaul.plan.drawing.elements import height, in_plan, level_with
from gradehaul.plan.drawing.records import Element, FloatArray, Spot

IntArray = NDArray[np.int64]

_MOST_CHORDS = 64
"""Chords an element is cut into at most; beyond that they stand off from it and are looked up from further away."""
_OFF = 8.0
"""How far chords may stand off from an arc, in reaches: the fewer chords, the sooner they are all looked through."""


class Beside(NamedTuple):
    """Pairs of a point and an element near it, by their numbers, arrays of shape (n,), sorted by both.

    `along` is how far along the element the place nearest to the point lies, m, and `off` how far from the point;
    `aside` is how far to the left of the point, in its direction; `turn` by how much the directions differ there,
    either way round, 0 to π/2, radians.
    """

    which: IntArray
    number: IntArray
    along: FloatArray
    off: FloatArray
    aside: FloatArray
    turn: FloatArray

    def only(self, those: NDArray[np.bool_]) -> Beside:
        """Return some of the pairs."""
        which, number, *figures = self
        return Beside(which[those], number[those], *(figure[those] for figure in figures))


class Nearness:
    """Elements by where they lie, each as a few chords that stay within some reaches of it; they choose candidates.

    None of the elements turns by more than half a circle.
    """

    def __init__(self, elements: Sequence[Element], reach: float) -> None:
        self.elements = elements
        rows = np.array(
            [(e.start[0], e.start[1], e.heading, e.curvature, e.length) for e in elements], dtype=np.float64
        ).reshape(-1, 5)
        self.rows = rows
        """Start x and y, m, heading, radians, curvature, 1/m, and length, m, of every element, shape (n, 5)."""
        curvature, length = rows.T[3:]
        bend = np.maximum(np.abs(curvature), 1e-12)
        longest = np.minimum(np.sqrt(8 * _OFF * reach / bend), 4 * length.mean() if len(length) else 1.0)
        parts = np.clip(np.ceil(length / longest), 1, _MOST_CHORDS).astype(np.int64)
        self._owner = np.repeat(np.arange(len(rows)), parts)
        number = np.arange(len(self._owner)) - (np.cumsum(parts) - parts)[self._owner]
        step = (length / parts)[self._owner]
        ends = np.stack([_places(rows[self._owner], step * (number + side)) for side in (0, 1)], axis=1)
        self._off = float((bend * (length / parts) ** 2 / 8).max(initial=0.0))
        self._tree = shapely.STRtree(np.asarray(shapely.linestrings(ends), dtype=np.object_))

    def candidates(self, points: FloatArray, distance: float) -> IntArray:
        """Return pairs of point and element, shape (n, 2), sorted: all within a distance, m, and some farther off."""
        if not len(points):
            return np.empty((0, 2), dtype=np.int64)
        which, chord = self._tree.query(
            shapely.points(points), predicate="dwithin", distance=distance * (1 + 1e-9) + self._off
        )
        pair = np.unique(which * (len(self._owner) + 1) + self._owner[chord])
        return np.column_stack(np.divmod(pair, len(self._owner) + 1))

    def beside(self, spots: Sequence[Spot], distance: float, headings: ArrayLike = 0.0, level: float = 0.0) -> Beside:
        """Return which elements lie within a distance of which points, m, and where.

        Parameters
        ----------
        spots, distance
            The points and how far off elements may lie, m.
        headings
            The direction at each point, radians.
        level
            How much the heights may differ, m, where both are known; 0 for any.
        """
        points = in_plan(spots)
        which, number = self.candidates(points, distance).T
        rows, heading = self.rows[number], np.broadcast_to(np.asarray(headings, dtype=np.float64), len(points))[which]
        direction, curvature, length = rows.T[2:]
        right, up = (points[which] - rows[:, :2]).T
        ahead = right * np.cos(direction) + up * np.sin(direction)
        aside = up * np.cos(direction) - right * np.sin(direction)
        bent = np.abs(curvature) > 1e-12
        # In the element's own frame a point (u, v) lies abreast of the turn atan2(κu, 1 - κv) (plane geometry).
        turned = np.arctan2(curvature * ahead, 1 - curvature * aside)
        along = np.divide(turned, curvature, out=ahead.copy(), where=bent)
        ends = np.where(np.hypot(right, up) <= np.hypot(*(_places(rows, length) - points[which]).T), 0.0, length)
        along = np.where((along >= 0) & (along <= length), along, ends)
        off_x, off_y = (_places(rows, along) - points[which]).T
        turn = np.abs(np.remainder(direction + curvature * along - heading + np.pi / 2, np.pi) - np.pi / 2)
        aside = off_y * np.cos(heading) - off_x * np.sin(heading)
        found = Beside(which, number, along, np.hypot(off_x, off_y), aside, turn)
        found = found.only(found.off <= distance)
        if not level or all(spot[2] is None for spot in spots):
            return found
        pairs = zip(found.which.tolist(), found.number.tolist(), found.along.tolist(), strict=True)
        fair = [level_with(spots[one].z, height(self.elements[other], at), level) for one, other, at in pairs]
        return found.only(np.array(fair, dtype=bool))


def _places(rows: FloatArray, along: FloatArray) -> FloatArray:
    """Return the places at distances along elements, m, shape (n, 2).

    An arc of turn 2h and length s spans a chord of s sin(h)/h in the direction of its middle (plane geometry).
    """
    half = rows[:, 3] * along / 2
    chord = along * np.sinc(half / np.pi)
    middle = rows[:, 2] + half
    return rows[:, :2] + np.column_stack((chord * np.cos(middle), chord * np.sin(middle)))


def near_pairs(spots: Sequence[Spot], distance: float) -> IntArray:
    """Return pairs of points within a distance of one another in plan, m, shape (n, 2), the lower number first.

    Examples
    --------
    >>> near_pairs([Spot(0, 0), Spot(3, 0), Spot(0, 1)], 2.0).tolist()
    [[0, 2]]
    """
    return pairs_within(in_plan(spots), distance)


def pairs_within(points: FloatArray, distance: float) -> IntArray:
    """Return pairs of points, shape (n, 2), as `near_pairs` does."""
    one, other, _ = _pairs(points, points, distance)
    return np.column_stack((one, other))[one < other]


def pairs_between(spots: Sequence[Spot], others: Sequence[Spot], distance: float) -> Iterator[tuple[int, int, float]]:
    """Yield the numbers of points of two sets within a distance of one another, m, sorted, and how far they are apart.

    Examples
    --------
    >>> list(pairs_between([Spot(0, 0)], [Spot(3, 4), Spot(0, 1)], 2.0))
    [(0, 1, 1.0)]
    """
    one, other, off = _pairs(in_plan(spots), in_plan(others), distance)
    return zip(one.tolist(), other.tolist(), off.tolist(), strict=True)


def _pairs(points: FloatArray, others: FloatArray, distance: float) -> tuple[IntArray, IntArray, FloatArray]:
    if not len(points) or not len(others):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64), np.empty(0)
    dots = np.asarray(shapely.points(others), dtype=np.object_)
    own = dots if points is others else shapely.points(points)
    one, other = shapely.STRtree(dots).query(own, predicate="dwithin", distance=distance * (1 + 1e-9))
    off = np.hypot(*(points[one] - others[other]).T)
    order = np.lexsort((other, one))
    order = order[off[order] <= distance]
    return one[order].astype(np.int64), other[order].astype(np.int64), off[order]


def components(count: int, pairs: ArrayLike) -> IntArray:
    """Return for each of so many things the least number of those that it hangs together with by pairs, shape (n,).

    Examples
    --------
    >>> components(5, [(1, 3), (3, 4)]).tolist()
    [0, 1, 2, 1, 1]
    """
    one, other = np.asarray(pairs, dtype=np.int64).reshape(-1, 2).T
    found = np.arange(count)
    while (found[one] != found[other]).any():  # scipy's own would take a third of a second to load
        low, high = np.sort((found[one], found[other]), axis=0)
        np.minimum.at(found, high, low)
        while (found != found[found]).any():
            found = found[found]
    return found
