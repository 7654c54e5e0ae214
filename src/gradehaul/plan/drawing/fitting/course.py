"""A stroke as the course of its vertices: none doubled, with the distance drawn, the corners and the ring it may be."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from gradehaul.plan.drawing.records import FloatArray, IntArray, Stroke

BEND = math.radians(1.0)
"""Between straights, a bend from which a vertex is a corner, and no scatter of a straight."""
LONGER, ALIKE = 1.5, 0.05
"""A chord that is a curve by itself: how much longer its neighbors are, and by what share its turns may differ."""
WIDEST_CHORD = math.radians(31)
"""A vertex that turns further than this is a corner: no curve is drawn with fewer than twelve chords in a circle."""


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """A stroke without doubled vertices: the arrays of a stroke, with the distance drawn up to each vertex.

    `begin` is the vertex at which the drawing of a closed one began.
    """

    points: FloatArray
    bulges: FloatArray
    exact: bool
    heights: FloatArray | None
    along: FloatArray
    closed: bool
    begin: int = 0


def turns(points: FloatArray) -> FloatArray:
    """Return the turn of a polyline at each inner vertex, radians, within ±π, shape (n - 2,)."""
    along = np.diff(points, axis=0)
    cross = along[:-1, 0] * along[1:, 1] - along[:-1, 1] * along[1:, 0]
    dot = (along[:-1] * along[1:]).sum(axis=1)
    return np.asarray(np.arctan2(cross, dot), dtype=np.float64)


def shake_of(chord: FloatArray) -> FloatArray:
    """Return how much each inner vertex's turn strays where vertices stray by 1 each, shape (n - 2,)."""
    one, other = 1 / chord[:-1], 1 / chord[1:]
    return np.asarray(np.sqrt(one**2 + other**2 + (one + other) ** 2), dtype=np.float64)


def scatter(points: FloatArray) -> float:
    """Return how far vertices stray sideways from smooth curves, m (standard deviation), by their turns alone.

    Four vertices on one circle turn at one rate at the two inner ones; how much the rates differ shows the scatter.
    Most of a drawing's sets of four that straddle a joint differ for another reason, so the estimate rests on the
    fifth of them that differ least.
    """
    chord = np.hypot(*np.diff(points, axis=0).T)
    points = points[np.append(True, chord > 0)]  # a stroke may go out and back between two of them
    if len(points) < 6:
        return 0.0
    chord = np.hypot(*np.diff(points, axis=0).T)
    turn = turns(points)
    mean = (chord[:-1] + chord[1:]) / 2
    rate = turn / mean
    # Weights of the four vertices' displacements in the difference of the two rates.
    before, middle, after = chord[:-2], chord[1:-1], chord[2:]
    left, right = mean[:-1], mean[1:]
    weight = np.stack(
        (
            -1 / (before * left),
            (1 / before + 1 / middle) / left + 1 / (middle * right),
            -1 / (middle * left) - (1 / middle + 1 / after) / right,
            1 / (after * right),
        )
    )
    stray = np.abs(np.diff(rate)) / np.sqrt((weight**2).sum(axis=0))
    return float(np.quantile(stray, 0.2)) / 0.2533  # a fifth of a normal sample lies within 0.2533 deviations


def course_of(stroke: Stroke, same: float) -> Course | None:
    """Return the course of a stroke whose vertices within `same`, m, are one; None where all lie at one place."""
    points = np.asarray(stroke.points, dtype=np.float64)
    closed = len(points) > 2 and math.dist(points[-1], points[0]) <= same
    if stroke.heights is not None:  # a helix may end above where it began
        closed = closed and abs(float(stroke.heights[-1] - stroke.heights[0])) <= same
    keep = [0]
    if (np.hypot(*np.diff(points, axis=0).T) > same).all():
        keep = list(range(len(points)))
    else:
        for vertex in range(1, len(points)):  # each against the last one kept: creeping ones do not vanish together
            if math.dist(points[vertex], points[keep[-1]]) > same:
                keep.append(vertex)
    if len(keep) < 2:
        return None
    last = len(points) - 1
    if keep[-1] != last:
        if len(keep) == 2 and closed:
            return None
        keep[-1] = last
    kept = np.array(keep)
    points = points[kept].copy()
    if closed:
        points[-1] = points[0]
    # The segment that leads up to a kept vertex is the one that has a length.
    bulges = np.asarray(stroke.bulges, dtype=np.float64)[kept[1:] - 1]
    heights = None if stroke.heights is None else np.asarray(stroke.heights, dtype=np.float64)[kept]
    chord = np.hypot(*np.diff(points, axis=0).T)
    turn = 4 * np.arctan(bulges)
    drawn = chord / np.sinc(turn / 2 / math.pi) if stroke.exact else chord
    along = np.concatenate(([0.0], np.cumsum(drawn)))
    return Course(points, bulges, stroke.exact, heights, along, closed)


