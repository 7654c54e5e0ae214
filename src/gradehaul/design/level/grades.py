"""Effective grades under trains at every place of a route, each linear in the heights of stations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray

from gradehaul.design.level.stations import Stations
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.demand import edge_weights
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train, build_train
from gradehaul.quantities.si import METER, Meters
from gradehaul.track.piecewise import FloatArray

_OVER = 5e-6
"""A grade between two places may be so much above that at both, in an easement, before a place is added there."""

Integers = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class TrainRun:
    """A train with some of its cars on a route, or on the leg of one that begins at `start`.

    `order` has the stations it passes, `places` where these are along the run, m; `spots` numbers the stretches from
    station to station, the same for every number of cars.
    """

    name: str
    cars: int
    train: Train
    profile: RouteProfile
    order: Integers
    places: Annotated[FloatArray, METER]
    start: Meters
    spots: Integers

    def heads(self) -> FloatArray:
        """Return the places of the head at which the averaged grade may turn: an end of anything under an edge."""
        ends = np.concatenate([self.places, self.profile.summed_curvature.breaks])
        if self.profile.route.lap:
            rounds = int(np.ceil(self.train.length / self.profile.length))
            ends = (ends - self.profile.length * np.arange(rounds + 1)[:, None]).ravel()
        first, last = self.profile.first_head(self.train.length), self.profile.length
        heads = (ends + self.train.edges[:, None]).ravel()
        heads = np.unique(np.concatenate([[first, last], heads[(heads > first) & (heads < last)]]))
        return heads[np.diff(heads, prepend=-1.0) > 1e-9]

    def _under(self, head: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return where the edges between vehicles are, as places on the route, and how many laps behind."""
        at = head[:, None] - self.train.edges
        rounds = np.floor(at / self.profile.length + 1e-12) if self.profile.route.lap else np.zeros(at.shape)
        return np.clip(at - rounds * self.profile.length, self.profile.compensated.start, self.profile.length), rounds

    def _weights(self) -> FloatArray:
        whole = float((self.train.line_weights * np.diff(self.train.edges)).sum())
        return edge_weights(self.train.line_weights) / whole

    def rows(self, head: FloatArray, count: int) -> tuple[Any, FloatArray]:
        """Return the averaged grade with the head at some places as parts of the heights, and what curves add."""
        from scipy.sparse import coo_array

        at, rounds = self._under(head)
        left = np.clip(np.searchsorted(self.places, at.ravel(), side="right") - 1, 0, self.places.size - 2)
        share = (at.ravel() - self.places[left]) / (self.places[left + 1] - self.places[left])
        weights = np.tile(self._weights(), head.size)
        number = np.repeat(np.arange(head.size), self.train.edges.size)
        parts = coo_array(
            (
                np.concatenate([weights * (1 - share), weights * share]),
                (np.concatenate([number, number]), np.concatenate([self.order[left], self.order[left + 1]])),
            ),
            shape=(head.size, count),
        )
        summed_curvature = self.profile.summed_curvature
        turned = summed_curvature.at(at.ravel()).reshape(at.shape) + rounds * summed_curvature(self.profile.length)
        return parts.tocsr(), self.profile.coefficient * (turned @ self._weights())

    def bulge(self, head: FloatArray) -> FloatArray:
        """Return half the second derivative of the averaged grade by the head, 1/m², which easements alone have."""
        at, _ = self._under(head)
        summed_curvature = self.profile.summed_curvature
        piece = np.clip(
            np.searchsorted(summed_curvature.breaks, at, side="right") - 1, 0, summed_curvature.seconds.size - 1
        )
        found: FloatArray = 0.5 * self.profile.coefficient * (summed_curvature.seconds[piece] @ self._weights())
        return found

    def spot_at(self, head: FloatArray) -> Integers:
        """Return the stretch on which the head stands, an end of one counted to it."""
        at = np.clip(np.searchsorted(self.places, head - 1e-9, side="right") - 1, 0, self.places.size - 2)
        return self.spots[at]


