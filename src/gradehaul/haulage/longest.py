"""The longest train: how many equal cars a power takes over a route, and what binds."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
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

Engine = Literal["leading", "trailing"]
"""Where the locomotives stand as a train starts: ahead of its cars, or behind them."""


@dataclass(frozen=True, slots=True)
class Binds:
    """What stops the first train that is not rated: the test it fails, where its head is then, and the forces, N."""

    test: Test
    cars: int
    at: float
    track: str
    demand: float
    pull: float


RoomKind = Literal["berth", "tail", "lap", "loop", "run-round"]
"""Where a train must fit: a berth in which it begins or ends its run, a tail in which it reverses, its lap, a loop on
which it would meet itself; in a run-round its locomotives alone."""


@dataclass(frozen=True, slots=True)
class Room:
    """A place that must hold a whole train: its name, length, m, and kind."""

    name: str
    length: float
    kind: RoomKind

    @property
    def berth(self) -> bool:
        """Whether it is a berth: a train too long for one may still run."""
        return self.kind == "berth"


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
    engine: Engine = "leading"
    holds_back: bool = True
    """Whether the train of so many cars as a person is shown holds back downhill."""

    @property
    def told(self) -> int:
        """The load to tell a person: the rated load, or fewer cars where a place holds no more."""
        return self.held(self.rated)

    def held(self, count: int) -> int:
        """Return a number of cars, or fewer where a place holds no more."""
        return count if self.fits is None else min(count, self.fits)


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


class _Run:
    """A power and a kind of car where they run in one direction: what trains of them ask, for all rail conditions."""

    def __init__(
        self, plan: Plan, profile: RouteProfile, power: Power, car: Car, pulls: Pulls, *, pushed: bool
    ) -> None:
        self.plan, self.profile, self.power, self.car, self.pulls = plan, profile, power, car, pulls
        self._pushed = pushed
        self._trains: dict[int, Train] = {}
        self._steady = Worst(profile, self.train, car, pushed=pushed)

    def train(self, count: int) -> Train:
        """Return the train of a number of cars as it runs here."""
        if count not in self._trains:
            train = headed_by(self.plan, self.power, self.car, count)
            self._trains[count] = train.after([None]) if self._pushed else train
        return self._trains[count]

    @property
    def resistances(self) -> tuple[float, float]:
        """Rolling and starting resistance of one car, N."""
        weight = GRAVITY * self.car.mass
        return weight * self.car.rolling.value, weight * self.car.starting.value

    def given(self, rail: str) -> tuple[_Pull, _Pull]:
        """Return the standing and the slipping pull on a rail condition."""
        given = supply(self.profile, self.train(1), rail, self.pulls)
        pulls: list[_Pull] = []
        for name in ("standing", "slipping"):
            pull = getattr(given, name)
            tie = TIE * greatest(pull)
            if isinstance(pull, PiecewiseQuadratic):
                worst = Worst(self.profile, self.train, self.car, self._by_count(rail, name, pull), pushed=self._pushed)
                pulls.append(_Pull(worst, 0.0, tie))
            else:
                pulls.append(_Pull(self._steady, pull, tie))
        return pulls[0], pulls[1]

    def _by_count(self, rail: str, name: str, shortest: PiecewiseQuadratic) -> Callable[[int], PiecewiseQuadratic]:
        if not self._pushed:  # locomotives ahead of their cars stand alike whatever follows
            return lambda _: shortest

        def pull(count: int) -> PiecewiseQuadratic:
            given = getattr(supply(self.profile, self.train(count), rail, self.pulls), name)
            assert isinstance(given, PiecewiseQuadratic)
            return given

        return pull

    def binds(self, standing: _Pull, slipping: _Pull, count: int) -> Binds:
        """Return what stops the train of a number of cars, given the pulls it has."""
        rolling, starting = (count * resistance for resistance in self.resistances)
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


class Climb:
    """A power and a kind of car on one route: what trains of them ask, worked out once for all rail conditions.

    On a route with reversals the load is the least over its legs; with the engine leading as the train starts, it is
    pushed on every second leg, or until they run round it.
    """

    def __init__(
        self, plan: Plan, profile: RouteProfile, power: Power, car: Car, pulls: Pulls, *, engine: Engine = "leading"
    ) -> None:
        self.plan, self.profile, self.power, self.car, self.pulls = plan, profile, power, car, pulls
        self.engine: Engine = engine
        self._runs = [
            (_Run(plan, leg, power, car, pulls, pushed=leg.route.pushed(at_start=engine == "trailing")), start)
            for leg, start in profile.runs
        ]

    def train(self, count: int) -> Train:
        """Return the train of a number of cars as it starts."""
        return self._runs[0][0].train(count)

    def load(self, rail: str, rooms: tuple[Room, ...] = ()) -> Load:
        """Return the longest train on a rail condition, given the places that must hold it whole."""
        rated_fails = limit_fails = MOST_CARS + 1
        binding: tuple[_Run, float, _Pull, _Pull] | None = None
        for run, start in self._runs:
            standing, slipping = run.given(rail)
            rolling, starting = run.resistances
            fails = standing.first_failing(max(rolling, starting), below=rated_fails)
            fails = slipping.first_failing(rolling, below=fails)
            if fails < rated_fails:
                rated_fails, binding = fails, (run, start, standing, slipping)
            limit_fails = standing.first_failing(rolling, below=limit_fails)
        binds: Binds | None = None
        if binding is not None:
            run, start, standing, slipping = binding
            here = run.binds(standing, slipping, rated_fails)
            bases = bases_at(run.profile, run.train(rated_fails), rail, self.pulls, here.at)
            binds = replace(here, at=start + here.at)
        else:
            bases = bases_at(self.profile, self.train(1), rail, self.pulls, None)
        tightest = min(rooms, key=lambda room: room.length, default=None)
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
            engine=self.engine,
        )

    def limit(self, rail: str) -> int:
        """Return the limit load alone: the most cars that get through as long as the wheels never slip."""
        fails = MOST_CARS + 1
        for run, _ in self._runs:
            fails = run.given(rail)[0].first_failing(run.resistances[0], below=fails)
        return fails - 1

    def _fits(self, room: float) -> int:
        locos = self.train(0).length
        return max(0, math.floor((room - locos) / self.car.length + 1e-9))
