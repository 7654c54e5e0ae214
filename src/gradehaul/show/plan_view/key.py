"""The foot of a plan view: the scale bar, what its lines mean, and what becomes of each train."""

from __future__ import annotations

from typing import Any, NamedTuple

from gradehaul.haulage.demand import PLANNED
from gradehaul.haulage.views.plan_view import PlanView, TrainView
from gradehaul.quantities import convert
from gradehaul.show.base.axis_numbers import nice, numbers
from gradehaul.show.base.label_placing import Box
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.sheet import INK, Row, Sheet, Size, Spot
from gradehaul.show.check.outcome_words import short_words
from gradehaul.show.plan_view.film_uses import FORCED, FORCED_WORDS, USES, depends_on, train_words
from gradehaul.show.plan_view.shades import SHADES, runs, shade_words
from gradehaul.show.plan_view.styles import AWAY, AWAY_END, BESIDE, MARKS, STALL, film_styles
from gradehaul.treatment.keep_clean import KeepCleanPlan, used_stretches

_MOST_TRAINS = 8
_SAMPLE = 2.9
"""The room for a sample in front of its words, in ems."""
_SMALL = 0.95


class Entry(NamedTuple):
    """What a line means: the lines of its sample, each drawn on top of those before, and the words."""

    sample: tuple[dict[str, Any], ...]
    words: str


def key_rows(size: Size, entries: list[Entry], line: float) -> list[Row]:
    """Return the rows for what lines mean: as many as they take."""
    sheet = Sheet(size, [Row("key", line)])
    count = 1 + max(row for row, _ in _flow(sheet, entries, sheet.room("key")))
    return [Row(f"key {k}", 1.15 * line) for k in range(count)]


def train_rows(view: PlanView, reader: Reader, film: KeepCleanPlan | None, line: float) -> list[Row]:
    """Return the rows for trains and notes."""
    return [Row(f"train {k}", 1.05 * line) for k in range(len(_lines(view, reader, film)))]


def draw_scale(sheet: Sheet, dots: float, reader: Reader) -> None:
    """Draw the scale bar at the left of its row."""
    room = sheet.room("scale")
    wide = convert((room.right - room.left) / dots, reader.length_unit)
    length = nice(0.0, 0.28 * wide, 2)[-1]
    long = length / wide * (room.right - room.left)
    middle = 0.5 * (room.bottom + room.top)
    tick = 0.35 * sheet.dots_per_em
    x = [room.left, room.left, room.left, room.left + long, room.left + long, room.left + long]
    y = [middle - tick, middle + tick, middle, middle, middle + tick, middle - tick]
    sheet.line(x, y, color=INK, lw=1.2, gid="scale bar")
    (mark,) = numbers([length])
    sheet.label(f"{mark} {reader.length_unit}", [Spot(room.left + long + sheet.dots_per_em, middle, "left")])


def key_entries(view: PlanView, reader: Reader, film: KeepCleanPlan | None, *, roomy: bool) -> list[Entry]:
    """Return what shades, dashes and bands mean, of those that are drawn; or the uses of a keep-clean plan."""
    uses = {} if film is None else used_stretches(film)
    drawn = {stretch.use for track in view.tracks for stretch in uses.get(track, ())}
    entries = [Entry(style.lines, style.words) for use, style in USES.items() if use in drawn]
    if not uses:
        entries = _shade_entries(view, reader)
    if film is not None and any(forced.on.track in view.tracks for forced in film.hardest):
        entries.append(Entry(({**FORCED, "markevery": [1]},), FORCED_WORDS))
    kinds = {mark.kind for train in view.trains for mark in train.marks}
    for kind, style in MARKS.items():
        if kind in kinds:
            band = {"color": INK, "lw": style.width, "ls": style.dashes, "dash_capstyle": "butt"}
            words = f"head of a train {style.words}" if roomy else style.words
            entries.append(Entry((band, {"color": "white", "lw": BESIDE}), words))
    if any(train.stall is not None for train in view.trains):
        entries.append(Entry(({**STALL, "markevery": [1]},), "stalls here first"))
    if any(train.runaways for train in view.trains):
        entries.append(Entry(({**AWAY, "markevery": [1]},), "begins to run away here"))
        entries.append(Entry(({**AWAY_END, "markevery": [1]},), "holds back again from here"))
    return entries


