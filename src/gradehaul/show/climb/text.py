"""A designed climb for a person: its trains, what stops a better one, its figures."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence

from gradehaul.design.climb.designs import HelixAnswer, InclineAnswer
from gradehaul.design.climb.helix import GUARD, HEADROOM_TIE, UNEASED, usual_helix_build
from gradehaul.design.climb.hill import DOWN, Hill, car_length, steps_of
from gradehaul.design.climb.incline import CARE
from gradehaul.design.climb.search import Stop
from gradehaul.design.deck import assumed_layers
from gradehaul.haulage.answers.judged import worst_first
from gradehaul.show import CLIMB
from gradehaul.show.base.labels import listed
from gradehaul.show.base.page import Page, Piece, words_of
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.first_screen import add_doubts
from gradehaul.show.check.outcome_words import outcome_piece
from gradehaul.show.check.route_text import add_loads
from gradehaul.show.check.trains_text import add_trains

_PUSHING, _RELIABLE, _GOOD = 2.0, 3.0, 4.0
"""Radius over car length (common practice)."""
_PRACTICE = 0.01
"""Change of grade within a car's length that practice allows (common practice)."""
_EASEMENTS = f"Easements would help: the radius is not over {UNEASED:g} x gauge (NEM 113)."


def helix_page(found: HelixAnswer, units: UnitFormat, *, find: str | None = None, more: Collection[str] = ()) -> Page:
    """Return the page of a helix, with what was looked for, and below it the sections named in `more`."""
    page, helix, build, stock = Page(), found.helix, found.helix.build, found.stock
    two = build.two
    shape = f"{'with straight sides' if build.straight else 'round'}, {'two tracks' if two else 'one track'}"
    page.line(("Helix", "bold"), f", scale {stock.scale.name}, {shape}")
    page.line()
    _add_headroom(page, found, units)
    _add_worst(page, found.hill)
    step = units.length(steps_of(stock.unit).length, fine=True)
    steepest = f"The steepest grade is {100 * helix.grade:.3f} %; one 0.001 % steeper"
    _add_stop(page, f"A radius {step} smaller" if find == "radius" else steepest, found.stops)
    if find == "cars":
        turns = " in whole half turns" if build.straight else ""
        page.line(
            "The most cars for this floor: the radius is the largest there, and the rise per turn the least"
            f"{turns} that keeps the headroom."
        )
    inner = "inner track: " if two else ""
    rows = [
        (f"{inner}radius", units.length(helix.radius, fine=True)),
        ("turns", f"{helix.turns:.2f}"),
        ("total rise", units.length(helix.rise, fine=True)),
        ("rise per turn", units.length(helix.rise_per_turn, fine=True)),
        (f"{inner}grade", units.grade(helix.grade)),
        (f"{inner}effective grade", units.grade(found.effective)),
    ]
    if two:
        rows += [
            ("track spacing, center to center", units.length(float(build.apart(helix.radius)), fine=True)),
            ("outer track: radius", units.length(helix.outer_radius, fine=True)),
            ("outer track: grade", units.grade(helix.outer_grade)),
            ("outer track: effective grade", units.grade(found.outer_effective)),
        ]
    left = found.clear_left
    ratio = math.floor(100 * helix.radius / car_length(stock) + 1e-6) / 100  # never rounded over a bar
    rows += [
        (f"{inner}radius in vehicle lengths", f"{ratio:.2f}"),
        (f"{inner}length of the climb", units.length(helix.length)),
        ("vertical curves", units.length(found.vertical_curve)),
        ("track, roadbed and deck", units.length(build.structure, fine=True)),
        ("clear height wanted", units.length(build.clear, fine=True)),
        ("clear height left", "nothing lies above" if left is None else units.length(left, fine=True)),
        ("floor needed", " by ".join(units.length(side) for side in helix.floor)),
    ]
    page.line()
    page.table(["", ">"], rows, indent=0)
    page.line()
    if two:
        page.line(
            "Let trains climb on the outer track (route Up): it is longer for the same rise, so its grade is flatter, "
            "and its curve is wider. Trains come down on the inner track."
        )
    words = "too tight, under 2" if ratio < _PUSHING else "pushing it" if ratio < _RELIABLE else "reliable"
    words = "looks good" if ratio >= _GOOD else words
    page.line(f"Radius: {words} (2 vehicle lengths pushing it, 3 reliable, 4 to 5 looks good, common practice).")
    if not build.ease and helix.radius <= UNEASED * stock.scale.gauge:
        page.line(_EASEMENTS)
    page.line(GUARD)
    _add_more(page, found.hill, units, {*more, "loads"} if find == "cars" else more)
    if "notes" in more:
        _add_helix_notes(page, found, units)
    return page


def _add_headroom(page: Page, found: HelixAnswer, units: UnitFormat) -> None:
    """Add by how much the deck above is too low, and what would mend it; or that it is under the standard's."""
    room, left, helix = found.headroom, found.clear_left, found.helix
    if left is None:
        return

    def shown(length: float) -> str:
        return units.length(length, fine=True)

    if room.outcome == "pass":
        standard = usual_helix_build(found.stock).clear
        if left < standard - HEADROOM_TIE:
            wanted = f"under the standard's {shown(standard)}, not under your {shown(helix.build.clear)}"
            page.line(("look", "yellow"), f": the deck above leaves {shown(left)} over the railhead, {wanted}.")
        return
    page.line(
        ("TOO LOW", "bold red"),
        f", by {shown(room.short_by)}: the deck above leaves {shown(max(left, 0.0))} over the railhead where it is "
        f"least, and stock needs {shown(helix.build.clear)}.",
    )
    changes: tuple[tuple[float | None, str, str, float, Callable[[float], str]], ...] = (
        (room.least_rise_per_turn, "a rise per turn of", "or more", helix.rise_per_turn, shown),
        (room.least_radius, "a radius of", "or more with this rise per turn", helix.radius, shown),
        (room.most_turns, "at most", "turns for the same rise", helix.turns, "{:.4g}".format),
        (room.thickest_deck, "a deck of", "or less", helix.build.deck, shown),
    )
    cures = [
        f"{what} {figure(value)} {way} (now {figure(own)})"
        for value, what, way, own, figure in changes
        if value is not None
    ]
    head = "One of these fixes it" if len(cures) > 1 else "This fixes it"
    page.line(f"{head}: {'; '.join(cures)}." if cures else "No single change fixes it.")


