"""Margins in random trials: what the locomotives of a train can pull, less its demand, exact in every trial at once."""

from __future__ import annotations

from functools import cached_property
from itertools import accumulate
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.demand import TIE, Under, alike, edge_weights, on_day, rails_under, tension
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.plan.bench_records import State
from gradehaul.plan.rail_condition import PLANNED
from gradehaul.plan.records import Loco
from gradehaul.quantities.si import Newtons
from gradehaul.track.piecewise import FloatArray

_CELLS = 16_000
"""Figures worked on at once: what the nearest memory holds."""


class WorstPlace(NamedTuple):
    """A place where a train has least to spare: the rails there, and what its demand is made of.

    `heights` and `bends` have, for each cause of masses, what grades and the summed curvature need, N and N/m;
    `friction` is that of coupler tension, N.
    """

    under: Under
    heights: FloatArray
    bends: FloatArray
    friction: Newtons


class _Pieces(NamedTuple):
    """Demand of grades and curves by pieces of the route, between places at which anything changes.

    `coefficients` hold value, slope and second derivative at the left end of each piece, of the railhead and then of
    the summed curvature (to be taken times the curve coefficient) under each cause of masses, and of the friction of
    coupler tension running and starting, where it counts: shape (3, parts, pieces). `pattern` says which of the sets
    of planned rail conditions `patterns` is under the locomotives, shape (pieces,).
    """

    width: FloatArray
    coefficients: FloatArray
    patterns: tuple[Under, ...]
    pattern: NDArray[np.intp]

    @property
    def ends(self) -> FloatArray:
        """The values at both ends of every piece, shape (2, parts, pieces)."""
        value, slope, second = self.coefficients
        return np.array([value, value + self.width * (slope + 0.5 * self.width * second)])


TrialPulls = dict[tuple[tuple[str, ...], Under, State], FloatArray]
"""What locomotives give together in every trial, N, by their names, the rails under them, and their state."""


