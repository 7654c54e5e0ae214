"""A plan view as a drawing (DXF): tracks, heights, grades and where trains get stuck, each on layers of their own."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from gradehaul.errors import PlanError
from gradehaul.haulage.plan_view import JointView, MarkKind, PlanView
from gradehaul.haulage.track_view import Spot, TrackView
from gradehaul.plan.drawing.dxf.file import dxf_library
from gradehaul.show.plan_dxf_pen import Pen, beside, layer_name
from gradehaul.show.plan_dxf_uses import draw_uses
from gradehaul.show.plan_shades import SHADES, runs
from gradehaul.show.reading_units import Reader
from gradehaul.track.curvature import Section
from gradehaul.track.piecewise import FloatArray
from gradehaul.track.plane import Pose, points
from gradehaul.treatment.keep_clean import KeepCleanPlan

SIGN = b"999\nwritten by gradehaul\n"
"""The comment that such a file begins with, by which it is known again."""

RAILHEAD, HEIGHTS, NAMES, GRADES = "Railhead line", "Railhead heights", "Names", "Grades"
"""Layers: the track in space, and texts with heights, with names, and with grades."""

MARK_LAYERS: dict[MarkKind, str] = {
    "stalls": "Stalls",
    "runs away": "Runs away",
    "no stopping": "No stopping",
    "no recovery": "No recovery from a slip",
}
"""Layers of stretches, by what becomes of a train whose head is there."""

BESIDE: dict[MarkKind, float] = {"stalls": 0.8, "runs away": 1.0, "no stopping": 1.2, "no recovery": 1.6}
"""How far off the track their lines lie, in gauges."""

STALL_POINTS, RUNAWAY_POINTS = "Stall points", "Runaway points"
"""Layers of places: where a train stalls first, and where it begins to run away and holds back again."""

_UNITS = {"in": 1, "ft": 2, "mile": 3, "mm": 4, "cm": 5, "m": 6, "km": 7, "yd": 10}
"""$INSUNITS, as the DXF format has it: ezdxf's ``ezdxf/enums.py``, InsertUnits."""

_RED, _BLUE, _GRAY = 1, 5, 8
_SHADE_COLORS = (8, 2, 30, 32, 14, 250)
_STRAY = 1 / 400
"""How far a chord of an easement or of the line in space may stray, in gauges."""


def drawing_name(path: str) -> None:
    """Refuse a name for a file that does not end as a drawing's does; a hyphen stands for printing it.

    Raises
    ------
    PlanError
        Another ending.
    """
    ending = Path(path).suffix
    if path != "-" and ending.lower() != ".dxf":
        raise PlanError(
            "a drawing is written as .dxf",
            file=path,
            found=ending or "a name without an ending",
            write="another name after -o",
        )


def plan_dxf(view: PlanView, reader: Reader, film: KeepCleanPlan | None = None) -> bytes:
    """Return the drawing as the content of a file, the same bytes from run to run.

    Layers ``Track RAIL CLASS`` hold the plan at height 0, in true lines and arcs, cut where the class of effective
    grade changes; easements are fine polylines. The layer ``Railhead line`` holds the same track in space. Both read
    back as the same network: the first with the texts of ``Railhead heights`` beside its joints, the second with all
    heights along the track as well. On the layer ``Names`` a text names each joint, beside a point where it is plain.

    Parameters
    ----------
    view
        What it tells.
    reader
        The units of whoever reads it: of the drawing too.
    film
        The keep-clean plan to draw beside the track, a layer and a line type for each use.
    """
    library = dxf_library()
    before = library.options.write_fixed_meta_data_for_testing
    library.options.write_fixed_meta_data_for_testing = True  # no date, no number of its own
    try:
        document = library.new("R2010", units=_UNITS[reader.length_unit])
        pen = Pen(document, document.modelspace(), reader, view.plan.scale.gauge)
        _draw_all(pen, view)
        if film is not None:
            draw_uses(pen, view, film)
        for kind in sorted(document.entitydb.dxf_types_in_use()):  # ezdxf would list them in the order of a set
            document.classes.add_class(kind)
        stream = io.StringIO()
        document.write(stream)
    finally:
        library.options.write_fixed_meta_data_for_testing = before
    return SIGN + stream.getvalue().encode("utf-8", "replace")


