"""Strokes of a drawing to straights and arcs: exact curves kept, chords read as the curves they were drawn from."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.curvature_steps import PRICE, Steps, scatter, steps, turns
from gradehaul.plan.drawing.elements import turned
from gradehaul.plan.drawing.records import Element, Fault, Reach, Spot, Stroke
from gradehaul.plan.drawing.tangent_arcs import Arcs, curvature_spread, ends, joined, settle

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

WIDEST_CHORD = math.radians(31)
"""A vertex that turns further than this is a corner: no curve is drawn with fewer than twelve chords in a circle."""
SYSTEMATIC = 1 / 20
"""How far, in tolerances and root mean square, a curve may stray from its vertices beyond their scatter.

Curves are not stretched until they reach the tolerance: an arc that swallows a bit of the straight beside it holds
within a twentieth of the gauge while its radius is several per cent off.
"""
EXPECTED = 1 / 10
"""In tolerances: the scatter of vertices that is expected before any of them are seen."""
DOUBT = 4.0
"""How many vertices that expectation counts for."""
SHARP = 200.0
"""In tolerances: a curve sharper than this over a chord or less is a rounded corner (10 gauges with the plan's own)."""
SPACING = 4.0
"""In tolerances: vertices closer than this are thinned where their scatter is reckoned."""
MANY = 1000
"""Up to this many vertices of a run, all count in finding out how many elements there are."""
COARSE = 16.0
"""In tolerances: how far apart the vertices are in which steps of curvature are looked for, at the least."""
PRICES = (PRICE, PRICE / 8)
"""What a step of curvature costs in the search for steps: the lower where none hold at the higher."""
KINK_COST = 0.5
"""What a kink costs, in elements: where it does nearly as well as a short sharp curve, it is believed."""
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
    if not _drawn_backward(stroke):
        return _fitted(stroke, tolerance, kink)
    reaches, faults = _fitted(_backward(stroke), tolerance, kink)
    back = [replace(reach, elements=tuple(map(turned, reversed(reach.elements)))) for reach in reversed(reaches)]
    return tuple(back), faults[::-1]


def _drawn_backward(stroke: Stroke) -> bool:
    """Return whether a stroke of chords begins at the later of its two ends, by their coordinates.

    Chords are fitted from the earlier end on, whichever way they were drawn: both ways give one and the same track.
    """
    if stroke.exact.all():
        return False
    there, back = stroke.points, stroke.points[::-1]
    differ = np.flatnonzero((there != back).ravel())
    return bool(differ.size and there.ravel()[differ[0]] > back.ravel()[differ[0]])


def _backward(stroke: Stroke) -> Stroke:
    return replace(
        stroke,
        points=stroke.points[::-1],
        bulges=-stroke.bulges[::-1],
        exact=stroke.exact[::-1],
        heights=None if stroke.heights is None else stroke.heights[::-1],
    )


def _fitted(stroke: Stroke, tolerance: float, kink: float) -> tuple[tuple[Reach, ...], tuple[Fault, ...]]:
    course = _course(stroke, SAME * tolerance)
    if course is None:
        x, y = stroke.points[0]
        fault = Fault("zero-length", "all of it lies at one place", Spot(x, y), stroke.handle, stroke.layer)
        return (), (fault,)
    noise = (
        min(scatter(_thinned(course.points, SPACING * tolerance)[0]), tolerance / 4) if not course.exact.all() else 0.0
    )
    cuts = _cuts(course, kink, noise)
    fit = _Fit(tolerance, kink, noise)
    spans: list[_Span] = []
    if course.closed and not len(cuts):
        spans, cuts = _ring(course, fit)
    if not spans:
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
    closed = len(points) > 2 and math.dist(points[-1], points[0]) <= same
    if stroke.heights is not None:  # a helix may end above where it began
        closed = closed and abs(float(stroke.heights[-1] - stroke.heights[0])) <= same
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
    yield from itertools.pairwise(bounds)


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


class _Try(NamedTuple):
    """Elements that hold at the vertices, what they cost (the fewer and the closer, the less), and if they will do."""

    spans: list[_Span]
    cost: float
    sound: bool


def _chords(points: FloatArray, along: FloatArray, fit: _Fit) -> list[_Span]:
    """Return the elements of a run of chords; where no chain holds, of its parts."""
    smooth = _smooth(points, along, fit)
    if smooth is not None and smooth.sound and len(smooth.spans) < 3:
        return smooth.spans
    cuts = _kinks(points, fit, closed=False) if len(points) > 3 else np.zeros(0, dtype=np.int64)
    if smooth is None:
        few = 0 < len(cuts) <= 3 + len(points) // 50
        return _pieces(points, along, cuts if few else np.array([len(points) // 2]), fit)
    turns_ = _short_turns(smooth.spans, along, fit)
    best = smooth if smooth.sound else None
    limit = smooth.cost if smooth.sound else math.inf
    for way in (_doubtful(cuts, smooth.spans, along, fit), turns_):
        broken = _broken(points, along, way, fit, limit) if len(way) else None
        if broken is not None:
            best, limit = broken, broken.cost
    if best is None:
        return _pieces(points, along, turns_ if len(turns_) else np.array([len(points) // 2]), fit)
    return best.spans


def _smooth(points: FloatArray, along: FloatArray, fit: _Fit) -> _Try | None:
    """Return the chain that holds at the vertices of a run, or None."""
    if len(points) == 2:
        return _Try([_straight(points, along)], PRICE, sound=True)
    if len(points) == 3:
        return _Try([_through_three(points, along, fit)], PRICE, sound=True)
    for price in PRICES:
        arcs = _chain(points, fit, price, closed=False)
        if arcs is None or float(np.abs(arcs.off).max()) > fit.tolerance:
            continue
        if arcs.count == 1 and _as_good_as_straight(float(arcs.curvature[0]), float(arcs.length[0]), fit):
            return _Try([_straight(points, along)], PRICE, sound=True)
        spans = _spans(points, along, arcs, closed=False)
        return _Try(spans, _cost(arcs, fit), sound=not _rounded_corner(arcs, fit))
    return None


def _as_good_as_straight(curvature: float, length: float, fit: _Fit) -> bool:
    """Return whether a whole run bulges by less than the tolerance, and its ends turn by far less than a kink."""
    turn = abs(curvature) * length
    return turn * length / 8 <= fit.tolerance and turn <= fit.kink / 2


def _through_three(points: FloatArray, along: FloatArray, fit: _Fit) -> _Span:
    """Return the arc through three vertices: an angle at its rim is half the turn over it (Euclid III, 20)."""
    turn = 2 * float(turns(points)[0])
    way = points[2] - points[0]
    chord = math.hypot(*way)
    curvature = 2 * math.sin(turn / 2) / chord
    length = turn / curvature if turn else chord
    if _as_good_as_straight(curvature, length, fit):
        return _straight(points, along)
    # The tangent at the first vertex leaves the first chord by the angle which that chord subtends at the third.
    first, second = points[1] - points[0], points[2] - points[1]
    share = math.atan2(way[0] * second[1] - way[1] * second[0], float(way @ second))
    heading = math.atan2(first[1], first[0]) - share
    (x, y), (x2, y2) = points[0], points[2]
    return _Span((x, y, heading), (x2, y2), curvature, length, float(along[0]), float(along[-1]), False, math.inf)


def _broken(points: FloatArray, along: FloatArray, cuts: IntArray, fit: _Fit, limit: float) -> _Try | None:
    """Return chains between kinks, or None where they cost more than the limit."""
    spans: list[_Span] = []
    cost = len(cuts) * KINK_COST * PRICE
    bounds = [0, *(int(cut) for cut in cuts), len(points) - 1]
    for low, high in itertools.pairwise(bounds):
        piece = _smooth(points[low : high + 1], along[low : high + 1], fit) if cost < limit else None
        if piece is None or not piece.sound:
            return None
        spans += piece.spans
        cost += piece.cost
    return _Try(spans, cost, sound=True) if cost < limit else None


def _cost(arcs: Arcs, fit: _Fit) -> float:
    return PRICE * arcs.count + float(arcs.off @ arcs.off) / (fit.noise**2 + (SYSTEMATIC * fit.tolerance) ** 2)


def _pieces(points: FloatArray, along: FloatArray, cuts: IntArray, fit: _Fit) -> list[_Span]:
    """Return the elements of a run cut at some of its vertices."""
    bounds = [0, *(int(cut) for cut in cuts), len(points) - 1]
    return [
        span
        for low, high in itertools.pairwise(bounds)
        for span in _chords(points[low : high + 1], along[low : high + 1], fit)
    ]


def _doubtful(cuts: IntArray, spans: Sequence[_Span], along: FloatArray, fit: _Fit) -> IntArray:
    """Return the kinks near which a smooth chain has two joints or more: what it takes to do without a kink."""
    joints = np.array([span.since for span in spans[1:]])
    near = np.maximum(along[np.minimum(cuts + 3, len(along) - 1)] - along[cuts], 3 * COARSE * fit.tolerance)
    far = np.maximum(along[cuts] - along[np.maximum(cuts - 3, 0)], 3 * COARSE * fit.tolerance)
    count = np.searchsorted(joints, along[cuts] + near) - np.searchsorted(joints, along[cuts] - far)
    return cuts[count > 1]


def _short_turns(spans: Sequence[_Span], along: FloatArray, fit: _Fit) -> IntArray:
    """Return the vertices in the middle of short elements between others, which may stand for a kink."""
    short = 4 * COARSE * fit.tolerance
    places = [
        (span.since + span.until) / 2
        for span in spans[1:-1]
        if span.length < short and abs(span.curvature) * span.length > fit.kink
    ]
    near = np.searchsorted(along, places)
    near -= np.array(places) - along[near - 1] < along[near] - np.array(places)
    return np.unique(near[(near > 0) & (near < len(along) - 1)]).astype(np.int64)


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

    `points` of a closed chain do not repeat the first. The scatter of the ends themselves has no say in how many
    elements there are: only then is an open chain held to them.
    """
    noise = fit.noise
    some, kept = points, np.arange(len(points))
    if len(points) > MANY:  # fewer will do to find out how many elements there are
        some, kept = _thinned(points, 2 * SPACING * fit.tolerance)
    for _ in range(2):
        guess = _first_guess(some, fit._replace(noise=noise), price, closed=closed)
        if guess is None:
            return None
        arcs = settle(some, guess, closed=closed, hold="beside")
        count = 0
        while count != arcs.count:  # once settled as a whole, more may turn out needless
            count = arcs.count
            arcs = _simplified(some, arcs, fit._replace(noise=noise), closed=closed)
        arcs = _flattened(some, arcs, fit, closed=closed)
        seen = min(_noise(arcs, fit.tolerance, closed=closed), fit.tolerance / 4)
        if not noise > 2 * max(seen, fit.tolerance * SYSTEMATIC):
            break
        noise = seen  # the joints had passed for scatter: look again with a keener eye
    total = len(some)
    if closed:
        first = kept[arcs.first % total] + arcs.first // total * len(points)
    else:
        first = np.append(kept, len(points))[arcs.first]
        first[[0, -1]] = 0, len(points)
    arcs = settle(points, replace(arcs, first=first), closed=closed)
    if not closed:
        arcs = _true_to_chords(points, _without_slivers(points, arcs, fit), fit)
    return arcs if joined(arcs, closed=closed) else None


def _flattened(points: FloatArray, arcs: Arcs, fit: _Fit, *, closed: bool) -> Arcs:
    """Return a chain with the curves that are none held straight: those that hardly bulge, between others that do."""
    flat = ~arcs.straight & (np.abs(arcs.curvature) * arcs.length**2 / 8 < SYSTEMATIC * fit.tolerance / 4)
    for at in np.flatnonzero(flat).tolist():
        beside = [one % arcs.count for one in (at - 1, at + 1) if closed or 0 <= one < arcs.count]
        if any(arcs.straight[beside]):
            continue
        straight = arcs.straight.copy()
        straight[at] = True
        changed = replace(arcs, straight=straight, curvature=np.where(straight, 0.0, arcs.curvature))
        settled = settle(points, changed, closed=closed, hold="beside")
        if joined(settled, closed=closed) and _holds(settled.off, fit.noise, fit.tolerance):
            arcs = settled
    return arcs


def _without_slivers(points: FloatArray, arcs: Arcs, fit: _Fit) -> Arcs:
    """Return an open chain without end elements of hardly any length and a single vertex: scatter of the ends."""
    for last in (False, True):
        at = arcs.count - 1 if last else 0
        if arcs.count > 1 and arcs.first[at + 1] - arcs.first[at] <= 1 and arcs.length[at] < COARSE * fit.tolerance:
            beside = at - 1 if last else at
            straight = bool(arcs.straight[at - 1 if last else at + 1])
            merged, _ = _changed(arcs, _Change(0.0, MERGE, beside, straight, 2), beside)
            settled = settle(points, merged)
            if joined(settled) and float(np.abs(settled.off).max()) <= fit.tolerance:
                arcs = settled
    return arcs


def _true_to_chords(points: FloatArray, arcs: Arcs, fit: _Fit) -> Arcs:
    """Return an open chain without what its vertices do not bear out, where they hold as well without it.

    That is an inner element shorter than the tolerance, and a curve of hardly more than one chord that strays from it
    by more than the tolerance.
    """
    at = 0
    while at < arcs.count:
        chords = np.diff(points[arcs.first[at] : arcs.first[at + 1] + 1], axis=0)
        longest = float(np.hypot(*chords.T).max(initial=0.0))
        bare = longest > 0.75 * arcs.length[at] and abs(arcs.curvature[at]) * longest**2 / 8 > fit.tolerance
        if 0 < at < arcs.count - 1 and arcs.length[at] < fit.tolerance:
            changed, _ = _changed(arcs, _Change(0.0, LEAVE_OUT, at, False), at)
        elif bare and not arcs.straight[max(at - 1, 0) : at + 2].any():
            changed, _ = _changed(arcs, _Change(0.0, STRAIGHTEN, at, True), at)
        else:
            at += 1
            continue
        settled = settle(points, changed)
        more = float(settled.off @ settled.off - arcs.off @ arcs.off)
        if joined(settled) and more <= PRICE * fit.noise**2 and float(np.abs(settled.off).max()) <= fit.tolerance:
            arcs = settled
        else:
            at += 1
    return arcs


def _holds(off: FloatArray, noise: float, tolerance: float) -> bool:
    """Return whether vertices lie no further off than the tolerance and their scatter let them."""
    if not len(off):
        return True
    strays = math.sqrt(float(off @ off) / len(off))
    return float(np.abs(off).max()) <= tolerance and strays <= math.hypot(1.6 * noise, 1.5 * SYSTEMATIC * tolerance)


def _freedom(arcs: Arcs, *, closed: bool) -> int:
    """Return how many more vertices there are than the chain has unknowns to fit them."""
    unknowns = arcs.count + int((~arcs.straight).sum()) + (0 if closed else 1)
    return len(arcs.off) - unknowns


def _noise(arcs: Arcs, tolerance: float, *, closed: bool) -> float:
    """Return the scatter of the vertices about a chain, m, held near what is expected where few vertices tell it."""
    squares = float(arcs.off @ arcs.off) + DOUBT * (EXPECTED * tolerance) ** 2
    return math.sqrt(squares / (max(_freedom(arcs, closed=closed), 0) + DOUBT))


def _stepped(
    points: FloatArray, fit: _Fit, price: float, *, closed: bool, kinks: bool
) -> tuple[Steps, FloatArray, IntArray]:
    """Return the steps of curvature of a run, the vertices they were looked for at, and which of the drawn those are.

    A ring is looked at three times round, of which the middle counts: where the drawing began makes no difference then.
    """
    tolerance = fit.tolerance
    drawn = np.vstack((points, points[:1])) if closed else points
    nodes, kept = _thinned(drawn, COARSE * tolerance)
    if len(nodes) < 3:
        nodes, kept = drawn, np.arange(len(drawn))
    noise = fit.noise
    if 2 * len(nodes) < len(drawn):  # each from the vertices about it, so that their scatter evens out
        noise /= math.sqrt(len(drawn) / len(nodes))
        sums = np.vstack((np.zeros(2), np.cumsum(drawn - drawn[0], axis=0)))
        near = np.minimum(np.diff(kept)[:-1], np.diff(kept)[1:]) // 2
        low, high = kept[1:-1] - near, kept[1:-1] + near + 1
        nodes = nodes.copy()
        nodes[1:-1] = drawn[0] + (sums[high] - sums[low]) / (high - low)[:, None]
    noise = math.hypot(noise, tolerance * SYSTEMATIC)
    if closed:
        nodes = np.vstack((nodes[:-1], nodes[:-1], nodes))
    return steps(nodes, noise=noise, tolerance=tolerance, price=price, kinks=kinks), nodes, kept


def _kinks(points: FloatArray, fit: _Fit, *, closed: bool) -> IntArray:
    """Return the vertices at which the direction of a run may break."""
    found, _, kept = _stepped(points, fit, PRICE, closed=closed, kinks=True)
    drawn = np.vstack((points, points[:1])) if closed else points
    nodes = np.flatnonzero(np.abs(found.kink) > fit.kink) + 1
    if closed:
        count = len(kept) - 1
        nodes = nodes[(nodes >= count) & (nodes < 2 * count)] - count
    cuts: list[int] = []
    for node in nodes.tolist():  # near each node the vertex that stands out most
        low, high = int(kept[max(node - 1, 0)]), int(kept[min(node + 1, len(kept) - 1)])
        way = drawn[high] - drawn[low]
        reach = drawn[low + 1 : high] - drawn[low]
        cut = low + 1 + int(np.argmax(np.abs(reach[:, 1] * way[0] - reach[:, 0] * way[1]))) if node else 0
        if cut < len(drawn) - 1 and (not cuts or cut > cuts[-1]):
            cuts.append(cut)
    return np.array(cuts, dtype=np.int64)


def _first_guess(points: FloatArray, fit: _Fit, price: float, *, closed: bool) -> Arcs | None:
    """Return a chain to begin with, or None where there is hardly less of it than there are vertices."""
    tolerance = fit.tolerance
    found, ring, kept = _stepped(points, fit, price, closed=closed, kinks=False)
    count = len(kept) - 1
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
    slight = math.hypot(fit.noise, SYSTEMATIC * tolerance) / 4
    bounds, first = _without_slight_steps(bounds, first, found.curvature, ring, slight)
    if len(bounds) > 30 and 2 * len(bounds) > len(points):
        return None
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


def _without_slight_steps(
    bounds: IntArray, first: IntArray, curvature: FloatArray, ring: FloatArray, slight: float
) -> tuple[IntArray, IntArray]:
    """Return the bounds of elements without those at which the track would hardly bend otherwise."""
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))))
    turned = np.concatenate(([0.0], np.cumsum(curvature * np.diff(along))))

    def bend(low: int, high: int) -> float:
        """Return how far one curve from end to end would stray from the staircase of curvature there, m."""
        place = along[low : high + 1] - along[low]
        heading = turned[low : high + 1] - turned[low]
        heading = heading - heading[-1] / place[-1] * place
        aside = np.concatenate(([0.0], np.cumsum((heading[1:] + heading[:-1]) / 2 * np.diff(place))))
        return float(np.abs(aside - aside[-1] / place[-1] * place).max())

    kept = np.arange(len(bounds))
    bends = np.array([bend(int(low), int(high)) for low, high in zip(bounds[:-2], bounds[2:], strict=True)])
    while bends.size:
        slightest = int(np.argmin(bends))
        if bends[slightest] > slight:
            break
        kept, bends = np.delete(kept, slightest + 1), np.delete(bends, slightest)
        for at in range(max(slightest - 1, 0), min(slightest + 1, len(bends))):
            bends[at] = bend(int(bounds[kept[at]]), int(bounds[kept[at + 2]]))
    return bounds[kept], first[kept]


def _simplified(points: FloatArray, arcs: Arcs, fit: _Fit, *, closed: bool) -> Arcs:
    """Return the chain with every element left out that the vertices can do without."""
    tried: set[tuple[int, ...]] = set()
    changed = True
    while changed:
        changed = False
        noise = min(_noise(arcs, fit.tolerance, closed=closed), max(fit.noise, EXPECTED * fit.tolerance))
        gone: list[tuple[int, int, int]] = []  # where, how wide, how many fewer: of this round
        for listed in _changes(arcs, fit.tolerance, closed=closed):
            change = listed
            for at, width, fewer in gone:
                if change.element >= at + width + 2:
                    change = change._replace(element=change.element - fewer)
                elif change.element + change.width > at - 2:
                    change = change._replace(element=-1)
                    break
            # A ring of fewer than three elements is a circle, and no business of this.
            if change.element < 0 or (
                closed and arcs.count - max(change.width - 1, 1) < 3 and change.kind != STRAIGHTEN
            ):
                continue
            mark = _mark(arcs, change)
            if mark in tried:
                continue
            tried.add(mark)
            after = _after(points, arcs, change, fit._replace(noise=noise), closed=closed)
            if after is not None:
                gone.append((change.element, change.width, arcs.count - after.count))
                arcs = after
                changed = True
                if closed:  # it begins elsewhere now: number anew
                    break
    return settle(points, arcs, closed=closed, hold="beside")


STRAIGHTEN, MERGE, LEAVE_OUT = range(3)


class _Change(NamedTuple):
    """A way to have an element less: how far it would bend the track at a guess, m, which way, and where."""

    bend: float
    kind: int
    element: int
    straight: bool
    width: int = 1


def _mark(arcs: Arcs, change: _Change) -> tuple[int, ...]:
    index = np.arange(change.element - 1, change.element + 4) % len(arcs.first)
    vertices = (int(at) % len(arcs.off) for at in arcs.first[index])
    return (change.kind, int(change.straight), change.width, *vertices)


def _changes(arcs: Arcs, tolerance: float, *, closed: bool) -> list[_Change]:
    """Return the changes worth trying, the slightest first."""
    count = arcs.count
    found: list[_Change] = []
    limit = tolerance
    for one in range(count):
        length = float(arcs.length[one])
        bend = abs(float(arcs.curvature[one])) * length**2 / 8
        beside = [at % count for at in (one - 1, one + 1) if closed or 0 <= at < count]
        # Over a single drawn chord nothing shows a bend but the tangents of the neighbors.
        bare = (
            int(arcs.first[one + 1] - arcs.first[one]) <= 2 and abs(float(arcs.curvature[one])) * length < WIDEST_CHORD
        )
        if not arcs.straight[one] and (bend <= limit or bare) and not any(arcs.straight[at] for at in beside):
            found.append(_Change(bend, STRAIGHTEN, one, True))
        found.extend(_merges(arcs, one, limit, closed=closed))
        if not closed and one == count - 1:
            continue
        other = (one + 1) % count
        if closed or one > 0:
            before = (one - 1) % count
            worst = max(abs(float(arcs.curvature[at] - arcs.curvature[one])) for at in (before, other))
            if worst * length**2 / 8 <= limit and not (arcs.straight[before] and arcs.straight[other]):
                found.append(_Change(worst * length**2 / 10, LEAVE_OUT, one, False))
    return sorted(found)


def _merges(arcs: Arcs, one: int, limit: float, *, closed: bool) -> Iterator[_Change]:
    """Yield the ways to make one element of several from `one` on."""
    count = arcs.count
    for width in (2, 3, 4):
        if width > count or (not closed and one + width > count):
            return
        members = np.arange(one, one + width) % count
        curvature, length = arcs.curvature[members], arcs.length[members]
        both = float(length.sum())
        mean = float(curvature @ length) / both
        bend = float((np.abs(curvature - mean) * length * np.minimum(length, both - length)).max()) / 8
        if bend > limit:
            continue
        yield _Change(bend, MERGE, one, False, width)
        outer = [at % count for at in (one - 1, one + width) if closed or 0 <= at < count]
        if abs(mean) * both**2 / 8 <= limit and not any(arcs.straight[at] for at in outer):
            yield _Change(bend * 0.9, MERGE, one, True, width)


def _after(points: FloatArray, arcs: Arcs, change: _Change, fit: _Fit, *, closed: bool) -> Arcs | None:
    """Return the chain after a change, fitted anew near it, or None where the vertices tell against it."""
    count, total = arcs.count, len(points)
    beside = 3 + change.width
    at = change.element
    whole = closed and count <= beside + 4
    if closed:  # begin a little before the change, so that it lies within
        lead = 1 if whole else 3
        arcs, at = _turned(arcs, lead - at, total), lead
    low, high = (0, count) if whole else (max(at - 3, 0), min(at + beside + 1, count))
    vertices = np.arange(arcs.first[low], arcs.first[high]) % total
    near = points if whole else points[vertices]
    before = arcs.off[vertices]
    window = Arcs(
        arcs.start[low:high],
        arcs.curvature[low:high],
        arcs.length[low:high],
        arcs.straight[low:high],
        arcs.first[low : high + 1] - (0 if whole else arcs.first[low]),
        np.zeros(0),
    )
    changed, touched = _changed(window, change, at - low)
    squares = float(before @ before)
    members = int(changed.first[min(touched[1], changed.count)] - changed.first[touched[0]])
    enough = squares + PRICE * fit.noise**2 + members * (SYSTEMATIC * fit.tolerance) ** 2
    settled = settle(near, changed, closed=whole, hold="free", enough=enough)
    if not joined(settled, closed=whole):
        return None
    concerned = np.arange(settled.first[touched[0]], settled.first[min(touched[1], settled.count)]) % len(near)
    allowed = PRICE * fit.noise**2 + len(concerned) * (SYSTEMATIC * fit.tolerance) ** 2
    if float(settled.off @ settled.off) - squares > allowed:
        return None
    if float(np.abs(settled.off).max()) > fit.tolerance or not _holds(settled.off[concerned], fit.noise, fit.tolerance):
        return None
    if whole:
        return settled
    off = arcs.off.copy()
    off[vertices] = settled.off
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


def _changed(window: Arcs, change: _Change, at: int) -> tuple[Arcs, tuple[int, int]]:
    """Return a chain after a change, not yet settled, and the elements it touches."""
    start, curvature = window.start.copy(), window.curvature.copy()
    length, straight, first = window.length.copy(), window.straight.copy(), window.first.copy()
    if change.kind == STRAIGHTEN:
        straight[at] = True
        curvature[at] = 0.0
        start[at, 2] += window.curvature[at] * length[at] / 2
        return Arcs(start, curvature, length, straight, first, window.off), (at, at + 1)
    if change.kind == MERGE:
        members = slice(at, at + change.width)
        gone: int | slice = slice(at + 1, at + change.width)
        touched = (at, at + 1)
        both = float(length[members].sum())
        curvature[at] = 0.0 if change.straight else float(curvature[members] @ length[members]) / both
        if change.straight:
            last = at + change.width - 1
            tip = ends(window.start[[last]], window.curvature[[last]], window.length[[last]])[0]
            way = tip[:2] - start[at, :2]
            start[at, 2] += math.remainder(math.atan2(way[1], way[0]) - start[at, 2], 2 * math.pi)
        length[at] = both
        straight[at] = change.straight
        first = np.delete(first, gone)
    else:
        half = length[at] / 2
        middle = ends(start[at : at + 1], curvature[at : at + 1], np.array([half]))[0]
        start[at + 1] = middle
        length[at - 1] += half
        length[at + 1] += half
        first[at + 1] = (first[at] + first[at + 1]) // 2
        gone, touched = at, (at - 1, at + 1)
        first = np.delete(first, at)
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


def _rounded_corner(arcs: Arcs, fit: _Fit) -> bool:
    """Return whether there is a curve that no track could follow and no vertices bear out: a corner, rather."""
    turn = np.abs(arcs.curvature * arcs.length)
    sharp = np.abs(arcs.curvature) * SHARP * fit.tolerance > 1
    return bool(((turn > fit.kink) & (np.diff(arcs.first) <= 2) & sharp).any())


def _spans(points: FloatArray, along: FloatArray, arcs: Arcs, *, closed: bool) -> list[_Span]:
    """Return the elements of a settled chain, with the spread of their radii."""
    spread = _radius_spread(points, arcs, closed=closed)
    corners = [(float(x), float(y)) for x, y in arcs.start[:, :2]]
    corners.append(corners[0] if closed else (float(points[-1, 0]), float(points[-1, 1])))
    if not closed:
        corners[0] = (float(points[0, 0]), float(points[0, 1]))
    places = _places(points, along, arcs, closed=closed)
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


def _radius_spread(points: FloatArray, arcs: Arcs, *, closed: bool) -> FloatArray:
    """Return one standard deviation of each radius, m: half the width of the interval that holds 68.3 % of cases.

    The scatter is that of the vertices about the fit; few vertices beyond the unknowns tell it poorly, which Student's
    factor allows for. Where there are none beyond, nothing tells it.
    """
    result = np.zeros(arcs.count)
    bent = ~arcs.straight
    scatter_ = _student(float(arcs.off @ arcs.off), _freedom(arcs, closed=closed))
    if math.isinf(scatter_):
        return np.full(arcs.count, math.inf)
    result[bent] = scatter_ * curvature_spread(points, arcs, closed=closed)[bent] / arcs.curvature[bent] ** 2
    return result


def _student(squares: float, freedom: int) -> float:
    """Return half the width of the interval for one quantity that holds 68.3 % of cases, m."""
    from scipy.special import stdtrit

    if freedom < 1:
        return math.inf
    return math.sqrt(squares / freedom) * float(stdtrit(freedom, 0.841345))


def _ring(course: _Course, fit: _Fit) -> tuple[list[_Span], IntArray]:
    """Return the elements of a closed run of chords without a corner; or none, and the kinks to cut it at."""
    points = course.points[:-1]
    circle = _circle(course, fit)
    if circle is not None:
        return [circle], np.zeros(0, dtype=np.int64)
    smooth: _Try | None = None
    for price in PRICES:
        arcs = _chain(points, fit, price, closed=True)
        if arcs is not None and float(np.abs(arcs.off).max()) <= fit.tolerance and not _rounded_corner(arcs, fit):
            smooth = _Try(_spans(points, course.along, arcs, closed=True), _cost(arcs, fit), sound=True)
            break
    cuts = _kinks(points, fit, closed=True)
    if smooth is not None:
        if not len(cuts) or len(smooth.spans) < 5:  # four elements are as few as a ring of no circle has
            return smooth.spans, cuts[:0]
        rolled = _rolled(course, int(cuts[0]))
        broken = _broken(rolled.points, rolled.along, (cuts - cuts[0])[1:], fit, smooth.cost - KINK_COST * PRICE)
        return ([], cuts) if broken is not None else (smooth.spans, cuts[:0])
    return [], cuts if len(cuts) else np.zeros(1, dtype=np.int64)


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
    if not _holds(off, fit.noise, fit.tolerance):
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
        for low, high in itertools.pairwise(bounds)
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
