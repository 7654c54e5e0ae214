"""The first screen of check: the verdict, each train, each hill with its longest trains, and what to do."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain

from gradehaul.errors import clean
from gradehaul.haulage.answers.check import CheckAnswer, RouteAnswer
from gradehaul.haulage.answers.judged import Misfit, TrainAnswer, worst_first, worst_of_each
from gradehaul.haulage.longest import Load
from gradehaul.haulage.verdict import FAILS
from gradehaul.plan.rail_condition import PLANNED
from gradehaul.plan.records import Note, Plan
from gradehaul.plan.resolve.stock import MOST_CARS
from gradehaul.show import CHECK
from gradehaul.show.base.labels import FILM_CAUTION, cars_words, listed
from gradehaul.show.base.page import FULL, GAP, Page, Piece, shortened, words_of
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import (
    DOES,
    at_age,
    conditions,
    film_everywhere,
    film_headlines,
    fouled_words,
    headline,
    judged_on,
    marginal_words,
    misfit_words,
    outcome_cells,
    spread_words,
)
from gradehaul.show.check.route_text import (
    COUNTED,
    DOWNHILL,
    MARKS,
    NO_GRADE,
    beside,
    judged_words,
    load_cell,
    rows_by_engine,
    ruling_words,
    standing_out,
    worst_load,
)
from gradehaul.show.check.trains_text import best_way
from gradehaul.treatment.ways_over import WaysOver

_NAME, _LEAST_PLACE = 18, 8
"""Columns of a name at the most, and of a place that is worth showing."""

_LIKELY = 0.1
"""A marginal train that stalls with this chance or more is said to have little pull left even while its wheels grip."""

_DOUBTS, _TRAINS, _WAYS = 3, 30, 6
"""Doubts, trains and ways over the hill shown at the most."""

_Rows = tuple[tuple[Piece, ...], ...]

_GROUPS, _ROWS = 8, 24
"""Groups of routes with loads alike shown at the most, and their lines in all."""


def add_first_screen(page: Page, answer: CheckAnswer, ways: Sequence[WaysOver], units: UnitFormat) -> None:
    """Add the first screen: lines of at most 80 columns where at most two conditions are shown."""
    _add_title(page, answer)
    add_doubts(page, answer.doubts)
    page.line()
    for sentence in _as_one(list(filter(None, (headline(answer), *film_headlines(answer))))):
        page.line(*sentence)
    if not set(PLANNED).isdisjoint(answer.judged_rails) and any(each.profile.film_spreads for each in answer.routes):
        page.line(spread_words(answer.plan, units))
    if answer.clearance_fails != 0:
        words = clearance_words(answer.clearance_fails)
        page.line((words, "bold red"), f": gradehaul clearance {clean(answer.plan.file)}")
    _add_trains(page, answer, units)
    _add_fixes(page, answer, ways, units)
    _add_loads(page, answer, units)
    _add_last(page, answer)


def _as_one(sentences: list[list[Piece]]) -> list[list[Piece]]:
    """Return the headlines, two that say the same of trains that fail as one that begins with both conditions."""
    if len(sentences) != 2:
        return sentences
    (on, *does), (with_film, *also) = sentences
    if does != also or not (isinstance(on, str) and isinstance(with_film, str)):
        return sentences
    return [[f"{on.rstrip()} and {with_film[:1].lower()}{with_film[1:]}", *does]]


def _add_title(page: Page, answer: CheckAnswer) -> None:
    scale = answer.plan.scale
    scale_words = " ".join(dict.fromkeys(filter(None, [scale.name, f"1:{scale.ratio:.4g}"])))
    right = f"{scale_words}, {answer.plan.practice} practice"
    title = shortened(answer.plan.title, FULL - len(right) - GAP)
    page.line((title, "bold"), " " * max(GAP, FULL - len(title) - len(right)), right)


def clearance_words(count: int | None) -> str:
    """Return how many places fail the clearances, or None where not all could be checked."""
    if count is None:
        return "Clearance is NOT CHECKED, at least in part"
    return f"{count} place{' fails' if count == 1 else 's fail'} clearance"


def add_doubts(page: Page, doubts: Sequence[Note], rest: str = "--more notes") -> None:
    """Add what can make the whole answer wrong."""
    for doubt in doubts[:_DOUBTS]:
        page.line(("Look at this first", "yellow"), f": {doubt}")
    more = len(doubts) - _DOUBTS
    if more > 0:
        page.line(f"{more} more like this: {rest}")


# Trains


def shown_conditions(answer: CheckAnswer) -> dict[str, dict[str, TrainAnswer]]:
    """Return the judged conditions and each film everywhere, with each train at the worse age of the film."""
    judged = conditions(answer.judged_rails, answer.hours)
    found = {name: worst_of_each(answer.on(rails)) for name, rails in judged.items()}
    found |= film_everywhere(answer)
    return {name: {each.name: each for each in trains} for name, trains in found.items()}


def worst_condition(shown_on: Mapping[str, Mapping[str, TrainAnswer]], name: str) -> TrainAnswer:
    """Return a train on the worst for it of the conditions shown: its place stands at the end of the train's row."""
    return min((trains[name] for trains in shown_on.values() if name in trains), key=lambda train: train.rank)


