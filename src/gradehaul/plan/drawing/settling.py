"""Straights and arcs that meet as tangents, laid through given vertices by least squares."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.tangent_arcs import Arcs, wind_of
from gradehaul.plan.drawing.tangent_system import Hold, linearized, shortest

FloatArray = NDArray[np.float64]


ROUNDS = 60
"""The most steps of the least squares; five to ten are usual."""


TRIAL_ROUNDS = 15
"""The most steps of a trial, which is only to show whether the vertices tell against it."""


def settle(
    points: FloatArray,
    arcs: Arcs,
    *,
    closed: bool = False,
    hold: Hold = "ends",
    enough: float | None = None,
    rounds: int = ROUNDS,
) -> Arcs:
    """Return the chain moved to where the squares of the vertices' distances from it are least.

    The unknowns are the start, curvature and length of every element; that each ends where and as the next begins is
    held by multipliers (Gauss-Newton steps on the equality-constrained problem, damped after Levenberg and Marquardt).
    Vertices near a joint change over to the element they lie beside after each step.

    Parameters
    ----------
    points
        Vertices, m, shape (n, 2).
    arcs
        Where to begin; its joints need not meet yet.
    closed
        Whether the last element ends at the start of the first.
    hold
        Whether an open chain starts and ends on the first and last vertex (``ends``), only beside them (``beside``), or
        is a part of a chain that may slide (``free``).
    enough
        For a trial: the sum of squares, m², that would do; it stops well below it, or when it gains little far above.
    rounds
        The most steps where it is no trial.
    """
    unit = float(np.abs(arcs.length).mean())
    origin = points.mean(axis=0)
    ring = (points - origin) / unit
    if closed:
        ring = np.vstack((ring, ring))
    scaled = replace(
        arcs,
        start=np.column_stack(((arcs.start[:, :2] - origin) / unit, arcs.start[:, 2])),
        curvature=np.where(arcs.straight, 0.0, arcs.curvature * unit),
        length=arcs.length / unit,
    )
    wind = wind_of(scaled) if closed else 0.0
    system = linearized(ring, scaled, wind, closed=closed, hold=hold)
    damping, grip = 1e-8, 1.0
    trial = enough is not None
    target = enough / unit**2 if enough is not None else -1.0
    for _ in range(TRIAL_ROUNDS if trial else rounds):
        step = system.step(damping, grip)
        too_long = _too_long(scaled, step)
        moved = _moved(scaled, step / too_long)
        moved = _assigned(ring, moved, closed=closed)
        next_system = linearized(ring, moved, wind, closed=closed, hold=hold)
        small = float(np.abs(step).max(initial=0.0)) < 1e-10
        if next_system.merit <= system.merit * (1 + 1e-12) or small:
            gained = system.merit - next_system.merit
            squares = float(next_system.off @ next_system.off)
            share = (1e-5 if hold == "beside" else 1e-8) if not trial else 1e-3 if squares < 2 * target else 2e-2
            settled = gained <= share * system.merit and (next_system.gap < 1e-9 or (trial and next_system.gap < 1e-7))
            scaled, system = moved, next_system
            damping = max(damping / 10, 1e-10)
            grip = min(3 * grip, 100.0) if too_long > 1 else max(grip / 4, 1e-4)
            done = next_system.gap < 1e-7 and squares <= target / 2
            if small or settled or done:
                break
        else:
            damping *= 20
            grip *= 4
            if damping > 1e6:
                break
    return replace(
        scaled,
        start=np.column_stack((scaled.start[:, :2] * unit + origin, scaled.start[:, 2])),
        curvature=scaled.curvature / unit,
        length=scaled.length * unit,
        off=system.off * unit,
    )


def curvature_spread(points: FloatArray, arcs: Arcs, *, closed: bool = False) -> FloatArray:
    """Return the standard deviation of each curvature for vertices that stray by 1 m each, 1/m per m, shape (k,).

    The law of propagation of variances through the linearized least squares; the drawn ends are taken to stray as
    much as the vertices between.
    """
    unit = float(arcs.length.mean())
    origin = points.mean(axis=0)
    ring = (points - origin) / unit
    moved = replace(
        arcs,
        start=np.column_stack(((arcs.start[:, :2] - origin) / unit, arcs.start[:, 2])),
        curvature=arcs.curvature * unit,
        length=arcs.length / unit,
    )
    wind = wind_of(moved) if closed else 0.0
    system = linearized(np.vstack((ring, ring)) if closed else ring, moved, wind, closed=closed, hold="ends")
    return system.spread(arcs.straight) / unit**2


def _too_long(arcs: Arcs, step: FloatArray) -> float:
    """Return by how much a step is too long, at least 1.

    A joint may not run past the middle of its neighbors in one step, nor a heading turn by more than half a radian.
    """
    joints = float((np.abs(step[:, 4]) / (0.5 * shortest(arcs))).max())
    return max(joints, float(np.abs(step[:, 2]).max()) / 0.5, 1.0)


def _moved(arcs: Arcs, step: FloatArray) -> Arcs:
    return replace(
        arcs,
        start=arcs.start + step[:, :3],
        curvature=arcs.curvature + np.where(arcs.straight, 0.0, step[:, 3]),
        length=arcs.length + step[:, 4],
    )


def _assigned(ring: FloatArray, arcs: Arcs, *, closed: bool) -> Arcs:
    """Return the chain with every vertex near a joint given to the element it lies beside."""
    first = arcs.first.copy()
    total = len(ring) // 2 if closed else len(ring)
    cosine, sine = np.cos(arcs.start[:, 2]), np.sin(arcs.start[:, 2])
    for joint in range(0 if closed else 1, arcs.count):
        x, y = arcs.start[joint, 0], arcs.start[joint, 1]
        at = int(first[joint])
        low = int(first[joint - 1]) if joint else int(first[-2]) - total
        high = int(first[joint + 1])
        ahead = (ring[at % total, 0] - x) * cosine[joint] + (ring[at % total, 1] - y) * sine[joint]
        if ahead < 0:
            while at < high and (
                (ring[at % total, 0] - x) * cosine[joint] + (ring[at % total, 1] - y) * sine[joint] < 0
            ):
                at += 1
        else:
            while at > low and (
                (ring[(at - 1) % total, 0] - x) * cosine[joint] + (ring[(at - 1) % total, 1] - y) * sine[joint] >= 0
            ):
                at -= 1
        first[joint] = at
        if closed and joint == 0:
            first[-1] = at + total
    if closed and first[0] < 0:
        first += total
    elif closed and first[0] >= total:
        first -= total
    return replace(arcs, first=first)
