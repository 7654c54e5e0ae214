"""Strokes of a drawing to straights and arcs: exact curves kept, chords read as the curves they were drawn from."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.curvature_steps import PRICE, scatter, steps, turns
from gradehaul.plan.drawing.records import Element, Fault, Reach, Spot, Stroke
from gradehaul.plan.drawing.tangent_arcs import Arcs, curvature_spread, ends, joined, settle

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

WIDEST_CHORD = math.radians(31)
"""A chord that turns further than this is no chord of a curve: its vertex is a corner (twelve chords round a circle)."""
SYSTEMATIC = 1 / 20
"""How far, in tolerances and root mean square, a curve may stray from its vertices beyond their scatter.

Curves are not stretched until they reach the tolerance: an arc that swallows a bit of the straight beside it holds
within a twentieth of the gauge while its radius is several per cent off.
"""
EXPECTED = 1 / 10
"""In tolerances: the scatter of vertices that is expected before any of them are seen."""
DOUBT = 4.0
"""How many vertices that expectation counts for."""
SHARP = 100.0
"""In tolerances: a curve sharper than this over a chord or less is a rounded corner (5 gauges with the plan's own)."""
SPACING = 4.0
"""In tolerances: vertices closer than this are thinned while looking for the steps of curvature; all are fitted."""
SAME = 1e-3
"""In tolerances: vertices this close are one vertex, and exact curves that stray less are one curve."""


class _Span(NamedTuple):
    """An element on its way: start (x, y, heading), end, and where both lie along the drawn stroke, m."""

    start: tuple[float, float, float]
    end: tuple[float, float]
    curvature: float
    length: float
    since: float
    until: float
    exact: bool
    spread: float | None

    @property
    def end_heading(self) -> float:
        return self.start[2] + self.curvature * self.length


@dataclass(frozen=True, slots=True, eq=False)
class _Course:
    """A stroke without doubled vertices: the arrays of a stroke, with the distance drawn up to each vertex."""

    points: FloatArray
    bulges: FloatArray
    exact: NDArray[np.bool_]
    heights: FloatArray | None
    along: FloatArray
    closed: bool


def fit_stroke(stroke: Stroke, *, tolerance: float, kink: float) -> tuple[tuple[Reach, ...], tuple[Fault, ...]]:
    """Return a stroke as straights and arcs, and the places where its direction breaks.

    Segments that are exact stay the lines and arcs they are (pieces of one line or circle in a row become one). Runs of
    chords are fitted at their vertices, which lie on the curve that was drawn: by the fewest straights and arcs, each
    the tangent of the next, that leave no vertex further off than `tolerance` and stray, root mean square, by no more
    than a twentieth of it beyond the scatter of the vertices themselves. The two ends of a run stay where they were
    drawn.

    A closed stroke without a kink is one closed reach that begins at a joint of elements; a circle is one element of a
    full turn that begins beside the first vertex. With one kink it is one reach that begins and ends there, not closed.

    Parameters
    ----------
    stroke
        The stroke, m. Its coordinates are finite.
    tolerance
        How far a vertex may lie from the fitted curve, m; a twentieth of the gauge is what track laid by hand holds
        (common practice).
    kink
        The change of direction at one place, radians, above which a stroke is split there.

    Returns
    -------
    reaches
        In drawing order; in each the elements' ends meet exactly. Where `heights` are given, z is read along the drawn
        stroke at every end.
    faults
        A ``kink`` for each split, `weight` its angle in degrees; ``zero-length`` for a stroke of a single place.

    Raises
    ------
    ValueError
        If `tolerance` or `kink` is not above 0.

    Examples
    --------
    A quarter circle of 600 mm radius, left, drawn as nine chords:

    >>> angle = np.radians(np.arange(0.0, 91.0, 10.0))
    >>> stroke = Stroke("2F", "TRACK", "LWPOLYLINE", 0.6 * np.column_stack((np.sin(angle), 1 - np.cos(angle))),
    ...                 np.zeros(9), np.zeros(9, dtype=bool))
    >>> (reach,), faults = fit_stroke(stroke, tolerance=0.0008, kink=math.radians(2))
    >>> [(round(1 / element.curvature, 4), round(element.length, 4)) for element in reach.elements]
    [(0.6, 0.9425)]
    """
    if not (tolerance > 0 and kink > 0):
        raise ValueError(f"tolerance and kink must be above 0, got {tolerance} and {kink}")
    course = _course(stroke, SAME * tolerance)
    if course is None:
        x, y = stroke.points[0]
        fault = Fault("zero-length", "all of it lies at one place", Spot(x, y), stroke.handle, stroke.layer)
        return (), (fault,)
    noise = min(scatter(_thinned(course.points, SPACING * tolerance)[0]), tolerance / 4) if not course.exact.all() else 0.0
    cuts = _cuts(course, kink, noise)
    fit = _Fit(tolerance, kink, noise)
    if course.closed and not len(cuts):
        spans = _ring(course, fit)
    else:
        if course.closed:
            course = _rolled(course, int(cuts[0]))
            cuts = (cuts - cuts[0])[1:]
        spans = [span for low, high in _between(course, cuts) for span in _run(course, low, high, fit)]
    spans = _merged(spans, SAME * tolerance, closed=course.closed)
    return _reaches(spans, course, stroke, kink)


class _Fit(NamedTuple):
    """What a fit has to hold: tolerance, m, kink, radians, and the scatter expected of the vertices, m."""

    tolerance: float
    kink: float
    noise: float


def _course(stroke: Stroke, same: float) -> _Course | None:
    points = np.asarray(stroke.points, dtype=np.float64)
    closed = len(points) > 2 and bool(np.hypot(*(points[-1] - points[0])) <= same)
    keep = [0]
    for vertex in range(1, len(points)):  # each against the last one kept: creeping vertices do not vanish together
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
    exact = np.asarray(stroke.exact, dtype=np.bool_)[kept[1:] - 1]
    heights = None if stroke.heights is None else np.asarray(stroke.heights, dtype=np.float64)[kept]
    chord = np.hypot(*np.diff(points, axis=0).T)
    turn = 4 * np.arctan(bulges)
    drawn = np.where(exact, chord / np.sinc(turn / 2 / math.pi), chord)
    along = np.concatenate(([0.0], np.cumsum(drawn)))
    return _Course(points, bulges, exact, heights, along, closed)


def _rolled(course: _Course, start: int) -> _Course:
    """Return a closed course that begins at another of its vertices."""
    drawn = np.roll(np.diff(course.along), -start)
    ring = np.roll(course.points[:-1], -start, axis=0)
    heights = None
    if course.heights is not None:
        heights = np.roll(course.heights[:-1], -start)
        heights = np.append(heights, heights[0])
    return replace(
        course,
        points=np.vstack((ring, ring[:1])),
        bulges=np.roll(course.bulges, -start),
        exact=np.roll(course.exact, -start),
        heights=heights,
        along=np.concatenate(([0.0], np.cumsum(drawn))),
    )


def _cuts(course: _Course, kink: float, noise: float) -> IntArray:
    """Return the vertices at which runs begin and end: those of exact segments, and corners between chords.

    A vertex of a curve turns by half of what its two chords turn, hence by no more than its two neighbors together; a
    vertex that turns more by `kink` is a corner.
    """
    points = course.points
    if course.closed:
        points = np.vstack((points[-2], points, points[1]))[: len(points) + 1]
        turn = turns(points)  # of vertices 0 to n - 1 of the ring
        chord = np.hypot(*np.diff(points, axis=0).T)
        vertex = np.arange(len(turn))
        exact = course.exact
        touches = exact | np.roll(exact, 1)
        before, after = np.roll(turn, 1), np.roll(turn, -1)
    else:
        turn = turns(points)
        chord = np.hypot(*np.diff(points, axis=0).T)
        vertex = np.arange(1, len(points) - 1)
        touches = course.exact[:-1] | course.exact[1:]
        padded = np.concatenate(([0.0], turn, [0.0]))
        exact_before = np.concatenate(([False], touches, [False]))
        padded[exact_before] = 0.0
        before, after = padded[:-2], padded[2:]
    hand = np.sign(turn)
    isolated = np.abs(turn) - np.maximum(hand * before, 0.0) - np.maximum(hand * after, 0.0)
    one, other = chord[:-1], chord[1:]
    shake = noise * np.sqrt(1 / one**2 + 1 / other**2 + (1 / one + 1 / other) ** 2)
    corner = (isolated > kink + 6 * shake) | (np.abs(turn) > WIDEST_CHORD + 6 * shake)
    return np.asarray(vertex[touches | corner], dtype=np.int64)


def _between(course: _Course, cuts: IntArray) -> Iterator[tuple[int, int]]:
    bounds = [0, *(int(cut) for cut in cuts), len(course.points) - 1]
    yield from zip(bounds[:-1], bounds[1:], strict=True)


def _run(course: _Course, low: int, high: int, fit: _Fit) -> list[_Span]:
    """Return the elements of one run: an exact segment, or chords between two cuts."""
    if high - low == 1 and course.exact[low]:
        return [_exact_span(course, low)]
    return _chords(course.points[low : high + 1], course.along[low : high + 1], fit)


def _exact_span(course: _Course, segment: int) -> _Span:
    (x, y), (x2, y2) = course.points[segment], course.points[segment + 1]
    turn = 4 * math.atan(course.bulges[segment])
    chord = math.hypot(x2 - x, y2 - y)
    since, until = float(course.along[segment]), float(course.along[segment + 1])
    heading = math.atan2(y2 - y, x2 - x) - turn / 2
    return _Span((x, y, heading), (x2, y2), 2 * math.sin(turn / 2) / chord, until - since, since, until, True, None)


def _chords(points: FloatArray, along: FloatArray, fit: _Fit) -> list[_Span]:
    """Return the elements of a run of chords; where no chain holds, of its two halves."""
    if len(points) == 2:
        return [_straight(points, along)]
    for price in (PRICE, PRICE / 5, PRICE / 50):
        arcs = _chain(points, fit, price, closed=False)
        if arcs is None:
            continue
        corner = _rounded_corner(points, arcs, fit)
        if corner is not None:
            return _halves(points, along, corner, fit)
        if float(np.abs(arcs.off).max()) <= fit.tolerance:
            return _spans(points, along, arcs, closed=False)
    if len(points) == 3:
        return [_straight(points[:2], along[:2]), _straight(points[1:], along[1:])]
    worst = 1 + int(np.argmax(np.abs(turns(points))))
    if not 0.1 * len(points) < worst < 0.9 * len(points):  # halving keeps the work in bounds
        worst = len(points) // 2
    return _halves(points, along, worst, fit)


def _halves(points: FloatArray, along: FloatArray, vertex: int, fit: _Fit) -> list[_Span]:
    return [
        *_chords(points[: vertex + 1], along[: vertex + 1], fit),
        *_chords(points[vertex:], along[vertex:], fit),
    ]


def _straight(points: FloatArray, along: FloatArray) -> _Span:
    (x, y), (x2, y2) = points[0], points[-1]
    heading = math.atan2(y2 - y, x2 - x)
    length = math.hypot(x2 - x, y2 - y)
    return _Span((x, y, heading), (x2, y2), 0.0, length, float(along[0]), float(along[-1]), False, None)


def _thinned(points: FloatArray, spacing: float) -> tuple[FloatArray, IntArray]:
    """Return vertices about `spacing` apart or more, the two ends among them, and which ones they are."""
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    _, kept = np.unique(np.floor(along / spacing), return_index=True)
    apart = np.diff(along[kept], prepend=-spacing) > spacing / 2
    kept = kept[apart]
    if kept[-1] != len(points) - 1:
        if len(kept) > 1 and along[-1] - along[kept[-1]] < spacing / 2:
            kept = kept[:-1]
        kept = np.append(kept, len(points) - 1)
    return points[kept], kept.astype(np.int64)


def _chain(points: FloatArray, fit: _Fit, price: float, *, closed: bool) -> Arcs | None:
    """Return the chain of fewest elements found for the vertices, or None where none settles.

    `points` of a closed chain do not repeat the first.
    """
    noise = fit.noise
    arcs: Arcs | None = None
    for _ in range(2):
        found = _first_guess(points, math.hypot(noise, fit.tolerance * SYSTEMATIC), fit.tolerance, price, closed=closed)
        if found is None:
            return None
        arcs = settle(points, found, closed=closed)
        arcs = _simplified(points, arcs, fit._replace(noise=noise), closed=closed)
        seen = min(_noise(arcs, fit.tolerance, closed=closed), fit.tolerance / 4)
        if not noise > 2 * max(seen, fit.tolerance * SYSTEMATIC):
            break
        noise = seen  # the joints had passed for scatter: look again with a keener eye
    return arcs if arcs is not None and joined(arcs, closed=closed) else None


def _freedom(arcs: Arcs, *, closed: bool) -> int:
    """Return how many more vertices there are than the chain has unknowns to fit them."""
    unknowns = arcs.count + int((~arcs.straight).sum()) + (0 if closed else 1)
    return len(arcs.off) - unknowns


def _noise(arcs: Arcs, tolerance: float, *, closed: bool) -> float:
    """Return the scatter of the vertices about a chain, m, held near what is expected where few vertices tell it."""
    squares = float(arcs.off @ arcs.off) + DOUBT * (EXPECTED * tolerance) ** 2
    return math.sqrt(squares / (max(_freedom(arcs, closed=closed), 0) + DOUBT))


def _first_guess(points: FloatArray, noise: float, tolerance: float, price: float, *, closed: bool) -> Arcs | None:
    ring, kept = _thinned(np.vstack((points, points[:1])) if closed else points, SPACING * tolerance)
    count = len(ring) - 1
    if count < 2:
        ring, kept = points, np.arange(len(points))
        count = len(ring) - 1
    if closed:
        # Three times round, of which the middle counts: where the drawing began then makes no difference.
        ring = np.vstack((ring[:-1], ring[:-1], ring))
    found = steps(ring, noise=noise, tolerance=tolerance, price=price)
    if closed:
        at = found.at[(found.at >= count) & (found.at < 2 * count)]
        if len(at) < 2:
            return None
        bounds = np.append(at, at[0] + count)
        first = kept[bounds[:-1] - count]
        first = np.append(first, first[0] + len(points))
    else:
        bounds = np.concatenate(([0], found.at, [count]))
        first = kept[bounds].copy()
        first[-1] = len(points)
    begin = bounds[:-1]
    side = found.heading[begin] + math.pi / 2
    start = np.column_stack(
        (
            ring[begin, 0] + found.shift[begin] * np.cos(side),
            ring[begin, 1] + found.shift[begin] * np.sin(side),
            found.heading[begin],
        )
    )
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))))
    length = np.diff(along[bounds])
    turned = np.concatenate(([0.0], np.cumsum(found.curvature * np.diff(along))))
    curvature = np.diff(turned[bounds]) / length
    straight = np.abs(curvature) * length**2 / 8 < tolerance * SYSTEMATIC
    straight[1:] &= ~straight[:-1]
    return Arcs(start, curvature, length, straight, first.astype(np.int64), np.zeros(len(points)))