def _draw_all(pen: Pen, view: PlanView) -> None:
    for track in view.tracks.values():
        _draw_plan(pen, track)
        _draw_in_space(pen, track)
        _tell_grade(pen, track)
    _tell_names(pen, view)
    _draw_marks(pen, view)


def track_layer(rail: str, shade: int) -> str:
    """Return the layer of track on a rail condition within a class of effective grade.

    Examples
    --------
    >>> track_layer("clean", 0), track_layer("treated", 2), track_layer("clean", 5)
    ('Track clean level', 'Track treated to 2 percent', 'Track clean over 4 percent')
    """
    if shade == 0:
        words = "level"
    elif shade == len(SHADES) - 1:
        words = f"over {100 * SHADES[shade].least:g} percent"
    else:
        words = f"to {100 * SHADES[shade + 1].least:g} percent"
    return layer_name(f"Track {rail} {words}")


# Track


def _parts(track: TrackView) -> Iterator[tuple[float, Section]]:
    """Yield the sections of a track, each with the distance at which it begins, m."""
    at = 0.0
    for section in track.sections:
        yield at, section
        at += section.length


def _draw_plan(pen: Pen, track: TrackView) -> None:
    """Draw a track at height 0, cut where its class of grade changes."""
    for run in runs(track):
        where = pen.on(track_layer(track.rail, run.shade), _SHADE_COLORS[run.shade])
        for begin, section in _parts(track):
            start, stop = max(run.start, begin), min(run.stop, begin + section.length)
            if stop - start < 1e-9:
                continue
            slope = (section.last - section.first) / section.length
            first, last = (section.first + slope * (at - begin) for at in (start, stop))
            _draw_part(pen, track.spot(start)[2:], Section(stop - start, first, last), where)


def _draw_part(pen: Pen, start: tuple[float, float, float], part: Section, where: dict[str, str]) -> None:
    x, y, heading = start
    if part.first == part.last == 0:
        end = x + part.length * math.cos(heading), y + part.length * math.sin(heading)
        pen.space.add_line((x * pen.unit, y * pen.unit), (end[0] * pen.unit, end[1] * pen.unit), where)
    elif part.first == part.last:
        _draw_arc(pen, (x, y, heading), part, where)
    else:
        trace = points([part], Pose(x, y, heading), _STRAY * pen.gauge)
        pen.space.add_lwpolyline((trace.xy * pen.unit).tolist(), dxfattribs=where)


def _draw_arc(pen: Pen, start: tuple[float, float, float], part: Section, where: dict[str, str]) -> None:
    """Draw an arc in pieces of at most half a turn, counterclockwise as the format has them."""
    x, y, heading = start
    radius, side = 1 / abs(part.first), math.copysign(0.5 * math.pi, part.first)
    center = x + radius * math.cos(heading + side), y + radius * math.sin(heading + side)
    count = math.ceil(abs(part.first) * part.length / math.pi - 1e-9)
    turn = part.first * part.length / count
    for k in range(count):
        ends = sorted([math.degrees(heading - side + k * turn), math.degrees(heading - side + (k + 1) * turn)])
        pen.space.add_arc((center[0] * pen.unit, center[1] * pen.unit), radius * pen.unit, *ends, dxfattribs=where)


