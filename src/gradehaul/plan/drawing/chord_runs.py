"""A run of chords between two corners: one smooth chain, or several between kinks."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.chain_checks import rounded_corner
from gradehaul.plan.drawing.chain_guess import stepped
from gradehaul.plan.drawing.chain_healing import healed
from gradehaul.plan.drawing.chains import chain
from gradehaul.plan.drawing.curvature_steps import PRICE
from gradehaul.plan.drawing.fit_limits import COARSE, Fit, as_good_as_straight, cost_of, noise_of
from gradehaul.plan.drawing.single_arc import single_arc
from gradehaul.plan.drawing.spans import Span, spans_of, straight_span, through_three
from gradehaul.plan.drawing.tangent_arcs import Arcs

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


PRICES = (PRICE, PRICE / 8)
"""What a step of curvature costs in the search for steps: the lower where none hold at the higher."""


KINK_COST = 0.5
"""What a kink costs, in elements: where it does nearly as well as a short sharp curve, it is believed."""


class Try(NamedTuple):
    """Elements, the squares of how far they lie off their vertices, m², if they will do, and the scatter seen, m."""

    spans: list[Span]
    squares: float
    sound: bool
    seen: float = 0.0

    def cost(self, fit: Fit) -> float:
        """Return what they cost: the less, the fewer and the closer."""
        return cost_of(len(self.spans), self.squares, fit)

    def judged(self, fit: Fit) -> Fit:
        """Return the terms in which these and others are compared: with the scatter seen, where it is the greater."""
        return fit._replace(noise=max(fit.noise, self.seen))


def chord_spans(points: FloatArray, along: FloatArray, fit: Fit) -> list[Span]:
    """Return the elements of a run of chords; where no chain holds, of its parts."""
    smooth = _smooth(points, along, fit)
    spans = _cut_spans(points, along, fit, smooth)
    return spans if smooth is not None and spans is smooth.spans else healed(points, along, spans, fit)


def _cut_spans(points: FloatArray, along: FloatArray, fit: Fit, smooth: Try | None) -> list[Span]:
    """Return the elements of a run, as one smooth chain or cut where kinks may be, or in the middle."""
    if smooth is not None and smooth.sound and len(smooth.spans) < 3:
        return smooth.spans
    if smooth is None:
        cuts = kinks_of(points, fit, closed=False)
        few = 0 < len(cuts) <= 3 + len(points) // 50
        return _pieces(points, along, cuts if few else np.array([len(points) // 2]), fit)
    cuts = _doubtful(np.arange(1, len(points) - 1), smooth.spans, along, fit)
    if len(cuts):  # else no kink would be believed
        cuts = _doubtful(kinks_of(points, fit, closed=False), smooth.spans, along, fit)
    turns_ = _short_turns(smooth.spans, along, fit)
    best = smooth if smooth.sound else None
    judged = smooth.judged(fit)
    limit = smooth.cost(judged) if smooth.sound else math.inf
    for way in (cuts, turns_):
        broken = broken_run(points, along, way, fit, judged, limit) if len(way) else None
        if broken is not None:
            best, limit = broken
    if best is None:
        return _pieces(points, along, turns_ if len(turns_) else np.array([len(points) // 2]), fit)
    return best.spans


def _smooth(points: FloatArray, along: FloatArray, fit: Fit) -> Try | None:
    """Return the chain that holds at the vertices of a run, or None."""
    if len(points) == 2:
        return Try([straight_span(points, along)], 0.0, sound=True)
    if len(points) == 3:
        return Try([through_three(points, along, fit)], 0.0, sound=True)
    alone = single_arc(points, fit)
    for price in PRICES:
        arcs = chain(points, fit, price, closed=False) if alone is None else alone
        if arcs is None or float(np.abs(arcs.off).max()) > fit.tolerance:
            continue
        if arcs.count == 1 and as_good_as_straight(float(arcs.curvature[0]), float(arcs.length[0]), fit):
            return Try([straight_span(points, along)], 0.0, sound=True)
        spans = spans_of(points, along, arcs, closed=False)
        return tried(spans, arcs, fit, closed=False)
    return None


def tried(spans: list[Span], arcs: Arcs, fit: Fit, *, closed: bool) -> Try:
    """Return the spans of a chain with what they are judged by."""
    squares, seen = float(arcs.off @ arcs.off), noise_of(arcs, fit.tolerance, closed=closed)
    return Try(spans, squares, not rounded_corner(arcs, fit), seen)


def broken_run(
    points: FloatArray, along: FloatArray, cuts: IntArray, fit: Fit, judged: Fit, limit: float
) -> tuple[Try, float] | None:
    """Return chains between kinks and what they cost in the terms `judged`, or None where that is over the limit."""
    spans: list[Span] = []
    squares = 0.0
    kinks = len(cuts) * KINK_COST * PRICE
    bounds = [0, *(int(cut) for cut in cuts), len(points) - 1]
    for low, high in itertools.pairwise(bounds):
        over = kinks + cost_of(len(spans), squares, judged) >= limit
        piece = None if over else _smooth(points[low : high + 1], along[low : high + 1], fit)
        if piece is None or not piece.sound:
            return None
        spans += piece.spans
        squares += piece.squares
    cost = kinks + cost_of(len(spans), squares, judged)
    return (Try(spans, squares, sound=True), cost) if cost < limit else None


def _pieces(points: FloatArray, along: FloatArray, cuts: IntArray, fit: Fit) -> list[Span]:
    """Return the elements of a run cut at some of its vertices."""
    bounds = [0, *(int(cut) for cut in cuts), len(points) - 1]
    return [
        span
        for low, high in itertools.pairwise(bounds)
        for span in _piece(points[low : high + 1], along[low : high + 1], fit)
    ]


def _piece(points: FloatArray, along: FloatArray, fit: Fit) -> list[Span]:
    return _cut_spans(points, along, fit, _smooth(points, along, fit))


def _doubtful(cuts: IntArray, spans: Sequence[Span], along: FloatArray, fit: Fit) -> IntArray:
    """Return the kinks near which a smooth chain has two joints or more: what it takes to do without a kink."""
    joints = np.array([span.since for span in spans[1:]])
    near = np.maximum(along[np.minimum(cuts + 3, len(along) - 1)] - along[cuts], 3 * COARSE * fit.tolerance)
    far = np.maximum(along[cuts] - along[np.maximum(cuts - 3, 0)], 3 * COARSE * fit.tolerance)
    count = np.searchsorted(joints, along[cuts] + near) - np.searchsorted(joints, along[cuts] - far)
    return cuts[count > 1]


def _short_turns(spans: Sequence[Span], along: FloatArray, fit: Fit) -> IntArray:
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


def kinks_of(points: FloatArray, fit: Fit, *, closed: bool) -> IntArray:
    """Return the vertices at which the direction of a run may break."""
    found, _, kept = stepped(points, fit, PRICE, closed=closed, kinks=True)
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
