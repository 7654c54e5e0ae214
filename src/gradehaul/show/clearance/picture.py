"""The picture of clearances: the plan, with a numbered mark wherever something fails or is to be looked at."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from gradehaul.design.clearance.findings import Clearances
from gradehaul.design.clearance.rules import Finding, Outcome
from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.show.base.picture import Format, drawing_rules, picture_bytes
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.sheet import INK, SIZES, Row, Size, SizeName, Spot
from gradehaul.show.clearance.words import RULES, bounds_words, figure_words, headline, place_words
from gradehaul.show.plan_view.canvas import Canvas, gaps_under, plan_canvas, without
from gradehaul.show.plan_view.key import Entry, draw_key, draw_scale, key_rows
from gradehaul.show.plan_view.labels import draw_joints, drawn_on, set_beside
from gradehaul.track.piecewise import FloatArray

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_TRACK = 3.0
"""The width of track, points."""

_TOGETHER = 9.0
"""Marks nearer than this on paper, points, share one."""

_MOST_ROWS = {"a4": 14, "phone": 24}
"""Places told below the plan, at the most."""


class _Look(NamedTuple):
    """The mark of an outcome, and what it means."""

    mark: dict[str, Any]
    words: str


_LOOKS: Mapping[Outcome, _Look] = {
    "fail": _Look({"marker": "X", "ms": 9.0, "mfc": "#7a1330", "mec": "white", "mew": 0.9, "ls": ""}, "fails"),
    "look": _Look({"marker": "^", "ms": 7.0, "mfc": "#ffd166", "mec": INK, "mew": 0.9, "ls": ""}, "look at it"),
    "pass": _Look({"marker": "o", "ms": 3.4, "mfc": "white", "mec": "#1f6f4a", "mew": 0.9, "ls": ""}, "passes"),
}
"""A cross, a triangle and a ring: told apart without color."""


class _Marked(NamedTuple):
    """A mark: what its places came out as, where it lies, m, and their numbers in the answer."""

    outcome: Outcome
    x: float
    y: float
    numbers: list[int]


def clearance_picture(
    found: Clearances, view: PlanView, reader: Reader, form: Format, *, size: SizeName = "a4"
) -> bytes:
    """Return the picture as the content of a file, the same bytes from run to run.

    Parameters
    ----------
    found
        What was judged.
    view
        The plan from above; its trains are not drawn.
    reader
        The units of whoever reads it.
    form
        PNG, SVG or PDF.
    size
        A4 landscape, or the width of a phone.
    """
    with drawing_rules():
        figure = clearance_figure(found, view, reader, size=size)
        return picture_bytes(figure, form, dots_per_inch=SIZES[size].dots_per_inch)


def clearance_figure(found: Clearances, view: PlanView, reader: Reader, *, size: SizeName = "a4") -> Figure:
    """Return the picture as a figure; to be called by the `drawing_rules`, as is all that is done with it."""
    entries = _entries(found)
    told = _told(found, view, reader, _MOST_ROWS[size])

    def feet(own: Size, line: float) -> list[Row]:
        keys = key_rows(own, entries, line) if entries else []
        return [*keys, *(Row(f"place {number}", 1.05 * line) for number in range(len(told)))]

    canvas = plan_canvas(view, size, reader.length_unit, feet, thickest=_TRACK)
    sheet = canvas.sheet
    sheet.title(view.plan.title)
    counts = headline(found)
    parts = f"{found.count('fail')} fail, NOT CHECKED: {', '.join(each.what for each in found.unchecked)}"
    sheet.heading("words", [f"Clearances: {counts}", counts, *([parts] if found.unchecked else [])])
    gaps = gaps_under(canvas, view)
    for track in sorted(view.tracks.values(), key=lambda each: float(each.railhead.mean())):
        _draw_track(canvas, track, gaps.get(track.id, []))
    marks = _marks(found, view, canvas)
    for mark in reversed(marks):  # what fails lies on top
        ((x, y),) = canvas.xy(np.array([[mark.x, mark.y]]))
        gid = f"{mark.outcome} {_spans(mark.numbers)}"
        canvas.axes.plot([x], [y], zorder=9 if mark.outcome == "fail" else 8, gid=gid, **_LOOKS[mark.outcome].mark)
    draw_scale(sheet, canvas.dots, reader)
    if entries:
        draw_key(sheet, entries)
    drawn = drawn_on(canvas, view, [_outline(canvas, mark) for mark in marks])
    for mark in marks:
        if mark.outcome != "pass":
            at = canvas.spot(mark.x, mark.y)
            weight = "bold" if mark.outcome == "fail" else "normal"
            set_beside(canvas, _spans(mark.numbers), [at], drawn, near=7.0, weight=weight)
    draw_joints(canvas, view, reader, drawn)
    for number, wordings in enumerate(told):
        room = sheet.room(f"place {number}")
        wide = room.right - room.left
        words = next((each for each in wordings if sheet.extent(each)[0] <= wide), wordings[-1])
        sheet.label(sheet.fitted(words, wide), [Spot(room.left, 0.5 * (room.bottom + room.top), "left")])
    return sheet.figure


def _draw_track(canvas: Canvas, track: TrackView, gaps: list[tuple[float, float]]) -> None:
    for start, stop in without(0.0, track.length, gaps):
        x, y = canvas.xy(track.part(start, stop)).T
        style: dict[str, Any] = {"solid_capstyle": "butt", "zorder": 3}
        canvas.axes.plot(x, y, color="#555555", lw=_TRACK * canvas.thin + 0.8, **style)
        canvas.axes.plot(x, y, color="#dcdcdc", lw=_TRACK * canvas.thin, gid=f"track {track.id}", **style)


def _outline(canvas: Canvas, mark: _Marked) -> FloatArray:
    """Return points on the sheet around a mark."""
    angles = np.linspace(0.0, 2 * np.pi, 12, endpoint=False)
    reach = 0.5 * _LOOKS[mark.outcome].mark["ms"] * canvas.dots_per_point
    return np.asarray(canvas.spot(mark.x, mark.y) + reach * np.column_stack([np.cos(angles), np.sin(angles)]))


def _marks(found: Clearances, view: PlanView, canvas: Canvas) -> list[_Marked]:
    """Return the marks, the worst first: places with one outcome that all but meet on paper share one."""
    near = canvas.meters(_TOGETHER)
    marks: list[_Marked] = []
    for number, finding in enumerate(found.ranked(), 1):
        if finding.track not in view.tracks:
            continue
        spot = view.tracks[finding.track].spot(finding.at)
        mark = next(
            (
                each
                for each in marks
                if each.outcome == finding.outcome and max(abs(each.x - spot.x), abs(each.y - spot.y)) < near
            ),
            None,
        )
        if mark is None:
            marks.append(_Marked(finding.outcome, spot.x, spot.y, [number]))
        else:
            mark.numbers.append(number)
    return marks


def _spans(numbers: list[int]) -> str:
    """Return rising numbers as text, those in a row as a span.

    >>> _spans([1, 2, 3, 7, 9, 10])
    '1-3, 7, 9, 10'
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]}-{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)


