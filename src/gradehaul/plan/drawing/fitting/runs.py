"""A run of chords to its elements: searched for, laid through the vertices, and checked."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.fitting.chains import Chain, freedom, laid
from gradehaul.plan.drawing.fitting.course import turns
from gradehaul.plan.drawing.fitting.one_arc import one_arc
from gradehaul.plan.drawing.fitting.search import KINK_PRICE, NODE, PRICE, SLACKS, STRAY, Noise, search
from gradehaul.plan.drawing.fitting.spans import Fit, Span, spans_of, straight_span, through_three

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

EXPECTED, DOUBT = 1 / 10, 4.0
"""In tolerances: the scatter expected before any vertices are seen, and how many vertices that counts for."""
WEIGHT_ROUNDS = 5
"""How often vertices that lie further off than the tolerance are made to count for more."""
OUTLIERS = 2
"""Where more vertices than this lie further off than the tolerance, it is their scatter that is too large."""
TURN_ROUNDS = 3
"""How often the search is repeated without the kinks that turned out to be none."""


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


def chord_spans(points: FloatArray, along: FloatArray, fit: Fit) -> list[Span]:
    """Return the elements of an open run of chords."""
    if len(points) == 2:
        return [straight_span(points, along)]
    if len(points) == 3:
        return [through_three(points, along, fit)]
    origin, unit = points[0], fit.tolerance
    scaled = (points - origin) / unit
    arc = one_arc(scaled, fit.scatter / unit)
    if arc is not None:
        if fit.as_straight(float(arc.curvature[0]) / unit, float(arc.length[0]) * unit):
            return [straight_span(points, along)]
        chains: tuple[Chain, ...] = (arc,)
    else:
        chains = _chains(scaled, fit)
    spans: list[Span] = []
    low = 0
    for chain in chains:
        high = low + len(chain.off) - 1
        rows = slice(low, high + 1)
        spans += spans_of(points[rows], along[rows], _unscaled(chain, origin, unit), closed=False)
        low = high
    return spans


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
    noise = Noise(fit.scatter / unit)
    tries: list[Laid] = []
    cuts = np.zeros(0, np.int64)
    for slack in SLACKS:
        found = search(rung, noise, slack, kinks, np.ones(len(rung)))
        first = found.chain.first[:-1]
        inner = np.flatnonzero((first >= half) & (first < half + count) & (first > 0))
        if found.kink[inner].any():
            cuts = np.unique(first[inner[found.kink[inner]]] % count)
        elif len(inner) > 2:  # a ring of fewer elements is a circle
            part = found.chain.part(int(inner[0]), int(inner[-1]) + 1)
            begin = first[inner] - first[inner[0]] // count * count
            guess = replace(part, first=np.append(begin, begin[0] + count), off=np.zeros(count))
            tries.append(_judged(scaled, [guess], noise, np.ones(count), closed=True))
            if tries[-1].sound and (tries[-1].cost <= found.cost / 2 or tries[-1].excess(noise) <= PRICE):
                break
    best = min(tries, key=lambda each: (not each.sound, each.cost), default=Laid((), math.inf, sound=False))
    if not best.sound:
        return [], cuts if len(cuts) else np.zeros(1, np.int64)
    return spans_of(points, along, _unscaled(best.chains[0], origin, unit), closed=True), cuts[:0]


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
    noise = Noise(fit.scatter / fit.tolerance)
    kinks = may_break(points, fit)
    best = _best(points, noise, kinks)
    for _ in range(TURN_ROUNDS):
        false, seen = _slight_kinks(best.chains, fit), _seen(best.chains)
        if best.sound and false:
            kinks[false] = False
        elif best.sound and noise.scatter < EXPECTED and seen > 1.5 * max(noise.scatter, STRAY):
            noise = Noise(min(seen, EXPECTED))  # the scatter may have passed for joints
        else:
            break
        best = _best(points, noise, kinks)
    if best.sound:
        return best.chains
    weight = np.ones(len(points))
    for _ in range(WEIGHT_ROUNDS):
        if not best.chains:
            break
        off = np.concatenate([best.chains[0].off[:1], *(chain.off[1:] for chain in best.chains)])
        if np.count_nonzero(np.abs(off) > 1) > OUTLIERS:
            break
        weight = np.where(np.abs(off) > 0.9, 5 * weight, weight)
        best = _best(points, noise, kinks, weight)
        if best.sound:
            return best.chains
    middle = len(points) // 2
    halves = [chain for half in (points[: middle + 1], points[middle:]) for chain in _half(half, fit)]
    return _healed(points, halves, fit)


def _half(points: FloatArray, fit: Fit) -> tuple[Chain, ...]:
    if len(points) > 3:
        return _chains(points, fit)
    chains = []
    for one, other in itertools.pairwise(points):
        way = other - one
        start = np.array([[*one, math.atan2(way[1], way[0])]])
        length = np.array([math.hypot(*way)])
        chains.append(Chain(start, np.zeros(1), length, np.array([True]), np.array([0, 2]), np.zeros(2)))
    return tuple(chains)


def _best(points: FloatArray, noise: Noise, kinks: BoolArray, weight: FloatArray | None = None) -> Laid:
    """Return the better of what is found with joints anywhere, and, where that fits badly, with joints at vertices."""
    weight = np.ones(len(points)) if weight is None else weight
    tries: list[Laid] = []
    for slack in SLACKS:
        found = search(points, noise, slack, kinks, weight)
        bounds = [*np.flatnonzero(found.kink).tolist(), found.chain.count]
        parts = []
        for low, high in itertools.pairwise([0, *bounds]):
            part = found.chain.part(low, high)
            first = part.first.copy()
            if high < found.chain.count:
                first[-1] += 1  # the vertex of a kink belongs to both
            parts.append(replace(part, first=first, off=np.zeros(int(first[-1]))))
        tries.append(_judged(points, parts, noise, weight, closed=False))
        if tries[-1].chains and (tries[-1].cost <= found.cost + PRICE / 2 or tries[-1].excess(noise) <= PRICE):
            break
    return min(tries, key=lambda each: (not each.sound, each.cost))


def _judged(points: FloatArray, parts: Sequence[Chain], noise: Noise, weight: FloatArray, *, closed: bool) -> Laid:
    """Return chains laid through the vertices, with what they cost."""
    chains: list[Chain] = []
    low, sound = 0, True
    for part in parts:
        rows = slice(low, low + len(part.off))
        own = points[rows]
        chain = laid(own, part, weight[rows], closed=closed)
        if chain is None or not _credible(own, chain, closed=closed):
            return Laid((), math.inf, sound=False)
        sound = sound and float(np.abs(chain.off).max()) <= 1.0
        chains.append(chain)
        low += len(part.off) - 1
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
    spare = sum(max(freedom(chain, closed=False), 0) for chain in chains)
    return math.sqrt(squares / (spare + DOUBT))


def _slight_kinks(chains: Sequence[Chain], fit: Fit) -> list[int]:
    """Return the vertices at which chains meet and the direction breaks by less than a kink."""
    slight: list[int] = []
    vertex = 0
    for one, other in itertools.pairwise(chains):
        vertex += len(one.off) - 1
        if abs(math.remainder(other.start[0, 2] - one.tips[-1, 2], 2 * math.pi)) <= fit.kink:
            slight.append(vertex)
    return slight


def _healed(points: FloatArray, chains: Sequence[Chain], fit: Fit) -> tuple[Chain, ...]:
    """Return chains with those that meet without a kink made one, where the vertices let them."""
    result = [chains[0]]
    low = 0
    for chain in chains[1:]:
        before = result[-1]
        turn = math.remainder(chain.start[0, 2] - before.tips[-1, 2], 2 * math.pi)
        whole = None
        if abs(turn) <= fit.kink:
            start = chain.start.copy()
            start[:, 2] += before.tips[-1, 2] + turn - chain.start[0, 2]
            joint = Chain(
                np.vstack((before.start, start)),
                np.concatenate((before.curvature, chain.curvature)),
                np.concatenate((before.length, chain.length)),
                np.concatenate((before.straight, chain.straight)),
                np.concatenate((before.first[:-1], chain.first + len(before.off) - 1)),
                np.concatenate((before.off, chain.off[1:])),
            )
            own = points[low : low + len(joint.off)]
            whole = _judged(own, [joint], Noise(fit.scatter / fit.tolerance), np.ones(len(own)), closed=False)
        if whole is not None and whole.sound:
            result[-1] = whole.chains[0]
        else:
            low += len(before.off) - 1
            result.append(chain)
    return tuple(result)


def _unscaled(chain: Chain, origin: FloatArray, unit: float) -> Chain:
    """Return a chain in m again."""
    start = np.column_stack((chain.start[:, :2] * unit + origin, chain.start[:, 2]))
    return replace(
        chain, start=start, curvature=chain.curvature / unit, length=chain.length * unit, off=chain.off * unit
    )
