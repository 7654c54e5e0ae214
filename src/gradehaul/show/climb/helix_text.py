"""A helix for a person and as JSON: its figures, which track should climb, what stops a better one, its trains."""

from __future__ import annotations

import json
from collections.abc import Collection
from typing import Any

from gradehaul.design.climb.backward import Found
from gradehaul.design.climb.easing import WANTED, wants_easement
from gradehaul.design.climb.helix import GUARD, Helix, usual_build
from gradehaul.design.climb.hill import car_length, coefficient_of
from gradehaul.design.climb.steps import steps_of
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.plan.records import Plan
from gradehaul.show.base.digits import rounded
from gradehaul.show.base.page import Page
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.check.document import check_document
from gradehaul.show.climb.hill_text import add_longest, add_named, add_stop, add_worst
from gradehaul.show.sections import CLIMB

_PUSHING, _RELIABLE, _GOOD = 2.0, 3.0, 4.0
"""Radius over car length (common practice)."""


def helix_page(
    found: Found[Helix],
    stock: Plan,
    answer: CheckAnswer,
    reader: Reader,
    *,
    find: str | None = None,
    more: Collection[str] = (),
) -> Page:
    """Return the page of a helix.

    Parameters
    ----------
    found
        The helix.
    stock
        The plan with the stock.
    answer
        What `check` says of the helix as a plan.
    reader
        The units of whoever reads it.
    find
        What was looked for.
    more
        The sections to print below: ``loads``, ``trains``, ``notes``.
    """
    page, helix, build = Page(), found.design, found.design.build
    page.line(("Helix", "bold"), f", scale {stock.scale.name}, ", _shape(found))
    page.line()
    add_worst(page, answer)
    if find in ("radius", "grade") and found.stops is not None:
        step = reader.small(steps_of(stock.unit).length)
        steepest = f"The steepest grade is {100 * helix.grade:.3f} %; one 0.001 % steeper"
        better = f"A radius {step} smaller" if find == "radius" else steepest
        add_stop(page, better, found.stops)
    if find == "cars" and found.stops is not None:
        page.paragraph(
            "No other helix of this shape takes more cars in this floor: the radius is the largest, the rise per turn "
            f"as stated or the least that leaves room; {found.stops.words}."
        )
    vertical, coefficient = helix.vertical(stock), coefficient_of(stock)
    inner = "inner track: " if build.centers is not None else ""
    rows = [
        (f"{inner}radius", reader.length(helix.radius, fine=True)),
        ("turns", f"{helix.turns:.2f}"),
        ("total rise", reader.length(helix.rise, fine=True)),
        ("rise per turn", reader.length(helix.rise_per_turn, fine=True)),
        (f"{inner}grade", reader.grade(helix.grade)),
        (f"{inner}effective grade", reader.grade(helix.effective_grade(coefficient))),
    ]
    if build.centers is not None:
        rows += [
            ("outer track: radius", reader.length(helix.outer_radius, fine=True)),
            ("outer track: grade", reader.grade(helix.outer_grade)),
            ("outer track: effective grade", reader.grade(helix.effective_grade(coefficient, outer=True))),
        ]
    rows += [
        (f"{inner}radius over the longest vehicle", f"{helix.radius / car_length(stock):.1f}"),
        (f"{inner}length of the climb", reader.length(helix.length)),
        ("vertical curves", reader.length(vertical)),
        ("track, roadbed and deck", reader.length(build.structure, fine=True)),
        ("clear height wanted", reader.length(build.clear, fine=True)),
        ("clear height left", _left(found, vertical, reader)),
        ("floor needed", " by ".join(reader.length(side) for side in helix.floor)),
    ]
    page.line()
    page.table(["", ">"], rows, indent=0)
    page.line()
    if build.centers is not None:
        page.paragraph(
            "Let trains climb on the outer track (route Up): it is longer for the same rise, so its grade is flatter, "
            "and its curve is wider. Trains come down on the inner."
        )
    _advise_on_curves(page, found, stock)
    page.paragraph(GUARD)
    page.more(CLIMB)
    if "loads" in more:
        add_longest(page, answer)
    if "trains" in more:
        add_named(page, answer)
    if "notes" in more:
        _add_notes(page, found, stock, reader)
    return page


