"""Surveyed hills: where the readings of a hill that stands are steeper than the plan, by which trains are judged."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from gradehaul.plan.names import quoted
from gradehaul.plan.records import Note, Plan, Survey
from gradehaul.quantities import describe
from gradehaul.track.alignment import Alignment
from gradehaul.track.piecewise import PiecewiseQuadratic, join

_READING, _READING_IN_INCHES = 0.0005, 0.0254 / 32
"""Error of one reading of a height, m, one standard deviation, assumed: what a ruler can show."""

_SURE = 1.645
"""Standard deviations beyond which a grade is steeper in 19 cases of 20."""


def surveyed_steeper(plan: Plan, alignment: Alignment) -> Iterator[Note]:
    """Yield a note for each survey that is steeper than the plan, with the worst place, or that names no line."""
    for survey in plan.surveys.values():
        line = plan.lines.get(survey.name)
        place = f"survey {quoted(survey.name)}"
        if line is None:
            yield Note(place, "no line has its name, so its readings are not compared with the plan's heights")
            continue
        railhead = join([alignment.tracks[track.id].railhead for track in line.tracks])
        reading = survey.reading or (_READING_IN_INCHES if plan.unit in ("in", "ft") else _READING)
        found = _steepest_beyond(survey, railhead, reading)
        if found is not None:
            start, stop, measured, planned = found
            here, there = (describe(each, "length", plan.unit) for each in (start, stop))
            built, drawn = (describe(each, "grade", "%") for each in (measured, planned))
            yield Note(
                place,
                f"it is steeper than the plan, by which trains are judged: {built} measured, {drawn} planned, from "
                f"{here} to {there}",
            )


def _steepest_beyond(
    survey: Survey, railhead: PiecewiseQuadratic, reading: float
) -> tuple[float, float, float, float] | None:
    """Return between which two readings a survey is steeper by most, its grade there and the plan's; None if nowhere.

    Any two readings are compared, beyond their error: what climbs more steeply either way.
    """
    places, heights = np.array(sorted(dict(survey.heights).items()), dtype=float).T
    on_line = (places >= railhead.start - 1e-6) & (places <= railhead.stop + 1e-6)
    places, heights = places[on_line], heights[on_line]
    first, last = np.triu_indices(places.size, 1)
    if not first.size:
        return None
    planned_heights = railhead.continued(places)
    runs = places[last] - places[first]
    measured = (heights[last] - heights[first]) / runs
    planned = (planned_heights[last] - planned_heights[first]) / runs
    up, down = (np.maximum(s * measured, 0.0) - np.maximum(s * planned, 0.0) for s in (1.0, -1.0))
    beyond = np.maximum(up, down)
    sure = beyond > _SURE * math.sqrt(2.0) * reading / runs
    if not sure.any():
        return None
    worst = int(np.argmax(np.where(sure, beyond, -np.inf)))
    return float(places[first[worst]]), float(places[last[worst]]), float(measured[worst]), float(planned[worst])
