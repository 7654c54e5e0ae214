"""A plan view as a drawing (DXF): tracks, heights, grades and where trains get stuck, each on layers of their own."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import shapely

from gradehaul.haulage.views.plan_view import JointView, MarkKind, PlanView
from gradehaul.haulage.views.track_view import TrackSpot, TrackView, cut_sections
from gradehaul.plan.drawing.dxf.file import KINK_PROPERTY, dxf_library
from gradehaul.plan.drawing.naming.layers import (
    BERTH,
    HEIGHTS,
    JOINED,
    LINE_NAMES,
    NAMES,
    RAILHEAD,
    SLIPS,
    TRACK_NAMES,
    TURNTABLES,
)
from gradehaul.plan.records import Joint, LineEnd
from gradehaul.show.base.labels import USE_WORDS, WOULD
from gradehaul.show.base.page import words_of
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import rail_at
from gradehaul.show.drawing.dxf_pen import Pen, Spots, beside, layer_name
from gradehaul.show.plan_view.styles import SHADES, runs
from gradehaul.track.curvature import Section
from gradehaul.track.map.plane import Pose, points
from gradehaul.treatment.keep_clean import KeepCleanPlan, Use, used_stretches

SIGN = b"999\nwritten by gradehaul\n"
"""The comment that such a file begins with, by which it is known again."""

_NO_DATE, _NO_NUMBER = 2451545.0, "{00000000-0000-0000-0000-000000000000}"
"""What stands for the time of writing (January 1, 2000) and for a file's own number, so that no two runs differ."""

GRADES = "Grades"
"""The layer of texts with grades."""

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
"""Layers of places: where a train stalls first, and where it begins to run away and is held back again."""


class UseLine(NamedTuple):
    """How a use of track is drawn: its layer, its color, its line weight, mm/100, and its strokes and gaps, in gauges.

    Without strokes and gaps it is a whole line.
    """

    layer: str
    color: int
    weight: int
    dashes: tuple[float, ...] = ()


USE_LINES: dict[Use, UseLine] = {
    "film": UseLine("Film may go", 5, 35, (1.6, -1.0)),
    "has film": UseLine("Film is there", 5, 35, (0.5, -0.5)),
    "keep clean": UseLine("Keep clean", 1, 70),
    "buffer": UseLine("Keep clean by carry-over", 1, 70, (0.2, -0.4)),
    "no effect": UseLine("Film or not", 8, 13),
}
"""Layers of what is to become of track, each known by its line without its color."""

USE_BESIDE = 1.2
"""How far to the right of the track their lines lie, in gauges."""

_UNITS = {"in": 1, "ft": 2, "mile": 3, "mm": 4, "cm": 5, "m": 6, "km": 7, "yd": 10}
"""$INSUNITS, as the DXF format has it: ezdxf's ``ezdxf/enums.py``, InsertUnits."""

_RED, _BLUE, _GRAY = 1, 5, 8
_SHADE_COLORS = (8, 2, 30, 32, 14, 250)
_ASPECT = 1.5
"""How much wider than high the window is taken to be in which the drawing opens."""
_KINK = 4.5
"""Legs of turnouts that part at more degrees than this are said in the drawing's properties: import takes up to 5."""
_APART = 1 / 40
"""Ends farther apart than this, in gauges, are said to be one joint: import joins them up to a tenth of the gauge."""
_STRAY = 1 / 400
"""How far a chord of an easement may stray, in gauges."""
_GRADE_STEP = 2e-4
"""By how much the grade changes from chord to chord of the line in space, as a ratio."""


def plan_dxf(view: PlanView, units: UnitFormat, film: KeepCleanPlan | None = None) -> bytes:
    """Return the drawing as the content of a file, the same bytes from run to run, in the reader's unit of length.

    Layers ``Track RAIL CLASS`` hold the plan at height 0, in true lines and arcs, cut where the class of effective
    grade changes; easements are fine polylines. The layer ``Railhead line`` holds the same track in space. Both read
    back as the same network: the first with the texts of ``Railhead heights`` beside its joints, the second with all
    heights along the track as well. On the layer ``Names`` a text names each joint, beside a point where it is plain.
    A keep-clean plan is drawn beside the track, a layer and a line type for each use.
    """
    document = dxf_library().new("R2010", units=_UNITS[units.length_unit])
    pen = Pen(document, view, units)
    if film is not None:
        _draw_uses(pen, view, film)
    for track in view.tracks.values():
        _draw_plan(pen, track)
        _draw_in_space(pen, track)
    _write_joints(pen, view)
    _write_lines(pen, view)
    _draw_marks(pen, view)
    for track in view.tracks.values():
        _write_grade(pen, track)
    _set_view(pen, view)
    if (degrees := math.degrees(_sharpest(view))) > _KINK:
        document.header.custom_vars.append(KINK_PROPERTY, f"{math.ceil(10 * degrees + 1) / 10:.1f}")
    return SIGN + _written(document).encode("utf-8", "replace")


