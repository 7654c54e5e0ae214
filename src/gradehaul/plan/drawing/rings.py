"""Closed strokes of chords: circles, and rings of straights and arcs."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.chain_checks import rounded_corner
from gradehaul.plan.drawing.chains import chain
from gradehaul.plan.drawing.chord_runs import KINK_COST, PRICES, Try, broken_run, kinks_of, tried
from gradehaul.plan.drawing.course import Course, begun_at
from gradehaul.plan.drawing.curvature_steps import PRICE, turns
from gradehaul.plan.drawing.fit_limits import Fit, holds, student
from gradehaul.plan.drawing.spans import Span, spans_of

IntArray = NDArray[np.int64]


def ring_spans(course: Course, fit: Fit) -> tuple[list[Span], IntArray]:
    """Return the elements of a closed run of chords without a corner; or none, and the kinks to cut it at."""
    points = course.points[:-1]
    circle = circle_span(course, fit)
    if circle is not None:
        return [circle], np.zeros(0, dtype=np.int64)
    smooth: Try | None = None
    for price in PRICES:
        arcs = chain(points, fit, price, closed=True)
        if arcs is not None and float(np.abs(arcs.off).max()) <= fit.tolerance and not rounded_corner(arcs, fit):
            smooth = tried(spans_of(points, course.along, arcs, closed=True), arcs, fit, closed=True)
            break
    if smooth is not None and len(smooth.spans) < 5:  # four elements are as few as a ring of no circle has
        return smooth.spans, np.zeros(0, dtype=np.int64)
    cuts = kinks_of(points, fit, closed=True)
    if smooth is not None:
        if not len(cuts):
            return smooth.spans, cuts
        rolled = begun_at(course, int(cuts[0]))
        judged = smooth.judged(fit)
        limit = smooth.cost(judged) - KINK_COST * PRICE  # for the kink that it begins at
        broken = broken_run(rolled.points, rolled.along, (cuts - cuts[0])[1:], fit, judged, limit)
        return ([], cuts) if broken is not None else (smooth.spans, cuts[:0])
    return [], cuts if len(cuts) else np.zeros(1, dtype=np.int64)


def circle_span(course: Course, fit: Fit) -> Span | None:
    """Return a closed course as one full turn, or None where it is no circle."""
    points = course.points[:-1]
    if len(points) < 5:
        return None
    turn = turns(np.vstack((course.points, course.points[1:2])))
    full = float(turn.sum())
    if abs(abs(full) - 2 * math.pi) > 1e-6:
        return None
    middle = points.mean(axis=0)
    radius = float(np.hypot(*(points - middle).T).mean())
    off = np.zeros(len(points))
    design = np.ones((len(points), 3))
    for _ in range(30):
        reach = points - middle
        distance = np.hypot(*reach.T)
        if not distance.min() > 0:
            return None
        off = distance - radius
        design = np.column_stack((-reach / distance[:, None], -np.ones(len(points))))
        step = np.linalg.lstsq(design, -off, rcond=None)[0]
        middle = middle + step[:2]
        radius += float(step[2])
        if float(np.abs(step).max()) < 1e-13 * abs(radius):
            break
    off = np.hypot(*(points - middle).T) - radius
    if not holds(off, fit.noise, fit.tolerance):
        return None
    hand = math.copysign(1.0, full)
    reach = points[course.begin] - middle
    bearing = math.atan2(reach[1], reach[0])
    place = (float(middle[0]) + radius * math.cos(bearing), float(middle[1]) + radius * math.sin(bearing))
    unit = math.sqrt(float(np.linalg.inv(design.T @ design)[2, 2]))
    return Span(
        (*place, bearing + hand * math.pi / 2),
        place,
        hand / radius,
        2 * math.pi * radius,
        float(course.along[course.begin]),
        float(course.along[course.begin] + course.along[-1]),
        False,
        student(float(off @ off), len(points) - 3) * unit,
    )
