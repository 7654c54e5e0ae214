"""Railheads found by leveling: how hard the hill was and is, and the heights to change; and as a table."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator

from gradehaul.design.deck import STRENGTH
from gradehaul.design.level.as_checked import ParkedGrade, RulingGrade
from gradehaul.design.level.hills import GAIN
from gradehaul.design.level.railheads import ActiveLimit, Hardest, Leveled, StationHeight
from gradehaul.errors import clean
from gradehaul.show import LEVEL
from gradehaul.show.base.labels import chance_words, counted, from_to, listed, rail_words
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.spreadsheet import table
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import DOES
from gradehaul.show.check.route_text import DOWNHILL, NO_GRADE

CAUTION = (
    "Before you cut: run clearance on the plan that -o writes, since heights check neither supports nor clearance over "
    f"tracks below. {STRENGTH} Put a guard or a raised edge along track from which a train can fall, and keep children "
    "away from open drops."
)
"""What is said wherever railheads to change are shown."""

_MOST_NAMES = 3
_STILL = 1e-6
"""A rise that is no more is level, m."""
_SAME = 5e-5
"""Heights that differ by no more are the same, m."""
_NOT_WORTH = 2.5e-4
"""Where no hardest grade falls, a change by no more is not worth a cut, m: half of the half millimeter of a rule."""


def level_page(found: Leveled, units: UnitFormat, more: Collection[str] = ()) -> Page:
    """Return the answer as a page, and below it the sections that are named in `more`."""
    page = Page()
    page.line((clean(found.plan.title), "bold"), ": railhead heights that even out the climb")
    page.line()
    page.line(*headline(found, units), *([] if found.gains else [" See --more limits."]))
    for berth in found.parked:
        page.line(*_parked(found, berth, units))
    for held in _held_by(found):
        page.line(held)
    for each in found.worse:
        style = "bold red" if each.newly_fails else "yellow"
        before, after = (f"risk {chance_words(train.risk)}" for train in (each.before, each.after))
        if each.after.outcome != each.before.outcome:
            after = f"{DOES[each.after.outcome][0]}, {after}"
        name, rail = each.after.name, rail_words(each.after.rail)
        page.line(
            (f"{name} does worse", style), f" {rail}: {DOES[each.before.outcome][0]}, {before} before; {after} after."
        )
    page.line()
    rows: list[list[Piece]] = [
        [
            each.train,
            *_before_after(each, f"{each.track}, head {units.length(each.head)}{_behind(each.cars)}", units),
        ]
        for each in sorted(found.hardest, key=lambda each: -round(each.leveled, 8))
    ]
    page.table(["train", "hardest before>", "after>", "place"], rows, indent=0)
    page.line()
    rulings = [[each.route, *_before_after(each, each.track, units)] for each in found.rulings]
    page.table(["route", "ruling before>", "after>", "place"], rulings, indent=0)
    rows_of = zip(_heights(found, units), found.rows, strict=True)
    changed = [row for row, station in rows_of if to_change(found, station)]
    page.line()
    if changed and not found.gains:
        page.line("No railhead needs to change: only easier places would gain (--more heights).")
    elif changed:
        page.line("Railheads to change:")
        page.table(_HEADS, changed, indent=0)
        page.line()
        page.line("All others stay as they are: --more heights.")
        page.line(CAUTION)
    else:
        page.line("No railhead needs to change.")
    page.more(LEVEL)
    if "heights" in more:
        page.heading("All railheads")
        page.table(_HEADS, _heights(found, units))
    if "limits" in more:
        page.heading("What keeps the hardest grade from being lower")
        words = [(each.train, binding_words(each, units)) for each in found.hardest if each.binds]
        page.table(["train", ""], [[name * (k == 0), line] for name, lines in words for k, line in enumerate(lines)])
    if "notes" in more:
        page.heading("Notes")
        page.line(
            "Hardest: the effective grade, averaged under the locomotives alone or with any number of cars. Places are "
            "along the route of the train. Before: an even grade between the heights that are fixed.",
            indent=2,
        )
        page.line(
            "Heights are found without vertical curves; all grades above have those of the plan, as check of the "
            "new plan has them. Heights stay even where no train pulls, or where no more than "
            f"{units.grade(GAIN)} is gained.",
            indent=2,
        )
        page.line(CAUTION, indent=2)
    return page


def _before_after(each: Hardest | RulingGrade, place: str, units: UnitFormat) -> list[str]:
    """Return the grade before and after, and the place; none where nothing climbs."""
    if max(each.even, each.leveled) < NO_GRADE:
        return ["none", "none", DOWNHILL]
    return [units.grade(each.even), units.grade(each.leveled), place]


def to_change(found: Leveled, station: StationHeight) -> bool:
    """Return whether the height of a station changes by so much that it is worth a cut."""
    return abs(station.railhead - station.string) > (_SAME if found.gains else _NOT_WORTH)


def _held_by(found: Leveled) -> Iterator[str]:
    """Yield which heights given within lines, as drawn or measured, keep the hardest grade up, and what to do."""
    given = (where for each in found.top.binds if each.rule == "given" for where in each.where)
    held = [where for where in given if where not in found.stations.joints]
    if held and found.gains:
        words = f"heights given within lines keep the hardest grade from being lower: {listed(held, _MOST_NAMES)}"
        yield f"For {found.top.train}, {words}. Where you may, change one or leave it out, and level again."
    elif held:
        yield "If these heights were measured on track already built: --survey finds shims."


def _behind(cars: int) -> str:
    """Return with how many cars behind the locomotives a place is hardest, where it is with any."""
    return f", with {counted(cars, 'car')}" if cars else ""


_HEADS = ("line", "at>", "before>", "after>", "", "grade ahead>")


def headline(found: Leveled, units: UnitFormat) -> list[Piece]:
    """Return by how much the hardest grade falls for the trains for which it does, and what gets harder anyway."""
    trains = [each for each in found.harder if isinstance(each, Hardest)]
    if trains:
        worst = max(trains, key=lambda each: each.leveled - each.even)
        grades = f"{units.grade(worst.leveled)} in place of {units.grade(worst.even)}"
        return [(f"{worst.train} has it HARDER than before, {grades}", "bold red"), f", on {worst.track}."]
    pieces = _better(found, units)
    routes = [each for each in found.harder if not isinstance(each, Hardest)]
    if routes:
        steepest = max(routes, key=lambda each: each.leveled - each.even)
        run = any(found.plan.trains[each.train].route == steepest.route for each in found.hardest)
        grades = f" ({units.grade(steepest.leveled)}, was {units.grade(steepest.even)})"
        rest = ", but averaged over a train's length it is no worse" if run else "; no train judged here runs there"
        pieces += [" ", (f"One spot on {steepest.track} has a higher effective grade", "yellow"), f"{grades}{rest}."]
    return pieces


def _parked(found: Leveled, berth: ParkedGrade, units: UnitFormat) -> list[Piece]:
    """Return that a berth gets steeper, and which cars would roll away from it; then why, or what keeps its grade."""
    grades = from_to(units.grade(berth.even), units.grade(berth.leveled))
    keeps = " A grade or rise written on its tracks keeps it."
    if _moves_as_a_whole(found, berth.berth):
        keeps = (
            " Its own grade stays: the vertical curve into the track beside it, which gets steeper, reaches into it. "
            "Let the berth end where that curve begins."
        )
    at = [] if found.gains else ["At the railheads of --more heights: "]
    newly = [car for car in berth.roll_after if car not in berth.rolled_before]
    before = listed(berth.rolled_before, _MOST_NAMES)
    if newly:
        already = f"; {before} {'do' if berth.rolled_before[1:] else 'does'} so already" if before else ""
        return [
            *at,
            (f"Parked {listed(newly, _MOST_NAMES)} would newly ROLL AWAY from {clean(berth.berth)}", "bold red"),
            f", which gets steeper, {grades}{already}.{keeps}",
        ]
    rest = f"; parked {before} would roll away before and after" if before else ""
    style = "bold red" if berth.fails else "yellow"
    return [*at, (f"{clean(berth.berth)}, where cars stand, gets steeper", style), f", {grades}{rest}.{keeps}"]


def _moves_as_a_whole(found: Leveled, name: str) -> bool:
    """Return whether leveling changes all heights within a berth by the same, so that its own grade stays."""
    tracks = [found.plan.tracks[track] for track in found.plan.berths[name].tracks]
    line = found.plan.lines[tracks[0].line]
    start = sum(track.length for track in line.tracks if track.number < tracks[0].number)
    stop = start + sum(track.length for track in tracks)
    numbers, distance = found.stations.lines[line.name]
    within = (distance > start - _STILL) & (distance < stop + _STILL)
    moved = (found.heights - found.even)[numbers[within]]
    return float(moved.max() - moved.min()) <= _STILL


def _better(found: Leveled, units: UnitFormat) -> list[Piece]:
    better = [each for each in found.hardest if each.even - each.leveled > GAIN]
    if not better:
        return [(f"No train's hardest grade falls: {_limits_words(found, units)}", "yellow"), "."]
    best = max(better, key=lambda each: round(each.even - each.leveled, 8))  # of equal ones the first
    grades = _from_to(best, units)
    if len(found.hardest) == 1:
        return [(f"The hardest grade of {best.train} falls from {grades}", "green"), "."]
    every = len(better) == len(found.hardest)
    count = "all trains" if every else f"{len(better)} of {len(found.hardest)} trains"
    rest = "" if every else f"; for the rest it changes by {units.grade(GAIN)} or less"
    least = min(better, key=lambda each: round(each.even - each.leveled, 8))  # of equal ones the first
    least_words = f"; least for {least.train}, {_from_to(least, units)}" if _from_to(least, units) != grades else ""
    return [
        (f"The hardest grade falls for {count}", "green"),
        f": {'most ' if least_words else ''}for {best.train}, {grades}{least_words}{rest}.",
    ]


def _limits_words(found: Leveled, units: UnitFormat) -> str:
    """Return what keeps the hardest grade of all where it is."""
    top, grade = found.top, units.grade(found.top.leveled)
    if "change" in found.limited_by:
        changes = [each for each in top.binds if each.rule == "change"]
        best = min(changes, key=lambda each: math.inf if each.lower is None else each.lower)
        own = f"the hardest grade of {top.train} at {grade}"
        limit = f"the largest change of grade, {units.grade(best.limit or 0.0)}, keeps {own}"
        if best.lower is None or best.wider is None or best.lower > top.leveled - GAIN:
            return limit
        return f"{limit}; with --change {units.grade(best.wider)} it would be {units.grade(best.lower)}"
    names = {
        "at least": "--at-least",
        "at most": "--at-most",
        "rise": "a stated rise or grade",
        "given": "the heights that are fixed",
    }
    words = [names[each] for each in found.limited_by if each in names]
    keep = "keeps" if len(words) == 1 and words != [names["given"]] else "keep"
    return f"{listed(words)} {keep} the hardest grade of {top.train} at {grade}"


def _from_to(hardest: Hardest, units: UnitFormat) -> str:
    return from_to(units.grade(hardest.even), units.grade(hardest.leveled))


def binding_words(hardest: Hardest, units: UnitFormat) -> list[str]:
    """Return what keeps a train's hardest grade from being lower, in words, one line for each rule."""
    return [_words(binding, units) for binding in hardest.binds]


