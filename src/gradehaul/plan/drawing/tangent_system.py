"""The least squares of a chain of tangent straights and arcs, linearized: its blocks, its ties, its solution."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple

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
"""Up to this many unknowns of a ring a dense solver is quicker than a sparse one."""
BAND = 7
"""How far the farthest unknown that an unknown has to do with lies from it, ties between their two elements."""
UNKNOWN = np.arange(5)


class _Entries(NamedTuple):
    """Where the entries of the matrix stand, in the order in which they are listed.

    In `row` and `column` all ties come behind all elements. For `band` they stand between their two elements: unknown
    ``order[i]`` comes at i there, and unknown i at ``back[i]``.
    """

    row: IntArray
    column: IntArray
    order: IntArray
    back: IntArray
    band: IntArray


@lru_cache(maxsize=64)
def _entries(count: int, joints: int) -> _Entries:
    at = 5 * np.arange(count)[:, None] + UNKNOWN
    tie = 5 * count + 3 * np.arange(joints)[:, None] + UNKNOWN[:3]
    block = (count, 5, 5)
    side = (joints, 3, 5)
    after = at[(np.arange(joints) + 1) % count, :3].ravel()
    pairs = (
        (np.broadcast_to(at[:, :, None], block), np.broadcast_to(at[:, None, :], block)),
        (np.broadcast_to(tie[:, :, None], side), np.broadcast_to(at[:joints, None, :], side)),
        (np.broadcast_to(at[:joints, None, :], side), np.broadcast_to(tie[:, :, None], side)),
        (tie, after),
        (after, tie),
        (tie, tie),
    )
    row = np.concatenate([one.ravel() for one, _ in pairs])
    column = np.concatenate([other.ravel() for _, other in pairs])
    back = np.concatenate(
        ((at + 3 * np.arange(count)[:, None]).ravel(), (8 * np.arange(joints)[:, None] + [5, 6, 7]).ravel())
    )
    band = back[column] * (3 * BAND + 1) + 2 * BAND + back[row] - back[column]
    return _Entries(row, column, np.argsort(back), back, band)


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

    def solve(self, damping: float, grip: float, right: FloatArray) -> FloatArray:
        """Return the unknowns for one or more right sides: of an open chain by a banded matrix, else a sparse one."""
        count, joints = len(self.blocks), len(self.gaps)
        size = 5 * count + 3 * joints
        blocks = self.blocks.copy()
        for element, rows, _ in self.pins:
            blocks[element] += PIN**2 * rows.T @ rows
        blocks[self.frozen, 3, :] = 0.0
        blocks[self.frozen, :, 3] = 0.0
        blocks[self.frozen, 3, 3] = 1.0
        blocks[:, UNKNOWN, UNKNOWN] += max(damping, 1e-12)
        blocks[:, 4, 4] += grip * self.firm
        ties = self.ties[:joints].copy()
        ties[self.frozen[:joints], :, 3] = 0.0
        minus = np.full(3 * joints, -1.0)
        own = np.full(3 * joints, -1e-13)
        values = np.concatenate((blocks.ravel(), ties.ravel(), ties.ravel(), minus, minus, own))
        entries = _entries(count, joints)
        if joints < count:
            from scipy.linalg.lapack import dgbsv

            band = np.zeros((size, 3 * BAND + 1))
            band.ravel()[entries.band] = values
            *_, answer, fault = dgbsv(BAND, BAND, band.T, right[entries.order], overwrite_ab=1, overwrite_b=1)
            if fault:
                raise np.linalg.LinAlgError(f"row {fault} of {size} tells nothing")
            return np.asarray(answer[entries.back], dtype=np.float64)
        if size <= SMALL:
            dense = np.bincount(entries.row * size + entries.column, values, size * size).reshape(size, size)
            return np.asarray(np.linalg.solve(dense, right), dtype=np.float64)
        from scipy.sparse import csc_array
        from scipy.sparse.linalg import splu

        matrix = csc_array((values, (entries.row, entries.column)), shape=(size, size))
        return np.asarray(splu(matrix).solve(right), dtype=np.float64)

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
    rows = np.array(
        (
            (sine + curvature * reach[:, 0]) / root,
            (-cosine + curvature * reach[:, 1]) / root,
            -along / root,
            (off**2 - square) / (2 * root),
        )
    )
    blocks = np.zeros((count, 5, 5))
    slope = np.zeros((count, 5))
    filled = np.flatnonzero(arcs.first[1:] > arcs.first[:-1])
    since = arcs.first[filled] - arcs.first[0]
    weighed = np.concatenate((rows[:, None] * rows, (rows * off)[:, None]), axis=1)
    sums = np.add.reduceat(weighed, since, axis=2)
    blocks[filled, :4, :4] = sums[:, :4].transpose(2, 0, 1)
    slope[filled, :4] = sums[:, 4].T
    tips = ends(arcs.start, arcs.curvature, arcs.length)
    ties = _end_changes(arcs, tips)
    gaps = tips - np.concatenate((arcs.start[1:], arcs.start[:1]))
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
    length = arcs.length
    before, after = np.concatenate((length[-1:], length[:-1])), np.concatenate((length[1:], length[:1]))
    return np.maximum(np.abs(np.minimum(np.minimum(before, after), length)), 1e-3)
