"""A helix for a person: its figures, which track should climb, what stops a better one, its trains."""

from __future__ import annotations

from gradehaul.design.climb.backward import Found
from gradehaul.design.climb.easing import WANTED, wants_easement
from gradehaul.design.climb.helix import GUARD, Helix, usual_build
from gradehaul.design.climb.hill import car_length, coefficient_of
from gradehaul.design.climb.steps import steps_of
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.plan.records import Plan
from gradehaul.show.base.page import Page
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.climb.hill_text import add_stop, add_trains, add_worst

_PUSHING, _RELIABLE, _GOOD = 2.0, 3.0, 4.0
"""Radius over car length (common practice)."""


def helix_page(
    found: Found[Helix], stock: Plan, answer: CheckAnswer, reader: Reader, *, find: str | None = None
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
    """
    page, helix, build = Page(), found.design, found.design.build
    page.line(("Helix", "bold"), f", scale {stock.scale.name}, ", _shape(found))
    add_worst(page, answer)
    if find in ("radius", "grade") and found.stops is not None:
        step = reader.small(steps_of(stock.unit).length)
        steepest = f"The steepest grade is {100 * helix.grade:.3f} %; one 0.001 % steeper"
        better = f"A radius {step} smaller" if find == "radius" else steepest
        add_stop(page, better, found.stops)
    if find == "cars" and found.stops is not None:
        page.line("No other helix of this shape takes more cars in this floor: the radius is the largest,", indent=2)
        page.line(f"the rise per turn as given or the least that leaves room; {found.stops.words}.", indent=2)
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
    page.table(["", ">"], rows)
    if build.centers is not None:
        page.line(
            "Let trains climb on the outer track (route Up): it is longer for the same rise, so its grade is flatter, "
            "and its curve is wider. Trains come down on the inner.",
            indent=2,
        )
    _advise_on_curves(page, found, stock)
    usual = usual_build(stock.scale, stock.practice)
    if build.clear == usual.clear:
        field = "nmra_clear_height" if stock.practice == "NMRA" and stock.scale.nmra_clear_height else "clear_height"
        page.line(f"Clear height wanted: {stock.scale.source(field)}.", indent=2)
    if build.deck == usual.deck or build.roadbed == usual.roadbed:
        deck, roadbed = (reader.length(each, fine=True) for each in (build.deck, build.roadbed))
        page.line(f"Deck {deck} and roadbed {roadbed}: assumed where nothing else is given.", indent=2)
    page.line(
        "Clear height left: the least over any railhead, at foot and top over (under) a level approach.", indent=2
    )
    add_trains(page, answer)
    page.heading("Take care")
    page.line(GUARD, indent=2)
    return page


def _advise_on_curves(page: Page, found: Found[Helix], stock: Plan) -> None:
    if not (stock.cars or stock.locos):
        page.line("No stock is given: its longest car is taken as a foot long in HO, and as long in scale.", indent=2)
    ratio = found.design.radius / car_length(stock)
    told = "less than pushing it" if ratio < _PUSHING else "pushing it" if ratio < _RELIABLE else "reliable"
    told = "looks good" if ratio >= _GOOD else told
    page.line(
        f"Radius over the longest vehicle: {told} (2 pushing it, 3 reliable, 4 to 5 looks good, common practice).",
        indent=2,
    )
    if not found.design.build.ease and wants_easement(found.design.radius, stock.scale):
        page.line(WANTED, indent=2)


def _shape(found: Found[Helix]) -> str:
    build = found.design.build
    tracks = "two tracks" if build.centers is not None else "one track"
    return f"{'with straight sides' if build.straight else 'round'}, {tracks}"


def _left(found: Found[Helix], vertical: float, reader: Reader) -> str:
    if not found.design.stacked:
        return "nothing lies above"
    return reader.length(found.design.clear_left(vertical), fine=True)