def _add_helix_notes(page: Page, found: HelixAnswer, units: UnitFormat) -> None:
    """Add where the figures come from that were not stated."""
    build, stock = found.helix.build, found.stock
    usual = usual_helix_build(stock)
    page.heading("Notes")
    if build.clear == usual.clear:
        field = "nmra_clear_height" if stock.practice == "NMRA" and stock.scale.nmra_clear_height else "clear_height"
        page.line(f"Clear height wanted: {stock.scale.source(field)}.", indent=2)
    assumed = [
        f"{layer} {units.length(getattr(build, layer), fine=True)}"
        for layer in assumed_layers(stock.deck)
        if getattr(build, layer) == getattr(usual, layer)
    ]
    if assumed:
        page.line(f"Assumed, as nothing else is stated: {', '.join(assumed)}.", indent=2)
    page.line("Clear height left: the least anywhere, counting a level approach at foot and top.", indent=2)
    if not (stock.cars or stock.locos):
        page.line(
            "No car is named: the longest is taken as 12 in long in HO, and as long to scale in others.", indent=2
        )


def incline_page(
    found: InclineAnswer, units: UnitFormat, *, find: str | None = None, more: Collection[str] = ()
) -> Page:
    """Return the page of an incline, as `helix_page` that of a helix."""
    page, incline, stock = Page(), found.incline, found.stock
    page.line(("Incline", "bold"), f", scale {stock.scale.name}")
    page.line()
    _add_worst(page, found.hill)
    step = steps_of(stock.unit)
    shorter = f"A length {units.length(step.length, fine=True)} shorter"
    higher = f"A rise {units.length(step.rise, fine=True)} higher"
    _add_stop(page, shorter if find == "length" else higher, found.stops)
    rows = [
        ("rise", units.length(incline.rise, fine=True)),
        ("length, level to level", units.length(incline.length, fine=True)),
        ("grade of straights", units.grade(incline.grade)),
    ]
    for number, bend in enumerate(incline.bends, 1):
        hand = "left" if bend.angle > 0 else "right"
        turned = f"{hand} {units.length(bend.radius)}, {abs(math.degrees(bend.angle)):.4g} deg"
        rows.append((f"grade in curve {number}, {turned}", units.grade(incline.grade_in(bend))))
    rows += [
        ("effective grade, away from vertical curves", units.grade(incline.effective_grade)),
        ("greatest effective grade at any point", units.grade(found.greatest_effective)),
        ("each straight", units.length(incline.straight)),
        ("vertical curves", units.length(incline.vertical)),
        (f"change of grade in a car length, {units.length(found.car_length)}", units.grade(found.change_per_car)),
    ]
    page.line()
    page.table(["", ">"], rows, indent=0)
    page.line()
    sharp = found.change_per_car > _PRACTICE * (1 + 1e-6)
    page.line(
        "Vertical curves: ",
        ("SHARPER than", "bold red") if sharp else ("at least as long as", "green"),
        " common practice has them, about a car length, or a foot, for each 1 % of change.",
    )
    short = [curve.length for curve in incline.curves if curve.length < incline.vertical * (1 - 1e-9)]
    if short:
        page.line(
            f"{len(short)} vertical curves come out shorter, down to {units.length(min(short))}: the grades beside "
            "them are no longer."
        )
    sharp_bends = [bend for bend in incline.bends if bend.radius <= UNEASED * stock.scale.gauge]
    if sharp_bends and not any(bend.ease for bend in incline.bends):
        page.line(_EASEMENTS)
    page.line(CARE)
    _add_more(page, found.hill, units, more, CLIMB[:2])
    return page


def _add_stop(page: Page, harder: str, stop: Stop | None) -> None:
    """Add what stops the next harder design, where one was looked for."""
    if stop is not None:
        limit = stop.reason == "limit"
        page.line(f"{'There is no harder answer to try' if limit else f'{harder} does not work'}: {stop.words}.")


def _add_worst(page: Page, hill: Hill) -> None:
    """Add how the trains do, the worst first, and which way they run; or that no train is named."""
    own = {run: name for name, runs in hill.runs.items() for run in runs}
    rails: dict[tuple[str, str, Piece], list[str]] = {}
    for train in worst_first(hill.check.trains):
        way = "down" if train.route == DOWN else "up"
        outcome: Piece = outcome_piece(train.outcome, train.verdict)
        rails.setdefault((own[train.name], way, outcome), []).append(train.rail)
    for (name, way, outcome), on in rails.items():
        be = "" if words_of(outcome) in ("STALLS", "RUNS AWAY", "climbs") else "is "
        page.line(f"{name}, going {way}, {be}", outcome, f" on {listed(on)} rail.")
    add_doubts(page, hill.check.doubts)
    if not rails:
        page.line("No train is named, so none is judged: --plan names a plan with one.")


def _add_more(
    page: Page, hill: Hill, units: UnitFormat, more: Collection[str], sections: Sequence[str] = CLIMB
) -> None:
    page.more(sections)
    if "loads" in more:
        add_loads(page, hill.check, units)
    if "trains" in more:
        add_trains(page, hill.check, units)