def _simplified(points: FloatArray, arcs: Arcs, fit: _Fit, *, closed: bool) -> Arcs:
    """Return the chain with every element left out that the vertices can do without."""
    least = 3 if closed else 1
    tried: set[tuple[int, ...]] = set()
    budget = 40 + 6 * arcs.count
    while budget > 0:
        noise = min(_noise(arcs, fit.tolerance, closed=closed), max(fit.noise, EXPECTED * fit.tolerance))
        for change in _changes(arcs, fit.tolerance, closed=closed):
            if arcs.count <= least and change.kind != "straighten":
                continue
            mark = _mark(arcs, change)
            if mark in tried:
                continue
            tried.add(mark)
            budget -= 1
            after = _after(points, arcs, change, fit._replace(noise=noise), closed=closed)
            if after is not None:
                arcs = after
                break
        else:
            break
    return settle(points, arcs, closed=closed)


class _Change(NamedTuple):
    """A way to have an element less: how far it would bend the track at a guess, m, which way, and where."""

    bend: float
    kind: str
    element: int
    straight: bool


def _mark(arcs: Arcs, change: _Change) -> tuple[int, ...]:
    index = np.arange(change.element - 1, change.element + 4) % len(arcs.first)
    return (len(change.kind), int(change.straight), *(int(at) for at in arcs.first[index]))


