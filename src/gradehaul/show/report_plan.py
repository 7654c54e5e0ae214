"""The plan view of the page: where each track lies, how hard it is to climb, and what could not be drawn."""

from __future__ import annotations

from typing import Any

import numpy as np

from gradehaul.haulage.layout import Layout
from gradehaul.plan.stock import CLEAN
from gradehaul.track.alignment import AlignedTrack
from gradehaul.track.plane import Pose, points
from gradehaul.track.vertical import UNCHANGED

STEPS = (0.001, 0.01, 0.02, 0.03)
"""Effective grades at which the shading changes, climbing: level, then up to 1 %, 2 %, 3 % and over."""

_STRAY = 0.0005
"""How far a chord may stray from the track, m: less than a line is wide."""


def plan_view_document(layout: Layout) -> dict[str, Any]:
    """Return the frames in which tracks have places, the one with most track first; lengths in m.

    Pieces of a plan whose places relative to one another nothing tells have a frame each. A frame whose figures do not
    close is left out, for what is drawn of it would be a knot; ``knots`` counts these.

    Parameters
    ----------
    layout
        The layout.
    """
    positions, alignment = layout.alignment.positions, layout.alignment
    frames: dict[int, list[dict[str, Any]]] = {}
    knots = set()
    for track in alignment.tracks.values():
        place = positions.tracks[track.id]
        if positions.usable(place.frame):
            told = _track(track, place.start, layout.coefficient)
            frames.setdefault(place.frame, []).append(told)
        else:
            knots.add(place.frame)
    joints: dict[int, list[dict[str, Any]]] = {}
    for joint in positions.joints.values():
        at = {"name": joint.name, "x": _short(joint.pose.x), "y": _short(joint.pose.y)}
        joints.setdefault(joint.frame, []).append({**at, "plain": layout.plan.joints[joint.name].kind == "plain"})
    by_length = sorted(frames, key=lambda frame: -sum(track["length_m"] for track in frames[frame]))
    return {
        "gauge_m": layout.plan.scale.gauge,
        "frames": [{"tracks": frames[frame], "joints": joints.get(frame, [])} for frame in by_length],
        "knots": len(knots),
    }


def _track(track: AlignedTrack, start: Pose, coefficient: float) -> dict[str, Any]:
    """Return a track as points, the shade between each two, and which way it climbs: 1 onward, -1 back, 0 neither."""
    trace = points(track.sections, start, _STRAY, longest=max(track.length / 8, 0.05))
    middle = 0.5 * (trace.distance[1:] + trace.distance[:-1])
    grade = np.abs(track.railhead.derivative().at(middle))
    effort = grade + coefficient * track.turning.derivative().at(middle)
    rise = float(track.railhead.ends[-1] - track.railhead.values[0])
    return {
        "id": track.id,
        "length_m": track.length,
        "at_m": [_short(at) for at in trace.distance.tolist()],
        "xy_m": [_short(value) for value in trace.xy.ravel().tolist()],
        "shades": np.searchsorted(STEPS, effort, side="right").tolist(),
        "climbs": 0 if abs(rise) <= UNCHANGED * track.length else 1 if rise > 0 else -1,
        "railhead_m": _short(float(track.railhead.values[0] + 0.5 * rise)),
        "filmed": track.rail not in (None, CLEAN),
    }


def _short(value: float) -> float:
    """Return a length to a tenth of a millimeter: drawn, not reckoned with."""
    return round(value, 4)
