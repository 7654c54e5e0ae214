"""Places on the sides of track: which elements of the ways as they are now lie within reach of which points."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.elements import gap, heading, in_plan, level_with, nearest, place, wrapped
from gradehaul.plan.drawing.linking.ways import Ways
from gradehaul.plan.drawing.nearness import Nearness
from gradehaul.plan.drawing.records import Element, FloatArray, Spot

_SLACK = 1e-9
"""What reckoning on arrays may be off, m and radians; who is in doubt by that little is looked at again."""


class Projection(NamedTuple):
    """A place on the side of a way: its element, how far along the element and along the way, and how far off, m."""

    way: int
    number: int
    """The element's number in the index."""
    element: Element
    on_element: float
    along: float
    off: float
    turn: float
    """Angle between the two, radians, 0 for tangent whichever way they run."""


@dataclass(slots=True, eq=False)
class Index:
    """Every element of the ways as they are now, with the way it is of and how far along it begins, and where it lies.

    `length` has the length of each way, m, by its number.
    """

    ways: Ways
    elements: list[Element]
    owner: list[int]
    before: list[float]
    length: dict[int, float]
    nearness: Nearness
    changes: int

    def near(self, spots: Sequence[Spot], distance: float) -> Near:
        """Return which elements may lie within a distance of which points, m, and where, reckoned on arrays."""
        pairs = self.nearness.near(spots, distance)
        which, number = pairs[:, 0], pairs[:, 1]
        along, off = _feet(self.nearness.rows[number], in_plan(spots)[which])
        close = off <= distance + _SLACK
        which, number, along = which[close], number[close], along[close]
        way = np.array(self.owner, dtype=np.int64)[number]
        since = np.array(self.before)[number] + along
        total = np.array([self.length.get(each, 0.0) for each in range(max(self.owner, default=0) + 1)])
        return Near(which, number, way, since, total[way])

    def project(
        self, near: Near, spots: Sequence[Spot], headings: Sequence[float], distance: float, level: float
    ) -> Iterator[tuple[int, Projection]]:
        """Yield the number of a point and the place beside it for pairs that lie within a distance, in height too.

        Parameters
        ----------
        near
            The pairs to be looked at.
        spots, headings
            The points, and directions at them, radians.
        distance, level
            How far off the place may be, m, and how much higher or lower, m.
        """
        for which, number in zip(near.which.tolist(), near.number.tolist(), strict=True):
            element, spot = self.elements[number], spots[which]
            along = nearest(element, spot)
            there = place(element, along)
            off = gap(spot, there)
            if off > distance or not level_with(spot.z, there.z, level):
                continue
            turn = abs(wrapped(2 * (heading(element, along) - headings[which]))) / 2
            since = self.before[number] + along
            yield which, Projection(self.owner[number], number, element, along, since, off, turn)


class Near(NamedTuple):
    """Pairs of a point and an element that is close to it, by their numbers, arrays of one shape (n,).

    `way` is the element's way, `along` how far along that way the place nearest to the point lies, m, and `length` the
    way's length, m. Within `_SLACK`.
    """

    which: NDArray[np.int64]
    number: NDArray[np.int64]
    way: NDArray[np.int64]
    along: FloatArray
    length: FloatArray

    def only(self, those: NDArray[np.bool_]) -> Near:
        """Return some of the pairs."""
        return Near(self.which[those], self.number[those], self.way[those], self.along[those], self.length[those])

    def from_end(self) -> FloatArray:
        """Return how far the places are from the nearer end of their way, m."""
        return np.minimum(self.along, self.length - self.along)


def indexed(ways: Ways, reach: float, before: Index | None = None) -> Index:
    """Return an index of the ways as they are now, for places within some `reach` of points, m.

    That is the index made before, where the ways have not changed since.
    """
    if before is not None and before.ways is ways and before.changes == ways.changes:
        return before
    elements: list[Element] = []
    owner: list[int] = []
    since: list[float] = []
    length: dict[int, float] = {}
    for number, way in ways.all.items():
        passed = 0.0
        for element in way.elements:
            elements.append(element)
            owner.append(number)
            since.append(passed)
            passed += element.length
        length[number] = passed
    return Index(ways, elements, owner, since, length, Nearness(elements, reach), ways.changes)


def _feet(rows: FloatArray, spots: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return how far along elements the places nearest to points lie, m, and how far off: `nearest` on arrays."""
    x, y, direction, curvature, length = rows.T
    right, up = spots[:, 0] - x, spots[:, 1] - y
    cosine, sine = np.cos(direction), np.sin(direction)
    ahead, aside = right * cosine + up * sine, up * cosine - right * sine
    bent = curvature != 0
    bend = np.where(bent, curvature, 1.0)
    along = np.where(bent, np.arctan2(curvature * ahead, 1 - curvature * aside) / bend, ahead)

    def off(where: FloatArray) -> FloatArray:
        half = curvature * where / 2
        chord = where * np.sinc(half / math.pi)
        away: FloatArray = np.hypot(ahead - chord * np.cos(half), aside - chord * np.sin(half))
        return away

    ends = np.where(np.hypot(ahead, aside) <= off(length), 0.0, length)
    along = np.where((along >= 0) & (along <= length), along, ends)
    return along, off(along)
