"""Demand and supply: what a train needs along a route and what its locomotives can pull there."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import RouteError
from gradehaul.haulage.adhesion import Pull, Pulls, weakest_basis
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.tension import friction_of_tension
from gradehaul.haulage.train import Train
from gradehaul.plan.rail_condition import AS_PLANNED, PLANNED, RailCondition
from gradehaul.plan.records import Basis, Loco
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic, distinct, steps, sum_of_shifted

TIE = 1e-9
"""Every comparison of demand with pull allows this share of the pull, so that a load exact on paper is not lost to
rounding."""

_TOUCH = 1e-10
"""Rail that a locomotive only touches at its end, to within this, m, is not under it: else rounding would decide."""

_NEAR = 1e-9
"""Places so near one another, m, are one."""


Pulled = PiecewiseQuadratic | float
"""A pull by the place of a train's head, N; a plain number where it is the same all the way."""


class Supply(NamedTuple):
    """The pull of the locomotives of a train along a route, before they lift themselves."""

    standing: Pulled
    slipping: Pulled


Under = tuple[tuple[str, ...], ...]
"""The rail conditions that may be under each locomotive of a train."""


@cache
def _on_first_day(rail: str) -> str:
    return RailCondition.named(rail).on_first_day.name


def on_day(rail: str, planned: Under) -> Under:
    """Return what is under locomotives on the day of ``as planned`` or ``as planned fresh``."""
    return planned if rail == AS_PLANNED else tuple(tuple(map(_on_first_day, own)) for own in planned)


def alike(rail: str, train: Train) -> Under:
    """Return what is under the locomotives of a train where all rails are in one condition."""
    return ((rail,),) * len(train.locos)


class _Passed(NamedTuple):
    """Stretches with one planned condition each, and between which places of the head each is under a locomotive, m."""

    rails: list[tuple[str, ...]]
    start: FloatArray
    stop: FloatArray

    def under(self, start: float, stop: float) -> tuple[str, ...]:
        """Return the conditions of those that are under it with the head anywhere between two places."""
        inside = np.flatnonzero((self.start < stop) & (start < self.stop)).tolist()
        return tuple(sorted({each for k in inside for each in self.rails[k]}))


def _passed(profile: RouteProfile, train: Train) -> list[_Passed]:
    """Return what passes under each locomotive of a train."""
    rails = profile.rails
    changes = [0, *(k for k in range(1, len(rails)) if rails[k] != rails[k - 1])]
    starts = profile.starts[[*changes, -1]]
    spans = [heads_over(profile, starts, loco.length, behind) for loco, behind in train.locos]
    return [_Passed([rails[changes[k]] for k in own], start, stop) for own, start, stop in spans]


def rails_under(profile: RouteProfile, train: Train, first: float = 0.0) -> tuple[FloatArray, list[Under]]:
    """Return places of a train's head, m, and the planned conditions under each of its locomotives between them.

    The places begin with `first` and end with the route.
    """
    passed = _passed(profile, train)
    edges = np.concatenate([[first, profile.length], *(edges for each in passed for edges in (each.start, each.stop))])
    places = distinct(edges[(edges >= first) & (edges <= profile.length)])
    if places.size == 1:  # as long as its route: it stands in one place
        places = np.repeat(places, 2)
    middle = (0.5 * (places[:-1] + places[1:])).tolist()
    return places, [tuple(each.under(at, at) for each in passed) for at in middle]