def _sharpest(view: PlanView) -> float:
    """Return the largest angle, radians, by which a train turns at a turnout or on its way through a crossing."""
    found = 0.0
    for joint in view.joints:
        if joint.kind in {"turnout", "crossing"}:
            for pair in view.plan.joints[joint.name].tangents:
                one, other = (_away(view, end) for end in pair)
                if one is not None and other is not None:
                    found = max(found, abs(math.remainder(one - other - math.pi, math.tau)))
    return found


def _away(view: PlanView, end: LineEnd) -> float | None:
    """Return the direction in which track leaves a joint at an end of a line, radians, if it is in the view."""
    found = _end_of_line(view, end)
    return None if found is None else float(found[0].heading[found[1]]) + (math.pi if found[1] else 0.0)


def _set_view(pen: Pen, view: PlanView) -> None:
    """Set the extents of the drawing, and the view that it opens with."""
    left, bottom, right, top = (each * pen.unit for each in pen.drawn)
    heights = [0.0, *(end * pen.unit for track in view.tracks.values() for end in track.railhead.tolist())]
    pen.space.reset_extents((left, bottom, min(heights)), (right, top, max(heights)))
    pen.space.reset_limits((left, bottom), (right, top))
    height = 1.05 * max(top - bottom, (right - left) / _ASPECT)
    pen.document.set_modelspace_vport(height, (0.5 * (left + right), 0.5 * (bottom + top)))


def _written(document: Any) -> str:  # noqa: ANN401 - the library's
    """Return the text of a document without what would differ from run to run: times, and numbers of its own."""
    from ezdxf.lldxf.tagwriter import TagWriter

    for kind in sorted(document.entitydb.dxf_types_in_use()):  # ezdxf would list them in the order of a set
        document.classes.add_class(kind)
    document.update_all()
    for name in ("$TDCREATE", "$TDUCREATE", "$TDUPDATE", "$TDUUPDATE"):
        document.header[name] = _NO_DATE
    for name in ("$FINGERPRINTGUID", "$VERSIONGUID"):
        document.header[name] = _NO_NUMBER
    for name in ("CREATED_BY_EZDXF", "WRITTEN_BY_EZDXF"):
        document.ezdxf_metadata()[name] = ""
    stream = io.StringIO()
    document.export_sections(TagWriter(stream, document.dxfversion))
    return stream.getvalue()


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
            spot = track.spot(start)
            _draw_part(pen, (spot.x, spot.y, spot.heading), Section(stop - start, first, last), where)


def _draw_part(pen: Pen, start: tuple[float, float, float], part: Section, where: dict[str, str]) -> None:
    """Draw a part of a section, an arc in pieces of at most half a turn, counterclockwise as the format has them."""
    x, y, heading = start
    if part.first != part.last:
        trace = points([part], Pose(x, y, heading), _STRAY * pen.gauge)
        pen.space.add_lwpolyline((trace.xy * pen.unit).tolist(), dxfattribs=where)
    elif part.first == 0:
        end = x + part.length * math.cos(heading), y + part.length * math.sin(heading)
        pen.space.add_line((x * pen.unit, y * pen.unit), (end[0] * pen.unit, end[1] * pen.unit), where)
    else:
        radius, side = 1 / abs(part.first), math.copysign(0.5 * math.pi, part.first)
        x, y = x + radius * math.cos(heading + side), y + radius * math.sin(heading + side)
        count = math.ceil(abs(part.first) * part.length / math.pi - 1e-9)
        turn = part.first * part.length / count
        turns = [heading - side + k * turn for k in range(count + 1)]
        for ends in pairwise(map(math.degrees, turns)):
            pen.space.add_arc((x * pen.unit, y * pen.unit), radius * pen.unit, *sorted(ends), dxfattribs=where)


def _draw_in_space(pen: Pen, track: TrackView) -> None:
    """Draw a track in space, section by section: chords with corners on it, short where a grade is rounded."""
    where = pen.on(f"{BERTH}{track.berth}" if track.berth else RAILHEAD, _GRAY)
    profile = track.profile
    width = np.diff(profile.breaks)
    parts = np.maximum(np.ceil(np.abs(profile.seconds) * width / _GRADE_STEP), 1).astype(int)
    fine = [
        begin + each / count * np.arange(1, count)
        for begin, each, count in zip(profile.breaks[:-1], width, parts, strict=True)
    ]
    trace = points(cut_sections(track.sections, np.concatenate([track.distance, *fine])), track.start, math.inf)
    place = np.column_stack([trace.xy, profile.at(np.minimum(trace.distance, profile.stop))]) * pen.unit
    for begin, section in _parts(track):
        own = (trace.distance > begin - 1e-9) & (trace.distance < begin + section.length + 1e-9)
        line, at = place[own], trace.distance[own]
        if section.first == section.last == 0 and np.ptp(np.diff(line[:, 2]) / np.diff(at)) < 1e-9 * pen.unit:
            pen.space.add_line(*map(tuple, line[[0, -1]].tolist()), where)
        else:
            pen.space.add_polyline3d(line.tolist(), dxfattribs=where)


