"""Judged trains, the worst of each: over rail conditions, and over the ages of a film."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, TypeVar

from gradehaul.haulage.answers.misfits import Misfit, misfits
from gradehaul.haulage.outcome import WORST_FIRST, Outcome, worst
from gradehaul.haulage.train import made_up
from gradehaul.haulage.verdict import Verdict, judge
from gradehaul.plan.resolve.stock import FRESH

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


def rail_without_age(rail: str) -> str:
    """Return a rail condition without the age of its film.

    Examples
    --------
    >>> rail_without_age("treated fresh"), rail_without_age("as planned"), rail_without_age("clean")
    ('treated', 'as planned', 'clean')
    """
    return rail.removesuffix(FRESH)


def _worst(judged: Iterable[_Train], *, by_film: bool) -> list[_Train]:
    found: dict[Hashable, _Train] = {}
    for each in judged:
        key = each.name, rail_without_age(each.rail) if by_film else None
        if key not in found or _badness(each) < _badness(found[key]):
            found[key] = each
    return list(found.values())


def _badness(each: Judged) -> tuple[int, float]:
    return WORST_FIRST.index(each.outcome), each.verdict.margin
