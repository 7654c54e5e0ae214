"""What a train needs of the rail under its locomotives, place by place."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gradehaul.haulage.demand import TIE, TOUCH, Pulls, demand
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train
from gradehaul.plan.records import Loco
from gradehaul.plan.stock import CLEAN, first_day
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic, distinct, steps
from gradehaul.treatment.units import Numbers, Stations, Units

Need = Literal["climbs", "marginal"]
"""The verdict asked for: through even if the wheels slip, with a restart anywhere; or through as long as they grip."""

Test = Literal["stand", "restart", "slip", "hold"]
"""What a train would not do with film under its locomotives; `hold`: hold back downhill."""


@dataclass(frozen=True, slots=True)
class Tight:
    """A place where a train gets by on rail as it is and would not with film under all its locomotives.

    `under` has the units under each locomotive, without those that make no difference; `base` and `loss` the pull of
    each on rail as it is and what the film takes from it, N; `least` the sum of pulls that is needed, N; `head` where
    the train's head is when it asks most.
    """

    train: str
    test: Test
    head: float
    least: float
    under: tuple[frozenset[int], ...]
    base: tuple[float, ...]
    loss: tuple[float, ...]

    def short(self, filmed: Callable[[frozenset[int]], bool]) -> float:
        """Return by how much the pulls fall short, N, where a locomotive has film under it; negative where they do not.

        `filmed` tells whether any of some units is filmed.
        """
        gone = sum(loss for units, loss in zip(self.under, self.loss, strict=True) if filmed(units))
        return self.least - sum(self.base) + gone


@dataclass(frozen=True, slots=True)
class Beyond:
    """A place where a train does not get the verdict asked for even without any more film: by how much, N."""

    train: str
    test: Test
    head: float
    track: str
    short: float


@dataclass(frozen=True, slots=True)
class Needs:
    """What one train needs: the places that set bounds to the film, those where nothing helps, and what it runs on."""

    tight: tuple[Tight, ...]
    beyond: tuple[Beyond, ...]
    run_over: frozenset[int]


def needs_of(
    name: str,
    train: Train,
    profile: RouteProfile,
    along: Stations,
    units: Units,
    pulls: Pulls,
    *,
    film: str,
    need: Need,
    reserve: float,
    start: float = 0.0,
) -> Needs:
    """Return what a train needs of the rail along its route.

    Between two places at which a unit comes under a locomotive or leaves it, the pulls do not change, so what counts is
    the greatest demand there, which is found exactly.

    Parameters
    ----------
    name, train, profile
        The train and its route.
    along, units
        The units under the route, and all of them.
    pulls
        The pulls of the plan's locomotives.
    film
        The film by name; of its fresh and its settled pull the weaker counts.
    need
        The verdict asked for.
    reserve
        Share of the pull that is held back, 0 to below 1.
    start
        Where the route begins, m, where it is a leg of another; places are told from the start of that.
    """
    wants = demand(profile, train)
    asked = wants.running
    locos = train.locos
    spans = [_spans(profile, along, loco, behind) for loco, behind in locos]
    places = distinct(np.concatenate([[asked.start, asked.stop], *(edge for span in spans for edge in span[:2])]))
    places = places[(places >= asked.start) & (places <= asked.stop)]
    if places.size == 1:  # as long as its route: it stands in one place
        places = np.repeat(places, 2)
    middle = 0.5 * (places[:-1] + places[1:])
    running, starting, pushing = (_greatest_between(each, places) for each in (asked, wants.starting, -wants.least))
    ranges = [(np.searchsorted(to, middle, "right"), np.searchsorted(fro, middle, "left")) for fro, to, _ in spans]
    runs = [numbers for *_, numbers in spans]
    standing, slipping = (
        lambda loco, rail: pulls.standing(loco, rail).value,
        lambda loco, rail: pulls.slipping(loco, rail).value,
    )
    tests: list[_Tested] = [("hold", pushing, slipping)]
    if need == "climbs":
        tests += [("restart", starting, standing), ("slip", running, slipping)]
    if need == "marginal" or train.starting < train.rolling:
        tests.append(("stand", running, standing))
    tight: list[Tight] = []
    beyond: list[Beyond] = []
    for test, (greatest, at), pull in tests:
        least = greatest / (train.together * (1.0 - reserve))
        base, loss = zip(
            *(
                _pulls_under(units, run, lower, upper, loco, film, pull)
                for (loco, _), run, (lower, upper) in zip(locos, runs, ranges, strict=True)
            ),
            strict=True,
        )
        whole, gone = np.sum(base, axis=0), np.sum(loss, axis=0)
        # a load that is exact on paper is not lost to rounding, as in the verdict
        least = least - TIE * whole
        bad = least > whole
        worst = np.where(bad, least - whole, -np.inf)
        if bad.any():
            k = int(np.argmax(worst))
            head = float(at[k])
            beyond.append(Beyond(name, test, start + head, profile.track_at(head), float(worst[k])))
        for k in np.flatnonzero(~bad & (least > whole - gone)).tolist():
            chosen = [
                (frozenset(run[lower[k] : upper[k]].tolist()), float(b[k]), float(g[k]))
                for run, (lower, upper), b, g in zip(runs, ranges, base, loss, strict=True)
            ]
            under = tuple(_open(units, found) if g > 0 else frozenset() for found, _, g in chosen)
            each = tuple(b for _, b, _ in chosen), tuple(g for *_, g in chosen)
            tight.append(Tight(name, test, start + float(at[k]), float(least[k]), under, *each))
    run_over = frozenset(
        number
        for run, (lower, upper) in zip(runs, ranges, strict=True)
        for number in run[int(lower.min()) : int(upper.max())].tolist()
    )
    return Needs(tuple(hardest(tight)), tuple(beyond), run_over)


_Tested = tuple[Test, tuple[FloatArray, FloatArray], Callable[[Loco, str], float]]
"""A test: what is needed at the most between places, N, and where; and which pull."""


def _spans(profile: RouteProfile, along: Stations, loco: Loco, behind: float) -> tuple[FloatArray, FloatArray, Numbers]:
    """Return between which places of the head each unit in turn is under a locomotive, and the units' numbers.

    The rail behind the origin is that of the first unit; on a lap it is the lap's.
    """
    begin, end, numbers = along.starts[:-1], along.starts[1:], along.numbers
    if profile.route.lap:
        rounds = int(np.ceil((behind + loco.length) / profile.length))
        back = np.repeat(np.arange(-rounds, 1), numbers.size) * profile.length
        begin, end = np.tile(begin, rounds + 1) + back, np.tile(end, rounds + 1) + back
        numbers = np.tile(numbers, rounds + 1)
    else:
        begin = np.concatenate([[-np.inf], begin[1:]])
    return begin + behind + TOUCH, end + behind + loco.length - TOUCH, numbers


def _greatest_between(function: PiecewiseQuadratic, places: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the greatest value between each two places, and where it is reached."""
    fine = function + steps(places, np.zeros(places.size - 1)) if places[-1] > places[0] else function
    piece, t = fine.vertices()
    value = np.concatenate([fine.values, fine.ends, fine.values[piece] + 0.5 * fine.slopes[piece] * t])
    at = np.concatenate([fine.breaks[:-1], fine.breaks[1:], fine.breaks[piece] + t])
    own = np.clip(np.searchsorted(places, 0.5 * (fine.breaks[:-1] + fine.breaks[1:]), "right") - 1, 0, places.size - 2)
    within = np.concatenate([own, own, own[piece]])
    order = np.lexsort((at, -value, within))
    first = np.searchsorted(within[order], np.arange(places.size - 1))
    return value[order][first], at[order][first]