# Texts and marks


def _write_grade(pen: Pen, track: TrackView) -> None:
    up = track.grade if track.grade >= 0 else -track.grade
    words = f"grade {pen.units.grade(up)}, effective {pen.units.grade(max(track.steepest))}"
    near = [share * pen.height for share in (0.4, 1.0, 2.0)]
    pen.text(words, _along(track), GRADES, _GRAY, offsets=near, needed=False)


def _along(track: TrackView) -> Spots:
    """Return places along a track for a text, m, the best first."""
    return [(spot.x, spot.y) for spot in (track.spot(share * track.length) for share in (0.5, 0.35, 0.65, 0.2, 0.8))]


def _write_joints(pen: Pen, view: PlanView) -> None:
    """Write the names and the heights of joints, the ends of lines at turntables, and slips."""
    near = [share * pen.gauge for share in (0.5, 1.0, 1.7, 2.5)]  # within what import takes to be beside the joint
    for joint in view.joints:
        record, height, spot = view.plan.joints[joint.name], _railhead(view, joint), [(joint.x, joint.y)]
        if joint.kind == "plain":  # without the point the track would read back as running through
            place = joint.x * pen.unit, joint.y * pen.unit, height * pen.unit
            pen.space.add_point(place, dxfattribs=pen.on(NAMES, _GRAY))
        if joint.kind == "table":
            bridge = "" if record.length is None else f" ({_exact(record.length * pen.unit)} {pen.units.length_unit})"
            for found in (_end_of_line(view, end) for end in record.ends):
                if found:
                    x, y = found[0].xy[found[1]].tolist()
                    pen.text(f"{joint.name}{bridge}", [(x, y)], TURNTABLES, _GRAY, offsets=near)
        else:
            pen.text(joint.name, spot, NAMES, _GRAY, offsets=near, z=height)
        _join_ends(pen, view, joint, height)
        words = f"{_exact(height * pen.unit)} {pen.units.length_unit}"  # a bare number reads in the reader's own unit
        pen.text(words, spot, HEIGHTS, _BLUE, offsets=near, z=height)
        for one, other in record.slips:
            pen.text(f"{_end_name(record, one)} to {_end_name(record, other)}", spot, SLIPS, _GRAY, offsets=near)


def _join_ends(pen: Pen, view: PlanView, joint: JointView, height: float) -> None:
    """Write the name of a joint at each of its ends where these lie too far apart to be read as one."""
    found = [] if joint.kind == "table" else [_end_of_line(view, end) for end in view.plan.joints[joint.name].ends]
    spots = sorted({(round(x, 6), round(y, 6)) for each in found if each for x, y in [each[0].xy[each[1]].tolist()]})
    if max((math.dist(one, other) for one in spots for other in spots), default=0.0) > _APART * pen.gauge:
        for spot in spots:
            pen.pin(joint.name, spot, JOINED, _GRAY, z=height)


def _exact(value: float) -> str:
    """Return a number to six decimals, without those that say nothing."""
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _end_name(joint: Joint, end: LineEnd) -> str:
    return str(end) if sum(each.line == end.line for each in joint.ends) > 1 else end.line


def _end_of_line(view: PlanView, end: LineEnd) -> tuple[TrackView, int] | None:
    """Return the track that an end of a line belongs to, if it is in the view, and which of its points lies there."""
    point = 0 if end.end == "from" else -1
    seen = view.tracks.get(view.plan.lines[end.line].tracks[point].id)
    return None if seen is None else (seen, point)


def _write_lines(pen: Pen, view: PlanView) -> None:
    """Write the names of lines beside their longest tracks, nearer to these than to any other, of tracks and berths."""
    berths: dict[str, list[TrackView]] = {}
    lines: dict[str, list[TrackView]] = {}
    for track in view.tracks.values():
        lines.setdefault(track.line, []).append(track)
        if track.berth:
            berths.setdefault(track.berth, []).append(track)
    for name, spots in _own_spots(lines, pen.gauge).items():
        pen.text(name, spots, LINE_NAMES, _GRAY, offsets=[0.25 * pen.gauge])
    for track in view.tracks.values():
        if track.named:
            middle = track.spot(0.5 * track.length)
            z = float(track.profile(0.5 * track.length))
            pen.text(track.name, [(middle.x, middle.y)], TRACK_NAMES, _GRAY, offsets=[0.25 * pen.gauge], z=z)
    for name, tracks in berths.items():
        pen.text(name, _along(max(tracks, key=lambda track: track.length)), f"{BERTH}{name}", _GRAY)


