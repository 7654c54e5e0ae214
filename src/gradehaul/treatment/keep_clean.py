"""The keep-clean plan: which track may be treated, which stays clean for which train, and the plan file for it."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, partial
from pathlib import Path
from time import perf_counter
from typing import ClassVar, Literal, NamedTuple, get_args

import numpy as np

from gradehaul.errors import DesignError, RouteError, quoted
from gradehaul.haulage.answers.check_notes import doubts_of
from gradehaul.haulage.answers.judged import Judged, judged, worst_over
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train, build_train, trains_named
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.haulage.verdict import Need, judge
from gradehaul.plan.edit.copies import plan_with_rails
from gradehaul.plan.names import look_up
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.plan.records import Note, Plan
from gradehaul.quantities import Kind, describe, read_quantity
from gradehaul.quantities.document import AnswerRecord
from gradehaul.quantities.si import Hours, Meters, Ratio
from gradehaul.treatment.choice import PATIENCE, choose, covers_of
from gradehaul.treatment.needs import FilmTest, Reason, Shortfall, needs_of, reasons
from gradehaul.treatment.units import Unit, lay_units, with_rails

Use = Literal["film", "has film", "keep clean", "buffer", "no effect"]
"""What is to become of a unit: treated; left with the film it has; kept clean for a train; kept clean since wheels
would spread film from it onto rail that must stay clean; or treated or not as one likes, as no locomotive in question
runs there."""


_PIECES_PATIENCE = 5.0
"""How long dividing tracks is tried, s: what is found by then may be treated."""

_MORE_RISK = 0.005
"""A risk that grows by no more is as before: half of a percent as it is shown."""


@dataclass(frozen=True, slots=True)
class KeepCleanOptions:
    """What a keep-clean plan is made for.

    `trains` by name, all named ones where empty; `film` by name, None for the only one of the plan; `need` the outcome
    that they reach with the share `reserve` of the pull held back, ``marginal`` only for trains that do not climb
    with no more film; `step` the greatest length of a stretch that is wiped or left as a whole, m, None for
    whole tracks; `carry` how far wheels carry the film, m, None for what the plan says or else is assumed.
    """

    trains: tuple[str, ...] = ()
    film: str | None = None
    need: Need = "climbs"
    reserve: Ratio = 0.0
    step: Meters | None = None
    carry: Meters | None = None


@dataclass(frozen=True, slots=True)
class NearClean:
    """The clean track that wheels carry film onto first, and how far it is, m."""

    track: str
    distance: Meters


@dataclass(frozen=True, slots=True)
class UsedUnit:
    """A unit and its use, the reason why it must stay clean, and the clean track within carry that is nearest."""

    KEYS: ClassVar[str] = (
        "track=unit.name unit.line from=unit.start to=unit.stop use forced_by=reason carried_to=carried"
    )

    unit: Unit
    use: Use
    reason: Reason | None = None
    carried: NearClean | None = None


@dataclass(frozen=True, slots=True)
class TrainOutcome:
    """What becomes of a train now, with this plan, both once film has spread, and with film everywhere."""

    name: str
    route: str
    now: Judged
    planned: Judged
    everywhere: Judged

    @property
    def riskier(self) -> bool:
        """Whether it stalls or runs away in more of the random trials than now, by what a screen shows."""
        return self.planned.risk - self.now.risk > _MORE_RISK


@dataclass(frozen=True, slots=True)
class KeepCleanPlan(AnswerRecord):
    """Where the film may go.

    `beyond` has the trains that miss the verdict they need whatever is left clean; where there are any, there is no
    plan and no row. `at_risk` has rows with film already that lie within carry of rail that must stay clean.
    """

    KEYS: ClassVar[str] = (
        "film hours options.need options.reserve carry options.step found depends_on_carry gap=known_gap proven "
        "need_film totals tracks=rows trains beyond doubts"
    )

    plan: Plan
    options: KeepCleanOptions
    film: str
    hours: Hours | None
    """The age of every film; None where it counts both fresh and rested."""
    rows: tuple[UsedUnit, ...]
    trains: tuple[TrainOutcome, ...]
    beyond: tuple[Shortfall, ...]
    gap: Ratio
    doubts_of: Callable[[], tuple[Note, ...]] = field(repr=False, compare=False)
    need_film: tuple[str, ...] = ()
    by_pieces: Callable[[], Meters] = field(default=lambda: 0.0, repr=False, compare=False)
    """How much may be treated by pieces of tracks, of `piece` at most, m; looked for when it is asked for."""

    @property
    def doubts(self) -> tuple[Note, ...]:
        """What can make the whole answer wrong, as `check` has it, looked for when it is asked for."""
        return self.doubts_of()

    def length(self, use: Use) -> Meters:
        """Return the length of all track with one use, m."""
        return sum(row.unit.length for row in self.rows if row.use == use)

    @property
    def carry(self) -> Meters:
        """How far wheels carry the film: as the question has it, else as the plan says or as is assumed."""
        return self.plan.carry_over if self.options.carry is None else self.options.carry

    @property
    def depends_on_carry(self) -> bool:
        """Whether the plan holds only as long as the film is carried no farther than assumed."""
        uses = {row.use for row in self.rows}
        return "keep clean" in uses and bool(uses & {"film", "has film"})

    @property
    def hardest(self) -> tuple[Reason, ...]:
        """For each train and test, the place that would fail most if one more unit were treated."""
        most: dict[tuple[str, FilmTest], Reason] = {}
        for row in self.rows:
            if row.reason is not None:
                key = row.reason.train, row.reason.test
                if key not in most or row.reason.short > most[key].short:
                    most[key] = row.reason
        return tuple(most.values())

    @property
    def at_risk(self) -> tuple[UsedUnit, ...]:
        """The rows with film already from which wheels carry it onto rail that must stay clean."""
        return tuple(row for row in self.rows if row.use == "has film" and row.carried is not None)

    @property
    def found(self) -> bool:
        """Whether there is a plan by which every train gets the verdict that it needs."""
        return not self.beyond

    @property
    def rails(self) -> Mapping[str, str]:
        """The rail condition to put on each track, by its id, that is to be treated or to stay clean, as a whole."""
        put = {"film": self.film, "keep clean": CLEAN, "buffer": CLEAN}
        return {row.unit.track: put[row.use] for row in self.rows if row.use in put}

    @property
    def known_gap(self) -> Ratio | None:
        """How much better another plan might be at the most, as a share, None where nothing is known of that."""
        return None if math.isinf(self.gap) else self.gap

    @property
    def proven(self) -> bool:
        """Whether no plan is better."""
        return self.gap == 0

    @property
    def totals(self) -> Mapping[str, Meters]:
        """The length of all track with each use."""
        return {use: self.length(use) for use in get_args(Use)}


def piece(plan: Plan) -> str:
    """Return the length of the pieces that dividing tracks is tried with, as ``--step`` takes it: about an arm's."""
    return "24in" if plan.unit in {"in", "ft"} else "600mm"