class Margins:
    """A train where it runs in one direction, in every trial of what is unsure.

    In a trial its demand is a sum over causes of masses m: m times the railhead's part plus m C times that of the
    summed curvature, with the trial's curve coefficient C. So all trials are one matrix product.

    `pulls` are kept for trains that differ by their cars alone.
    """

    def __init__(
        self, profile: RouteProfile, train: Train, trials: RandomTrials, pulls: TrialPulls | None = None
    ) -> None:
        self.profile, self.train, self.trials = profile, train, trials
        self.causes = tuple(dict.fromkeys(trials.mass_cause(block.vehicle) for block in train.blocks))
        """What masses vary with: nothing for locomotives, the practice, or a kind of car."""
        self._pulls: TrialPulls = {} if pulls is None else pulls

    def margin(self, rail: str, state: State = "standing", *, starting: bool = False, tie: float = TIE) -> FloatArray:
        """Return the least of pull less demand along the route in every trial, N, shape (trials,).

        `tie` is the share of the pull that is allowed, so that a train exact on paper does not fail.
        """
        pulls = np.array([self.pull(under, state) for under in self._patterns(rail)])
        least: FloatArray = ((1 + tie) * pulls - self._demands[:, int(starting)]).min(axis=0)
        return least - self.resistance(starting=starting)

    def held_back(self, rail: str) -> FloatArray:
        """Return what sliding wheels hold back less the most that the train pushes in every trial, N, shape (trials,).

        It pushes by grades less curves; coupler tension, which would help, is not relied on.
        """
        holds = (1 + TIE) * np.array([self.pull(under, "slipping") for under in self._patterns(rail)])
        dropped = sum(GRAVITY * count * car.mass * car.rolling_drop for car, count in self.train.cars)
        held: FloatArray = (holds - self._pushes).min(axis=0) + np.maximum(self.resistance() - dropped, 0.0)
        return held

    @cached_property
    def _pushes(self) -> FloatArray:
        """The most that grades, less curves, push where each pattern of rails is under it, N: (patterns, trials)."""
        parts = 2 * len(self.causes)
        pieces = self._pieces._replace(coefficients=-self._pieces.coefficients[:, :parts])
        factors = self._factors[:parts, : self.trials.count].copy()
        factors[len(self.causes) :] *= self.trials.plan.curve_resistance.least
        return _greatest(pieces, factors, len(self.causes))

    @property
    def _factors(self) -> FloatArray:
        return self.trials.factors(self.causes, taut=self.profile.curves.tension > 0)

    @cached_property
    def _demands(self) -> FloatArray:
        """The greatest demand where each pattern of rails is under it, running and starting: (patterns, 2, trials)."""
        return _greatest(self._pieces, self._factors, len(self.causes)).reshape(-1, 2, self.trials.count)

    def pull(self, under: Under, state: State = "standing") -> FloatArray:
        """Return what the locomotives pull together, each on the weakest rail under it, N, shape (trials,)."""
        locos = [loco for loco, _ in self.train.locos]
        key = tuple(loco.name for loco in locos), under, state
        if key not in self._pulls:
            pulls = [self.weakest(loco, rails, state) for loco, rails in zip(locos, under, strict=True)]
            together = self.trials.together(self.train.together, self.train.together_basis)
            self._pulls[key] = np.sum(pulls, axis=0) * (self.train.together if together is None else together)
        return self._pulls[key]

    def weakest(self, loco: Loco, rails: tuple[str, ...], state: State = "standing") -> FloatArray:
        """Return the weakest pull of a locomotive on any of some rail conditions in every trial, N, shape (trials,)."""
        pull = self.trials.standing if state == "standing" else self.trials.slipping
        least: FloatArray = np.min([pull(loco, rail) for rail in rails], axis=0)
        return least

    def resistance(self, *, starting: bool = False) -> FloatArray:
        """Return the resistance of all cars, N, shape (trials,): no less when starting than when running."""
        total = np.zeros(self.trials.count)
        for car, count in self.train.cars:
            total += GRAVITY * count * car.mass * self.trials.resistance(car, starting=starting)
        return total

    def worst(self, rail: str, state: State = "standing", *, starting: bool = False) -> WorstPlace:
        """Return the place of least to spare by the middle of all figures."""
        pieces = self._pieces
        curve = np.median(self.trials.starting_curve if starting else self.trials.curve)
        ends = pieces.ends
        heights, bends = ends[:, : 2 * len(self.causes)].reshape(2, 2, len(self.causes), -1).swapaxes(0, 1)
        friction = ends[:, 2 * len(self.causes) :][:, int(starting) :][:, :1].sum(axis=1)
        patterns = self._patterns(rail)
        pulls = np.broadcast_to([np.median(self.pull(under, state)) for under in patterns], len(pieces.patterns))
        spare = pulls[pieces.pattern] - (heights.sum(axis=1) + friction + curve * bends.sum(axis=1))
        at = end, piece = np.unravel_index(int(spare.argmin()), spare.shape)
        under = patterns[pieces.pattern[piece]] if len(patterns) > 1 else patterns[0]
        return WorstPlace(under, heights[end, :, piece], bends[end, :, piece], float(friction[at]))

    def _patterns(self, rail: str) -> list[Under]:
        """Return the rail conditions under the locomotives: for each pattern of those planned, or one for them all."""
        if rail not in PLANNED:
            return [alike(rail, self.train)]
        return [on_day(rail, planned) for planned in self._pieces.patterns]

    @cached_property
    def _pieces(self) -> _Pieces:
        profile, train = self.profile, self.train
        changes, under = rails_under(profile, train, profile.first_head(train.length))
        numbers = {pattern: number for number, pattern in enumerate(dict.fromkeys(under))}
        frictions = []
        if profile.curves.tension:
            frictions = [tension(profile, train), tension(profile.starting, train, starting=True)]

        # railhead and summed curvature break at the same places
        shapes = [shape.with_track_behind(train.length) for shape in (profile.heights, profile.bends)]
        own = np.array([(each.values, each.slopes, each.seconds) for each in shapes]).swapaxes(0, 1)
        moved = shapes[0].breaks + train.edges[:, np.newaxis]
        inside = moved[(moved > changes[0]) & (moved < profile.length)]
        breaks = np.sort(np.concatenate([changes, inside, *(each.breaks[1:-1] for each in frictions)]))
        left, width = breaks[:-1], np.diff(breaks)
        weights = self._weights_by_cause()
        demand = np.zeros((3, 2, len(self.causes), left.size))
        for begins, weight in zip(moved, weights.T, strict=True):
            piece = begins[1:-1].searchsorted(left, side="right")
            t = left - begins[piece]
            value, slope, second = own[..., piece]
            bend = t * second
            term = np.array([value + t * (slope + 0.5 * bend), slope + bend, second])
            demand += weight[:, np.newaxis] * term[:, :, np.newaxis]
        coefficients = demand.reshape(3, -1, left.size)
        middle = left + 0.5 * width
        if frictions:
            steps = np.zeros((3, 2, left.size))
            steps[0] = [each.at(middle) for each in frictions]
            coefficients = np.concatenate([coefficients, steps], axis=1)
        interval = np.searchsorted(changes[1:-1], middle)
        return _Pieces(width, coefficients, tuple(numbers), np.array([numbers[each] for each in under])[interval])

    def _weights_by_cause(self) -> FloatArray:
        """Return what each edge between blocks weighs with the masses of each cause, N/m, shape (causes, edges)."""
        causes = [self.trials.mass_cause(block.vehicle) for block in self.train.blocks]
        own = np.array([[each == cause for each in causes] for cause in self.causes])
        return np.array([edge_weights(each) for each in np.where(own, self.train.line_weights, 0.0)])


