"""Strokes of a drawing to straights and arcs: `fit_stroke` is the door, all else here is behind it.

The words of this package, beside those of `drawing`:

run
    Chords in a row between two corners or ends of the stroke.
corner
    A vertex at which the chords turn further than those beside it allow: the direction breaks there.
joint
    Where an element ends and the next begins, at a vertex or between two.
free curve
    A long run whose curvature changes smoothly nearly all along, as that of a spline by hand: pairs of arcs follow it.
scatter
    How far vertices stray sideways from the track, m (standard deviation).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from gradehaul.plan.drawing.elements import reverse
from gradehaul.plan.drawing.fitting.chains import FREE
from gradehaul.plan.drawing.fitting.course import (
    BEND,
    Course,
    begun_at,
    course_of,
    cuts_of,
    in_order,
    lone_chords,
    scatter,
)
from gradehaul.plan.drawing.fitting.free import free_spans
from gradehaul.plan.drawing.fitting.runs import chord_spans, circle_span, ring_spans
from gradehaul.plan.drawing.fitting.search import nodes_of
from gradehaul.plan.drawing.fitting.spans import Fit, Span, curve_span, exact_span, merged, reaches_from
from gradehaul.plan.drawing.records import Fault, IntArray, Reach, Spot, Stroke
from gradehaul.plan.drawing.rows import wrapped

FLAT, FLATTEST = 10.0, 0.004
"""A curve lies off its chords by at most so many tolerances (half a gauge, by default), or this many m."""
DEEP = 4.0
"""In tolerances: a long chord from which a curve would lie off so far, beside a shorter one, is a straight."""
SHORTER = 0.01
"""Track that is shorter than its stroke by more than this share is named."""
SAME = 1e-3
"""In tolerances: vertices this close are one vertex, and exact curves that stray less are one curve."""


def fit_stroke(
    stroke: Stroke, *, tolerance: float, kink: float, tips: tuple[float, float] = FREE
) -> tuple[tuple[Reach, ...], tuple[Fault, ...]]:
    """Return a stroke as straights and arcs in drawing order, and the places where its direction breaks.

    The segments of an exact stroke stay the lines and arcs they are (pieces of one line or circle in a row become one).
    Runs of chords are fitted at their vertices, which lie on the curve that was drawn: by the fewest straights and
    arcs, each the tangent of the next, that leave no vertex further off than `tolerance`, m, and stray, root mean
    square, by no more than a twentieth of it beyond the scatter of the vertices themselves. A free curve is followed by
    pairs of arcs that leave no vertex further off than a quarter of the tolerance. The two ends of a run stay where
    they are. An end of the stroke keeps the direction, radians, in which a train runs there on track that it meets,
    `tips` (nan where none is known), unless that costs more than a kink. Where the direction changes at one place by
    more than `kink`, radians, a stroke is split.

    A closed stroke, whose ends are within a thousandth of the tolerance, is without a kink one closed reach that begins
    at a joint of elements; a circle is one element of a full turn that begins beside the first vertex. With one kink it
    is one reach that begins and ends there, not closed. z is read along the drawn stroke at every end.

    The track is nowhere longer than the chords, but for what their arcs are.

    The faults are a ``kink`` for each split, `weight` its angle in degrees, ``zero-length`` for a stroke of a single
    place, and ``shortened`` where small bends were cut off and more than a hundredth is missing, `weight` the share.

    Raises
    ------
    ValueError
        If `tolerance` or `kink` is not above 0.

    Examples
    --------
    A quarter circle of 600 mm radius, left, drawn as nine chords:

    >>> angle = np.radians(np.arange(0.0, 91.0, 10.0))
    >>> stroke = Stroke("2F", "TRACK", "LWPOLYLINE", 0.6 * np.column_stack((np.sin(angle), 1 - np.cos(angle))),
    ...                 np.zeros(9), exact=False)
    >>> (reach,), faults = fit_stroke(stroke, tolerance=0.0008, kink=0.035)
    >>> [(round(1 / element.curvature, 4), round(element.length, 4)) for element in reach.elements]
    [(0.6, 0.9425)]
    """
    if not (tolerance > 0 and kink > 0):
        raise ValueError(f"tolerance and kink must be above 0, got {tolerance} and {kink}")
    course = course_of(stroke, SAME * tolerance)
    if course is None:
        x, y = stroke.points[0]
        fault = Fault("zero-length", "all of it lies at one place", Spot(x, y), stroke.handle, stroke.layer)
        return (), (fault,)
    if course.exact:
        exact = [exact_span(course, segment) for segment in range(len(course.bulges))]
        return reaches_from(merged(exact, SAME * tolerance, closed=course.closed), course, stroke, kink)
    course, back = in_order(course)
    ways = FREE if course.closed else (tips[1] + math.pi, tips[0] + math.pi) if back else tips
    level = min(scatter(course.points[nodes_of(course.points / tolerance, 0.0).vertex]), tolerance / 4)
    corners = cuts_of(course, kink, level, max(FLAT * tolerance, FLATTEST), DEEP * tolerance)
    lone = lone_chords(course, DEEP * tolerance)
    reaches, faults = _fitted(course, stroke, Fit(tolerance, kink, level / tolerance), corners, lone, ways)
    short = _shortened(reaches, course, stroke)
    if not back:
        return reaches, (*faults, *short)
    turned_back = [reach._replace(elements=tuple(reverse(reach.elements))) for reach in reversed(reaches)]
    return tuple(turned_back), (*faults[::-1], *short)


def _fitted(
    course: Course, stroke: Stroke, fit: Fit, corners: IntArray, lone: IntArray, tips: tuple[float, float]
) -> tuple[tuple[Reach, ...], tuple[Fault, ...]]:
    """Return the reaches of a course with corners, without those at which the fit hardly breaks: they scatter."""
    cuts, begun = np.union1d(corners, np.concatenate((lone, lone + 1))), course
    if course.closed:
        spans, cuts = ([], cuts) if len(cuts) else _ring(course, fit)
        if spans:
            return reaches_from(spans, course, stroke, fit.kink)
        begun = begun_at(course, int(cuts[0]))
    bounds = np.union1d(cuts - cuts[0] if course.closed else cuts, (0, len(course.points) - 1)).tolist()
    runs = [_run(begun, low, high, fit, lone, tips) for low, high in itertools.pairwise(bounds)]
    before = [runs[-1], *runs[:-1]] if course.closed else runs[:-1]
    after = runs if course.closed else runs[1:]
    turn = [other[0].start[2] - one[-1].end_heading for one, other in zip(before, after, strict=True)]
    smooth = cuts[np.abs(wrapped(np.array(turn, dtype=np.float64))) <= BEND]
    if np.isin(corners, smooth).any():
        return _fitted(course, stroke, fit, np.setdiff1d(corners, smooth), lone, tips)
    return reaches_from([span for run in runs for span in run], begun, stroke, fit.kink)


def _shortened(reaches: Sequence[Reach], course: Course, stroke: Stroke) -> list[Fault]:
    """Return a fault where the track is shorter than what was drawn by more than a hundredth: bends were cut off."""
    share = 1 - sum(element.length for reach in reaches for element in reach.elements) / float(course.along[-1])
    if share <= SHORTER:
        return []
    text = f"its bends are too small to follow, or it trembles: the track is {100 * share:.2g} % shorter than drawn"
    return [Fault("shortened", text, Spot(*stroke.points[0].tolist()), stroke.handle, stroke.layer, share)]


def _ring(course: Course, fit: Fit) -> tuple[list[Span], IntArray]:
    """Return the elements of a closed course without a cut; or none, and the cuts that it needs."""
    circle = circle_span(course, fit)
    found = free_spans(course.points, course.along, fit, closed=True) if circle is None else [circle]
    return ring_spans(course.points[:-1], course.along, fit) if found is None else (found, np.zeros(0, np.int64))


def _run(course: Course, low: int, high: int, fit: Fit, lone: IntArray, tips: tuple[float, float]) -> list[Span]:
    """Return the elements of one run: a chord that is a curve by itself, or chords between cuts."""
    if high - low == 1 and low in lone:
        return [curve_span(course, low)]
    points, along = course.points[low : high + 1], course.along[low : high + 1]
    free = free_spans(points, along, fit, closed=False)
    own = tips[0] if low == 0 else math.nan, tips[1] if high == len(course.points) - 1 else math.nan
    return chord_spans(points, along, fit, own) if free is None else free
