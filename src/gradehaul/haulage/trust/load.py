"""Trust in a load: the 5th and 95th percentile of the longest train, from draws of all that is unsure."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.demand import TIE, Pulls, Supply, asked_at, gravity_and_curves, rails_along, supply
from gradehaul.haulage.longest import Engine, Load
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train, headed_by
from gradehaul.haulage.trust.demand import IntArray, Patterns, patterns_at, rails_under, shaped
from gradehaul.haulage.trust.draws import Draws
from gradehaul.haulage.trust.percentiles import quantiles
from gradehaul.haulage.trust.pull import State, given
from gradehaul.haulage.verdict import less
from gradehaul.plan.records import Car, Plan, Power
from gradehaul.plan.stock import MOST_CARS
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic, distinct

LOAD_DRAWS = 1_000
"""Draws for the percentiles of a load: the 5th is then the 5th to within 0.7 (one standard error)."""

LOW, HIGH = 0.05, 0.95

_CURVES = (0.02, 0.5, 0.98)
"""Quantiles of the curve coefficient at which the worst place of a train is looked for by the exact engine."""


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
        self.plan, self.pulls = plan, pulls
        self.draws = draws.part(LOAD_DRAWS)
        curve = self.draws.curve
        bends = profile.turning.ends[-1] > profile.turning.values[0]
        self.coefficients = np.array(quantiles(curve, _CURVES if bends else (0.5,)))
        self.shares = _shares(self.coefficients, curve)
        self.legs = [_Leg(leg, self.coefficients) for leg, _ in profile.runs]
        self._weighings: dict[tuple[str, str, Engine], _Weighing] = {}

    def between(self, values: FloatArray) -> FloatArray:
        """Return what is known at each coefficient, shape (nodes,) or (nodes, draws), in every draw.

        It is taken as straight between the coefficients, and straight on beyond them.
        """
        every: FloatArray = (self.shares * values).sum(axis=0) if values.ndim > 1 else values @ self.shares
        return every

    def spread(self, load: Load) -> LoadSpread:
        """Return the percentiles of a load of this route.

        Reckoned from 1,000 draws, not 10,000, and not exactly in each: the exact engine finds the worst place of a
        train at three curve coefficients (the 2nd, 50th and 98th percentile); between them the margin is taken as
        straight in the coefficient, which is on the safe side since the most that is asked is convex in it, and at each
        place it is exact in pulls, masses and resistances. Of trains of more than ten cars some are
        looked at, a sixth apart at the most, and what those between ask is taken as straight in the number of cars. The
        number is found as if one more car always asked more; over a sawtooth that may differ from the nominal load,
        which is found without that. The nominal load itself stands between the two in any case.
        """
        key = load.power, load.car, load.engine
        if key not in self._weighings:
            self._weighings[key] = _Weighing(self, self.plan.powers[load.power], self.plan.cars[load.car], load.engine)
        weighing = self._weighings[key]
        rated_low, rated_high, limit_low, limit_high = (
            _most_cars(partial(margin, load.rail, percentile), near, weighing.slope(max(near, 1)))
            for margin, near in ((weighing.rated, load.rated), (weighing.limit, load.limit))
            for percentile in (LOW, HIGH)
        )
        return LoadSpread(
            min(rated_low, load.rated),
            max(rated_high, load.rated),
            min(limit_low, load.limit),
            max(limit_high, load.limit),
        )


class _Leg:
    """A route, or one leg of it, by its heights, its bends, and both together at each curve coefficient."""

    def __init__(self, profile: RouteProfile, coefficients: FloatArray) -> None:
        self.route = profile.route
        self.rails = profile.rails
        self.length = profile.length
        self.heights, self.bends = shaped(profile, profile.railhead), shaped(profile, profile.turning)
        self.profiles = [shaped(profile, _combined(profile.railhead, profile.turning, float(c))) for c in coefficients]


class _Weighing:
    """Trains of one kind of car behind a power over all legs of a route, weighed in all draws."""

    def __init__(self, route: RouteTrust, power: Power, car: Car, engine: Engine) -> None:
        draws = route.draws
        masses = draws.mass(car)
        self.masses = np.ones(draws.count) if masses is None else masses
        weight = GRAVITY * car.mass * self.masses
        self.rolling = weight * draws.rolling(car)
        self.restarting = np.maximum(self.rolling, weight * draws.starting(car))
        self._runs = [
            _Run(route, leg, power, car, self.masses, pushed=leg.route.pushed(at_start=engine == "trailing"))
            for leg in route.legs
        ]

    def rated(self, rail: str, percentile: float, count: int) -> float:
        """Return a percentile of the margin with which a train is rated, N."""
        stand, slip = self._margin(rail, count, "standing"), self._margin(rail, count, "slipping")
        return _percentile(np.minimum(stand - count * self.restarting, slip - count * self.rolling), percentile)

    def limit(self, rail: str, percentile: float, count: int) -> float:
        """Return a percentile of the margin with which a train gets through as long as its wheels never slip, N."""
        return _percentile(self._margin(rail, count, "standing") - count * self.rolling, percentile)

    def slope(self, count: int) -> float:
        """Return about what one more car takes from the margin of a train, N, as a negative figure."""
        return -max(max(run.asked_by_car(count) for run in self._runs) + float(self.rolling.mean()), 0.0)

    def _margin(self, rail: str, count: int, state: State) -> FloatArray:
        margin = self._runs[0].margin(rail, count, state)
        for run in self._runs[1:]:
            margin = np.minimum(margin, run.margin(rail, count, state))
        return margin


class _Run:
    """Trains of one kind of car with a power where they run in one direction."""

    def __init__(
        self, route: RouteTrust, leg: _Leg, power: Power, car: Car, masses: FloatArray, *, pushed: bool
    ) -> None:
        self.route, self.leg, self.power, self.car, self.masses = route, leg, power, car, masses
        self.draws, self.pushed = route.draws, pushed
        self._locos = len(self.train(1).locos)
        self._gravity: dict[int, list[PiecewiseQuadratic]] = {}
        self._worst: dict[int, list[tuple[float, float]]] = {}
        self._level: dict[int, FloatArray] = {}
        self._varied: dict[tuple[str, int, State], FloatArray] = {}
        self._given: dict[tuple[object, State], FloatArray] = {}
        self._supply: dict[tuple[str, int], Supply] = {}
        self._rails: dict[tuple[str, int], tuple[FloatArray, Patterns, IntArray]] = {}

    def train(self, count: int) -> Train:
        """Return the train of a number of cars as it runs here."""
        train = headed_by(self.route.plan, self.power, self.car, count)
        return train.after([None]) if self.pushed else train

    def asked_by_car(self, count: int) -> float:
        """Return about what one car of a train asks at the worst place, N."""
        count = _grid(count)[0]
        parts = self._worst_parts(count)
        return parts[len(parts) // 2][0] / count

    def margin(self, rail: str, count: int, state: State) -> FloatArray:
        """Return pull less what grades and curves ask, with the tie allowed, N, shape (draws,)."""
        pull = self._nominal(rail, count, state)
        if not isinstance(pull, PiecewiseQuadratic):
            if count not in self._level:
                self._level[count] = self._asked_by(np.array([self._worst_parts(one) for one in _grid(count)]), count)
            one = rails_along(self.leg.heights, rail)[0]
            return self._pull(((one,),) * self._locos, state) - self._level[count]
        key = rail, count, state
        if key not in self._varied:
            heads = [less(pull, asked).least().at for asked in self._asked(count)]
            pulls = np.array([self._pull(self._under(rail, count, pull, head), state) for head in heads])
            asked = self._asked_by(np.array([self._parts(count, heads)]), count)
            self._varied[key] = self.route.between(pulls) - asked
        return self._varied[key]

    def _asked_by(self, parts: FloatArray, count: int) -> FloatArray:
        """Return what a train asks in every draw, from what cars and locomotives ask by grid count and coefficient."""
        if len(parts) == 2:
            below, above = _grid(count)
            parts = parts[:1] + (parts[1:] - parts[:1]) * ((count - below) / (above - below))
        cars, locos = parts[0].T
        return self.route.between(locos) + self.route.between(cars) * self.masses

    def _worst_parts(self, count: int) -> list[tuple[float, float]]:
        """Return what cars and locomotives ask where they ask most, N, at each of the curve coefficients."""
        if count not in self._worst:
            self._worst[count] = self._parts(count, [asked.greatest().at for asked in self._asked(count)])
        return self._worst[count]

    def _parts(self, count: int, heads: Sequence[float]) -> list[tuple[float, float]]:
        train = self.train(count)
        return [asked_at(profile, train, head) for profile, head in zip(self.leg.profiles, heads, strict=True)]

    def _asked(self, count: int) -> list[PiecewiseQuadratic]:
        if count not in self._gravity:
            train = self.train(count)
            height, bend = (gravity_and_curves(profile, train) for profile in (self.leg.heights, self.leg.bends))
            self._gravity[count] = [_combined(height, bend, float(c)) for c in self.route.coefficients]
        return self._gravity[count]

    def _placed(self, count: int) -> int:
        """Return the number of cars that tells where the locomotives stand: any, where they are ahead of the cars."""
        return count if self.pushed else 1

    def _nominal(self, rail: str, count: int, state: State) -> PiecewiseQuadratic | float:
        """Return the pull that the plan's own figures give, whose changes along the route say where to look."""
        key = rail, self._placed(count)
        if key not in self._supply:
            self._supply[key] = supply(self.leg.heights, self.train(key[1]), rail, self.route.pulls)
        return self._supply[key].standing if state == "standing" else self._supply[key].slipping

    def _under(self, rail: str, count: int, pull: PiecewiseQuadratic, head: float) -> tuple[tuple[str, ...], ...]:
        """Return the rail conditions under each locomotive; where they change, those with the lesser pull."""
        key = rail, self._placed(count)
        if key not in self._rails:
            there = rails_under(self.leg.heights, self.train(key[1]), rail)
            changes = distinct(np.concatenate([step.breaks for row in there for step in row.values()]))
            self._rails[key] = changes, *patterns_at(there, 0.5 * (changes[:-1] + changes[1:]))
        changes, found, which = self._rails[key]
        beside = np.array([head - 1e-6, head + 1e-6])
        stretch = np.clip(np.searchsorted(changes, beside) - 1, 0, which.size - 1)
        return found[which[stretch[int(pull.at(np.clip(beside, changes[0], changes[-1])).argmin())]]]

    def _pull(self, under: tuple[tuple[str, ...], ...], state: State) -> FloatArray:
        if (under, state) not in self._given:
            self._given[under, state] = given(self.train(1), under, self.draws, state) * (1 + TIE)
        return self._given[under, state]


