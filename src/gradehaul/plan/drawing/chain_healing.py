"""Pieces of a run that was cut where no kink is: one chain again, tangent throughout."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.chain_checks import rounded_corner
from gradehaul.plan.drawing.chain_simplifying import simplified
from gradehaul.plan.drawing.chains import finished
from gradehaul.plan.drawing.fit_limits import Fit, holds
from gradehaul.plan.drawing.settling import settle
from gradehaul.plan.drawing.spans import Span, spans_of
from gradehaul.plan.drawing.tangent_arcs import Arcs

FloatArray = NDArray[np.float64]


def healed(points: FloatArray, along: FloatArray, spans: Sequence[Span], fit: Fit) -> list[Span]:
    """Return the elements of an open run with all between two kinks made one chain, where the vertices let them.

    A run is cut where a kink may be, and in the middle where nothing holds. Where the direction then breaks by less
    than a kink, the cut has left a break that nobody drew, or has cut one curve in two.
    """
    kinks = [at for at in range(1, len(spans)) if abs(break_before(spans, at)) > fit.kink]
    result: list[Span] = []
    for low, high in itertools.pairwise([0, *kinks, len(spans)]):
        own = spans[low:high]
        since, until = np.searchsorted(along, (own[0].since, own[-1].until)).tolist()
        near, places = points[since : until + 1], along[since : until + 1]
        seams = np.isin([span.since for span in own[1:]], places)
        arcs = _one_chain(near, places, own, fit, closed=False) if seams.any() else None
        result += own if arcs is None else spans_of(near, places, arcs, closed=False)
    return result


def healed_ring(points: FloatArray, along: FloatArray, spans: Sequence[Span], fit: Fit) -> list[Span]:
    """Return the elements of a ring that was cut as one chain, where no kink is left and the vertices let them.

    `points` and `along` repeat the first.
    """
    if len(spans) < 3 or any(abs(break_before(spans, at)) > fit.kink for at in range(len(spans))):
        return list(spans)
    arcs = _one_chain(points[:-1], along[:-1], spans, fit, closed=True)
    return list(spans) if arcs is None else spans_of(points[:-1], along, arcs, closed=True)


def break_before(spans: Sequence[Span], at: int) -> float:
    """Return how the direction breaks where an element begins, radians."""
    return math.remainder(spans[at].start[2] - spans[at - 1].end_heading, 2 * math.pi)


def _one_chain(points: FloatArray, along: FloatArray, spans: Sequence[Span], fit: Fit, *, closed: bool) -> Arcs | None:
    start = np.array([span.start for span in spans])
    curvature = np.array([span.curvature for span in spans])
    length = np.array([span.length for span in spans])
    # Headings are wrapped in each piece: they must run on from one to the next.
    start[1:, 2] = start[0, 2] + np.cumsum(
        [span.curvature * span.length + break_before(spans, at + 1) for at, span in enumerate(spans[:-1])]
    )
    first = np.append(np.searchsorted(along, [span.since for span in spans]), len(points))
    first[0] = 0
    guess = Arcs(start, curvature, length, curvature == 0, first.astype(np.int64), np.zeros(len(points)))
    arcs = settle(points, guess, closed=closed, hold="beside")
    count = 0
    while count != arcs.count:
        count = arcs.count
        arcs = simplified(points, arcs, fit, closed=closed)
    whole = finished(points, arcs, fit, closed=closed)
    if whole is None or rounded_corner(whole, fit) or not holds(whole.off, fit.noise, fit.tolerance):
        return None
    return whole