def supply(profile: RouteProfile, train: Train, rail: str, pulls: Pulls) -> Supply:
    """Return the pull of the locomotives of a train on a rail condition, or on each track's own, settled or fresh.

    Each locomotive has the pull of the weakest condition that may be under any part of it.
    """
    _refuse_legs(profile)
    places, under = profile.starts, [alike(rail, train)]
    if rail in PLANNED:
        places, planned = rails_under(profile, train)
        under = [on_day(rail, each) for each in planned]
    locos = [loco for loco, _ in train.locos]
    totals: list[Pulled] = []
    for kind in (pulls.standing, pulls.slipping):
        total = {
            each: train.together * sum(weakest(kind, *pair) for pair in zip(locos, each, strict=True))
            for each in dict.fromkeys(under)
        }
        value = np.array([total[each] for each in under])
        changes = np.flatnonzero(np.diff(value, prepend=np.nan))  # the first, which nothing is before, among them
        totals.append(float(value[0]) if changes.size == 1 else steps(places[[*changes, -1]], value[changes]))
    return Supply(*totals)


def weakest(pull: Callable[[Loco, str], Pull], loco: Loco, rails: Iterable[str]) -> float:
    """Return the weakest pull of a locomotive on any of some rail conditions, N."""
    return min(pull(loco, rail).value for rail in rails)


def _refuse_legs(profile: RouteProfile) -> None:
    """Refuse a route with reversals: demand and pull are known by the place of the train's head on one leg."""
    if profile.legs:
        place = f'route "{profile.route.name}"'
        legs = " or ".join(f'"{leg.route.name}"' for leg in profile.legs)
        raise RouteError("a train is followed over one leg of a route with reversals", place=place, write=legs)


class Bases(NamedTuple):
    """Where the standing and the slipping pulls behind a figure come from: the least certain of all locomotives."""

    standing: Basis
    slipping: Basis


def bases_at(profile: RouteProfile, train: Train, rail: str, pulls: Pulls, head: float | None) -> Bases:
    """Return where the pulls come from that a train's locomotives give with its head at one place.

    `head` is the place of the head, m; None for the least certain anywhere on the route.
    """
    around = (-np.inf, np.inf) if head is None else (head - _NEAR, head + _NEAR)
    under = alike(rail, train)
    if rail in PLANNED:
        under = on_day(rail, tuple(each.under(*around) for each in _passed(profile, train)))
    found: list[Basis] = []
    for kind in (pulls.standing, pulls.slipping):
        bases: list[Basis] = []
        for (loco, _), own in zip(train.locos, under, strict=True):
            # the weakest pull counts where a locomotive stands on several conditions, and of equals the least certain
            least = weakest(kind, loco, own)
            given = [kind(loco, each) for each in own]
            bases += [pull.basis for pull in given if head is None or pull.value == least]
        found.append(weakest_basis(bases))
    return Bases(*found)


def heads_over(
    profile: RouteProfile, starts: FloatArray, length: float, behind: float
) -> tuple[NDArray[np.intp], FloatArray, FloatArray]:
    """Return stretches of a route by number, and between which places of the head each is under a locomotive, m.

    The rail behind the origin is that of the first stretch; on a lap it is the lap's. `starts` has where the stretches
    begin, with the end of the last; the front of the locomotive is `behind` the head.
    """
    begin, end, number = starts[:-1], starts[1:], np.arange(starts.size - 1)
    if profile.route.lap:
        rounds = int(np.ceil((behind + length) / profile.length))
        back = np.repeat(np.arange(-rounds, 1), number.size) * profile.length
        begin, end = np.tile(begin, rounds + 1) + back, np.tile(end, rounds + 1) + back
        number = np.tile(number, rounds + 1)
    else:
        begin = np.concatenate([[-np.inf], begin[1:]])
    return number, begin + behind + _TOUCH, end + behind + length - _TOUCH


def edge_weights(line_weights: FloatArray) -> FloatArray:
    """Return what each edge between blocks weighs, N/m, shape (blocks + 1,): the block behind it less the one ahead."""
    weights = np.append(line_weights, 0.0)
    weights[1:] -= line_weights
    return weights


