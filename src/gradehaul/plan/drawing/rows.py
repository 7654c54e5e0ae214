"""Elements in rows, such as reaches and ways, as columns: what is done to many at once needs no record of each."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from gradehaul.plan.drawing.elements import height
from gradehaul.plan.drawing.records import BoolArray, Element, FloatArray, Inner, IntArray, Spot

Origin = tuple[str, str, float | None]
"""What an element keeps of where it comes from: handle, layer and the spread of its radius."""


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Rows of elements as columns.

    Attributes
    ----------
    start, end
        Where each element begins and ends, m, a height that is not known as nan, shape (n, 3).
    heading, curvature, length
        Its direction at its start, radians, curvature, 1/m, and length, m, shape (n,).
    first
        Where each row begins among them, and behind the last where that ends, shape (r + 1,).
    closed
        Whether each row is a reach that is closed, shape (r,).
    origin, origins
        Of each element the number of its origin, shape (n,), and the origins.
    inner
        The heights drawn between the ends of elements, by their numbers.
    """

    start: FloatArray
    end: FloatArray
    heading: FloatArray
    curvature: FloatArray
    length: FloatArray
    first: IntArray
    closed: BoolArray
    origin: IntArray
    origins: Sequence[Origin]
    inner: Mapping[int, Inner]

    @classmethod
    def of(cls, rows: Iterable[Sequence[Element]], closed: Sequence[bool] = ()) -> Rows:
        """Return rows of elements as columns."""
        rows = list(rows)
        every = [element for row in rows for element in row]
        figures = np.array([(*e.start, *e.end, *e[2:5]) for e in every], dtype=np.float64).reshape(-1, 9)
        numbers: dict[Origin, int] = {}
        origin = [numbers.setdefault((e.handle, e.layer, e.radius_spread), len(numbers)) for e in every]
        return cls(
            figures[:, :3],
            figures[:, 3:6],
            figures[:, 6],
            figures[:, 7],
            figures[:, 8],
            np.cumsum([0, *map(len, rows)]),
            np.array(closed or [False] * len(rows), dtype=bool),
            np.array(origin, dtype=np.int64),
            list(numbers),
            {number: element.inner for number, element in enumerate(every) if element.inner},
        )

    # One by one

    def element(self, number: int) -> Element:
        """Return the record of one element."""
        return self.elements(number, number + 1)[0]

    def row(self, number: int) -> list[Element]:
        """Return the records of one row."""
        return self.elements(int(self.first[number]), int(self.first[number + 1]))

    def rows(self) -> list[list[Element]]:
        """Return the records of all."""
        every = self.elements()
        return [every[low:high] for low, high in pairwise(self.first.tolist())]

    def elements(self, first: int = 0, last: int | None = None) -> list[Element]:
        """Return the records of all elements, or of those from one up to another."""
        those = slice(first, len(self.length) if last is None else last)
        numbers = range(those.start, those.stop)
        ends = spots_of(self.start[those]), spots_of(self.end[those])
        figures = (column[those].tolist() for column in (self.heading, self.curvature, self.length))
        origins = [self.origins[number] for number in self.origin[those].tolist()]
        return [
            Element(start, end, heading, bend, length, handle, layer, spread, self.inner.get(number, ()))
            for number, start, end, heading, bend, length, (handle, layer, spread) in zip(
                numbers, *ends, *figures, origins, strict=True
            )
        ]

    # All at once

    @property
    def owner(self) -> IntArray:
        """The row that each element is of, shape (n,)."""
        return np.repeat(np.arange(len(self.closed)), np.diff(self.first))

    @property
    def before(self) -> FloatArray:
        """How far along its row each element begins, m, shape (n,)."""
        begin = np.concatenate(((0.0,), np.cumsum(self.length)))
        return np.asarray(begin[:-1] - begin[self.first[:-1]][self.owner], dtype=np.float64)

    @property
    def total(self) -> FloatArray:
        """The length of each row, m, shape (r,)."""
        begin = np.concatenate(((0.0,), np.cumsum(self.length)))
        return np.asarray(np.diff(begin[self.first]), dtype=np.float64)

    @property
    def tips(self) -> FloatArray:
        """Where both ends of each row lie, m, shape (2r, 3): row n has 2n and 2n + 1."""
        return np.stack((self.start[self.first[:-1]], self.end[self.first[1:] - 1]), axis=1).reshape(-1, 3)

    @property
    def away(self) -> FloatArray:
        """The directions in which a train enters each row at its two ends, radians, not wrapped, shape (2r,)."""
        last = self.first[1:] - 1
        back = self.heading[last] + self.curvature[last] * self.length[last] + math.pi
        return np.column_stack((self.heading[self.first[:-1]], back)).ravel()

    @property
    def flat(self) -> BoolArray:
        """Whether each row has no height at all, shape (r,)."""
        known = ~np.isnan(self.start[:, 2]) | ~np.isnan(self.end[:, 2])
        found: BoolArray = np.bincount(self.owner, known, len(self.closed)) == 0
        return found

    def places(self, numbers: IntArray, along: FloatArray) -> FloatArray:
        """Return the places at distances along some of the elements, m, shape (n, 2).

        An arc of turn 2h and length s spans a chord of s sin(h)/h in the direction of its middle (plane geometry).
        """
        half = self.curvature[numbers] * along / 2
        chord = along * np.sinc(half / np.pi)
        middle = self.heading[numbers] + half
        found: FloatArray = self.start[numbers, :2] + np.column_stack((chord * np.cos(middle), chord * np.sin(middle)))
        return found

    def circles(self, numbers: IntArray) -> FloatArray:
        """Return the middle and the radius of the circle of each of some arcs, m, shape (n, 3)."""
        radius, heading = 1 / self.curvature[numbers], self.heading[numbers]
        aside = radius[:, None] * np.column_stack((-np.sin(heading), np.cos(heading)))
        return np.column_stack((self.start[numbers, :2] + aside, np.abs(radius)))

    def heights(self, numbers: IntArray, along: FloatArray) -> FloatArray:
        """Return the heights at distances along some of the elements, m, nan where they have none, shape (n,)."""
        low, high = self.start[numbers, 2], self.end[numbers, 2]
        found: FloatArray = low + (high - low) * along / self.length[numbers]
        for each in np.flatnonzero(np.isin(numbers, list(self.inner))).tolist() if self.inner else ():
            found[each] = height(self.element(int(numbers[each])), float(along[each]))
        return found

    def beyond(self, share: float) -> FloatArray:
        """Return the places at a share of the length of each row, m, shape (r, 3)."""
        end = np.cumsum(self.length)
        where = np.append(0.0, end)[self.first[:-1]] + self.total * share
        at = np.clip(np.searchsorted(end, where), self.first[:-1], self.first[1:] - 1)
        on = where - (end - self.length)[at]
        return np.column_stack((self.places(at, on), self.heights(at, on)))

    def taken(self, numbers: IntArray, back: BoolArray, first: IntArray) -> Rows:
        """Return some of the elements in another order, some of them run from their other end, in other rows."""
        start, end = self.start[numbers], self.end[numbers]
        start[back], end[back] = end[back], start[back]
        heading, curvature, length = self.heading[numbers], self.curvature[numbers], self.length[numbers]
        heading[back] = wrapped(heading + curvature * length + math.pi)[back]
        curvature[back] *= -1
        inner = {}
        for number, own in enumerate(numbers.tolist()) if self.inner else ():
            if pairs := self.inner.get(own):
                inner[number] = tuple((1 - share, z) for share, z in reversed(pairs)) if back[number] else pairs
        closed = np.zeros(len(first) - 1, dtype=bool)
        return Rows(start, end, heading, curvature, length, first, closed, self.origin[numbers], self.origins, inner)

    def run(self, ends: IntArray, first: IntArray | None = None) -> Rows:
        """Return rows in another order, each entered at one of its ends; several are one where `first` has them so."""
        own, back = np.divmod(ends, 2)
        size = np.diff(self.first)[own]
        stops = np.concatenate(((0,), np.cumsum(size)))
        within, turned = np.arange(stops[-1]) - np.repeat(stops[:-1], size), np.repeat(back == 1, size)
        numbers = np.repeat(self.first[own], size) + np.where(turned, np.repeat(size, size) - 1 - within, within)
        return self.taken(numbers, turned, stops if first is None else stops[first])

    def only(self, numbers: IntArray) -> Rows:
        """Return some of the rows, in this order."""
        return replace(self.run(2 * numbers), closed=self.closed[numbers])

    def and_those_of(self, other: Rows) -> Rows:
        """Return these rows and others behind them."""
        names = ("start", "end", "heading", "curvature", "length", "closed")
        count = len(self.length)
        return Rows(
            **{name: np.concatenate((getattr(self, name), getattr(other, name))) for name in names},
            first=np.concatenate((self.first[:-1], other.first + count)),
            origin=np.concatenate((self.origin, other.origin + len(self.origins))),
            origins=[*self.origins, *other.origins],
            inner={**self.inner, **{count + number: pairs for number, pairs in other.inner.items()}},
        )

    def raised(self, heights: Mapping[int, tuple[float, float]]) -> Rows:
        """Return rows of which those by their numbers climb evenly between two heights, m."""
        start, end, inner, before = self.start.copy(), self.end.copy(), dict(self.inner), self.before
        for number, (low, high) in heights.items():
            own = slice(self.first[number], self.first[number + 1])
            stops = np.append(before[own], self.total[number])
            climb = low + (high - low) * stops / stops[-1]
            start[own, 2], end[own, 2] = climb[:-1], climb[1:]
            for each in range(own.start, own.stop):
                inner.pop(each, None)
        return replace(self, start=start, end=end, inner=inner)

    def upward(self, rise: float) -> Rows:
        """Return rows with all heights that they have higher by so much, m."""
        if not rise:
            return self
        inner = {number: tuple((share, z + rise) for share, z in pairs) for number, pairs in self.inner.items()}
        up = np.array((0.0, 0.0, rise))
        return replace(self, start=self.start + up, end=self.end + up, inner=inner)

    def halved(self) -> Rows:
        """Return rows of which no element turns by more than half a circle, in equal parts of those that did."""
        turn = np.abs(self.curvature * self.length)
        if (turn <= math.pi).all():
            return self
        more = np.where(turn > math.pi, np.ceil(turn / math.pi - 1e-9), 1).astype(np.int64) - 1
        at = np.repeat(np.arange(len(more)), more)
        rank = np.arange(len(at)) - (np.cumsum(more) - more)[at] + 1
        return self.split(at, self.length[at] * rank / (more[at] + 1))

    def split(self, at: IntArray, on: FloatArray) -> Rows:
        """Return rows with elements cut at distances along them, m, sorted; they are as many as they were."""
        count = np.bincount(at, minlength=len(self.length)) + 1
        of, begin = np.repeat(np.arange(len(count)), count), np.cumsum(count) - count
        after = at + np.arange(len(at)) + 1
        start, end, heading = self.start[of], self.end[of], self.heading[of]
        since, until = np.zeros(len(of)), self.length[of]
        since[after] = until[after - 1] = on
        rise = (self.end[at, 2] - self.start[at, 2]) / self.length[at]
        start[after] = end[after - 1] = np.column_stack((self.places(at, on), self.start[at, 2] + rise * on))
        heading[after] = wrapped(self.heading[at] + self.curvature[at] * on)
        inner: dict[int, Inner] = {}
        for number, pairs in self.inner.items():
            whole = self.element(number)
            for piece in range(begin[number], begin[number] + count[number]):
                low, high = since[piece] / whole.length, until[piece] / whole.length
                if between := tuple(((share - low) / (high - low), z) for share, z in pairs if low < share < high):
                    inner[piece] = between
                start[piece, 2], end[piece, 2] = height(whole, since[piece]), height(whole, until[piece])
        first = np.append(begin, len(of))[self.first]
        figures = (heading, self.curvature[of], until - since)
        return Rows(start, end, *figures, first, self.closed, self.origin[of], self.origins, inner)

    def fused(self, on: BoolArray) -> Rows:
        """Return rows with elements made one with those before them, shape (n,)."""
        begin = np.flatnonzero(~on)
        last = np.append(begin[1:], len(on)) - 1
        inner: dict[int, Inner] = {}
        whole = np.searchsorted(begin, np.array(list(self.inner), dtype=np.int64), side="right") - 1
        for number in np.unique(whole).tolist():
            base, pairs = 0.0, list[tuple[float, float]]()
            for each in range(begin[number], last[number] + 1):
                own = float(self.length[each])
                pairs += [(base, float(self.start[each, 2]))] if base else []
                pairs += [(base + share * own, z) for share, z in self.inner.get(each, ())]
                base += own
            inner[number] = tuple((at / base, z) for at, z in pairs)
        return Rows(
            self.start[begin],
            self.end[last],
            self.heading[begin],
            self.curvature[begin],
            np.add.reduceat(self.length, begin),
            np.searchsorted(begin, self.first),
            self.closed,
            self.origin[begin],
            self.origins,
            inner,
        )


def spots_of(points: FloatArray) -> list[Spot]:
    """Return points, shape (n, 3), of which heights may be nan."""
    return [Spot(x, y, None if math.isnan(z) else z) for x, y, z in points.tolist()]


def wrapped(angles: FloatArray) -> FloatArray:
    """Return angles, radians, brought to -π .. π."""
    return np.asarray(angles - math.tau * np.rint(angles / math.tau), dtype=np.float64)
