"""Which points and elements lie near which points in plan: by cells of a grid, whose work grows as n log n."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Generic, NamedTuple, TypeAlias, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from gradehaul.plan.components import components
from gradehaul.plan.drawing.elements import in_plan
from gradehaul.plan.drawing.records import BoolArray, FloatArray, IntArray, Label
from gradehaul.plan.drawing.rows import Rows

Whole = TypeVar("Whole", int, IntArray)
Real = TypeVar("Real", float, FloatArray)

_MOST_CELLS = 2**30
"""The most cells of a grid across and up: their numbers fit into 64 bits."""
_SHARE = 1 / 4
"""Elements are looked up by points along them, this share of their mean length apart."""
_ALIKE = 16.0
"""Only elements whose lengths differ by less than this factor share one distance between such points."""


def pairs(points: FloatArray, distance: float, others: FloatArray | None = None) -> tuple[IntArray, IntArray]:
    """Return the numbers of points within a distance, m, of others, or of one another, the lower first; sorted."""
    there = points if others is None else others
    if not len(points) or not len(there):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    every = np.concatenate((points, there))
    low = every.min(axis=0)
    size = max(distance * (1 + 1e-9), float(np.ptp(every, axis=0).max()) / _MOST_CELLS, 1e-12)
    own, cells = (np.floor((each - low) / size).astype(np.int64) + 1 for each in (points, there))
    column = int(max(own[:, 1].max(), cells[:, 1].max())) + 2
    key = cells @ (column, 1)
    by_key = np.argsort(key, kind="stable")
    key = key[by_key]
    middle = ((own[:, :1] + (-1, 0, 1)) * column + own[:, 1:]).ravel()
    first, last = np.searchsorted(key, middle - 1, "left"), np.searchsorted(key, middle + 1, "right")
    count = last - first
    one = np.repeat(np.arange(len(middle)) // 3, count)
    other = by_key[np.arange(len(one)) + np.repeat(first - np.cumsum(count) + count, count)]
    near = np.hypot(*(points[one] - there[other]).T) <= distance
    if others is None:
        near &= one < other
    one, other = one[near], other[near]
    order = np.lexsort((other, one))
    return one[order], other[order]


def places_of(points: FloatArray, distance: float) -> IntArray:
    """Return the place of each point, as the number of the first one there: those within a distance, m, are one place.

    Of points in space, shape (n, 3), the heights may differ by as much.
    """
    spots, own = distinct(np.round(points, 9))
    one, other = pairs(spots[:, :2], distance)
    level = (np.abs(spots[one, 2:] - spots[other, 2:]) <= distance).all(axis=1)
    group = components(len(spots), np.column_stack((one[level], other[level])))[own]
    _, first, back = np.unique(group, return_index=True, return_inverse=True)
    return np.asarray(first[back], dtype=np.int64)


def distinct(points: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return the points that differ, and for each point which of them it is: numpy's own way along an axis is slow."""
    rows = np.ascontiguousarray(points + 0.0)  # so that 0 and -0 are the same bytes
    _, first, own = np.unique(rows.view(f"V{rows.strides[0]}").ravel(), return_index=True, return_inverse=True)
    return rows[first], own


def along_texts(labels: Sequence[Label], step: float, most: int) -> tuple[IntArray, FloatArray]:
    """Return of which text each of some points is, and where they lie: along its middle as it is seen, shape (n, 2).

    They lie no farther apart than a step, m, or part the text into so many parts at the most.
    """
    middle = in_plan([label.seen for label in labels])
    half = np.array([label.half for label in labels], dtype=np.float64).reshape(-1, 2)
    parts = np.minimum(np.ceil(2 * np.hypot(*half.T) / step), most).astype(np.int64)
    of = np.repeat(np.arange(len(labels)), parts + 1)
    first = np.cumsum(parts + 1) - parts - 1
    share = (np.arange(len(of)) - first[of]) / np.maximum(parts, 1)[of] * 2 - 1
    return of, middle[of] + half[of] * share[:, None]


def beside_texts(labels: Sequence[Label], spots: FloatArray, near: float) -> list[tuple[float, int, int]]:
    """Return texts with the points, shape (n, 2), within a distance, m, of where they are seen: a rank, text and point.

    What is beside the middle of a text comes before what is beside one of its ends.

    Examples
    --------
    >>> from gradehaul.plan.drawing.records import Spot
    >>> label = Label("Summit", Spot(0.3, 0), "", "", (0.2, 0.0), (0.2, 0.0))
    >>> beside_texts([label], np.array([(0.3, 0.01), (0.6, 0.01), (0.8, 0)]), 0.05)
    [(0.060249, 0, 1), (0.110125, 0, 0)]
    """
    middle, there = in_plan([label.seen for label in labels]), spots[:, :2]
    half = np.array([label.half for label in labels], dtype=np.float64).reshape(-1, 2)
    of, along = along_texts(labels, near / 2, 100)
    one, spot = pairs(along, 1.04 * near, there)
    text, spot = np.unique(np.column_stack((of[one], spot)), axis=0).T
    away, reach = there[spot] - middle[text], half[text]
    share = np.clip((away * reach).sum(axis=1) / np.maximum((reach**2).sum(axis=1), 1e-18), -1.0, 1.0)
    off = np.hypot(*(away - reach * share[:, None]).T)
    rank = np.round(off + np.hypot(*away.T) / 2, 6)
    rows = zip(rank.tolist(), text.tolist(), spot.tolist(), (off <= near).tolist(), strict=True)
    return sorted((rank, text, spot) for rank, text, spot, fair in rows if fair)


