"""The longest train: how many equal cars a power takes over a route, and what binds."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.demand import TIE, Pulls, Supply, asked_at, edge_weights, supply
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train, headed_by
from gradehaul.haulage.verdict import greatest, less
from gradehaul.plan.records import Basis, Car, Plan, Power
from gradehaul.plan.stock import MOST_CARS
from gradehaul.track.piecewise import Extreme, FloatArray, PiecewiseQuadratic, shifted_sum

Test = Literal["stand", "restart", "slip"]


@dataclass(frozen=True, slots=True)
class Binds:
    """What stops the first train that is not rated: the test it fails, where its head is then, and the forces, N."""

    test: Test
    cars: int
    at: float
    track: str
    demand: float
    pull: float


@dataclass(frozen=True, slots=True)
class Room:
    """A place that must hold a whole train: what it is called, its length, m, and whether it is a berth.

    A train too long for a berth may still run; on a lap or a loop it would meet itself.
    """

    name: str
    length: float
    berth: bool = False


@dataclass(frozen=True, slots=True)
class Load:
    """The longest train of one kind of car behind one power on one route and rail condition.

    `rated` and `limit` count pull alone, up to 999 cars. `fits` is the most cars for which the whole train, with its
    locomotives, fits every place that must hold it, None where nothing bounds it; `fits_by` names the tightest.
    """

    power: str
    car: str
    rail: str
    rated: int
    limit: int
    fits: int | None
    fits_by: str | None
    binds: Binds | None
    basis: Basis
    slipping_basis: Basis

    @property
    def told(self) -> int:
        """The load to tell a person: the rated load, or fewer cars where a place holds no more."""
        return self.rated if self.fits is None else min(self.rated, self.fits)


class _Margins(NamedTuple):
    """Least pull less demand of one train, N, by test; each must not be negative beyond a tie."""

    stand: Extreme
    restart: Extreme
    slip: Extreme


_ROWS = (64, 32, 16, 8, 4, 2, 1)
"""Numbers of cars in a row whose steepest place is looked up, to bound what any number of cars can ask."""


def _asked_of_rows(profile: RouteProfile, car: Car) -> FloatArray:
    """Return a bound of what grades and curves ask of 1, 2, 3 … cars in a row, N, shape (999,).

    A row asks no more than the parts it is made of, each on the place that is steepest for it.
    """
    bound = np.zeros(MOST_CARS)
    left = np.arange(1, MOST_CARS + 1)
    for row in _ROWS:
        if row == 1 or row * car.length <= profile.length:
            asks = GRAVITY * row * car.mass * max(profile.steepest_under_cars(row * car.length), 0.0)
            bound += (left // row) * asks
            left %= row
    return bound


class Climb:
    """A power and a kind of car on one route: what trains of them ask, worked out once for all rail conditions."""

    def __init__(self, plan: Plan, profile: RouteProfile, power: Power, car: Car, pulls: Pulls) -> None:
        self.plan, self.profile, self.power, self.car, self.pulls = plan, profile, power, car, pulls
        self._asks = _asked_of_rows(profile, car)
        shortest = self.train(1)
        self._edges, self._weights = shortest.edges.tolist(), edge_weights(shortest).tolist()
        self._asked: dict[int, PiecewiseQuadratic] = {}
        self._most: dict[int, Extreme] = {}

    def train(self, count: int) -> Train:
        """Return the train of a number of cars."""
        return headed_by(self.plan, self.power, self.car, count)

    def load(self, rail: str, rooms: tuple[Room, ...] = ()) -> Load:
        """Return the longest train on a rail condition, given the places that must hold it whole."""
        # only locomotives differ by rail, and they stand at the head of every one of these trains
        given = supply(self.profile, self.train(1), rail, self.pulls)
        rolling, starting = self.car.rolling.value, self.car.starting.value
        rated_fails = self._first_failing(lambda n: self._rated_margin(given, n), max(rolling, starting))
        limit_fails = self._first_failing(lambda n: self._limit_margin(given, n), rolling)
        tightest = min(rooms, key=lambda room: room.length, default=None)
        return Load(
            power=self.power.name,
            car=self.car.name,
            rail=rail,
            rated=rated_fails - 1,
            limit=limit_fails - 1,
            fits=None if tightest is None else self._fits(tightest.length),
            fits_by=None if tightest is None else tightest.name,
            binds=self._binds(given, rated_fails) if rated_fails <= MOST_CARS else None,
            basis=given.basis,
            slipping_basis=given.slipping_basis,
        )

    def limit(self, rail: str) -> int:
        """Return the limit load alone: the most cars that get through as long as the wheels never slip."""
        given = supply(self.profile, self.train(1), rail, self.pulls)
        return self._first_failing(lambda n: self._limit_margin(given, n), self.car.rolling.value) - 1

    def _least(self, pull: PiecewiseQuadratic | float, count: int) -> Extreme:
        """Return the least of a pull less what grades and curves ask of the train of a number of cars."""
        if count not in self._asked:
            self._asked[count] = self._gravity_and_curves(count)
        if isinstance(pull, PiecewiseQuadratic):
            return less(pull, self._asked[count]).least()
        if count not in self._most:
            self._most[count] = self._asked[count].greatest()
        most = self._most[count]
        return Extreme(pull - most.value, most.at)

    def _gravity_and_curves(self, count: int) -> PiecewiseQuadratic:
        """Return what grades and curves ask of the train of a number of cars: each differs in its tail alone."""
        tail = self._edges[-2] + count * self.car.length
        behind = self.profile.with_track_behind(tail)
        edges = [*self._edges[:-1], tail]
        return shifted_sum(behind, self._weights, edges, self.profile.first_head(tail), self.profile.length)

    def _margins(self, given: Supply, count: int) -> _Margins:
        weight = GRAVITY * self.car.mass * count
        rolling, starting = weight * self.car.rolling.value, weight * self.car.starting.value
        stand, slip = self._least(given.standing, count), self._least(given.slipping, count)
        return _Margins(
            Extreme(stand.value - rolling, stand.at),
            Extreme(stand.value - starting, stand.at),
            Extreme(slip.value - rolling, slip.at),
        )

    def _limit_margin(self, given: Supply, count: int) -> float:
        """Return the margin of the limit load's test, N, ties allowed."""
        return self._margins(given, count).stand.value + TIE * greatest(given.standing)

    def _rated_margin(self, given: Supply, count: int) -> float:
        """Return the least margin of the rated load's tests, N, ties allowed."""
        margins = self._margins(given, count)
        stand = min(margins.stand.value, margins.restart.value) + TIE * greatest(given.standing)
        return min(stand, margins.slip.value + TIE * greatest(given.slipping))

    def _first_failing(self, margin: Callable[[int], float], resistance: float) -> int:
        """Return the least number of cars that fails, one over the most where none does.

        Not by halving: over a sawtooth an extra car can lighten the load. But k more cars ask no more than k cars in a
        row can ask anywhere, so counts are passed over as long as every one of them is sure to pass. Counts that
        another test has asked about cost nothing more, so they are asked first.
        """
        # what a margin must hold for 1, 2, 3 … more cars all to pass
        needed = np.maximum.accumulate(self._asks + np.arange(1, MOST_CARS + 1) * GRAVITY * self.car.mass * resistance)
        sure = tried = 0  # counts up to `sure` pass
        while sure < MOST_CARS:
            tried = max((count for count in self._asked if tried < count <= sure + 1), default=sure + 1)
            left = margin(tried)
            if left < 0:
                return tried
            sure = max(sure, tried + int(np.searchsorted(needed, left * (1 - 1e-9), side="right")))
        return MOST_CARS + 1

    def _binds(self, given: Supply, count: int) -> Binds:
        margins = self._margins(given, count)
        if margins.stand.value < -TIE * greatest(given.standing):
            test: Test = "stand"
            worst = margins.stand
        elif margins.restart.value < margins.slip.value:
            test, worst = "restart", margins.restart
        else:
            test, worst = "slip", margins.slip
        weight = GRAVITY * self.car.mass * count
        resistance = weight * (self.car.starting if test == "restart" else self.car.rolling).value
        asked, _ = asked_at(self.profile, self.train(count), worst.at)
        demand = asked + resistance
        return Binds(test, count, worst.at, self.profile.track_at(worst.at), demand, worst.value + demand)

    def _fits(self, room: float) -> int:
        locos = self.train(0).length
        return max(0, math.floor((room - locos) / self.car.length + 1e-9))
