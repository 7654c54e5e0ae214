"""The longest train: how many equal cars a power takes over a route, and what binds."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import ClassVar, Literal, NamedTuple

import numpy as np

from gradehaul.haulage.adhesion import GRAVITY, Pulls
from gradehaul.haulage.demand import TIE, Demand, Pulled, bases_at, demand, demand_at, edge_weights, supply, tension_at
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.resistance import lowest
from gradehaul.haulage.tension import most_friction
from gradehaul.haulage.train import Engine, Train, headed_by, pushed
from gradehaul.haulage.verdict import STATES, Test, greatest, surplus
from gradehaul.plan.records import Basis, Car, Plan, Power
from gradehaul.plan.resolve.stock import MOST_CARS
from gradehaul.quantities.document import Documented
from gradehaul.quantities.si import Meters, Newtons
from gradehaul.track.piecewise import Extreme, FloatArray, PiecewiseQuadratic, sum_of_shifted

_LIMIT: tuple[Test, ...] = ("stand", "hold")
_RATED: tuple[Test, ...] = ("restart", "slip", *_LIMIT)
"""The tests of the limit load, and of the rated one."""


@dataclass(frozen=True, slots=True)
class Binds:
    """What stops the first train that is not rated: the test it fails, where its head is then, and the forces, N."""

    KEYS: ClassVar[str] = "by test cars track at demand pull"

    test: Test
    cars: int
    at: Meters
    track: str
    demand: Newtons
    pull: Newtons

    @property
    def by(self) -> Literal["pull"]:
        """What stops it: the pull of its locomotives, since places that hold no more stand beside it."""
        return "pull"


RoomKind = Literal["berth", "tail", "lap", "route", "loop", "turntable", "run-round"]
"""Where a train must fit: a berth in which it begins or ends its run, a tail in which it reverses, its lap, else its
route with the track behind that; a loop on which it would meet itself; in a run-round its locomotives alone."""


@dataclass(frozen=True, slots=True)
class Room:
    """A place that must hold a whole train: its name, length, m, and kind."""

    name: str
    length: Meters
    kind: RoomKind


@dataclass(frozen=True, slots=True)
class Load(Documented):
    """The longest train of one kind of car behind one power on one route and rail condition.

    `rated` and `limit` count what its locomotives pull and hold back, up to 999 cars. `fits` is the most cars for which
    the whole train fits every place that must hold it; `fits_by` names the tightest.
    """

    power: str
    car: str
    rail: str
    rated: int
    limit: int
    fits: int
    fits_by: str
    binds: Binds | None
    basis: Basis
    slipping_basis: Basis
    engine: Engine = "leading"
    holds_back: bool = True
    """Whether the train of the cars to run is held back downhill: only locomotives alone may not be."""

    @property
    def to_run(self) -> int:
        """The cars to run: the rated load, or fewer where a place holds no more."""
        return self.held(self.rated)

    def held(self, count: int) -> int:
        """Return a number of cars, or fewer where a place holds no more."""
        return min(count, self.fits)


_SLACK, _LEAST_SLACK = 1e-9, 1e-12
"""By this share, and by this force in N, bounds are eased, so that rounding cannot turn one."""


class Worst:
    """What trains of 1, 2, 3 … equal cars with the same locomotives need at their worst place, N, less their pull.

    It is grades and curves alone, without resistance; where the pull is the same all the way it is left out too.
    `most` bounds it from above for every count, shape (999,).

    k more cars need no more than a row of k can need anywhere, so one count that is worked out bounds all greater ones.

    `pull` is that of the locomotives with a number of cars, by the place of the head; None where it is the same all the
    way.
    """

    def __init__(
        self,
        profile: RouteProfile,
        train: Callable[[int], Train],
        car: Car,
        pull: Callable[[int], Pulled] | None = None,
    ) -> None:
        self._profile, self._train, self._pull = profile, train, pull
        self._row = GRAVITY * car.mass * (1 + _SLACK) * profile.rows_of_cars(car.length) + _LEAST_SLACK
        self._numbers = np.arange(1, MOST_CARS + 1)
        self._known: dict[int, Extreme] = {}
        self.most = np.full(MOST_CARS, np.inf)

    def first_failing(
        self, pull: float | FloatArray, resistance: float, below: int = MOST_CARS + 1, above: int = 0
    ) -> int:
        """Return the least number of cars over `above` that needs more than a pull, `below` where none under it does.

        Not by halving: over a sawtooth an extra car can lighten the load. Every count up to the one returned is sure.

        `pull` has what a tie allows, of every count where they differ; `resistance` is that of one car, N. Only counts
        less than `below` are of interest.
        """
        room = pull - self._numbers * resistance
        room[:above] = np.inf
        while (first := _first(self.most > room)) < below:
            if self.at(first).value > room[first - 1]:
                return first
        return below

    def at(self, count: int) -> Extreme:
        """Return what a train of so many cars needs at its worst place, N, less its pull, and the head's place."""
        if count not in self._known:
            worst = self._worked_out(count)
            self._known[count] = worst
            more = self.most[count:]
            np.minimum(more, worst.value + self._row[: more.size], out=more)
            self.most[count - 1] = worst.value
        return self._known[count]

    def _worked_out(self, count: int) -> Extreme:
        train = self._train(count)
        behind = self._profile.with_track_behind(train.length)
        edges = zip(edge_weights(train.line_weights).tolist(), train.edges.tolist(), strict=True)
        terms = [(behind, weight, edge) for weight, edge in edges]
        start, stop = self._profile.first_head(train.length), self._profile.length
        need = sum_of_shifted(terms, start, stop)
        if self._pull is None:
            return need.greatest()
        left = surplus(self._pull(count), need).least()
        return Extreme(-left.value, left.at)


