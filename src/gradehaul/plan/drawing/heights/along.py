"""Heights along lines: the vertices of 3D strokes found again on the track that was fitted to them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby, pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.elements import gap, halved, nearest, place
from gradehaul.plan.drawing.records import Element, FloatArray, Spot, Stroke

MISFIT = 0.002
"""Heights of one place that differ by more than this, m, contradict one another; rises round a loop likewise."""
SAME = 1e-5
"""Heights that differ by less than this, m, are one height, and a height this near to an even climb tells nothing."""

ENDS = 1e-6
"""A place so near to the end of a line, m, is its end."""


class Course(NamedTuple):
    """A stroke with heights: its vertices, shape (n, 2), their distances along it, m, and heights, m, shape (n,)."""

    points: FloatArray
    bulges: FloatArray
    distance: FloatArray
    heights: FloatArray
    closed: bool

    def height(self, distance: float) -> float:
        """Return the height at a distance along the stroke, which may lie a lap before or after."""
        return float(np.interp(self.wrapped(distance), self.distance, self.heights))

    def wrapped(self, distance: float) -> float:
        """Return a distance along the stroke as one within it, where it closes."""
        total = float(self.distance[-1])
        return distance % total if self.closed and not 0 <= distance <= total else distance


def course_of(stroke: Stroke) -> Course:
    """Return a stroke that has heights with the distances along it."""
    chord = np.hypot(*np.diff(stroke.points, axis=0).T)
    turn = 4 * np.arctan(stroke.bulges)
    length = chord / np.sinc(turn / (2 * math.pi))
    distance = np.concatenate(([0.0], np.cumsum(length)))
    assert stroke.heights is not None
    level = abs(stroke.heights[-1] - stroke.heights[0]) < MISFIT  # a helix comes back to its place on another level
    closed = bool(level and np.hypot(*(stroke.points[-1] - stroke.points[0])) < ENDS)
    return Course(stroke.points, stroke.bulges, distance, stroke.heights, closed)


def heights_along(
    elements: Sequence[Element], courses: Mapping[str, Sequence[Course]], reach: float
) -> tuple[list[tuple[float, float]], float]:
    """Return distances and heights along a line, rising, those at its ends too, and its length, m.

    Elements in a row that come from one stroke are held against that stroke; its vertices between their ends bring
    their heights along.
    """
    found: list[tuple[float, float]] = []
    base = 0.0
    for handle, group in groupby(elements, key=lambda element: element.handle):
        run = list(group)
        length = math.fsum(element.length for element in run)
        own: list[tuple[float, float]] | None = None
        for course in courses.get(handle, ()):
            if len(course.heights) > 2:  # a stroke of one segment has none between its ends
                own = own or _vertices(run, length, course, reach)
        if own is None:
            own = list(_element_ends(run))
        found += [(base + length if at >= length - ENDS else base + max(at, 0.0), height) for at, height in own]
        base += length
    return found, base


def _element_ends(run: Sequence[Element]) -> Iterator[tuple[float, float]]:
    """Yield the heights at the ends of elements, where they have any."""
    at = 0.0
    for element in run:
        if element.start.z is not None and element.end.z is not None:
            if at == 0.0:
                yield at, element.start.z
            yield at + element.length, element.end.z
        at += element.length


def _vertices(run: Sequence[Element], length: float, course: Course, reach: float) -> list[tuple[float, float]] | None:
    """Return the heights of a stroke's vertices along elements made of it, with those at both ends.

    Where the stroke passes a place more than once, as a helix does, the stretch of it is the one whose length and
    heights are those of the elements.
    """
    first, last = run[0].start, run[-1].end
    if first.z is None or last.z is None:
        return None
    total = float(course.distance[-1])
    laps = (-total, 0.0, total) if course.closed else (0.0,)
    best, stretch = math.inf, (0.0, 0.0)
    for since in _feet(course, first, reach):
        for foot in _feet(course, last, reach):
            for until in (foot + lap for lap in laps):
                off = abs(abs(until - since) - length)
                off += abs(course.height(since) - first.z) + abs(course.height(until) - last.z)
                if off < best:
                    best, stretch = off, (since, until)
    since, until = stretch
    if since == until or best > 0.02 * length + 4 * reach:
        return None
    low, high = min(stretch), max(stretch)
    places = np.concatenate([course.distance + lap for lap in laps])
    heights = np.tile(course.heights, len(laps))
    inside = (places > low + ENDS) & (places < high - ENDS)
    share = (places[inside] - since) / (until - since)
    order = np.argsort(share, kind="stable")
    inner = list(zip((share[order] * length).tolist(), heights[inside][order].tolist(), strict=True))
    # the seam of a closed stroke stands twice
    inner = [pair for before, pair in pairwise([(-1.0, 0.0), *inner]) if pair[0] > before[0] + ENDS]
    return [(0.0, course.height(since)), *inner, (length, course.height(until))]


def _feet(course: Course, spot: Spot, reach: float) -> list[float]:
    """Return where a stroke passes within reach of a point: distances along it, m, one for each time it passes."""
    start, step = course.points[:-1], np.diff(course.points, axis=0)
    size = np.maximum((step**2).sum(axis=1), 1e-30)
    offset = np.array((spot.x, spot.y)) - start
    share = np.clip((offset * step).sum(axis=1) / size, 0.0, 1.0)
    off = np.hypot(*(offset - share[:, None] * step).T)
    at = course.distance[:-1] + share * np.diff(course.distance)
    for number in np.flatnonzero(course.bulges):
        at[number], off[number] = _foot_on_arc(course, int(number), spot)
    near: NDArray[np.int_] = np.flatnonzero(off <= reach)
    passes = np.split(near, np.flatnonzero(np.diff(near) > 1) + 1)
    return [float(at[group[int(np.argmin(off[group]))]]) for group in passes if len(group)]


def _foot_on_arc(course: Course, number: int, spot: Spot) -> tuple[float, float]:
    (x, y), (x2, y2) = course.points[number], course.points[number + 1]
    turn = 4 * math.atan(course.bulges[number])
    length = float(course.distance[number + 1] - course.distance[number])
    heading = math.atan2(y2 - y, x2 - x) - turn / 2
    arc = Element(Spot(x, y), Spot(x2, y2), heading, turn / length, length, "", "")
    best, at, passed = math.inf, 0.0, 0.0
    for part in halved(arc):
        here = nearest(part, spot)
        off = gap(place(part, here), spot)
        if off < best:
            best, at = off, passed + here
        passed += part.length
    return float(course.distance[number]) + at, best


def at_edges(
    pairs: Sequence[tuple[float, float]], elements: Sequence[Element], edge: float
) -> list[tuple[float, float]]:
    """Return heights along a line, those near to where two elements meet at that very place."""
    if not pairs:
        return []
    ends = np.cumsum([0.0, *(element.length for element in elements)])
    found: dict[float, list[float]] = {}
    for distance, height in pairs:
        nearest_end = float(ends[int(np.argmin(np.abs(ends - distance)))])
        place_ = nearest_end if abs(nearest_end - distance) <= edge else distance
        found.setdefault(place_, []).append(height)
    return [(distance, math.fsum(heights) / len(heights)) for distance, heights in sorted(found.items())]


def thinned(
    pairs: Sequence[tuple[float, float]], low: float | None, high: float | None, length: float
) -> tuple[tuple[float, float], ...]:
    """Return the heights along a line without those that an even climb between the others tells as well.

    Each that is left out lies within 0.01 mm of the climb between those kept on both sides of it. Where an end of the
    line has no height of its own, the first or last of the heights stays.
    """
    ends = [(0.0, low)] if low is not None else []
    every = [*ends, *pairs, *([(length, high)] if high is not None else [])]
    if len(every) < 3:
        return tuple(pairs)
    table = np.array(every, dtype=float)
    keep = np.zeros(len(table), dtype=bool)
    keep[[0, -1]] = True
    stack = [(0, len(table) - 1)]
    while stack:
        first, last = stack.pop()
        if last - first < 2:
            continue
        (s0, z0), (s1, z1) = table[first], table[last]
        inner = table[first + 1 : last]
        off = np.abs(inner[:, 1] - (z0 + (z1 - z0) * (inner[:, 0] - s0) / (s1 - s0)))
        worst = int(np.argmax(off))
        if off[worst] > SAME:
            middle = first + 1 + worst
            keep[middle] = True
            stack += [(first, middle), (middle, last)]
    kept = table[keep]
    return tuple((s, z) for s, z in kept.tolist() if ENDS < s < length - ENDS)