def _changes(arcs: Arcs, tolerance: float, *, closed: bool) -> list[_Change]:
    """Return the changes worth trying, the slightest first."""
    count = arcs.count
    found: list[_Change] = []
    limit = 4 * tolerance
    for one in range(count):
        length = float(arcs.length[one])
        bend = abs(float(arcs.curvature[one])) * length**2 / 8
        beside = [at % count for at in (one - 1, one + 1) if closed or 0 <= at < count]
        # Over a single drawn chord nothing shows a bend but the tangents of the neighbors.
        bare = int(arcs.first[one + 1] - arcs.first[one]) <= 2 and abs(float(arcs.curvature[one])) * length < WIDEST_CHORD
        if not arcs.straight[one] and (bend <= limit or bare) and not any(arcs.straight[at] for at in beside):
            found.append(_Change(bend, "straighten", one, True))
        if not closed and one == count - 1:
            continue
        other = (one + 1) % count
        both = length + float(arcs.length[other])
        shorter = min(length, float(arcs.length[other]))
        step = abs(float(arcs.curvature[other] - arcs.curvature[one]))
        if count > 1 and step * shorter**2 / 8 <= limit:
            found.append(_Change(step * shorter**2 / 8, "merge", one, False))
            mean = (arcs.curvature[one] * length + arcs.curvature[other] * arcs.length[other]) / both
            outer = [at % count for at in (one - 1, one + 2) if closed or 0 <= at < count]
            if abs(mean) * both**2 / 8 <= limit and not any(arcs.straight[at] for at in outer):
                found.append(_Change(step * shorter**2 / 9, "merge", one, True))
        if closed or one > 0:
            before = (one - 1) % count
            worst = max(abs(float(arcs.curvature[at] - arcs.curvature[one])) for at in (before, other))
            if worst * length**2 / 8 <= limit and not (arcs.straight[before] and arcs.straight[other]):
                found.append(_Change(worst * length**2 / 10, "leave out", one, False))
    return sorted(found)


