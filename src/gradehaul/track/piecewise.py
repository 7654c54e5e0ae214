"""Piecewise quadratic functions of the distance along the rail, kept exactly as breakpoints and coefficients."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradehaul.errors import RouteError

FloatArray = NDArray[np.float64]

ROUNDING = 1e-6
"""A place this far outside of a function, m, is taken as its end."""


class Extreme(NamedTuple):
    """A least or greatest value and the place where it is first reached."""

    value: float
    at: float


@dataclass(frozen=True, slots=True, eq=False)
class PiecewiseQuadratic:
    """A function made of parabolas, side by side: height, summed curvature, compensated profile, demand, margin.

    On piece i, from ``breaks[i]`` to ``breaks[i + 1]`` and with t the distance from ``breaks[i]``, it is
    ``values[i] + slopes[i] t + seconds[i] t² / 2``. It may jump at a breakpoint, as a pull does where the rail
    condition changes; there it has both values, and its extremes count both.

    Attributes
    ----------
    breaks
        Breakpoints, shape (n + 1,), never falling.
    values, slopes, seconds
        Value, slope and second derivative at the left end of each piece, each of shape (n,).

    Examples
    --------
    A hill that climbs at 2 % for 10 m and falls at 1 % for 5 m:

    >>> hill = polyline([0.0, 10.0, 15.0], [0.0, 0.2, 0.15])
    >>> hill(5.0)
    0.1
    >>> hill.greatest()
    Extreme(value=0.2, at=10.0)
    """

    breaks: FloatArray
    values: FloatArray
    slopes: FloatArray
    seconds: FloatArray

    @property
    def start(self) -> float:
        """Where the function begins."""
        return float(self.breaks[0])

    @property
    def stop(self) -> float:
        """Where the function ends."""
        return float(self.breaks[-1])

    @property
    def ends(self) -> FloatArray:
        """Value at the right end of each piece, shape (n,)."""
        width = self.breaks[1:] - self.breaks[:-1]
        return self.values + width * (self.slopes + 0.5 * width * self.seconds)

    def __call__(self, at: float) -> float:
        """Return the value at one place; at a jump, the value to the right of it."""
        return float(self.at(at))

    def at(self, places: ArrayLike) -> FloatArray:
        """Return the values at many places; at a jump, those to the right of it.

        Raises
        ------
        RouteError
            A place where the function is not, by more than rounding.
        """
        places = np.asarray(places, dtype=float)
        if not ((places >= self.start - ROUNDING) & (places <= self.stop + ROUNDING)).all():
            wrong = f"a place must be from {self.start:g} to {self.stop:g} m"
            raise RouteError(wrong, found=", ".join(f"{place:g}" for place in places.flat[:3]))
        return self.continued(places)

    def continued(self, places: NDArray[np.floating[Any]]) -> FloatArray:
        """Return the values at many places, with the first and the last piece going on beyond the ends."""
        piece = self.breaks[1:-1].searchsorted(places, side="right")
        t = places - self.breaks[piece]
        return self.values[piece] + t * (self.slopes[piece] + 0.5 * t * self.seconds[piece])

    def derivative(self) -> PiecewiseQuadratic:
        """Return the slope as a function; it jumps where the slope does."""
        return PiecewiseQuadratic(self.breaks, self.slopes, self.seconds, np.zeros_like(self.seconds))

    def __mul__(self, factor: float) -> PiecewiseQuadratic:
        """Return the function times a number."""
        return PiecewiseQuadratic(self.breaks, self.values * factor, self.slopes * factor, self.seconds * factor)

    def __add__(self, other: PiecewiseQuadratic | float) -> PiecewiseQuadratic:
        """Return the sum, from the later start to the earlier stop."""
        if not isinstance(other, PiecewiseQuadratic):
            return PiecewiseQuadratic(self.breaks, self.values + other, self.slopes, self.seconds)
        start, stop = max(self.start, other.start), min(self.stop, other.stop)
        return sum_of_shifted([(self, 1.0, 0.0), (other, 1.0, 0.0)], start, stop)

    def __neg__(self) -> PiecewiseQuadratic:
        """Return the function with its sign turned."""
        return self * -1.0

    def __sub__(self, other: PiecewiseQuadratic | float) -> PiecewiseQuadratic:
        """Return the difference, from the later start to the earlier stop."""
        return self + (-other)

    def shift(self, by: float) -> PiecewiseQuadratic:
        """Return the function moved to the right."""
        return PiecewiseQuadratic(self.breaks + by, self.values, self.slopes, self.seconds)

    def reverse(self) -> PiecewiseQuadratic:
        """Return the function as met when walked from its stop to its start, on the same stretch.

        >>> polyline([0.0, 1.0, 3.0], [0.0, 5.0, 1.0]).reverse().at([0.0, 2.0, 3.0])
        array([1., 5., 0.])
        """
        width = np.diff(self.breaks)
        breaks = (self.start + self.stop) - self.breaks[::-1]
        slopes = -(self.slopes + width * self.seconds)
        return PiecewiseQuadratic(breaks, self.ends[::-1], slopes[::-1], self.seconds[::-1])

    def restrict(self, start: float, stop: float) -> PiecewiseQuadratic:
        """Return the part between two places within it."""
        return sum_of_shifted([(self, 1.0, 0.0)], start, stop)

    def divided(self, breaks: FloatArray) -> PiecewiseQuadratic:
        """Return the same function in other pieces, between places among which its own breakpoints are."""
        piece = self.breaks[1:-1].searchsorted(0.5 * (breaks[:-1] + breaks[1:]))
        t, second = breaks[:-1] - self.breaks[piece], self.seconds[piece]
        slope = self.slopes[piece] + t * second
        return PiecewiseQuadratic(breaks, self.values[piece] + t * (slope - 0.5 * t * second), slope, second)

    def vertices(self) -> tuple[NDArray[np.intp], FloatArray]:
        """Return the pieces that turn within their stretch, and how far along each."""
        bent = np.flatnonzero(self.seconds)
        if not bent.size:
            return bent, self.seconds[bent]
        t = -self.slopes[bent] / self.seconds[bent]
        inside = (t > 0) & (t < self.breaks[bent + 1] - self.breaks[bent])
        return bent[inside], t[inside]

    def greatest(self) -> Extreme:
        """Return the greatest value and the first place where it is reached (to within rounding)."""
        ends = self.ends
        piece, t = self.vertices()
        turning = self.values[piece] + 0.5 * self.slopes[piece] * t
        top = max(float(self.values.max()), float(ends.max()), float(turning.max(initial=-np.inf)))
        enough = top - 1e-12 * max(1e-9, abs(top))
        places = [
            self.breaks[:-1][self.values >= enough],
            self.breaks[1:][ends >= enough],
            (self.breaks[piece] + t)[turning >= enough],
        ]
        return Extreme(top, min(float(some[0]) for some in places if some.size))

    def least(self) -> Extreme:
        """Return the least value and the first place where it is reached (to within rounding)."""
        top = (-self).greatest()
        return Extreme(-top.value, top.at)

    def below(self, level: float = 0.0) -> FloatArray:
        """Return the stretches where the function is less than a level, shape (m, 2), in order, joined where they meet.

        Examples
        --------
        >>> polyline([0.0, 2.0, 4.0], [1.0, -1.0, 1.0]).below(0.0)
        array([[1., 3.]])
        """
        lower = self - level
        roots = [lower.breaks, *_roots(lower)]
        places = distinct(np.concatenate(roots))
        if places.size < 2:  # a function of one place
            return np.array([[places[0], places[0]]]) if lower.values[0] < 0 else np.empty((0, 2))
        middle = 0.5 * (places[:-1] + places[1:])
        low = np.concatenate([[False], lower.at(middle) < 0, [False]])
        edges = np.flatnonzero(low[1:] != low[:-1])
        return places[edges].reshape(-1, 2)


def _roots(function: PiecewiseQuadratic) -> list[FloatArray]:
    """Return the places inside pieces where a function is zero, in the form that does not cancel."""
    width = np.diff(function.breaks)
    a, b, c = 0.5 * function.seconds, function.slopes, function.values
    with np.errstate(divide="ignore", invalid="ignore"):
        q = -0.5 * (b + np.copysign(np.sqrt(np.maximum(b * b - 4 * a * c, 0.0)), b))
        first, second = q / a, c / q
    real = b * b - 4 * a * c >= 0
    found = []
    for t in (first, second):
        inside = np.flatnonzero(real & np.isfinite(t) & (t > 0) & (t < width))
        found.append(function.breaks[inside] + t[inside])
    return found


def distinct(places: FloatArray) -> FloatArray:
    """Return places in order, each once: as numpy's unique, which loads all of its masked arrays first."""
    ordered = np.sort(places)
    return ordered[np.concatenate([[True], ordered[1:] != ordered[:-1]])] if ordered.size else ordered


