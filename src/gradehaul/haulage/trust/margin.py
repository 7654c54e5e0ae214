"""Margins in random trials: what the locomotives of a train can pull, less its demand, exact in every trial at once."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.demand import TIE, edge_weights, rails_along, rails_between, tension
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train
from gradehaul.haulage.trust.draws import Draws
from gradehaul.plan.bench_records import State
from gradehaul.plan.records import Loco
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic, shifted_sum, steps

_CELLS = 1_500_000
"""Figures worked on at once: bounds the memory that the trials take."""

_MARKS = 24
"""Trials by whose worst places other places are left out."""

_NEAR = 1e-8
"""Rail that a locomotive touches at its end, to within this, m, is not under it."""

Under = tuple[tuple[str, ...], ...]
"""The rail conditions under each locomotive of a train."""


class Place(NamedTuple):
    """A place where a train has least to spare: the rails there, and what its demand is made of.

    `heights` and `bends` have, for each cause of masses, what grades and the summed curvature need, N and N/m.
    """

    under: Under
    heights: FloatArray
    bends: FloatArray


class _Pieces(NamedTuple):
    """Demand of grades and curves by pieces of the route, between places at which anything changes.

    `coefficients` hold value, slope and second derivative at the left end of each piece, of the railhead and then of
    the summed curvature (to be taken times the curve coefficient) under each cause of masses, shape (3, 2 causes,
    pieces); `pattern` says which of the sets of rail conditions `patterns` is under the locomotives, shape (pieces,).
    """

    width: FloatArray
    coefficients: FloatArray
    patterns: tuple[Under, ...]
    pattern: NDArray[np.intp]


class TrainTrials:
    """A train where it runs in one direction, in every trial of what is unsure.

    In a trial its demand is a sum over causes of masses m: m times the railhead's part plus m C times that of the
    summed curvature, with the trial's curve coefficient C. So all trials are one matrix product.

    Parameters
    ----------
    profile
        The compensated profile of the one direction.
    train
        The train as it runs there.
    draws
        The trials of the plan's figures.
    """

    def __init__(self, profile: RouteProfile, train: Train, draws: Draws) -> None:
        self.profile, self.train, self.draws = profile, train, draws
        self.causes = tuple(dict.fromkeys(draws.mass_cause(block.vehicle) for block in train.blocks))
        """What masses vary with: nothing for locomotives, the practice, or a kind of car."""
        self._pieces: dict[tuple[str, bool], _Pieces] = {}
        self._demands: dict[tuple[str, bool], list[FloatArray]] = {}

    def margin(self, rail: str, state: State = "standing", *, starting: bool = False, tie: float = TIE) -> FloatArray:
        """Return the least of pull less demand along the route in every trial, N, shape (draws,).

        Parameters
        ----------
        rail
            A rail condition of the plan, or ``as planned``.
        state
            Whether the wheels hold or slip.
        starting
            Whether the train starts or runs.
        tie
            The share of the pull that is allowed, so that a train exact on paper does not fail.
        """
        pulls = ((1 + tie) * self.pull(under, state) for under in self._patterns(rail))
        demands = self._demands_on(rail, starting=starting)
        least: FloatArray = np.min([pull - most for pull, most in zip(pulls, demands, strict=True)], axis=0)
        return least - self.resistance(starting=starting)

    def demand(self, rail: str) -> FloatArray:
        """Return the greatest demand of grades and curves on the running train, N, shape (draws,)."""
        most: FloatArray = np.max(self._demands_on(rail, starting=False), axis=0)
        return most

    def _demands_on(self, rail: str, *, starting: bool) -> list[FloatArray]:
        """Return the greatest demand on the pieces of each pattern of rails."""
        key = self._rails_key(rail), starting
        if key not in self._demands:
            pieces = self._pieces_on(rail, starting=starting)
            taut = self.profile.curves.tension > 0
            factors = self.draws.factors(self.causes, taut=taut, starting=starting)
            self._demands[key] = [
                _greatest(pieces.width[here], pieces.coefficients[..., here], factors)
                for here in (pieces.pattern == number for number in range(len(pieces.patterns)))
            ]
        return self._demands[key]

    def pull(self, under: Under, state: State = "standing") -> FloatArray:
        """Return what the locomotives pull together, each on the weakest rail under it, N, shape (draws,)."""
        pulls = [self.weakest(loco, rails, state) for (loco, _), rails in zip(self.train.locos, under, strict=True)]
        together = self.draws.together(self.train.together, self.train.together_basis)
        total: FloatArray = np.sum(pulls, axis=0) * (self.train.together if together is None else together)
        return total

    def weakest(self, loco: Loco, rails: tuple[str, ...], state: State = "standing") -> FloatArray:
        """Return the weakest pull of a locomotive on any of some rail conditions, trial by trial, N, shape (draws,)."""
        pull = self.draws.standing if state == "standing" else self.draws.slipping
        least: FloatArray = np.min([pull(loco, rail) for rail in rails], axis=0)
        return least

    def resistance(self, *, starting: bool = False) -> FloatArray:
        """Return the resistance of all cars, N, shape (draws,): no less when starting than when running."""
        total = np.zeros(self.draws.count)
        for car, count in self.train.cars:
            total += GRAVITY * count * car.mass * self.draws.resistance(car, starting=starting)
        return total

    def worst(self, rail: str, state: State = "standing", *, starting: bool = False) -> Place:
        """Return the place of least to spare by the middle of all figures."""
        pieces = self._pieces_on(rail, starting=starting)
        patterns = self._patterns(rail)
        curve = np.median(self.draws.starting_curve if starting else self.draws.curve)
        parts = pieces.coefficients.shape[1] // 2
        ends = _ends(pieces.width, pieces.coefficients)
        pulls = np.array([np.median(self.pull(under, state)) for under in patterns])
        spare = pulls[pieces.pattern] - (ends[:, :parts].sum(axis=1) + curve * ends[:, parts:].sum(axis=1))
        end, piece = np.unravel_index(int(spare.argmin()), spare.shape)
        heights, bends = ends[end, :, piece].reshape(2, -1)
        return Place(patterns[pieces.pattern[piece]], heights, bends)

    def _rails_key(self, rail: str) -> str:
        """Return what demand is the same for: all conditions that hold all the way, or one as planned."""
        return rail if len(set(rails_along(self.profile, rail))) > 1 else ""

    def _patterns(self, rail: str) -> tuple[Under, ...]:
        """Return the sets of rail conditions that are under the locomotives somewhere."""
        if self._rails_key(rail):
            return self._pieces_on(rail, starting=False).patterns
        return ((rails_along(self.profile, rail)[0],) * len(self.train.locos),)

    def _pieces_on(self, rail: str, *, starting: bool) -> _Pieces:
        key = self._rails_key(rail), starting and self.profile.curves.tension > 0
        if key not in self._pieces:
            self._pieces[key] = self._split(rail, starting=starting)
        return self._pieces[key]

    def _split(self, rail: str, *, starting: bool) -> _Pieces:
        profile, train = self.profile, self.train
        changes = self._rail_changes(rail)
        under = [self._under(rail, middle) for middle in (0.5 * (changes[:-1] + changes[1:])).tolist()]
        numbers = {pattern: number for number, pattern in enumerate(dict.fromkeys(under))}
        breaks = changes
        taut: PiecewiseQuadratic | None = None
        if profile.curves.tension:
            taut = tension(profile.starting if starting else profile, train, starting=starting)
            breaks = np.unique(np.concatenate([changes, taut.breaks]))
        unchanged = steps(breaks, np.zeros(breaks.size - 1))
        parts: list[PiecewiseQuadratic] = []
        for shape in (profile.heights, profile.bends):
            behind = shape.with_track_behind(train.length)
            for cause in self.causes:
                own = np.array([self.draws.mass_cause(block.vehicle) == cause for block in train.blocks])
                # at all edges of the train, so that all parts break at the same places
                weights = edge_weights(np.where(own, train.line_weights, 0.0)).tolist()
                demanded = shifted_sum(behind, weights, train.edges.tolist(), changes[0], profile.length)
                parts.append(demanded + unchanged if breaks.size > 2 else demanded)
        width = np.diff(parts[0].breaks)
        middle = parts[0].breaks[:-1] + 0.5 * width
        coefficients = np.array([[getattr(part, name) for part in parts] for name in ("values", "slopes", "seconds")])
        if taut is not None:
            friction = np.zeros((3, 2, width.size))
            friction[0, 0] = taut.at(middle)
            heights, bends = np.split(coefficients, 2, axis=1)
            coefficients = np.concatenate([heights, friction[:, :1], bends, friction[:, 1:]], axis=1)
        interval = np.searchsorted(changes[1:-1], middle)
        return _Pieces(width, coefficients, tuple(numbers), np.array([numbers[each] for each in under])[interval])

    def _rail_changes(self, rail: str) -> FloatArray:
        """Return the places of the head at which a locomotive comes on or off a rail condition, and the ends."""
        profile = self.profile
        rails = rails_along(profile, rail)
        changes = [profile.starts[k] for k in range(1, len(rails)) if rails[k] != rails[k - 1]]
        rounds = int(np.ceil(self.train.length / profile.length)) if profile.route.lap else 0
        if rounds and rails[0] != rails[-1]:
            changes.append(0.0)
        shifts = [ahead for loco, front in self.train.locos for ahead in (front, front + loco.length)]
        heads = [at - k * profile.length + ahead for at in changes for k in range(rounds + 1) for ahead in shifts]
        first = profile.first_head(self.train.length)
        inside = [head for head in heads if first < head < profile.length]
        return np.array([first, *sorted(set(inside)), profile.length])

    def _under(self, rail: str, head: float) -> Under:
        """Return the rail conditions under each locomotive."""
        return tuple(
            rails_between(self.profile, rail, head - front - loco.length + _NEAR, head - front - _NEAR)
            for loco, front in self.train.locos
        )


def _ends(width: FloatArray, coefficients: FloatArray) -> FloatArray:
    """Return the values at both ends of every piece, shape (2, parts, pieces)."""
    value, slope, second = coefficients
    return np.array([value, value + width * (slope + 0.5 * width * second)])


def _greatest(width: FloatArray, coefficients: FloatArray, factors: FloatArray) -> FloatArray:
    """Return the greatest demand on some pieces in every trial, N, shape (draws,).

    The worst place moves with the trial: both ends of every piece count, and the vertex of those that bend.
    """
    near = _near_the_top(width, coefficients, factors)
    width, coefficients = width[near], coefficients[..., near]
    ends = np.concatenate(_ends(width, coefficients), axis=1)
    bent = (coefficients[2] != 0).any(axis=0)
    value, slope, second = coefficients[..., bent]
    most = np.empty(len(factors))
    rows = max(64, _CELLS // max(ends.shape[1], 3 * value.shape[1]))
    for start in range(0, len(factors), rows):
        x = factors[start : start + rows]
        top = (x @ ends).max(axis=1)
        if bent.any():
            rise, bend = x @ slope, x @ second
            with np.errstate(divide="ignore", invalid="ignore"):
                t = -rise / bend
            inside = (bend < 0) & (t > 0) & (t < width[bent])
            at_vertex = x @ value + 0.5 * rise * np.where(inside, t, 0.0)
            top = np.maximum(top, np.where(inside, at_vertex, -np.inf).max(axis=1))
        most[start : start + rows] = top
    return most


def _near_the_top(width: FloatArray, coefficients: FloatArray, factors: FloatArray) -> NDArray[np.intp]:
    """Return the pieces that may hold the worst place of a trial: the others lie below one place in all of them."""
    low, high = factors.min(axis=0)[:, None], factors.max(axis=0)[:, None]
    ends = _ends(width, coefficients)
    second = -coefficients[2]
    bulge = np.maximum(np.maximum(low * second, high * second).sum(axis=0), 0.0) * width**2 / 8
    some = np.concatenate(
        [
            factors.argmin(axis=0),
            factors.argmax(axis=0),
            np.linspace(0, len(factors) - 1, _MARKS).astype(np.intp),
        ]
    )
    marks = np.unique((factors[some] @ ends[0]).argmax(axis=1))
    near = np.ones(width.size, dtype=bool)
    for mark in marks.tolist():
        beyond = ends - ends[0, :, mark, None]
        near &= np.maximum(low * beyond, high * beyond).sum(axis=1).max(axis=0) + bulge > 0
    near[marks] = True
    return np.flatnonzero(near)