def _after(points: FloatArray, arcs: Arcs, change: _Change, fit: _Fit, *, closed: bool) -> Arcs | None:
    """Return the chain after a change, fitted anew near it, or None where the vertices tell against it."""
    count, total = arcs.count, len(points)
    low, high = change.element - 3, change.element + 5
    if closed:
        if high - low >= count:
            low, high = 0, count
        elif low < 0 or high > count:
            return _after(points, _turned(arcs, 4 if low < 0 else -5, total), _shifted(change, -4 if low < 0 else 5, count), fit, closed=True)
    else:
        low, high = max(low, 0), min(high, count)
    whole = closed and (low, high) == (0, count)
    window = Arcs(
        arcs.start[low:high],
        arcs.curvature[low:high],
        arcs.length[low:high],
        arcs.straight[low:high],
        arcs.first[low : high + 1] - (0 if whole else arcs.first[low]),
        np.zeros(0),
    )
    vertices = points if whole else points[np.arange(arcs.first[low], arcs.first[high]) % total]
    before = arcs.off if whole else arcs.off[np.arange(arcs.first[low], arcs.first[high]) % total]
    if change.element + 1 >= count and closed and change.kind != "straighten" and whole:
        return _after(points, _turned(arcs, 1, total), _shifted(change, -1, count), fit, closed=True)
    if whole and change.kind == "leave out" and change.element == 0:
        return _after(points, _turned(arcs, -1, total), _shifted(change, 1, count), fit, closed=True)
    changed, touched = _changed(window, change, change.element - low)
    settled = settle(vertices, changed, closed=whole, pinned=not closed and low == 0 and high == count, trial=True)
    if not (np.isfinite(settled.off).all() and joined(settled, closed=whole)):
        return None
    if float(np.abs(settled.off).max()) > fit.tolerance:
        return None
    gain = float(settled.off @ settled.off - before @ before)
    concerned = np.arange(settled.first[touched[0]], settled.first[min(touched[1], settled.count)]) % len(vertices)
    allowed = PRICE * fit.noise**2 + len(concerned) * (SYSTEMATIC * fit.tolerance) ** 2
    if gain > allowed:
        return None
    off = settled.off[concerned]
    if len(off) and math.sqrt(float(off @ off) / len(off)) > math.hypot(1.6 * fit.noise, 1.5 * SYSTEMATIC * fit.tolerance):
        return None
    if whole:
        return settled
    off = arcs.off.copy()
    off[np.arange(arcs.first[low], arcs.first[high]) % total] = settled.off
    return Arcs(
        np.vstack((arcs.start[:low], settled.start, arcs.start[high:])),
        np.concatenate((arcs.curvature[:low], settled.curvature, arcs.curvature[high:])),
        np.concatenate((arcs.length[:low], settled.length, arcs.length[high:])),
        np.concatenate((arcs.straight[:low], settled.straight, arcs.straight[high:])),
        np.concatenate((arcs.first[:low], settled.first[:-1] + arcs.first[low], arcs.first[high:])),
        off,
    )


