"""The figures of a plan view: for a person how trains do, the hardest tracks, tracks and joints; as JSON and CSV."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import Any, NamedTuple

from gradehaul.haulage.answers.judged import worst_of_each
from gradehaul.haulage.views.plan_view import PlanView, TrainView
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.plan.rail_condition import CLEAN, PLANNED
from gradehaul.quantities import convert
from gradehaul.quantities.document import document, rounded
from gradehaul.show.base.labels import FILM_CAUTION, USE_WORDS, rail_words
from gradehaul.show.base.page import Page, Piece, words_of
from gradehaul.show.base.spreadsheet import table
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.headline import judged_on, sentence
from gradehaul.show.check.outcome_words import OUTCOMES, short_words, spread_words
from gradehaul.show.film.text import depends_on, train_words
from gradehaul.show.sections import MAP
from gradehaul.treatment.keep_clean import KeepCleanPlan, UsedStretch, used_stretches

_HARDEST, _FEW = 8, 12
"""Trains and tracks shown at the most before all are, the worst first; so few tracks are all shown."""


def map_page(view: PlanView, units: UnitFormat, film: KeepCleanPlan | None = None, more: Collection[str] = ()) -> Page:
    """Return the hardest tracks and the trains of a plan view as a page, and below it the sections named in `more`."""
    page = Page()
    count = len(view.tracks)
    page.line((view.plan.title, "bold"), f": {count} track{'s' if count > 1 else ''}")
    if film is None:
        page.line()
        worse = view.worse
        page.paragraph((headline(view, units), OUTCOMES[worse[0].outcome][1]) if worse else headline(view, units), ".")
        for train in worse[:_HARDEST]:
            page.paragraph(f"{verdict_row(train, view, units)}.", indent=2)
        if len(worse) > _HARDEST:
            page.line(f"{len(worse) - _HARDEST} more, none worse: gradehaul check", indent=2)
        if view.film_spreads and not {each.rail for each in worse}.isdisjoint(PLANNED):
            page.line(spread_words(view.plan, units), indent=2)
    _add_hardest(page, view, units, film)
    if film is not None:
        _add_film(page, film, units)
    if film is not None or any(each.rail != CLEAN for each in view.worse):
        page.line(FILM_CAUTION, indent=2)
    page.line()
    page.more(MAP)
    for section in MAP:
        if section in more:
            _ADD[section](page, view, units, film)
    return page


def _add_film(page: Page, film: KeepCleanPlan, units: UnitFormat) -> None:
    page.heading("Where the film may go")
    for line in depends_on(film, units):
        page.paragraph(*line, indent=2)
    for each in film.trains:
        page.paragraph(train_words(each, film, units), indent=2)
    page.line("Why each stays clean: gradehaul treat.", indent=2)


_PLACES = slice(1, 5)
"""The columns of a track's ends."""

_HEADS = (
    "track", "from x>", "y>", "to x>", "y>", "length>", "curve", "grade>", "effective>", "back>", "rail"
)  # fmt: skip


def _add_hardest(page: Page, view: PlanView, units: UnitFormat, film: KeepCleanPlan | None) -> None:
    """Add the hardest tracks, without their places."""
    table = _tracks(view, units, film)
    order = sorted(view.tracks, key=lambda key: -max(view.tracks[key].steepest))
    heads = [*_heads(film)[: _PLACES.start], *_heads(film)[_PLACES.stop :]]
    most = len(order) if len(order) <= _FEW else _HARDEST
    rows = [[*table[key][: _PLACES.start], *table[key][_PLACES.stop :]] for key in order[:most]]
    page.line()
    page.line("The hardest tracks:" if len(table) > most else "Tracks, the hardest first:")
    page.table(heads, rows, indent=0)
    if len(table) > most:
        page.line(f"{len(table) - most} more, none harder: --more tracks")


def _heads(film: KeepCleanPlan | None) -> tuple[str, ...]:
    return (*_HEADS, "is to be") if film is not None else _HEADS


def _add_tracks(page: Page, view: PlanView, units: UnitFormat, film: KeepCleanPlan | None) -> None:
    page.heading("Tracks")
    page.table(_heads(film), list(_tracks(view, units, film).values()))
    page.line(
        "Effective grades are the greatest at any point, along the track as the plan has it, and back.",
        indent=2,
    )


def _add_notes(page: Page, view: PlanView, _reader: UnitFormat, _film: KeepCleanPlan | None) -> None:
    page.heading("Notes")
    for words in map(str, view.notes or ("None.",)):
        page.line(words, indent=2)