class _Range(NamedTuple):
    """Between what each factor of a demand lies in all trials: masses, shape (causes, 1), the curve coefficient, m."""

    masses: tuple[FloatArray, FloatArray]
    curve: tuple[float, float]
    friction: float

    @classmethod
    def of(cls, factors: FloatArray, causes: int) -> _Range:
        """Return the ranges of the factors of so many causes of masses."""
        masses = factors[:causes]
        curve = factors[causes] / masses[0]
        return cls(
            (masses.min(axis=1, keepdims=True), masses.max(axis=1, keepdims=True)),
            (float(curve.min()), float(curve.max())),
            float(factors[2 * causes :].max(initial=0.0)),
        )

    def greatest(self, parts: FloatArray) -> FloatArray:
        """Return what the sum of parts, shape (..., parts, pieces), is at most in any trial, shape (..., pieces)."""
        causes = len(self.masses[0])
        heights, bends = parts[..., :causes, :], parts[..., causes : 2 * causes, :]
        most = np.full(heights.shape[:-2] + heights.shape[-1:], -np.inf)
        for curve in self.curve:
            demand = heights + curve * bends
            least, greatest = self.masses
            np.maximum(most, np.maximum(least * demand, greatest * demand).sum(axis=-2), out=most)
        most += self.friction * np.maximum(parts[..., 2 * causes :, :], 0.0).sum(axis=-2)
        return most

    def bulge(self, pieces: _Pieces) -> FloatArray:
        """Return how far the demand on each piece rises over a straight line between its ends at most, N."""
        most: FloatArray = np.maximum(self.greatest(-pieces.coefficients[2]), 0.0) * pieces.width**2 / 8
        return most


def _greatest(pieces: _Pieces, factors: FloatArray, causes: int) -> FloatArray:
    """Return the greatest demand on the pieces of each pattern in every trial, N, shape (patterns, trials).

    The worst place moves with the trial: both ends of every piece count, and the vertex of those that bend.
    """
    ranges = _Range.of(factors, causes)
    near, bounds = _near_the_top(pieces, factors, ranges)
    width, coefficients = pieces.width[near], pieces.coefficients[..., near]
    left, right = pieces.ends[..., near]
    _, slope, second = coefficients
    bent = np.flatnonzero((ranges.greatest(slope) > 0) & (ranges.greatest(-slope - width * second) > 0))
    value, slope, second = coefficients[..., bent]
    most = np.empty((len(bounds), factors.shape[1]))
    columns = max(64, _CELLS // near.size)
    for start in range(0, factors.shape[1], columns):
        x = factors[:, start : start + columns]
        top = np.maximum(left.T @ x, right.T @ x)
        if bent.size:
            rise, bend = slope.T @ x, second.T @ x
            with np.errstate(divide="ignore", invalid="ignore"):
                t = -rise / bend
            inside = (bend < 0) & (t > 0) & (t < width[bent, np.newaxis])
            at_vertex = value.T @ x + 0.5 * rise * np.where(inside, t, 0.0)
            top[bent] = np.maximum(top[bent], np.where(inside, at_vertex, -np.inf))
        for own, (first, last) in zip(most, bounds, strict=True):
            top[first:last].max(axis=0, out=own[start : start + columns])
    return most


def _near_the_top(
    pieces: _Pieces, factors: FloatArray, ranges: _Range
) -> tuple[NDArray[np.intp], list[tuple[int, int]]]:
    """Return the pieces that may hold the worst place of a trial, by patterns, and where each pattern begins and ends.

    The others lie below one place of their pattern in every trial: a place that is worst in a trial with least or
    with greatest curve resistance.
    """
    ends = pieces.ends
    bulge = ranges.bulge(pieces)
    curve = factors[len(ranges.masses[0])]
    some = factors[:, [int(curve.argmin()), int(curve.argmax())]]
    of_patterns = [np.flatnonzero(pieces.pattern == number) for number in range(len(pieces.patterns))]
    marks = np.array([own[(some.T @ ends[0][:, own]).argmax(axis=1)] for own in of_patterns])
    near = np.ones(pieces.width.size, dtype=bool)
    for mark in {tuple(each) for each in marks.T.tolist()}:
        near &= ranges.greatest(ends - ends[0][:, np.take(mark, pieces.pattern)]).max(axis=0) + bulge > 0
    near[marks] = True
    kept = [own[near[own]] for own in of_patterns]
    lasts = list(accumulate(map(len, kept)))
    return np.concatenate(kept), list(zip([0, *lasts], lasts, strict=False))
