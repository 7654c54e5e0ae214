"""Straights and arcs that meet as tangents, laid through given vertices by least squares."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Hold = Literal["ends", "beside", "free"]

PIN = 1e3
"""How much more a drawn end counts than a vertex between: the ends of a stroke are where other track meets it."""
ROUNDS = 60
"""The most steps of the least squares; five to ten are usual."""
TRIAL_ROUNDS = 15
"""The most steps of a trial, which is only to show whether the vertices tell against it."""
SMALL = 160
"""Up to this many unknowns a dense solver is quicker than a sparse one."""


@dataclass(frozen=True, slots=True, eq=False)
class Arcs:
    """A chain of k straights and arcs, and which of n vertices each of them is laid through.

    Attributes
    ----------
    start
        Position, m, and heading, radians, at the start of each, shape (k, 3).
    curvature
        Signed, 1/m, left positive; exactly 0 for a straight, shape (k,).
    length
        m, shape (k,).
    straight
        Whether it is held straight, shape (k,).
    first
        Vertices ``first[j]`` to ``first[j + 1] - 1`` belong to element j, shape (k + 1,). In a closed chain these count
        on beyond n, round the ring.
    off
        How far each vertex lies to the left of its element, m, shape (n,).
    """

    start: FloatArray
    curvature: FloatArray
    length: FloatArray
    straight: BoolArray
    first: IntArray
    off: FloatArray

    @property
    def count(self) -> int:
        """How many elements."""
        return len(self.length)


def ends(start: FloatArray, curvature: FloatArray, length: FloatArray) -> FloatArray:
    """Return position and heading at the end of arcs, shape (k, 3).

    An arc of turn 2h and length L spans a chord of L sin(h)/h in the direction of its middle (plane geometry).

    Examples
    --------
    >>> quarter = ends(np.array([[0.0, 0.0, 0.0]]), np.array([1.0]), np.array([math.pi / 2]))
    >>> print(quarter.round(6))
    [[1.       1.       1.570796]]
    """
    half = curvature * length / 2
    chord = length * np.sinc(half / math.pi)
    middle = start[:, 2] + half
    return np.column_stack(
        (start[:, 0] + chord * np.cos(middle), start[:, 1] + chord * np.sin(middle), start[:, 2] + 2 * half)
    )


def settle(
    points: FloatArray, arcs: Arcs, *, closed: bool = False, hold: Hold = "ends", enough: float | None = None
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
    wind = _wind(scaled) if closed else 0.0
    system = _linearized(ring, scaled, wind, closed=closed, hold=hold)
    damping, grip = 1e-8, 1.0
    trial = enough is not None
    target = enough / unit**2 if enough is not None else -1.0
    for _ in range(TRIAL_ROUNDS if trial else ROUNDS):
        step = system.step(damping, grip)
        too_long = _too_long(scaled, step)
        moved = _moved(scaled, step / too_long)
        moved = _assigned(ring, moved, closed=closed)
        next_system = _linearized(ring, moved, wind, closed=closed, hold=hold)
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


def joined(arcs: Arcs, *, closed: bool = False) -> bool:
    """Return whether the elements meet end to start and all have a length."""
    tips = ends(arcs.start, arcs.curvature, arcs.length)
    following = np.roll(arcs.start, -1, axis=0)
    gap = np.hypot(*(tips - following)[:, :2].T)
    if not closed:
        gap = gap[:-1]
    return bool((arcs.length > 0).all() and (gap < 1e-6 * arcs.length.mean()).all() and np.isfinite(arcs.off).all())


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
    wind = _wind(moved) if closed else 0.0
    system = _linearized(np.vstack((ring, ring)) if closed else ring, moved, wind, closed=closed, hold="ends")
    return system.spread(arcs.straight) / unit**2


def _wind(arcs: Arcs) -> float:
    tips = ends(arcs.start, arcs.curvature, arcs.length)
    return 2 * math.pi * round(float(tips[-1, 2] - arcs.start[0, 2]) / (2 * math.pi))


def _owners(arcs: Arcs) -> IntArray:
    return np.repeat(np.arange(arcs.count), np.diff(arcs.first))


@dataclass(frozen=True, slots=True, eq=False)
class _System:
    """The linearized least squares: 5 unknowns an element (x, y, heading, curvature, length), 3 ties a joint."""

    blocks: FloatArray
    """Normal matrix of the vertices' distances, shape (k, 5, 5)."""
    slope: FloatArray
    """Gradient, shape (k, 5)."""
    ties: FloatArray
    """Change of each element's end with its own unknowns, shape (k, 3, 5)."""
    gaps: FloatArray
    """How far each end lies from the next start, shape (joints, 3)."""
    pins: tuple[tuple[int, FloatArray, FloatArray], ...]
    off: FloatArray
    merit: float
    gap: float
    frozen: BoolArray
    firm: FloatArray
    """What keeps each length from running off where the curvatures beside a joint hardly differ, shape (k,)."""

    def matrix(self, damping: float, grip: float) -> tuple[FloatArray, IntArray, IntArray, int]:
        """Return the entries of the matrix of a step, their rows and columns, and its size."""
        count, joints = len(self.blocks), len(self.gaps)
        size = 5 * count + 3 * joints
        blocks = self.blocks.copy()
        for element, rows, _ in self.pins:
            blocks[element] += PIN**2 * rows.T @ rows
        blocks[self.frozen, 3, :] = 0.0
        blocks[self.frozen, :, 3] = 0.0
        blocks[self.frozen, 3, 3] = 1.0
        blocks += max(damping, 1e-12) * np.eye(5)
        blocks[:, 4, 4] += grip * self.firm
        at = 5 * np.arange(count)[:, None] + np.arange(5)
        row = np.broadcast_to(at[:, :, None], (count, 5, 5))
        column = np.broadcast_to(at[:, None, :], (count, 5, 5))
        tie_row = np.broadcast_to(
            (5 * count + 3 * np.arange(joints)[:, None] + np.arange(3))[:, :, None], (joints, 3, 5)
        )
        tie_column = np.broadcast_to(at[:joints, None, :], (joints, 3, 5))
        next_row = (5 * count + 3 * np.arange(joints)[:, None] + np.arange(3)).ravel()
        next_column = at[(np.arange(joints) + 1) % count, :3].ravel()
        ties = self.ties[:joints].copy()
        ties[self.frozen[:joints], :, 3] = 0.0
        own = np.arange(5 * count, size)
        rows_ = np.concatenate((row.ravel(), tie_row.ravel(), tie_column.ravel(), next_row, next_column, own))
        columns = np.concatenate((column.ravel(), tie_column.ravel(), tie_row.ravel(), next_column, next_row, own))
        minus = np.full(3 * joints, -1.0)
        values = np.concatenate((blocks.ravel(), ties.ravel(), ties.ravel(), minus, minus, np.full(3 * joints, -1e-13)))
        return values, rows_, columns, size

    def solve(self, damping: float, grip: float, right: FloatArray) -> FloatArray:
        """Return the unknowns for one or more right sides: by a dense matrix where it is small, else a sparse one."""
        values, rows, columns, size = self.matrix(damping, grip)
        if size <= SMALL:
            dense = np.bincount(rows * size + columns, values, size * size).reshape(size, size)
            return np.asarray(np.linalg.solve(dense, right), dtype=np.float64)
        from scipy.sparse import csc_array
        from scipy.sparse.linalg import splu

        return np.asarray(splu(csc_array((values, (rows, columns)), shape=(size, size))).solve(right), dtype=np.float64)

    def step(self, damping: float, grip: float) -> FloatArray:
        """Return the step of all unknowns, shape (k, 5)."""
        slope = self.slope.copy()
        for element, rows, miss in self.pins:
            slope[element] += PIN**2 * rows.T @ miss
        slope[self.frozen, 3] = 0.0
        right = -np.concatenate((slope.ravel(), self.gaps.ravel()))
        return self.solve(damping, grip, right)[: slope.size].reshape(-1, 5)

    def spread(self, straight: BoolArray) -> FloatArray:
        """Return the standard deviation of each curvature for unit scatter of the vertices."""
        count = len(self.blocks)
        result = np.zeros(count)
        arcs = np.flatnonzero(~straight)
        if not arcs.size:
            return result
        right = np.zeros((5 * count + 3 * len(self.gaps), len(arcs)))
        right[5 * arcs + 3, np.arange(len(arcs))] = 1.0
        answer = self.solve(0.0, 0.0, right)[: 5 * count].reshape(count, 5, len(arcs))
        variance = np.einsum("kia,kij,kja->a", answer, self.blocks, answer)
        for element, rows, _ in self.pins:
            variance += ((PIN**2 * rows @ answer[element]) ** 2).sum(axis=0)
        result[arcs] = np.sqrt(np.maximum(variance, 0.0))
        return result


