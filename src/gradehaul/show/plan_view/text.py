"""The figures of a plan view: for a person how trains do, the hardest tracks, tracks and joints; as CSV."""

from __future__ import annotations

from collections.abc import Callable, Collection

from gradehaul.haulage.answers.judged import worst_of_each
from gradehaul.haulage.views.plan_view import PlanView, TrainView
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.plan.rail_condition import CLEAN, PLANNED
from gradehaul.show import MAP
from gradehaul.show.base.labels import FILM_CAUTION, rail_words
from gradehaul.show.base.page import Page, Piece, words_of
from gradehaul.show.base.spreadsheet import table
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import OUTCOMES, judged_on, sentence, short_words, spread_words

_HARDEST, _FEW = 8, 12
"""Trains and tracks shown at the most before all are, the worst first; so few tracks are all shown."""


def map_page(view: PlanView, units: UnitFormat, more: Collection[str] = ()) -> Page:
    """Return the hardest tracks and the trains of a plan view as a page, and below it the sections named in `more`."""
    page = Page()
    count = len(view.tracks)
    page.line((view.plan.title, "bold"), f": {count} track{'s' if count > 1 else ''}")
    page.line()
    worse = view.worse
    page.line((headline(view, units), OUTCOMES[worse[0].outcome][1]) if worse else headline(view, units), ".")
    for train in worse[:_HARDEST]:
        page.line(f"{verdict_row(train, view, units)}.", indent=2)
    if len(worse) > _HARDEST:
        page.line(f"{len(worse) - _HARDEST} more, none worse: gradehaul check", indent=2)
    if view.film_spreads and not {each.rail for each in worse}.isdisjoint(PLANNED):
        page.line(spread_words(view.plan, units), indent=2)
    _add_hardest(page, view, units)
    if any(each.rail != CLEAN for each in worse):
        page.line(FILM_CAUTION, indent=2)
    page.line()
    page.more(MAP)
    for section in MAP:
        if section in more:
            _ADD[section](page, view, units)
    return page


_HEADS = ("track", "length>", "curve", "grade>", "effective>", "reverse>", "rail")


def _add_hardest(page: Page, view: PlanView, units: UnitFormat) -> None:
    """Add the hardest tracks."""
    order = sorted(view.tracks.values(), key=lambda track: -max(track.steepest))
    most = len(order) if len(order) <= _FEW else _HARDEST
    page.line()
    page.line("The hardest tracks:" if len(order) > most else "Tracks, the hardest first:")
    page.table(_HEADS, [_row(track, units) for track in order[:most]], indent=0)
    if len(order) > most:
        page.line(f"{len(order) - most} more, none harder: --more tracks")
    page.line("Grade: the mean; effective: the greatest at a point; reverse: for a train the other way.", indent=2)


def _add_tracks(page: Page, view: PlanView, units: UnitFormat) -> None:
    page.heading("Tracks")
    page.table(_HEADS, [_row(track, units) for track in view.tracks.values()])
    page.heading("Ends of tracks")
    rows = [
        [track.name, *(units.length(each) for each in (*track.xy[0].tolist(), *track.xy[-1].tolist()))]
        for track in view.tracks.values()
    ]
    page.table(["track", "from x>", "y>", "to x>", "y>"], rows)


def _add_notes(page: Page, view: PlanView, _units: UnitFormat) -> None:
    page.heading("Notes")
    for words in map(str, view.notes or ("None.",)):
        page.line(words, indent=2)


def headline(view: PlanView, units: UnitFormat) -> str:
    """Return how the trains do, those that fail by name; the steepest track where there is none."""
    trains = worst_of_each(view.trains)
    if not trains:
        steepest = max(view.tracks.values(), key=lambda track: max(track.steepest))
        return f"Steepest: {units.grade(max(steepest.steepest))} effective on {steepest.name}"
    rails, total = {each.rail: None for each in view.trains}, len(trains)
    words = sentence(trains, total, judged_on(rails, view.hours), f" of {total} trains")
    return "".join(map(words_of, words)).removesuffix(".")


def verdict_row(train: TrainView, view: PlanView, units: UnitFormat) -> str:
    """Return what becomes of a train, on which rail and route."""
    on = rail_words(train.rail) if view.hours is None else judged_on([train.rail], view.hours).strip()
    words = short_words(train.outcome, train.verdict, train.misfits, units)[0]
    return f"{train.name}, {on}, route {train.route}: {words}"


def _add_joints(page: Page, view: PlanView, units: UnitFormat) -> None:
    page.heading("Joints")
    rows = [
        [joint.name, joint.kind, *_place(joint.x, joint.y, units), units.length(joint.railhead, fine=True)]
        for joint in view.joints
    ]
    page.table(["joint", "kind", "x>", "y>", "railhead>"], rows)


def _add_crossings(page: Page, view: PlanView, units: UnitFormat) -> None:
    page.heading("Tracks over tracks")
    if not view.overpasses:
        page.line("No track crosses over another (turns that lie over one another are not listed).", indent=2)
        return
    by_id = view.tracks
    rows = [
        [by_id[each.over.track].name, by_id[each.under.track].name, *_place(each.over.x, each.over.y, units),
         units.length(each.height)]
        for each in view.overpasses
    ]  # fmt: skip
    page.table(["over", "under", "x>", "y>", "railheads apart>"], rows)


_ADD: dict[str, Callable[[Page, PlanView, UnitFormat], None]] = {
    "tracks": _add_tracks,
    "joints": _add_joints,
    "crossings": _add_crossings,
    "notes": _add_notes,
}
"""What each section adds to the page."""


def _row(track: TrackView, units: UnitFormat) -> list[Piece]:
    onward, back = track.steepest
    return [
        track.name,
        units.length(track.length),
        _curve(track, units),
        units.grade(track.grade),
        units.grade(onward),
        units.grade(back),
        track.rail,
    ]


def _place(x: float, y: float, units: UnitFormat) -> list[str]:
    return [units.length(x), units.length(y)]


def _curve(track: TrackView, units: UnitFormat) -> str:
    """Return a track's hand and least radius."""
    return "straight" if track.radius is None else f"{track.hand} {units.length(track.radius)}"


def map_csv(view: PlanView, units: UnitFormat | None) -> str:
    """Return the tracks of a plan view as CSV (RFC 4180), a row each."""
    return table(TrackView, " ".join(TrackView.KEYS.split()[1:]), view.placed_tracks, units)
