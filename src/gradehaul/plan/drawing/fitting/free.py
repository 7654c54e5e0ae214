"""Free curves, whose curvature changes all along: pairs of arcs between vertices, each the tangent of the next.

A search for the fewest straights and arcs would take long and mean little where none were drawn. Two arcs between two
points with given tangents (a biarc) leave a curve whose curvature changes at the rate c by at most 2 c h³/81, where h
is the length of one of them. So pairs are made longer and shorter by the cube root of what they miss until all miss
alike (as knots are placed: de Boor 1973, from memory); where one misses by more than it may, it is halved.
"""

from __future__ import annotations

import math

import numpy as np

from gradehaul.plan.drawing.fitting.chains import Chain
from gradehaul.plan.drawing.fitting.search import NODE, nodes_of
from gradehaul.plan.drawing.fitting.spans import Fit, Span, spans_of
from gradehaul.plan.drawing.records import FloatArray, IntArray

FEWEST = 100
"""A run of fewer nodes is left to the search."""
WINDOW = 6 * NODE
"""In tolerances: over three times this far a curve must bend unlike an arc to be free."""
LEAST = 3
"""Over so few chords a smooth curve looks like vertices that scatter."""
UNLIKE = 0.012
"""In tolerances: by how much four places that far apart miss one circle."""
STEADY = 1.1
"""What they miss by grows with the cube of how far apart they are, but for this factor, where curvature is smooth."""
AIM, MOST = 1 / 6, 1 / 4
"""In tolerances: how far off a vertex of each pair of arcs should lie, and may."""
TURN = 1.0
"""How much a pair of arcs should turn at the most, radians."""
BEGUN, EVENED, HALVED = 10, 4, 16
"""How many nodes a pair spans at first, how often pairs are made longer and shorter until all miss alike, and how often
a pair that misses is halved."""


