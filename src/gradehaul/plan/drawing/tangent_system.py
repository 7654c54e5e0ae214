"""The least squares of a chain of tangent straights and arcs, linearized: its blocks, its ties, its solution."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.tangent_arcs import Arcs, ends, owners

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


Hold = Literal["ends", "beside", "free"]


PIN = 1e3
"""How much more a drawn end counts than a vertex between: the ends of a stroke are where other track meets it."""


SMALL = 160
"""Up to this many unknowns a dense solver is quicker than a sparse one."""


@dataclass(frozen=True, slots=True, eq=False)
class System:
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


def linearized(ring: FloatArray, arcs: Arcs, wind: float, *, closed: bool, hold: Hold) -> System:
    """Return the linearized least squares of a chain at where it stands."""
    own = owners(arcs)
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
    firm = (float(off @ off) / max(len(off), 1) + 1e-12) / (shortest(arcs) / 3) ** 2
    return System(blocks, slope, ties, gaps, tuple(pins), off, merit, gap, arcs.straight, firm)


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


def shortest(arcs: Arcs) -> FloatArray:
    """Return the length of the shortest of each element and its two neighbors, but no less than a thousandth."""
    shortest = np.minimum(np.minimum(np.roll(arcs.length, 1), np.roll(arcs.length, -1)), arcs.length)
    return np.maximum(np.abs(shortest), 1e-3)
