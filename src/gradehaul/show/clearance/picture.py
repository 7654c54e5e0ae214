"""The picture of clearances: the plan, with a numbered mark wherever something fails or needs a look."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.lines import Line2D

from gradehaul.design.clearance.findings import Clearances
from gradehaul.design.clearance.rules import Finding
from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.show.base.colors import INK, OUTCOME_COLORS
from gradehaul.show.base.paper import SizeName
from gradehaul.show.base.picture import as_picture
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.clearance.text import RULES, bounds_words, figure_words, headline, place_words
from gradehaul.show.plan_view.canvas import Canvas, gaps_under, without
from gradehaul.show.plan_view.labels import Look, Mark, draw_joints, draw_marks, drawn_on

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_TRACK = 3.0
"""The width of track, points."""

_MOST_LOOKS = {"a4": 20, "phone": 30}
"""Places to look at in rows under the plan, at the most; what fails always has its row."""

_LOOKS: Mapping[str, Look] = {
    "fail": Look("square", OUTCOME_COLORS["stalls"], "white", "fails"),
    "look": Look("round", "#ffd166", INK, "look at it"),
}
"""Square and dark, round and pale: distinct without color."""

_PASS: dict[str, Any] = {
    "marker": "o",
    "ms": 3.4,
    "mfc": "white",
    "mec": OUTCOME_COLORS["climbs"],
    "mew": 0.9,
    "ls": "",
}


def clearance_figure(found: Clearances, view: PlanView, units: UnitFormat, *, size: SizeName = "a4") -> Figure:
    """Return the picture as a figure; to be called by the `drawing_rules`, as is all that is done with it."""
    ranked = [each for each in found.ranked() if each.track in view.tracks]
    numbers = {id(finding): number for number, finding in enumerate(found.ranked(), 1)}
    spots = [(each, view.tracks[each.track].spot(each.at)) for each in ranked]
    key = {look.words: look.sample() for outcome, look in _LOOKS.items() if any(x.outcome == outcome for x in ranked)}
    if found.count("pass"):
        key["passes"] = Line2D([], [], **_PASS)
    canvas = Canvas(
        view,
        size,
        units.length_unit,
        f"Clearances: {headline(found, units)}",
        [f"{view.plan.title}: railheads in {units.lengths}", *(note.text for note in view.notes)],
        notes=list(_rows(found, view, units, _MOST_LOOKS[size])),
        key=key,
        thickest=_TRACK,
    )
    gaps = gaps_under(canvas, view)
    for track in sorted(view.tracks.values(), key=lambda each: float(each.railhead.mean())):
        _draw_track(canvas, track, gaps.get(track.id, []))
    for finding, spot in spots:
        if finding.outcome == "pass":
            ((x, y),) = canvas.xy(np.array([[spot.x, spot.y]]))
            canvas.axes.plot([x], [y], zorder=7, gid=f"pass {numbers[id(finding)]}", **_PASS)
    marks = [
        Mark(finding.outcome, spot.x, spot.y, (numbers[id(finding)],))
        for finding, spot in spots
        if finding.outcome != "pass"
    ]
    draw_marks(canvas, marks, _LOOKS)
    draw_joints(canvas, view, units, drawn_on(canvas, view, []))
    return canvas.paper.figure


clearance_picture = as_picture(clearance_figure)


def _draw_track(canvas: Canvas, track: TrackView, gaps: list[tuple[float, float]]) -> None:
    for start, stop in without(0.0, track.length, gaps):
        x, y = canvas.xy(track.part(start, stop)).T
        style: dict[str, Any] = {"solid_capstyle": "butt", "zorder": 3}
        canvas.axes.plot(x, y, color="#555555", lw=_TRACK * canvas.thin + 0.8, **style)
        canvas.axes.plot(x, y, color="#dcdcdc", lw=_TRACK * canvas.thin, gid=f"track {track.id}", **style)


def _rows(found: Clearances, view: PlanView, units: UnitFormat, most: int) -> Iterator[str]:
    """Yield the rows under the plan, the worst first: all that fails, and places to look at as far as there is room."""
    shown = [each for each in enumerate(found.ranked(), 1) if each[1].outcome != "pass"]
    looks = max(most - found.count("fail"), 1)
    kept = shown[: found.count("fail") + looks]
    for number, finding in kept:
        yield _words(number, finding, found, view, units)
    if len(kept) < len(shown):
        yield f"and {len(shown) - len(kept)} more to look at: gradehaul clearance names them"
    if not shown:
        yield f"Nothing fails, and nothing is to be looked at{', of what was checked' if found.unchecked else ''}."


def _words(number: int, finding: Finding, found: Clearances, view: PlanView, units: UnitFormat) -> str:
    outcome = "FAILS" if finding.outcome == "fail" else "look"
    rule, _, measured = RULES[finding.rule].partition(": ")
    value, place = figure_words(finding.value, finding, units), place_words(finding, found, units)
    lost = "" if finding.track in view.tracks else "; not on the plan"
    measured = f"{measured} " if measured else ""
    return f"{number} {outcome}  {rule}: {place}: {measured}{value}, passes {bounds_words(finding, units)}{lost}"