def runs_of(layout: Layout, stations: Stations, names: Sequence[str]) -> list[TrainRun]:
    """Return a run for every number of cars of each named train on its route; on one with reversals, on each leg."""
    found: list[TrainRun] = []
    spots = 0
    for name in names:
        named = layout.plan.trains[name]
        route = next((each for each in layout.routes if each.name == named.route), None)
        if route is None:
            continue
        train = build_train(layout.plan, named)
        shorter = [(cars, train.with_cars(0, cars)) for cars in range(sum(count for _, count in train.cars) + 1)]
        for profile, start in layout.profile(route).approached:
            order, places = stations.along(profile.route)
            places += profile.compensated.start
            places[-1] = profile.length
            own = np.arange(spots, spots + places.size - 1)
            spots += own.size
            for cars, part in shorter:
                if part.length <= profile.length:
                    turned = part.after(profile.route.run_rounds)
                    found.append(TrainRun(name, cars, turned, profile, order, places, start, own))
    return found


class TrainGrades:
    """The averaged effective grade of every run with its head at every place where it may be greatest.

    It is `parts` @ heights + `bends`, shape (rows,). Rows with one `spot` are one train with any number of cars and its
    head on one stretch: the greatest of them is how hard that stretch is for the train. In an easement the greatest
    may lie between two places: it is added as a row once heights make it so.
    """

    def __init__(self, runs: Sequence[TrainRun], count: int) -> None:
        from scipy.sparse import vstack

        self.runs = runs
        self._count = count
        heads = [run.heads() for run in runs]
        made = [run.rows(head, count) for run, head in zip(runs, heads, strict=True)]
        self.parts: Any = vstack([parts for parts, _ in made]).tocsr()
        self.bends = np.concatenate([bends for _, bends in made])
        self.head = np.concatenate(heads)
        self.run = np.repeat(np.arange(len(runs)), [head.size for head in heads])
        self._spot = np.concatenate([run.spot_at(head) for run, head in zip(runs, heads, strict=True)])
        bulge = [np.append(run.bulge(0.5 * (h[1:] + h[:-1])), 0.0) for run, h in zip(runs, heads, strict=True)]
        every = np.concatenate(bulge)
        self._first = np.flatnonzero(every < -1e-12)
        self._bulge = every[self._first]
        self._width = self.head[self._first + 1] - self.head[self._first]
        self._sort()

    def _sort(self) -> None:
        self._order = np.argsort(self._spot, kind="stable")
        spots = self._spot[self._order]
        self._starts = np.flatnonzero(np.diff(spots, prepend=-1))
        self.spots = spots[self._starts]
        self.number = np.searchsorted(self.spots, self._spot)

    def worst(self, heights: FloatArray) -> tuple[FloatArray, Integers]:
        """Return how hard each spot is, and the row that makes it so."""
        values = self.parts @ heights + self.bends
        if self._first.size:
            values = self._bulging(values, heights)
        ordered = values[self._order]
        hardest = np.maximum.reduceat(ordered, self._starts)
        rows = np.flatnonzero(ordered == np.repeat(hardest, np.diff(np.append(self._starts, ordered.size))))
        _, first = np.unique(self.number[self._order[rows]], return_index=True)
        return hardest, self._order[rows[first]]

    def _bulging(self, values: FloatArray, heights: FloatArray) -> FloatArray:
        """Add the places between two where a grade is greater than at both, and return the values with theirs."""
        from scipy.sparse import vstack

        low, high = values[self._first], values[self._first + 1]
        slope = (high - low) / self._width - self._bulge * self._width
        at = np.clip(-slope / (2 * self._bulge), 0.0, self._width)
        top = low + slope * at + self._bulge * at**2
        known = np.full(self.spots.size, -np.inf)
        np.maximum.at(known, self.number, values)
        new = top > known[self.number[self._first]] + _OVER
        added = []
        for run in np.unique(self.run[self._first[new]]).tolist():
            own = new & (self.run[self._first] == run)
            head = self.head[self._first[own]] + at[own]
            added.append((self.runs[run].rows(head, self._count), head, run))
        if not added:
            return values
        self.parts = vstack([self.parts, *(parts for (parts, _), _, _ in added)]).tocsr()
        self.bends = np.concatenate([self.bends, *(bends for (_, bends), _, _ in added)])
        self.head = np.concatenate([self.head, *(head for _, head, _ in added)])
        self.run = np.concatenate([self.run, *(np.full(head.size, run) for _, head, run in added)])
        self._spot = np.concatenate([self._spot, *(self.runs[run].spot_at(head) for _, head, run in added)])
        self._sort()
        found: FloatArray = self.parts @ heights + self.bends
        return found