def _shade_entries(view: PlanView, reader: Reader) -> list[Entry]:
    entries = []
    for number in sorted({run.shade for track in view.tracks.values() for run in runs(track)}):
        shade = SHADES[number]
        outline = {"color": "#555555", "lw": shade.width + 0.9}
        entries.append(Entry((outline, {"color": shade.color, "lw": shade.width}), shade_words(number, reader)))
    for film, (color, dashes) in film_styles(view).items():
        entries.append(Entry(({"color": color, "lw": 1.2, "ls": dashes},), f"{film} rail"))
    return entries


def draw_key(sheet: Sheet, entries: list[Entry]) -> None:
    """Tell what lines mean."""
    dot = sheet.dots_per_em
    for entry, (row, x) in zip(entries, _flow(sheet, entries, sheet.room("key 0")), strict=True):
        room = sheet.room(f"key {row}")
        middle = 0.5 * (room.bottom + room.top)
        for style in entry.sample:
            ends = [x, x + 1.2 * dot, x + 2.4 * dot]
            sheet.line(ends, [middle] * 3, **{"solid_capstyle": "butt", **style})
        words = sheet.fitted(entry.words, room.right - x - _SAMPLE * dot, scale=_SMALL)
        sheet.label(words, [Spot(x + _SAMPLE * dot, middle, "left")], scale=_SMALL)


def _flow(sheet: Sheet, entries: list[Entry], room: Box) -> list[tuple[int, float]]:
    """Return the row of each entry and where it begins there, in dots: one behind the other, row by row."""
    dot, row, x = sheet.dots_per_em, 0, room.left
    found = []
    for entry in entries:
        wide = _SAMPLE * dot + sheet.extent(entry.words, scale=_SMALL)[0]
        if x > room.left and x + wide > room.right:
            row, x = row + 1, room.left
        found.append((row, x))
        x += wide + 1.4 * dot
    return found


def draw_trains(sheet: Sheet, view: PlanView, reader: Reader, film: KeepCleanPlan | None) -> None:
    """Tell each train's verdict in a row of its own, then what could not be drawn."""
    for number, wordings in enumerate(_lines(view, reader, film)):
        room = sheet.room(f"train {number}")
        wide = room.right - room.left
        words = next((each for each in wordings if sheet.extent(each)[0] <= wide), wordings[-1])
        middle = 0.5 * (room.bottom + room.top)
        sheet.label(sheet.fitted(words, wide), [Spot(room.left, middle, "left")])


def _lines(view: PlanView, reader: Reader, film: KeepCleanPlan | None) -> list[list[str]]:
    """Return the wordings of each row under the key, the fullest first."""
    lines = [_verdict(train, reader) for train in view.worse]
    if film is not None:
        lines = [train_words(train, film, reader) for train in film.trains] + lines
    if len(lines) > _MOST_TRAINS + 1:
        lines = [*lines[:_MOST_TRAINS], [f"and {len(lines) - _MOST_TRAINS} verdicts more"]]
    depends = [] if film is None else depends_on(film, reader)
    return depends + lines + [[note.text] for note in view.notes]


def _verdict(train: TrainView, reader: Reader) -> list[str]:
    words = short_words(train.outcome, train.verdict, train.misfits, reader)
    who = f"{train.name}, {rail_words(train.rail)}"
    return [f"{who}, route {train.route}: {words[0]}", *(f"{who}: {each}" for each in words)]


def rail_words(rail: str) -> str:
    """Return a rail condition behind a train's name.

    >>> rail_words("treated"), rail_words("as planned fresh")
    ('on treated rail', 'rail as planned fresh')
    """
    return f"rail {rail}" if rail in PLANNED else f"on {rail} rail"