def _turned(arcs: Arcs, by: int, total: int) -> Arcs:
    """Return a closed chain that begins `by` elements earlier (later, where negative)."""
    by %= arcs.count
    if not by:
        return arcs
    tips = ends(arcs.start, arcs.curvature, arcs.length)
    wind = 2 * math.pi * round((tips[-1, 2] - arcs.start[0, 2]) / (2 * math.pi))
    start = np.roll(arcs.start, by, axis=0)
    start[:by, 2] -= wind
    first = np.concatenate((arcs.first[-1 - by : -1] - total, arcs.first[: arcs.count - by + 1]))
    if first[0] < 0:
        first = first + total
    return Arcs(
        start,
        np.roll(arcs.curvature, by),
        np.roll(arcs.length, by),
        np.roll(arcs.straight, by),
        first,
        arcs.off,
    )


def _shifted(change: _Change, by: int, count: int) -> _Change:
    return change._replace(element=(change.element - by) % count)


def _changed(window: Arcs, change: _Change, at: int) -> tuple[Arcs, tuple[int, int]]:
    """Return a chain after a change, not yet settled, and the elements it touches."""
    start, curvature = window.start.copy(), window.curvature.copy()
    length, straight, first = window.length.copy(), window.straight.copy(), window.first.copy()
    if change.kind == "straighten":
        straight[at] = True
        curvature[at] = 0.0
        start[at, 2] += window.curvature[at] * length[at] / 2
        return Arcs(start, curvature, length, straight, first, window.off), (at, at + 1)
    if change.kind == "merge":
        both = length[at] + length[at + 1]
        curvature[at] = (curvature[at] * length[at] + curvature[at + 1] * length[at + 1]) / both
        length[at] = both
        straight[at] = change.straight
        gone, touched = at + 1, (at, at + 1)
    else:
        half = length[at] / 2
        middle = ends(start[at : at + 1], curvature[at : at + 1], np.array([half]))[0]
        start[at + 1] = middle
        length[at - 1] += half
        length[at + 1] += half
        first[at + 1] = (first[at] + first[at + 1]) // 2
        gone, touched = at, (at - 1, at + 1)
        first = np.delete(first, at)
    if change.kind == "merge":
        first = np.delete(first, gone)
    return (
        Arcs(
            np.delete(start, gone, axis=0),
            np.delete(curvature, gone),
            np.delete(length, gone),
            np.delete(straight, gone),
            first,
            window.off,
        ),
        touched,
    )


