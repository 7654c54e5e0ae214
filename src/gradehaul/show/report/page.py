"""The page: one HTML file with everything in it, which needs no network."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any

from gradehaul import __version__
from gradehaul.design.clearance.rules import Finding
from gradehaul.errors import PlanError, clean
from gradehaul.haulage.answers.check import CheckAnswer, RouteAnswer
from gradehaul.haulage.answers.judged import worst_first
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.answers.set_heights import railhead_responses
from gradehaul.haulage.longest import Load
from gradehaul.haulage.verdict import Outcome
from gradehaul.haulage.views.plan_view import PlanView, plan_view
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.plan.records import Note
from gradehaul.show.base.labels import USE_MEANINGS
from gradehaul.show.base.page import Columns, Page, Piece, words_of
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.first_screen import (
    clearance_words,
    place_words,
    shown_conditions,
    worst_condition,
)
from gradehaul.show.check.outcome_words import HELD_BACK, OUTCOMES, conditions, outcome_cells, rail_at, summary
from gradehaul.show.check.route_text import (
    add_limits,
    ends,
    how_loaded,
    judged_words,
    load_rows,
    power_words,
    route_facts,
    worst_load,
)
from gradehaul.show.check.sources import BASES, source_rows
from gradehaul.show.check.text import add_berths, add_unsure_figures, basis_lines
from gradehaul.show.check.trains_text import WAYS_OVER, add_trains, add_ways_over
from gradehaul.show.clearance import failing_words
from gradehaul.show.film import add_film_plan
from gradehaul.show.plan_view.styles import SHADES, shade_words
from gradehaul.show.report.assets import SHARED, asset, json_in_html, policy, script_of, template, trusted
from gradehaul.show.report.document import chances, on_conditions, report_document
from gradehaul.treatment.keep_clean import KeepCleanPlan
from gradehaul.treatment.ways_over import WaysOver

TRAIN_KEY = (
    ("block loco", "locomotives"),
    ("block car", "cars"),
    ("care stall", "stalls with its head here"),
    ("care away", "runs away with its head here"),
    ("care no-stop", "must not stop with its head here"),
    ("care no-recovery", "would not recover from a slip with its head here"),
)
"""How the train that is made up is drawn, and where it must take care: the class on the page, and what it means."""

_HANDLES = 60
"""Railheads that the reader can move; working out what each does takes time on a large layout."""

_OPEN = 6
"""Routes whose sections are shown at once; of more, the reader opens those wanted."""


_ODD, _FAILS = 3, 5
"""Readings to look at again, and places that fail clearance, that the first screen of the page has one by one."""


def report_page(
    layout: Layout,
    answer: CheckAnswer,
    ways: Sequence[WaysOver],
    units: UnitFormat,
    film: KeepCleanPlan | None = None,
    odd: Sequence[Note] = (),
    fails: Sequence[Finding] | None = (),
) -> str:
    """Return the page as HTML, in the order of a builder's questions: verdict, routes, trains, loads, basis.

    `odd` are the readings to look at again, `fails` what fails clearance, the worst first, or None
    where not all of it could be checked.

    Script and style are in the page and known by their hashes, so that a browser runs these and no others; names from
    the plan are text and nothing else.
    """
    style, script = asset("page.css"), script_of((*SHARED, "tables.js", "page.js"))
    view, plan_notes = drawn_plan_view(layout)
    responses = islice(railhead_responses(layout.alignment), _HANDLES)
    document = report_document(layout, answer.trains, answer.judged_rails, units, view, film, responses, answer)
    return template("report.html").render(
        policy=policy(style, script),
        style=trusted(style),
        script=trusted(script),
        data=json_in_html(document | {"chances": list(chances(on_conditions(document, answer.trains)))}),
        plan_view=view is not None,
        plan_notes=plan_notes,
        version=__version__,
        film=[] if film is None else parts_of("Track by use", lambda page: add_film_plan(page, film, units)),
        uses=_uses(film),
        treated=view is not None and any(track.rail != CLEAN for track in view.tracks.values()),
        train_key=TRAIN_KEY,
        legs=any(route.profile.legs for route in answer.routes),
        points=list(_points(answer, odd, fails, units)),
        **_answers(answer, ways, units),
    )


def shades(units: UnitFormat) -> list[str]:
    """Return what each shade of a plan view stands for, in words."""
    return [shade_words(number, units) for number in range(len(SHADES))]


def drawn_plan_view(layout: Layout) -> tuple[PlanView | None, list[str]]:
    """Return the plan view and the notes on it, which say why there is none where nothing can be drawn."""
    try:
        view = plan_view(layout)
    except PlanError as error:
        # without the file: a page that is mailed says nothing of its maker's folders
        return None, [str(PlanError(error.wrong, place=error.place, found=error.found, write=error.write))]
    return view, [note.text for note in view.notes]


def _uses(film: KeepCleanPlan | None) -> list[tuple[str, str]]:
    """Return the uses that track is put to, each with its class on the page and what it means."""
    used = set() if film is None else {row.use for row in film.rows}
    return [(use.replace(" ", "-"), words) for use, words in USE_MEANINGS.items() if use in used]


def _answers(answer: CheckAnswer, ways: Sequence[WaysOver], units: UnitFormat) -> dict[str, Any]:
    plan = answer.plan
    runs = [run for route in answer.routes for run in _runs(answer, route, units)]
    loads = _loads(answer) if any(route.loads for route in answer.routes) else None
    unnamed = "" if plan.trains else "No train is named in the plan, so none is judged here. "
    return {
        "title": plan.title,
        "file": clean(Path(plan.file).name),
        "facts": list(basis_lines(answer, units)),
        "summary": (unnamed + summary(answer)).strip(),
        "outcomes": _outcomes(answer, units),
        "ways": parts_of(WAYS_OVER, lambda page: add_ways_over(page, ways, units)) if ways else [],
        "verdicts": parts_of("Trains", lambda page: add_trains(page, answer, units)),
        "routes": runs,
        "open_routes": len(runs) if len(runs) <= _OPEN else 1,
        "shades": shades(units),
        "workbench": bool(answer.routes and plan.powers),
        "loads": loads,
        "how_loaded": "Cars to run (90 % range); then cars to run / limit on each rail condition. "
        + how_loaded(cell.text + cell.more for row in (loads.rows if loads else ()) for cell in row),
        "limits": parts_of("What limits each load", lambda page: add_limits(page, answer, units)) if loads else [],
        "berths": parts_of("Berths", lambda page: add_berths(page, answer, units)) if answer.berths else [],
        "unsure": parts_of("What it is based on", lambda page: add_unsure_figures(page, answer, units)),
        "sources": parts_of("Where each figure comes from", lambda page: _add_sources(page, answer, units)),
        "doubts": [str(note) for note in answer.doubts],
        "notes": [str(note) for note in answer.notes if note not in answer.doubts],
    }


def _points(
    answer: CheckAnswer, odd: Sequence[Note], fails: Sequence[Finding] | None, units: UnitFormat
) -> Iterator[tuple[str, str]]:
    """Yield what a builder should do next, each as what it is and the words behind that."""
    file = clean(Path(answer.plan.file).name)
    if fails is None or fails:
        yield clearance_words(None if fails is None else len(fails)), f": gradehaul clearance {file}"
    fails = fails or ()
    for finding in fails[:_FAILS]:
        yield "Fails clearance", f": {failing_words(finding, units)}."
    if len(fails) > _FAILS:
        yield f"and {len(fails) - _FAILS} more", " that fail clearance."
    for note in odd[:_ODD]:
        yield "Look at this reading again", f": {note}."
    if len(odd) > _ODD:
        yield f"{len(odd) - _ODD} more readings to look at again", f": gradehaul readings {file} --more remarks"
    if answer.measure_next is not None:
        yield "Measure next", f": {answer.measure_next}."


def _outcomes(answer: CheckAnswer, units: UnitFormat) -> Sortable:
    """Return each train with its outcomes on the judged rail and with each film everywhere, side by side."""
    shown_on = shown_conditions(answer)
    heads = ["train", *(f"{name} (to spare, risk)" for name in shown_on), "hardest place"]
    rows = []
    for train in worst_first(next(iter(shown_on.values()), {}).values()):
        cells = [outcome_cell(*outcome_cells(trains[train.name], units)) for trains in shown_on.values()]
        rows.append((Cell(train.name), *cells, Cell(place_words(worst_condition(shown_on, train.name), units))))
    return Sortable(tuple(heads), tuple(rows))


def _loads(answer: CheckAnswer) -> Sortable:
    """Return the longest trains: a row for every route, power and car, as judged and on every rail condition."""
    heads = ["route", "power", "car", f"{' and '.join(conditions(answer.judged_rails, answer.hours))} (90 % range)"]
    heads += [rail_at(rail, answer.hours) for rail in answer.rails]
    rows: list[list[Piece]] = []
    for route in answer.routes:
        judged: dict[tuple[str, str], list[Load]] = {}
        for load in route.loads:
            if load.rail in answer.judged_rails:
                judged.setdefault((power_words(load, route), load.car), []).append(load)
        for row, loads in zip(load_rows(answer, route), judged.values(), strict=True):
            rows.append([route.route.name, *row[:2], judged_words(route, worst_load(loads)), *row[2:]])
    return rows_of(heads, rows)


def _runs(answer: CheckAnswer, route_answer: RouteAnswer, units: UnitFormat) -> list[dict[str, Any]]:
    """Return a route, or its legs where it has reversals, with the facts on the whole at the first."""
    facts = list(route_facts(answer, route_answer, units))
    return [
        {
            "name": run.route.name,
            "kind": "leg" if route_answer.profile.legs else "route",
            "ends": "" if ends(run.route) == run.route.name else ends(run.route),
            "facts": facts if number == 0 else [],
        }
        for number, (run, _) in enumerate(route_answer.profile.runs)
    ]


# What is printed for a person, as the page shows it


_NUMBER = re.compile(r"(?P<part>1 in )?[<>]?(?P<number>-?\d+(\.\d+)?)")
_WHOLE = re.compile(r"(?P<first>\d+\+?) (?P<rest>\(.*|\D.*)")
"""A number of cars, and what is printed behind it."""

_SHOWN: Mapping[str, Outcome] = {words.lower(): outcome for outcome, (words, _) in OUTCOMES.items()} | {
    HELD_BACK[0]: "climbs"
}
"""Outcomes by the words in a table."""

_LINE = 24
"""A cell that begins with a number keeps to one line up to so many letters."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell: its text, the number it sorts by where that is not its text, its kind, and a smaller text behind it."""

    text: str
    sort: float | None = None
    kind: str = ""
    more: str = ""