def _first(which: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> int:
    """Return the least count of which something is true, one over the most where it is true of none."""
    place = int(which.argmax())
    return place + 1 if which[place] else MOST_CARS + 1


class _Tested(NamedTuple):
    """A pull against what trains need on grades and curves: the part that is the same all the way, N, and the tie."""

    worst: Worst
    steady: float
    tie: float


class _Run:
    """A power and a kind of car where they run in one direction: what trains of them need, for all rail conditions."""

    def __init__(
        self, plan: Plan, profile: RouteProfile, power: Power, car: Car, pulls: Pulls, *, engine: Engine
    ) -> None:
        self.profile, self.car, self.pulls, self.falls = profile, car, pulls, profile.fall > 0
        rounds = profile.route.run_rounds
        # not a method: what is worked out with it is let go with the run at once, without a round of references
        self.train = cache(lambda count: headed_by(plan, power, car, count, engine=engine).after(rounds))
        self._pushed = pushed(self.train(1))
        self._steady: dict[int, Worst] = {}
        self._demands: dict[int, Demand] = {}
        self._frictions: dict[bool, FloatArray] = {}
        self._tested: dict[tuple[str, Test], _Tested] = {}

    def resistance(self, test: Test) -> float:
        """Return the resistance of one car that counts in a test, N: less than 0 where it helps to hold back."""
        if test == "hold":
            return -GRAVITY * self.car.mass * lowest(self.car.rolling, self.car.rolling_drop)
        per_weight = self.car.starting.value if test == "restart" else self.car.rolling.value
        return GRAVITY * self.car.mass * per_weight

    def first_failing(self, rail: str, tests: Sequence[Test], below: int) -> int:
        """Return the least number of cars that fails one of some tests on a rail condition, `below` where none does."""
        for test in tests:
            if test == "hold" and not self.falls:
                continue
            worst, steady, tie = self._test(rail, test)
            below = worst.first_failing(steady + tie, self.resistance(test), below)
            if self._taut(test):  # tension only adds to the demand; where the most that it can add is let by, so is it
                left, count = steady + tie - self._most_friction(test), 0
                while (count := worst.first_failing(left, self.resistance(test), below, above=count)) < below:
                    if self.margin(rail, test, count).value < -tie:
                        below = count
        return below

    def _most_friction(self, test: Test) -> FloatArray:
        """Return no less than tension adds with each number of cars in a test, N, shape (999,)."""
        starting = test == "restart"
        if starting not in self._frictions:
            per_weight = self.car.starting.value if starting else self.car.rolling.value
            self._frictions[starting] = most_friction(self._profile(test), self.train(0).length, self.car, per_weight)
        return self._frictions[starting]

    def margin(self, rail: str, test: Test, count: int) -> Extreme:
        """Return the least that a train of a number of cars has left in a test, N, and where its head is then."""
        if not self._taut(test):
            worst, steady, _ = self._test(rail, test)
            need = worst.at(count)
            return Extreme(steady - need.value - count * self.resistance(test), need.at)
        if count not in self._demands:
            self._demands[count] = demand(self.profile, self.train(count))
        wants = self._demands[count]
        given = supply(self.profile, self.train(count), rail, self.pulls)
        pull = given.slipping if test == "slip" else given.standing
        return surplus(pull, wants.starting if test == "restart" else wants.running).least()

    def _taut(self, test: Test) -> bool:
        """Return whether coupler tension counts in a test: downhill, where it helps, it is not relied on."""
        return self.profile.curves.tension > 0 and test != "hold"

    def _profile(self, test: Test) -> RouteProfile:
        """Return the profile that a test is made on."""
        if test == "hold":
            return self.profile.descent
        return self.profile.starting if test == "restart" else self.profile

    def _test(self, rail: str, test: Test) -> _Tested:
        if (rail, test) not in self._tested:
            name = STATES[test]
            profile = self._profile(test)
            pull = getattr(supply(self.profile, self.train(1), rail, self.pulls), name)
            tie = TIE * greatest(pull)
            if isinstance(pull, PiecewiseQuadratic):
                worst = Worst(profile, self.train, self.car, self._by_count(rail, name, pull))
                found = _Tested(worst, 0.0, tie)
            else:
                if id(profile) not in self._steady:
                    self._steady[id(profile)] = Worst(profile, self.train, self.car)
                found = _Tested(self._steady[id(profile)], pull, tie)
            self._tested[rail, test] = found
        return self._tested[rail, test]

    def _by_count(self, rail: str, name: str, shortest: PiecewiseQuadratic) -> Callable[[int], Pulled]:
        if not self._pushed:  # locomotives ahead of their cars stand alike whatever follows
            return lambda _: shortest
        profile, train, pulls = self.profile, self.train, self.pulls
        return lambda count: getattr(supply(profile, train(count), rail, pulls), name)

    def binds(self, rail: str, count: int) -> Binds:
        """Return what stops the train of a number of cars on a rail condition."""
        failed = [test for test in _LIMIT if self.first_failing(rail, [test], count + 1) == count]
        test: Test = min(failed or _RATED[:2], key=lambda each: self.margin(rail, each, count).value)
        worst, train, profile = self.margin(rail, test, count), self.train(count), self._profile(test)
        need = demand_at(profile, train, worst.at)[0] + count * self.resistance(test)
        if self._taut(test):
            need += tension_at(profile, train, worst.at, starting=test == "restart")
        return Binds(test, count, worst.at, self.profile.track_at(worst.at), need, worst.value + need)


class LoadSearch:
    """A power and a kind of car on one route: what trains of them need, worked out once for all rail conditions.

    On a route with reversals the load is the least over its legs; with the engine leading as the train starts, it is
    pushed on every second leg, or until they run round it.
    """

    def __init__(
        self, plan: Plan, profile: RouteProfile, power: Power, car: Car, pulls: Pulls, *, engine: Engine = "leading"
    ) -> None:
        self.plan, self.profile, self.power, self.car, self.pulls = plan, profile, power, car, pulls
        self.engine: Engine = engine
        self._runs = [(_Run(plan, leg, power, car, pulls, engine=engine), start) for leg, start in profile.approached]

    def train(self, count: int) -> Train:
        """Return the train of a number of cars as it starts."""
        return headed_by(self.plan, self.power, self.car, count, engine=self.engine)

    def load(self, rail: str, rooms: Sequence[Room]) -> Load:
        """Return the longest train on a rail condition, given the places that must hold it whole."""
        rated_fails = limit_fails = MOST_CARS + 1
        binding: tuple[_Run, float] | None = None
        for run, start in self._runs:
            fails = run.first_failing(rail, _RATED, rated_fails)
            if fails < rated_fails:
                rated_fails, binding = fails, (run, start)
            limit_fails = run.first_failing(rail, _LIMIT, limit_fails)
        binds: Binds | None = None
        if binding is not None:
            run, start = binding
            here = run.binds(rail, rated_fails)
            bases = bases_at(run.profile, run.train(rated_fails), rail, self.pulls, here.at)
            binds = replace(here, at=start + here.at)
        else:
            bases = bases_at(self.profile, self.train(1), rail, self.pulls, None)
        # of places alike to a hundredth of a millimeter the first by name, whatever rounding their lengths went through
        tightest = min(rooms, key=lambda room: (round(room.length, 5), room.name))
        return Load(
            power=self.power.name,
            car=self.car.name,
            rail=rail,
            rated=rated_fails - 1,
            limit=limit_fails - 1,
            fits=self._fits(min(room.length for room in rooms)),
            fits_by=tightest.name,
            binds=binds,
            basis=bases.standing,
            slipping_basis=bases.slipping,
            engine=self.engine,
        )

    def _fits(self, room: float) -> int:
        locos = self.train(0).length
        return max(0, math.floor((room - locos) / self.car.length + 1e-9))
