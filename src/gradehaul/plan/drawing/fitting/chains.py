"""Straights and arcs that meet as tangents, laid through given vertices by least squares."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

ROUNDS = 14
"""The most steps of the least squares; five to ten are usual."""
ENOUGH, MATTERS = 1e-6, 1e-6
"""Two steps in a row that lessen the squares by less than this share, or this in tolerances, are the last."""
DENSE = 98
"""Up to this many unknowns the dense solver; beyond, its threads wait for one another where other work runs beside."""
JOINED = 1e4
"""How much more a gap between two elements counts than a vertex as far off, while a step is judged."""
PART, MARGIN = 24, 8
"""How many elements, and how many more beside them, are enough for how well a curvature is known."""
UNKNOWN = np.arange(5)


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """A chain of k straights and arcs, and which of n vertices each of them is laid through.

    Attributes
    ----------
    start
        Position and heading, radians, unwrapped, at the start of each, shape (k, 3).
    curvature
        Signed, left positive; exactly 0 for a straight, shape (k,).
    length
        Shape (k,).
    straight
        Whether it is held straight, shape (k,).
    first
        Vertices ``first[j]`` to ``first[j + 1] - 1`` belong to element j, shape (k + 1,). In a closed chain these count
        on beyond n, round the ring.
    off
        How far each vertex lies to the left of its element, shape (n,).
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

    @property
    def tips(self) -> FloatArray:
        """Position and heading at the end of each, shape (k, 3).

        An arc of turn 2h and length L spans a chord of L sin(h)/h in the direction of its middle (plane geometry).
        """
        half = self.curvature * self.length / 2
        chord = self.length * np.sinc(half / math.pi)
        middle = self.start[:, 2] + half
        x, y = self.start[:, 0] + chord * np.cos(middle), self.start[:, 1] + chord * np.sin(middle)
        return np.column_stack((x, y, self.start[:, 2] + 2 * half))

    def part(self, low: int, high: int) -> Chain:
        """Return some of its elements in a row, with the vertices from the first of them to that of the next."""
        first = self.first[low : high + 1] - self.first[low]
        off = self.off[self.first[low] : self.first[high]]
        rows = slice(low, high)
        return Chain(self.start[rows], self.curvature[rows], self.length[rows], self.straight[rows], first, off)


def freedom(chain: Chain, *, closed: bool) -> int:
    """Return how many more vertices there are than the chain has unknowns to fit them."""
    return len(chain.off) - chain.count - int((~chain.straight).sum()) - (0 if closed else 1)


def laid(points: FloatArray, chain: Chain, weight: FloatArray, *, closed: bool = False) -> Chain | None:
    """Return the chain moved to where the squares of the vertices' distances from it are least; None if it comes apart.

    The unknowns are the start, curvature and length of every element; that each ends where and as the next begins, and
    an open chain on the first and last vertex, is held by multipliers (Gauss-Newton steps on the equality-constrained
    problem, damped after Levenberg and Marquardt). Vertices near a joint change over to the element they lie beside
    after each step. `weight` is how much each vertex counts, shape (n,).
    """
    unit = float(np.abs(chain.length).mean())
    origin = points.mean(axis=0)
    ring = (points - origin) / unit
    start = np.column_stack(((chain.start[:, :2] - origin) / unit, chain.start[:, 2]))
    now = replace(chain, start=start, curvature=chain.curvature * unit, length=chain.length / unit)
    wind = _wind(now) if closed else 0.0
    system = _System(ring, now, wind, weight, closed=closed)
    damping, grip, idle = 1e-8, 1.0, 0
    for _ in range(ROUNDS):
        step = system.step(damping, grip)
        if step is None:
            return None
        shortest = _shortest(now.length)
        too_long = max(1.0, float((np.abs(step[:, 4]) / shortest).max()) * 2, float(np.abs(step[:, 2]).max()) * 2)
        moved = _assigned(ring, _moved(now, step / too_long), closed=closed)
        next_system = _System(ring, moved, wind, weight, closed=closed)
        small = float(np.abs(step).max()) < 1e-10
        if next_system.merit <= system.merit * (1 + 1e-12) or small:
            gained = system.merit - next_system.merit
            now, system = moved, next_system
            idle = idle + 1 if gained <= max(ENOUGH * system.merit, MATTERS / unit**2) and system.gap < 1e-8 else 0
            if small or idle > 1:
                break
            damping = max(damping / 10, 1e-10)
            grip = min(3 * grip, 100.0) if too_long > 1 else max(grip / 4, 1e-4)
        else:
            damping, grip = damping * 20, grip * 4
            if damping > 1e6:
                break
    if not (system.gap < 1e-6 and (now.length > 0).all() and np.isfinite(system.off).all()):
        return None
    return replace(
        now,
        start=np.column_stack((now.start[:, :2] * unit + origin, now.start[:, 2])),
        curvature=now.curvature / unit,
        length=now.length * unit,
        off=np.roll(system.off, now.first[0]) * unit,
    )


