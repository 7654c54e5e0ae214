"""The figures of a long section: grades, curves, tracks and joints, and a train's pull against its demand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

from gradehaul.errors import RouteError, quoted
from gradehaul.haulage.answers.check_notes import doubtful_readings
from gradehaul.haulage.answers.judged import JUDGED_KEYS, Misfit, misfits, outcome_of
from gradehaul.haulage.answers.layout import Layout, film_rails
from gradehaul.haulage.answers.unusual import stock_notes
from gradehaul.haulage.demand import demand, supply
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.stretches import (
    CurveStretch,
    GradeStretch,
    JointPlace,
    RouteElement,
    TrackStretch,
    curve_stretches,
    elements_along,
    grade_stretches,
    joints_along,
    track_stretches,
)
from gradehaul.haulage.train import Train, build_train
from gradehaul.haulage.verdict import Outcome, Verdict, hardest_approach, judge, rank
from gradehaul.network.route import Route
from gradehaul.plan.names import look_up, some
from gradehaul.plan.rail_condition import RailCondition
from gradehaul.plan.records import Note, Plan
from gradehaul.quantities.document import AnswerRecord
from gradehaul.quantities.si import Hours, Meters
from gradehaul.track.piecewise import PiecewiseQuadratic, steps

_NAMED = 8
"""Routes that an error names at the most."""


class ForceCurve(PiecewiseQuadratic):
    """A force, N, by the place of a train's head, m.

    On each piece it is value + slope t + second t² / 2, with t from the piece's break.
    """

    __slots__ = ()
    KEYS: ClassVar[str] = "breaks_m=breaks values_n=values slopes_n_per_m=slopes seconds_n_per_m2=seconds"

    @classmethod
    def of(cls, force: PiecewiseQuadratic) -> ForceCurve:
        """Return a function that is a force."""
        return cls(force.breaks, force.values, force.slopes, force.seconds)


@dataclass(frozen=True, slots=True, eq=False)
class PullGiven:
    """What a train's locomotives can pull on one rail condition, N, by the place of its head, and what becomes of it.

    The verdict is that on what is shown, which may be one leg; the outcome that on the whole route.
    """

    KEYS: ClassVar[str] = f"rail standing_n=standing slipping_n=slipping {JUDGED_KEYS}"

    rail: str
    standing: ForceCurve
    """Their pull with wheels that hold."""
    slipping: ForceCurve
    """Their pull with wheels that slip."""
    verdict: Verdict
    outcome: Outcome
    misfits: tuple[Misfit, ...] = ()
    judged: bool = True
    """False for a film everywhere, which answers a question beside what is judged."""


@dataclass(frozen=True, slots=True, eq=False)
class Haul:
    """A train on a route: what it needs and what its locomotives can pull, N, by the place of its head, m.

    `running` and `starting` are what the whole train needs on grades and curves, locomotives included, plus the rolling
    or starting resistance of its cars; a pull is what the balance reads on level straight track, where the resistance
    of the locomotives is in it already. So the two are compared as they stand. `least` is what can be relied on
    downhill: where it is below the slipping pull taken negative, the train runs away. `misfits` are the places of the
    whole route that do not hold the train.
    """

    KEYS: ClassVar[str] = "name train.length hours running_n=running starting_n=starting rails=given"

    name: str
    train: Train
    running: ForceCurve
    """Demand to keep running."""
    starting: ForceCurve
    """Demand to start."""
    least: PiecewiseQuadratic
    given: tuple[PullGiven, ...]
    hours: Hours | None
    """The age of every film; None for fresh and rested."""
    misfits: tuple[Misfit, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class LongSection(AnswerRecord):
    """A route laid out along its length, in running order, and what a train meets on it; no train where `haul` is None.

    Nothing is sampled: functions are piecewise quadratic and stretches have exact ends.
    """

    KEYS: ClassVar[str] = (
        "route=route.name from=route.origin to=route.destination route.lap profile.length profile.climb "
        "profile.fall railhead_at_start curve_coefficient=profile.coefficient elements grades curves tracks "
        "joints train=haul doubts"
    )

    plan: Plan
    profile: RouteProfile
    effective: PiecewiseQuadratic
    """Effective grade along the route."""
    grades: tuple[GradeStretch, ...]
    curves: tuple[CurveStretch, ...]
    tracks: tuple[TrackStretch, ...]
    joints: tuple[JointPlace, ...]
    elements: tuple[RouteElement, ...]
    haul: Haul | None

    @property
    def route(self) -> Route:
        """The route."""
        return self.profile.route

    @property
    def doubts(self) -> tuple[Note, ...]:
        """What is doubtful of the train's stock: readings that contradict, and figures that cannot be, or hardly."""
        if self.haul is None:
            return ()
        train = self.haul.train
        stock = {*(loco.name for loco, _ in train.locos), *(car.name for car, _ in train.cars)}
        return *doubtful_readings(self.plan, stock), *stock_notes(self.plan, stock)

    @property
    def railhead_at_start(self) -> Meters:
        """The railhead where the route begins."""
        return float(self.profile.railhead.values[0])


