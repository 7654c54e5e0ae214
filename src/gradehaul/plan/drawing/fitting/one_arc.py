"""One arc between the two ends of a run of chords: a least squares in a single unknown, before any search."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.fitting.chains import Chain
from gradehaul.plan.drawing.fitting.course import Course, turns
from gradehaul.plan.drawing.fitting.search import PRICE, STRAY
from gradehaul.plan.drawing.fitting.spans import Fit, Span, student

FloatArray = NDArray[np.float64]

MOST = math.radians(270)
"""Arcs that turn further are left to the search: their ends come so near that the chord between them says little."""
ROUNDS = 12
"""The most steps of the least squares; three or four are usual."""


MANY = 64
"""Of many vertices, this many are looked at first."""


def one_arc(points: FloatArray, scatter: float) -> Chain | None:
    """Return the arc that holds at all vertices of an open run, or None where two elements might do better.

    Two elements cannot cost less where all that one leaves is no more than what a second one costs.

    Examples
    --------
    >>> angle = np.radians(np.arange(0.0, 91.0, 10.0))
    >>> arc = one_arc(1000 * np.column_stack((np.sin(angle), 1 - np.cos(angle))), 0.0)
    >>> print(arc.curvature.round(9), arc.length.round(6))
    [0.001] [1570.796327]
    """
    if len(points) > 4 * MANY:
        some = np.linspace(0, len(points) - 1, MANY).astype(np.int64)
        if one_arc(points[some], scatter) is None:
            return None
    way = points[-1] - points[0]
    chord = math.hypot(*way.tolist())
    turn = turns(points)
    drawn = np.hypot(*(points[1:] - points[:-1]).T)
    total = float(drawn.sum())
    # A vertex turns by half of what its two chords do: the outer halves of the two end chords are not seen.
    seen = total - float(drawn[0] + drawn[-1]) / 2
    half = float(turn.sum()) * total / seen / 2
    if not (abs(half) <= MOST / 2 and chord > total / 10):
        return None
    reach = points - points[0]
    ahead = (reach @ way) / chord
    aside = (reach[:, 1] * way[0] - reach[:, 0] * way[1]) / chord
    square = ahead**2 + aside**2
    for _ in range(ROUNDS):
        off, change = _off(half, chord, ahead, aside, square)
        bent = float(change @ change)
        step = -float(change @ off) / bent if bent > 0 else 0.0
        half += max(min(step, 0.3), -0.3)
        if not abs(half) <= MOST / 2:
            return None
        if abs(step) < 1e-12:
            break
    off, _ = _off(half, chord, ahead, aside, square)
    worst = max(float(off.max()), -float(off.min()))
    left = float(off @ off)
    if not (worst <= 1 and left <= PRICE * (scatter**2 + STRAY**2)):
        return None
    curvature = 2 * math.sin(half) / chord
    return Chain(
        np.array([[*points[0].tolist(), math.atan2(way[1], way[0]) - half]]),
        np.array([curvature]),
        np.array([2 * half / curvature if half else chord]),
        np.array([False]),
        np.array([0, len(points)]),
        off,
    )


def _off(
    half: float, chord: float, ahead: FloatArray, aside: FloatArray, square: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return how far vertices lie to the left of an arc of turn 2h over a chord, m, and how that changes with h.

    `ahead` and `aside` are along and across the chord. The distance d from a circle of curvature κ through the origin
    with heading -h solves κ d² - 2 d + p = 0 where p = 2 (y cos h + x sin h) - κ r² (plane geometry).
    """
    sine, cosine = math.sin(half), math.cos(half)
    curvature, bend = 2 * sine / chord, 2 * cosine / chord
    power = 2 * (aside * cosine + ahead * sine) - curvature * square
    root = np.sqrt(np.maximum(1 - curvature * power, 1e-6))
    off = power / (1 + root)
    more = 2 * (ahead * cosine - aside * sine) - bend * square
    return off, (more + bend * off**2) / (2 * root)


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
    most = math.hypot(1.6 * fit.scatter, 1.5 * STRAY * fit.tolerance)
    if not (float(np.abs(off).max()) <= fit.tolerance and float(off @ off) <= len(off) * most**2):
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
