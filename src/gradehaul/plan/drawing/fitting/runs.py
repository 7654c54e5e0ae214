"""A run of chords to its elements: one arc where that holds, else what the search finds, laid through the vertices."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.fitting.chains import Chain, laid
from gradehaul.plan.drawing.fitting.course import Course, begun_at, turns
from gradehaul.plan.drawing.fitting.search import KINK_PRICE, NODE, PRICE, SLACKS, STRAY, Found, Noise, search
from gradehaul.plan.drawing.fitting.spans import Fit, Span, spans_of, straight_span

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

EXPECTED, DOUBT = 1 / 10, 4.0
"""In tolerances: the scatter expected before any vertices are seen, and how many vertices that counts for."""
TRIES = 4
"""How often the search is repeated, with the scatter that was seen, or without kinks that turned out to be none."""
UNLIKE = 3.0
"""In tolerances: a vertex as far from the best parabola of an unrolled run is on no single arc."""
WIDEST_TURN = math.radians(270)
"""Arcs that turn further are left to the search: their ends come so near that the chord between them says little."""


class Laid(NamedTuple):
    """A run as chains between kinks, what they cost, and whether they will do."""

    chains: tuple[Chain, ...]
    cost: float
    sound: bool

    def excess(self, noise: Noise) -> float:
        """Return how much more the vertices stray than their scatter lets them, in its squares."""
        squares = sum(float(chain.off @ chain.off) for chain in self.chains)
        count = sum(len(chain.off) for chain in self.chains)
        return (squares - noise.scatter**2 * (count + 2 * math.sqrt(2 * count))) / noise.square


NOTHING = Laid((), math.inf, sound=False)


def chord_spans(points: FloatArray, along: FloatArray, fit: Fit) -> list[Span]:
    """Return the elements of an open run of chords."""
    if len(points) == 2:
        return [straight_span(points, along)]
    origin, unit = points[0], fit.tolerance
    spans: list[Span] = []
    low = 0
    for chain in _chains((points - origin) / unit, fit):
        high = low + len(chain.off) - 1
        rows = slice(low, high + 1)
        own = chain.scaled(unit, origin)
        if len(own.off) == len(points) and own.count == 1 and fit.as_straight(own.curvature[0], own.length[0], points):
            return [straight_span(points, along)]
        spans += spans_of(points[rows], along[rows], own, closed=False)
        low = high
    return spans


def circle_span(course: Course, fit: Fit) -> Span | None:
    """Return a closed course as one full turn from beside the vertex where it was drawn, or None where it is none."""
    since = float(course.along[course.begin])
    course = begun_at(course, course.begin)
    points = course.points[:-1]
    around = float(turns(np.vstack((course.points, points[1:2]))).sum())
    if len(points) < 5 or abs(abs(around) - math.tau) > 1e-6:
        return None
    scaled, noise = (points - points[0]) / fit.tolerance, fit.noise
    # The circle whose squares of distances from its middle are nearest to one figure (Kasa 1976, from memory).
    design = np.column_stack((2 * scaled, np.ones(len(scaled))))
    middle = np.linalg.lstsq(design, (scaled**2).sum(axis=1))[0][:2]
    if np.ptp(np.hypot(*(scaled - middle).T)) > 2 * UNLIKE:
        return None
    reach = scaled[0] - middle
    start = np.array([[0.0, 0.0, math.atan2(reach[1], reach[0]) + math.copysign(math.pi / 2, around)]])
    length = np.array([float(course.along[-1]) / fit.tolerance])
    guess = Chain.guess(start, around / length, length, np.zeros(1, np.bool_), np.array([0, len(points)]))
    circle = _judged(scaled, [guess], noise, closed=True)
    most = math.hypot(1.6 * noise.scatter, 1.5 * noise.stray)
    if not circle.sound or float(np.sqrt(np.mean(circle.chains[0].off ** 2))) > most:
        return None
    (span,) = spans_of(points, course.along, circle.chains[0].scaled(fit.tolerance, points[0]), closed=True)
    return span._replace(since=since, until=since + float(course.along[-1]))


def ring_spans(points: FloatArray, along: FloatArray, fit: Fit) -> tuple[list[Span], IntArray]:
    """Return the elements of a closed run without a corner; or none, and the kinks to cut it at.

    `points` do not repeat the first. The search goes round twice, and the middle counts: where the drawing
    began makes no difference then.
    """
    origin, unit = points[0], fit.tolerance
    scaled = (points - origin) / unit
    count = len(points)
    half = count // 2
    rung = np.vstack((scaled, scaled))
    kinks = may_break(np.vstack((scaled[-1:], scaled, scaled[:1])), fit)[1:-1]
    kinks = np.concatenate((kinks, kinks))
    noise = fit.noise
    best, cuts = NOTHING, np.zeros(1, np.int64)
    for slack in SLACKS:
        found = search(rung, noise, slack, kinks)
        first = found.chain.first[:-1]
        low = min(int(np.searchsorted(first, max(half, 1))), len(first) - 1)
        high = int(np.argmin(np.abs(first - first[low] - count)))  # where it comes by the same joint again
        kinked = found.kink[low:high]
        if kinked.any():
            cuts = np.unique(first[low:high][kinked] % count)
        elif high - low > 2:  # a ring of fewer elements is a circle
            begin = first[low:high] - first[low] // count * count
            guess = replace(_part(found.chain, low, high), first=np.append(begin, begin[0] + count))
            one = _judged(scaled, [guess], noise, closed=True)
            best = min(best, one, key=lambda each: (not each.sound, each.cost))
            if one.sound and (one.cost <= found.cost / 2 or one.excess(noise) <= PRICE):
                break
    if not best.sound:
        return [], cuts
    return spans_of(points, along, best.chains[0].scaled(unit, origin), closed=True), cuts[:0]


def _part(chain: Chain, low: int, high: int) -> Chain:
    """Return some elements of a chain in a row."""
    rows = slice(low, high)
    first = chain.first[low : high + 1] - chain.first[low]
    return Chain.guess(chain.start[rows], chain.curvature[rows], chain.length[rows], chain.straight[rows], first)


def may_break(points: FloatArray, fit: Fit) -> BoolArray:
    """Return the vertices at which the direction may break: those that turn unlike the two beside them."""
    turn = turns(points)
    chord = np.hypot(*np.diff(points, axis=0).T)
    one, other = chord[:-1], chord[1:]
    shake = fit.scatter / fit.tolerance * np.sqrt(1 / one**2 + 1 / other**2 + (1 / one + 1 / other) ** 2)
    padded = np.concatenate((turn[:1], turn, turn[-1:]))
    unlike = np.abs(turn - (padded[:-2] + padded[2:]) / 2) > fit.kink / 2 - 3 * shake
    return np.concatenate(([False], unlike, [False]))


def _chains(points: FloatArray, fit: Fit) -> tuple[Chain, ...]:
    """Return an open run as chains between kinks, lengths in tolerances."""
    if len(points) == 2:
        return (_straight(points),)
    noise = fit.noise
    arc = one_arc(points, noise)
    if arc.sound and arc.excess(noise) <= PRICE:  # two elements cannot cost less
        return arc.chains
    if len(points) == 3:
        return _straight(points[:2]), _straight(points[1:])
    kinks = may_break(points, fit)
    for _ in range(TRIES):
        best = _best(points, noise, kinks)
        false, seen = _slight_kinks(best.chains, fit), _seen(best.chains)
        if best.chains and false:
            kinks[false] = False
        elif best.chains and noise.scatter < EXPECTED and seen > 1.5 * max(noise.scatter, STRAY):
            noise = Noise(min(seen, EXPECTED))  # the scatter may have passed for joints
        else:
            break
    if best.sound:
        return best.chains
    middle = len(points) // 2
    return *_chains(points[: middle + 1], fit), *_chains(points[middle:], fit)


def _straight(points: FloatArray) -> Chain:
    way = points[1] - points[0]
    start = np.array([[*points[0], math.atan2(way[1], way[0])]])
    none = np.zeros(1)
    return Chain(start, none, np.array([math.hypot(*way)]), np.ones(1, np.bool_), np.array([0, 2]), np.zeros(2), none)


def one_arc(points: FloatArray, noise: Noise) -> Laid:
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
    return _judged(
        points, [Chain.guess(start, turn / length, length, np.zeros(1, np.bool_), first)], noise, closed=False
    )


def _best(points: FloatArray, noise: Noise, kinks: BoolArray) -> Laid:
    """Return the better of what is found with joints anywhere, and, where that fits badly, with joints at vertices."""
    best = NOTHING
    for slack in SLACKS:
        found = search(points, noise, slack, kinks)
        one = _judged(points, _parted(found), noise, closed=False)
        best = min(best, one, key=lambda each: (not each.sound, each.cost))
        if one.chains and (one.cost <= found.cost + PRICE / 2 or one.excess(noise) <= PRICE):
            break
    return best


def _parted(found: Found) -> list[Chain]:
    """Return what was found as chains between its kinks, whose vertices belong to both sides."""
    bounds = [0, *np.flatnonzero(found.kink).tolist(), found.chain.count]
    parts = []
    for low, high in itertools.pairwise(bounds):
        part = _part(found.chain, low, high)
        part.first[-1] += high < found.chain.count
        parts.append(part)
    return parts


def _judged(points: FloatArray, parts: Sequence[Chain], noise: Noise, *, closed: bool) -> Laid:
    """Return chains laid through the vertices, with what they cost."""
    chains: list[Chain] = []
    low, sound = 0, True
    for part in parts:
        own = points[low : low + int(part.first[-1] - part.first[0])]
        chain = laid(own, part, closed=closed)
        if chain is None or not _credible(own, chain, closed=closed):
            return NOTHING
        sound = sound and float(np.abs(chain.off).max()) <= 1.0
        chains.append(chain)
        low += len(own) - 1
    squares = sum(float(chain.off @ chain.off) for chain in chains)
    elements = sum(chain.count + int((~chain.straight).sum()) for chain in chains)
    cost = squares / noise.square + PRICE * elements + KINK_PRICE * (len(chains) - 1)
    return Laid(tuple(chains), cost, sound)


def _credible(points: FloatArray, chain: Chain, *, closed: bool) -> bool:
    """Return whether no element is much longer than the chords beside it, as one that runs round a circle is."""
    drawn = np.hypot(*np.diff(points, axis=0, append=points[:1] if closed else points[-1:]).T)
    along = np.concatenate(([0.0], np.cumsum(np.concatenate((drawn, drawn)))))
    last = len(along) - 1
    before, after = np.maximum(chain.first[:-1] - 1, 0), np.minimum(chain.first[1:], last)
    return bool((chain.length <= 1.6 * (along[after] - along[before]) + NODE).all())


def _seen(chains: Sequence[Chain]) -> float:
    """Return the scatter of the vertices about open chains, held near what is expected where few vertices show it."""
    squares = sum(float(chain.off @ chain.off) for chain in chains) + DOUBT * EXPECTED**2
    spare = sum(max(chain.freedom(closed=False), 0) for chain in chains)
    return math.sqrt(squares / (spare + DOUBT))


def _slight_kinks(chains: Sequence[Chain], fit: Fit) -> list[int]:
    """Return the vertices at which chains meet and the direction breaks by less than a kink."""
    slight: list[int] = []
    vertex = 0
    for one, other in itertools.pairwise(chains):
        vertex += len(one.off) - 1
        end = one.start[-1, 2] + one.curvature[-1] * one.length[-1]
        if abs(math.remainder(other.start[0, 2] - end, 2 * math.pi)) <= fit.kink:
            slight.append(vertex)
    return slight