def _add_notes(page: Page, found: Found[Helix], stock: Plan, reader: Reader) -> None:
    """Add where the figures come from that were not stated."""
    build, usual = found.design.build, usual_build(stock.scale, stock.practice)
    page.heading("Notes")
    if build.clear == usual.clear:
        field = "nmra_clear_height" if stock.practice == "NMRA" and stock.scale.nmra_clear_height else "clear_height"
        page.line(f"Clear height wanted: {stock.scale.source(field)}.", indent=2)
    if build.deck == usual.deck or build.roadbed == usual.roadbed:
        deck, roadbed = (reader.length(each, fine=True) for each in (build.deck, build.roadbed))
        page.line(f"Deck {deck} and roadbed {roadbed}: assumed where nothing else is stated.", indent=2)
    page.line(
        "Clear height left: the least over any railhead, at foot and top over (under) a level approach.", indent=2
    )
    if not (stock.cars or stock.locos):
        page.line("No stock is named: its longest car is taken as a foot long in HO, and as long in scale.", indent=2)


def helix_json(found: Found[Helix], stock: Plan, answer: CheckAnswer) -> str:
    """Return the helix as JSON text, beside what `check` says of it; keys as in `check_json`."""
    helix, build, coefficient = found.design, found.design.build, coefficient_of(stock)
    vertical = helix.vertical(stock)
    document: dict[str, Any] = {
        "helix": {
            "radius_m": rounded(helix.radius),
            "outer_radius_m": rounded(helix.outer_radius),
            "turns": rounded(helix.turns),
            "rise_m": rounded(helix.rise),
            "rise_per_turn_m": rounded(helix.rise_per_turn),
            "grade_pct": rounded(100 * helix.grade),
            "outer_grade_pct": rounded(100 * helix.outer_grade),
            "effective_pct": rounded(100 * helix.effective_grade(coefficient)),
            "outer_effective_pct": rounded(100 * helix.effective_grade(coefficient, outer=True)),
            "length_m": rounded(helix.length),
            "vertical_curve_m": rounded(vertical),
            "structure_m": rounded(build.structure),
            "clear_wanted_m": rounded(build.clear),
            "clear_left_m": rounded(helix.clear_left(vertical)) if helix.stacked else None,
            "floor_m": [rounded(side) for side in helix.floor],
            "stops": None if found.stops is None else found.stops.reason,
            "stops_on": None if found.stops is None else found.stops.rail,
            "stops_why": None if found.stops is None else found.stops.words,
        },
        "care": GUARD,
        **check_document(answer),
    }
    return json.dumps(document, indent=1, allow_nan=False) + "\n"


def _advise_on_curves(page: Page, found: Found[Helix], stock: Plan) -> None:
    ratio = found.design.radius / car_length(stock)
    words = "less than pushing it" if ratio < _PUSHING else "pushing it" if ratio < _RELIABLE else "reliable"
    words = "looks good" if ratio >= _GOOD else words
    page.paragraph(
        f"Radius over the longest vehicle: {words} (2 pushing it, 3 reliable, 4 to 5 looks good, common practice)."
    )
    if not found.design.build.ease and wants_easement(found.design.radius, stock.scale):
        page.paragraph(WANTED)


def _shape(found: Found[Helix]) -> str:
    build = found.design.build
    tracks = "two tracks" if build.centers is not None else "one track"
    return f"{'with straight sides' if build.straight else 'round'}, {tracks}"


def _left(found: Found[Helix], vertical: float, reader: Reader) -> str:
    if not found.design.stacked:
        return "nothing lies above"
    return reader.length(found.design.clear_left(vertical), fine=True)
