"""Trust in a load: the 5th and 95th percentile of the longest train, from draws of all that is unsure."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.demand import Pulls
from gradehaul.haulage.longest import Load
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Engine
from gradehaul.haulage.trust.draws import Draws
from gradehaul.haulage.trust.percentiles import quantiles
from gradehaul.haulage.trust.pull import State
from gradehaul.haulage.trust.running import Drawn, DrawnRun, Leg
from gradehaul.plan.records import Car, Plan, Power
from gradehaul.plan.resolve.stock import MOST_CARS
from gradehaul.track.piecewise import FloatArray

LOAD_DRAWS = 1_000
"""Draws for the percentiles of a load: the 5th is then the 5th to within 0.7 (one standard error)."""

LOW, HIGH = 0.05, 0.95

_CURVES = (0.02, 0.5, 0.98)
"""Quantiles of the curve coefficient at which the worst place of a train is looked for by the exact engine."""
_SAME = 1e-9
"""Coefficients that differ by less than this share of the greatest are one."""


@dataclass(frozen=True, slots=True)
class LoadSpread:
    """The 5th and 95th percentile of a rated and of a limit load, cars."""

    rated_low: int
    rated_high: int
    limit_low: int
    limit_high: int


class RouteTrust:
    """A route at several curve coefficients, ready to tell how sure its loads are.

    Parameters
    ----------
    plan, profile
        The plan, and the route's compensated profile.
    pulls
        The pulls of the plan's locomotives.
    draws
        Draws of the plan's figures; fewer of them are taken.
    """

    def __init__(self, plan: Plan, profile: RouteProfile, pulls: Pulls, draws: Draws) -> None:
        draws = draws.part(LOAD_DRAWS)
        bends = profile.turning.ends[-1] > profile.turning.values[0]
        nodes = np.array(quantiles(draws.curve, _CURVES if bends else (0.5,)))
        if bends:  # what is needed at the greatest coefficient when starting is worked out too
            nodes = np.append(nodes, quantiles(draws.starting_curve, _CURVES[-1:]))
        nodes = nodes[np.diff(nodes, prepend=-np.inf) > _SAME * nodes[-1]]  # a measured coefficient may not vary
        self._drawn = Drawn(plan, pulls, draws, nodes)
        self._legs = [Leg(leg, nodes) for leg, _ in profile.runs]
        self._last: tuple[tuple[str, str, Engine], _Weighing] | None = None

    def spread(self, load: Load) -> LoadSpread:
        """Return the percentiles of a load of this route.

        Calculated from 1,000 draws, not 10,000, and not exactly in each: the exact engine finds the worst place of a
        train at four curve coefficients (the 2nd, 50th and 98th percentile, and the 98th of starting); between them the
        margin is taken as straight in the coefficient, which is on the safe side since the most that is asked is convex
        in it, and at each place it is exact in pulls, masses and resistances. Of trains of more than ten cars some are
        looked at, a sixth apart at the most, and what those between ask is taken as straight in the number of cars. The
        number is found as if one more car always asked more; over a sawtooth that may differ from the nominal load,
        which is found without that. The nominal load itself stands between the two in any case.
        """
        weighing = self._weighing(load)
        low, high = self.rated_range(load)
        limit_low, limit_high = (self._most(weighing.limit, load, share, load.limit) for share in (LOW, HIGH))
        return LoadSpread(low, high, min(limit_low, load.limit), max(limit_high, load.limit))

    def rated_range(self, load: Load) -> tuple[int, int]:
        """Return the percentiles of the rated load alone."""
        weighing = self._weighing(load)
        low, high = (self._most(weighing.rated, load, share, load.rated) for share in (LOW, HIGH))
        return min(low, load.rated), max(high, load.rated)

    def _most(self, margin: Callable[[str, float, int], float], load: Load, share: float, near: int) -> int:
        slope = self._weighing(load).slope(max(near, 1))
        return _most_cars(partial(margin, load.rail, share), near, slope)

    def sure(self, load: Load, cars: int) -> bool:
        """Return whether so many cars are rated at the 5th percentile, by a single look at the trials."""
        return cars == 0 or self._weighing(load).rated(load.rail, LOW, cars) >= 0

    def _weighing(self, load: Load) -> _Weighing:
        key = load.power, load.car, load.engine
        if self._last is None or self._last[0] != key:  # loads on several rails follow one another; the rest is let go
            plan = self._drawn.plan
            power, car = plan.powers[load.power], plan.cars[load.car]
            self._last = key, _Weighing(self._drawn, self._legs, power, car, load.engine)
        return self._last[1]


class _Weighing:
    """Trains of one kind of car behind a power over all legs of a route, weighed in all draws."""

    def __init__(self, drawn: Drawn, legs: Sequence[Leg], power: Power, car: Car, engine: Engine) -> None:
        draws = drawn.draws
        masses = draws.mass(car)
        self.masses = np.ones(draws.count) if masses is None else masses
        weight = GRAVITY * car.mass * self.masses
        self.rolling = weight * draws.rolling(car)
        self.restarting = np.maximum(self.rolling, weight * draws.starting(car))
        self._runs = [DrawnRun(drawn, leg, power, car, self.masses, engine) for leg in legs]

    def rated(self, rail: str, percentile: float, count: int) -> float:
        """Return a percentile of the margin with which a train is rated, N."""
        start = self._margin(rail, count, "standing", starting=True) - count * self.restarting
        slip = self._margin(rail, count, "slipping") - count * self.rolling
        return _percentile(np.minimum(start, slip), percentile)

    def limit(self, rail: str, percentile: float, count: int) -> float:
        """Return a percentile of the margin with which a train gets through as long as its wheels never slip, N."""
        return _percentile(self._margin(rail, count, "standing") - count * self.rolling, percentile)

    def slope(self, count: int) -> float:
        """Return about what one more car takes from the margin of a train, N, as a negative figure."""
        return -max(max(run.asked_by_car(count) for run in self._runs) + float(self.rolling.mean()), 0.0)

    def _margin(self, rail: str, count: int, state: State, *, starting: bool = False) -> FloatArray:
        margin = self._runs[0].margin(rail, count, state, starting=starting)
        for run in self._runs[1:]:
            margin = np.minimum(margin, run.margin(rail, count, state, starting=starting))
        return margin


def _percentile(values: FloatArray, share: float) -> float:
    place = int(share * values.size)
    return float(np.partition(values, place)[place])


def _most_cars(margin: Callable[[int], float], near: int, slope: float = 0.0) -> int:
    """Return the most cars with which a margin is not negative, by steps as long as the margin allows.

    Parameters
    ----------
    margin
        By the number of cars.
    near
        A number to begin with.
    slope
        About what one more car adds to the margin, negative; 0 where that is not known.

    Examples
    --------
    >>> asked: list[int] = []
    >>> _most_cars(lambda count: asked.append(count) or 94.5 - count, 20, -0.9), asked
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
