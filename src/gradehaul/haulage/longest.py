"""The longest train: how many equal cars a power takes over a route, and what binds."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.counts import Worst
from gradehaul.haulage.demand import TIE, Pulls, asked_at, bases_at, supply
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train, headed_by
from gradehaul.haulage.verdict import greatest
from gradehaul.plan.records import Basis, Car, Plan, Power
from gradehaul.plan.stock import MOST_CARS
from gradehaul.track.piecewise import Extreme, PiecewiseQuadratic

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


@dataclass(frozen=True, slots=True)
class _Pull:
    """A pull against what trains ask: the part that is the same all the way, N, and what a tie allows."""

    worst: Worst
    steady: float
    tie: float

    def first_failing(self, resistance: float, below: int = MOST_CARS + 1) -> int:
        """Return the least number of cars that asks more, `below` where none under it does."""
        return self.worst.first_failing(self.steady + self.tie, resistance, below)

    def left(self, count: int) -> Extreme:
        """Return the least that is left of the pull, before resistance."""
        worst = self.worst.at(count)
        return Extreme(self.steady - worst.value, worst.at)


class Climb:
    """A power and a kind of car on one route: what trains of them ask, worked out once for all rail conditions."""

    def __init__(self, plan: Plan, profile: RouteProfile, power: Power, car: Car, pulls: Pulls) -> None:
        self.plan, self.profile, self.power, self.car, self.pulls = plan, profile, power, car, pulls
        self._shortest = self.train(1)
        self._steady = self._worst(None)

    def _worst(self, pull: PiecewiseQuadratic | None) -> Worst:
        return Worst(self.profile, self._shortest, self.car, pull)

    def train(self, count: int) -> Train:
        """Return the train of a number of cars."""
        return headed_by(self.plan, self.power, self.car, count)

    def load(self, rail: str, rooms: tuple[Room, ...] = ()) -> Load:
        """Return the longest train on a rail condition, given the places that must hold it whole."""
        standing, slipping = self._given(rail)
        rolling, starting = self._resistances
        rated_fails = standing.first_failing(max(rolling, starting))
        rated_fails = slipping.first_failing(rolling, below=rated_fails)
        limit_fails = standing.first_failing(rolling)
        tightest = min(rooms, key=lambda room: room.length, default=None)
        binds = self._binds(standing, slipping, rated_fails) if rated_fails <= MOST_CARS else None
        bases = bases_at(self.profile, self._shortest, rail, self.pulls, binds.at if binds else None)
        return Load(
            power=self.power.name,
            car=self.car.name,
            rail=rail,
            rated=rated_fails - 1,
            limit=limit_fails - 1,
            fits=None if tightest is None else self._fits(tightest.length),
            fits_by=None if tightest is None else tightest.name,
            binds=binds,
            basis=bases.standing,
            slipping_basis=bases.slipping,
        )

    def limit(self, rail: str) -> int:
        """Return the limit load alone: the most cars that get through as long as the wheels never slip."""
        return self._given(rail)[0].first_failing(self._resistances[0]) - 1

    @property
    def _resistances(self) -> tuple[float, float]:
        """Rolling and starting resistance of one car, N."""
        weight = GRAVITY * self.car.mass
        return weight * self.car.rolling.value, weight * self.car.starting.value

    def _given(self, rail: str) -> tuple[_Pull, _Pull]:
        # only locomotives differ by rail, and they stand at the head of every one of these trains
        given = supply(self.profile, self._shortest, rail, self.pulls)
        standing, slipping = (self._pull(pull) for pull in (given.standing, given.slipping))
        return standing, slipping

    def _pull(self, pull: PiecewiseQuadratic | float) -> _Pull:
        tie = TIE * greatest(pull)
        if isinstance(pull, PiecewiseQuadratic):
            return _Pull(self._worst(pull), 0.0, tie)
        return _Pull(self._steady, pull, tie)

    def _binds(self, standing: _Pull, slipping: _Pull, count: int) -> Binds:
        rolling, starting = (count * resistance for resistance in self._resistances)
        stand, slip = standing.left(count), slipping.left(count)
        margins: dict[Test, Extreme] = {
            "stand": Extreme(stand.value - rolling, stand.at),
            "restart": Extreme(stand.value - starting, stand.at),
            "slip": Extreme(slip.value - rolling, slip.at),
        }
        if margins["stand"].value < -standing.tie:
            test: Test = "stand"
        else:
            test = "restart" if margins["restart"].value < margins["slip"].value else "slip"
        worst = margins[test]
        asked, _ = asked_at(self.profile, self.train(count), worst.at)
        demand = asked + (starting if test == "restart" else rolling)
        return Binds(test, count, worst.at, self.profile.track_at(worst.at), demand, worst.value + demand)

    def _fits(self, room: float) -> int:
        locos = self.train(0).length
        return max(0, math.floor((room - locos) / self.car.length + 1e-9))