def curvature_spread(points: FloatArray, chain: Chain, *, closed: bool = False) -> FloatArray:
    """Return the standard deviation of each curvature for vertices that stray by 1 each, shape (k,).

    The law of propagation of variances through the linearized least squares; the drawn ends are taken to stray as
    much as the vertices between. Of a long chain it is found part by part: far neighbors make no difference.
    """
    if chain.count > 2 * PART:
        found = np.zeros(chain.count)
        for low in range(0, chain.count, PART):
            begin, end = max(low - MARGIN, 0), min(low + PART + MARGIN, chain.count)
            vertices = np.arange(chain.first[begin], chain.first[end]) % len(points)
            part = chain.part(begin, end)
            near = curvature_spread(points[vertices], replace(part, off=np.zeros(len(vertices))))
            found[low : low + PART] = near[low - begin : low - begin + PART]
        return found
    unit = float(chain.length.mean())
    origin = points.mean(axis=0)
    start = np.column_stack(((chain.start[:, :2] - origin) / unit, chain.start[:, 2]))
    scaled = replace(chain, start=start, curvature=chain.curvature * unit, length=chain.length / unit)
    wind = _wind(scaled) if closed else 0.0
    system = _System((points - origin) / unit, scaled, wind, np.ones(len(points)), closed=closed)
    return system.spread() / unit**2


def _wind(chain: Chain) -> float:
    """Return the whole turns that a closed chain makes, radians."""
    return 2 * math.pi * round(float(chain.tips[-1, 2] - chain.start[0, 2]) / (2 * math.pi))


def _shortest(length: FloatArray) -> FloatArray:
    """Return the length of the shortest of each element and its two neighbors, but no less than a thousandth."""
    padded = np.concatenate((length[-1:], length, length[:1]))
    return np.maximum(np.minimum(np.minimum(padded[:-2], padded[2:]), length), 1e-3)


def _moved(chain: Chain, step: FloatArray) -> Chain:
    curvature = np.where(chain.straight, 0.0, chain.curvature + step[:, 3])
    return replace(chain, start=chain.start + step[:, :3], curvature=curvature, length=chain.length + step[:, 4])


def _assigned(ring: FloatArray, chain: Chain, *, closed: bool) -> Chain:
    """Return the chain with every vertex near a joint given to the element it lies beside."""
    total = len(ring)
    first = chain.first.tolist()
    for joint in range(0 if closed else 1, chain.count):
        x, y, heading = chain.start[joint].tolist()
        cosine, sine = math.cos(heading), math.sin(heading)

        def ahead(vertex: int) -> bool:
            across, up = ring[vertex % total].tolist()
            return bool((across - x) * cosine + (up - y) * sine >= 0)  # noqa: B023

        at = first[joint]
        low, high = first[joint - 1] if joint else first[-2] - total, first[joint + 1]
        if at < high and not ahead(at):
            while at < high and not ahead(at):
                at += 1
        else:
            while at > low and ahead(at - 1):
                at -= 1
        first[joint] = at
        if closed and joint == 0:
            first[-1] = at + total
    shift = first[0] // total * total if closed else 0
    return replace(chain, first=np.array(first, dtype=np.int64) - shift)


