"""A run of chords to its elements: one arc where that holds, else what the search finds, laid through the vertices."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from gradehaul.plan.drawing.fitting.chains import FREE, Chain, laid
from gradehaul.plan.drawing.fitting.course import BEND, WIDEST_CHORD, Course, begun_at, shake_of, turns
from gradehaul.plan.drawing.fitting.search import KINK_PRICE, NODE, PRICE, SLACKS, STRAY, Found, search
from gradehaul.plan.drawing.fitting.spans import Fit, Span, spans_of
from gradehaul.plan.drawing.records import BoolArray, FloatArray, IntArray
from gradehaul.plan.drawing.rows import wrapped

EXPECTED, DOUBT = 1 / 10, 4.0
"""In tolerances: the scatter expected before any vertices are seen, and how many vertices that counts for."""
UNLIKE = 3.0
"""In tolerances: a vertex as far from the best parabola of an unrolled run is on no single arc."""
WIDEST_TURN = math.radians(270)
"""Arcs that turn further are left to the search: their ends come so near that the chord between them says little."""
LONGER = 1.005
"""Elements that are longer than the chords they are laid through by this factor go ways that were not drawn."""


class Laid(NamedTuple):
    """A run as chains between kinks, what they cost, and whether they will do."""

    chains: tuple[Chain, ...]
    cost: float
    sound: bool

    def excess(self, scatter: float) -> float:
        """Return how much more the vertices stray than their scatter lets them, in its squares."""
        count = sum(len(chain.off) for chain in self.chains)
        return (_squares(self.chains) - scatter**2 * (count + 2 * math.sqrt(2 * count))) / (scatter**2 + STRAY**2)


NOTHING = Laid((), math.inf, sound=False)


def chord_spans(points: FloatArray, along: FloatArray, fit: Fit, tips: tuple[float, float] = FREE) -> list[Span]:
    """Return the elements of an open run of chords, with the directions of `tips` at its ends where that can be."""
    origin, unit = points[0], fit.tolerance
    chains = _chains((points - origin) / unit, fit, tips) if len(points) > 2 else ()
    if not chains or (len(chains) == 1 and _is_straight((points - origin) / unit, chains[0], fit.kink)):
        return spans_of(points, along, _straight(points[[0, -1]]))
    spans: list[Span] = []
    low = 0
    for chain in chains:
        high = low + len(chain.off) - 1
        spans += spans_of(points[low : high + 1], along[low : high + 1], chain.scaled(unit, origin))
        low = high
    return spans


def _is_straight(points: FloatArray, chain: Chain, kink: float) -> bool:
    """Return whether one arc and its vertices bulge by less than the tolerance, and turn by far less than a kink."""
    turn = abs(chain.curvature[0]) * chain.length[0]
    if chain.count > 1 or turn * chain.length[0] / 8 > 1 or turn > kink / 2:
        return False
    way, reach = points[-1] - points[0], points - points[0]
    return float(np.abs(reach[:, 0] * way[1] - reach[:, 1] * way[0]).max()) <= math.hypot(*way)


def circle_span(course: Course, fit: Fit) -> Span | None:
    """Return a closed course as one full turn from beside the vertex where it was drawn, or None where it is none."""
    since = float(course.along[course.begin])
    course = begun_at(course, course.begin)
    points = course.points[:-1]
    around = float(turns(np.vstack((course.points, points[1:2]))).sum())
    scaled = (points - points[0]) / fit.tolerance
    # The circle whose squares of distances from its middle are nearest to one figure (Kasa 1976, from memory).
    design = np.column_stack((2 * scaled, np.ones(len(scaled))))
    middle = np.linalg.lstsq(design, (scaled**2).sum(axis=1))[0][:2]
    if np.ptp(np.hypot(*(scaled - middle).T)) > 2 * UNLIKE:
        return None
    reach = scaled[0] - middle
    start = np.array([[0.0, 0.0, math.atan2(reach[1], reach[0]) + math.copysign(math.pi / 2, around)]])
    length = np.array([float(course.along[-1]) / fit.tolerance])
    guess = Chain(start, around / length, length, np.zeros(1, np.bool_), np.array([0, len(points)]), closed=True)
    circle = _judged(scaled, [guess], fit.scatter)
    most = math.hypot(1.6 * fit.scatter, 1.5 * STRAY)
    if not circle.sound or float(np.sqrt(np.mean(circle.chains[0].off ** 2))) > most:
        return None
    (span,) = spans_of(points, course.along, circle.chains[0].scaled(fit.tolerance, points[0]))
    return span._replace(since=since, until=since + float(course.along[-1]))


def ring_spans(points: FloatArray, along: FloatArray, fit: Fit) -> tuple[list[Span], IntArray]:
    """Return the elements of a closed run without a corner; or none, and the kinks to cut it at.

    `points` do not repeat the first. The search goes round twice, and the middle counts: where the drawing
    began makes no difference then.
    """
    origin, unit = points[0], fit.tolerance
    scaled = (points - origin) / unit
    count = len(points)
    kinks = np.tile(may_break(np.vstack((scaled[-1:], scaled, scaled[:1])), fit)[1:-1], 2)
    best, cuts = NOTHING, np.zeros(1, np.int64)
    for slack in SLACKS:
        found = search(np.vstack((scaled, scaled)), fit.scatter, slack, kinks)
        first = found.chain.first[:-1]
        low = min(int(np.searchsorted(first, max(count // 2, 1))), len(first) - 1)
        high = int(np.argmin(np.abs(first - first[low] - count)))  # where it comes by the same joint again
        kinked = found.kink[low:high]
        if kinked.any():
            cuts = np.unique(first[low:high][kinked] % count)
        elif high - low > 2:  # a ring of fewer elements is a circle
            begin = first[low:high] - first[low] // count * count
            guess = replace(_part(found.chain, low, high), first=np.append(begin, begin[0] + count), closed=True)
            one = _judged(scaled, [guess], fit.scatter)
            best = min(best, one, key=lambda each: (not each.sound, each.cost))
            if one.sound and (one.cost <= found.cost / 2 or one.excess(fit.scatter) <= PRICE):
                break
    if not best.sound:
        return [], cuts
    return spans_of(points, along, best.chains[0].scaled(unit, origin)), cuts[:0]


def _part(chain: Chain, low: int, high: int) -> Chain:
    """Return some elements of a chain in a row."""
    rows = slice(low, high)
    first = chain.first[low : high + 1] - chain.first[low]
    return Chain(chain.start[rows], chain.curvature[rows], chain.length[rows], chain.straight[rows], first)


def may_break(points: FloatArray, fit: Fit) -> BoolArray:
    """Return the vertices at which the direction may break: those that turn unlike the two beside them."""
    turn = turns(points)
    chord = np.hypot(*np.diff(points, axis=0).T)
    padded = np.concatenate((turn[:1], turn, turn[-1:]))
    unlike = np.abs(turn - (padded[:-2] + padded[2:]) / 2) > fit.kink / 2 - 3 * fit.scatter * shake_of(chord)
    return np.concatenate(([False], unlike, [False]))


def _chains(points: FloatArray, fit: Fit, tips: tuple[float, float]) -> tuple[Chain, ...]:
    """Return an open run as chains between kinks, lengths in tolerances."""
    if len(points) == 2:
        return (_straight(points),)
    scatter = fit.scatter
    arc = one_arc(points, scatter, tips)
    if arc.sound and arc.excess(scatter) <= PRICE:  # two elements cannot cost less
        return arc.chains
    if len(points) == 3:  # one arc with a kink at an end, or a corner
        kinked = one_arc(points, scatter)
        fair = kinked.sound and kinked.excess(scatter) <= PRICE
        return kinked.chains if fair else (_straight(points[:2]), _straight(points[1:]))
    kinks = may_break(points, fit)
    best = _best(points, scatter, kinks, tips)
    seen = _seen(best.chains)
    if best.chains and scatter < EXPECTED and seen > 1.5 * max(scatter, STRAY):  # it may have passed for joints
        again = _best(points, min(seen, EXPECTED), kinks, tips)
        best = again if again.sound else best
    if best.sound:
        return best.chains
    middle = len(points) // 2
    return (
        *_chains(points[: middle + 1], fit, (tips[0], math.nan)),
        *_chains(points[middle:], fit, (math.nan, tips[1])),
    )


def _straight(points: FloatArray) -> Chain:
    way = points[1] - points[0]
    start = np.array([[*points[0], math.atan2(way[1], way[0])]])
    length, first = np.array([math.hypot(*way)]), np.array([0, 2])
    return Chain(start, np.zeros(1), length, np.ones(1, np.bool_), first, off=np.zeros(2), spread=np.zeros(1))


def one_arc(points: FloatArray, scatter: float, tips: tuple[float, float] = FREE) -> Laid:
    """Return the one arc between the two ends of an open run."""
    chord = np.hypot(*(points[1:] - points[:-1]).T)
    along = np.concatenate(([0.0], np.cumsum(chord)))
    heading = np.concatenate(([0.0], np.cumsum(turns(points))))
    # Unrolled along its chords an arc is a parabola.
    aside, design = np.concatenate(([0.0], np.cumsum(heading * chord))), along[:, None] ** np.arange(3) / along[-1]
    figures = np.linalg.lstsq(design, aside)[0]
    way, total = points[-1] - points[0], float(along[-1])
    turn = 2 * float(figures[2])
    far = float(np.abs(design @ figures - aside).max()) > UNLIKE
    if far or abs(turn) > WIDEST_TURN or math.hypot(*way) < total / 10:
        return NOTHING
    start = np.array([[*points[0], math.atan2(way[1], way[0]) - turn / 2]])
    first, length = np.array([0, len(points)]), np.array([total])
    return _judged(points, [Chain(start, turn / length, length, np.zeros(1, np.bool_), first, tips=tips)], scatter)


def _best(points: FloatArray, scatter: float, kinks: BoolArray, tips: tuple[float, float]) -> Laid:
    """Return the better of what is found with joints anywhere, and, where that fits badly, with joints at vertices."""
    best = NOTHING
    for slack in SLACKS:
        found = search(points, scatter, slack, kinks, tips)
        one = _judged(points, _parted(found), scatter)
        best = min(best, one, key=lambda each: (not each.sound, each.cost))
        if one.chains and (one.cost <= found.cost + PRICE / 2 or one.excess(scatter) <= PRICE):
            break
    if (real := _breaks(best.chains) > BEND).all():
        return best
    only = np.zeros(len(points), np.bool_)  # where what scatters does not pass for a kink
    only[np.cumsum([len(chain.off) - 1 for chain in best.chains[:-1]])[real]] = True
    again = _best(points, scatter, only, tips)
    return again if again.sound else best


def _breaks(chains: Sequence[Chain]) -> FloatArray:
    """Return by how much the direction breaks between chains in a row, radians, shape (n - 1,)."""
    turn = [
        other.start[0, 2] - one.start[-1, 2] - one.curvature[-1] * one.length[-1]
        for one, other in itertools.pairwise(chains)
    ]
    return np.abs(wrapped(np.array(turn, dtype=np.float64)))


def _parted(found: Found) -> list[Chain]:
    """Return what was found as chains between its kinks, whose vertices belong to both sides."""
    bounds = [0, *np.flatnonzero(found.kink).tolist(), found.chain.count]
    parts = []
    for low, high in itertools.pairwise(bounds):
        part = _part(found.chain, low, high)
        part.first[-1] += high < found.chain.count
        begin, finish = found.chain.tips
        parts.append(replace(part, tips=(math.nan if low else begin, math.nan if high < found.chain.count else finish)))
    return parts


def _judged(points: FloatArray, parts: Sequence[Chain], scatter: float) -> Laid:
    """Return chains laid through the vertices, with what they cost."""
    chains: list[Chain] = []
    low, sound = 0, True
    for part in parts:
        own = points[low : low + int(part.first[-1] - part.first[0])]
        chain = laid(own, part)
        if chain is None or not _credible(own, chain):
            return NOTHING
        sound = sound and float(np.abs(chain.off).max()) <= 1.0
        chains.append(chain)
        low += len(own) - 1
    elements = sum(chain.count + int((~chain.straight).sum()) for chain in chains)
    cost = _squares(chains) / (scatter**2 + STRAY**2) + PRICE * elements + KINK_PRICE * (len(chains) - 1)
    return Laid(tuple(chains), cost, sound)


def _credible(points: FloatArray, chain: Chain) -> bool:
    """Return whether no element is much longer than the chords beside it, as one that runs round a circle is.

    Nor may the whole chain be longer than its chords, but for what an arc is longer than a chord of it.
    """
    drawn = np.hypot(*np.diff(points, axis=0, append=points[:1] if chain.closed else points[-1:]).T)
    along = np.concatenate(([0.0], np.cumsum(np.concatenate((drawn, drawn)))))
    last = len(along) - 1
    before, after = np.maximum(chain.first[:-1] - 1, 0), np.minimum(chain.first[1:], last)
    half = np.abs(chain.curvature) * chain.length / np.maximum(np.diff(chain.first), 1) / 2
    inscribed = float((chain.length * np.sinc(np.minimum(half, WIDEST_CHORD / 2) / math.pi)).sum())
    if inscribed > LONGER * along[len(drawn)]:
        return False
    return bool((chain.length <= 1.6 * (along[after] - along[before]) + NODE).all())


def _seen(chains: Sequence[Chain]) -> float:
    """Return the scatter of the vertices about open chains, held near what is expected where few vertices show it."""
    spare = sum(max(chain.freedom, 0) for chain in chains)
    return math.sqrt((_squares(chains) + DOUBT * EXPECTED**2) / (spare + DOUBT))


def _squares(chains: Sequence[Chain]) -> float:
    return sum(float(chain.off @ chain.off) + float(chain.aside @ chain.aside) for chain in chains)
