"""The plan view of the page: where each track lies, how hard it is to climb, and what passes over what."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.show.plan_view.shades import shades_of
from gradehaul.treatment.keep_clean import KeepCleanPlan, UsedStretch, used_stretches


def plan_view_document(view: PlanView, film: KeepCleanPlan | None = None) -> dict[str, Any]:
    """Return what the page draws of a plan view; lengths in m, to a tenth of a millimeter.

    Parameters
    ----------
    view
        The plan view.
    film
        The keep-clean plan that it shows, too.
    """
    uses = {} if film is None else used_stretches(film)
    return {
        "tracks": [{**_track(track), "uses": _uses(uses.get(key, ()))} for key, track in view.tracks.items()],
        "joints": [
            {"name": joint.name, "x": _short(joint.x), "y": _short(joint.y), "plain": joint.kind == "plain"}
            for joint in view.joints
        ],
        "overpasses": [{"track": each.over.track, "at_m": _short(each.over.at)} for each in view.overpasses],
    }


def _track(track: TrackView) -> dict[str, Any]:
    """Return a track as points, and between each two the shade and which way it climbs: 1 onward, -1 back, 0 level."""
    return {
        "id": track.id,
        "at_m": [_short(at) for at in track.distance.tolist()],
        "xy_m": [_short(value) for value in track.xy.ravel().tolist()],
        "shades": shades_of(track),
        "climbs": track.climbs.tolist(),
        "railhead_m": _short(float(track.railhead.mean())),
        "filmed": track.rail != CLEAN,
    }


def _uses(stretches: Sequence[UsedStretch]) -> list[dict[str, Any]]:
    return [{"use": each.use, "from_m": _short(each.start), "to_m": _short(each.stop)} for each in stretches]


def _short(value: float) -> float:
    return round(value, 4)
