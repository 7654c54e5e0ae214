"""Trust in a load: the 5th and 95th percentile of the longest train, from random trials of all that is unsure."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from gradehaul.haulage.longest import Load
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import headed_by
from gradehaul.haulage.trust.margin import Margins, Pulls
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.plan.bench_records import State
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
    """How sure the loads of a route are.

    Each train that is looked at is exact in each of 1,000 trials. The number of cars is found as if one more always
    needed more; over a sawtooth that may differ from the nominal load, which is found without that and stands between
    the two percentiles in any case.
    """

    def __init__(self, plan: Plan, profile: RouteProfile, trials: RandomTrials) -> None:
        self._plan, self._profile, self._trials = plan, profile, trials.part(LOAD_TRIALS)
        self._trains: dict[int, list[Margins]] = {}
        self._pulls: Pulls = {}
        self._of: tuple[str, str, str] | None = None
        """The power, car and engine whose trains are kept: loads on several rails follow one another."""

    def spread(self, load: Load) -> LoadSpread:
        """Return the percentiles of a load of this route."""
        return LoadSpread(*self.rated_range(load), *self._range(load, "limit", load.limit))

    def rated_range(self, load: Load) -> tuple[int, int]:
        """Return the percentiles of the rated load alone."""
        return self._range(load, "rated", load.rated)

    def sure(self, load: Load, cars: int) -> bool:
        """Return whether so many cars are rated at the 5th percentile, by a single look at the trials."""
        return cars == 0 or _percentile(self._margins(load, "rated", cars), LOW) >= 0

    def _range(self, load: Load, kind: _Kind, nominal: int) -> tuple[int, int]:
        slope = self._slope(load, max(nominal, 1))

        def most_cars(percentile: float) -> int:
            return _most_cars(lambda count: _percentile(self._margins(load, kind, count), percentile), nominal, slope)

        return min(most_cars(LOW), nominal), max(most_cars(HIGH), nominal)

    def _margins(self, load: Load, kind: _Kind, count: int) -> FloatArray:
        """Return the pull that a train has to spare in every trial, N, shape (trials,)."""
        if kind == "limit":
            return self._least(load, count, "standing")
        return np.minimum(self._least(load, count, "standing", starting=True), self._least(load, count, "slipping"))

    def _least(self, load: Load, count: int, state: State, *, starting: bool = False) -> FloatArray:
        legs = [leg.margin(load.rail, state, starting=starting) for leg in self._legs(load, count)]
        least: FloatArray = np.min(legs, axis=0)
        return least

    def _slope(self, load: Load, count: int) -> float:
        """Return about what one more car takes from the margin of a train, N, as a negative figure."""
        legs = self._legs(load, count)
        return -max(float((leg.demand() + leg.resistance()).mean()) for leg in legs) / count

    def _legs(self, load: Load, count: int) -> list[Margins]:
        """Return the train of a number of cars as it runs over each leg."""
        of = load.power, load.car, load.engine
        if of != self._of:
            self._of, self._trains, self._pulls = of, {}, {}
        if count not in self._trains:
            power, car = self._plan.powers[load.power], self._plan.cars[load.car]
            train = headed_by(self._plan, power, car, count, engine=load.engine)
            self._trains[count] = [
                Margins(leg, train.after(leg.route.run_rounds), self._trials, self._pulls)
                for leg, _ in self._profile.runs
            ]
        return self._trains[count]


def _percentile(values: FloatArray, share: float) -> float:
    """Return the least value of a trial that no more than such a share of trials is below."""
    rank = math.ceil(share * (values.size - 1))
    return float(np.partition(values, rank)[rank])


def _most_cars(margin: Callable[[int], float], near: int, slope: float = 0.0) -> int:
    """Return the most cars with which a margin is not negative, by steps as long as the margin allows.

    It begins near a number; `slope` is about what one more car adds to the margin, 0 where that is not known.

    Examples
    --------
    >>> looked: list[int] = []
    >>> _most_cars(lambda count: looked.append(count) or 94.5 - count, 20, -0.9), looked
    (94, [20, 102, 94, 95])
    >>> _most_cars(lambda _: 1.0, 3), _most_cars(lambda _: -1.0, 3)
    (999, 0)
    """
    below, above = 0, MOST_CARS + 1
    at, step = min(max(near, 1), MOST_CARS), 1
    last: tuple[int, float] | None = None
    while above - below > 1:
        left = margin(at)
        if left >= 0:
            below = at
        else:
            above = at
        if last is not None and (left - last[1]) * (at - last[0]) < 0:
            slope = (left - last[1]) / (at - last[0])
        last = at, left
        if slope < 0 and abs(left) < -slope * MOST_CARS:
            goal = math.floor(at - left / slope)
        else:
            goal = at + step if left >= 0 else at - step
            step *= 4
        at = min(max(goal, below + 1), above - 1)
    return below
