"""The load cards, one for each power, to pin up: what stands on them, and their picture, four to a sheet."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from gradehaul.errors import PlanError
from gradehaul.haulage.adhesion import weakest_basis
from gradehaul.haulage.answers.check import CheckAnswer, RouteAnswer
from gradehaul.haulage.answers.check_notes import doubtful_readings
from gradehaul.haulage.answers.judged import worst_first, worst_of_each
from gradehaul.haulage.answers.unusual import stock_notes
from gradehaul.haulage.longest import Load
from gradehaul.plan.records import NamedTrain, Plan, Power
from gradehaul.plan.resolve.stock import MOST_CARS
from gradehaul.show.base.label_placing import Box
from gradehaul.show.base.labels import basis_words, cars_words
from gradehaul.show.base.paper import MARGIN, SIZES, Sheet
from gradehaul.show.base.picture import DOTS_PER_INCH, INK, Format, drawing_rules, pages_bytes, picture_bytes
from gradehaul.show.check.outcome_words import film_everywhere, judged_on, outcome_of_train
from gradehaul.show.check.route_text import (
    COUNTED,
    MARKS,
    CardCell,
    load_cell,
    rows_by_engine,
    standing_out,
    worst_load,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from gradehaul.show.sheets import PaperName

_FONT = 8.0
_ACROSS = 4
"""Kinds of car beside one another at the least; where more have no room they go on another card."""

_ROUTE = 0.26
"""The share of the width for the names of routes."""

_HEAD, _ROW = 1.4, 3.4
"""Heights of a row of heads and of a row of loads, in lines."""

_ROWS = 7
"""Rows of loads on one card."""

_GAP = 6
"""Dots between columns, and between cars and what stands beside them."""

_CUT = 0.2
"""The length of a cut mark, inches."""


_Each = TypeVar("_Each")


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


class _Part(NamedTuple):
    """A quarter of a sheet: a card with those of its rows that fit, and which part of how many it is."""

    card: Card
    number: int
    of: int


def load_card_picture(answer: CheckAnswer, form: Format, paper: PaperName = "a4", *, date: str = "") -> bytes:
    """Return the cards as the content of a file: a PDF has a page for each four, another picture all below one another.

    They bear a date, or a blank to write one in.
    """
    cards = load_cards(answer)
    if not cards:
        wrong = "there are no loads to put on a card"
        raise PlanError(wrong, file=answer.plan.file, write="a route, a locomotive and a car in the plan")
    with drawing_rules():
        if form == "pdf":
            return pages_bytes(load_card_figures(cards, date, paper))
        return picture_bytes(_sheet(_parts(cards, paper), date, paper), form)


def load_card_figures(cards: Sequence[Card], date: str = "", paper: PaperName = "a4") -> list[Figure]:
    """Return a sheet for each four cards; to be called by the `drawing_rules`, as is all that is done with them."""
    return [_sheet(four, date, paper) for four in _by(_parts(cards, paper), 4)]


def _parts(cards: Sequence[Card], paper: PaperName) -> list[_Part]:
    """Return cards in as many parts as each takes: kinds of car side by side as far as there is room, then below."""
    size, found = SIZES[paper], list[_Part]()
    sheet = Sheet(size.width, size.width, _FONT)
    room = (1 - _ROUTE) * (0.5 * size.width - 2 * MARGIN) * DOTS_PER_INCH
    for card in cards:
        columns = _columns([each + 0.5 * _GAP for each in _widths(sheet, card)], room)
        parts = [
            replace(card, cars=card.cars[own], rows=tuple(replace(row, cells=row.cells[own]) for row in rows))
            for own in columns
            for rows in _by(card.rows, _ROWS)
        ]
        found += [_Part(part, number, len(parts)) for number, part in enumerate(parts, 1)]
    return found


def _columns(widths: Sequence[float], room: float) -> list[slice]:
    """Return which columns go on one card after another: as many as have room, and no fewer than go on any.

    >>> _columns([4.0, 9.0, 4.0, 4.0, 4.0, 4.0], 21.0)
    [slice(0, 4, None), slice(4, 6, None)]
    """
    found, first = list[slice](), 0
    while first < len(widths):
        stop = min(first + _ACROSS, len(widths))
        while stop < len(widths) and sum(widths[first : stop + 1]) <= room:
            stop += 1
        found.append(slice(first, stop))
        first = stop
    return found


def _widths(sheet: Sheet, card: Card) -> list[float]:
    """Return how wide each column of a card is: its heading or its widest cell, and the gap."""
    return [
        max(sheet.extent(car, weight="bold")[0], *(_wide(sheet, row.cells[k]) for row in card.rows)) + _GAP
        for k, car in enumerate(card.cars)
    ]


def _by(items: Sequence[_Each], count: int) -> list[Sequence[_Each]]:
    return [items[first : first + count] for first in range(0, len(items), count)]


def _sheet(parts: Sequence[_Part], date: str, paper: PaperName) -> Figure:
    """Return parts of cards four to a sheet, sheets below one another."""
    size = SIZES[paper]
    width, height = size.width, size.height or 0.0
    sheets = -(-len(parts) // 4)
    sheet = Sheet(width, height * sheets, _FONT)
    for number, part in enumerate(parts):
        left, top = (number % 2) * 0.5 * width, (2 * sheets - number // 2) * 0.5 * height
        box = Box(left, top - 0.5 * height, left + 0.5 * width, top).grown(-MARGIN)
        _draw(sheet, part, Box(*(each * DOTS_PER_INCH for each in box)), date)
    for k in range(sheets):
        _cut_marks(sheet, k * height, width, height)
    return sheet.figure


def _cut_marks(sheet: Sheet, bottom: float, width: float, height: float) -> None:
    """Draw where to cut: at the ends of both cuts, as near to the edges as a printer goes, and where they cross."""
    middle, up = 0.5 * width, bottom + 0.5 * height
    lines = [
        ((middle, middle), (at, at + _CUT))
        for at in (bottom + MARGIN, bottom + height - MARGIN - _CUT, up - 0.5 * _CUT)
    ]
    lines += [((at, at + _CUT), (up, up)) for at in (MARGIN, width - MARGIN - _CUT, middle - 0.5 * _CUT)]
    for x, y in lines:
        sheet.line([DOTS_PER_INCH * each for each in x], [DOTS_PER_INCH * each for each in y], color=INK, lw=0.5)


def _draw(sheet: Sheet, part: _Part, box: Box, date: str) -> None:
    card, line, wide = part.card, sheet.dots_per_line, box.right - box.left
    day = date or "date ____________"
    room = wide - sheet.extent(day)[0] - 10
    more = f" ({part.number} of {part.of})" if part.of > 1 else ""
    name = sheet.fitted(card.title, room - sheet.extent(more, scale=1.7, weight="bold")[0], scale=1.7, weight="bold")
    sheet.text(box.left, box.top, name + more, scale=1.7, weight="bold", va="top")
    sheet.text(box.right, box.top, day, ha="right", va="top")
    at = box.top - 1.8 * line
    sheet.text(box.left, at, sheet.fitted(card.under, wide), va="top")
    at -= 1.2 * line
    judged, film = card.trains[:1], card.trains[1:]
    foot = [
        (each, weight)
        for texts, weight in (((*card.again, *judged), "bold"), ((*film, card.note), "normal"))
        for text in texts
        for each in sheet.wrapped(text, wide, scale=0.9, weight=weight)
    ]
    low = box.bottom
    for words, weight in reversed(foot):
        sheet.text(box.left, low, words, scale=0.9, weight=weight, va="bottom")
        low += 0.9 * line
    tall = min(_ROW * line, (at - _HEAD * line - low) / len(card.rows))
    first = box.left + _ROUTE * wide
    widths = _widths(sheet, card)
    spare = (box.right - first - sum(widths)) / max(len(widths), 3)
    if spare < 0:  # no room for all: alike, and cut
        widths, spare = [(box.right - first) / len(widths)] * len(widths), 0.0
    lefts = [first + sum(widths[:k]) + k * spare for k in range(len(widths))]
    for car, left, width in zip(card.cars, lefts, widths, strict=True):
        sheet.text(left, at, sheet.fitted(car, width + spare - _GAP, weight="bold"), weight="bold", va="top")
    at -= _HEAD * line
    for row in card.rows:
        _rule(sheet, box, at)
        room, basis = first - box.left - 10, [row.basis] if row.basis else []
        lines = max(1, int(tall / (0.95 * line)) - len(basis))
        names = _names(sheet, row.routes, lines, room)
        names += [sheet.fitted(each, room, scale=0.8) for each in basis]
        for k, each in enumerate(names):
            up = at - 0.5 * tall + (0.5 * (len(names) - 1) - k) * 0.95 * line
            sheet.text(box.left, up, each, scale=0.8 if k >= len(names) - len(basis) else 0.95, va="center")
        for cell, left, width in zip(row.cells, lefts, widths, strict=True):
            _draw_cell(sheet, cell, left, at - 0.5 * tall, width + spare)
        at -= tall
    _rule(sheet, box, at)


def _names(sheet: Sheet, routes: Sequence[str], lines: int, room: float) -> list[str]:
    """Return in so many lines as many names of routes as there is room for, and how many more there are."""
    for count in range(len(routes), 0, -1):
        more = [f"and {len(routes) - count} more"] if count < len(routes) else []
        found = sheet.wrapped("; ".join([*routes[:count], *more]), room, scale=0.95)
        if len(found) <= lines:
            return found
    return [*found[: lines - 1], sheet.fitted(" ".join(found[lines - 1 :]), room, scale=0.95)]


def _big(cell: CardCell) -> float:
    return 1.8 if cell.cars[:1].isdigit() else 1.1


def _beside(cell: CardCell) -> list[str]:
    """Return what stands small beside the cars: the range above the mark."""
    return [each for each in (cell.range and f"({cell.range})", cell.mark) if each]


def _wide(sheet: Sheet, cell: CardCell) -> float:
    small = [sheet.extent(each, scale=0.8)[0] for each in _beside(cell)]
    return sheet.extent(cell.cars, scale=_big(cell), weight="bold")[0] + _GAP + max(small, default=0.0)


def _draw_cell(sheet: Sheet, cell: CardCell, left: float, middle: float, step: float) -> None:
    """Set the cars large, and beside them the range and the mark."""
    sheet.text(left, middle, cell.cars, scale=_big(cell), weight="bold", va="center")
    beside = left + sheet.extent(cell.cars, scale=_big(cell), weight="bold")[0] + _GAP
    small = _beside(cell)
    for k, words in enumerate(small):
        up = middle + (0.5 * (len(small) - 1) - k) * 0.85 * sheet.dots_per_line
        sheet.text(beside, up, sheet.fitted(words, left + step - beside, scale=0.8), scale=0.8, va="center")


def _rule(sheet: Sheet, box: Box, at: float) -> None:
    sheet.line((box.left, box.right), (at, at), color=INK, lw=0.5)


# What stands on a card


def load_cards(answer: CheckAnswer) -> tuple[Card, ...]:
    """Return a card for every power of a plan, in the plan's order; none where it has no loads."""
    if not any(route.loads for route in answer.routes):
        return ()
    return tuple(_card(answer, power) for power in answer.plan.powers.values())


