"""Judged trains: verdicts, places that hold no train and random trials; the worst over rails and ages of film."""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, partial
from itertools import accumulate
from typing import ClassVar, TypeVar

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.longest import RoomKind
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train, build_train
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.haulage.trust.train import TrainTrust, trust_in_train
from gradehaul.haulage.verdict import WORST_FIRST, Outcome, Verdict, judge, worst
from gradehaul.network.route import Route
from gradehaul.plan.rail_condition import RailCondition
from gradehaul.quantities.si import Meters, Share

_WHOLE = 1 + 1e-9
"""A train so little longer than its room still fits."""

JUDGED_KEYS = (
    "outcome verdict=verdict.climb verdict.margin verdict.margin_at verdict.at verdict.track verdict.no_stopping "
    "verdict.no_recovery verdict.stalling verdict.running_away verdict.holds_back verdict.runs_away_at misfits "
    "verdict.basis verdict.slipping_basis verdict.spare verdict.spare_at verdict.spare_track verdict.spare_by"
)
"""The keys of a record that has a `verdict`, `misfits` and the `outcome` of both."""


@dataclass(frozen=True, slots=True)
class Misfit:
    """A place that does not hold a train: its name, its kind, the train's length there, m, and the length available, m.

    In a ``run-round`` the length is that of the locomotives which go round their train.
    """

    place: str
    kind: RoomKind
    length: Meters
    available: Meters


