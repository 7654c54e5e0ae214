"""The answer to the main job: for a person the first screen and the sections named; loads and trains as CSV."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import NamedTuple

from gradehaul.errors import clean
from gradehaul.haulage.answers.check import CheckAnswer, RangedLoad, RouteAnswer
from gradehaul.haulage.answers.judged import TrainAnswer
from gradehaul.haulage.resistance import lowest
from gradehaul.plan.records import Car
from gradehaul.show import CHECK
from gradehaul.show.base.page import FULL, GAP, Page, Piece, words_of
from gradehaul.show.base.spreadsheet import table
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.first_screen import add_first_screen
from gradehaul.show.check.outcome_words import fouled_words
from gradehaul.show.check.route_text import add_limits, add_loads
from gradehaul.show.check.sources import CURVE_MODELS, add_sources, figure_value
from gradehaul.show.check.trains_text import add_trains, add_ways_over
from gradehaul.treatment.ways_over import WaysOver

_CLEAR_LENGTH = {"stated": "plan", "map": "map", "whole": "track"}
"""How the clear length of a berth is known."""

_CAUTION = (
    "Before any film goes on a rail of the layout: wipe it on a spare length of track, measure the pull there, and put "
    "the readings in the plan. A film does not come off; a dry rag does not lift it."
)


def check_page(
    answer: CheckAnswer, units: UnitFormat, ways: Sequence[WaysOver] = (), more: Collection[str] = ()
) -> Page:
    """Return the first screen of the answer, and below it the sections that are named in `more`."""
    page = Page()
    add_first_screen(page, answer, ways, units)
    for section in CHECK:
        if section in more:
            _ADD[section](page, answer, ways, units)
    return page


def basis_lines(answer: CheckAnswer, units: UnitFormat) -> Iterator[str]:
    """Yield in a sentence each the scale, and what curves come to."""
    plan, scale = answer.plan, answer.plan.scale
    named = f"{scale.name}, " if scale.name and not scale.name.startswith("1:") else ""
    yield (
        f"Scale {named}1:{scale.ratio:.4g}, gauge {1000 * scale.gauge:.4g} mm; {plan.practice} practice for all that "
        "is left out."
    )
    bends = plan.curve_resistance
    more = "" if bends.starting is None else f"; {bends.starting:g} times that when starting"
    more += f"; coupler tension with friction {bends.tension:g}" if bends.tension else ""
    coefficient = units.small(answer.coefficient)
    yield f"Curve coefficient {coefficient} (grade x radius), from {CURVE_MODELS[bends.model]}{more}."
    tightest = max((abs(track.curvature) for track in plan.tracks.values()), default=0.0)
    if tightest > 0:
        radius, adds = units.length(1 / tightest), units.grade(answer.coefficient * tightest)
        yield f"The tightest curve, radius {radius}, adds as much as a grade of {adds}."


def _add_between(page: Page, answer: CheckAnswer, units: UnitFormat) -> None:
    if not answer.between:
        return
    page.heading("Routes between places")
    page.line("No route is named: here are those with the lowest and highest ruling grade.", indent=2)
    rows = []
    for between in answer.between:
        count = f"{between.count}" if between.exact else f"at least {between.count}"
        bound = f"{'' if between.exact else 'at most '}{units.grade(between.highest_bound)}"
        rows.append([between.origin, between.destination, count, bound])
    page.table(["from", "to", "routes>", "highest ruling grade>"], rows)


def add_berths(page: Page, answer: CheckAnswer, units: UnitFormat) -> None:
    """Add the berths: how long, how steep, what fits, and whether parked cars stay put."""
    page.heading("Berths")
    if not answer.berths:
        page.line("The plan names no berth: a siding, staging track or platform where a train waits.", indent=2)
        return
    heads = ["berth", "clear>", "by", "steepest>"]
    rows: list[list[Piece]] = [
        [each.name, units.length(each.clear_length), _CLEAR_LENGTH[each.basis], units.grade(each.steepest)]
        for each in answer.berths
    ]
    fits: dict[str, list[Piece]] = {
        car: [
            str(each.cars_fit[car]) if each.cars_stay[car] else (f"{each.cars_fit[car]} ROLL", "bold red")
            for each in answer.berths
        ]
        for car in answer.plan.cars
    }
    for group in _side_by_side([heads, *rows], fits):
        table = [[*row, *cells] for row, *cells in zip(rows, *(fits[car] for car in group), strict=True)]
        page.table([*heads, *(f"{car}>" for car in group)], table)
        rows, heads = [row[:1] for row in rows], heads[:1]
    page.line(
        "Clear length: by the plan, by the map clear of other tracks, or all of the track. Below each car: how many "
        "fit without a locomotive. ROLL: parked there they roll away.",
        indent=2,
    )
    for berth in answer.berths:
        if berth.fouled_by:
            page.line(f"{berth.name} {fouled_words(berth.fouled_by, answer.plan.scale, units)}.", indent=2)
    rolling = [(berth, car, roll) for berth in answer.berths for car, rolls in berth.rolls.items() for roll in rolls]
    for berth, car, roll in rolling:
        run = units.length(roll.length)
        stops = f"to the end of track at {roll.end}" if roll.end is not None else f"and stops on {roll.track}"
        why = _why_it_rolls(answer.plan.cars[car], berth.steepest, units)
        page.line(f"{car} parked in {berth.name} would roll toward {roll.toward}: {run}, {stops}; {why}", indent=2)
    if rolling:
        page.line(
            "Each distance is that of a single car from the worst place, at its lowest rolling resistance, over the "
            "track that lets it run farthest. A film on the rail makes no difference. Block the wheels, or park cars "
            "elsewhere.",
            indent=2,
        )


def _side_by_side(rows: Sequence[Sequence[Piece]], columns: Mapping[str, Sequence[Piece]]) -> Iterator[list[str]]:
    """Yield the heads of columns that have room together beside rows, and those after them beside their first cells."""
    room = FULL - 2 - sum(max(len(words_of(cell)) for cell in column) + GAP for column in zip(*rows, strict=True))
    group: list[str] = []
    for head, cells in columns.items():
        wide = max(len(head), *(len(words_of(cell)) for cell in cells)) + GAP
        if group and wide > room:
            yield group
            group, room = [], FULL - 2 - max(len(words_of(row[0])) for row in rows)
        group.append(head)
        room -= wide
    yield group


def _why_it_rolls(car: Car, steepest: float, units: UnitFormat) -> str:
    """Return on what grade a car may roll once it has been moved, and on what grade one that stands still starts."""
    rolls, starts = units.grade(lowest(car.rolling, car.rolling_drop)), units.grade(car.starting.value)
    basis = f"{car.starting_basis}, " if car.starting_basis in ("assumed", "measured") else ""
    if steepest > car.starting.value:
        return (
            f"it starts by itself on more than {starts} ({basis}on average), and may keep rolling on more than {rolls}"
        )
    return (
        f"parked, it starts on about {starts} ({basis}on average); once moved it may keep rolling on more than {rolls}"
    )


def _add_figures(page: Page, answer: CheckAnswer, units: UnitFormat) -> None:
    page.heading("Figures")
    page.line(clean(answer.plan.title), f" ({clean(answer.plan.file)})", indent=2)
    for line in basis_lines(answer, units):
        page.line(line, indent=2)
    add_unsure_figures(page, answer, units)


def add_unsure_figures(page: Page, answer: CheckAnswer, units: UnitFormat) -> None:
    """Add the figures that nobody measured or stated."""
    unsure = [figure for figure in answer.figures if figure.basis in ("assumed", "scaled")]
    if not unsure:
        return
    page.line("Figures that nobody measured or stated:", indent=2)
    rows = [[figure.subject, figure.name, figure_value(figure, units), figure.basis] for figure in unsure]
    page.table(["of", "figure", "value>", "basis"], rows)


def _add_notes(page: Page, answer: CheckAnswer) -> None:
    page.heading("Notes")
    for note in answer.notes:
        page.line(str(note), indent=2)
    page.line(
        "Only places that fail clearance are counted here; gradehaul clearance lists what to look at, too.", indent=2
    )
    if answer.plan.films:
        page.heading("Caution")
        page.line(_CAUTION, indent=2)


def _add_ways(page: Page, answer: CheckAnswer, ways: Sequence[WaysOver], units: UnitFormat) -> None:
    add_ways_over(page, ways, units)
    _add_between(page, answer, units)


_ADD: dict[str, Callable[[Page, CheckAnswer, Sequence[WaysOver], UnitFormat], None]] = {
    "trains": lambda page, answer, _, units: add_trains(page, answer, units),
    "loads": lambda page, answer, _, units: add_loads(page, answer, units),
    "limits": lambda page, answer, _, units: add_limits(page, answer, units),
    "berths": lambda page, answer, _, units: add_berths(page, answer, units),
    "ways": _add_ways,
    "figures": lambda page, answer, _, units: _add_figures(page, answer, units),
    "sources": lambda page, answer, _, units: add_sources(page, answer, units),
    "notes": lambda page, answer, *_: _add_notes(page, answer),
}
"""What each section adds to the page."""


class _Load(NamedTuple):
    on: RouteAnswer
    ranged: RangedLoad


class _Train(NamedTuple):
    train: TrainAnswer
    judged: bool
    misfits: tuple[str, ...]


_LOADS = (
    "route=on.route.name from=on.route.origin to=on.route.destination on.profile.length ruling=on.ruling.effective "
    "ranged.load.power ranged.load.car ranged.load.rail told_cars=ranged.load.to_run rated_cars=ranged.load.rated "
    "limit_cars=ranged.load.limit fits_cars=ranged.load.fits ranged.load.fits_by ranged.load.basis "
    "ranged.load.slipping_basis binds_test=ranged.load.binds.test binds_cars=ranged.load.binds.cars "
    "binds_track=ranged.load.binds.track binds_at=ranged.load.binds.at ranged.load.binds.demand ranged.load.binds.pull "
    "ranged.load.engine ranged.spread.rated_low ranged.spread.rated_high ranged.spread.limit_low "
    "ranged.spread.limit_high told_low=ranged.low told_high=ranged.high ranged.load.holds_back"
)
_TRAINS = (
    "train=train.name train.route train.rail judged train.outcome verdict=train.verdict.climb train.verdict.holds_back "
    "train.risk train.trust.stall_probability train.verdict.margin train.verdict.at train.verdict.track "
    "train.verdict.runs_away_at misfits train.verdict.spare train.verdict.spare_at train.verdict.spare_track "
    "train.verdict.spare_by"
)


def check_csv(answer: CheckAnswer, units: UnitFormat | None) -> str:
    """Return the loads as CSV (RFC 4180): a row for each route, power, car and rail condition; 999 means at least."""
    rows = (_Load(route, load) for route in answer.routes for load in route.ranged_loads)
    return table(_Load, _LOADS, rows, units)


def trains_csv(answer: CheckAnswer, units: UnitFormat | None) -> str:
    """Return the named trains as CSV (RFC 4180): a row for each train and rail condition."""
    rows = (
        _Train(each, each.rail in answer.judged_rails, tuple(misfit.place for misfit in each.misfits))
        for each in answer.trains
    )
    return table(_Train, _TRAINS, rows, units)
