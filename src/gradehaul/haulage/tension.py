"""Tension on curves: the friction of flanges that taut couplers press against the rail.

Coupler tension T round a curve of radius R presses a train inward by T / R per unit of length. With an effective
friction m it needs m |T| / R more, so tension grows from the far end to the locomotive as dT/ds = q + m |T| κ, q being
what grade, curve and rolling need per unit of length. Where q is the same all along a train that wraps an angle of
x / m, its demand is (e^x - 1) / x times that without tension (the capstan's equation; any textbook of mechanics).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train
from gradehaul.plan.records import Car
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic, distinct, steps

Index = NDArray[np.intp]

_NEAR = 1e-9
"""Places so near to one another, m, and angles, are one, so that rounding decides nothing."""
_ROUNDED = 1e-9
"""Friction is rounded up to this, N, so that cells along one curve, which differ by rounding, are one step."""
_CELLS, _MOST_CELLS = 800, 20_000
"""Cells to a train's length, and the most to a route's: where all of a train climbs, the bound lies above the exact
integral by some 1 % of the friction."""


def friction_of_tension(profile: RouteProfile, train: Train, resistance: Callable[[Car], float]) -> PiecewiseQuadratic:
    """Return what coupler tension adds on curves, N, by the place of the head: never less than the exact integral.

    What a piece of train needs is carried to the locomotives by the couplers between, and each of these adds friction:
    q ds comes to q e^(m θ) ds, θ being the angle of the curves between. So the friction is ∫ |q| (e^(m θ) - 1) ds over
    the cars. It is exact where every car is pulled, or every car pushed, and the locomotives stand together; |q| in
    place of q bounds it where some of a train runs downhill. With locomotives in several places each piece is taken to
    hang on the one that is farthest round the curves, since nothing says how they share; sharing it evenly halves the
    friction. The integral is summed over cells, each rounded outward and with the greatest of what it holds.

    `resistance` is that of a car per unit of its weight, when running or when starting.
    """
    first = profile.first_head(train.length)
    locos = train.locos
    if not locos or not train.cars:
        return steps([first, profile.length], [0.0])
    cells = _Cells.over(profile, train.length)
    inside = (cells.places > first) & (cells.places < profile.length)
    heads = np.concatenate([[first], cells.places[inside], [profile.length]])
    low, high = heads[:-1], heads[1:]
    ahead, behind = locos[0][1] + locos[0][0].length, locos[-1][1]
    """How far behind the head the first locomotive ends and the last one begins."""
    friction = np.zeros(low.size)
    for block, front, rear in zip(train.blocks, train.edges[:-1], train.edges[1:], strict=True):
        if not isinstance(block.vehicle, Car):
            continue
        weight = GRAVITY * block.mass / block.length
        load = _Load(cells, resistance(block.vehicle))
        begin, end = cells.before(low - rear), cells.after(high - front)
        pulled, pushed = front >= ahead - _NEAR, rear <= behind + _NEAR
        if pulled and pushed:
            # each on the farther of two locomotives: up to half the angle between, on the one ahead
            middle = 0.5 * (cells.angle[cells.before(low - behind)] + cells.angle[cells.after(high - ahead)])
            split = np.searchsorted(cells.angle, middle + _NEAR)
            friction += weight * load.pulled(begin, np.clip(split, begin, end), cells.after(high - ahead))
            friction += weight * load.pushed(np.clip(split - 1, begin, end), end, cells.before(low - behind))
        elif pulled:
            friction += weight * load.pulled(begin, end, cells.after(high - ahead))
        else:
            friction += weight * load.pushed(begin, end, cells.before(low - behind))
    friction = np.ceil(friction / _ROUNDED) * _ROUNDED
    changes = np.flatnonzero(np.diff(friction, prepend=np.nan))  # the first, which nothing is before, among them
    return steps(heads[[*changes, -1]], friction[changes])


def most_friction(profile: RouteProfile, locos: float, car: Car, resistance: float) -> FloatArray:
    """Return no less than coupler tension adds to trains of 1, 2, 3 … equal cars anywhere on a route, N, shape (999,).

    They are one row, with locomotives of a length at one end of it; `resistance` is that of the car per unit of its
    weight. Each car needs at most what it needs where that is most, and hangs on its locomotives round
    as much curve as lies along any such row. The cells that stand for the track reach beyond a train by less than four
    of their own lengths. Where that is more than 999 cars it is infinite.
    """
    slope = profile.compensated.derivative()
    hardest = resistance + max(float(np.abs(slope.values).max()), float(np.abs(slope.ends).max()))
    wraps = profile.curves.tension * profile.bends.rows_of_cars(car.length)
    wraps = np.minimum.accumulate(wraps[::-1])[::-1] * car.length  # a row turns no more than a longer one
    summed = _summed(np.expm1(np.minimum(wraps, 50.0)))  # e^50 times the load of a single car is beyond any pull
    numbers = np.arange(1, summed.size)
    lengths = locos + numbers * car.length
    cells = np.maximum(lengths / _CELLS, profile.length / _MOST_CELLS)
    beyond = np.ceil(4.0 * cells / car.length).astype(np.intp)
    last = numbers + 2 * beyond
    inside = last < summed.size
    most = np.full(numbers.size, np.inf)
    most[inside] = summed[last[inside]] - summed[beyond[inside]]
    most[inside] *= GRAVITY * car.mass * hardest * (1 + _NEAR)
    most += 2 * _ROUNDED
    return most


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    """Cells of track, from behind the origin to the route's end, with what holds at the ends of each."""

    places: FloatArray
    angle: FloatArray
    """Friction m times the summed curvature at each place, shape (n + 1,)."""
    grade: tuple[FloatArray, FloatArray]
    """Effective grade at both ends of each cell, shape (n,) each."""

    @staticmethod
    def over(profile: RouteProfile, back: float) -> _Cells:
        compensated = profile.with_track_behind(back)
        wrapped = profile.bends.with_track_behind(back)
        size = max(back / _CELLS, profile.length / _MOST_CELLS)
        count = int(np.ceil((profile.length + back) / size))
        breaks = compensated.breaks[(compensated.breaks > -back) & (compensated.breaks < profile.length)]
        places = distinct(np.concatenate([np.linspace(-back, profile.length, count + 1), breaks]))
        width = np.diff(places)
        middle = places[:-1] + 0.5 * width
        slope = compensated.derivative()
        half = 0.5 * width * slope.derivative().continued(middle)
        grade = slope.continued(middle)
        return _Cells(places, profile.curves.tension * wrapped.continued(places), (grade - half, grade + half))

    def before(self, at: FloatArray) -> Index:
        """Return the last of the cells' ends that is not beyond each place."""
        return np.maximum(self.places.searchsorted(at - _NEAR, side="right") - 1, 0)

    def after(self, at: FloatArray) -> Index:
        """Return the first of the cells' ends that is not before each place."""
        return np.minimum(self.places.searchsorted(at + _NEAR), self.places.size - 1)