def _rounded_corner(points: FloatArray, arcs: Arcs, fit: _Fit) -> int | None:
    """Return the vertex nearest the sharpest turn that no track could follow and no vertices bear out, if any."""
    turn = np.abs(arcs.curvature * arcs.length)
    owned = np.diff(arcs.first)
    bad = (turn > fit.kink) & (owned <= 2) & (np.abs(arcs.curvature) * SHARP * fit.tolerance > 1)
    if not bad.any():
        return None
    element = int(np.argmax(np.where(bad, turn, 0.0)))
    middle = ends(arcs.start[[element]], arcs.curvature[[element]], arcs.length[[element]] / 2)[0, :2]
    low, high = max(int(arcs.first[element]) - 1, 1), min(int(arcs.first[element + 1]) + 1, len(points) - 1)
    if low >= high:
        return None
    near = np.hypot(*(points[low:high] - middle).T)
    return low + int(np.argmin(near))


def _spans(points: FloatArray, along: FloatArray, arcs: Arcs, *, closed: bool) -> list[_Span]:
    """Return the elements of a settled chain, with the spread of their radii."""
    spread = _radius_spread(points, arcs, closed=closed)
    tips = ends(arcs.start, arcs.curvature, arcs.length)
    corners = [(float(x), float(y)) for x, y in arcs.start[:, :2]]
    corners.append(corners[0] if closed else (float(points[-1, 0]), float(points[-1, 1])))
    if not closed:
        corners[0] = (float(points[0, 0]), float(points[0, 1]))
    places = _places(points, along, arcs, closed=closed)
    del tips
    return [
        _Span(
            (*corners[j], float(arcs.start[j, 2])),
            corners[j + 1],
            float(arcs.curvature[j]),
            float(arcs.length[j]),
            places[j],
            places[j + 1],
            False,
            None if arcs.straight[j] else float(spread[j]),
        )
        for j in range(arcs.count)
    ]


