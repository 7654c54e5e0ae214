"""Judged trains, the worst of each: over rail conditions, and over the ages of a film."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Protocol, TypeVar

from gradehaul.haulage.answers.misfits import Misfit, misfits
from gradehaul.haulage.outcome import WORST_FIRST, Outcome, worst
from gradehaul.haulage.train import made_up
from gradehaul.haulage.verdict import Verdict, judge
from gradehaul.plan.rail_condition import RailCondition

if TYPE_CHECKING:
    from gradehaul.haulage.answers.layout import Layout


class Judged(Protocol):
    """A named train with its outcome on one rail condition."""

    @property
    def name(self) -> str:
        """The train."""

    @property
    def rail(self) -> str:
        """The rail condition."""

    @property
    def verdict(self) -> Verdict:
        """The verdict on it."""

    @property
    def outcome(self) -> Outcome:
        """The worst of all that can happen to it there."""


@dataclass(frozen=True, slots=True)
class JudgedTrain:
    """A named train with its verdict and misfits on one rail condition, without random trials."""

    name: str
    route: str
    rail: str
    verdict: Verdict
    misfits: tuple[Misfit, ...]

    @property
    def outcome(self) -> Outcome:
        """The worst of all that can happen to it."""
        return outcome_of(self.verdict, self.misfits)


def judged_trains(layout: Layout, rails: Sequence[str] | None = None) -> tuple[JudgedTrain, ...]:
    """Return every named train whose route is answered, on some or all rail conditions, in the order of the plan."""
    plan, routes = layout.plan, {route.name: route for route in layout.routes}
    found = []
    for named in plan.trains.values():
        if named.route not in routes:
            continue
        profile, train = layout.profile(routes[named.route]), made_up(plan, named)
        too_long = misfits(layout, routes[named.route], train)
        found += [
            JudgedTrain(named.name, named.route, rail, judge(profile, train, rail, layout.pulls), too_long)
            for rail in (layout.rails if rails is None else rails)
        ]
    return tuple(found)


_Train = TypeVar("_Train", bound=Judged)

JUDGED_KEYS = (
    "outcome verdict=verdict.climb verdict.margin verdict.margin_at verdict.at verdict.track verdict.no_stopping "
    "verdict.no_recovery verdict.stalling verdict.running_away verdict.holds_back verdict.runs_away_at misfits "
    "verdict.basis verdict.slipping_basis"
)
"""The keys of a record that has a `verdict`, `misfits` and the `outcome` of both."""


@dataclass(frozen=True, slots=True)
class VerdictOnRoute:
    """A verdict with the places of the route that do not hold the train."""

    KEYS: ClassVar[str] = JUDGED_KEYS

    verdict: Verdict
    misfits: tuple[Misfit, ...]

    @property
    def outcome(self) -> Outcome:
        """The worst of all that can happen to the train."""
        return outcome_of(self.verdict, self.misfits)


def outcome_of(verdict: Verdict, misfits: Sequence[Misfit]) -> Outcome:
    """Return the outcome of a train: the worst of its verdict and of the places that do not hold it."""
    return worst((verdict.outcome, "too long" if misfits else "climbs"))


def worst_of_each(judged: Iterable[_Train]) -> list[_Train]:
    """Return one record for each train: its worst, by outcome and pull to spare, in the order of the trains."""
    return _worst(judged, by_film=False)


def worse_ages(judged: Iterable[_Train]) -> list[_Train]:
    """Return one record for each train and film: that of the age of the film that is worse for it."""
    return _worst(judged, by_film=True)


def worst_first(judged: Iterable[_Train]) -> list[_Train]:
    """Return trains by their outcomes, the worst first; those alike stay in order."""
    return sorted(judged, key=lambda each: WORST_FIRST.index(each.outcome))


def _worst(judged: Iterable[_Train], *, by_film: bool) -> list[_Train]:
    found: dict[Hashable, _Train] = {}
    for each in judged:
        key = each.name, RailCondition.named(each.rail).film if by_film else None
        if key not in found or _badness(each) < _badness(found[key]):
            found[key] = each
    return list(found.values())


def _badness(each: Judged) -> tuple[int, float]:
    return WORST_FIRST.index(each.outcome), each.verdict.margin