def _entries(found: Clearances) -> list[Entry]:
    return [
        Entry(({**look.mark, "markevery": [1]},), look.words)
        for outcome, look in _LOOKS.items()
        if found.count(outcome)
    ]


def _told(found: Clearances, view: PlanView, reader: Reader, most: int) -> list[list[str]]:
    """Return the wordings of each row under the plan, the fullest first."""
    rows = list(_places(found, view, reader))
    if len(rows) > most:
        rows = [*rows[: most - 1], [f"and {len(rows) - most + 1} more, which the printed answer tells"]]
    left_out = [[f"NOT CHECKED  {each}", f"NOT CHECKED  {each.what}"] for each in found.unchecked]
    nothing = "Nothing fails, and nothing is to be looked at"
    return [*left_out, *(rows or [[f"{nothing}{', of what was checked' if left_out else ''}."]])]


def _places(found: Clearances, view: PlanView, reader: Reader) -> Iterator[list[str]]:
    for number, finding in enumerate(found.ranked(), 1):
        if finding.outcome != "pass":
            yield _wordings(number, finding, found, view, reader)


def _wordings(number: int, finding: Finding, found: Clearances, view: PlanView, reader: Reader) -> list[str]:
    outcome = "FAILS" if finding.outcome == "fail" else "look"
    rule, _, measured = RULES[finding.rule].partition(": ")
    value, place = figure_words(finding.value, finding, reader), place_words(finding, found, reader)
    lost = "" if finding.track in view.tracks else "; not on the plan"
    bounds = bounds_words(finding, reader)
    name = view.plan.tracks[finding.track].name if finding.track in view.plan.tracks else finding.track
    return [
        f"{number} {outcome}  {rule}: {place}: {f'{measured} ' if measured else ''}{value}, passes {bounds}{lost}",
        f"{number} {outcome}  {rule}: {place}: {value}, passes {bounds}{lost}",
        f"{number} {outcome} {rule}: {name}, {value}{lost}",
        f"{number} {outcome} {finding.rule}: {name}, {value}{lost}",
    ]