def _places(points: FloatArray, along: FloatArray, arcs: Arcs, *, closed: bool) -> list[float]:
    """Return where the joints lie along the drawn stroke, m; a closed one counts on past its end."""
    total = len(points)
    places: list[float] = []
    for joint in range(0 if closed else 1, arcs.count):
        after = int(arcs.first[joint])
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


def _radius_spread(points: FloatArray, arcs: Arcs, *, closed: bool) -> FloatArray:
    """Return one standard deviation of each radius, m: half the width of the interval that holds 68.3 % of cases.

    The scatter is that of the vertices about the fit; few vertices beyond the unknowns tell it poorly, which Student's
    factor allows for. Where there are none beyond, nothing tells it.
    """
    curvature = np.where(arcs.straight, 1.0, arcs.curvature)
    unit = curvature_spread(points, arcs, closed=closed)
    return _deviation(arcs, closed=closed) * unit / curvature**2


def _deviation(arcs: Arcs, *, closed: bool) -> float:
    return _student(float(arcs.off @ arcs.off), _freedom(arcs, closed=closed))


def _student(squares: float, freedom: int) -> float:
    from scipy.special import stdtrit

    if freedom < 1:
        return math.inf
    return math.sqrt(squares / freedom) * float(stdtrit(freedom, 0.841345))


def _ring(course: _Course, fit: _Fit) -> list[_Span]:
    """Return the elements of a closed run of chords without a corner."""
    points = course.points[:-1]
    circle = _circle(course, fit)
    if circle is not None:
        return [circle]
    for price in (PRICE, PRICE / 5, PRICE / 50):
        arcs = _chain(points, fit, price, closed=True)
        if arcs is None or _rounded_corner_of_ring(arcs, fit):
            continue
        if float(np.abs(arcs.off).max()) <= fit.tolerance:
            return _spans(points, course.along, arcs, closed=True)
    return _chords(course.points, course.along, fit)


def _rounded_corner_of_ring(arcs: Arcs, fit: _Fit) -> bool:
    turn = np.abs(arcs.curvature * arcs.length)
    return bool(
        ((turn > fit.kink) & (np.diff(arcs.first) <= 2) & (np.abs(arcs.curvature) * SHARP * fit.tolerance > 1)).any()
    )


def _circle(course: _Course, fit: _Fit) -> _Span | None:
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
    systematic = SYSTEMATIC * fit.tolerance
    if float(np.abs(off).max()) > fit.tolerance:
        return None
    if math.sqrt(float(off @ off) / len(off)) > math.hypot(1.6 * fit.noise, 1.5 * systematic):
        return None
    hand = math.copysign(1.0, full)
    reach = points[0] - middle
    bearing = math.atan2(reach[1], reach[0])
    place = (float(middle[0]) + radius * math.cos(bearing), float(middle[1]) + radius * math.sin(bearing))
    unit = math.sqrt(float(np.linalg.inv(design.T @ design)[2, 2]))
    return _Span(
        (*place, bearing + hand * math.pi / 2),
        place,
        hand / radius,
        2 * math.pi * radius,
        0.0,
        float(course.along[-1]),
        False,
        _student(float(off @ off), len(points) - 3) * unit,
    )


def _merged(spans: Sequence[_Span], stray: float, *, closed: bool) -> list[_Span]:
    """Return the elements with exact pieces of one line or one circle in a row made one."""
    result: list[_Span] = []
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


def _union(one: _Span, other: _Span, stray: float) -> _Span | None:
    if not (one.exact and other.exact):
        return None
    length = one.length + other.length
    break_ = abs(math.remainder(other.start[2] - one.end_heading, 2 * math.pi))
    if (one.curvature == 0) != (other.curvature == 0):
        return None
    if break_ * length > stray or abs(other.curvature - one.curvature) * length**2 > stray:
        return None
    curvature = (one.curvature * one.length + other.curvature * other.length) / length
    return _Span(one.start, other.end, curvature, length, one.since, one.since + length, True, None)


def _reaches(
    spans: Sequence[_Span], course: _Course, stroke: Stroke, kink: float
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
        for low, high in zip(bounds[:-1], bounds[1:], strict=True)
    )
    return reaches, faults


def _element(span: _Span, course: _Course, stroke: Stroke) -> Element:
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


def _height(course: _Course, place: float) -> float | None:
    if course.heights is None:
        return None
    total = float(course.along[-1])
    if course.closed and place > total:
        place -= total
    return float(np.interp(place, course.along, course.heights))
