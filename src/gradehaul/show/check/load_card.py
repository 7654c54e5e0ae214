"""The picture of the load cards: one for each locomotive, in black and white, to pin up beside the layout."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

from gradehaul.errors import PlanError
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.demand import PLANNED
from gradehaul.plan.resolve.stock import CLEAN
from gradehaul.show.base.label_placing import Box
from gradehaul.show.base.picture import Format, drawing_rules, pages_bytes, picture_bytes
from gradehaul.show.base.sheet import INK, Row, Sheet, Size, Spot
from gradehaul.show.check.load_rows import READ, Card, CardBlock, CardCell, CardRow, load_cards

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_SIZE = Size(11.69, 8.27, 13.0, left=0.55, right=0.55, ticks=1, roomy=True, dots_per_inch=110)
"""A4 landscape, with letters to be read from an arm's length."""

_LINE = 0.36
_MOST_ROWS = 13
"""Height of a row of loads, inches, and as many as a page holds."""

_GAP = 0.08
"""Height left free between heads and loads, and loads and notes, inches."""

_ROUTE, _CAR = 0.27, 0.15
"""Shares of the width for the names of routes and of cars; the rail conditions have the rest."""

_SCALES = (1.0, 0.85, 0.7)
_WRAPPED = 0.6
"""How much smaller a text is set where it is too long, and where it runs over several lines."""

_NOTES = 3
"""Lines for what the marks of a page mean."""

_TRAINS = 3
"""Lines for how the named trains do."""


class _PagePart(NamedTuple):
    """What stands on one page: a card, those of its rows that fit, and whether it goes on from the page before."""

    card: Card
    blocks: tuple[CardBlock, ...]
    goes_on: bool


def load_card_picture(answer: CheckAnswer, form: Format) -> bytes:
    """Return the cards as the content of a file: a PDF has a page for each, another picture one below another.

    Raises
    ------
    PlanError
        The plan has no loads to tell.
    """
    cards = load_cards(answer)
    if not cards:
        wrong = "there are no loads to put on a card"
        raise PlanError(wrong, file=answer.plan.file, write="a route, a locomotive and a car in the plan")
    with drawing_rules():
        if form == "pdf":
            return pages_bytes(load_card_figures(cards))
        return picture_bytes(_sheet(list(_parts(cards)), fixed=False).figure, form, dots_per_inch=_SIZE.dots_per_inch)


def load_card_figures(cards: Sequence[Card]) -> list[Figure]:
    """Return a figure for each page; to be called by the `drawing_rules`, as is all that is done with them."""
    return [_sheet([part], fixed=True).figure for part in _parts(cards)]


def _parts(cards: Sequence[Card]) -> Iterator[_PagePart]:
    """Yield what stands on each page, with routes kept together where a page holds them."""
    for card in cards:
        page: list[CardBlock] = []
        begun = False
        for block in _cut(card.blocks):
            if page and sum(len(each.rows) for each in page) + len(block.rows) > _MOST_ROWS:
                yield _PagePart(card, tuple(page), goes_on=begun)
                page, begun = [], True
            page.append(block)
        yield _PagePart(card, tuple(page), goes_on=begun)


def _cut(blocks: Sequence[CardBlock]) -> Iterator[CardBlock]:
    for block in blocks:
        for first in range(0, len(block.rows), _MOST_ROWS):
            yield replace(block, rows=block.rows[first : first + _MOST_ROWS])


def _sheet(parts: Sequence[_PagePart], *, fixed: bool) -> Sheet:
    size = _SIZE if fixed else replace(_SIZE, height=None)
    sheet = Sheet(size, [row for number, part in enumerate(parts) for row in _rows(number, part, fixed=fixed)])
    for number, part in enumerate(parts):
        _draw(sheet, number, part)
    return sheet


def _rows(number: int, part: _PagePart, *, fixed: bool) -> list[Row]:
    loads = [Row(f"{number} load {k}", _LINE) for k in range(sum(len(block.rows) for block in part.blocks))]
    notes = [Row(f"{number} note {k}", 0.24) for k in range(1 + _NOTES)]
    trains = [Row(f"{number} train {k}", 0.24) for k in range(_TRAINS)]
    rest = Row(f"{number} rest", 0.0, grows=True) if fixed else Row(f"{number} rest", 0.3)
    return [
        Row(f"{number} title", 0.5),
        Row(f"{number} under", 0.34),
        Row(f"{number} heads", 0.36),
        Row(f"{number} below heads", _GAP),
        *loads,
        Row(f"{number} below loads", _GAP),
        *trains,
        *notes,
        rest,
    ]


