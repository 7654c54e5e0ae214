"""Straights and arcs that meet as tangents, laid through given vertices by least squares.

An oriented line or circle is four figures x = (κ, u, v, w): a point p lies P(p) / 2 to the left of it, nearly, where
P(p) = 2 (u, v)·p - κ |p|² - w, if u² + v² - κ w = 1 (Lie's coordinates, from memory). Two of them are tangents where
the difference of their P has a double zero, at (Δu, Δv) / Δκ: at that joint their offsets are one. So all that ties
elements to one another, and to the ends of the run, says that some figures times the row of a point are nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import partial
from typing import NamedTuple

import numpy as np

from gradehaul.plan.drawing.records import BoolArray, FloatArray, IntArray

ROUNDS = 16
"""The most steps of the least squares; four to eight are usual."""
ENOUGH = 1e-7
"""A step that lessens the squares by less than this share is the last."""
SETTLED = 1e-8
"""In mean lengths of elements: a step that would be smaller, as whole steps shrink, is not made any more."""
HELD, ACCEPTED = 1e-9, 1e-7
"""In mean lengths of elements: how far off their joint two elements should lie in the end, and may after all steps."""
GAP_PRICE = 1e4
"""How much more an offset at a joint counts than that of a vertex, while a step is judged."""
CLOSING = 1e-4
"""By what share a step that halves the offsets at joints may worsen the rest: circles nearly alike gape cheaply."""
LEVER = 500.0
"""In tolerances: so far from an end of the run a vertex would lie that says as much of the direction held there."""
DENSE = 60
"""Up to this many unknowns the dense solver; beyond, its threads wait for one another where other work runs beside."""


FREE = math.nan, math.nan
"""Ends of a run of whose directions nothing is known."""


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """A chain of k straights and arcs, and which of n vertices each of them is laid through.

    Attributes
    ----------
    start
        Position and heading, radians, at the start of each, shape (k, 3).
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
        How far each vertex lies to the left of its element, shape (n,); none while it is still to be laid.
    spread
        The standard deviation of each curvature for vertices that stray by 1 each, shape (k,).
    tips
        The direction, radians, that an open chain has at its start and at its end; nan where nothing is known of it.
    aside
        How far off a vertex at the `LEVER` would lie for each direction that is known; none while it is to be laid.
    closed
        Whether its end is its beginning.
    """

    start: FloatArray
    curvature: FloatArray
    length: FloatArray
    straight: BoolArray
    first: IntArray
    off: FloatArray = field(default_factory=partial(np.zeros, 0))
    spread: FloatArray = field(default_factory=partial(np.zeros, 0))
    tips: tuple[float, float] = FREE
    aside: FloatArray = field(default_factory=partial(np.zeros, 0))
    closed: bool = False

    @property
    def count(self) -> int:
        """How many elements."""
        return len(self.length)

    @property
    def freedom(self) -> int:
        """How many more vertices there are than the chain has unknowns to fit them."""
        ties = 1 if not self.closed or self.count == 1 else 0  # a circle has three unknowns, like an arc that is open
        return len(self.off) - self.count - int((~self.straight).sum()) - ties

    def scaled(self, unit: float, origin: FloatArray) -> Chain:
        """Return the chain so many times larger, moved by `origin` then."""
        start = np.column_stack((self.start[:, :2] * unit + origin, self.start[:, 2]))
        return replace(
            self,
            start=start,
            curvature=self.curvature / unit,
            length=self.length * unit,
            off=self.off * unit,
            aside=self.aside * unit,
            spread=self.spread / unit**2,
        )


def laid(points: FloatArray, guess: Chain) -> Chain | None:
    """Return a chain moved to where the squares of the vertices' distances from it are least; None if it comes apart.

    Newton's steps after Gauss, on the problem with the ties held by multipliers. An open chain is held to the first and
    the last vertex, and drawn towards the directions of its `tips`. Vertices near a joint change over to the element
    they lie beside after each step.
    """
    unit = float(np.abs(guess.length).mean())
    origin = points.mean(axis=0)
    own = guess.scaled(1 / unit, -origin / unit)
    fit = _Fit((points - origin) / unit, guess.straight, guess.tips, LEVER / unit, closed=guess.closed)
    left = np.column_stack((-np.sin(own.start[:, 2]), np.cos(own.start[:, 2])))
    place, bend = own.start[:, :2], own.curvature[:, None]
    level = left + bend * place
    square = 2 * (level * place).sum(axis=1) - own.curvature * (place**2).sum(axis=1)
    state = fit.state(np.column_stack((bend, level, square)), own.length * own.curvature, guess.first)
    damping, before = 1e-9, 0.0
    for _ in range(ROUNDS):
        answer = fit.solved(state, damping)
        if answer is None:
            return None
        step = answer[: 4 * guess.count].reshape(-1, 4)
        share = min(1.0, 0.5 / max(float(np.abs(step[:, :3]).max()), 1e-9))
        while share > 1e-3:
            moved = fit.state(state.curves + share * step, state.turn, state.first)
            closes = moved.gap < state.gap / 2 and moved.merit <= state.merit * (1 + CLOSING)
            if moved.merit <= state.merit * (1 + 1e-12) or closes or float(np.abs(step).max()) < 1e-12:
                break
            share /= 3
        else:
            if damping > 1e-2:
                break
            damping *= 100
            continue
        gained = state.merit - moved.merit
        size = float(np.abs(step).max()) if share == 1 else 0.0
        settled, before = 0 < size * size < SETTLED * before, size
        state, damping = moved, max(damping / 10, 1e-9)
        if (settled or gained <= ENOUGH * state.merit + 1e-20) and state.gap < HELD:
            break
    if not (state.gap < ACCEPTED and (state.length > 0).all() and np.isfinite(state.off).all()):
        return None
    place = state.joint[:-1]
    if guess.closed and guess.count == 1:  # a circle begins beside its first vertex
        middle = state.curves[:, 1:3] / state.curves[:, :1]
        place = middle + (place - middle) / np.hypot(*(place - middle).T) / abs(state.curves[0, 0])
    found = replace(
        guess,
        start=np.column_stack((place, state.heading)),
        curvature=np.where(guess.straight, 0.0, state.curves[:, 0]),
        length=state.length,
        first=state.first,
        off=np.roll(state.off, state.first[0]),
        aside=state.aside,
        spread=fit.spread(state),
    )
    return found.scaled(unit, origin)


class _State(NamedTuple):
    """Curves on their way, shape (k, 4), with the joints before, between and behind them, shape (k + 1, 2)."""

    curves: FloatArray
    joint: FloatArray
    heading: FloatArray
    turn: FloatArray
    length: FloatArray
    first: IntArray
    off: FloatArray
    aside: FloatArray
    rows: FloatArray
    ties: FloatArray
    gap: float
    merit: float


def _row(points: FloatArray) -> FloatArray:
    """Return what the figures of a curve are to be multiplied by to have P / 2 at points, shape (n, 4)."""
    found = np.empty((len(points), 4))
    found[:, 0] = (points * points).sum(axis=1) / -2
    found[:, 1:3] = points
    found[:, 3] = -0.5
    return found


class _Fit:
    """The least squares of one run: its vertices, what is held straight, and where the matrix has its entries.

    The unknowns are four figures an element, then a multiplier a tie: u² + v² - κ w of each, each joint, both ends.
    """

    def __init__(
        self, ring: FloatArray, straight: BoolArray, tips: tuple[float, float], lever: float, *, closed: bool
    ) -> None:
        self.ring, self.straight, self.closed = ring, straight, closed
        self.count = count = len(straight)
        self.whole = closed and count > 1
        self.later = np.arange(0 if self.whole else 1, count)
        self.ends = _row(ring[[0, -1]])
        # A curve's normal at a place p is (u, v) - κ p: none of it lies along a direction that is held there.
        known = np.flatnonzero(np.isfinite(tips))
        way = np.column_stack((np.cos(tips), np.sin(tips)))[known] * lever
        self.tipped = known * (count - 1)
        self.tips = np.column_stack((-(ring[-known] * way).sum(axis=1), way, np.zeros(len(known))))
        joints = count + np.arange(len(self.later))
        pinned = [] if closed else [joints[-1] + 1, joints[-1] + 2] if count > 1 else [count, count + 1]
        tie = np.concatenate((np.arange(count), joints, joints, pinned)).astype(np.int64)
        element = np.concatenate((np.arange(count), self.later, self.later - 1, [] if closed else [0, count - 1]))
        element = element.astype(np.int64) % count
        self.size = 4 * count + count + len(joints) + len(pinned)
        figure = 4 * np.arange(count)[:, None] + np.arange(4)
        bottom, across = np.repeat(4 * count + tie, 4), figure[element].ravel()
        extra = np.arange(4 * count, self.size)
        self.rows = np.concatenate((np.repeat(figure, 4, axis=1).ravel(), bottom, across, extra))
        self.columns = np.concatenate((np.tile(figure, (1, 4)).ravel(), across, bottom, extra))
        self.loose = np.ones((len(tie), 4))
        self.loose[self.straight[element], 0] = 0.0

    def state(self, curves: FloatArray, turn: FloatArray, first: IntArray) -> _State:
        """Return curves with their joints, the vertices given to those they lie beside, and how well they fit."""
        count, ring = self.count, self.ring
        change = curves - curves[np.arange(-1, count - 1)]
        bend = np.where(change[:, 0] == 0, 1e-12, change[:, 0])
        joint = np.empty((count + 1, 2))
        joint[:-1] = change[:, 1:3] / bend[:, None]
        joint[-1] = joint[0]
        if not self.whole:
            joint[0], joint[-1] = ring[0], ring[0 if self.closed else -1]
        into, out = (curves[:, 1:3] - curves[:, :1] * each for each in (joint[:-1], joint[1:]))  # normals to the left
        heading = np.arctan2(-into[:, 0], into[:, 1])
        turned = np.arctan2(-out[:, 0], out[:, 1]) - heading
        turn = turn + np.remainder(turned - turn + math.pi, math.tau) - math.pi
        across, middle = joint[1:] - joint[:-1], heading + turn / 2
        chord = across[:, 0] * np.cos(middle) + across[:, 1] * np.sin(middle)
        bent = np.abs(turn) > 1
        length = np.where(bent, turn / np.where(bent, curves[:, 0], 1.0), chord / np.sinc(turn / math.tau))
        first = self._first(first, joint, heading) if count > 1 else first
        rows = _row(ring[np.arange(first[0], first[-1]) % len(ring)] if self.closed else ring)
        own = np.repeat(curves, first[1:] - first[:-1], axis=0)
        power = 2 * (rows * own).sum(axis=1)
        root = np.sqrt(np.maximum(1 - own[:, 0] * power, 1e-6))
        off = power / (1 + root)
        rows[:, 0] += off * off / 2
        rows /= root[:, None]
        unlike = (curves[:, 1] ** 2 + curves[:, 2] ** 2 - curves[:, 0] * curves[:, 3] - 1) / 2
        tied = _row(joint[self.later])
        gaps, beside = ((tied * each[self.later]).sum(axis=1) for each in (change, curves))
        pins = [] if self.closed else [self.ends[0] @ curves[0], self.ends[1] @ curves[-1]]
        ties = np.concatenate((unlike, gaps, pins))
        gap = float(np.abs(np.concatenate((ties, beside))).max())
        aside = (self.tips * curves[self.tipped]).sum(axis=1)
        merit = (
            float(off @ off) + float(aside @ aside) + GAP_PRICE * float(ties @ ties) if (length > 0).all() else math.inf
        )
        return _State(curves, joint, heading, turn, length, first, off, aside, rows, ties, gap, merit)

    def _first(self, first: IntArray, joint: FloatArray, heading: FloatArray) -> IntArray:
        """Return the first vertex of each element, those behind its start or past its end given to its neighbor."""
        total, count = len(self.ring), self.count
        way = np.column_stack((np.cos(heading), np.sin(heading)))
        size = first[1:] - first[:-1]
        owner = np.repeat(np.arange(count), size)
        place, size = np.arange(first[0], first[-1]) - first[owner], size[owner]
        near = self.ring[np.arange(first[0], first[-1]) % total] if self.closed else self.ring
        onward = (owner + 1) % count
        # A wide arc comes back: only its near half lies behind, or past, a joint.
        back = (((near - joint[owner]) * way[owner]).sum(axis=1) < 0) & (2 * place < size)
        past = (((near - joint[onward]) * way[onward]).sum(axis=1) >= 0) & (2 * place + 2 > size)
        if not self.closed:
            back &= owner > 0
            past &= onward > 0
        # Those beyond the seam of a ring count on.
        owner = np.maximum.accumulate(owner + np.where(back, -1, past))
        found = first[0] + np.searchsorted(owner, np.arange(count + 1))
        if self.closed:
            begin = first[0] + np.searchsorted(owner, 0) - np.count_nonzero(owner == count)
            found[0], found[-1] = begin, begin + total
            found = np.minimum(np.maximum(found, begin), begin + total) - begin // total * total
        return np.asarray(found, dtype=np.int64)

    def solved(self, state: _State, damping: float, right: FloatArray | None = None) -> FloatArray | None:
        """Return the step of all figures and multipliers, or what other right sides give; None without an inverse."""
        curves, count, size = state.curves, self.count, self.size
        filled = np.flatnonzero(state.first[1:] > state.first[:-1])
        blocks, slope = np.zeros((count, 4, 4)), np.zeros((count, 4))
        first = state.first[filled] - state.first[0]
        blocks[filled] = np.add.reduceat(state.rows[:, :, None] * state.rows[:, None], first, axis=0)
        slope[filled] = np.add.reduceat(state.rows * state.off[:, None], first, axis=0)
        np.add.at(blocks, self.tipped, self.tips[:, :, None] * self.tips[:, None])
        np.add.at(slope, self.tipped, self.tips * state.aside[:, None])
        blocks[self.straight, 0, :] = blocks[self.straight, :, 0] = slope[self.straight, 0] = 0.0
        blocks[self.straight, 0, 0] = 1.0
        blocks[:, range(4), range(4)] += damping
        tied = _row(state.joint[self.later])
        norms = np.column_stack((-curves[:, 3] / 2, curves[:, 1:3], -curves[:, 0] / 2))
        ties = (np.concatenate((norms, tied, -tied, self.ends[: 0 if self.closed else 2])) * self.loose).ravel()
        values = np.concatenate((blocks.ravel(), ties, ties, np.full(size - 4 * count, -1e-13)))
        right = -np.concatenate((slope.ravel(), state.ties)) if right is None else right
        try:
            if size <= DENSE:
                dense = np.bincount(self.rows * size + self.columns, values, size * size).reshape(size, size)
                return np.asarray(np.linalg.solve(dense, right), dtype=np.float64)
            from scipy.sparse import csc_array
            from scipy.sparse.linalg import splu

            return np.asarray(splu(csc_array((values, (self.rows, self.columns)), shape=(size, size))).solve(right))
        except (np.linalg.LinAlgError, RuntimeError):
            return None

    def spread(self, state: _State) -> FloatArray:
        """Return the standard deviation of each curvature for vertices that stray by 1, the drawn ends too, shape (k,).

        The law of propagation of variances through the linearized least squares.
        """
        arcs = np.flatnonzero(~self.straight)
        found = np.zeros(self.count)
        right = np.zeros((self.size, len(arcs)))
        right[4 * arcs, np.arange(len(arcs))] = 1.0
        answer = self.solved(state, 1e-12, right) if len(arcs) else None
        if answer is not None:
            held = answer[:0] if self.closed else answer[-2:]
            variance = answer[4 * arcs, np.arange(len(arcs))] + (held**2).sum(axis=0)
            found[arcs] = np.sqrt(np.maximum(variance, 0.0))
        return found