def _pulls_under(
    units: Units,
    run: Numbers,
    lower: Numbers,
    upper: Numbers,
    loco: Loco,
    film: str,
    pull: Callable[[Loco, str], float],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return a locomotive's pull between places on rail as it is, and what film under it takes away there, N."""
    known = {unit.film or CLEAN for unit in units.all}
    by_rail = {rail: min(pull(loco, rail), pull(loco, first_day(rail))) for rail in known}
    own = np.array([by_rail[unit.film or CLEAN] for unit in units.all])[run]
    base = np.full(lower.size, np.inf)
    for k in range(int((upper - lower).max(initial=0))):
        here = lower + k < upper
        base[here] = np.minimum(base[here], own[(lower + k)[here]])
    weakest = min(pull(loco, film), pull(loco, first_day(film)))
    return base, np.maximum(base - weakest, 0.0)


def _open(units: Units, numbers: frozenset[int]) -> frozenset[int]:
    return frozenset(number for number in numbers if units.all[number].film is None)


def hardest(tight: Iterable[Tight]) -> list[Tight]:
    """Return of places with the same units and pulls the one that needs most: the others follow from it."""
    most: dict[tuple[object, ...], Tight] = {}
    for each in tight:
        key = (each.under, each.base, each.loss)
        if key not in most or each.least > most[key].least:
            most[key] = each
    return list(most.values())
