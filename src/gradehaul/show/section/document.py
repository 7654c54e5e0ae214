"""The numbers along a route as one JSON document."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from gradehaul import __version__
from gradehaul.haulage.stretches import CurveStretch, Element, GradeStretch, TrackStretch
from gradehaul.haulage.views.section import Haul, LongSection, PullGiven
from gradehaul.show.base.digits import rounded
from gradehaul.show.check.document import verdict_document
from gradehaul.track.piecewise import PiecewiseQuadratic


def profile_json(section: LongSection) -> str:
    """Return the answer as JSON text in plain ASCII, ending with a line break.

    Keys are lower case with their SI unit as suffix; ``_pct`` is per cent. Pairs are values at the start and at the
    end. They are stable: others may be added.
    """
    return json.dumps(profile_document(section), indent=1, allow_nan=False) + "\n"


def profile_document(section: LongSection) -> dict[str, Any]:
    """Return the answer as the document that `profile_json` writes."""
    route, profile = section.route, section.profile
    return {
        "gradehaul": __version__,
        "plan": section.plan.title,
        "file": section.plan.file,
        "route": route.name,
        "from": route.origin,
        "to": route.destination,
        "lap": route.lap,
        "length_m": rounded(profile.length),
        "climb_m": rounded(profile.climb),
        "fall_m": rounded(profile.fall),
        "railhead_at_start_m": rounded(float(profile.railhead.values[0])),
        "curve_coefficient_m": rounded(profile.coefficient),
        "elements": [_element(element) for element in section.elements],
        "grades": [_grade(stretch) for stretch in section.grades],
        "curves": [_curve(stretch) for stretch in section.curves],
        "tracks": [_track(track) for track in section.tracks],
        "joints": [{"at_m": rounded(joint.at), "name": joint.name, "kind": joint.kind} for joint in section.joints],
        "train": None if section.haul is None else _haul(section.haul),
    }


def _pct(grades: Iterable[float]) -> list[float]:
    return [rounded(100 * grade) for grade in grades]


def _element(element: Element) -> dict[str, Any]:
    return {
        "from_m": rounded(element.start),
        "to_m": rounded(element.stop),
        "track": element.track,
        "grade_pct": _pct(element.grade),
        "hand": element.hand,
        "radius_m": None if element.radius is None else rounded(element.radius),
        "curvature_per_m": list(map(rounded, element.curvature)),
        "effective_pct": _pct(element.effective),
        "railhead_m": rounded(element.railhead),
    }


def _grade(stretch: GradeStretch) -> dict[str, Any]:
    return {
        "from_m": rounded(stretch.start),
        "to_m": rounded(stretch.stop),
        "grade_pct": _pct((stretch.first, stretch.last)),
        "rise_m": rounded(stretch.rise),
        "vertical_curve": stretch.vertical_curve,
    }


def _curve(stretch: CurveStretch) -> dict[str, Any]:
    return {
        "from_m": rounded(stretch.start),
        "to_m": rounded(stretch.stop),
        "hand": stretch.hand,
        "radius_m": rounded(stretch.radius),
        "curvature_per_m": [rounded(stretch.first), rounded(stretch.last)],
    }


def _track(track: TrackStretch) -> dict[str, Any]:
    return {
        "from_m": rounded(track.start),
        "to_m": rounded(track.stop),
        "id": track.id,
        "name": track.name,
        "line": track.line,
        "berth": track.berth,
        "rail": track.rail,
    }


def _haul(haul: Haul) -> dict[str, Any]:
    return {
        "name": haul.name,
        "length_m": rounded(haul.train.length),
        "running_n": _function(haul.running),
        "starting_n": _function(haul.starting),
        "rails": [_given(given, haul) for given in haul.given],
    }


def _function(function: PiecewiseQuadratic) -> dict[str, list[float]]:
    """Return a force by the place of the head: on piece i it is value + slope t + second t² / 2, t from its break."""
    return {
        "breaks_m": [rounded(at) for at in function.breaks.tolist()],
        "values_n": [rounded(value) for value in function.values.tolist()],
        "slopes_n_per_m": [rounded(slope) for slope in function.slopes.tolist()],
        "seconds_n_per_m2": [rounded(second) for second in function.seconds.tolist()],
    }


def _given(given: PullGiven, haul: Haul) -> dict[str, Any]:
    return {
        "rail": given.rail,
        "standing_n": _function(given.standing),
        "slipping_n": _function(given.slipping),
        **verdict_document(given.verdict, haul.misfits, given.outcome),
    }