def begun_at(course: Course, start: int) -> Course:
    """Return a closed course that begins at another of its vertices."""
    if not start:
        return course
    order = np.roll(np.arange(len(course.points) - 1), -start)
    around = np.append(order, start)
    return replace(
        course,
        points=course.points[around],
        bulges=course.bulges[order],
        heights=None if course.heights is None else course.heights[around],
        along=np.concatenate(([0.0], np.cumsum(np.diff(course.along)[order]))),
        begin=(course.begin - start) % len(order),
    )


def in_order(course: Course) -> tuple[Course, bool]:
    """Return a course as it is fitted, and whether it runs the other way now.

    A closed one runs from its least vertex on: so a stroke gives one track whichever way it was drawn, and a ring
    wherever its drawing began.
    """
    back = _backward(course)
    ways = [(course, False), (back, True)]
    if course.closed:
        ring = course.points[:-1]
        least = ring[np.lexsort((ring[:, 1], ring[:, 0]))[0]]
        starts = np.flatnonzero((ring == least).all(axis=1))  # a ring may come by one place more than once
        ways = [(begun_at(course, start), False) for start in starts.tolist()]
        ways += [(begun_at(back, start), True) for start in (-starts % len(ring)).tolist()]
    return min(ways, key=lambda way: (way[0].points + 0.0).tobytes())


def _backward(course: Course) -> Course:
    """Return a course run the other way."""
    return replace(
        course,
        points=course.points[::-1],
        bulges=-course.bulges[::-1],
        heights=None if course.heights is None else course.heights[::-1],
        along=course.along[-1] - course.along[::-1],
    )


def cuts_of(course: Course, kink: float, noise: float, most: float, deep: float) -> IntArray:
    """Return the vertices at which runs of chords begin and end: corners.

    A vertex of a curve turns by half of what its two chords turn, hence by no more than its two neighbors together; a
    vertex that turns more by `kink` is a corner. A chord is a straight, as in a siding, where the curve would lie off
    it by more than `most`, m, or by more than `deep` beside a shorter one: its other end does not count, and a smaller
    bend is a corner.
    """
    points, inner = course.points, 1
    if course.closed:  # the vertices 0 to n - 1 of the ring
        points, inner = np.vstack((points[-2], points)), 0
    turn, chord = turns(points), np.hypot(*np.diff(points, axis=0).T)
    one, other = chord[:-1], chord[1:]
    mean = (one + other) / 2
    if course.closed:
        before, after, nearer, further = np.roll(turn, 1), np.roll(turn, -1), np.roll(mean, 1), np.roll(mean, -1)
    else:
        padded = np.concatenate(([0.0], turn, [0.0]))
        before, after = padded[:-2], padded[2:]
        nearer, further = np.concatenate((mean[:1], mean[:-1])), np.concatenate((mean[1:], mean[-1:]))
    flat = []
    for own, next_to in ((one, other), (other, one)):
        off = np.abs(turn) * own**2 / mean / 8  # the sagitta, were both chords of one curve
        flat.append((off > most) | ((off > deep) & (own > LONGER * next_to)))
    bent = (np.where(flat[0], 0.0, one) + np.where(flat[1], 0.0, other)) / 2
    before, after = np.where(flat[0], 0.0, before), np.where(flat[1], 0.0, after)
    if not course.closed and len(turn) > 1:  # beyond an end the curve may go on
        before[0] = np.sign(turn[0]) * min(abs(turn[0]) / 2, max(np.sign(turn[0]) * after[0], 0.0))
        after[-1] = np.sign(turn[-1]) * min(abs(turn[-1]) / 2, max(np.sign(turn[-1]) * before[-1], 0.0))
    hand = np.sign(turn)
    # Beside a longer or shorter chord a neighbor turns further or less than this vertex would.
    before, after = before * np.maximum(bent / nearer, 1), after * np.maximum(bent / further, 1)
    isolated = np.abs(turn) - np.maximum(hand * before, 0.0) - np.maximum(hand * after, 0.0)
    shake = noise * shake_of(chord)
    allowed = np.where(flat[0] | flat[1], min(kink, BEND), kink)
    corner = (isolated > allowed + 6 * shake) | (np.abs(turn) > WIDEST_CHORD + 6 * shake)
    return np.flatnonzero(corner) + inner


def lone_chords(course: Course, deep: float) -> IntArray:
    """Return the chords that are curves by themselves, by the vertex where they begin.

    Four vertices of a long chord, a short one and a long one, which turns as much at both of its ends, lie on a circle
    too; but nobody draws a curve by chords so unlike of which the long ones lie off by more than `deep`, m.
    """
    if course.closed or len(course.points) < 4:
        return np.zeros(0, np.int64)
    turn, chord = turns(course.points), np.hypot(*np.diff(course.points, axis=0).T)
    shorter = np.minimum(chord[:-2] / chord[1:-1], chord[2:] / chord[1:-1])
    off = np.minimum(np.abs(turn[:-1]) * chord[:-2], np.abs(turn[1:]) * chord[2:]) / 8
    alike = np.abs(turn[1:] - turn[:-1]) <= ALIKE * np.abs(turn[:-1])
    fair = alike & (shorter >= LONGER) & (off > deep) & (np.abs(turn[:-1]) <= WIDEST_CHORD / 2)
    return np.flatnonzero(fair) + 1
