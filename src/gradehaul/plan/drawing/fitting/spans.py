"""Elements on their way from chords to reaches: where each lies along the drawn stroke, and which are one."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from gradehaul.plan.drawing.fitting.chains import Chain
from gradehaul.plan.drawing.fitting.course import Course, turns
from gradehaul.plan.drawing.records import Element, Fault, FloatArray, Reach, Spot, Stroke


class Fit(NamedTuple):
    """What a fit has to hold: tolerance, m, kink, radians, and the scatter expected of the vertices, in tolerances."""

    tolerance: float
    kink: float
    scatter: float


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


def spans_of(points: FloatArray, along: FloatArray, chain: Chain) -> list[Span]:
    """Return the elements of a settled chain, m, with the spread of their radii."""
    corners = [(x, y) for x, y in chain.start[:, :2].tolist()]
    if chain.closed:
        corners.append(corners[0])
    else:
        (first, last), corners = points[[0, -1]].tolist(), corners[1:]
        corners = [tuple(first), *corners, tuple(last)]
    places = _places(points, along, chain)
    figures = zip(chain.start[:, 2].tolist(), chain.curvature.tolist(), chain.length.tolist(), strict=True)
    return [
        Span((*corners[at], heading), corners[at + 1], bend, length, places[at], places[at + 1], spread)
        for at, ((heading, bend, length), spread) in enumerate(zip(figures, _radius_spread(chain), strict=True))
    ]


def _places(points: FloatArray, along: FloatArray, chain: Chain) -> list[float]:
    """Return where the joints lie along the drawn stroke, m; a closed one counts on past its end."""
    total, whole = len(points), float(along[-1])
    after = chain.first[:-1] if chain.closed else np.clip(chain.first[1:-1], 1, total - 1)
    lap, before = np.divmod(after - 1, total)
    chord = points[(before + 1) % total] - points[before]
    on = ((chain.start[chain.count - len(after) :, :2] - points[before]) * chord).sum(axis=1)
    share = np.clip(on / (chord**2).sum(axis=1), 0.0, 1.0)
    places = (lap * whole + along[before] + share * (along[before + 1] - along[before])).tolist()
    return [*places, places[0] + whole] if chain.closed else [float(along[0]), *places, whole]


def _radius_spread(chain: Chain) -> list[float | None]:
    """Return one standard deviation of each radius, m: half the width of the interval that holds 68.3 % of cases.

    The scatter is that of the vertices about the fit; few vertices beyond the unknowns show it poorly, which Student's
    factor allows for. Where there are none beyond, nothing shows it. What no least squares laid has none.
    """
    if not len(chain.off):
        return [None] * chain.count
    scatter = student(float(chain.off @ chain.off), chain.freedom)
    found = np.full(chain.count, math.inf if math.isinf(scatter) else 0.0)
    bent = (chain.curvature != 0) & np.isfinite(found)  # an arc may turn out to be straight
    found[bent] += scatter * chain.spread[bent] / chain.curvature[bent] ** 2
    return [None if straight else spread for straight, spread in zip(chain.straight, found.tolist(), strict=True)]


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
    joints = range(0 if course.closed else 1, len(spans))
    turn = {joint: spans[joint].start[2] - spans[joint - 1].end_heading for joint in joints}
    kinks = [joint for joint in joints if abs(math.remainder(turn[joint], math.tau)) > kink]
    closed = course.closed and not kinks
    elements = [_element(span, course, stroke) for span in spans]
    faults = []
    for joint in kinks:
        degrees = abs(math.degrees(math.remainder(turn[joint], math.tau)))
        text = f"the direction breaks by {degrees:.3g} degrees"
        faults.append(Fault("kink", text, elements[joint].start, stroke.handle, stroke.layer, degrees))
    if course.closed and kinks:  # begin at a kink, so that the seam of the drawing splits nothing
        elements = elements[kinks[0] :] + elements[: kinks[0]]
        bounds = [joint - kinks[0] for joint in kinks] + [len(elements)]
    else:
        bounds = [0, *kinks, len(elements)]
    reaches = tuple(Reach(tuple(elements[low:high]), closed) for low, high in itertools.pairwise(bounds))
    return reaches, tuple(faults)


def _element(span: Span, course: Course, stroke: Stroke) -> Element:
    low, inner, high = _heights(course, span)
    return Element(
        Spot(span.start[0], span.start[1], low),
        Spot(span.end[0], span.end[1], high),
        math.remainder(span.start[2], math.tau),
        span.curvature,
        span.length,
        stroke.handle,
        stroke.layer,
        span.spread,
        inner,
    )


def _heights(course: Course, span: Span) -> tuple[float | None, tuple[tuple[float, float], ...], float | None]:
    """Return the heights at the ends of a span, and those of the vertices between, each after the share of it there."""
    if course.heights is None:
        return None, (), None
    along, heights = course.along, course.heights
    if course.closed:
        along = np.concatenate((along, along[1:] + along[-1]))
        heights = np.concatenate((heights, heights[1:]))
    share = (along - span.since) / (span.until - span.since)
    inside = (share > 1e-9) & (share < 1 - 1e-9)
    low, high = np.interp((span.since, span.until), along, heights).tolist()
    return low, tuple(zip(share[inside].tolist(), heights[inside].tolist(), strict=True)), high