def place_words(train: TrainAnswer, units: UnitFormat) -> str:
    """Return the place where a train has least to spare."""
    return f"{train.verdict.spare_track}, {units.length(train.verdict.spare_at)}"


def _add_trains(page: Page, answer: CheckAnswer, units: UnitFormat) -> None:
    shown_on = shown_conditions(answer)
    names = [name for name in answer.plan.trains if any(name in trains for trains in shown_on.values())]
    if not names:
        if not answer.plan.trains:
            page.line("To judge a train, write [train.NAME] with its route and consist.")
        return
    page.line()
    first = next(iter(shown_on.values()))
    worst = [each.name for each in worst_first(first[name] for name in names)]
    several = list(shown_on.items())
    for begin in range(0, len(several), 2):
        _add_table(page, dict(several[begin : begin + 2]), worst[:_TRAINS], units)
    if len(worst) > _TRAINS:
        page.line(f"{len(worst) - _TRAINS} more trains, none of them worse: --more trains")
    _add_marginal(page, answer, shown_on, units)
    for words in between_readings(answer):
        page.line(words)


_BETWEEN = 3
"""Locomotives that are named where the age of a film lies between two that were read."""


def between_readings(answer: CheckAnswer) -> Iterator[str]:
    """Yield which locomotives have the pull of an age read before or after the one that is asked for."""
    found: dict[tuple[float, float, float], list[str]] = {}
    for loco in answer.plan.locos.values():
        for source in loco.worked_out.values():
            if source.between is not None:
                found.setdefault(source.between, []).append(loco.name)
    for (before, after, counts), names in found.items():
        locos = listed([clean(name) for name in dict.fromkeys(names)], _BETWEEN)
        age = at_age(answer.hours).strip().capitalize()
        yield f"{age}, between readings at {before:g} h and {after:g} h, the lower counts for {locos}: {counts:g} h."


def _add_marginal(
    page: Page, answer: CheckAnswer, shown_on: Mapping[str, Mapping[str, TrainAnswer]], units: UnitFormat
) -> None:
    """Add by which rule a marginal train is so: the risk, that of stalling or running away, does not say it.

    Of those on the first condition that has any it is the one that is likeliest to stall, with how little is left.
    """
    on_each = [[train for train in trains.values() if train.outcome == "marginal"] for trains in shown_on.values()]
    marginal = next(filter(None, on_each), [])
    if not marginal:
        return
    likely = {train.name: train.trust.stall_probability for train in marginal}
    first = max(marginal, key=lambda train: likely[train.name] if likely[train.name] >= _LIKELY else 0.0)
    more = len({train.name for trains in on_each for train in trains}) - 1
    profile = next(route.profile for route in answer.routes if route.route.name == first.route)
    left = f"; gripping wheels have only {units.force(first.verdict.margin)} left"
    why = f"{marginal_words(first.verdict, profile)}{left if likely[first.name] >= _LIKELY else ''}"
    last = f"; {more} more: --more trains" if more else ""
    page.line(f"{first.name}: marginal, since {why}{last}.")


def _add_table(
    page: Page, shown_on: Mapping[str, Mapping[str, TrainAnswer]], names: Sequence[str], units: UnitFormat
) -> None:
    """Add a row for each train with two conditions side by side, or below one another where a line has no room."""
    rows: list[list[Piece]] = [["train"]]
    rows += [[shortened(name, _NAME)] for name in names]
    over = ""
    for condition, trains in shown_on.items():
        over = f"{over:{_wide(rows)}}{condition}"
        rows[0] += ["outcome", "risk", "to spare"]
        for row, name in zip(rows[1:], names, strict=True):
            row.extend(outcome_cells(trains[name], units))
    room = FULL - _wide(rows)
    if room < -GAP and len(shown_on) > 1:
        for condition, trains in shown_on.items():
            _add_table(page, {condition: trains}, names, units)
        return
    if room >= _LEAST_PLACE:
        rows[0].append("hardest place" if room >= len("hardest place") else "place")
        for row, name in zip(rows[1:], names, strict=True):
            train = worst_condition(shown_on, name)
            place = place_words(train, units)
            row.append(place if len(place) <= room else shortened(train.verdict.spare_track, room))
    page.line(over)
    page.table([f"{head}>" if head in ("risk", "to spare") else str(head) for head in rows[0]], rows[1:], indent=0)


