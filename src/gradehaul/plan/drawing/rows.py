"""Elements in rows, such as reaches and ways, as columns: what is done to many at once needs no record of each."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.elements import height
from gradehaul.plan.drawing.records import Element, FloatArray, Inner, Spot

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

Origin = tuple[str, str, float | None]
"""What an element keeps of where it comes from: handle, layer and the spread of its radius."""

X, Y, HEADING, CURVATURE, LENGTH, LOW, HIGH, END_X, END_Y = range(9)


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Rows of elements as columns.

    Attributes
    ----------
    table
        Of each element where it begins, x and y, m, its heading, radians, curvature, 1/m, and length, m, the heights of
        its two ends, m or nan, and where it ends, x and y, m: shape (n, 9).
    first
        Where each row begins in it, and behind the last where that ends, shape (r + 1,).
    closed
        Whether each row is a reach that is closed, shape (r,).
    origin, origins
        Of each element the number of its origin, shape (n,), and the origins.
    inner
        The heights drawn between the ends of elements, by their numbers.
    """

    table: FloatArray
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
        figures = [(*e.start[:2], *e[2:5], e.start[2], e.end[2], *e.end[:2]) for e in every]
        numbers: dict[Origin, int] = {}
        origin = [numbers.setdefault((e.handle, e.layer, e.radius_spread), len(numbers)) for e in every]
        return cls(
            np.array(figures, dtype=np.float64).reshape(-1, 9),
            np.cumsum([0, *map(len, rows)]),
            np.array(closed or [False] * len(rows), dtype=bool),
            np.array(origin, dtype=np.int64),
            list(numbers),
            {number: element.inner for number, element in enumerate(every) if element.inner},
        )

    # One by one

    def element(self, number: int) -> Element:
        """Return the record of one element."""
        return self._records(slice(number, number + 1))[0]

    def row(self, number: int) -> list[Element]:
        """Return the records of one row."""
        return self._records(slice(int(self.first[number]), int(self.first[number + 1])))

    def rows(self) -> list[list[Element]]:
        """Return the records of all."""
        every, first = self._records(slice(0, len(self.table))), self.first.tolist()
        return [every[low:high] for low, high in pairwise(first)]

    def _records(self, those: slice) -> list[Element]:
        return [
            Element(
                Spot(x, y, None if math.isnan(low) else low),
                Spot(end_x, end_y, None if math.isnan(high) else high),
                heading,
                curvature,
                length,
                handle,
                layer,
                spread,
                self.inner.get(number, ()),
            )
            for number, (handle, layer, spread), (x, y, heading, curvature, length, low, high, end_x, end_y) in zip(
                range(those.start, those.stop),
                (self.origins[origin] for origin in self.origin[those].tolist()),
                self.table[those].tolist(),
                strict=True,
            )
        ]

    # All at once

    @property
    def owner(self) -> IntArray:
        """The row that each element is of, shape (n,)."""
        return np.repeat(np.arange(len(self.first) - 1), np.diff(self.first))

    @property
    def before(self) -> FloatArray:
        """How far along its row each element begins, m, shape (n,)."""
        begin = np.concatenate(((0.0,), np.cumsum(self.table[:, LENGTH])))
        return np.asarray(begin[:-1] - begin[self.first[:-1]][self.owner], dtype=np.float64)

    @property
    def length(self) -> FloatArray:
        """The length of each row, m, shape (r,)."""
        begin = np.concatenate(((0.0,), np.cumsum(self.table[:, LENGTH])))
        return np.asarray(begin[self.first[1:]] - begin[self.first[:-1]], dtype=np.float64)

    @property
    def tips(self) -> FloatArray:
        """Where both ends of each row lie, m, a height that is not known as nan: row n has 2n and 2n + 1; (2r, 3)."""
        start = self.table[self.first[:-1]][:, (X, Y, LOW)]
        end = self.table[self.first[1:] - 1][:, (END_X, END_Y, HIGH)]
        return np.stack((start, end), axis=1).reshape(-1, 3)

    @property
    def away(self) -> FloatArray:
        """The directions in which a train enters each row at its two ends, radians, not wrapped, shape (2r,)."""
        last = self.table[self.first[1:] - 1]
        back = last[:, HEADING] + last[:, CURVATURE] * last[:, LENGTH] + math.pi
        return np.column_stack((self.table[self.first[:-1], HEADING], back)).ravel()

    @property
    def flat(self) -> BoolArray:
        """Whether each row has no height at all, shape (r,)."""
        known = ~np.isnan(self.table[:, LOW : HIGH + 1]).all(axis=1)
        found: BoolArray = np.bincount(self.owner, known, len(self.closed)) == 0
        return found

    def taken(self, numbers: IntArray, back: BoolArray, first: IntArray) -> Rows:
        """Return some of the elements in another order, some of them run from their other end, in other rows."""
        table = self.table[numbers]
        x, y, heading, curvature, length, low, high, end_x, end_y = table[back].T
        onward = wrapped(heading + curvature * length + math.pi)
        table[back] = np.column_stack((end_x, end_y, onward, -curvature, length, high, low, x, y))
        inner = {}
        if self.inner:
            for number, own in enumerate(numbers.tolist()):
                pairs = self.inner.get(own, ())
                if pairs:
                    inner[number] = tuple((1 - share, z) for share, z in reversed(pairs)) if back[number] else pairs
        return Rows(table, first, np.zeros(len(first) - 1, dtype=bool), self.origin[numbers], self.origins, inner)

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
        count = len(self.table)
        return Rows(
            np.concatenate((self.table, other.table)),
            np.concatenate((self.first[:-1], other.first + count)),
            np.concatenate((self.closed, other.closed)),
            np.concatenate((self.origin, other.origin + len(self.origins))),
            [*self.origins, *other.origins],
            {**self.inner, **{count + number: pairs for number, pairs in other.inner.items()}},
        )

    def raised(self, heights: Mapping[int, tuple[float, float]]) -> Rows:
        """Return rows of which those by their numbers climb evenly between two heights, m."""
        table, inner, before = self.table.copy(), dict(self.inner), self.before
        for number, (low, high) in heights.items():
            own = slice(self.first[number], self.first[number + 1])
            stops = np.append(before[own], self.length[number])
            climb = low + (high - low) * stops / stops[-1]
            table[own, LOW], table[own, HIGH] = climb[:-1], climb[1:]
            for each in range(own.start, own.stop):
                inner.pop(each, None)
        return replace(self, table=table, inner=inner)

    def halved(self) -> Rows:
        """Return rows of which no element turns by more than half a circle, in equal parts of those that did."""
        turn = np.abs(self.table[:, CURVATURE] * self.table[:, LENGTH])
        if (turn <= math.pi).all():
            return self
        parts = np.where(turn > math.pi, np.ceil(turn / math.pi - 1e-9), 1).astype(np.int64)
        at = np.repeat(np.arange(len(parts)), parts - 1)
        rank = np.arange(len(at)) - (np.cumsum(parts - 1) - parts + 1)[at] + 1
        return self.split(at, self.table[at, LENGTH] * rank / parts[at])[0]

    def split(self, at: IntArray, on: FloatArray) -> tuple[Rows, IntArray]:
        """Return rows with elements cut at distances along them, m, sorted, and the number of what begins at each."""
        count = np.bincount(at, minlength=len(self.table)) + 1
        of, begin = np.repeat(np.arange(len(count)), count), np.cumsum(count) - count
        after = at + np.arange(len(at)) + 1
        length = self.table[of, LENGTH]
        since, until = np.zeros(len(of)), length.copy()
        since[after] = until[after - 1] = on
        old, table = self.table[of], self.table[of]
        rise = (old[:, HIGH] - old[:, LOW]) / length
        table[after, X : Y + 1] = places(old[after], on)
        table[after - 1, END_X : END_Y + 1] = table[after, X : Y + 1]
        table[after, HEADING] = wrapped(old[after, HEADING] + old[after, CURVATURE] * on)
        table[:, LENGTH] = until - since
        table[after, LOW] = table[after - 1, HIGH] = old[after, LOW] + rise[after] * on
        inner: dict[int, Inner] = {}
        for number, pairs in self.inner.items():
            whole = self.element(number)
            for piece in range(begin[number], begin[number] + count[number]):
                low, high = since[piece] / whole.length, until[piece] / whole.length
                if between := tuple(((share - low) / (high - low), z) for share, z in pairs if low < share < high):
                    inner[piece] = between
                table[piece, LOW : HIGH + 1] = [height(whole, each) for each in (since[piece], until[piece])]
        first = np.append(begin, len(of))[self.first]
        return Rows(table, first, self.closed, self.origin[of], self.origins, inner), after

    def fused(self, on: BoolArray) -> Rows:
        """Return rows with elements made one with those before them, shape (n,)."""
        begin = np.flatnonzero(~on)
        table, last = self.table[begin], np.append(begin[1:], len(on)) - 1
        table[:, LENGTH] = np.add.reduceat(self.table[:, LENGTH], begin) if len(begin) else 0.0
        table[:, HIGH:] = self.table[last, HIGH:]
        inner: dict[int, Inner] = {}
        whole = np.searchsorted(begin, np.array(list(self.inner), dtype=np.int64), side="right") - 1
        for number in np.unique(whole).tolist():
            base, pairs = 0.0, list[tuple[float, float]]()
            for each in range(begin[number], last[number] + 1):
                own = float(self.table[each, LENGTH])
                pairs += [(base, float(self.table[each, LOW]))] if base else []
                pairs += [(base + share * own, z) for share, z in self.inner.get(each, ())]
                base += own
            inner[number] = tuple((at / base, z) for at, z in pairs)
        first = np.searchsorted(begin, self.first)
        return Rows(table, first, self.closed, self.origin[begin], self.origins, inner)


def spot_of(point: FloatArray) -> Spot:
    """Return a point of which the height may be nan."""
    x, y, z = point.tolist()
    return Spot(x, y, None if math.isnan(z) else z)


def wrapped(angles: FloatArray) -> FloatArray:
    """Return angles, radians, brought to -π .. π."""
    return np.asarray(angles - math.tau * np.rint(angles / math.tau), dtype=np.float64)


def places(table: FloatArray, along: FloatArray) -> FloatArray:
    """Return the places at distances along elements, m, shape (n, 2).

    An arc of turn 2h and length s spans a chord of s sin(h)/h in the direction of its middle (plane geometry).
    """
    half = table[:, CURVATURE] * along / 2
    chord = along * np.sinc(half / np.pi)
    middle = table[:, HEADING] + half
    found: FloatArray = table[:, : Y + 1] + np.column_stack((chord * np.cos(middle), chord * np.sin(middle)))
    return found