def _card(answer: CheckAnswer, power: Power) -> Card:
    cars = tuple(answer.plan.cars)
    rows: dict[tuple[str, tuple[CardCell, ...]], list[str]] = {}
    for route in answer.routes:
        judged = [load for load in route.loads if load.power == power.name and load.rail in answer.judged_rails]
        for engine, row in rows_by_engine(judged, partial(_row_of, cars, route)).items():
            rows.setdefault(row, []).append(f"{route.route.name}{engine and f', engine {engine}'}")
    cells = [cell for _, row in rows for cell in row]
    bases = {basis for basis, _ in rows}
    note = f"Longest trains{judged_on(answer.judged_rails, answer.hours)}, in cars (90 % range)."
    note += "".join(f" {words}" for mark, words in MARKS.items() if any(cell.mark == mark for cell in cells))
    if any(cars_words(MOST_CARS) in cell.cars + cell.range for cell in cells):
        note += f" {COUNTED}"
    note += "".join(f" {words}" for words in standing_out(answer, power.name))
    note += f" Pulls: {'; '.join(bases)}." if len(bases) == 1 else " Beside the routes: where the pulls come from."
    locos = Counter(answer.plan.locos[name].title for name in power.locos)
    made_of = " and ".join(title if count == 1 else f"{count} x {title}" for title, count in locos.items())
    made_of = "" if made_of == power.name else made_of
    doubts = *doubtful_readings(answer.plan, power.locos), *stock_notes(answer.plan, power.locos)
    return Card(
        title=power.name,
        under=", ".join(part for part in (made_of, answer.plan.title) if part),
        cars=cars,
        rows=tuple(CardRow(tuple(names), basis if len(bases) > 1 else "", row) for (basis, row), names in rows.items()),
        again=tuple(f"Read again: {doubt}{'' if doubt.text.endswith('?') else '.'}" for doubt in doubts),
        trains=tuple(_trains(answer, power)),
        note=note,
    )


def _row_of(
    cars: Sequence[str], route: RouteAnswer, by_car: Mapping[str, Iterable[Load]]
) -> tuple[str, tuple[CardCell, ...]]:
    loads = [worst_load(by_car[car]) for car in cars]
    basis = basis_words(weakest_basis([x.basis for x in loads]), weakest_basis([x.slipping_basis for x in loads]))
    return basis, tuple(load_cell(route, load) for load in loads)


def _pulls(plan: Plan, power: Power, train: NamedTrain) -> bool:
    """Return whether a power pulls a train: by its name, or all of its locomotives named one by one."""
    if any(cut.name == power.name for cut in train.consist):
        return True
    alone = Counter[str]()
    for cut in train.consist:
        if cut.name in plan.locos:
            alone[cut.name] += cut.count
    return len(power.locos) > 1 and Counter(power.locos) <= alone


def _trains(answer: CheckAnswer, power: Power) -> Iterator[str]:
    """Yield in a sentence how the named trains with a power do as judged, and with film everywhere."""
    pulled = {name for name, train in answer.plan.trains.items() if _pulls(answer.plan, power, train)}
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