class UsedStretch(NamedTuple):
    """A stretch of a track with one use, between two distances from the start of the track, m."""

    use: Use
    start: Meters
    stop: Meters


def used_stretches(found: KeepCleanPlan) -> Mapping[str, tuple[UsedStretch, ...]]:
    """Return the stretches of every track, by its id, in its line's direction; none where no plan can help.

    Units next to one another with the same use are one stretch.
    """
    stretches: dict[str, list[UsedStretch]] = {}
    for row in found.rows:
        unit = row.unit
        own = stretches.setdefault(unit.track, [])
        if own and own[-1].use == row.use:
            own[-1] = own[-1]._replace(stop=unit.stop)
        else:
            own.append(UsedStretch(row.use, unit.start, unit.stop))
    return {track: tuple(own) for track, own in stretches.items()}


def keep_clean_plan(
    layout: Layout, options: KeepCleanOptions = KeepCleanOptions(), *, patience: float = PATIENCE
) -> KeepCleanPlan:
    """Return the weightiest set of track that may be treated so that every train in question still gets by.

    Every train gets by while wheels spread the film as far as they carry it, with all film rested and with all of it
    fresh, since trains run on the first day too, or at the one age that the layout has of it. Film that the plan has
    stays, and spreads too: where that alone is too much for a train, the plan is made as if it stayed where it is, and
    `at_risk` has it.

    After `patience` seconds from the call the search ends with the best plan so far, where locomotives trade film for
    one another. What is raised is that of `gradehaul.Layout.keep_clean`.
    """
    begun = perf_counter()
    _refuse(layout.plan, options)
    name = _film(layout.plan, options.film)
    film = layout.aged(name)
    runs = _runs(layout, options.trains)
    units = lay_units(layout, options.step)
    profiles = {name: run.profile for name, run in runs.items()}
    spread = layout.wheels(units.stretches, options.carry)
    has = {number: unit.film for number, unit in enumerate(units.all) if unit.film is not None}
    takes = np.array([unit.film != film for unit in units.all])
    clean = np.array([unit.film is None for unit in units.all])
    weights = {number: unit.weight for number, unit in enumerate(units.all) if unit.film is None}
    ages = (False, True) if layout.hours is None else (False,)
    for counts in (True, False) if has else (False,):  # where film that is there spreads too far, that is shown
        now = spread.rails(has) if counts else [(unit.film or CLEAN,) for unit in units.all]
        carried = {number: others for number, rails in enumerate(now) if (others := frozenset(rails[1:]) - {film})}
        on_leg = partial(needs_of, units=units, pulls=layout.pulls, film=film, ages=ages, carried=carried)
        needs = [
            on_leg(train, run.train.after(leg.route.run_rounds), leg, need=need, reserve=reserve, start=start)
            for train, run in runs.items()
            for need, reserve in _wanted(layout, run, with_rails(run.profile, units, now), options)
            for leg, start in run.profile.approached
        ]
        beyond = tuple(place for each in needs for place in each.beyond)
        choice = None
        if not beyond:
            tight = [place for each in needs for place in each.tight]
            left = max(0.0, patience - (perf_counter() - begun))
            covers = covers_of(tight, takes, clean)
            reached = {number for number, rails in enumerate(now) if counts and film in rails}
            choice = choose(covers, weights, spread, reached, patience=left)
        if choice is not None:
            break
    rows: tuple[UsedUnit, ...] = ()
    planned: set[int] = set()
    if choice is None:
        beyond = beyond or tuple(place for each in needs for place in each.short_now)
    else:
        why = reasons(tight, choice.kept, choice.treated, takes, clean, profiles)
        nearest = {
            number: NearClean(units.all[near.onto].name, near.distance)
            for number, near in spread.within_carry(choice.kept).items()
        }
        run_over = frozenset().union(*(each.run_over for each in needs))
        rows = tuple(
            UsedUnit(unit, _use(number, unit, choice.kept, nearest, run_over), why.get(number), nearest.get(number))
            for number, unit in enumerate(units.all)
        )
        planned = {number for number, row in enumerate(rows) if row.use == "film"}
    once_spread = spread.rails({**dict.fromkeys(planned, film), **has})
    everywhere = spread.rails({number: has.get(number, film) for number in range(len(units.all))})
    own = {profile.route.name: profile for profile in profiles.values()}
    states = [
        {route: with_rails(profile, units, rails) for route, profile in own.items()}
        for rails in (spread.rails(has), once_spread, everywhere)
    ]
    trials = RandomTrials(layout.plan, layout.coefficient)
    trains = tuple(
        TrainOutcome(train, route, *(_worse(layout, run.train, each[route], trials) for each in states))
        for train, run in runs.items()
        for route in [run.profile.route.name]
    )
    need_film = () if beyond else tuple(dict.fromkeys(place.train for each in needs for place in each.short_now))
    # of three locomotives or more, neighbors count as one, which may leave out some film
    grouped = any(len(run.train.locos) > 2 for run in runs.values())
    gap = 0.0 if choice is None else math.inf if grouped else choice.gap
    doubts = cache(partial(doubts_of, layout, layout.plan))

    @cache
    def by_pieces() -> Meters:
        divided = replace(options, film=name, step=read_quantity(piece(layout.plan), "length"))
        return keep_clean_plan(layout, divided, patience=_PIECES_PATIENCE).length("film")

    return KeepCleanPlan(
        layout.plan, options, name, layout.hours, rows, trains, beyond, gap, doubts, need_film, by_pieces
    )


