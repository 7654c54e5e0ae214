"""Elements on their way from chords to reaches: where each lies along the drawn stroke, and which are one."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.fitting.chains import Chain
from gradehaul.plan.drawing.fitting.course import Course, turns
from gradehaul.plan.drawing.fitting.search import Noise
from gradehaul.plan.drawing.records import Element, Fault, Reach, Spot, Stroke

FloatArray = NDArray[np.float64]


class Fit(NamedTuple):
    """What a fit has to hold: tolerance, m, kink, radians, and the scatter expected of the vertices, m."""

    tolerance: float
    kink: float
    scatter: float

    @property
    def noise(self) -> Noise:
        """How far vertices may lie from an element, in tolerances."""
        return Noise(self.scatter / self.tolerance)

    def as_straight(self, curvature: float, length: float, points: FloatArray) -> bool:
        """Return whether a run and its vertices bulge by less than the tolerance, and turn by far less than a kink."""
        turn = abs(curvature) * length
        if turn * length / 8 > self.tolerance or turn > self.kink / 2:
            return False
        way, reach = points[-1] - points[0], points - points[0]
        return float(np.abs(reach[:, 0] * way[1] - reach[:, 1] * way[0]).max()) <= self.tolerance * math.hypot(*way)


class Span(NamedTuple):
    """An element on its way: start (x, y, heading), end, and where both lie along the drawn stroke, m."""

    start: tuple[float, float, float]
    end: tuple[float, float]
    curvature: float
    length: float
    since: float
    until: float
    spread: float | None

    @property
    def end_heading(self) -> float:
        """The direction in which it ends, radians, not wrapped."""
        return self.start[2] + self.curvature * self.length


def exact_span(course: Course, segment: int) -> Span:
    """Return an exact segment of a course as it was drawn."""
    (x, y), (x2, y2) = course.points[segment], course.points[segment + 1]
    turn = 4 * math.atan(course.bulges[segment])
    chord = math.hypot(x2 - x, y2 - y)
    since, until = float(course.along[segment]), float(course.along[segment + 1])
    heading = math.atan2(y2 - y, x2 - x) - turn / 2
    return Span((x, y, heading), (x2, y2), 2 * math.sin(turn / 2) / chord, until - since, since, until, None)


def curve_span(course: Course, chord: int) -> Span:
    """Return a chord as the curve that it stands for by itself, by what the course turns at its two ends."""
    turn = float(turns(course.points[chord - 1 : chord + 3]).sum())
    bulges = course.bulges.copy()
    bulges[chord] = math.tan(turn / 4)
    along = float(course.along[chord + 1] - course.along[chord])
    span = exact_span(replace(course, bulges=bulges), chord)
    return span._replace(length=along / math.sin(turn / 2) * turn / 2, spread=math.inf)


def straight_span(points: FloatArray, along: FloatArray) -> Span:
    """Return the straight between the ends of a run."""
    (x, y), (x2, y2) = points[0], points[-1]
    heading = math.atan2(y2 - y, x2 - x)
    length = math.hypot(x2 - x, y2 - y)
    return Span((x, y, heading), (x2, y2), 0.0, length, float(along[0]), float(along[-1]), None)


def spans_of(points: FloatArray, along: FloatArray, arcs: Chain, *, closed: bool) -> list[Span]:
    """Return the elements of a settled chain, with the spread of their radii."""
    spread = _radius_spread(arcs, closed=closed)
    corners = [(float(x), float(y)) for x, y in arcs.start[:, :2]]
    corners.append(corners[0] if closed else (float(points[-1, 0]), float(points[-1, 1])))
    if not closed:
        corners[0] = (float(points[0, 0]), float(points[0, 1]))
    places = _places(points, along, arcs, closed=closed)
    return [
        Span(
            (*corners[j], float(arcs.start[j, 2])),
            corners[j + 1],
            float(arcs.curvature[j]),
            float(arcs.length[j]),
            places[j],
            places[j + 1],
            None if arcs.straight[j] else float(spread[j]),
        )
        for j in range(arcs.count)
    ]


def _places(points: FloatArray, along: FloatArray, arcs: Chain, *, closed: bool) -> list[float]:
    """Return where the joints lie along the drawn stroke, m; a closed one counts on past its end."""
    total = len(points)
    places: list[float] = []
    for joint in range(0 if closed else 1, arcs.count):
        after = int(arcs.first[joint]) if closed else min(max(int(arcs.first[joint]), 1), total - 1)
        one, other = points[(after - 1) % total], points[after % total]
        chord = other - one
        share = float((arcs.start[joint, :2] - one) @ chord / (chord @ chord))
        lap = (after - 1) // total
        since = float(along[(after - 1) % total]) + lap * float(along[-1])
        step = float(along[(after - 1) % total + 1] - along[(after - 1) % total])
        places.append(since + min(max(share, 0.0), 1.0) * step)
    if closed:
        return [*places, places[0] + float(along[-1])]
    return [float(along[0]), *places, float(along[-1])]


def _radius_spread(arcs: Chain, *, closed: bool) -> FloatArray:
    """Return one standard deviation of each radius, m: half the width of the interval that holds 68.3 % of cases.

    The scatter is that of the vertices about the fit; few vertices beyond the unknowns show it poorly, which Student's
    factor allows for. Where there are none beyond, nothing shows it.
    """
    result = np.zeros(arcs.count)
    bent = arcs.curvature != 0  # an arc may turn out to be straight
    scatter_ = student(float(arcs.off @ arcs.off), arcs.freedom(closed=closed))
    if math.isinf(scatter_):
        return np.full(arcs.count, math.inf)
    result[bent] = scatter_ * arcs.spread[bent] / arcs.curvature[bent] ** 2
    return result


def student(squares: float, freedom: int) -> float:
    """Return half the width of the interval for one quantity that holds 68.3 % of cases, m.

    Student's factor by its series in 1/n (Abramowitz and Stegun 26.7.5, from memory), which is right within 2 %.
    """
    if freedom < 1:
        return math.inf
    n = float(freedom)
    return math.sqrt(squares / n) * (1 + 1 / (2 * n) + 1 / (4 * n**2) + 1 / (16 * n**3))


def merged(spans: Sequence[Span], stray: float, *, closed: bool) -> list[Span]:
    """Return exact elements with the pieces of one line or one circle in a row made one."""
    result: list[Span] = []
    for span in spans:
        whole = _union(result[-1], span, stray) if result else None
        if whole is None:
            result.append(span)
        else:
            result[-1] = whole
    if closed and len(result) > 1:
        whole = _union(result[-1], result[0], stray)
        if whole is not None:
            shift = result[-1].until - result[0].since
            result = [*result[1:-1], whole._replace(until=result[0].until + shift)]
    return result


def _union(one: Span, other: Span, stray: float) -> Span | None:
    length = one.length + other.length
    break_ = abs(math.remainder(other.start[2] - one.end_heading, 2 * math.pi))
    if (one.curvature == 0) != (other.curvature == 0):
        return None
    if break_ * length > stray or abs(other.curvature - one.curvature) * length**2 > stray:
        return None
    curvature = (one.curvature * one.length + other.curvature * other.length) / length
    return Span(one.start, other.end, curvature, length, one.since, one.since + length, None)


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
    reaches = tuple(Reach(tuple(elements[low:high]), closed) for low, high in itertools.pairwise(bounds))
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
        _inner_heights(course, span),
    )


def _inner_heights(course: Course, span: Span) -> tuple[tuple[float, float], ...]:
    """Return the heights of the vertices within a span, each after the share of it where the vertex lies."""
    if course.heights is None:
        return ()
    along, heights = course.along, course.heights
    if course.closed:
        along = np.concatenate((along, along[1:] + along[-1]))
        heights = np.concatenate((heights, heights[1:]))
    share = (along - span.since) / (span.until - span.since)
    inside = (share > 1e-9) & (share < 1 - 1e-9)
    return tuple(zip(share[inside].tolist(), heights[inside].tolist(), strict=True))


def _height(course: Course, place: float) -> float | None:
    if course.heights is None:
        return None
    total = float(course.along[-1])
    if course.closed and place > total:
        place -= total
    return float(np.interp(place, course.along, course.heights))
