"""What a route needs, the longest trains over it and what limits them, for a person."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

from gradehaul.haulage.answers.check import CheckAnswer, RouteAnswer
from gradehaul.haulage.longest import Load
from gradehaul.haulage.profile import Ruling
from gradehaul.haulage.verdict import Test
from gradehaul.network.route import Route
from gradehaul.plan.records import Plan
from gradehaul.plan.resolve.stock import MOST_CARS
from gradehaul.show.base.labels import apart, basis_words, cars_words, listed, rail_name
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.unit_format import UnitFormat

_HOW_LOADED = (
    "To run: the most cars that get through even if the wheels slip, can restart anywhere, and fit. Limit: the most "
    "that get through as long as the wheels never slip, whether or not they fit. Neither runs away. 9 of 10 random "
    "trials of every uncertain figure lie in the range in parentheses; for cars to run, unlike risk, it counts a "
    "marginal train as failing."
)
COUNTED = f"{cars_words(MOST_CARS)}: at least so many cars; no more are counted."
"""What the most cars that are counted mean."""

NO_GRADE = 5e-7
"""A grade of less is none."""
DOWNHILL = "downhill or level all the way"
"""What is said in the place of the ruling grade of a route on which a train climbs nowhere."""

Shown = dict[str, list[tuple[Piece, ...]]]
"""The rows that each route before was shown with."""

_FAILS: dict[Test, str] = {"slip": "slips", "restart": "no restart", "stand": "stalls", "hold": "runs away"}
"""What a train does that fails a test, in a table."""

_HOW_LIMITED = (
    "Each row is the shortest train that fails on these rails, in cars. Slips: its wheels slip and do not recover. "
    "No restart: it cannot start again after a stop. Places are the train's head, from the start of its route."
)


def add_loads(page: Page, answer: CheckAnswer, units: UnitFormat) -> None:
    """Add each route: its length and climb, its ruling grade at a point and under each named train, and its loads."""
    page.heading("Routes and longest trains")
    if any(route.loads for route in answer.routes):
        highest = (max(each.rated_high, each.limit_high) for route in answer.routes for each in route.spreads)
        page.line(how_loaded(map(cars_words, highest)), indent=2)
    before: Shown = {}
    for route in answer.routes:
        page.line()
        page.line("Route ", (route.route.name, "bold"), f": {ends(route.route)}")
        for fact in route_facts(answer, route, units):
            page.line(fact, indent=2)
        rows = _grouped(route, partial(_load, route))
        if rows and not _as_before(page, "Longest trains", route, rows, before, indent=2):
            page.table(["  rail", "to run", "limit", "pull"], rows)


def how_loaded(shown: Iterable[str]) -> str:
    """Return how loads are read, given them as they are shown."""
    return f"{_HOW_LOADED} {COUNTED}" if any(cars_words(MOST_CARS) in each for each in shown) else _HOW_LOADED


def add_limits(page: Page, answer: CheckAnswer, units: UnitFormat) -> None:
    """Add what limits each load: where the first train fails that is longer, and how."""
    page.heading("What limits each load")
    if any(route.loads for route in answer.routes):
        page.line(_HOW_LIMITED, indent=2)
    before: Shown = {}
    for route in answer.routes:
        if not route.loads:
            continue
        rows = _grouped(route, lambda load: _bound(load, units))
        page.line()
        if not _as_before(page, f"Route {route.route.name}", route, rows, before):
            page.line("Route ", (route.route.name, "bold"))
            page.table(["  rail", "cars>", "why", "place", "needs>", "has>"], rows)


def ends(route: Route) -> str:
    """Return where a route begins and ends."""
    return f"round from {apart(route.origin)}" if route.lap else f"{apart(route.origin)} to {apart(route.destination)}"


def ruling_words(ruling: Ruling, units: UnitFormat) -> str:
    """Return a ruling grade with the parts that grade and curve have in it."""
    effective, grade, curve = (units.grade(value) for value in (ruling.effective, ruling.grade, ruling.curve))
    if abs(ruling.curve) < NO_GRADE or abs(ruling.grade) < NO_GRADE:
        return f"{effective} = {'grade' if abs(ruling.curve) < NO_GRADE else 'curve'} alone"
    return f"{effective} = grade {grade} + curve {curve}"


def ruling_sentence(ruling: Ruling, units: UnitFormat, where: str = "") -> str:
    """Return the ruling grade in a sentence, with its track and where on that; none where nothing climbs."""
    if ruling.effective < NO_GRADE:
        return f"Ruling grade: none, {DOWNHILL}."
    return f"Ruling grade {ruling_words(ruling, units)}, on {apart(ruling.track)}{where}."


def route_facts(answer: CheckAnswer, route: RouteAnswer, units: UnitFormat) -> Iterator[str]:
    """Yield in a sentence each how long a route is and what it climbs, where it reverses, and its ruling grades."""
    profile, ruling = route.profile, route.ruling
    length, climb, fall = (units.length(value) for value in (profile.length, profile.climb, profile.fall))
    yield f"Length {length}, climbs {climb}, falls {fall}."
    for number, reversal in enumerate(route.reversals, 1):
        tail, turned = reversal.tail, number % 2 == 1
        where = f"Reverses at {units.length(reversal.at)}, in {apart(tail.name)}, {units.length(tail.length)} long"
        if tail.berth is not None and not tail.within:
            clear = next(berth.clear_length for berth in answer.berths if berth.name == tail.berth)
            where += f", {units.length(clear)} of it the berth"
        if tail.round_room is None:
            yield f"{where}, and continues with its {'rear' if turned else 'front'} end leading."
        else:
            room = f"the locomotives, up to {units.length(tail.round_room)} long, run around it {apart(tail.place)}"
            order = "in reverse order" if turned else "in their first order"
            yield f"{where}; {room}, and lead on, the cars {order}."
    if route.route.legs:
        yield "Leading, trailing: where the locomotives are as the train starts."
    start, stop = units.length(ruling.start), units.length(ruling.stop)
    where = f"at {start}" if start == stop else f"from {start} to {stop}"
    yield ruling_sentence(ruling, units, f", {where}")
    if ruling.effective < NO_GRADE:
        return
    running = {train.length: train.name for train in answer.trains if train.route == route.route.name}
    for under in route.under_trains:
        if under.train_length in running or not running:
            named = f"{apart(running[under.train_length])}, " if running else "a train "
            yield (
                f"Under {named}{units.length(under.train_length)} long: {units.grade(under.effective)}, with its "
                f"head at {units.length(under.at)}, on {apart(profile.track_at(under.at))}."
            )


def load_rows(answer: CheckAnswer, route: RouteAnswer) -> list[list[Piece]]:
    """Return the longest trains over a route, a row for each power and car: power, car, and each rail condition."""
    rows: dict[tuple[str, str], dict[str, Piece]] = {}
    for load in route.loads:
        words: Piece = f"{cars_words(load.to_run)} / {cars_words(load.limit)} {_basis(load)}"
        rows.setdefault((power_words(load, route), load.car), {})[load.rail] = words if load.holds_back else _RUNS_AWAY
    return [[power, car, *(row[rail] for rail in answer.rails)] for (power, car), row in rows.items()]


def _grouped(route: RouteAnswer, rows_of: Callable[[Load], list[tuple[Piece, ...]]]) -> list[tuple[Piece, ...]]:
    """Return rows on the loads of a route below their power and car, one for all rails where it is the same."""
    groups: dict[str, dict[tuple[Piece, ...], list[str]]] = {}
    for load in route.loads:
        rows = groups.setdefault(f"{power_words(load, route)}, {load.car}", {})
        for row in rows_of(load):
            rows.setdefault(row, []).append(rail_name(load.rail))
    return [
        row
        for name, rows in groups.items()
        for row in [(name,), *((f"  {', '.join(rails)}", *cells) for cells, rails in rows.items())]
    ]


def _as_before(
    page: Page, what: str, route: RouteAnswer, rows: list[tuple[Piece, ...]], before: Shown, *, indent: int = 0
) -> bool:
    """Refer to a route before that was shown with the same rows, and return whether there is one."""
    same = next((name for name, shown in before.items() if shown == rows), None)
    before[route.route.name] = rows
    if same is not None:
        page.line(f"{what}: as on route {same}", indent=indent)
    return same is not None


def power_words(load: Load, route: RouteAnswer) -> str:
    """Return a power, and over reversals where it stands as the train starts."""
    return f"{load.power}, {load.engine}" if route.route.legs else load.power


_RUNS_AWAY = ("RUNS AWAY", "bold red")


def _load(route: RouteAnswer, load: Load) -> list[tuple[Piece, ...]]:
    """Return the longest train to run and the limit, each with its 90 % range, and where the pull comes from."""
    if not load.holds_back:
        return [(_RUNS_AWAY, "", "")]
    spread = route.trials.spread(load)
    low, high = cars_words(spread.limit_low), cars_words(spread.limit_high)
    limit = beside(cars_words(load.limit), "" if low == high else f"{low}-{high}", "")
    return [(judged_words(route, load), limit, _basis(load))]


def _basis(load: Load) -> str:
    return basis_words(load.basis, load.slipping_basis)


def _bound(load: Load, units: UnitFormat) -> list[tuple[Piece, ...]]:
    """Return what limits a load: the place that is full, where there is one, and the pull."""
    rows: list[tuple[Piece, ...]] = []
    if load.fits < load.rated:
        rows.append((str(load.fits + 1), "too long", f"for {load.fits_by}", "", ""))
    binds = load.binds
    if binds is None:
        return rows or [("", "–", "nothing limits it", "", "")]
    needs, has = units.forces_apart(binds.demand, binds.pull)
    place = f"{binds.track}, {units.length(binds.at)}"
    rows.append((str(binds.cars), _FAILS[binds.test], place, needs, has))
    return rows


# A longest train


_Row = TypeVar("_Row")


def rows_by_engine(loads: Iterable[Load], row: Callable[[Mapping[str, list[Load]]], _Row]) -> dict[str, _Row]:
    """Return a row of the loads of a power by car, for each place of the power at the start, or under "" one for all.

    Only over reversals it may matter whether a power leads or trails as the train starts.
    """
    found: dict[str, dict[str, list[Load]]] = {}
    for load in loads:
        found.setdefault(load.engine, {}).setdefault(load.car, []).append(load)
    rows = {engine: row(by_car) for engine, by_car in found.items()}
    return {"": next(iter(rows.values()))} if len(set(rows.values())) == 1 else rows


@dataclass(frozen=True, slots=True)
class CardCell:
    """The longest train on the judged rails: cars, their 90 % range, and a mark where length or a descent limits."""

    cars: str
    range: str = ""
    mark: str = ""


MARKS = {
    "berth": "Berth: limited by the length of a siding, staging track or platform.",
    "tail": "Tail: limited by the length of the track in which a train reverses.",
    "lap": "Lap: limited by the length of the lap.",
    "route": "Route: limited by the length of the route and of the track behind its start.",
    "loop": "Loop: limited by the length of the loop.",
    "turntable": "Turntable: limited by the length of its bridge.",
    "run-round": "Run-round: limited by the length of the locomotives that run around.",
    "downhill": "Downhill: one more car and it runs away, pushing the locomotive.",
}
"""What marks behind a number of cars mean."""


def standing_out(answer: CheckAnswer, power: str | None = None) -> Iterator[str]:
    """Yield in a sentence each in which berths the longest trains of a power, or of any, reverse without fitting them.

    Such a train may be longer than one that must stand in the berth at the end of its route.
    """
    clear = {berth.name: berth.clear_length for berth in answer.berths}
    found: dict[str, dict[str, None]] = {}
    for route in answer.routes:
        loads = [load for load in route.loads if load.rail in answer.judged_rails and power in (None, load.power)]
        longest = max((_length(answer.plan, load) for load in loads), default=0.0)
        for tail in route.route.tails:
            if tail.berth is not None and not tail.within and longest > clear[tail.berth] * (1 + 1e-9):
                found.setdefault(tail.berth, {})[route.route.name] = None
    for berth, routes in found.items():
        on = listed([apart(route) for route in routes])
        out = f'stand partly out of berth "{apart(berth)}" as they reverse'
        yield f"On {on} the longest trains {out}; those that begin or end there must fit it."


def _length(plan: Plan, load: Load) -> float:
    locos = sum(plan.locos[name].length for name in plan.powers[load.power].locos)
    return locos + load.to_run * plan.cars[load.car].length


def load_cell(route: RouteAnswer, load: Load) -> CardCell:
    """Return the longest train with its 90 % range, else with the place that bounds it, and whether a descent does."""
    if not load.holds_back:
        return CardCell("RUNS AWAY")
    mark, full = "downhill" if load.binds is not None and load.binds.test == "hold" else "", False
    if load.fits <= load.rated:
        mark, full = load.fits_by.removeprefix("the ").partition(" ")[0], route.trials.sure(load, load.fits)
    low, high = ("", "") if full else map(cars_words, route.trials.range_to_run(load))
    between = "" if low == high else f"{low}-{high}"
    return CardCell(cars_words(load.to_run), between, mark if mark == "downhill" or not between else "")


def judged_words(route: RouteAnswer, load: Load) -> str:
    """Return a load as the first screen shows it."""
    cell = load_cell(route, load)
    return beside(cell.cars, cell.range, cell.mark)


def beside(cars: str, between: str, mark: str) -> str:
    """Return a number of cars with its range and its mark, where it has them."""
    return " ".join(filter(None, (cars, between and f"({between})", mark)))


def worst_load(loads: Iterable[Load]) -> Load:
    """Return the least of some loads on several rail conditions: the worse age counts."""
    return min(loads, key=lambda load: (load.holds_back, load.to_run, load.rated, load.limit))
