"""A chain of straights and arcs to begin with: one for each level of the staircase of curvature."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.curvature_steps import Steps, steps
from gradehaul.plan.drawing.fit_limits import COARSE, SYSTEMATIC, Fit
from gradehaul.plan.drawing.tangent_arcs import Arcs

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


SPACING = 4.0
"""In tolerances: vertices closer than this are thinned where their scatter is reckoned."""


def thinned(points: FloatArray, spacing: float) -> tuple[FloatArray, IntArray]:
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


def stepped(
    points: FloatArray, fit: Fit, price: float, *, closed: bool, kinks: bool
) -> tuple[Steps, FloatArray, IntArray]:
    """Return the steps of curvature of a run, the vertices they were looked for at, and which of the drawn those are.

    A ring is looked at three times round, of which the middle counts: where the drawing began makes no difference then.
    """
    tolerance = fit.tolerance
    drawn = np.vstack((points, points[:1])) if closed else points
    nodes, kept = thinned(drawn, COARSE * tolerance)
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


def first_guess(points: FloatArray, fit: Fit, price: float, *, closed: bool) -> Arcs | None:
    """Return a chain to begin with, or None where there is hardly less of it than there are vertices."""
    tolerance = fit.tolerance
    found, ring, kept = stepped(points, fit, price, closed=closed, kinks=False)
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