def _grid(count: int) -> tuple[int, ...]:
    """Return the count itself where it is looked at, else its neighbors that are.

    >>> _grid(10), _grid(40), _grid(41)
    ((10,), (37, 43), (37, 43))
    """
    below = 10
    if count <= below:
        return (count,)
    while (above := below + below // 6) <= count:
        below = above
    return (count,) if below == count else (below, above)


def _percentile(values: FloatArray, share: float) -> float:
    place = int(share * values.size)
    return float(np.partition(values, place)[place])


def _combined(height: PiecewiseQuadratic, bend: PiecewiseQuadratic, coefficient: float) -> PiecewiseQuadratic:
    """Return height + coefficient × bend of two functions that break at the same places."""
    return PiecewiseQuadratic(
        height.breaks,
        height.values + coefficient * bend.values,
        height.slopes + coefficient * bend.slopes,
        height.seconds + coefficient * bend.seconds,
    )


def _shares(nodes: FloatArray, at: FloatArray) -> FloatArray:
    """Return what share each node has in a value at each place: straight between nodes, and straight on beyond.

    >>> (np.array([0.0, 1.0, 4.0]) @ _shares(np.array([0.0, 1.0, 2.0]), np.array([0.5, 2.5]))).tolist()
    [0.5, 5.5]
    """
    shares = np.zeros((nodes.size, at.size))
    if nodes.size == 1:
        shares[0] = 1.0
        return shares
    below = np.clip(np.searchsorted(nodes, at) - 1, 0, nodes.size - 2)
    along = (at - nodes[below]) / (nodes[below + 1] - nodes[below])
    draws = np.arange(at.size)
    shares[below, draws] = 1.0 - along
    shares[below + 1, draws] = along
    return shares


def _most_cars(margin: Callable[[int], float], near: int, slope: float = 0.0) -> int:
    """Return the most cars with which a margin is not negative, by steps as long as the margin tells.

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
            goal = goal if goal != below else goal + 1
        else:
            goal = at + step if left >= 0 else at - step
            step *= 4
        at = min(max(goal, below + 1), above - 1)
    return below