def _words(binding: ActiveLimit, units: UnitFormat) -> str:
    where = listed(binding.where, _MOST_NAMES)
    lower = None if binding.lower is None else units.grade(binding.lower)
    if binding.rule == "change":
        assert binding.limit is not None
        words = f"the change of grade of {units.grade(binding.limit)} at {where}"
        wider = None if binding.wider is None else units.grade(binding.wider)
        return words if lower is None else f"{words}; with --change {wider} it would be {lower}"
    if binding.rule in ("at least", "at most"):
        assert binding.limit is not None
        words = f"{binding.rule} {units.length(binding.limit, fine=True)} at {where}"
        return words if lower is None else f"{words}; without that it would be {lower}"
    return {
        "given": f"the heights fixed at {where}",
        "rise": f"the rise or grade stated at {where}",
        "direction": f"the direction of the grade must not change at {where}",
        "apart": f"the room over the track below at {where}",
        "train": f"{where}: no harder grade than before",
    }[binding.rule]


def _heights(found: Leveled, units: UnitFormat) -> list[list[Piece]]:
    """Return a row for every station of every line."""
    names = {number: name for name, number in found.stations.joints.items()}
    numbers = [number for own, _ in found.stations.lines.values() for number in own.tolist()]
    rows: list[list[Piece]] = []
    for here, after, number in zip(found.rows, [*found.rows[1:], None], numbers, strict=True):
        grade, joint = "", names.get(number, "")
        if after is not None and after.line == here.line:
            rise = after.railhead - here.railhead
            grade = units.grade(rise / (after.at - here.at) if abs(rise) > _STILL else 0.0)
        rows.append(
            [
                here.line,
                units.length(here.at),
                units.length(here.string, fine=True),
                units.length(here.railhead, fine=True),
                joint if here.free else f"{joint} fixed".strip(),
                grade,
            ]
        )
    return rows


def level_csv(found: Leveled, units: UnitFormat | None) -> str:
    """Return the stations as CSV (RFC 4180)."""
    return table(StationHeight, "line at string railhead free", found.rows, units)