def gravity_and_curves(profile: RouteProfile, train: Train) -> PiecewiseQuadratic:
    """Return what a whole train needs on grades and curves, locomotives included, N, by the place of its head.

    A block of weight per length w from b to a (a ahead) needs w [E(a) - E(b)]: only its two ends matter, so a train
    costs as many evaluations as it has blocks, however many cars.
    """
    _refuse_legs(profile)
    weights = edge_weights(train.line_weights)
    used = np.flatnonzero(weights)
    behind = profile.with_track_behind(train.length)
    blocks = zip(weights[used].tolist(), train.edges[used].tolist(), strict=True)
    terms = [(behind, weight, edge) for weight, edge in blocks]
    return sum_of_shifted(terms, profile.first_head(train.length), profile.length)


class Demand(NamedTuple):
    """What a whole train needs along a route, N, by the place of its head: grades, curves and its cars' resistance.

    `running` and `starting` are compared with the pull; `least` is what can be relied on downhill, by the 5th
    percentiles of curve and rolling resistance: where it is negative, the locomotives must hold the train back.
    """

    running: PiecewiseQuadratic
    starting: PiecewiseQuadratic
    least: PiecewiseQuadratic


def demand(profile: RouteProfile, train: Train) -> Demand:
    """Return what a train needs when it runs, when it starts, and at the least; tension counts in the first two.

    >>> from gradehaul.plan import read_plan
    >>> plan = read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead.Foot = 0
    ... line.Hill = { from = "Foot", to = "Top", track = [{ left = 0.6, length = 9, grade = "2 %" }] }
    ... loco.tank = { mass = "0.3 kg", length = 0.2, pull.clean = "0.6 N" }
    ... car.ore = { mass = "0.1 kg", length = 0.15 }
    ... curve_resistance = { model = "coefficient", coefficient = 0.009, starting = 2 }
    ... ''')
    >>> from gradehaul.haulage.answers.layout import Layout
    >>> from gradehaul.haulage.train import headed_by
    >>> layout = Layout(plan)
    >>> profile, train = layout.profile("Foot to Top"), headed_by(plan, plan.powers["tank"], plan.cars["ore"], 4)

    All of 0.7 kg on 2 % in a curve of 1.5 %, 3 % when starting and 1.25 % at the least, with 0.4 kg of cars that roll
    at 2 %, start at 2.5 % and roll at 0.8 % at the least:

    >>> [round(each.greatest().value / (0.7 * 9.80665), 5) for each in demand(profile, train)]
    [0.04643, 0.06429, 0.0371]
    """
    base = gravity_and_curves(profile, train)
    running, starting = (
        (base if each is profile else gravity_and_curves(each, train)) + resistance
        for each, resistance in ((profile, train.rolling), (profile.starting, train.starting))
    )
    least = base if profile.lowest is profile else gravity_and_curves(profile.lowest, train)
    if profile.curves.tension:
        running = running + tension(profile, train)
        starting = starting + tension(profile.starting, train, starting=True)
    return Demand(running, starting, least + train.lowest_rolling)


def demand_at(profile: RouteProfile, train: Train, head: float) -> tuple[float, float]:
    """Return what the cars and the locomotives need on grades and curves, N, with the train's head at one place."""
    heights = profile.with_track_behind(train.length).continued(head - train.edges)
    by_block = train.line_weights * (heights[:-1] - heights[1:])
    powered = np.array([isinstance(block.vehicle, Loco) for block in train.blocks])
    return float(by_block[~powered].sum()), float(by_block[powered].sum())


def tension(profile: RouteProfile, train: Train, *, starting: bool = False) -> PiecewiseQuadratic:
    """Return what coupler tension adds on a profile's curves, running or starting, N, by the place of the head."""
    return friction_of_tension(profile, train, lambda car: (car.starting if starting else car.rolling).value)


def tension_at(profile: RouteProfile, train: Train, head: float, *, starting: bool = False) -> float:
    """Return the same with the head at one place, the more where it steps; 0 where the plan leaves tension out."""
    if not profile.curves.tension:
        return 0.0
    friction = tension(profile, train, starting=starting)
    around = np.clip([head - 1e-9, head, head + 1e-9], friction.start, friction.stop)
    return float(friction.at(around).max())
