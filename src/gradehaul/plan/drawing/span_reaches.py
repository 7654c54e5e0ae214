"""Spans as the elements of reaches, split where the direction breaks, with the heights of the stroke."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from gradehaul.plan.drawing.course import Course
from gradehaul.plan.drawing.records import Element, Fault, Reach, Spot, Stroke
from gradehaul.plan.drawing.spans import Span


def reaches_from(
    spans: Sequence[Span], course: Course, stroke: Stroke, kink: float
) -> tuple[tuple[Reach, ...], tuple[Fault, ...]]:
    """Return elements as reaches, split where the direction breaks."""
    joints = range(1, len(spans)) if not course.closed else range(len(spans))
    breaks = {
        joint: math.remainder(spans[joint].start[2] - spans[joint - 1].end_heading, 2 * math.pi) for joint in joints
    }
    kinks = [joint for joint in joints if abs(breaks[joint]) > kink]
    closed = course.closed and not kinks
    elements = [_element(span, course, stroke) for span in spans]
    faults = tuple(
        Fault(
            "kink",
            f"the direction breaks by {abs(math.degrees(breaks[joint])):.3g} degrees",
            elements[joint].start,
            stroke.handle,
            stroke.layer,
            abs(math.degrees(breaks[joint])),
        )
        for joint in kinks
    )
    if course.closed and kinks:  # begin at a kink, so that the seam of the drawing splits nothing
        elements = elements[kinks[0] :] + elements[: kinks[0]]
        bounds = [joint - kinks[0] for joint in kinks] + [len(elements)]
    else:
        bounds = [0, *kinks, len(elements)]
    reaches = tuple(
        Reach(tuple(elements[low:high]), closed, stroke.handle, stroke.layer)
        for low, high in itertools.pairwise(bounds)
    )
    return reaches, faults


def _element(span: Span, course: Course, stroke: Stroke) -> Element:
    return Element(
        Spot(span.start[0], span.start[1], _height(course, span.since)),
        Spot(span.end[0], span.end[1], _height(course, span.until)),
        math.remainder(span.start[2], 2 * math.pi),
        span.curvature,
        span.length,
        stroke.handle,
        stroke.layer,
        span.spread,
    )


def _height(course: Course, place: float) -> float | None:
    if course.heights is None:
        return None
    total = float(course.along[-1])
    if course.closed and place > total:
        place -= total
    return float(np.interp(place, course.along, course.heights))
