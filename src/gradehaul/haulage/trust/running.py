"""Demand and pull of trains of one kind of car in one direction, in draws of every uncertain figure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gradehaul.haulage.demand import (
    TIE,
    Pulls,
    Supply,
    asked_at,
    gravity_and_curves,
    rails_along,
    supply,
    tension,
    tension_at,
)
from gradehaul.haulage.profile import RouteProfile, compensated
from gradehaul.haulage.train import Engine, Train, headed_by, pushed
from gradehaul.haulage.trust.demand import IntArray, Patterns, patterns_at, rails_under
from gradehaul.haulage.trust.draws import Draws
from gradehaul.haulage.trust.pull import State, given
from gradehaul.haulage.verdict import less
from gradehaul.plan.records import Car, Plan, Power
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic, distinct


class Drawn:
    """A plan with draws of its figures, and the curve coefficients at which the exact engine is asked.

    Parameters
    ----------
    plan, pulls
        The plan, and the pulls of its locomotives.
    draws
        Draws of its figures.
    coefficients
        The curve coefficients, m, rising, shape (nodes,).
    """

    def __init__(self, plan: Plan, pulls: Pulls, draws: Draws, coefficients: FloatArray) -> None:
        self.plan, self.pulls, self.draws, self.coefficients = plan, pulls, draws, coefficients
        self._shares = tuple(_shares(coefficients, curve) for curve in (draws.curve, draws.starting_curve))
        self._given: dict[tuple[object, ...], FloatArray] = {}

    def pull(self, power: Power, train: Train, under: tuple[tuple[str, ...], ...], state: State) -> FloatArray:
        """Return what a power gives on the rails under each of its locomotives, with the tie allowed, N."""
        key = power.name, tuple(loco.name for loco, _ in train.locos), under, state
        if key not in self._given:
            self._given[key] = given(train, under, self.draws, state) * (1 + TIE)
        return self._given[key]

    def between(self, values: FloatArray, *, starting: bool) -> FloatArray:
        """Return what is known at each coefficient, shape (nodes,) or (nodes, draws), in every draw.

        It is taken as straight between the coefficients, and straight on beyond them.
        """
        shares = self._shares[starting]
        every: FloatArray = (shares * values).sum(axis=0) if values.ndim > 1 else values @ shares
        return every


class Leg:
    """A route, or one leg of it, by its heights, its bends, and both together at each curve coefficient."""

    def __init__(self, profile: RouteProfile, coefficients: FloatArray) -> None:
        self.route = profile.route
        self.heights, self.bends = profile.shaped(profile.railhead), profile.shaped(profile.turning)
        self.profiles = [profile.shaped(compensated(profile.railhead, profile.turning, float(c))) for c in coefficients]


class DrawnRun:
    """Trains of one kind of car with a power where they run in one direction."""

    def __init__(self, drawn: Drawn, leg: Leg, power: Power, car: Car, masses: FloatArray, engine: Engine) -> None:
        self.drawn, self.leg, self.power, self.car, self.masses = drawn, leg, power, car, masses
        self.engine: Engine = engine
        self.pushed, self._taut = pushed(self.train(1)), leg.heights.curves.tension > 0
        self._locos = len(self.train(1).locos)
        self._gravity: dict[tuple[int, bool], list[PiecewiseQuadratic]] = {}
        self._worst: dict[tuple[int, bool], list[tuple[float, float]]] = {}
        self._level: dict[tuple[int, bool], FloatArray] = {}
        self._varied: dict[tuple[str, int, State, bool], FloatArray] = {}
        self._supply: dict[tuple[str, int], Supply] = {}
        self._rails: dict[tuple[str, int], tuple[FloatArray, Patterns, IntArray]] = {}

    def train(self, count: int) -> Train:
        """Return the train of a number of cars as it runs here."""
        train = headed_by(self.drawn.plan, self.power, self.car, count, engine=self.engine)
        return train.after(self.leg.route.run_rounds)

    def asked_by_car(self, count: int) -> float:
        """Return about the demand of one car of a train at the worst place, N."""
        count = _grid(count)[0]
        parts = self._worst_parts(count, starting=False)
        return parts[len(parts) // 2][0] / count

    def margin(self, rail: str, count: int, state: State, *, starting: bool = False) -> FloatArray:
        """Return pull less what grades and curves need, running or starting, the tie allowed, N, shape (draws,)."""
        pull = self._nominal(rail, count, state)
        if not isinstance(pull, PiecewiseQuadratic):
            if (count, starting) not in self._level:
                parts = np.array([self._worst_parts(one, starting=starting) for one in _grid(count)])
                self._level[count, starting] = self._asked_by(parts, count, starting=starting)
            own = rails_along(self.leg.heights, rail)[0]
            return self._pull((own,) * self._locos, state) - self._level[count, starting]
        key = rail, count, state, starting
        if key not in self._varied:
            heads = [less(pull, asked).least().at for asked in self._asked(count, starting=starting)]
            pulls = np.array([self._pull(self._under(rail, count, pull, head), state) for head in heads])
            parts = np.array([self._parts(count, heads, starting=starting)])
            asked = self._asked_by(parts, count, starting=starting)
            self._varied[key] = self.drawn.between(pulls, starting=starting) - asked
        return self._varied[key]

    def _asked_by(self, parts: FloatArray, count: int, *, starting: bool) -> FloatArray:
        """Return what a train asks in every draw, from what cars and locomotives ask by grid count and coefficient."""
        if len(parts) == 2:
            below, above = _grid(count)
            parts = parts[:1] + (parts[1:] - parts[:1]) * ((count - below) / (above - below))
        cars, locos = (self.drawn.between(part, starting=starting) for part in parts[0].T)
        return locos + cars * self.masses

    def _worst_parts(self, count: int, *, starting: bool) -> list[tuple[float, float]]:
        """Return what cars and locomotives ask where they ask most, N, at each of the curve coefficients."""
        key = count, starting and self._taut
        if key not in self._worst:
            heads = [asked.greatest().at for asked in self._asked(count, starting=starting)]
            self._worst[key] = self._parts(count, heads, starting=starting)
        return self._worst[key]

    def _parts(self, count: int, heads: Sequence[float], *, starting: bool) -> list[tuple[float, float]]:
        train = self.train(count)
        found = []
        for profile, head in zip(self.leg.profiles, heads, strict=True):
            cars, locos = asked_at(profile, train, head)
            found.append((cars + tension_at(profile, train, head, starting=starting), locos))
        return found

    def _asked(self, count: int, *, starting: bool) -> list[PiecewiseQuadratic]:
        key = count, starting and self._taut
        if key not in self._gravity:
            train = self.train(count)
            height, bend = (gravity_and_curves(profile, train) for profile in (self.leg.heights, self.leg.bends))
            asked = [compensated(height, bend, float(c)) for c in self.drawn.coefficients]
            if self._taut:
                taut = [tension(profile, train, starting=starting) for profile in self.leg.profiles]
                asked = [each + friction for each, friction in zip(asked, taut, strict=True)]
            self._gravity[key] = asked
        return self._gravity[key]

    def _placed(self, count: int) -> int:
        """Return the number of cars that fixes where the locomotives stand: any, where they are ahead of the cars."""
        return count if self.pushed else 1

    def _nominal(self, rail: str, count: int, state: State) -> PiecewiseQuadratic | float:
        """Return the pull that the plan's own figures give, whose changes along the route say where to look."""
        key = rail, self._placed(count)
        if key not in self._supply:
            self._supply[key] = supply(self.leg.heights, self.train(key[1]), rail, self.drawn.pulls)
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
        return self.drawn.pull(self.power, self.train(1), under, state)


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