def _linearized(ring: FloatArray, arcs: Arcs, wind: float, *, closed: bool, hold: Hold) -> _System:
    own = _owners(arcs)
    count = arcs.count
    here = ring[arcs.first[0] : arcs.first[-1]]
    start = arcs.start[own]
    curvature = arcs.curvature[own]
    cosine, sine = np.cos(start[:, 2]), np.sin(start[:, 2])
    reach = here - start[:, :2]
    along = reach[:, 0] * cosine + reach[:, 1] * sine
    across = reach[:, 1] * cosine - reach[:, 0] * sine
    square = along**2 + across**2
    # The distance from a circle in a form that stays exact as it flattens to a line: (1 − √(1 − κ a)) / κ.
    power = 2 * across - curvature * square
    root = np.sqrt(np.maximum(1 - curvature * power, 1e-6))
    off = power / (1 + root)
    rows = np.column_stack(
        (
            (sine + curvature * reach[:, 0]) / root,
            (-cosine + curvature * reach[:, 1]) / root,
            -along / root,
            (off**2 - square) / (2 * root),
        )
    )
    blocks = np.zeros((count, 5, 5))
    slope = np.zeros((count, 5))
    for i in range(4):
        slope[:, i] = np.bincount(own, rows[:, i] * off, count)
        for j in range(i + 1):
            blocks[:, i, j] = blocks[:, j, i] = np.bincount(own, rows[:, i] * rows[:, j], count)
    tips = ends(arcs.start, arcs.curvature, arcs.length)
    ties = _end_changes(arcs, tips)
    gaps = tips - np.roll(arcs.start, -1, axis=0)
    if closed:
        gaps[-1, 2] -= wind
    else:
        gaps = gaps[:-1]
    pins: list[tuple[int, FloatArray, FloatArray]] = []
    merit = float(off @ off)
    if hold != "free" and not closed:
        last = ties[-1, :2].copy()
        last[:, 3] *= not arcs.straight[-1]
        pins.append((0, np.eye(2, 5), arcs.start[0, :2] - here[0]))
        pins.append((count - 1, last, tips[-1, :2] - here[-1]))
        if hold == "beside":
            for at, heading in enumerate((arcs.start[0, 2], tips[-1, 2])):
                way = np.array([[math.cos(heading), math.sin(heading)]])
                pins[at] = (pins[at][0], way @ pins[at][1], way @ pins[at][2])
        merit += PIN**2 * sum(float(miss @ miss) for _, _, miss in pins)
    merit += 1e4 * float((gaps**2).sum())
    gap = float(np.abs(gaps).max(initial=0.0))
    if closed:
        off = np.roll(off, arcs.first[0])
    # Moving a joint by a third of an element weighs as much as one more vertex as far off as the others.
    firm = (float(off @ off) / max(len(off), 1) + 1e-12) / (_shortest(arcs) / 3) ** 2
    return _System(blocks, slope, ties, gaps, tuple(pins), off, merit, gap, arcs.straight, firm)