def free_spans(points: FloatArray, along: FloatArray, fit: Fit, *, closed: bool) -> list[Span] | None:
    """Return the elements of a run that is a free curve, or None; a closed one repeats its first vertex."""
    if len(points) < FEWEST:
        return None
    scaled = (points - points[0]) / fit.tolerance
    vertex = nodes_of(scaled, 0.0).vertex
    if len(vertex) < FEWEST or not _is_free(scaled[vertex], fit.scatter):
        return None
    heading = _headings(scaled, closed=closed)
    often = np.full(len(vertex) - 1, 1 / BEGUN)  # pairs on each chord between nodes
    at = np.array([0, len(points) - 1])
    for _ in range(EVENED):
        grown = np.concatenate(([0.0], np.cumsum(often)))
        places = np.interp(np.linspace(0, grown[-1], max(1, math.ceil(grown[-1])) + 1), grown, vertex)
        at = np.unique(places.round().astype(np.int64))
        miss = np.clip(np.cbrt(arc_pairs(scaled, heading, at)[1] / AIM), 0.5, 2.0)
        often = often * miss[np.clip(np.searchsorted(at, vertex[:-1], side="right") - 1, 0, len(miss) - 1)]
    for _ in range(HALVED):
        arcs, miss = arc_pairs(scaled, heading, at)
        wrong = np.flatnonzero((miss > MOST) & (np.diff(at) > 1))
        if 3 * arcs.count > len(vertex):
            return None
        if not wrong.size:
            return spans_of(points, along, arcs.scaled(fit.tolerance, points[0]))
        at = np.sort(np.append(at, (at[wrong] + at[wrong + 1]) // 2))
    return None


def _is_free(places: FloatArray, scatter: float) -> bool:
    """Return whether three quarters of a run bend unlike arcs, and steadily, unlike vertices that scatter."""
    stride = round(WINDOW / float(np.hypot(*np.diff(places, axis=0).T).mean()))
    if stride < LEAST:
        return False
    way = places[stride:] - places[:-stride]
    one, other = way[:-stride], way[stride:]
    chord = np.hypot(*way.T)
    turn = np.arctan2(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0], (one * other).sum(axis=1))
    mean = (chord[:-stride] + chord[stride:]) / 2
    rate = turn / mean
    miss = np.abs(rate[stride:] - rate[:-stride]) * ((mean[stride:] + mean[:-stride]) / 2) ** 2
    return float(np.quantile(miss, 0.25)) > max(UNLIKE, STEADY * stride**3 * scatter)


def _headings(points: FloatArray, *, closed: bool) -> FloatArray:
    """Return the direction at each vertex: the tangent of the circle through it and its two neighbors (Euclid III, 32).

    It leaves the chord to one neighbor by the angle under which the other one sees that chord.
    """
    ring = np.vstack((points[-2], points, points[1])) if closed else points
    way = np.diff(ring, axis=0)
    across = ring[2:] - ring[:-2]
    one, other = way[:-1], way[1:]
    bent = np.arctan2(across[:, 0] * other[:, 1] - across[:, 1] * other[:, 0], (across * other).sum(axis=1))
    inner = np.arctan2(one[:, 1], one[:, 0]) + bent
    if closed:
        return np.asarray(inner, dtype=np.float64)
    ends = np.arctan2(way[[0, -1], 1], way[[0, -1], 0])
    ends[0] -= math.remainder(inner[0] - ends[0], 2 * math.pi)
    ends[1] += math.remainder(ends[1] - inner[-1], 2 * math.pi)
    return np.concatenate((ends[:1], inner, ends[1:]))


def arc_pairs(points: FloatArray, heading: FloatArray, at: IntArray) -> tuple[Chain, FloatArray]:
    """Return two arcs between each two chosen vertices in a row, both tangents equally long, and how far off they lie.

    The pair is Bolton's of 1975 (from memory).
    """
    place, angle = points[at], heading[at]
    way = np.stack((np.cos(angle), np.sin(angle)), axis=1)
    chord, both = place[1:] - place[:-1], way[1:] + way[:-1]
    square, dot = (chord**2).sum(axis=1), (chord * both).sum(axis=1)
    unlike = ((way[1:] - way[:-1]) ** 2).sum(axis=1)
    reach = (square / (dot + np.sqrt(dot**2 + unlike * square)))[:, None]
    joint = (place[1:] + place[:-1] + reach * (way[:-1] - way[1:])) / 2
    start = np.empty((2 * len(chord), 3))
    start[0::2, :2], start[1::2, :2] = place[:-1], joint
    ends = np.empty((len(start), 2))
    ends[0::2], ends[1::2] = joint, place[1:]
    across = ends - start[:, :2]
    bearing = np.arctan2(across[:, 1], across[:, 0])
    half = np.empty(len(start))  # half of what each turns: by how much its chord leaves its tangent
    half[0::2], half[1::2] = bearing[0::2] - angle[:-1], angle[1:] - bearing[1::2]
    half = np.remainder(half + math.pi, 2 * math.pi) - math.pi
    start[:, 2] = bearing - half
    size = np.hypot(*across.T)
    curvature, length = 2 * np.sin(half) / size, size / np.sinc(half / math.pi)
    # one column at a time: numpy is several times slower along rows of two
    count, (x, y) = np.diff(at), points[at[0] : at[-1]].T
    left, low = start[:, 0], start[:, 1]
    cosine, sine = np.cos(start[:, 2]), np.sin(start[:, 2])
    second = np.repeat(np.arange(1, len(start), 2), count)
    own = second - ((x - left[second]) * cosine[second] + (y - low[second]) * sine[second] < 0)
    x, y, bend = x - left[own], y - low[own], curvature[own]
    power = 2 * (y * cosine[own] - x * sine[own]) - bend * (x * x + y * y)
    off = power / (1 + np.sqrt(np.maximum(1 - bend * power, 1e-6)))
    miss = np.maximum.reduceat(np.abs(off), at[:-1] - at[0])
    turn = np.abs(curvature * length).reshape(-1, 2).sum(axis=1)
    miss = np.maximum(miss, MOST * (turn / TURN / 2) ** 3)
    first = np.searchsorted(own, np.arange(len(start) + 1))
    return Chain(start, curvature, length, np.zeros(len(start), np.bool_), first), miss