def _tracks(view: PlanView, units: UnitFormat, film: KeepCleanPlan | None) -> dict[str, list[Piece]]:
    """Return a row for each track, with what is to become of it where a keep-clean plan is shown."""
    table = {key: _row(track, units) for key, track in view.tracks.items()}
    if film is None:
        return table
    uses = used_stretches(film)
    return {key: [*row, _uses(uses.get(key, ()), units)] for key, row in table.items()}


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


def _add_joints(page: Page, view: PlanView, units: UnitFormat, _film: KeepCleanPlan | None) -> None:
    page.heading("Joints")
    rows = [
        [joint.name, joint.kind, *_place(joint.x, joint.y, units), units.length(joint.railhead, fine=True)]
        for joint in view.joints
    ]
    page.table(["joint", "kind", "x>", "y>", "railhead>"], rows)


def _add_crossings(page: Page, view: PlanView, units: UnitFormat, _film: KeepCleanPlan | None) -> None:
    page.heading("Tracks over tracks")
    if not view.overpasses:
        page.line("No track passes over another.", indent=2)
        return
    by_id = view.tracks
    rows = [
        [by_id[each.over.track].name, by_id[each.under.track].name, *_place(each.over.x, each.over.y, units),
         units.length(each.height)]
        for each in view.overpasses
    ]  # fmt: skip
    page.table(["over", "under", "x>", "y>", "railheads apart>"], rows)


_ADD: dict[str, Callable[[Page, PlanView, UnitFormat, KeepCleanPlan | None], None]] = {
    "tracks": _add_tracks,
    "joints": _add_joints,
    "crossings": _add_crossings,
    "notes": _add_notes,
}
"""What each section adds to the page."""


def _row(track: TrackView, units: UnitFormat) -> list[Piece]:
    first, last = track.xy[0].tolist(), track.xy[-1].tolist()
    onward, back = track.steepest
    return [
        track.name,
        *_place(first[0], first[1], units),
        *_place(last[0], last[1], units),
        units.length(track.length),
        _curve(track, units),
        units.grade(track.grade),
        units.grade(onward),
        units.grade(back),
        track.rail,
    ]


def _uses(stretches: Sequence[UsedStretch], units: UnitFormat) -> Piece:
    """Return the use of a track, or of each stretch of it where there are several."""
    if len(stretches) == 1:
        return USE_WORDS[stretches[0].use]
    return ", ".join(f"{words_of(USE_WORDS[each.use])} to {units.length(each.stop)}" for each in stretches)


def _place(x: float, y: float, units: UnitFormat) -> list[str]:
    return [units.length(x), units.length(y)]


def _curve(track: TrackView, units: UnitFormat) -> str:
    """Return a track's hand and least radius."""
    sharpest = track.sharpest
    if sharpest == 0:
        return "straight"
    return f"{'left' if sharpest > 0 else 'right'} {units.length(1 / abs(sharpest))}"


def map_document(view: PlanView, film: KeepCleanPlan | None = None) -> dict[str, Any]:
    """Return the plan view as ``--json`` prints it."""
    more = {} if film is None else {"film_plan": document(film)}
    return {**view.to_dict(), **more}


class _Used(NamedTuple):
    track: TrackView
    use: str


def map_csv(view: PlanView, film: KeepCleanPlan | None, units: UnitFormat | None) -> str:
    """Return the tracks of a plan view as CSV (RFC 4180), a row each; a keep-clean plan adds a column ``use``.

    Where stretches of a track have different uses, the column has each with the places where it begins and ends.
    """
    keys = TrackView.KEYS.split()[1:]
    if film is None:
        return table(TrackView, " ".join(keys), view.placed_tracks, units)
    nested = (f"{key.partition('=')[0].split('.')[-1]}=track.{key.rpartition('=')[2]}" for key in keys)
    uses, unit = used_stretches(film), "m" if units is None else units.length_unit
    rows = (_Used(track, _use(uses.get(key, ()), unit)) for key, track in view.tracks.items())
    return table(_Used, f"{' '.join(nested)} use", rows, units)


def _use(stretches: tuple[UsedStretch, ...], unit: str) -> str:
    if len(stretches) == 1:
        return stretches[0].use
    ends = [[rounded(convert(each, unit)) for each in (part.start, part.stop)] for part in stretches]
    return "; ".join(f"{part.use} {begin} to {end}" for part, (begin, end) in zip(stretches, ends, strict=True))
