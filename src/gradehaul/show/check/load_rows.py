"""The loads of one locomotive or power as a card to pin up: routes and cars down, rail conditions across."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from gradehaul.haulage.answers.check import CheckAnswer, RouteAnswer
from gradehaul.haulage.answers.judged import worst_first, worst_of_each
from gradehaul.haulage.longest import Load
from gradehaul.plan.records import Power
from gradehaul.show.base.labels import cars_told
from gradehaul.show.check.headline import film_everywhere, judged_on, outcome_of_train


@dataclass(frozen=True, slots=True)
class CardCell:
    """The load on one rail condition: the cars to run, a mark where room and not pull bounds them, and the limit."""

    rated: str
    marks: tuple[str, ...]
    limit: str

    @property
    def mark(self) -> str:
        """All marks behind the cars to run."""
        return "".join(self.marks)


@dataclass(frozen=True, slots=True)
class CardRow:
    """The loads of one kind of car, a cell for each rail condition."""

    car: str
    cells: tuple[CardCell, ...]


@dataclass(frozen=True, slots=True)
class CardBlock:
    """The loads over one route."""

    route: str
    rows: tuple[CardRow, ...]


@dataclass(frozen=True, slots=True)
class Card:
    """A card: the power it is for, the rail conditions across, the routes down, and what its marks mean."""

    title: str
    under: str
    rails: tuple[str, ...]
    blocks: tuple[CardBlock, ...]
    marks: Mapping[str, str]
    """The place that each mark stands for: one that holds no more."""
    trains: tuple[str, ...]
    """The outcome of each named train that it pulls, the worst first: as judged, then with film everywhere."""

    def note(self, blocks: Sequence[CardBlock] | None = None) -> str:
        """Return what the marks mean that stand in some blocks, in all of them if left out; empty where none does."""
        shown = self.blocks if blocks is None else blocks
        used = {mark for block in shown for row in block.rows for cell in row.cells for mark in cell.marks}
        told = ", ".join(f"{mark} {place}" for mark, place in self.marks.items() if mark in used)
        room = f"No more fit: {told}. " if told else ""
        return f"{room}{_AWAY} so many run away downhill." if _AWAY in used else room.rstrip(". ")


_MARKS = "*†‡§¶"
_AWAY = "!"
"""The mark of a train that runs away downhill."""

READ = (
    "Cars to run / limit. Cars to run: gets through even if the wheels slip, and restarts anywhere. "
    "Limit: only as long as the wheels never slip."
)
"""How a card is read."""


def load_cards(answer: CheckAnswer) -> tuple[Card, ...]:
    """Return a card for every power of a plan, in the plan's order; none where it has no loads."""
    if not any(route.loads for route in answer.routes):
        return ()
    return tuple(_card(answer, power) for power in answer.plan.powers.values())


def _card(answer: CheckAnswer, power: Power) -> Card:
    marks: dict[str, str] = {}
    blocks = []
    for route in answer.routes:
        loads: dict[str, dict[str, Load]] = {}
        for load in route.loads:
            if load.power == power.name:
                loads.setdefault(_car(load, route), {})[load.rail] = load
        rows = tuple(
            CardRow(car, tuple(_cell(by_rail[rail], marks) for rail in answer.rails)) for car, by_rail in loads.items()
        )
        blocks.append(CardBlock(route.route.name, rows))
    by_mark = {mark: place for place, mark in marks.items()}
    return Card(power.name, _under(answer, power), answer.rails, tuple(blocks), by_mark, tuple(_trains(answer, power)))


def _trains(answer: CheckAnswer, power: Power) -> Iterator[str]:
    """Yield in a sentence how the named trains with a power do as judged, and with film everywhere."""
    trains = answer.plan.trains
    pulled = {name for name in trains if any(cut.name == power.name for cut in trains[name].consist)}
    judged = worst_of_each(answer.on(answer.judged_rails))
    for where, found in (
        (judged_on(answer).strip(), judged),
        *((f"with {film} everywhere", those) for film, those in film_everywhere(answer).items()),
    ):
        mine = worst_first(each for each in found if each.name in pulled)
        if mine:
            yield f"Trains {where}: {'; '.join(map(outcome_of_train, mine))}."
    unjudged = [name for name in answer.unjudged if name in pulled]
    if unjudged:
        yield f"NOT CHECKED: {', '.join(unjudged)}."


def _car(load: Load, route: RouteAnswer) -> str:
    """Return a kind of car, and over reversals where the locomotives stand as the train starts."""
    return f"{load.car}, engine {load.engine}" if route.route.legs else load.car


def _under(answer: CheckAnswer, power: Power) -> str:
    locos = answer.plan.locos
    titles = [locos[name].title for name in power.locos]
    made_of = " and ".join(titles) if titles != [power.name] else ""
    return ", ".join(part for part in (made_of, answer.plan.title) if part)


def _cell(load: Load, places: dict[str, str]) -> CardCell:
    marks: list[str] = []
    if load.fits is not None and load.fits_by is not None and load.fits < load.rated:
        number = len(places)
        marks.append(places.setdefault(load.fits_by, _MARKS[number % len(_MARKS)] * (1 + number // len(_MARKS))))
    if not load.holds_back:
        marks.append(_AWAY)
    return CardCell(cars_told(load.told), tuple(marks), f"/ {cars_told(load.limit)}")