def _use(number: int, unit: Unit, kept: frozenset[int], carried: Collection[int], run_over: frozenset[int]) -> Use:
    if unit.film is not None:
        return "has film"
    if number in kept:
        return "keep clean"
    if number in carried:
        return "buffer"
    return "film" if number in run_over else "no effect"


class _Run(NamedTuple):
    """A train on its route."""

    train: Train
    profile: RouteProfile


def _wanted(
    layout: Layout, run: _Run, profile: RouteProfile, options: KeepCleanOptions
) -> Iterator[tuple[Need, Ratio]]:
    """Yield what a train needs, each with the share of the pull held back, from its route with the film that is there.

    Where marginal will do, a train that climbs with no more film still climbs, with all of its pull.
    """
    yield options.need, options.reserve
    outcomes = (judge(profile, run.train, planned, layout.pulls).climb for planned in layout.planned)
    if options.need == "marginal" and all(climb == "climbs" for climb in outcomes):
        yield "climbs", 0.0


def _worse(layout: Layout, train: Train, profile: RouteProfile, trials: RandomTrials) -> Judged:
    """Return the worst of what becomes of a train at every age of the film."""
    return worst_over([judged(Judged, layout, profile, train, planned, trials) for planned in layout.planned])


def _runs(layout: Layout, names: Sequence[str]) -> dict[str, _Run]:
    plan = layout.plan
    if not plan.trains:
        raise RouteError("no train is named", file=plan.file, write="[train.NAME] with a route and a consist")
    named = [plan.trains[name] for name in trains_named(plan, names)]
    profiles = {route: layout.profile(route) for route in dict.fromkeys(each.route for each in named)}
    return {each.name: _Run(build_train(plan, each), profiles[each.route]) for each in named}


