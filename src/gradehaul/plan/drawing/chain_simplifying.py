"""A chain of straights and arcs without the elements that the vertices can do without."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.chain_changes import STRAIGHTEN, Change, changes_of, mark_of, with_change
from gradehaul.plan.drawing.curvature_steps import PRICE
from gradehaul.plan.drawing.fit_limits import EXPECTED, SYSTEMATIC, Fit, holds, noise_of
from gradehaul.plan.drawing.settling import settle
from gradehaul.plan.drawing.tangent_arcs import Arcs, joined, rung_on

FloatArray = NDArray[np.float64]


def simplified(points: FloatArray, arcs: Arcs, fit: Fit, *, closed: bool) -> Arcs:
    """Return the chain with every element left out that the vertices can do without."""
    tried: set[tuple[int, ...]] = set()
    changed, left_out = True, False
    while changed:
        changed = False
        noise = min(noise_of(arcs, fit.tolerance, closed=closed), max(fit.noise, EXPECTED * fit.tolerance))
        gone: list[tuple[int, int, int]] = []  # where, how wide, how many fewer: of this round
        for listed in changes_of(arcs, fit.tolerance, closed=closed):
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
            mark = mark_of(arcs, change)
            if mark in tried:
                continue
            tried.add(mark)
            after = _after(points, arcs, change, fit._replace(noise=noise), closed=closed)
            if after is not None:
                gone.append((change.element, change.width, arcs.count - after.count))
                arcs = after
                changed = left_out = True
                if closed:  # it begins elsewhere now: number anew
                    break
    return settle(points, arcs, closed=closed, hold="beside") if left_out else arcs


def _after(points: FloatArray, arcs: Arcs, change: Change, fit: Fit, *, closed: bool) -> Arcs | None:
    """Return the chain after a change, fitted anew near it, or None where the vertices tell against it."""
    count, total = arcs.count, len(points)
    beside = 3 + change.width
    at = change.element
    whole = closed and count <= beside + 4
    if closed:  # begin a little before the change, so that it lies within
        lead = 1 if whole else 3
        arcs, at = rung_on(arcs, lead - at, total), lead
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
    changed, touched = with_change(window, change, at - low)
    squares = float(before @ before)
    members = int(changed.first[min(touched[1], changed.count)] - changed.first[touched[0]])
    price = PRICE * max(window.count - changed.count, 1) * fit.noise**2  # each element that goes saves its price
    enough = squares + price + members * (SYSTEMATIC * fit.tolerance) ** 2
    settled = settle(near, changed, closed=whole, hold="free", enough=enough)
    if not joined(settled, closed=whole):
        return None
    concerned = np.arange(settled.first[touched[0]], settled.first[min(touched[1], settled.count)]) % len(near)
    allowed = price + len(concerned) * (SYSTEMATIC * fit.tolerance) ** 2
    if float(settled.off @ settled.off) - squares > allowed:
        return None
    if float(np.abs(settled.off).max()) > fit.tolerance or not holds(settled.off[concerned], fit.noise, fit.tolerance):
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