def _wide(rows: Sequence[Sequence[Piece]]) -> int:
    """Return the columns that rows take, with the gap behind them."""
    return sum(max(len(words_of(cell)) for cell in column) + GAP for column in zip(*rows, strict=True))


# What to do


def _add_fixes(page: Page, answer: CheckAnswer, ways: Sequence[WaysOver], units: UnitFormat) -> None:
    failing = [each for each in worst_first(worst_of_each(answer.on(answer.judged_rails))) if each.outcome in FAILS]
    found = {(way.train, way.rail): way for way in ways}
    lines = []
    by_berth = {berth.name: fouled_words(berth.fouled_by, answer.plan.scale, units) for berth in answer.berths}
    fouled = {f'berth "{name}"': words for name, words in by_berth.items()}
    for train in failing:
        for misfit in train.misfits[:1]:
            why = f" It {fouled[misfit.place]}." if fouled.get(misfit.place) else ""
            words = misfit_words(misfit, units)
            alone = train.verdict.outcome
            also = f" On the track alone it {DOES[alone][0]}." if alone != "climbs" and not why else ""
            fits = _fewer_cars(answer.plan, train.name, train.misfits)
            lines.append(f"{train.name}: {words[:1].lower()}{words[1:]}{why}{fits}{also}")
        way = found.get((train.name, train.rail))
        if way is not None and train.outcome != "too long":
            lines.append(f"{train.name}: {best_way(way)}")
    lines += [
        f"Berth {berth.name} has no clear length: it {by_berth[berth.name] or 'is fouled all along'}."
        for berth in answer.berths
        if not berth.clear_length
    ]
    rolling = [berth.name for berth in answer.berths if not all(berth.cars_stay.values())]
    if lines or rolling:
        page.line()
    if rolling:
        page.line("Parked cars ", ("ROLL AWAY", "bold red"), f" from {listed(rolling)}: --more berths.")
    for line in lines[:_WAYS]:
        page.line(line)
    if len(lines) > _WAYS:
        page.line(f"{len(lines) - _WAYS} more like these: --more ways")


def _fewer_cars(plan: Plan, train: str, misfits: Sequence[Misfit]) -> str:
    """Return how many cars fewer of the kind it has most of let a train fit, in a sentence; nothing where none do."""
    counts = Counter[str]()
    for cut in plan.trains[train].consist:
        if cut.name in plan.cars:
            counts[cut.name] += cut.count
    for name, count in counts.most_common(1 if all(each.kind != "run-round" for each in misfits) else 0):
        over = max(each.length - each.available for each in misfits)
        fewer = math.ceil(over / plan.cars[name].length - 1e-9)
        if fewer <= count:
            return f" With {fewer} {name} fewer it fits."
    return ""


# Hills and longest trains


def _add_loads(page: Page, answer: CheckAnswer, units: UnitFormat) -> None:
    page.line()
    if not answer.routes:
        page.line(
            "No train can follow the routes of the plan: --more notes says why."
            if answer.plan.routes
            else "No train can run from one end or berth to another, so there are no routes to judge."
        )
        return
    cars, groups = _loads_that_fit(answer)
    if cars and answer.plan.powers:
        judged, age = judged_on(answer.judged_rails, answer.hours), at_age(answer.hours)
        film = f" | with film everywhere{'' if judged.endswith(age) else age}" if answer.film_rails else ""
        page.line(f"Longest trains{judged}, in cars (90 % range){film}")
    else:
        page.line("No longest trains: the plan has no locomotive or no car.")
        cars = []
    rows: list[Sequence[Piece]] = []
    shown = 0
    for loads, routes in groups[:_GROUPS]:
        if shown and len(rows) + 1 + len(loads) > _ROWS:
            break
        rows += [[_hill_words(routes, units)], *loads]
        shown += 1
    page.table(["", *(shortened(car, _NAME) for car in cars)], rows, indent=0)
    for words in _what_cells_mean(answer, [words_of(cell) for row in rows for cell in row[1:]]):
        page.line(words)
    left = sum(len(routes) for _, routes in groups[shown:])
    if left:
        page.line(f"{left} more {'routes' if left > 1 else 'route'}, no steeper: --more loads")
    if cars and len(cars) < len(answer.plan.cars):
        more = len(answer.plan.cars) - len(cars)
        page.line(f"{more} more {'kinds' if more > 1 else 'kind'} of car: --more loads")