def long_section(
    layout: Layout, route: str | None = None, *, train: str | None = None, rails: Sequence[str] | None = None
) -> LongSection:
    """Return the figures of a route's long section.

    The train need not be meant for this route; None is the first that is, if any. Without a route it is that of the
    train. Rail conditions that are left out are those by which the layout passes, and beside them each film everywhere,
    at its worse age for the train.
    """
    if route is None and train is not None and train in layout.plan.trains:
        route = layout.plan.trains[train].route
    section = section_without_train(layout, route)
    return replace(section, haul=_haul(layout, section.profile, train, rails))


def section_without_train(layout: Layout, route: str | None = None) -> LongSection:
    """Return the long section of a route with its track alone, as `long_section` does with a train on it."""
    profile = layout.profile(_route(layout, route))
    grades = tuple(grade_stretches(profile.railhead))
    curves = tuple(curve_stretches(layout, profile))
    return LongSection(
        plan=layout.plan,
        profile=profile,
        effective=profile.effective_grade(),
        grades=grades,
        curves=curves,
        tracks=tuple(track_stretches(layout, profile)),
        joints=tuple(joints_along(layout, profile)),
        elements=tuple(elements_along(profile, grades, curves)),
        haul=None,
    )


def _route(layout: Layout, name: str | None) -> Route:
    file, routes = layout.plan.file, layout.routes
    if name is not None:
        try:
            return _one_direction(layout.route(name), file)
        except RouteError as error:
            raise error.at(file=file) from None
    if not routes:
        raise RouteError("no train can run from one end or berth to another, so there is no route to show", file=file)
    if len(routes) > 1:
        names = some((route.name for route in routes), _NAMED, quoted)
        wrong = f"the plan has {len(routes)} routes, and one is shown at a time"
        raise RouteError(wrong, file=file, write=f"its name after the plan: {names}")
    return _one_direction(routes[0], file)


def _one_direction(route: Route, file: str) -> Route:
    """Refuse a route with reversals, for a long section is run in one direction."""
    if route.legs:
        many = "a reversal" if len(route.tails) == 1 else f"{len(route.tails)} reversals"
        legs = [quoted(leg.name) for leg in route.legs]
        raise RouteError(
            f"a long section shows one leg of a route with {many}",
            file=file,
            found=quoted(route.name),
            write=" or ".join((", ".join(legs[:-1]), legs[-1])),
        )
    return route


def _haul(layout: Layout, profile: RouteProfile, name: str | None, rails: Sequence[str] | None) -> Haul | None:
    plan = layout.plan
    if name is None:
        named = next((each for each in plan.trains.values() if each.route == profile.route.whole), None)
    else:
        declare = "[train.NAME] with a route and a consist"
        named = look_up(name, plan.trains, "train", file=plan.file, declare=declare)
    shown_rails = layout.judged(rails) if rails else (*layout.judged(), *film_rails(layout.rails))
    if named is None:
        return None
    started = build_train(plan, named)
    train = started.after(profile.route.run_rounds)
    need = demand(hardest_approach(profile, train, shown_rails[0], layout.pulls), train)
    too_long = misfits(layout, layout.route(profile.route.whole), started)
    given = [_given(layout, profile, started, rail, need.running, too_long) for rail in shown_rails]
    if rails is None:
        given = _films_once(given)
    return Haul(
        name=named.name,
        train=train,
        running=ForceCurve.of(need.running),
        starting=ForceCurve.of(need.starting),
        least=need.least,
        given=tuple(given),
        hours=layout.hours,
        misfits=too_long,
    )


def _films_once(given: Sequence[PullGiven]) -> list[PullGiven]:
    """Return what is judged, and each film everywhere once, at the age that is worse for the train."""
    judged = [each for each in given if each.rail not in film_rails([each.rail])]
    films: dict[str | None, PullGiven] = {}
    for each in given[len(judged) :]:
        film = RailCondition.named(each.rail).film
        worse = films.setdefault(film, each)
        if rank(each.verdict) < rank(worse.verdict):
            films[film] = each
    return [*judged, *(replace(each, judged=False) for each in films.values())]


def _given(
    layout: Layout,
    profile: RouteProfile,
    started: Train,
    rail: str,
    demanded: PiecewiseQuadratic,
    too_long: Sequence[Misfit],
) -> PullGiven:
    train = started.after(profile.route.run_rounds)
    given = supply(hardest_approach(profile, train, rail, layout.pulls), train, rail, layout.pulls)
    standing, slipping = (
        ForceCurve.of(
            pull.restrict(demanded.start, demanded.stop)
            if isinstance(pull, PiecewiseQuadratic)
            else steps([demanded.start, demanded.stop], [pull])
        )
        for pull in (given.standing, given.slipping)
    )
    verdict = judge(profile, started, rail, layout.pulls)
    whole = verdict
    if profile.route.whole != profile.route.name:
        whole = judge(layout.profile(profile.route.whole), started, rail, layout.pulls)
        verdict = replace(verdict, uphill=whole.uphill)
    return PullGiven(rail, standing, slipping, verdict, outcome_of(whole, too_long), tuple(too_long))
