"""One arc between the two ends of a run of chords: a least squares in a single unknown, before any search."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.curvature_steps import PRICE, turns
from gradehaul.plan.drawing.fit_limits import SYSTEMATIC, Fit
from gradehaul.plan.drawing.tangent_arcs import Arcs

FloatArray = NDArray[np.float64]

MOST = math.radians(270)
"""Arcs that turn further are left to the search: their ends come so near that the chord between them tells little."""
ROUNDS = 12
"""The most steps of the least squares; three or four are usual."""


def single_arc(points: FloatArray, fit: Fit) -> Arcs | None:
    """Return the arc that holds at all vertices of an open run, or None where two elements might do better.

    Two elements cannot cost less where all that one leaves is no more than what a second one costs.

    Examples
    --------
    >>> angle = np.radians(np.arange(0.0, 91.0, 10.0))
    >>> arc = single_arc(np.column_stack((np.sin(angle), 1 - np.cos(angle))), Fit(0.0008, 0.03, 0.0))
    >>> print(arc.curvature.round(9), arc.length.round(6))
    [1.] [1.570796]
    """
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
    if not (worst <= fit.tolerance and left <= PRICE * (fit.noise**2 + (SYSTEMATIC * fit.tolerance) ** 2)):
        return None
    curvature = 2 * math.sin(half) / chord
    return Arcs(
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