def _what_cells_mean(answer: CheckAnswer, cells: Sequence[str]) -> Iterator[str]:
    """Yield what marks in the cells mean, and where the longest trains stand out of a berth."""
    yield from (words for mark, words in MARKS.items() if any(f" {mark}" in cell for cell in cells))
    if any(cars_words(MOST_CARS) in cell for cell in cells):
        yield COUNTED
    if cells:
        yield from standing_out(answer)


def _loads_that_fit(answer: CheckAnswer) -> tuple[list[str], list[tuple[_Rows, list[RouteAnswer]]]]:
    """Return the kinds of car that have room, those of named trains first, and their loads, the hardest hill first.

    Routes whose loads are alike go together.
    """
    used = {cut.name for train in answer.plan.trains.values() for cut in train.consist}
    first = sorted(answer.plan.cars, key=lambda car: car not in used)
    hardest = sorted(answer.routes, key=lambda each: -each.ruling.effective)
    for most in range(max(len(first), 1), 0, -1):
        cars = [car for car in answer.plan.cars if car in first[:most]]
        groups: dict[_Rows, list[RouteAnswer]] = {}
        for route in hardest:
            groups.setdefault(tuple(_load_rows(answer, route, cars)), []).append(route)
        if _wide([("", *(shortened(car, _NAME) for car in cars)), *chain(*groups)]) <= FULL + GAP:
            break
    return cars, list(groups.items())


def _load_rows(answer: CheckAnswer, route: RouteAnswer, cars: Sequence[str]) -> Iterator[tuple[Piece, ...]]:
    """Yield a row for each power, two over reversals where it matters whether it leads or trails at the start."""
    loads: dict[str, list[Load]] = {}
    for load in route.loads:
        loads.setdefault(load.power, []).append(load)

    def cells(by_car: Mapping[str, Iterable[Load]]) -> tuple[Piece, ...]:
        return tuple(_cell(answer, route, by_car[car]) for car in cars)

    for power in answer.plan.powers:
        for engine, row in rows_by_engine(loads.get(power, ()), cells).items():
            yield (f"  {shortened(power, _NAME)}{engine and f', {engine}'}", *row)


def _cell(answer: CheckAnswer, route: RouteAnswer, loads: Iterable[Load]) -> Piece:
    """Return the longest train as judged, with its range or what bounds it, and that with film everywhere."""
    by_rail = {load.rail: load for load in loads}
    words = judged_words(route, worst_load(by_rail[rail] for rail in answer.judged_rails))
    if answer.film_rails:
        cell = load_cell(route, worst_load(by_rail[rail] for rail in answer.film_rails))
        words += f" | {beside(cell.cars, cell.range, cell.mark if cell.mark == 'downhill' else '')}"
    return (words, "bold red") if "RUNS AWAY" in words else words


def _hill_words(routes: Sequence[RouteAnswer], units: UnitFormat) -> str:
    """Return the routes of a group and the ruling grade of the hardest, as full as a line has room for."""
    ruling, first = routes[0].ruling, routes[0].route.name
    others = len(routes) - 1
    all_names = ", ".join(route.route.name for route in routes)
    some = f"{first} and {others} more" if others else first
    if ruling.effective < NO_GRADE:
        return shortened(f"{all_names}: {DOWNHILL}", FULL)
    effective, whole = units.grade(ruling.effective), ruling_words(ruling, units)
    for names, grade in ((all_names, whole), (some, whole), (all_names, effective)):
        words = f"{names}: ruling {grade} on {ruling.track}"
        if len(words) <= FULL:
            return words
    return shortened(f"{shortened(some, FULL // 2)}: ruling {effective} on {ruling.track}", FULL)


# What comes last


def _add_last(page: Page, answer: CheckAnswer) -> None:
    page.line()
    guessed = sum(figure.basis in ("assumed", "scaled") for figure in answer.figures)
    parts = [f"Measure next: {answer.measure_next.what}."] if answer.measure_next is not None else []
    parts += [f"{guessed} {'figures are' if guessed > 1 else 'figure is'} assumed or scaled."] if guessed else []
    parts += (
        ["Risk is the chance of stalling or running away; to spare and ranges allow for slips and stops too."]
        if answer.trains
        else []
    )
    if parts:
        page.line(" ".join(parts))
    page.more(CHECK)
    if answer.plan.films:
        page.line(FILM_CAUTION)
