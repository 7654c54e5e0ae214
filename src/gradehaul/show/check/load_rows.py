"""The loads of one locomotive or power as a card to pin up: routes down, cars across, one judged figure in each."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from gradehaul.haulage.adhesion import weakest_basis
from gradehaul.haulage.answers.check import CheckAnswer, RouteAnswer
from gradehaul.haulage.answers.check_notes import doubtful_readings
from gradehaul.haulage.answers.judged import worst_first, worst_of_each
from gradehaul.haulage.longest import Load
from gradehaul.plan.records import Power
from gradehaul.plan.resolve.stock import MOST_CARS
from gradehaul.show.base.labels import basis_words, cars_words
from gradehaul.show.check.headline import film_everywhere, judged_on, outcome_of_train


@dataclass(frozen=True, slots=True)
class CardCell:
    """The longest train on the judged rails: cars, their 90 % range, and a mark where length or a descent limits."""

    cars: str
    range: str = ""
    mark: str = ""


@dataclass(frozen=True, slots=True)
class CardRow:
    """The loads over routes on which they are alike, one for each kind of car, and where the pulls come from."""

    routes: tuple[str, ...]
    basis: str
    cells: tuple[CardCell, ...]


@dataclass(frozen=True, slots=True)
class Card:
    """A card: the power it is for, the cars across and the routes down, how its trains do, and how to read it."""

    title: str
    under: str
    cars: tuple[str, ...]
    rows: tuple[CardRow, ...]
    again: tuple[str, ...]
    """Which of its readings are doubtful, a sentence each."""
    trains: tuple[str, ...]
    """The outcome of each named train that it pulls, the worst first: as judged, then with film everywhere."""
    note: str
    """How to read it, and where the pulls come from if that is the same for all rows."""


def load_cards(answer: CheckAnswer) -> tuple[Card, ...]:
    """Return a card for every power of a plan, in the plan's order; none where it has no loads."""
    if not any(route.loads for route in answer.routes):
        return ()
    return tuple(_card(answer, power) for power in answer.plan.powers.values())


def _card(answer: CheckAnswer, power: Power) -> Card:
    rows: dict[tuple[str, tuple[CardCell, ...]], list[str]] = {}
    for route in answer.routes:
        judged: dict[tuple[str, str], Load] = {}
        for load in route.loads:
            if load.power == power.name and load.rail in answer.judged_rails:
                key = load.engine, load.car
                judged[key] = worst_load((judged.get(key, load), load))
        own: dict[str, tuple[str, tuple[CardCell, ...]]] = {}
        for engine in dict.fromkeys(engine for engine, _ in judged):
            loads = [judged[engine, car] for car in answer.plan.cars]
            basis = basis_words(
                weakest_basis([x.basis for x in loads]), weakest_basis([x.slipping_basis for x in loads])
            )
            own[engine] = basis, tuple(load_cell(route, load) for load in loads)
        alike = len(set(own.values())) == 1
        for engine, row in [*own.items()][: 1 if alike else None]:
            rows.setdefault(row, []).append(route.route.name + ("" if alike else f", engine {engine}"))
    cells = [cell for _, row in rows for cell in row]
    bases = {basis for basis, _ in rows}
    note = f"Longest trains{judged_on(answer.judged_rails, answer.hours)}, in cars (90 % range)."
    note += "".join(f" {words}" for mark, words in MARKS.items() if any(cell.mark == mark for cell in cells))
    note += f" Pulls: {'; '.join(bases)}." if len(bases) == 1 else " Beside the routes: where the pulls come from."
    locos = Counter(answer.plan.locos[name].title for name in power.locos)
    made_of = " and ".join(title if count == 1 else f"{count} x {title}" for title, count in locos.items())
    made_of = "" if made_of == power.name else made_of
    return Card(
        title=power.name,
        under=", ".join(part for part in (made_of, answer.plan.title) if part),
        cars=tuple(answer.plan.cars),
        rows=tuple(CardRow(tuple(names), basis if len(bases) > 1 else "", row) for (basis, row), names in rows.items()),
        again=tuple(f"Read again: {doubt}." for doubt in doubtful_readings(answer.plan, dict.fromkeys(power.locos))),
        trains=tuple(_trains(answer, power)),
        note=note,
    )


MARKS = {
    "berth": "Berth: where a train waits, as a siding or a platform; as many cars as it holds.",
    "tail": "Tail: the track in which a train reverses; as many cars as it holds.",
    "lap": "Lap: as many cars as it holds.",
    "route": "Route: as many cars as it holds, with the track behind its start.",
    "loop": "Loop: as many cars as it holds.",
    "run-round": "Run-round: as many locomotives as it holds.",
    "downhill": "Downhill: with one car more it runs away, pushing the locomotive.",
}
"""What marks behind a number of cars mean."""


def load_cell(route: RouteAnswer, load: Load) -> CardCell:
    """Return the longest train with its 90 % range, or with the kind of place that bounds it."""
    if not load.holds_back:
        return CardCell("RUNS AWAY")
    mark, full = "downhill" if load.binds is not None and load.binds.test == "hold" else "", False
    if load.fits <= load.rated:
        mark, full = load.fits_by.removeprefix("the ").partition(" ")[0], route.trials.sure(load, load.fits)
    if load.to_run >= MOST_CARS:
        cars, between = "length", ""
    elif full:
        cars, between = cars_words(load.to_run), ""
    else:
        low, high = map(cars_words, route.trials.range_to_run(load))
        cars, between = cars_words(load.to_run), "" if low == high else f"{low}-{high}"
    return CardCell(cars, between, mark)


def judged_words(route: RouteAnswer, load: Load) -> str:
    """Return a load with its 90 % range, else with the kind of place that bounds it, and whether a descent does."""
    cell = load_cell(route, load)
    return beside(cell.cars, cell.range, cell.mark if cell.mark == "downhill" or not cell.range else "")


def beside(cars: str, between: str, mark: str) -> str:
    """Return a number of cars with its range and its mark, where it has them."""
    return " ".join(filter(None, (cars, between and f"({between})", mark)))


def worst_load(loads: Iterable[Load]) -> Load:
    """Return the least of some loads on several rail conditions: the worse age counts."""
    return min(loads, key=lambda load: (load.holds_back, load.to_run, load.rated, load.limit))


def _trains(answer: CheckAnswer, power: Power) -> Iterator[str]:
    """Yield in a sentence how the named trains with a power do as judged, and with film everywhere."""
    trains = answer.plan.trains
    pulled = {name for name in trains if any(cut.name == power.name for cut in trains[name].consist)}
    judged = worst_of_each(answer.on(answer.judged_rails))
    for where, found in (
        (judged_on(answer.judged_rails, answer.hours).strip(), judged),
        *((f"with {film}", those) for film, those in film_everywhere(answer).items()),
    ):
        mine = worst_first(each for each in found if each.name in pulled)
        if mine:
            yield f"Trains {where}: {'; '.join(map(outcome_of_train, mine))}."
    unjudged = [name for name in answer.unjudged if name in pulled]
    if unjudged:
        yield f"NOT CHECKED: {', '.join(unjudged)}."