class _Foot(NamedTuple, Generic[Whole, Real]):
    """A place on an element near a point, or columns of many.

    `which` is the point, `number` the element, `on` how far along it the place lies, m, `row` the row that the element
    is of, `along` how far along that, `off` how far from the point, `aside` how far to the left of it, in its
    direction, and `turn` by how much the directions differ there, either way round, 0 to π/2, radians.
    """

    which: Whole
    number: Whole
    on: Real
    row: Whole
    along: Real
    off: Real
    aside: Real
    turn: Real


Foot: TypeAlias = _Foot[int, float]


class Beside(_Foot[IntArray, FloatArray]):
    """The columns of many, shape (n,), sorted by point and element."""

    def only(self, those: BoolArray) -> Beside:
        """Return some of them."""
        return Beside._make(column[those] for column in self)

    def feet(self) -> Iterator[Foot]:
        """Yield one after the other."""
        return map(Foot._make, zip(*(column.tolist() for column in self), strict=True))


class Nearness:
    """Rows of elements by where they lie.

    Attributes
    ----------
    rows
        All of them, in parts that turn by half a circle at most.
    owner, before, total
        Those of `Rows`.
    """

    def __init__(self, rows: Rows) -> None:
        self.rows = rows = rows.halved()
        self.owner, self.before, self.total = rows.owner, rows.before, rows.total
        size = np.maximum(rows.length, 1e-9)
        alike = np.floor(np.log(size.max(initial=1e-9) / size) / np.log(_ALIKE))
        self._alike = [self._points(np.flatnonzero(alike == each)) for each in np.unique(alike)]

    def _points(self, numbers: IntArray) -> tuple[FloatArray, IntArray, float]:
        """Return points along some elements, of which element each is, and how far from the next point one may be.

        A few long elements have as many points as there are elements: few others are looked at for nothing then.
        """
        length = self.rows.length[numbers]
        step = max(float(length.sum()) / max(len(length) / _SHARE, len(self.owner)), 1e-9)
        count = np.maximum(np.ceil(length / step), 1).astype(np.int64)
        of = np.repeat(np.arange(len(count)), count)
        number = np.arange(len(of)) - (np.cumsum(count) - count)[of]
        return self.rows.places(numbers[of], (number + 0.5) * (length / count)[of]), numbers[of], step / 2

    def candidates(self, points: FloatArray, distance: float) -> tuple[IntArray, IntArray]:
        """Return pairs of point and element, sorted: all within a distance, m, and some farther off."""
        whole = len(self.owner) + 1
        found = [np.empty(0, dtype=np.int64)]
        for samples, of, reach in self._alike:
            one, sample = pairs(points[:, :2], (distance + reach) * (1 + 1e-9), samples)
            found.append(one * whole + of[sample])
        return np.divmod(np.unique(np.concatenate(found)), whole)

    def beside(self, spots: FloatArray, distance: float, headings: ArrayLike = 0.0, level: float = 0.0) -> Beside:
        """Return which elements lie within a distance, m, of which points, shape (n, 2 or 3), and where.

        Directions at the points, radians, say what is aside; known heights may differ by `level`, m, 0 for any.
        """
        points = spots[:, :2]
        which, number = self.candidates(points, distance)
        rows, heading = self.rows, np.broadcast_to(np.asarray(headings, dtype=np.float64), len(points))[which]
        direction, curvature, length = rows.heading[number], rows.curvature[number], rows.length[number]
        right, up = (points[which] - rows.start[number, :2]).T
        ahead = right * np.cos(direction) + up * np.sin(direction)
        aside = up * np.cos(direction) - right * np.sin(direction)
        bent = np.abs(curvature) > 1e-12
        # In the element's own frame a point (u, v) lies abreast of the turn atan2(κu, 1 - κv) (plane geometry).
        turned = np.arctan2(curvature * ahead, 1 - curvature * aside)
        on = np.divide(turned, curvature, out=ahead.copy(), where=bent)
        ends = np.where(np.hypot(right, up) <= np.hypot(*(rows.places(number, length) - points[which]).T), 0.0, length)
        on = np.where((on >= 0) & (on <= length), on, ends)
        off_x, off_y = (rows.places(number, on) - points[which]).T
        turn = np.abs(np.remainder(direction + curvature * on - heading + np.pi / 2, np.pi) - np.pi / 2)
        aside = off_y * np.cos(heading) - off_x * np.sin(heading)
        off = np.hypot(off_x, off_y)
        found = Beside(which, number, on, self.owner[number], self.before[number] + on, off, aside, turn)
        fair = off <= distance
        if level:
            fair[fair] = ~(np.abs(rows.heights(number[fair], on[fair]) - spots[which[fair], 2]) > level)
        return found.only(fair)


def walks(partner: Sequence[int]) -> Iterator[list[int]]:
    """Yield things in rows, each as the end where it is entered, rings last.

    Thing n has the ends 2n and 2n + 1; of each the partner is another end, or -1.

    Examples
    --------
    >>> list(walks([-1, 4, -1, -1, 1, -1]))
    [[0, 4], [2]]
    """
    seen = [False] * (len(partner) // 2)
    every = range(len(partner))
    for start in (*(end for end in every if partner[end] < 0), *every):
        row = []
        end = start
        while end >= 0 and not seen[end // 2]:
            seen[end // 2] = True
            row.append(end)
            end = partner[end ^ 1]
        if row:
            yield row