def _own_spots(lines: Mapping[str, Sequence[TrackView]], gauge: float) -> dict[str, Spots]:
    """Return places for the name of each line, m: where no other line is within a gauge, else where it is farthest."""
    names = list(lines)
    shapes = [shapely.MultiLineString([track.xy for track in tracks]) for tracks in lines.values()]
    tree = shapely.STRtree(shapes)
    found: dict[str, Spots] = {}
    for number, name in enumerate(names):
        longest = sorted(lines[name], key=lambda track: -track.length)[:4]
        spots = [spot for track in longest for spot in _along(track)]
        points = shapely.points(spots)
        clear = np.full(len(spots), gauge)
        which, other = tree.query(points, predicate="dwithin", distance=gauge)
        off = shapely.distance(points[which], np.asarray(shapes, dtype=np.object_)[other])
        np.minimum.at(clear, which[other != number], off[other != number])
        found[name] = [spot for spot, room in zip(spots, clear, strict=True) if room >= clear.max()]
    return found


def _railhead(view: PlanView, joint: JointView) -> float:
    """Return how high the rail lies at a joint, m: in a vertical curve not where the grades would meet."""
    ends = view.plan.joints[joint.name].ends if joint.kind == "plain" else ()
    seen = (float(found[0].railhead[found[1]]) for end in ends if (found := _end_of_line(view, end)))
    return next(seen, joint.railhead)


def _draw_marks(pen: Pen, view: PlanView) -> None:
    """Draw stretches to the left of the track, a line for each kind, named where they begin; and where trains stall."""
    for train in view.trains:
        who = f"{train.name}, {rail_at(train.rail, view.hours)}"
        for mark in train.marks:
            layer = MARK_LAYERS[mark.kind]
            parts = [part for part in mark.on if part.track in view.tracks]
            for part in parts:
                line = beside(view.tracks[part.track], part.start, part.stop, BESIDE[mark.kind] * pen.gauge)
                pen.line(line, **pen.on(layer, _RED))
            if parts:
                x, y = beside(view.tracks[parts[0].track], parts[0].start, parts[0].stop, 0.0)[0].tolist()
                pen.text(f"{who}: {mark.kind}", [(x, y)], layer, _RED)
        if train.stall is not None:
            _draw_point(pen, train.stall, STALL_POINTS, f"{who}: stalls")
        for begin, end in ((each.begins, each.ends) for each in train.runaways):
            for spot, words in ((begin, "runs away from here"), (end, "is held back again")):
                if spot is not None:
                    _draw_point(pen, spot, RUNAWAY_POINTS, f"{who}: {words}")


def _draw_point(pen: Pen, spot: TrackSpot, layer: str, words: str) -> None:
    pen.circle(spot.x, spot.y, 0.5 * pen.gauge, layer, _RED)
    pen.text(words, [(spot.x, spot.y)], layer, _RED)


def _draw_uses(pen: Pen, view: PlanView, film: KeepCleanPlan) -> None:
    """Draw what is to become of tracks to their right, and name each stretch in its middle.

    Everything of a use is on the layer of that use.
    """
    for key, stretches in used_stretches(film).items():
        if key not in view.tracks:
            continue
        track = view.tracks[key]
        for stretch in stretches:
            style = USE_LINES[stretch.use]
            # the pattern runs on from corner to corner
            drawn = {"linetype": pen.dashes(style.layer, style.dashes), "lineweight": style.weight, "flags": 128}
            line = beside(track, stretch.start, stretch.stop, -USE_BESIDE * pen.gauge)
            pen.line(line, **pen.on(style.layer, style.color), **drawn)
            middle = 0.5 * (stretch.start + stretch.stop)
            x, y = beside(track, middle, middle, -2.6 * pen.gauge)[0].tolist()
            pen.text(words_of(USE_WORDS[stretch.use]), [(x, y)], style.layer, style.color)
    for forced in film.hardest:
        if forced.on.track in view.tracks:
            spot, style = view.tracks[forced.on.track].spot(forced.on.along), USE_LINES["keep clean"]
            pen.circle(spot.x, spot.y, 0.8 * pen.gauge, style.layer, style.color)
            pen.text(f"{forced.train} {WOULD[forced.test]}", [(spot.x, spot.y)], style.layer, style.color)