def polyline(places: ArrayLike, heights: ArrayLike) -> PiecewiseQuadratic:
    """Return the function that runs straight from each point to the next, by places, m, rising, and values there."""
    x, y = np.asarray(places, dtype=float), np.asarray(heights, dtype=float)
    return PiecewiseQuadratic(x, y[:-1], np.diff(y) / np.diff(x), np.zeros(x.size - 1))


def steps(places: ArrayLike, values: ArrayLike) -> PiecewiseQuadratic:
    """Return the function that keeps one value after each place but the last, m, rising."""
    level = np.asarray(values, dtype=float)
    return PiecewiseQuadratic(np.asarray(places, dtype=float), level, np.zeros_like(level), np.zeros_like(level))


def join(parts: Sequence[PiecewiseQuadratic], *, follow_on: bool = False) -> PiecewiseQuadratic:
    """Lay functions end to end, the first from where it starts.

    `follow_on` raises or lowers each to continue from the value at which the one before ended.
    """
    widths = np.concatenate([np.diff(part.breaks) for part in parts])
    breaks = parts[0].start + np.concatenate([[0.0], np.cumsum(widths)])
    values = np.concatenate([part.values for part in parts])
    slopes = np.concatenate([part.slopes for part in parts])
    seconds = np.concatenate([part.seconds for part in parts])
    if follow_on:
        first = np.cumsum([0, *(part.values.size for part in parts)])
        ends = values + widths * (slopes + 0.5 * widths * seconds)
        gain = ends[first[1:] - 1] - values[first[:-1]]
        lift = parts[0].values[0] + np.concatenate([[0.0], np.cumsum(gain)[:-1]]) - values[first[:-1]]
        values = values + np.repeat(lift, np.diff(first))
    return PiecewiseQuadratic(breaks, values, slopes, seconds)


