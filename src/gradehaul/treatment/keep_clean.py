"""The keep-clean plan: which track may be filmed, which stays clean for which train, and what if the film spreads."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from time import perf_counter
from typing import Literal, NamedTuple

from gradehaul.errors import DesignError, RouteError
from gradehaul.haulage.demand import PLANNED
from gradehaul.haulage.fit_trains import Misfit, misfits
from gradehaul.haulage.layout import Layout
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train, made_up
from gradehaul.haulage.verdict import Verdict, how_well, judge
from gradehaul.network.graph import Way
from gradehaul.network.route import Route
from gradehaul.plan.names import instead, quoted
from gradehaul.plan.records import Plan
from gradehaul.quantities import Kind, describe
from gradehaul.treatment.carry import CARRY, Carried, turning_places, within_carry
from gradehaul.treatment.choice import PATIENCE, choose
from gradehaul.treatment.forcing import Forced, forced_by
from gradehaul.treatment.needs import Beyond, Need, Needs, Test, needs_of
from gradehaul.treatment.units import Unit, Units, lay_units, stations, with_rails

Use = Literal["film", "has film", "keep clean", "buffer", "no effect"]
"""What is to become of a unit: filmed; left with the film it has; kept clean for a train; kept clean since wheels would
carry film from it onto rail that must stay clean; or filmed or not as one likes, as no locomotive in question runs
there."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of a keep-clean plan.

    `trains` by name, all named ones where empty; `film` by name, the first of the plan where None; `reserve` the share
    of the pull that is held back; `step` the greatest length of a stretch that is wiped or left as a whole, m, None for
    whole tracks; `carry` how far wheels carry the film, m.
    """

    trains: tuple[str, ...] = ()
    film: str | None = None
    need: Need = "climbs"
    reserve: float = 0.0
    step: float | None = None
    carry: float = CARRY


@dataclass(frozen=True, slots=True)
class Row:
    """A unit and what is to become of it, why it must stay clean, and how near clean rail it lies where it is near."""

    unit: Unit
    use: Use
    forced: Forced | None = None
    carried: Carried | None = None


@dataclass(frozen=True, slots=True)
class TrainOutcome:
    """What becomes of a train with the plan as told, and with film everywhere: each on the weaker age of the film."""

    name: str
    route: str
    planned: Verdict
    everywhere: Verdict
    misfits: tuple[Misfit, ...] = ()
    """Places of its route that do not hold it; the verdicts are on the track alone."""


@dataclass(frozen=True, slots=True)
class KeepCleanPlan:
    """Where the film may go.

    `beyond` has the trains that do not get the verdict asked for whatever is left clean; where there are any, there is
    no plan and no row. `at_risk` has rows with film already that lie within carry of rail that must stay clean.
    """

    plan: Plan
    asked: Asked
    film: str
    rows: tuple[Row, ...]
    trains: tuple[TrainOutcome, ...]
    beyond: tuple[Beyond, ...]
    gap: float

    def length(self, use: Use) -> float:
        """Return the length of all track with one use, m."""
        return sum(row.unit.length for row in self.rows if row.use == use)

    @property
    def depends_on_carry(self) -> bool:
        """Whether the plan holds only as long as the film is carried no farther than assumed."""
        uses = {row.use for row in self.rows}
        return "keep clean" in uses and bool(uses & {"film", "has film"})

    @property
    def hardest(self) -> tuple[Forced, ...]:
        """For each train and test, the place that would fail most if one more unit were filmed."""
        most: dict[tuple[str, Test], Forced] = {}
        for row in self.rows:
            if row.forced is not None:
                key = row.forced.train, row.forced.test
                if key not in most or row.forced.short > most[key].short:
                    most[key] = row.forced
        return tuple(most.values())

    @property
    def one_piece(self) -> bool:
        """Whether the carry-over is longer than all track together, so that film goes from any track to any other."""
        return self.asked.carry > sum(row.unit.length for row in self.rows)

    @property
    def at_risk(self) -> tuple[Row, ...]:
        """The rows with film already from which wheels carry it onto rail that must stay clean."""
        return tuple(row for row in self.rows if row.use == "has film" and row.carried is not None)


def keep_clean_plan(layout: Layout, asked: Asked = Asked(), *, patience: float = PATIENCE) -> KeepCleanPlan:
    """Return the weightiest set of track that may be filmed so that every train in question still gets by.

    A film is judged by the weaker of its fresh and its settled pull, since the first day must be lived through. Track
    that has film in the plan stays filmed, and is judged so, too, for the plan does not say how old it is.

    Parameters
    ----------
    layout
        The layout.
    asked
        The trains and the verdict that they need.
    patience
        Seconds from the call after which the search ends with the best plan so far, where locomotives trade film for
        one another.

    Raises
    ------
    DesignError
        A reserve or a length that makes no sense.
    RouteError
        No train; a train or a film that the plan does not have; a train whose route was not found.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> layout = Layout(read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead = { Foot = 0, Top = 0.1 }
    ... line.Yard = { from = "Far", to = "Foot", track = [{ straight = 4 }, { straight = 3 }] }
    ... line.Hill = { from = "Foot", to = "Top", track = [{ straight = 4 }] }
    ... loco.tank = { mass = "400 g", length = "200 mm", pull.clean = "80 gf" }
    ... car.ore = { mass = "100 g", length = "140 mm" }
    ... train.up = { route = "Up", consist = ["tank", "8 ore"] }
    ... route.Up = { from = "Far", to = "Top" }
    ... '''))
    >>> [(row.unit.name, row.use) for row in keep_clean_plan(layout).rows]
    [('Yard:1', 'film'), ('Yard:2', 'buffer'), ('Hill:1', 'keep clean')]
    """
    begun = perf_counter()
    _refuse(layout.plan, asked)
    film = _film(layout.plan, asked.film)
    runs = _runs(layout, asked.trains)
    units = lay_units(layout, asked.step)
    needs = {name: _needs(name, run, units, layout, asked, film) for name, run in runs.items()}
    beyond = tuple(place for found in needs.values() for each in found for place in each.beyond)
    rows: tuple[Row, ...] = ()
    gap = 0.0
    if not beyond:
        open_ = {number: unit.weight for number, unit in enumerate(units.all) if unit.film is None}
        tight = [place for found in needs.values() for each in found for place in each.tight]
        choice = choose(tight, open_, patience=max(0.0, patience - (perf_counter() - begun)))
        gap = choice.gap
        turning = turning_places(
            units,
            layout.graph,
            max(run.train.length for run in runs.values()),
            [spur for run in runs.values() for spur in _spurs(run.profile.route)],
        )
        carried = within_carry(units, layout.graph, choice.kept, asked.carry, turning)
        run_over = frozenset().union(*(each.run_over for found in needs.values() for each in found))
        forced = {
            number: forced_by(number, place, choice.kept, runs[place.train].profile)
            for number, place in choice.why.items()
        }
        rows = tuple(
            Row(unit, _use(number, unit, choice.kept, carried, run_over), forced.get(number), carried.get(number))
            for number, unit in enumerate(units.all)
        )
    has = {number: unit.film for number, unit in enumerate(units.all) if unit.film is not None}
    planned = {number for number, row in enumerate(rows) if row.use == "film"}
    others = set(range(len(units.all))) - set(has)
    trains = tuple(
        TrainOutcome(
            name,
            run.profile.route.name,
            _weaker(layout, run, units, has, film, planned),
            _weaker(layout, run, units, has, film, others),
            misfits(layout, run.profile.route, run.train),
        )
        for name, run in runs.items()
    )
    return KeepCleanPlan(layout.plan, asked, film, rows, trains, beyond, gap)


def _use(
    number: int, unit: Unit, kept: frozenset[int], carried: Mapping[int, Carried], run_over: frozenset[int]
) -> Use:
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


def _needs(name: str, run: _Run, units: Units, layout: Layout, asked: Asked, film: str) -> list[Needs]:
    """Return what a train needs of each leg of its route."""
    return [
        needs_of(
            name,
            run.train.after(leg.route.run_rounds),
            leg,
            stations(units, leg),
            units,
            layout.pulls,
            film=film,
            need=asked.need,
            reserve=asked.reserve,
            start=start,
        )
        for leg, start in run.profile.runs
    ]


def _spurs(route: Route) -> list[Way]:
    """Return the ways onto which locomotives reverse as they run round their train on a route."""
    return [spur for tail in route.tails if tail.run_round is not None for spur in tail.run_round.spurs]


def _weaker(
    layout: Layout, run: _Run, units: Units, has: Mapping[int, str], film: str, filmed: Collection[int]
) -> Verdict:
    """Return the worse of the verdicts with all film settled and with all of it fresh."""
    verdicts = [
        judge(with_rails(run.profile, units, {**has, **dict.fromkeys(filmed, film)}), run.train, planned, layout.pulls)
        for planned in PLANNED
    ]
    return min(verdicts, key=how_well)


def _runs(layout: Layout, names: Sequence[str]) -> dict[str, _Run]:
    plan = layout.plan
    if not plan.trains:
        raise RouteError("no train is named", file=plan.file, write="[train.NAME] with a route and a consist")
    for name in names:
        if name not in plan.trains:
            write = instead(name, plan.trains)
            raise RouteError("the plan has no train of this name", place="--train", found=quoted(name), write=write)
    profiles: dict[str, RouteProfile] = {}
    runs: dict[str, _Run] = {}
    for name in dict.fromkeys(names or plan.trains):
        named = plan.trains[name]
        if named.route not in profiles:
            if all(route.name != named.route for route in layout.routes):
                raise RouteError(f'train "{name}" has no route to run on', file=plan.file, found=quoted(named.route))
            profiles[named.route] = layout.profile(named.route)
        runs[name] = _Run(made_up(plan, named), profiles[named.route])
    return runs


def _film(plan: Plan, name: str | None) -> str:
    if not plan.films:
        raise RouteError("the plan has no film", file=plan.file, write="[rail.treated] with metal and tyred")
    if name is None:
        return next(iter(plan.films))
    if name not in plan.films:
        write = instead(name, plan.films)
        raise RouteError("the plan has no film of this name", place="--film", found=quoted(name), write=write)
    return name


def _refuse(plan: Plan, asked: Asked) -> None:
    length: tuple[Kind, str] = ("length", plan.unit)
    if not 0 <= asked.reserve < 1:
        raise DesignError(
            "a reserve is at least 0 and less than 100 % of the pull",
            place="--reserve",
            found=f"{100 * asked.reserve:g} %",
            write="--reserve 10%",
        )
    if asked.step is not None and asked.step < plan.scale.gauge:  # nobody wipes to a gauge
        wrong, found = "the step is too short to wipe: it is at least the gauge", describe(asked.step, *length)
        raise DesignError(wrong, place="--step", found=found, write="--step 300mm")
    if asked.carry < 0:
        found = describe(asked.carry, *length)
        raise DesignError("the film is carried 0 or farther", place="--carry", found=found, write="--carry 2m")
