"""What a train needs of the rail under its locomotives, place by place, and which place keeps a unit clean."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import product
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from gradehaul.haulage.adhesion import Pull, Pulls
from gradehaul.haulage.demand import TIE, demand, heads_over
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train
from gradehaul.haulage.verdict import Need
from gradehaul.plan.rail_condition import CLEAN, RailCondition
from gradehaul.plan.records import Loco
from gradehaul.quantities.si import Meters, Newtons
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic, distinct, steps
from gradehaul.treatment.units import Numbers, Units, units_along

FilmTest = Literal["stand", "restart", "slip", "hold"]
"""What a train would fail to do with film under its locomotives; `hold`: hold back downhill."""

Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Shortfall:
    """A place where a train misses the verdict that it needs wherever film is wiped, and by how much, N."""

    KEYS: ClassVar[str] = "train test at=head track short"

    train: str
    test: FilmTest
    head: Meters
    track: str
    short: Newtons


@dataclass(frozen=True, slots=True, eq=False)
class Under:
    """The units under one locomotive at each of some places: a run of units, and from which to which of them."""

    run: Numbers
    lower: Numbers
    upper: Numbers

    def count(self, units: Bools) -> Numbers:
        """Return how many of some units are under the locomotive at each place."""
        summed = np.concatenate([[0], np.cumsum(units[self.run])])
        return np.asarray(summed[self.upper] - summed[self.lower])

    def at(self, places: Bools | Numbers) -> Under:
        """Return the same at some of the places."""
        return Under(self.run, self.lower[places], self.upper[places])

    def pairs(self) -> tuple[Numbers, Numbers]:
        """Return each place with each unit under the locomotive there."""
        sizes = self.upper - self.lower
        place = np.repeat(np.arange(sizes.size), sizes)
        behind = np.arange(place.size) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        return place, self.run[self.lower[place] + behind]


@dataclass(frozen=True, slots=True, eq=False)
class TightPlaces:
    """The places at which film sets bounds to a train, for one test and one age of the film.

    Arrays have a column a place: `head` where the train's head is when it needs most, m; `short` by how much the pulls
    fall short with the rail as it is, N, negative where they do not. Arrays with a row a locomotive: `loss` what the
    pull loses where film comes on any unit under it, N, and `gain` what it gains where all clean units under it are
    treated, for a film that pulls better than clean rail.
    """

    train: str
    test: FilmTest
    head: FloatArray
    short: FloatArray
    under: tuple[Under, ...]
    loss: FloatArray
    gain: FloatArray

    def short_with(self, film: Bools, sure: Bools, takes: Bools, clean: Bools) -> FloatArray:
        """Return by how much the pulls fall short at each place, N.

        `film` says of each unit whether film may be on it, `sure` whether it is sure to be, `takes` whether film would
        change it, and `clean` whether it is clean now.
        """
        short = self.short.copy()
        for under, loss, gain in zip(self.under, self.loss, self.gain, strict=True):
            short += np.where(under.count(film & takes) > 0, loss, 0.0)
            short -= np.where(under.count(clean & ~sure) == 0, gain, 0.0)
        return short


@dataclass(frozen=True, slots=True)
class Needs:
    """What one train needs: the places that set bounds to the film, those where nothing helps, and what it runs on.

    `short_now` has the places where it misses its verdict on rail as it is.
    """

    tight: tuple[TightPlaces, ...]
    beyond: tuple[Shortfall, ...]
    short_now: tuple[Shortfall, ...]
    run_over: frozenset[int]


def needs_of(
    name: str,
    train: Train,
    profile: RouteProfile,
    units: Units,
    pulls: Pulls,
    *,
    film: str,
    ages: Collection[bool],
    need: Need,
    reserve: float,
    carried: Mapping[int, frozenset[str]],
    start: float = 0.0,
) -> Needs:
    """Return what a train needs of the rail along its route.

    Between two places at which a unit comes under a locomotive or leaves it, the pulls do not change, so what counts is
    the greatest demand there, which is found exactly.

    `ages` say by turns whether all film is on its first day, or as its name has it; `reserve` is the share of the pull
    that is held back, 0 to below 1; `carried` has the other films that wheels may bring to units from where the plan
    has them. Places count from the start of the route, where the leg begins at `start`.
    """
    wants, along = demand(profile, train), units_along(units, profile)
    start_place, stop_place = wants.running.start, wants.running.stop
    spans = [
        (from_head, to_head, along.numbers[own])
        for loco, behind in train.locos
        for own, from_head, to_head in [heads_over(profile, along.starts, loco.length, behind)]
    ]
    places = distinct(np.concatenate([[start_place, stop_place], *(edge for span in spans for edge in span[:2])]))
    places = places[(places >= start_place) & (places <= stop_place)]
    if places.size == 1:  # as long as its route: it stands in one place
        places = np.repeat(places, 2)
    middle = 0.5 * (places[:-1] + places[1:])
    running, starting, pushing = (
        _greatest_between(each, places) for each in (wants.running, wants.starting, -wants.least)
    )
    under = [
        Under(r, np.searchsorted(to, middle, "right"), np.searchsorted(fro, middle, "left")) for fro, to, r in spans
    ]
    tests: list[_Tested] = [("hold", pushing, pulls.slipping)]
    if need == "climbs":
        tests += [("restart", starting, pulls.standing), ("slip", running, pulls.slipping)]
    if need == "marginal" or (starting[0] < running[0]).any():  # else who can restart gets through
        tests.append(("stand", running, pulls.standing))
    members = _two_groups(train)
    tight: list[TightPlaces] = []
    beyond: list[Shortfall] = []
    short_now: list[Shortfall] = []
    for (test, (greatest, at), pull), fresh in product(tests, ages):
        base, loss, gain = (
            train.together * np.array(rows)
            for rows in zip(
                *(
                    _pulls_under(units, each, film, carried, partial(_value, pull, loco, fresh=fresh))
                    for (loco, _), each in zip(train.locos, under, strict=True)
                ),
                strict=True,
            )
        )
        # a load that is exact on paper is not lost to rounding, as in the verdict
        short = greatest / (1.0 - reserve) - (1.0 + TIE) * np.sum(base, axis=0)
        for found, lack in ((short_now, short), (beyond, short - np.sum(gain, axis=0))):
            k = int(np.argmax(lack >= lack.max() - _ROUNDING * abs(greatest[np.argmax(lack)])))
            if lack[k] > 0:
                head = float(at[k])
                found.append(Shortfall(name, test, start + head, profile.track_at(head), float(lack[k])))
        bound = np.flatnonzero((short > 0) | (short + np.sum(loss, axis=0) > 0))
        if bound.size:
            losses, gains = (np.array([rows[own].sum(axis=0) for own in members])[:, bound] for rows in (loss, gain))
            groups = tuple(_joined([under[m].at(bound) for m in own.tolist()]) for own in members)
            tight.append(TightPlaces(name, test, start + at[bound], short[bound], groups, losses, gains))
    run_over = frozenset(
        number for each in under for number in each.run[int(each.lower.min()) : int(each.upper.max())].tolist()
    )
    return Needs(tuple(tight), _worst(beyond), _worst(short_now), run_over)


_ROUNDING = 1e-12
"""Demands that differ by no more, as a share, are equal: of several places the first counts, as in `check`."""

_PullOf = Callable[[Loco, str], Pull]
_Tested = tuple[FilmTest, tuple[FloatArray, FloatArray], _PullOf]
"""A test: the greatest demand between places, N, and where; and which pull counts."""


def _value(pull: _PullOf, loco: Loco, rail: str, *, fresh: bool) -> float:
    return pull(loco, RailCondition.named(rail).on_first_day.name if fresh else rail).value


def _two_groups(train: Train) -> list[Numbers]:
    """Return the locomotives by number, more than two in two groups, parted where they stand farthest from each other.

    Each group is taken as if film under one were under all.
    """
    fronts = np.array([behind for _, behind in train.locos])
    tails = fronts + [loco.length for loco, _ in train.locos]
    numbers = np.arange(fronts.size)
    return np.split(numbers, [int(np.argmax(fronts[1:] - tails[:-1])) + 1]) if fronts.size > 1 else [numbers]


def _worst(places: Sequence[Shortfall]) -> tuple[Shortfall, ...]:
    """Return of the places of each test the one that is furthest short."""
    most: dict[FilmTest, Shortfall] = {}
    for place in places:
        if place.test not in most or place.short > most[place.test].short:
            most[place.test] = place
    return tuple(most.values())


def _joined(group: Sequence[Under]) -> Under:
    """Return the units under any of a group of neighbors, and those between them."""
    run = max((each.run for each in group), key=len)
    ahead = [run.size - each.run.size for each in group]  # on a lap a run has more rounds behind the others
    lower = np.min([each.lower + more for each, more in zip(group, ahead, strict=True)], axis=0)
    upper = np.max([each.upper + more for each, more in zip(group, ahead, strict=True)], axis=0)
    return Under(run, lower, upper)


def _greatest_between(function: PiecewiseQuadratic, places: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the greatest value between each two places, and where it is first reached, to within rounding."""
    fine = function + steps(places, np.zeros(places.size - 1)) if places[-1] > places[0] else function
    piece, t = fine.vertices()
    value = np.concatenate([fine.values, fine.ends, fine.values[piece] + 0.5 * fine.slopes[piece] * t])
    at = np.concatenate([fine.breaks[:-1], fine.breaks[1:], fine.breaks[piece] + t])
    own = np.clip(np.searchsorted(places, 0.5 * (fine.breaks[:-1] + fine.breaks[1:]), "right") - 1, 0, places.size - 2)
    within = np.concatenate([own, own, own[piece]])
    order = np.lexsort((at, -value, within))
    first = np.searchsorted(within[order], np.arange(places.size - 1))
    top, begins = value[order][first], at[order][first]
    reached = value >= (top - _ROUNDING * np.abs(top))[within]
    np.minimum.at(begins, within[reached], at[reached])
    return top, begins