@dataclass(frozen=True, slots=True)
class Sortable:
    """A table: heads, and rows of as many cells."""

    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


@dataclass(frozen=True, slots=True)
class Part:
    """A heading, a line, or a table with its caption: what it is not is empty or None."""

    heading: str = ""
    line: str = ""
    table: Sortable | None = None
    caption: str = ""


def _add_sources(page: Page, answer: CheckAnswer, units: UnitFormat) -> None:
    page.table(["of", "figure", "value>", "basis", "how"], source_rows(answer, units))
    for line in BASES:
        page.line(line)


def parts_of(title: str, add: Callable[[Page], None]) -> list[Part]:
    """Return what is added to a page for a person, as parts; what names a table is the heading or line above it."""
    page = Page()
    add(page)
    parts: list[Part] = []
    above, captions = title, set[str]()
    for each in page.parts:
        if isinstance(each, Columns):
            number, caption = 1, above
            while caption in captions:
                number += 1
                caption = f"{above} ({number})"
            captions.add(caption)
            parts.append(Part(table=rows_of(each.heads, each.rows), caption=caption))
            continue
        words = "".join(map(words_of, each.pieces))
        if len(each.pieces) == 1 and not isinstance(each.pieces[0], str):
            above = words
            if words != title:
                parts.append(Part(heading=words))
        elif words:
            above = above if words.endswith(".") else words.removesuffix(":")
            parts.append(Part(line=words))
    return parts