class _Load:
    """What cars of one resistance need in each cell per unit of weight, summed from the first."""

    def __init__(self, cells: _Cells, resistance: float) -> None:
        left, right = (np.abs(grade + resistance) for grade in cells.grade)
        need = 0.5 * np.diff(cells.places) * (left + right)  # no less than the integral of what is straight
        self._angle = cells.angle
        self._plain = _summed(need)
        self._toward_head = _summed(need * np.exp(-cells.angle[:-1]))
        self._toward_tail = _summed(need * np.exp(cells.angle[1:]))

    def pulled(self, begin: Index, end: Index, coupler: Index) -> FloatArray:
        """Return ∫ |q| (e^(m θ) - 1) ds from one cell's end to another, for a locomotive ahead at a third."""
        grown = np.exp(self._angle[coupler]) * (self._toward_head[end] - self._toward_head[begin])
        return np.maximum(grown - (self._plain[end] - self._plain[begin]), 0.0)

    def pushed(self, begin: Index, end: Index, coupler: Index) -> FloatArray:
        """Return the same for a locomotive behind."""
        grown = np.exp(-self._angle[coupler]) * (self._toward_tail[end] - self._toward_tail[begin])
        return np.maximum(grown - (self._plain[end] - self._plain[begin]), 0.0)


def _summed(values: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(values)])
