"""The numbers of a plan view as JSON: stable keys, lower case, each with its SI unit as suffix."""

from __future__ import annotations

import json
import math
from typing import Any

from gradehaul import __version__
from gradehaul.haulage.views.overpasses import Overpass
from gradehaul.haulage.views.plan_view import Mark, OnTrack, PlanView, TrainView
from gradehaul.haulage.views.track_view import Spot
from gradehaul.show.base.digits import rounded
from gradehaul.show.check.document import verdict_document
from gradehaul.show.film.document import treat_document
from gradehaul.show.plan_view.table import HEADS, track_cells
from gradehaul.treatment.keep_clean import KeepCleanPlan


def map_json(view: PlanView, film: KeepCleanPlan | None = None) -> str:
    """Return the plan view as one JSON document."""
    return json.dumps(map_document(view, film), ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def map_document(view: PlanView, film: KeepCleanPlan | None = None) -> dict[str, Any]:
    """Return the document: tracks, joints, what passes over what, what becomes of trains; and the keep-clean plan."""
    document = {
        "gradehaul": __version__,
        "plan": view.plan.title,
        "pieces": view.frames,
        "tracks": [
            {"id": track.id, **dict(zip(HEADS, track_cells(track), strict=True))} for track in view.tracks.values()
        ],
        "joints": [
            {
                "name": joint.name,
                "kind": joint.kind,
                "x_m": rounded(joint.x),
                "y_m": rounded(joint.y),
                "railhead_m": rounded(joint.railhead),
            }
            for joint in view.joints
        ],
        "overpasses": [_overpass(each) for each in view.overpasses],
        "trains": [_train(train) for train in view.trains],
        "notes": [str(note) for note in view.notes],
    }
    if film is not None:
        document["film_plan"] = treat_document(film)
    return document


def _spot(spot: Spot) -> dict[str, Any]:
    return {
        "track": spot.track,
        "at_m": rounded(spot.at),
        "x_m": rounded(spot.x),
        "y_m": rounded(spot.y),
        "heading_deg": rounded(math.degrees(spot.heading)),
    }


def _overpass(each: Overpass) -> dict[str, Any]:
    return {
        "over": _spot(each.over),
        "under": _spot(each.under),
        "angle_deg": rounded(math.degrees(each.angle)),
        "apart_m": rounded(each.height),
    }


def _train(train: TrainView) -> dict[str, Any]:
    return {
        "name": train.name,
        "route": train.route,
        "rail": train.rail,
        **verdict_document(train.verdict, train.misfits),
        "stall": None if train.stall is None else _spot(train.stall),
        "runaways": [
            {"begins": None if begin is None else _spot(begin), "ends": None if end is None else _spot(end)}
            for begin, end in train.runaways
        ],
        "marks": [_mark(mark) for mark in train.marks],
    }


def _mark(mark: Mark) -> dict[str, Any]:
    return {
        "kind": mark.kind,
        "from_m": rounded(mark.start),
        "to_m": rounded(mark.stop),
        "on": [_part(part) for part in mark.on],
    }


def _part(part: OnTrack) -> dict[str, Any]:
    return {"track": part.track, "from_m": rounded(part.start), "to_m": rounded(part.stop)}
