"""Trust in a load: the 5th and 95th percentile of the longest train, from random trials of all that is unsure."""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass
from typing import Literal

import numpy as np

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.longest import Load
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.tension import most_friction
from gradehaul.haulage.train import headed_by
from gradehaul.haulage.trust.margin import Margins, TrialPulls
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.plan.records import Plan
from gradehaul.plan.resolve.stock import MOST_CARS
from gradehaul.track.piecewise import FloatArray

LOAD_TRIALS = 1_000
"""Trials for the percentiles of a load: the 5th is then the 5th to within 0.7 (one standard error)."""

LOW, HIGH = 0.05, 0.95

_Kind = Literal["rated", "limit"]


@dataclass(frozen=True, slots=True)
class LoadSpread:
    """The 5th and 95th percentile of a rated and of a limit load, cars."""

    rated_low: int
    rated_high: int
    limit_low: int
    limit_high: int


class RouteTrust:
    """How sure the loads of a route are: random trials, run when a load is first looked at.

    Each train that is looked at is exact in each of 1,000 trials, and no number of cars is passed over that could fail.
    """

    def __init__(self, plan: Plan, profile: RouteProfile, trials: RandomTrials) -> None:
        self._plan, self._profile, self._trials = plan, profile, trials.part(LOAD_TRIALS)
        self._trains: dict[int, list[Margins]] = {}
        self._pulls: TrialPulls = {}
        self._frictions: dict[bool, FloatArray] = {}
        self._steepest: dict[float, FloatArray] = {}
        self._ranges: dict[tuple[Load, _Kind, int], tuple[int, int]] = {}
        self._of: tuple[str, str, str] | None = None
        """The power, car and engine whose trains are kept: loads on several rails follow one another."""

    def spread(self, load: Load) -> LoadSpread:
        """Return the percentiles of a load of this route."""
        return LoadSpread(*self._range(load, "rated", load.rated), *self._range(load, "limit", load.limit))

    def range_to_run(self, load: Load) -> tuple[int, int]:
        """Return the percentiles of the cars to run; trains that are too long are not looked at."""
        return self._range(load, "rated", load.to_run, load.held(MOST_CARS))

    def sure(self, load: Load, cars: int) -> bool:
        """Return whether so many cars are rated at the 5th percentile, by a single look at the trials."""
        return cars == 0 or not _fails(self._margins(load, "rated", cars), LOW)

    def _range(self, load: Load, kind: _Kind, nominal: int, most: int = MOST_CARS) -> tuple[int, int]:
        if (load, kind, most) not in self._ranges:
            # whatever is rated is within the limit in every trial
            sure = (0, 0) if kind == "rated" else self._range(load, "rated", load.rated)
            low = self._most_cars(load, kind, LOW, sure[0], nominal)
            self._ranges[load, kind, most] = low, self._most_cars(load, kind, HIGH, max(nominal, sure[1]), most)
        return self._ranges[load, kind, most]

    def _most_cars(self, load: Load, kind: _Kind, share: float, sure: int, most: int) -> int:
        """Return the number of cars before the first with which a percentile is negative, of those not sure yet."""
        known, looked_at = self._known(load), 0
        while sure < most:
            # a train that was worked out for another rail costs little and may show that some more cars are sure
            count = max((each for each in known if looked_at < each <= sure), default=sure + 1)
            spare = self._margins(load, kind, count)
            if count > sure and _fails(spare, share):
                return sure
            looked_at, sure = count, max(sure, count + self._surely_more(load, kind, count, spare, share))
        return most

    def _surely_more(self, load: Load, kind: _Kind, count: int, spare: FloatArray, share: float) -> int:
        """Return how many cars more do not make a percentile negative even if each stood where the route is hardest.

        Each costs what it needs on the hardest climb, or what it pushes on the steepest fall, whichever is more.

        A row of cars needs no more than it can need anywhere, and coupler tension adds no more than it can to all of
        them.
        """
        car, trials, starting = self._plan.cars[load.car], self._trials, kind == "rated"
        taut = self._profile.curves.tension > 0
        friction = self._most_friction(load, starting) if taut else np.zeros(0)
        mass, curve = trials.mass(trials.mass_cause(car)), trials.starting_curve if starting else trials.curve
        rolling, heights, bends, falls = trials.resistance(car, starting=False), *self._rows(car.length)
        rolling = np.maximum(rolling - car.rolling_drop, 0.0)
        more, surely = -1, 0
        while more < surely:  # the more cars, the less each of them needs where the steepest place is short
            more = surely
            climbing = mass * (heights[more] + curve * bends[more]) + trials.resistance(car, starting=starting)
            each = np.maximum(GRAVITY * car.mass * np.maximum(climbing, mass * falls[more] - rolling), 1e-12)
            enough = _percentile(spare / each, share)
            surely = max(more, int(min(enough, MOST_CARS - 1)))
            while taut and surely > more:  # what tension may add to so many more, it may add to any fewer
                most = friction[min(count + surely, MOST_CARS) - 1] * self._trials.tension
                enough = _percentile((spare - most) / each, share)
                if enough >= more + 1:
                    surely = min(surely, int(enough))
                    break
                surely //= 2
            surely = max(more, surely)
        return more

    def _most_friction(self, load: Load, starting: bool) -> FloatArray:
        """Return no less than tension adds by the plan's figures with each number of cars, N, shape (999,)."""
        if starting not in self._frictions:
            plan, car = self._plan, self._plan.cars[load.car]
            locos = headed_by(plan, plan.powers[load.power], car, 0).length
            of_legs = [most_friction(leg, locos, car, car.rolling.value) for leg, _ in self._profile.approached]
            if starting:
                of_legs += [
                    most_friction(leg.starting, locos, car, car.starting.value) for leg, _ in self._profile.approached
                ]
            # finite, since in a trial without tension infinity times 0 is no number
            self._frictions[starting] = np.minimum(np.max(of_legs, axis=0), sys.float_info.max)
        return self._frictions[starting]

    def _rows(self, length: float) -> FloatArray:
        """Return what each car of a row climbs, turns and falls at most, in rows of no fewer than 1, 1, 2, 3 … cars."""
        if length not in self._steepest:
            legs = [
                [shape.rows_of_cars(length) for shape in (leg.heights, leg.bends, leg.shaped(leg.railhead * -1.0))]
                for leg, _ in self._profile.approached
            ]
            each = np.max(legs, axis=0) / np.arange(1, MOST_CARS + 1)
            least = np.maximum.accumulate(each[:, ::-1], axis=1)[:, ::-1]
            self._steepest[length] = np.concatenate([least[:, :1], least], axis=1)
        return self._steepest[length]

    def _margins(self, load: Load, kind: _Kind, count: int) -> FloatArray:
        """Return the pull that a train has to spare in every trial, N, shape (trials,)."""
        rail, tests = load.rail, []
        for leg in self._legs(load, count):
            if kind == "limit":
                tests.append(leg.margin(rail))
            else:
                tests += [leg.margin(rail, starting=True), leg.margin(rail, "slipping")]
            if leg.profile.fall:
                tests.append(leg.held_back(rail))
        least: FloatArray = np.min(tests, axis=0)
        return least

    def _legs(self, load: Load, count: int) -> list[Margins]:
        """Return the train of a number of cars as it runs over each leg."""
        known = self._known(load)
        if count not in known:
            power, car = self._plan.powers[load.power], self._plan.cars[load.car]
            train = headed_by(self._plan, power, car, count, engine=load.engine)
            known[count] = [
                Margins(leg, train.after(leg.route.run_rounds), self._trials, self._pulls)
                for leg, _ in self._profile.approached
            ]
        return known[count]

    def _known(self, load: Load) -> dict[int, list[Margins]]:
        """Return the trains of a load's power, car and engine that are kept, by their number of cars."""
        of = load.power, load.car, load.engine
        if of != self._of:
            self._of, self._trains, self._pulls, self._frictions = of, {}, {}, {}
        return self._trains


def _rank(values: FloatArray, share: float) -> int:
    return math.ceil(share * (values.size - 1))


def _fails(spare: FloatArray, share: float) -> bool:
    """Return whether more than a share of trials have nothing to spare: their percentile is negative."""
    return int(np.count_nonzero(spare < 0)) > _rank(spare, share)


def _percentile(values: FloatArray, share: float) -> float:
    """Return the least value of a trial that no more than such a share of trials is below."""
    rank = _rank(values, share)
    return float(np.partition(values, rank)[rank])
