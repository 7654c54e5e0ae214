"""Counts: greatest demand of trains of 1, 2, 3 … equal cars, calculated for a few and bounded for the rest."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.demand import edge_weights
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train
from gradehaul.haulage.verdict import less
from gradehaul.plan.records import Car
from gradehaul.plan.resolve.stock import MOST_CARS
from gradehaul.track.piecewise import Extreme, PiecewiseQuadratic, greatest_of_sum, sum_of_shifted

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
        pull: Callable[[int], PiecewiseQuadratic] | None = None,
    ) -> None:
        self._profile, self._train, self._pull = profile, train, pull
        self._row = GRAVITY * car.mass * (1 + _SLACK) * profile.rows_of_cars(car.length) + _LEAST_SLACK
        self._numbers = np.arange(1, MOST_CARS + 1)
        self._known: dict[int, Extreme] = {}
        self.most = np.full(MOST_CARS, np.inf)

    def first_failing(self, pull: float, resistance: float, below: int = MOST_CARS + 1) -> int:
        """Return the least number of cars that needs more than a pull, `below` where none under it does.

        Not by halving: over a sawtooth an extra car can lighten the load. Every count up to the one returned is sure.

        `pull` has what a tie allows, `resistance` is that of one car, N; only counts less than `below` are of interest.
        """
        room = pull - self._numbers * resistance
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
        if self._pull is None:
            return greatest_of_sum(terms, start, stop)
        left = less(self._pull(count), sum_of_shifted(terms, start, stop)).least()
        return Extreme(-left.value, left.at)


def _first(which: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> int:
    """Return the least count of which something is true, one over the most where it is true of none."""
    place = int(which.argmax())
    return place + 1 if which[place] else MOST_CARS + 1