def _draw_in_space(pen: Pen, track: TrackView) -> None:
    """Draw a track in space, section by section: chords whose corners lie on it."""
    where = pen.on(RAILHEAD, _GRAY)
    for begin, section in _parts(track):
        end = begin + section.length
        inside = (track.distance > begin + 1e-9) & (track.distance < end - 1e-9)
        at = np.concatenate([[begin], track.distance[inside], [end]])
        place = _points(track, at)
        if section.first == section.last == 0 and np.ptp(np.diff(place[:, 2]) / np.diff(at)) < 1e-9:
            pen.space.add_line(*(tuple((place[k] * pen.unit).tolist()) for k in (0, -1)), where)
        else:
            pen.space.add_polyline3d((place * pen.unit).tolist(), dxfattribs=where)


def _points(track: TrackView, at: FloatArray) -> FloatArray:
    """Return x, y and railhead at distances along a track, m, shape (n, 3)."""
    columns = [np.interp(at, track.distance, column) for column in (*track.xy.T, track.railhead)]
    return np.column_stack(columns)


# Texts and marks


def _tell_grade(pen: Pen, track: TrackView) -> None:
    spot = track.spot(0.5 * track.length)
    up = track.grade if track.grade >= 0 else -track.grade
    told = f"grade {pen.reader.grade(up)}, effective {pen.reader.grade(max(track.steepest))}"
    pen.text(told, spot.x, spot.y, GRADES, _GRAY, aside=1.2)


def _tell_names(pen: Pen, view: PlanView) -> None:
    for joint in view.joints:
        height = _railhead(view, joint) * pen.unit
        pen.text(joint.name, joint.x, joint.y, NAMES, _GRAY, aside=0.5)
        if joint.kind == "plain":  # without the point the track would read back as running through
            pen.space.add_point((joint.x * pen.unit, joint.y * pen.unit, height), dxfattribs=pen.on(NAMES, _GRAY))
        told = f"{height:.6f}".rstrip("0").rstrip(".")
        told = (
            f"{'0' if told == '-0' else told} {pen.reader.length_unit}"  # a bare number reads in the reader's own unit
        )
        pen.text(told, joint.x, joint.y, HEIGHTS, _BLUE, aside=-1.5)


def _railhead(view: PlanView, joint: JointView) -> float:
    """Return how high the rail lies at a joint, m: in a vertical curve not where the grades would meet."""
    for end in view.plan.joints[joint.name].ends if joint.kind == "plain" else ():
        track = view.plan.lines[end.line].tracks[0 if end.end == "from" else -1]
        if seen := view.tracks.get(track.id):
            return float(seen.railhead[0 if end.end == "from" else -1])
    return joint.railhead


def _draw_marks(pen: Pen, view: PlanView) -> None:
    """Draw stretches to the left of the track, a line for each kind, told where they begin; and where trains stall."""
    count = 0
    for train in view.trains:
        who = f"{train.name}, {train.rail}"
        for mark in train.marks:
            layer = MARK_LAYERS[mark.kind]
            parts = [part for part in mark.on if part.track in view.tracks]
            for part in parts:
                line = beside(view.tracks[part.track], part.start, part.stop, BESIDE[mark.kind] * pen.gauge)
                pen.space.add_lwpolyline((line * pen.unit).tolist(), dxfattribs=pen.on(layer, _RED))
            if parts:
                x, y = beside(view.tracks[parts[0].track], parts[0].start, parts[0].stop, 0.0)[0].tolist()
                pen.text(f"{who}: {mark.kind}", x, y, layer, _RED, aside=2.6 + 1.4 * (count % 4))
                count += 1
        if train.stall is not None:
            _draw_point(pen, train.stall, STALL_POINTS, f"{who}: stalls")
        for begin, end in train.runaways:
            for spot, words in ((begin, "runs away from here"), (end, "holds back again")):
                if spot is not None:
                    _draw_point(pen, spot, RUNAWAY_POINTS, f"{who}: {words}")


def _draw_point(pen: Pen, spot: Spot, layer: str, words: str) -> None:
    pen.space.add_circle((spot.x * pen.unit, spot.y * pen.unit), 0.5 * pen.gauge * pen.unit, pen.on(layer, _RED))
    pen.text(words, spot.x, spot.y, layer, _RED, aside=-1.8)
