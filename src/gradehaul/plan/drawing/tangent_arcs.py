"""Straights and arcs that meet as tangents: the record of a chain, and where its elements end."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Arcs:
    """A chain of k straights and arcs, and which of n vertices each of them is laid through.

    Attributes
    ----------
    start
        Position, m, and heading, radians, at the start of each, shape (k, 3).
    curvature
        Signed, 1/m, left positive; exactly 0 for a straight, shape (k,).
    length
        m, shape (k,).
    straight
        Whether it is held straight, shape (k,).
    first
        Vertices ``first[j]`` to ``first[j + 1] - 1`` belong to element j, shape (k + 1,). In a closed chain these count
        on beyond n, round the ring.
    off
        How far each vertex lies to the left of its element, m, shape (n,).
    """

    start: FloatArray
    curvature: FloatArray
    length: FloatArray
    straight: BoolArray
    first: IntArray
    off: FloatArray

    @property
    def count(self) -> int:
        """How many elements."""
        return len(self.length)


def ends(start: FloatArray, curvature: FloatArray, length: FloatArray) -> FloatArray:
    """Return position and heading at the end of arcs, shape (k, 3).

    An arc of turn 2h and length L spans a chord of L sin(h)/h in the direction of its middle (plane geometry).

    Examples
    --------
    >>> quarter = ends(np.array([[0.0, 0.0, 0.0]]), np.array([1.0]), np.array([math.pi / 2]))
    >>> print(quarter.round(6))
    [[1.       1.       1.570796]]
    """
    half = curvature * length / 2
    chord = length * np.sinc(half / math.pi)
    middle = start[:, 2] + half
    return np.column_stack(
        (start[:, 0] + chord * np.cos(middle), start[:, 1] + chord * np.sin(middle), start[:, 2] + 2 * half)
    )


def joined(arcs: Arcs, *, closed: bool = False) -> bool:
    """Return whether the elements meet end to start and all have a length."""
    tips = ends(arcs.start, arcs.curvature, arcs.length)
    following = np.roll(arcs.start, -1, axis=0)
    gap = np.hypot(*(tips - following)[:, :2].T)
    if not closed:
        gap = gap[:-1]
    return bool((arcs.length > 0).all() and (gap < 1e-6 * arcs.length.mean()).all() and np.isfinite(arcs.off).all())


def owners(arcs: Arcs) -> IntArray:
    """Return the element that each vertex belongs to, shape (n,)."""
    return np.repeat(np.arange(arcs.count), np.diff(arcs.first))


def wind_of(arcs: Arcs) -> float:
    """Return the whole turns that a closed chain makes, radians."""
    tips = ends(arcs.start, arcs.curvature, arcs.length)
    return 2 * math.pi * round(float(tips[-1, 2] - arcs.start[0, 2]) / (2 * math.pi))


def rung_on(arcs: Arcs, by: int, total: int) -> Arcs:
    """Return a closed chain that begins `by` elements earlier (later, where negative)."""
    by %= arcs.count
    if not by:
        return arcs
    tips = ends(arcs.start, arcs.curvature, arcs.length)
    wind = 2 * math.pi * round((tips[-1, 2] - arcs.start[0, 2]) / (2 * math.pi))
    start = np.roll(arcs.start, by, axis=0)
    start[:by, 2] -= wind
    first = np.concatenate((arcs.first[-1 - by : -1] - total, arcs.first[: arcs.count - by + 1]))
    if first[0] < 0:
        first = first + total
    return Arcs(
        start,
        np.roll(arcs.curvature, by),
        np.roll(arcs.length, by),
        np.roll(arcs.straight, by),
        first,
        arcs.off,
    )