def _film(plan: Plan, name: str | None) -> str:
    if not plan.films:
        raise RouteError("the plan has no film", file=plan.file, write="[rail.treated] with metal and tyred")
    if name is None and len(plan.films) > 1:  # a plan for another film than the reader has in mind would mislead
        found, write = ", ".join(map(quoted, plan.films)), "--film with one of these"
        raise RouteError("track is planned for one film", file=plan.file, place="--film", found=found, write=write)
    if name is None:
        return next(iter(plan.films))
    return look_up(name, plan.films, "film", file=plan.file, place="--film").name


def _refuse(plan: Plan, options: KeepCleanOptions) -> None:
    length: tuple[Kind, str] = ("length", plan.unit)
    if not 0 <= options.reserve < 1:
        raise DesignError(
            "a reserve must be at least 0 and less than 100 % of the pull",
            place="--reserve",
            found=f"{100 * options.reserve:g} %",
            write="--reserve 10%",
        )
    if options.step is not None and options.step < plan.scale.gauge:  # nobody wipes to a gauge
        wrong, found = "the step is too short to wipe: it is at least the gauge", describe(options.step, *length)
        raise DesignError(wrong, place="--step", found=found, write="--step 300mm")
    if options.carry is not None and options.carry < 0:
        found = describe(options.carry, *length)
        raise DesignError("the carry-over length must be 0 or more", place="--carry", found=found, write="--carry 2m")


def treated_plan(found: KeepCleanPlan, folder: Path | None = None) -> str:
    """Return the text of the plan's file with a rail key on all track that may be treated or is to be kept clean.

    It has the carry-over that the plan was made for, so that `check` counts film on the same track.
    `folder` is that of the copy; None for that of the plan. Track on which no train in question runs is left as it is.

    Raises
    ------
    DesignError
        There is no plan to write, or it has stretches shorter than a track.
    PlanError
        Lines that do not stand in the file, or text that cannot be changed so.
    """
    if found.beyond:
        short = ", ".join(dict.fromkeys(place.train for place in found.beyond))
        raise DesignError(
            f"no file is written, since no plan can help {short}",
            file=found.plan.file,
            write="--train with the trains that can run",
        )
    if found.options.step is not None:
        raise DesignError("a rail key is for a whole track", place="-o", found="stretches", write="-o without --step")
    carry_over = None if found.carry == found.plan.carry_over else found.carry
    return plan_with_rails(found.plan, found.rails, carry_over=carry_over, folder=folder)