class _System:
    """The linearized least squares: 5 unknowns an element (x, y, heading, curvature, length), 3 ties a joint."""

    def __init__(self, ring: FloatArray, chain: Chain, wind: float, weight: FloatArray, *, closed: bool) -> None:
        count = chain.count
        vertices = np.arange(chain.first[0], chain.first[-1]) % len(ring)
        own = np.repeat(np.arange(count), np.diff(chain.first))
        start, curvature = chain.start[own], chain.curvature[own]
        cosine, sine = np.cos(start[:, 2]), np.sin(start[:, 2])
        reach = ring[vertices] - start[:, :2]
        along = reach[:, 0] * cosine + reach[:, 1] * sine
        across = reach[:, 1] * cosine - reach[:, 0] * sine
        square = along**2 + across**2
        # The distance from a circle in a form that stays exact as it flattens to a line: (1 - √(1 - κ a)) / κ.
        power = 2 * across - curvature * square
        root = np.sqrt(np.maximum(1 - curvature * power, 1e-6))
        self.off = off = power / (1 + root)
        rows = np.array(
            (
                (sine + curvature * reach[:, 0]) / root,
                (-cosine + curvature * reach[:, 1]) / root,
                -along / root,
                (off**2 - square) / (2 * root),
            )
        )
        self.blocks, self.slope = np.zeros((count, 5, 5)), np.zeros((count, 5))
        filled = np.flatnonzero(chain.first[1:] > chain.first[:-1])
        heavy = rows * weight[vertices]
        weighed = np.concatenate((heavy[:, None] * rows, (heavy * off)[:, None]), axis=1)
        sums = np.add.reduceat(weighed, chain.first[filled] - chain.first[0], axis=2)
        self.blocks[filled, :4, :4] = sums[:, :4].transpose(2, 0, 1)
        self.slope[filled, :4] = sums[:, 4].T
        tips = chain.tips
        self.straight, self.closed = chain.straight, closed
        self.ties = _end_changes(chain, tips)
        gaps = tips - np.roll(chain.start, -1, axis=0)
        gaps[-1, 2] -= wind
        self.gaps = gaps
        self.pinned = chain.start[0, :2] - ring[0]
        if not closed:
            gaps[-1] = *(tips[-1, :2] - ring[-1]), 0.0
        self.gap = float(np.abs(gaps).max())
        squares = float(off @ (weight[vertices] * off))
        self.merit = squares + JOINED * float((gaps**2).sum())
        if not closed:
            self.merit += JOINED * float((self.pinned**2).sum())
        # Moving a joint by a third of an element weighs as much as one more vertex as far off as the others.
        self.firm = (squares / max(len(off), 1) + 1e-12) / (_shortest(np.abs(chain.length)) / 3) ** 2

    def matrix(self, damping: float, grip: float) -> tuple[FloatArray, IntArray, IntArray, int]:
        """Return the entries of the system's matrix, where they stand, and its size."""
        count = len(self.blocks)
        blocks, ties = self.blocks.copy(), self.ties.copy()
        blocks[self.straight, 3, :] = 0.0
        blocks[self.straight, :, 3] = 0.0
        blocks[self.straight, 3, 3] = 1.0
        ties[self.straight, :, 3] = 0.0
        blocks[:, UNKNOWN, UNKNOWN] += max(damping, 1e-12)
        blocks[:, 4, 4] += grip * self.firm
        at = 5 * np.arange(count)[:, None] + UNKNOWN
        tie = 5 * count + 3 * np.arange(count)[:, None] + UNKNOWN[:3]
        block, side = (count, 5, 5), (count, 3, 5)
        row = [np.broadcast_to(at[:, :, None], block).ravel()]
        column = [np.broadcast_to(at[:, None, :], block).ravel()]
        if not self.closed:  # the last tie holds the end in place alone; its third row holds nothing
            ties[-1, 2] = 0.0
        left, right = np.broadcast_to(tie[:, :, None], side).ravel(), np.broadcast_to(at[:, None, :], side).ravel()
        joints = count if self.closed else count - 1
        from_tie, to_next = tie[:joints].ravel(), at[(np.arange(joints) + 1) % count, :3].ravel()
        every = tie.ravel()
        own = np.full(len(every), -1e-13)
        size = 5 * count + 3 * count
        row += [left, right, from_tie, to_next, every]
        column += [right, left, to_next, from_tie, every]
        minus = np.full(len(from_tie), -1.0)
        values = [blocks.ravel(), ties.ravel(), ties.ravel(), minus, minus, own]
        if not self.closed:
            own[-1] = 1.0
            pins = np.array([size, size + 1])
            row += [pins, UNKNOWN[:2]]
            column += [UNKNOWN[:2], pins]
            values += [np.ones(2), np.ones(2)]
            size += 2
        return np.concatenate(values), np.concatenate(row), np.concatenate(column), size

    def solve(self, damping: float, grip: float, right: FloatArray) -> FloatArray | None:
        """Return the unknowns for one or more right sides, None where the matrix has no inverse."""
        values, row, column, size = self.matrix(damping, grip)
        padded = np.zeros((size, *right.shape[1:]))
        padded[: len(right)] = right
        try:
            if size <= DENSE:
                dense = np.bincount(row * size + column, values, size * size).reshape(size, size)
                return np.asarray(np.linalg.solve(dense, padded), dtype=np.float64)
            from scipy.sparse import csc_array
            from scipy.sparse.linalg import splu

            return np.asarray(splu(csc_array((values, (row, column)), shape=(size, size))).solve(padded))
        except (np.linalg.LinAlgError, RuntimeError):
            return None

    def step(self, damping: float, grip: float) -> FloatArray | None:
        """Return the step of all unknowns, shape (k, 5)."""
        slope = self.slope.copy()
        slope[self.straight, 3] = 0.0
        right = -np.concatenate((slope.ravel(), self.gaps.ravel(), [] if self.closed else self.pinned))
        answer = self.solve(damping, grip, right)
        return None if answer is None else answer[: slope.size].reshape(-1, 5)

    def spread(self) -> FloatArray:
        """Return the standard deviation of each curvature for unit scatter of the vertices."""
        count = len(self.blocks)
        result = np.zeros(count)
        arcs = np.flatnonzero(~self.straight)
        right = np.zeros((5 * count, len(arcs)))
        right[5 * arcs + 3, np.arange(len(arcs))] = 1.0
        answer = self.solve(0.0, 0.0, right) if arcs.size else None
        if answer is not None:
            held = np.zeros((0, len(arcs)))
            if not self.closed:  # the drawn ends, start and end in x and y, stray too
                held = np.vstack((answer[-2:], answer[8 * count - 3 : 8 * count - 1]))
            variance = answer[5 * arcs + 3, np.arange(len(arcs))] + (held**2).sum(axis=0)
            result[arcs] = np.sqrt(np.maximum(variance, 0.0))
        return result


def _end_changes(chain: Chain, tips: FloatArray) -> FloatArray:
    """Return how the end of each element moves with its start, heading, curvature and length, shape (k, 3, 5)."""
    changes = np.zeros((chain.count, 3, 5))
    changes[:, [0, 1, 2], [0, 1, 2]] = 1.0
    changes[:, 0, 2] = -(tips[:, 1] - chain.start[:, 1])
    changes[:, 1, 2] = tips[:, 0] - chain.start[:, 0]
    half = chain.curvature * chain.length / 2
    sinc = np.sinc(half / math.pi)
    small = np.abs(half) < 1e-4
    slant = np.where(small, -half / 3, (np.cos(half) - sinc) / np.where(small, 1.0, half))
    middle = chain.start[:, 2] + half
    lever = chain.length**2 / 2
    changes[:, 0, 3] = lever * (slant * np.cos(middle) - sinc * np.sin(middle))
    changes[:, 1, 3] = lever * (slant * np.sin(middle) + sinc * np.cos(middle))
    changes[:, 2, 3] = chain.length
    changes[:, 0, 4] = np.cos(tips[:, 2])
    changes[:, 1, 4] = np.sin(tips[:, 2])
    changes[:, 2, 4] = chain.curvature
    return changes
