"""The last checks of a chain: no slivers, no curve that a single long chord does not bear out, none that is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.chain_changes import LEAVE_OUT, MERGE, STRAIGHTEN, Change, with_change
from gradehaul.plan.drawing.curvature_steps import PRICE
from gradehaul.plan.drawing.fit_limits import COARSE, SYSTEMATIC, Fit, holds
from gradehaul.plan.drawing.settling import settle
from gradehaul.plan.drawing.tangent_arcs import Arcs, joined, rung_on

FloatArray = NDArray[np.float64]


SHARP = 200.0
"""In tolerances: a curve sharper than this over a chord or less is a rounded corner (10 gauges with the plan's own)."""


def flattened(points: FloatArray, arcs: Arcs, fit: Fit, *, closed: bool) -> Arcs:
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
        if joined(settled, closed=closed) and holds(settled.off, fit.noise, fit.tolerance):
            arcs = settled
    return arcs


def without_slivers(points: FloatArray, arcs: Arcs, fit: Fit) -> Arcs:
    """Return an open chain without end elements of hardly any length and a single vertex: scatter of the ends."""
    for last in (False, True):
        at = arcs.count - 1 if last else 0
        if arcs.count > 1 and arcs.first[at + 1] - arcs.first[at] <= 1 and arcs.length[at] < COARSE * fit.tolerance:
            beside = at - 1 if last else at
            straight = bool(arcs.straight[at - 1 if last else at + 1])
            merged, _ = with_change(arcs, Change(0.0, MERGE, beside, straight, 2), beside)
            settled = settle(points, merged)
            if joined(settled) and float(np.abs(settled.off).max()) <= fit.tolerance:
                arcs = settled
    return arcs


def true_to_chords(points: FloatArray, arcs: Arcs, fit: Fit, *, closed: bool) -> Arcs:
    """Return a chain without what its vertices do not bear out, where they hold as well without it.

    That is an element shorter than the tolerance between two others, and a curve of hardly more than one chord that
    strays from it by more than the tolerance. A ring of fewer than three elements is a circle, and no business of this.
    """
    tried = 0
    at = 0
    while tried < arcs.count:
        at %= arcs.count
        inner = arcs.count > 3 if closed else 0 < at < arcs.count - 1
        beside = [one % arcs.count for one in (at - 1, at, at + 1) if closed or 0 <= one < arcs.count]
        if inner and arcs.length[at] < fit.tolerance:
            kind = LEAVE_OUT
        elif _bare(points, arcs, at, fit, closed=closed) and not arcs.straight[beside].any():
            kind = STRAIGHTEN
        else:
            at, tried = at + 1, tried + 1
            continue
        # What is changed must not lie at the seam of a ring.
        turned, place = (rung_on(arcs, 1 - at, len(points)), 1) if closed else (arcs, at)
        changed, _ = with_change(turned, Change(0.0, kind, place, kind == STRAIGHTEN), place)
        settled = settle(points, changed, closed=closed)
        more = float(settled.off @ settled.off - arcs.off @ arcs.off)
        good = joined(settled, closed=closed) and float(np.abs(settled.off).max()) <= fit.tolerance
        if good and more <= PRICE * fit.noise**2:
            arcs, at, tried = settled, place, 0
        else:
            at, tried = at + 1, tried + 1
    return arcs


def _bare(points: FloatArray, arcs: Arcs, at: int, fit: Fit, *, closed: bool) -> bool:
    """Return whether an element is a curve of hardly more than one chord that strays from it by over the tolerance."""
    after = int(arcs.first[at + 1]) + 1
    own = points[np.arange(arcs.first[at], after if closed else min(after, len(points))) % len(points)]
    longest = float(np.hypot(*np.diff(own, axis=0).T).max(initial=0.0))
    return bool(longest > 0.75 * arcs.length[at] and abs(arcs.curvature[at]) * longest**2 / 8 > fit.tolerance)


def rounded_corner(arcs: Arcs, fit: Fit) -> bool:
    """Return whether there is a curve that no track could follow and no vertices bear out: a corner, rather."""
    turn = np.abs(arcs.curvature * arcs.length)
    sharp = np.abs(arcs.curvature) * SHARP * fit.tolerance > 1
    return bool(((turn > fit.kink) & (np.diff(arcs.first) <= 2) & sharp).any())