def sum_of_shifted(
    terms: Sequence[tuple[PiecewiseQuadratic, float, float]], start: float, stop: float
) -> PiecewiseQuadratic:
    """Return the sum of weight × function(h − shift) over terms of a function, a weight and a shift each.

    This is the whole of a train on a profile: each block of equal vehicles is two terms, one at each of its ends.

    Each function is defined wherever h − shift falls, for h from `start` to `stop`; where these are one, the result has
    one piece of no width.

    >>> rise, level = polyline([0.0, 2.0], [0.0, 2.0]), steps([0.0, 2.0], [1.0])
    >>> sum_of_shifted([(rise, 1.0, 0.0), (level, -3.0, 0.5)], 0.5, 2.0).at([0.5, 1.5])
    array([-2.5, -1.5])
    """
    moved = [function.breaks + shift for function, _, shift in terms]
    inside = [m[m.searchsorted(start, "right") : m.searchsorted(stop, "left")] for m in moved]
    breaks = np.concatenate([[start], *inside, [stop]])
    if len(terms) > 1:
        breaks.sort(kind="stable")  # a merge: each term's breaks are in order already
    left = breaks[:-1]
    total = np.zeros((3, left.size))
    for (function, weight, _), own in zip(terms, moved, strict=True):
        # each piece of the term reaches from its own left end to that of the next, in pieces of the sum
        edges = np.empty(own.size, dtype=np.intp)
        edges[:-1] = left.searchsorted(own[:-1])
        edges[0], edges[-1] = 0, left.size
        rows = np.array([own[:-1], function.values, function.slopes, function.seconds])
        begin, value, slope, second = rows.repeat(edges[1:] - edges[:-1], axis=1)
        t = left - begin
        bend = t * second
        total += weight * np.array([value + t * (slope + 0.5 * bend), slope + bend, second])
    return PiecewiseQuadratic(breaks, *total)