def _end_changes(arcs: Arcs, tips: FloatArray) -> FloatArray:
    """Return how the end of each element moves with its start, heading, curvature and length, shape (k, 3, 5)."""
    changes = np.zeros((arcs.count, 3, 5))
    changes[:, [0, 1, 2], [0, 1, 2]] = 1.0
    changes[:, 0, 2] = -(tips[:, 1] - arcs.start[:, 1])
    changes[:, 1, 2] = tips[:, 0] - arcs.start[:, 0]
    half = arcs.curvature * arcs.length / 2
    sinc = np.sinc(half / math.pi)
    small = np.abs(half) < 1e-4
    slant = np.where(small, -half / 3, (np.cos(half) - sinc) / np.where(small, 1.0, half))
    middle = arcs.start[:, 2] + half
    lever = arcs.length**2 / 2
    changes[:, 0, 3] = lever * (slant * np.cos(middle) - sinc * np.sin(middle))
    changes[:, 1, 3] = lever * (slant * np.sin(middle) + sinc * np.cos(middle))
    changes[:, 2, 3] = arcs.length
    changes[:, 0, 4] = np.cos(tips[:, 2])
    changes[:, 1, 4] = np.sin(tips[:, 2])
    changes[:, 2, 4] = arcs.curvature
    return changes


def _too_long(arcs: Arcs, step: FloatArray) -> float:
    """Return by how much a step is too long, at least 1.

    A joint may not run past the middle of its neighbors in one step, nor a heading turn by more than half a radian.
    """
    joints = float((np.abs(step[:, 4]) / (0.5 * _shortest(arcs))).max())
    return max(joints, float(np.abs(step[:, 2]).max()) / 0.5, 1.0)


def _moved(arcs: Arcs, step: FloatArray) -> Arcs:
    return replace(
        arcs,
        start=arcs.start + step[:, :3],
        curvature=arcs.curvature + np.where(arcs.straight, 0.0, step[:, 3]),
        length=arcs.length + step[:, 4],
    )


def _shortest(arcs: Arcs) -> FloatArray:
    """Return the length of the shortest of each element and its two neighbors, but no less than a thousandth."""
    shortest = np.minimum(np.minimum(np.roll(arcs.length, 1), np.roll(arcs.length, -1)), arcs.length)
    return np.maximum(np.abs(shortest), 1e-3)


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