@dataclass(frozen=True, slots=True)
class StandsOut:
    """A berth in which a train reverses that is longer than it, and the tracks before it on which the rest stands.

    `clear` is how much the berth holds, and `outside` what it does not, m.
    """

    berth: str
    clear: Meters
    outside: Meters
    tracks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What becomes of a train on one rail condition: a verdict on the track alone, and places too short for it."""

    KEYS: ClassVar[str] = f"{JUDGED_KEYS} risk"

    rail: str
    verdict: Verdict
    misfits: tuple[Misfit, ...] = ()
    stands_out: tuple[StandsOut, ...] = ()
    run_trials: Callable[[], TrainTrust] = field(repr=False, compare=False)
    """Its random trials, run when they are first looked at."""

    @property
    def outcome(self) -> Outcome:
        """The worst of all that can happen to it."""
        return outcome_of(self.verdict, self.misfits)

    @property
    def rank(self) -> tuple[int, float]:
        """What orders one train on several rails, the worst first: its outcome, and its pull to spare, N."""
        return WORST_FIRST.index(self.outcome), self.verdict.spare

    @property
    def trust(self) -> TrainTrust:
        """How far the verdict can be trusted."""
        return self.run_trials()

    @property
    def risk(self) -> Share:
        """The chance that it fails: that it stalls, runs away, or does not fit."""
        return 1.0 if self.misfits else self.trust.fail_probability


@dataclass(frozen=True, slots=True, kw_only=True)
class TrainAnswer(Judged):
    """What becomes of a named train on its route and one rail condition."""

    KEYS: ClassVar[str] = (
        f"name route rail length {JUDGED_KEYS} risk trust.stall_probability draws=trust.trials trust.margin_low "
        "trust.margin_high unsure_of=trust.causes measure_next=trust.next_measurement.measure"
    )

    name: str
    route: str
    length: Meters


_Judged = TypeVar("_Judged", bound=Judged)
_Train = TypeVar("_Train", bound=TrainAnswer)


def judged(
    kind: Callable[..., _Judged],
    layout: Layout,
    profile: RouteProfile,
    train: Train,
    rail: str,
    trials: RandomTrials,
    **own: object,
) -> _Judged:
    """Return what becomes of a train on a route and rail condition, as a record of a kind with fields of its own."""
    return kind(
        rail=rail,
        verdict=judge(profile, train, rail, layout.pulls),
        misfits=misfits(layout, profile.route, train),
        stands_out=tuple(standing_out(layout, profile.route, train)),
        run_trials=cache(partial(trust_in_train, profile, train, rail, trials)),
        **own,
    )


def misfits(layout: Layout, route: Route, train: Train) -> tuple[Misfit, ...]:
    """Return the places that do not hold a train: berths, tails, its lap or all of its route, loops and so on."""
    rooms = (
        Misfit(room.name, room.kind, train.length, room.length)
        for room in layout.rooms(route)
        if train.length > room.length * _WHOLE
    )
    shut_in = (
        Misfit(f"the run-round {tail.place}", "run-round", length, room)
        for tail, length, room in train.too_long_round(route.tails)
    )
    return (*rooms, *shut_in)


def standing_out(layout: Layout, route: Route, train: Train) -> Iterator[StandsOut]:
    """Yield the berths that a train stands out of as it reverses in them.

    It must fit the track that it runs over both ways, of which the berth may be a part.
    """
    lengths = layout.movements.lengths
    for tail, leg in zip(route.tails, route.legs, strict=False):
        clear = train.length if tail.berth is None or tail.within else layout.clear[tail.berth].length
        if tail.berth is None or not clear * _WHOLE < train.length <= tail.length * _WHOLE:
            continue
        ends = accumulate(lengths[way] for way in reversed(leg.ways))
        names = [
            layout.plan.tracks[way.track].name
            for way, end in zip(reversed(leg.ways), ends, strict=True)
            if end > clear * _WHOLE and end - lengths[way] < train.length
        ]
        yield StandsOut(tail.berth, clear, train.length - clear, tuple(names))


def judged_trains(
    layout: Layout,
    rails: Sequence[str] | None = None,
    trains: Collection[str] | None = None,
    trials: RandomTrials | None = None,
) -> tuple[TrainAnswer, ...]:
    """Return the named trains whose route is answered, on some or all rail conditions, in the order of the plan.

    `trains` are their names; None for all.
    """
    plan, routes = layout.plan, {route.name: route for route in layout.routes}
    if trials is None:
        trials = RandomTrials(plan, layout.coefficient)
    found = []
    for named in plan.trains.values():
        if named.route not in routes or (trains is not None and named.name not in trains):
            continue
        profile, train = layout.profile(routes[named.route]), build_train(plan, named)
        found += [
            judged(
                TrainAnswer,
                layout,
                profile,
                train,
                rail,
                trials,
                name=named.name,
                route=named.route,
                length=train.length,
            )
            for rail in (layout.rails if rails is None else rails)
        ]
    return tuple(found)


def outcome_of(verdict: Verdict, misfits: Sequence[Misfit]) -> Outcome:
    """Return the outcome of a train: the worst of its verdict and of the places that do not hold it."""
    return worst((verdict.outcome, "too long" if misfits else "climbs"))


def worst_of_each(judged: Iterable[_Train]) -> list[_Train]:
    """Return one record for each train, the worst of each figure as `worst_over` has it, in the order of the trains."""
    by_name: dict[str, list[_Train]] = {}
    for each in judged:
        by_name.setdefault(each.name, []).append(each)
    return [worst_over(alike) for alike in by_name.values()]


def worst_over(alike: Sequence[_Judged]) -> _Judged:
    """Return one record of a train for several rails: its worst outcome, least pull to spare, and greatest risk.

    These may be of different rails: what locomotives pull on a rested film can be less sure than on a fresh one, so
    that the risk is greater though they pull more. The rail and all else are those of the worst outcome.
    """
    first = min(alike, key=lambda each: each.rank)
    least = min((each.verdict for each in alike), key=lambda verdict: verdict.spare)
    place = {key: getattr(least, key) for key in ("spare", "spare_at", "spare_track", "spare_by")}
    riskiest = cache(lambda: max((each.trust for each in (first, *alike)), key=lambda trust: trust.fail_probability))
    return replace(first, verdict=replace(first.verdict, **place), run_trials=riskiest)


def worse_ages(judged: Iterable[_Train]) -> list[_Train]:
    """Return one record for each train and film: that of the age that is worse for it, by outcome and pull to spare."""
    found: dict[Hashable, _Train] = {}
    for each in judged:
        key = each.name, RailCondition.named(each.rail).film
        if key not in found or each.rank < found[key].rank:
            found[key] = each
    return list(found.values())


def worst_first(judged: Iterable[_Train]) -> list[_Train]:
    """Return trains by their outcomes, the worst first; those alike stay in order."""
    return sorted(judged, key=lambda each: WORST_FIRST.index(each.outcome))