def rows_of(heads: Sequence[str], rows: Sequence[Sequence[Piece]]) -> Sortable:
    """Return a printed table as one that sorts: a row that goes across all becomes a column of those below it."""
    cells: list[tuple[Cell, ...]] = []
    above: tuple[Cell, ...] = ()
    for row in rows:
        found = tuple(map(_cell, row))
        if len(row) == 1 < len(heads):
            above = found
        else:
            cells.append((*above, *found))
    return Sortable(("of",) * len(above) + tuple(head.removesuffix(">").strip() for head in heads), tuple(cells))


def outcome_cell(outcome: Piece, risk: Piece, spare: Piece) -> Cell:
    """Return an outcome that sorts from the worst, with the pull to spare and the risk behind it.

    >>> outcome_cell(("STALLS", "red"), "60 %", "-1.9 gf")
    Cell(text='stalls', sort=0, kind='outcome stalls', more='-1.9 gf, 60 %')
    """
    cell = _cell(outcome)
    rank = [*_SHOWN.values()].index(_SHOWN[cell.text])
    more = "" if cell.text == "too long" else f"{words_of(spare)}, {words_of(risk)}"
    return replace(cell, sort=rank, more=more)


def _cell(piece: Piece) -> Cell:
    """Return a cell that sorts by the number it begins with, if any; an outcome has its class.

    >>> [(cell.text, cell.sort, cell.kind) for cell in map(_cell, ["<1 %", "1 in 50.0", "Foot", ("STALLS", "red")])]
    [('<1 %', 0.99, 'number'), ('1 in 50.0', 0.02, 'number'), ('Foot', None, ''), ('stalls', None, 'outcome stalls')]
    >>> _cell("8 (8 / 12) measured")
    Cell(text='8', sort=8.0, kind='load', more='(8 / 12) measured')
    """
    words = words_of(piece)
    if (shown := words.lower()) in _SHOWN:
        return Cell(shown, kind=f"outcome {_SHOWN[shown].replace(' ', '-')}")
    number = _NUMBER.match(words)
    if whole := _WHOLE.fullmatch(words) if "(" in words else None:
        return Cell(whole["first"], sort=float(whole["first"].rstrip("+")), kind="load", more=whole["rest"])
    if number is None:
        return Cell(words)
    value = float(number["number"]) + {"<": -0.01, ">": 0.01}.get(words[0], 0.0)
    return Cell(words, sort=1 / value if number["part"] else value, kind="number" if len(words) <= _LINE else "")