def _draw(sheet: Sheet, number: int, part: _PagePart) -> None:
    card = part.card
    more = " (goes on)" if part.goes_on else ""
    _set(sheet, card.title + more, sheet.room(f"{number} title"), scale=1.8, weight="bold")
    _set(sheet, card.under, sheet.room(f"{number} under"), scale=0.85)
    columns = _columns(sheet.room(f"{number} heads"), len(card.rails))
    for words, box in zip(("Route", "Cars", *card.rails), columns, strict=True):
        _set(sheet, words, box, scale=0.85, weight="bold")
    for rail, box in zip(card.rails, columns[2:], strict=True):
        right = box.right - sheet.dots_per_em
        sheet.line([box.left, right], [box.bottom] * 2, color=INK, lw=1.6, ls=_dashes(rail))
    row = 0
    for block in part.blocks:
        top = sheet.room(f"{number} load {row}")
        bottom = sheet.room(f"{number} load {row + len(block.rows) - 1}")
        whole = _columns(Box(top.left, bottom.bottom, top.right, top.top), len(card.rails))
        _set(sheet, block.route, whole[0], top=sheet.room(f"{number} load {row}"), weight="bold")
        for each in block.rows:
            _draw_row(sheet, each, _columns(sheet.room(f"{number} load {row}"), len(card.rails)))
            row += 1
        sheet.line([top.left, top.right], [bottom.bottom] * 2, color=INK, lw=0.6)
    wide = top.right - top.left
    for k, line in enumerate(_sentences(sheet, card.trains, wide)):
        _set(sheet, line, sheet.room(f"{number} train {k}"), scale=0.8, weight="bold")
    _set(sheet, READ, sheet.room(f"{number} note 0"), scale=0.7)
    for k, line in enumerate(_wrapped(sheet, card.note(part.blocks), wide, _NOTES, scale=0.7)):
        _set(sheet, line, sheet.room(f"{number} note {k + 1}"), scale=0.7)


def _draw_row(sheet: Sheet, row: CardRow, columns: Sequence[Box]) -> None:
    _set(sheet, row.car, columns[1])
    for cell, box in zip(row.cells, columns[2:], strict=True):
        _draw_cell(sheet, cell, box)


def _draw_cell(sheet: Sheet, cell: CardCell, box: Box) -> None:
    """Set the cars to run, large, and the limit behind them, each flush where all in the column are."""
    middle = 0.5 * (box.bottom + box.top)
    split = box.left + 3.3 * sheet.dots_per_em
    rated = Box(box.left, box.bottom, split, box.top)
    _set(sheet, cell.rated + cell.mark, rated, scale=1.25, weight="bold")
    sheet.label(cell.limit, [Spot(split + 0.3 * sheet.dots_per_em, middle, "left")], scale=0.85, color=INK)


def _columns(room: Box, rails: int) -> list[Box]:
    """Return the columns of a row: route, cars, and one for each rail condition."""
    wide = room.right - room.left
    shares = [_ROUTE, _CAR, *[(1 - _ROUTE - _CAR) / rails] * rails]
    edges = [room.left + wide * share for share in accumulate(shares, initial=0.0)]
    return [Box(left, room.bottom, right, room.top) for left, right in pairwise(edges)]


def _set(sheet: Sheet, text: str, box: Box, *, top: Box | None = None, scale: float = 1.0, **style: Any) -> None:  # noqa: ANN401 - as of a sheet's label
    """Set a text in a box at its left: smaller where it is too long, then on more lines, at the worst cut.

    `top` is the first row of a box that is higher than one.
    """
    first = box if top is None else top
    wide = box.right - box.left - 0.5 * sheet.dots_per_em
    for smaller in _SCALES:
        if sheet.extent(text, scale=scale * smaller, **style)[0] <= wide:
            spot = Spot(box.left, 0.5 * (first.bottom + first.top), "left")
            sheet.label(text, [spot], scale=scale * smaller, **style)
            return
    least = scale * _WRAPPED
    tall = 1.1 * sheet.extent("Áy", scale=least, **style)[1] + sheet.board.gap
    lines = max(1, int((box.top - box.bottom) / tall))
    told = _wrapped(sheet, text, wide, lines, scale=least, **style)
    # in the middle of a single row; in a higher box from its top
    begin = box.top if top is not None else 0.5 * (box.bottom + box.top + len(told) * tall)
    for k, line in enumerate(told):
        sheet.label(line, [Spot(box.left, begin - (k + 0.5) * tall, "left")], scale=least, **style)


def _wrapped(sheet: Sheet, text: str, wide: float, lines: int, **style: Any) -> list[str]:  # noqa: ANN401 - as above
    """Return a text on so many lines at the most, broken between words, its last line cut where it is too long."""
    words, told = text.split(), list[str]()
    while words and len(told) < lines - 1:
        count = len(words)
        while count > 1 and sheet.extent(" ".join(words[:count]), **style)[0] > wide:
            count -= 1
        told.append(sheet.fitted(" ".join(words[:count]), wide, **style))
        words = words[count:]
    return [*told, sheet.fitted(" ".join(words), wide, **style)] if words else told


def _sentences(sheet: Sheet, sentences: Sequence[str], wide: float) -> list[str]:
    """Return the lines of some sentences, each on lines of its own as long as there is room."""
    style = {"scale": 0.8, "weight": "bold"}
    lines = [line for each in sentences for line in _wrapped(sheet, each, wide, _TRAINS, **style)]
    return lines if len(lines) <= _TRAINS else _wrapped(sheet, " ".join(sentences), wide, _TRAINS, **style)


def _dashes(rail: str) -> Any:  # noqa: ANN401 - a line style of matplotlib's
    return "-" if rail == CLEAN else (0, (6, 2, 1.2, 2)) if rail in PLANNED else (0, (4, 2))