def _pulls_under(
    units: Units, under: Under, film: str, carried: Mapping[int, frozenset[str]], pull: Callable[[str], float]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return a locomotive's pull at each place on rail as it is, what film takes from it, and what film adds to it, N.

    It loses where film comes on any unit under it, and gains where all clean units under it are treated: on a part of
    them film never helps, since the weakest condition under any part of it counts.
    """
    treated = pull(film)
    values = {rail: pull(rail) for rail in {unit.film or CLEAN for unit in units.all}}
    now = np.array([values[unit.film or CLEAN] for unit in units.all])
    then = np.where([unit.film is None for unit in units.all], treated, now)
    for number, films in carried.items():
        weakest = min(map(pull, films))
        now[number], then[number] = min(now[number], weakest), min(then[number], weakest)
    base, best = (_least_under(under, values) for values in (now, then))
    takes = under.count(np.array([unit.film != film for unit in units.all])) > 0
    return base, np.where(takes, np.maximum(base - treated, 0.0), 0.0), np.maximum(best - base, 0.0)


def _least_under(under: Under, values: FloatArray) -> FloatArray:
    """Return the least of the units' values under a locomotive at each place."""
    along, least = values[under.run], np.full(under.lower.size, np.inf)
    for k in range(int((under.upper - under.lower).max(initial=0))):
        here = under.lower + k < under.upper
        least[here] = np.minimum(least[here], along[(under.lower + k)[here]])
    return least


@dataclass(frozen=True, slots=True)
class HeadPlace:
    """A place on a track: its id, and the distance from the start of the track, m."""

    KEYS: ClassVar[str] = "track at=along"

    track: str
    along: Meters


@dataclass(frozen=True, slots=True)
class Reason:
    """What keeps a unit clean: a train, its test that would fail, where its head is then, m, and by how much, N.

    `track` names the track that its head is on, `on` is the place there.
    """

    KEYS: ClassVar[str] = "train test at=head track on short"

    train: str
    test: FilmTest
    head: Meters
    track: str
    short: Newtons
    on: HeadPlace


def reasons(
    tight: Sequence[TightPlaces],
    kept: Collection[int],
    treated: Collection[int],
    takes: Bools,
    clean: Bools,
    profiles: Mapping[str, RouteProfile],
) -> dict[int, Reason]:
    """Return what keeps units clean: for each the place that would fail most if film came on it, too.

    `tight` are the places that set bounds to the film; `kept` and `treated` the units that are kept clean and those
    that are wiped; `takes` and `clean` whether film would change each unit, and whether it is clean now; `profiles` the
    route of each train, by its name.
    """
    stays, sure = np.zeros(takes.size, dtype=bool), np.zeros(takes.size, dtype=bool)
    stays[list(kept)] = True
    sure[list(treated)] = True
    most: dict[int, tuple[float, TightPlaces, int]] = {}
    for place in tight:
        short = place.short_with(~stays, sure, takes, clean)
        codes, losses = [np.zeros(0, dtype=np.intp)], [np.zeros(0)]
        for under, loss in zip(place.under, place.loss, strict=True):
            where = np.flatnonzero((loss > 0) & (under.count(~stays & takes) == 0))
            at, units = under.at(where).pairs()
            counts = stays[units] & takes[units]
            own = np.unique(where[at[counts]] * takes.size + units[counts])  # on a lap a unit may be there twice
            codes.append(own)
            losses.append(loss[own // takes.size])
        code, which = np.unique(np.concatenate(codes), return_inverse=True)
        worst = short[code // takes.size] + np.bincount(which, np.concatenate(losses), minlength=code.size)
        order = np.lexsort((code, -worst, code % takes.size))
        number, first = np.unique(code[order] % takes.size, return_index=True)
        for one, k in zip(number.tolist(), order[first].tolist(), strict=True):
            if worst[k] > 0 and (one not in most or worst[k] > most[one][0]):
                most[one] = float(worst[k]), place, int(code[k] // takes.size)
    return {
        number: _reason(place.train, place.test, float(place.head[k]), short, profiles[place.train])
        for number, (short, place, k) in most.items()
    }


def _reason(train: str, test: FilmTest, head: float, short: float, profile: RouteProfile) -> Reason:
    starts, ways = profile.starts, profile.route.ways
    which = int(np.clip(np.searchsorted(starts, head - 1e-9, side="right") - 1, 0, len(ways) - 1))
    begin, end = float(starts[which]), float(starts[which + 1])
    along = head - begin if ways[which].forward else end - head
    return Reason(train, test, head, profile.track_at(head), short, HeadPlace(ways[which].track, along))
