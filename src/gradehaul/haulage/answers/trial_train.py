"""A trial train: what becomes of a train that the plan does not name, and the most cars that it could have."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import ClassVar

from gradehaul.errors import PlanError, Problems, quoted
from gradehaul.haulage.answers.check_notes import doubtful_readings, level_for_want, unknown_behind
from gradehaul.haulage.answers.judged import JUDGED_KEYS, Judged, judged, misfits, worst_over
from gradehaul.haulage.answers.layout import Layout, film_rails
from gradehaul.haulage.answers.seen_runs import doubtful_runs
from gradehaul.haulage.answers.set_heights import HeldHeight, with_heights
from gradehaul.haulage.answers.unusual import stock_notes
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train, build_train
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.haulage.verdict import judge
from gradehaul.network.route import Route
from gradehaul.plan.given_heights import PutAside
from gradehaul.plan.names import look_up
from gradehaul.plan.rail_condition import AS_PLANNED, CLEAN, PLANNED
from gradehaul.plan.records import Cut, NamedRoute, NamedTrain, Note, Plan
from gradehaul.plan.resolve.stock import cut_of
from gradehaul.quantities.document import AnswerRecord
from gradehaul.quantities.si import Hours, Meters
from gradehaul.track.alignment import align

ANY = "any"
"""A vehicle of this name is each power of the plan by turns."""

EVERYWHERE = "film everywhere"
"""The condition in which all rails have a film: of several, that which is worst for the train."""

MOST = 99
"""Cars are counted up to this many; as many means "at least"."""

_SAME = 1e-9
"""Heights that differ by no more are the same, m."""
_BETWEEN = ".."
_MOST_REVERSALS = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialOutcome(Judged):
    """What becomes of the train on one condition of the rails; each figure for a film is that of its worse age."""

    KEYS: ClassVar[str] = (
        f"condition rail {JUDGED_KEYS} risk trust.stall_probability most_cars=most most_limited_by=room"
    )

    condition: str
    """``clean``, ``as planned`` or ``film everywhere``."""
    most: int | None
    """The most cars of the counted kind with which it, and it with any fewer, climbs; None where it has no cars, or
    does not climb without them."""
    room: str | None
    """The kind of place that does not hold one car more, such as a berth; None where the pull limits."""


@dataclass(frozen=True, slots=True)
class TrialTrain:
    """A train that is tried: its power where several are compared, its vehicles from head to tail, its length, m."""

    KEYS: ClassVar[str] = "power consist=vehicles length counted_car=counted most_that_fit=fits trials"

    power: str | None
    consist: tuple[Cut, ...]
    length: Meters
    counted: str | None
    """The car whose number `most` counts, the most numerous one; None for locomotives alone."""
    fits: int | None
    """Of a train that is too long, the most cars of the counted kind with which it fits; None where it fits, or fits
    with none."""
    trials: tuple[TrialOutcome, ...]

    @property
    def judged(self) -> TrialOutcome:
        """The trial as planned where the plan has rail keys, else on clean rail."""
        return next((trial for trial in self.trials if trial.condition == AS_PLANNED), self.trials[0])

    @property
    def vehicles(self) -> tuple[str, ...]:
        """Its vehicles from head to tail, each kind with its number where that is more than one."""
        return tuple(cut.name if cut.count == 1 else f"{cut.count} {cut.name}" for cut in self.consist)


@dataclass(frozen=True, slots=True)
class TrialAnswer(AnswerRecord):
    """The answer to one question: the route, and the train, or a train for every power of the plan."""

    KEYS: ClassVar[str] = (
        "route=route.name from=route.origin to=route.destination length hours railheads=heights "
        "heights_that_hold=held put_aside=aside lines_without_their_grades=freed moves film_spreads trains doubts notes"
    )

    plan: Plan
    route: Route
    length: Meters
    """Of the route, m."""
    climbs: bool
    """Whether the route climbs anywhere."""
    heights: Mapping[str, Meters]
    """Railheads that were set, m, by the names of their places."""
    hours: Hours | None
    """The age of every film; None where it is the worse of fresh and rested."""
    held: tuple[HeldHeight, ...]
    """Heights given next to those that were set: beyond them, grades are as before."""
    aside: tuple[PutAside, ...]
    """Figures of the plan that yield to them."""
    moves: bool
    """Whether they change any height along the route."""
    trains: tuple[TrialTrain, ...]
    film_spreads: bool
    """Whether wheels carry a film onto track of the route that is planned without."""
    compares: bool
    """Whether powers are compared."""
    doubts: tuple[Note, ...]
    """Readings of its vehicles that are to be taken again."""
    notes: tuple[Note, ...]
    """Notes on the route."""

    @property
    def freed(self) -> tuple[str, ...]:
        """Lines whose stated grades and rises yield to the heights that were set."""
        return tuple(dict.fromkeys(each.line for each in self.aside if each.line and each.railhead is None))


def try_train(
    plan: Plan,
    route: str,
    vehicles: Sequence[str],
    *,
    heights: Mapping[str, float] | None = None,
    hours: float | None = None,
    seed: int = 0,
) -> TrialAnswer:
    """Return what becomes of a train on a route: on clean rail, as planned, and with film everywhere.

    The route goes by its name, or two places as ``FROM..TO``, between which the shortest way with the fewest reversals
    is taken. The vehicles go from head to tail: names of locomotives, powers and cars, with a number before a name that
    counts; ``any`` stands for each power of the plan by turns; or the name of a train of the plan stands alone for all
    of its vehicles, and in the place of `route`, without vehicles, for its route too. `heights` are railheads, m, by
    their places, as `set_heights.with_heights` has them. `hours` is the age of every film, None for the worse of fresh
    and rested. What is raised is that of `gradehaul.Layout.try_train`.
    """
    written = plan
    if not vehicles and route in plan.trains:
        route, vehicles = plan.trains[route].route, (route,)
    plan, held, aside = with_heights(plan, heights or {})
    texts = _vehicles(plan, vehicles)
    named = route in plan.routes or _BETWEEN not in route
    layout = Layout(plan, hours=hours) if named else _between(plan, route, hours)
    plan = layout.plan
    profile = layout.profile(route)
    random_trials = RandomTrials(plan, layout.coefficient, seed=seed)
    compares = ANY in texts
    trains = [
        _tried(layout, profile, power, [power or text if text == ANY else text for text in texts], random_trials)
        for power in (plan.powers if compares else (None,))
    ]
    if compares:
        trains.sort(key=lambda train: train.judged.rank, reverse=True)
    stock = _named(plan, trains)
    return TrialAnswer(
        plan=plan,
        route=profile.route,
        length=profile.length,
        climbs=profile.goes_up,
        heights=dict(heights or {}),
        held=held,
        hours=hours,
        aside=aside,
        moves=bool(heights) and _moves(layout, profile.route, written),
        film_spreads=profile.film_spreads,
        trains=tuple(trains),
        compares=compares,
        doubts=(
            *doubtful_readings(plan, stock),
            *doubtful_runs(written, stock, seed=seed),
            *stock_notes(plan, stock),
            *level_for_want(layout, {profile.route.name}),
            *unknown_behind(layout, profile.route, max(train.length for train in trains)),
        ),
        notes=tuple(note for note in layout.found.notes if note.place == f'route "{route}"'),
    )


def _moves(layout: Layout, route: Route, written: Plan) -> bool:
    """Return whether track of a route has other heights than in the plan as it is written."""
    was = align(written).tracks
    off = [layout.alignment.tracks[way.track].railhead - was[way.track].railhead for way in route.ways]
    return any(max(each.greatest().value, -each.least().value) > _SAME for each in off)


def _named(plan: Plan, trains: Iterable[TrialTrain]) -> dict[str, None]:
    """Return the names of the locomotives and cars of some trains, each once."""
    names = [cut.name for train in trains for cut in train.consist]
    return dict.fromkeys(
        each for name in names for each in (plan.powers[name].locos if name in plan.powers else (name,))
    )


def _vehicles(plan: Plan, vehicles: Sequence[str]) -> list[str]:
    """Return the vehicles, of which one must be or hold a locomotive."""
    stock = {*plan.powers, *plan.cars}
    if len(vehicles) == 1 and vehicles[0] in plan.trains and vehicles[0] not in {*stock, ANY}:
        return _of_train(plan.trains[vehicles[0]])
    for count, name in pairwise(vehicles):
        if count.isdecimal() and count not in stock and name in stock:
            wrong = "a number and the name that it counts are one word, in quotes"
            raise PlanError(wrong, place="VEHICLE", found=f"{count} {name}", write=quoted(f"{count} {name}"))
    texts = [text if text == ANY and ANY not in stock else _whole(text, stock) for text in vehicles]
    if texts.count(ANY) > 1:
        raise PlanError("only one locomotive can be any", place="VEHICLE", write="a name in the place of the others")
    if not any(text == ANY or cut_of(text, stock).name in plan.powers for text in texts):
        names = " or ".join([*map(quoted, list(plan.powers)[:3]), ANY])
        raise PlanError("a train needs a locomotive", place="VEHICLE", write=names)
    return texts


def _of_train(train: NamedTrain) -> list[str]:
    """Return the vehicles of a train of the plan, which are tried without a share of its own for pulling together."""
    texts = [cut.name if cut.count == 1 else f"{cut.count} {cut.name}" for cut in train.consist]
    if train.together is not None:
        wrong = "a train with a together of its own is not tried by its name, since locomotives are tried without"
        raise PlanError(wrong, place="VEHICLE", found=quoted(train.name), write=" ".join(map(quoted, texts)))
    return texts


def _whole(text: str, stock: set[str]) -> str:
    try:
        cut_of(text, stock)
    except PlanError as error:
        raise error.at(place="VEHICLE") from error
    return text


def _tried(
    layout: Layout, profile: RouteProfile, power: str | None, texts: Sequence[str], random_trials: RandomTrials
) -> TrialTrain:
    plan = layout.plan
    stock = {*plan.powers, *plan.cars}
    consist = tuple(cut_of(text, stock) for text in texts)
    counts: dict[str, int] = {}
    for cut in consist:
        if cut.name in plan.cars:
            counts[cut.name] = counts.get(cut.name, 0) + cut.count
    counted = max(counts, key=lambda name: counts[name], default=None)
    train = _train(plan, profile.route, consist)
    fits = None
    if counted is not None and misfits(layout, profile.route, train):
        fits = _fits(layout, profile.route, consist, counted)
    trials = []
    for condition, rails in _conditions(layout).items():
        most, room = (None, None) if counted is None else _most(layout, profile, consist, counted, rails)
        own = {"condition": condition, "most": most, "room": room}
        ages = [judged(TrialOutcome, layout, profile, train, rail, random_trials, **own) for rail in rails]
        trials.append(worst_over(ages))
    return TrialTrain(power, consist, train.length, counted, fits, tuple(trials))


def _conditions(layout: Layout) -> dict[str, tuple[str, ...]]:
    """Return the rail conditions behind each condition that is shown, at each age that a film has."""
    found = {CLEAN: (CLEAN,), AS_PLANNED: tuple(rail for rail in layout.rails if rail in PLANNED)}
    found[EVERYWHERE] = film_rails(layout.rails)
    return {condition: rails for condition, rails in found.items() if rails}


def _most(
    layout: Layout, profile: RouteProfile, consist: Sequence[Cut], counted: str, rails: Sequence[str]
) -> tuple[int | None, str | None]:
    """Return the number of cars before the first with which the train does not climb; None where that is 0 cars.

    Each number is judged by itself, for a longer train may climb where a shorter one does not. Also returned is the
    kind of place that does not hold the longer train, where it is that.
    """
    plan, route = layout.plan, profile.route
    for count in range(MOST + 1):
        train = _train(plan, route, _recounted(consist, counted, count))
        room = next((misfit.kind for misfit in misfits(layout, route, train)), None)
        if room or any(judge(profile, train, rail, layout.pulls).outcome != "climbs" for rail in rails):
            return count - 1 if count else None, room
    return MOST, None


def _fits(layout: Layout, route: Route, consist: Sequence[Cut], counted: str) -> int | None:
    """Return the most cars of a kind with which a train that is too long fits; None where it does with none."""
    for count in range(sum(cut.count for cut in consist if cut.name == counted) - 1, -1, -1):
        if not misfits(layout, route, _train(layout.plan, route, _recounted(consist, counted, count))):
            return count
    return None


def _recounted(consist: Sequence[Cut], counted: str, count: int) -> list[Cut]:
    """Return a consist with a number of cars of one kind, all where the longest row of them is."""
    rows = [cut for cut in consist if cut.name == counted]
    longest = max(rows, key=lambda cut: cut.count)
    others = sum(cut.count for cut in rows) - longest.count
    found: list[Cut] = []
    for cut in consist:
        if cut.name != counted:
            found.append(cut)
        elif count >= others and cut is longest:
            found.append(Cut(counted, count - others))
        elif count >= others or cut is rows[0]:
            found.append(Cut(counted, cut.count if count >= others else count))
    return [cut for cut in found if cut.count]


def _train(plan: Plan, route: Route, consist: Iterable[Cut]) -> Train:
    return build_train(plan, NamedTrain("try", route.name, tuple(consist)))


def _between(plan: Plan, route: str, hours: float | None) -> Layout:
    """Return a layout with a route from one place to another, with the fewest reversals, beside the plan's own."""
    origin, _, destination = (part.strip() for part in route.partition(_BETWEEN))
    ends = [f"{line}.{end}" for line in plan.lines for end in ("from", "to")]
    places = dict.fromkeys([*plan.joints, *plan.berths, *ends])
    for name in (origin, destination):
        look_up(name, places, "joint, berth or line's end", file=plan.file, place="ROUTE")

    def layout(reversals: int) -> Layout:
        named = NamedRoute(route, origin, destination, reversals=reversals)
        return Layout(replace(plan, routes={**plan.routes, route: named}), hours=hours)

    try:
        return layout(0)
    except Problems:
        return layout(len(layout(_MOST_REVERSALS).route(route).tails))
