"""The main job: the demand of every route, the load of every power over it, the outcome of every named train."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import ClassVar

from gradehaul.haulage.answers.berths import BerthAnswer, berth_answer
from gradehaul.haulage.answers.check_notes import (
    assumed_films,
    doubts_of,
    misfit_notes,
    unsure_predictions,
)
from gradehaul.haulage.answers.figures import Measurement, SourcedFigure, figures, measurements
from gradehaul.haulage.answers.judged import TrainAnswer, judged_trains, worse_ages
from gradehaul.haulage.answers.layout import Layout, film_rails
from gradehaul.haulage.longest import Load
from gradehaul.haulage.profile import RouteProfile, Ruling
from gradehaul.haulage.train import Train, build_train
from gradehaul.haulage.trust.load import LoadSpread, RouteTrust
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.haulage.verdict import FAILS
from gradehaul.network.route import Between, Route, Tail
from gradehaul.plan.names import some
from gradehaul.plan.rail_condition import RailCondition
from gradehaul.plan.records import Note, Plan
from gradehaul.quantities import describe
from gradehaul.quantities.document import AnswerRecord
from gradehaul.quantities.si import Hours, Meters, Ratio
from gradehaul.track.alignment import Alignment
from gradehaul.track.map.closing import figure_name
from gradehaul.track.proximity.fouling import fouling_notes

Progress = Callable[[int, int], None]
"""Called with the number of parts of the work that are done, and of how many."""


@dataclass(frozen=True, slots=True)
class UnderTrain:
    """The greatest effective grade averaged under a train of a length, m, and where its head is then."""

    train_length: Meters
    effective: Ratio
    at: Meters


@dataclass(frozen=True, slots=True)
class Reversal:
    """Where a route reverses: how far a train has run there, m, and the tail in which it stands."""

    KEYS: ClassVar[str] = "at in=tail.name tail_length=tail.length run_round=tail.round_room"

    at: Meters
    tail: Tail


@dataclass(frozen=True, slots=True)
class RangedLoad:
    """A load, and how sure it is."""

    KEYS: ClassVar[str] = (
        "load.power load.car load.rail told_cars=load.to_run rated_cars=load.rated limit_cars=load.limit told_low=low "
        "told_high=high spread.rated_low spread.rated_high spread.limit_low spread.limit_high fits_cars=load.fits "
        "load.fits_by load.engine load.holds_back load.basis load.slipping_basis load.binds"
    )

    load: Load
    spread: LoadSpread

    @property
    def low(self) -> int:
        """The 5th percentile of the cars to run."""
        return self.load.held(self.spread.rated_low)

    @property
    def high(self) -> int:
        """The 95th percentile of the cars to run."""
        return self.load.held(self.spread.rated_high)


@dataclass(frozen=True, slots=True)
class RouteAnswer:
    """What a route needs, and the longest trains over it: one load for every power, car and rail condition."""

    KEYS: ClassVar[str] = (
        "route.name from=route.origin to=route.destination route.lap route.start_berth route.end_berth "
        "profile.length profile.climb profile.fall profile.tracks reversals ruling "
        "ruling_under_train=under_trains loads=ranged_loads"
    )

    profile: RouteProfile
    ruling: Ruling
    under_trains: tuple[UnderTrain, ...]
    loads: tuple[Load, ...]
    trials: RouteTrust = field(repr=False, compare=False)

    @property
    def spreads(self) -> tuple[LoadSpread, ...]:
        """The 90 % range of each of the loads, in their order."""
        return tuple(map(self.trials.spread, self.loads))

    @property
    def route(self) -> Route:
        """The route."""
        return self.profile.route

    @property
    def reversals(self) -> tuple[Reversal, ...]:
        """Where trains reverse on it."""
        starts = (start for _, start in self.profile.runs[1:])
        return tuple(Reversal(start, tail) for start, tail in zip(starts, self.route.tails, strict=True))

    @property
    def ranged_loads(self) -> tuple[RangedLoad, ...]:
        """The loads, each with how sure it is."""
        return tuple(map(RangedLoad, self.loads, self.spreads))


@dataclass(frozen=True, slots=True)
class CheckAnswer(AnswerRecord):
    """The whole answer to the main job."""

    KEYS: ClassVar[str] = (
        "plan.scale plan.practice curve_coefficient=coefficient curve_model=plan.curve_resistance.model hours rails "
        "judged_rails passes not_judged=unjudged not_checked routes between trains ways_over berths figures "
        "doubts notes clearance_fails"
    )

    plan: Plan
    written: Plan = field(repr=False)
    """The plan before its readings were taken in."""
    alignment: Alignment
    coefficient: Meters
    """Curve coefficient, m."""
    hours: Hours | None
    """The age of every film; None where each is judged both fresh and rested."""
    rails: tuple[str, ...]
    """The rail conditions judged."""
    judged_rails: tuple[str, ...]
    """Those by which the layout passes or fails: the ones named, else as planned where the plan says so, else clean."""
    routes: tuple[RouteAnswer, ...]
    between: tuple[Between, ...]
    trains: tuple[TrainAnswer, ...]
    berths: tuple[BerthAnswer, ...]
    figures: tuple[SourcedFigure, ...]
    doubts: tuple[Note, ...]
    """Readings that contradict, unusual figures, doubtful geometry and trains around a lot of curve: each can make the
    whole answer wrong."""
    not_checked: tuple[str, ...]
    """What the answer had to leave out, and why."""
    notes: tuple[Note, ...]
    """All notes, those doubts among them."""
    ways_over: tuple[object, ...] = ()
    """For each train that does not climb as judged, the ways over the hill, where `treatment.ways_over` found them."""
    clearance_fails: int | None = None
    """How many places fail the clearances; None where that was not looked for, or not all could be checked."""

    @property
    def film_rails(self) -> tuple[str, ...]:
        """The conditions with a film everywhere, at both ages, of the films that are not judged so.

        They answer a question: what if the film spreads, or all rails get it?
        """
        films = film_rails(self.rails)
        wanted = {RailCondition.named(rail).film for rail in films if rail not in self.judged_rails}
        return tuple(rail for rail in films if RailCondition.named(rail).film in wanted)

    def on(self, rails: Iterable[str]) -> list[TrainAnswer]:
        """Return the named trains on some rail conditions."""
        return [train for train in self.trains if train.rail in rails]

    @property
    def measure_next(self) -> Measurement | None:
        """What to measure next, the first that `readings` names; None where it names none."""
        judged, film = (worse_ages(self.on(rails)) for rails in (self.judged_rails, self.film_rails))
        return next(measurements(self.written, self.plan, judged, film), None)

    @property
    def unjudged(self) -> tuple[str, ...]:
        """Named trains without a verdict, because their route is not among those answered."""
        judged = {train.name for train in self.trains}
        return tuple(name for name in self.plan.trains if name not in judged)

    @property
    def passes(self) -> bool:
        """Whether all was checked, and no named train fails on the judged rails."""
        return not self.not_checked and not any(train.outcome in FAILS for train in self.on(self.judged_rails))


def check_layout(
    layout: Layout,
    *,
    seed: int = 0,
    rails: Sequence[str] | None = None,
    trains: Sequence[str] = (),
    routes: Sequence[str] = (),
    progress: Progress | None = None,
) -> CheckAnswer:
    """Answer the main job for a layout.

    The layout passes or fails by the rail conditions named; where that is None, as planned where the plan says so, else
    clean. With names of trains and routes it answers for these alone: a train brings its route along, and where no
    train is named a route brings the trains on it. `progress` is called as routes are done.

    Raises
    ------
    RouteError
        A rail condition, train or route that the plan does not have.
    """
    plan, chosen = _narrowed(layout, trains, routes)
    judged = layout.judged(rails)
    trials = RandomTrials(plan, layout.coefficient, seed=seed)
    made = {named.name: build_train(plan, named) for named in plan.trains.values()}
    answered: list[RouteAnswer] = []
    for number, route in enumerate(chosen):
        answered.append(_route_answer(layout, layout.profile(route), made, trials))
        if progress is not None:
            progress(number + 1, len(chosen))
    answers = judged_trains(layout, trains=plan.trains, trials=trials)
    alignment = layout.alignment
    doubts = doubts_of(layout, plan, seed=seed)
    notes = (
        *plan.notes,
        *alignment.notes,
        *fouling_notes(alignment),
        *layout.found.notes,
        *misfit_notes(plan, answers),
        *unsure_predictions(plan, trials),
        *assumed_films(plan),
        *doubts,
    )
    return CheckAnswer(
        plan=plan,
        written=layout.written,
        alignment=alignment,
        coefficient=layout.coefficient,
        hours=layout.hours,
        rails=layout.rails,
        judged_rails=judged,
        routes=tuple(answered),
        between=layout.found.between,
        trains=answers,
        berths=tuple(
            berth_answer(layout.movements, alignment, berth, layout.clear[berth.name]) for berth in plan.berths.values()
        ),
        figures=figures(plan, layout.coefficient),
        doubts=doubts,
        not_checked=tuple(_not_checked(layout, plan)),
        notes=tuple(dict.fromkeys(notes)),
    )


def _narrowed(layout: Layout, trains: Sequence[str], routes: Sequence[str]) -> tuple[Plan, tuple[Route, ...]]:
    """Return the plan with the trains to answer for alone, and the routes to answer for."""
    plan = layout.plan
    if not (trains or routes):
        return plan, layout.routes
    named = {name: layout.train(name) for name in trains}
    wanted = {layout.route(name).whole for name in routes}
    kept = named or {name: train for name, train in plan.trains.items() if train.route in wanted}
    wanted |= {train.route for train in named.values()}
    return replace(plan, trains=kept), tuple(route for route in layout.routes if route.name in wanted)


def _not_checked(layout: Layout, plan: Plan) -> Iterator[str]:
    """Yield what no answer can be found to, and why; of a narrowed question only what bears on it."""
    positions = layout.alignment.positions
    answered = {route.name for route in layout.routes}
    if not layout.plan.trains:
        yield "the plan names no train"
    trains = [named.name for named in plan.trains.values() if named.route not in answered]
    if trains:
        yield f"{_listed('train', trains)}, since {'their routes are' if trains[1:] else 'its route is'} not answered"
    lost: dict[int, list[str]] = {}
    for berth in plan.berths.values():
        frame = positions.tracks[berth.tracks[0]].frame
        if berth.clear is None and not positions.usable(frame):
            lost.setdefault(frame, []).append(berth.name)
    for frame, berths in lost.items():
        miss = describe(positions.worst[frame].distance, "length", plan.unit)
        figure = figure_name(positions.worst[frame])
        yield f"where other track fouls {_listed('berth', berths)}, since {figure} misses closing by {miss}"


def _listed(kind: str, names: Sequence[str]) -> str:
    """Return some names of a kind, the first of them where they are many."""
    return f"{kind}{'s' if names[1:] else ''} {some(names, 3)}"


def _route_answer(
    layout: Layout, profile: RouteProfile, trains: Mapping[str, Train], trials: RandomTrials
) -> RouteAnswer:
    lengths = dict.fromkeys(train.length for train in trains.values())
    under = tuple(UnderTrain(length, *profile.ruling_under_train(length)) for length in lengths)
    loads = tuple(
        load
        for power in layout.plan.powers
        for car in layout.plan.cars
        for load in layout.loads(profile, power, car, layout.rails)
    )
    return RouteAnswer(profile, profile.ruling(), under, loads, RouteTrust(layout.plan, profile, trials))
