"""The fewest elements for a run of chords: a dynamic programming along its vertices.

Unrolled along the chords, track of straights and arcs is a row of parabolas that meet as tangents: a vertex lies a
little beside it, and one step along a chord of length L takes offset, heading and curvature (e, t, k) to
(e + t L + k L²/2, t + k L, k). A candidate is a row of elements up to the present vertex; what its vertices say of its
state is the least squares of all of them in recursive form (Kalman 1960), so that the cost of a candidate grows by one
term a vertex. At each vertex the best candidates are continued by a new element, and those that can win no more are
dropped: the time is linear in the vertices.

All lengths are in tolerances.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from gradehaul.plan.drawing.fitting.chains import FREE, LEVER, Chain
from gradehaul.plan.drawing.fitting.course import turns
from gradehaul.plan.drawing.records import BoolArray, FloatArray, IntArray

PRICE = 14.0
"""What an element costs, and what its curvature does, in squares of the scatter: twice the logarithm of a thousand."""
KINK_PRICE = 18.0
"""What a kink costs: less than the short sharp curve that would do without it."""
TIP_PRICE = 3 * PRICE
"""What a kink at an end costs where none is seen: more than another arc, less than two."""
STRAY = 1 / 20
"""How far the elements may stray from the track itself, beside the scatter of the vertices (root mean square)."""
SHARPEST = 200.0
"""A radius as small as any: 10 gauges with the plan's own tolerance."""
NODE = 16.0
"""Vertices closer than this are taken together, and elements begin no closer than this."""
NODE_SCATTER = 50.0
"""In scatters: vertices closer than this are taken together too, as the chords between say little of the direction."""

PARENTS = 4
"""How many candidates of each kind are continued at a vertex."""
ROOM, SPAWN, FEW = 160, 2 * PARENTS + 2, 40
"""How many candidates there is room for, how many a vertex adds at the most, and how many are few."""
STEADY = 1e-7
"""Where curvature changes by less than this no element ends: in 300 tolerances it leads astray by a two-hundredth."""
MARGIN = 4 * PRICE + 2 * PRICE
"""A candidate that costs this much more than the best is dropped."""
PEERS = 2
"""How many candidates of one kind and about one age are kept."""

# A candidate's state: e, t, k, and the upper half of its covariance: ee, et, ek, tt, tk, kk.
ROW, COLUMN = np.array([0, 0, 0, 1, 1, 2]), np.array([3, 4, 5, 4, 5, 5])
E, T, K, EE, ET, EK, TT, TK, KK = range(9)
ANY_HEADING = 10.0
"""The variance of a heading of which nothing is known."""


SLACKS = (1 / 4, 1 / 36), (0.0, 0.0)
"""How freely elements meet: a joint that lies between two vertices breaks heading and offset there, by these variances.

In the squares of what a joint anywhere within the chord would cause. In the order in which they are tried: joints
anywhere, and at vertices only.
"""


class Found(NamedTuple):
    """A run as a chain, at which of its elements the direction breaks before them, and what it should cost.

    The chain has the directions at its ends which it keeps.
    """

    chain: Chain
    kink: BoolArray
    cost: float


class Nodes(NamedTuple):
    """Vertices of a run taken together where they are close: places, which vertex, and how many."""

    place: FloatArray
    vertex: IntArray
    members: FloatArray


def nodes_of(points: FloatArray, scatter: float) -> Nodes:
    """Return the vertices of a run, those closer than the search can tell apart taken together.

    The first and the last vertex stand alone.
    """
    spacing = max(NODE, NODE_SCATTER * scatter)
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    cell = np.floor(along / spacing + 0.5)
    cell[-1] = max(cell[-1], cell[-2] + (along[-1] - along[-2] >= spacing / 2))
    begin = np.unique(cell, return_index=True)[1]
    members = np.diff(np.append(begin, len(points)))
    middle = np.add.reduceat(along, begin) / members
    begin = begin[np.append(True, np.diff(middle) >= spacing / 2)]
    members = np.diff(np.append(begin, len(points)))
    place = np.add.reduceat(points, begin, axis=0) / members[:, None]
    vertex = begin + members // 2
    if len(begin) == 1:
        return Nodes(points[[0, -1]], np.array([0, len(points) - 1]), np.ones(2))
    place[[0, -1]], vertex[[0, -1]] = points[[0, -1]], (0, len(points) - 1)
    return Nodes(place, vertex, members.astype(np.float64))


def search(
    points: FloatArray,
    scatter: float,
    slack: tuple[float, float],
    kinks: BoolArray,
    tips: tuple[float, float] = FREE,
) -> Found:
    """Return the fewest elements that explain the vertices of a run, no two in a row the same.

    The vertices scatter by `scatter`; elements meet as freely as one of `SLACKS`; the direction may break at `kinks`,
    and at an end with one of `tips`.
    """
    nodes = nodes_of(points, scatter)
    chord = np.hypot(*np.diff(nodes.place, axis=0).T)
    turn = turns(nodes.place)
    count = len(chord)
    own_turn = np.zeros(count)  # each chord turns by half of what its two ends do
    if count > 1:
        padded = np.concatenate((turn[:1], turn, turn[-1:]))
        own_turn = (padded[:-1] + padded[1:]) / 2
    length = chord / np.sinc(own_turn / 2 / math.pi)
    squares = (scatter**2 / nodes.members + STRAY**2).tolist()
    change, reach = _changes(turn, chord)
    broken = (change * reach) ** 2
    loose_heading, loose_offset = broken * slack[0], broken * reach**2 * slack[1]
    kink_at = kinks[nodes.vertex]
    steady = (np.abs(change) < STEADY) & ~kink_at[1:-1]
    moves = _moves(length)
    heading = np.arctan2(*np.diff(nodes.place, axis=0)[[0, -1]].T[::-1])
    begin, finish = np.remainder(np.array(tips) - heading + math.pi, math.tau) - math.pi
    aim = (scatter**2 + STRAY**2) / LEVER**2
    candidates = _Candidates(count, squares[0], begin, aim)
    for node in range(1, count):
        candidates.step(moves[node - 1], squares[node])
        candidates.turn(turn[node - 1])
        if steady[node - 1]:
            candidates.drop(node)
            continue
        candidates.branch(node, loose_heading[node - 1], loose_offset[node - 1], kink=bool(kink_at[node]))
    candidates.step(moves[-1], squares[-1])
    vertex, arc, kinked, states, cost, kept = candidates.best(finish, aim)
    chain = _chain(nodes, np.append(vertex, count), arc, states, turn, length)
    return Found(
        replace(chain, tips=(tips[0] if kept[0] else math.nan, tips[1] if kept[1] else math.nan)), kinked, cost
    )


class _Candidates:
    """The candidates that live at a vertex, and the record of how each came about.

    The first begin in the direction `begin` from the first chord, with the variance `aim`, where that is not nan; two
    begin in any, which costs a kink then.
    """

    def __init__(self, count: int, square: float, begin: float, aim: float) -> None:
        self.state = np.zeros((9, ROOM))
        self.cost, self.record = np.zeros(ROOM), np.arange(ROOM)
        self.live = self.recorded = 2 if math.isnan(begin) else 4
        self.state[EE, : self.live], self.state[TT, :2], self.state[KK, 1 : self.live : 2] = (
            square,
            ANY_HEADING,
            SHARPEST**-2,
        )
        self.cost[: self.live : 2], self.cost[1 : self.live : 2] = PRICE, 2 * PRICE
        if self.live == 4:
            self.state[T, 2:4], self.state[TT, 2:4] = begin, aim
            self.cost[:2] += TIP_PRICE
        size = 4 + SPAWN * count
        self.vertex, self.parent, self.tip = np.zeros(size, np.int64), np.full(size, -1), np.zeros((size, 3))
        self.arc, self.kinked = np.zeros(size, np.bool_), np.zeros(size, np.bool_)
        self.arc[[1, 3]] = True

    def step(self, move: FloatArray, square: float) -> None:
        """Take all candidates one chord further, and let them see the vertex there."""
        now = move @ self.state[:, : self.live]
        off = now[E].copy()
        total = now[EE] + square
        gain = now[EE:TT] / total
        self.cost[: self.live] += off * off / total
        now[EE:] -= gain[ROW] * now[COLUMN]
        now[:EE] -= gain * off
        self.state[:, : self.live] = now

    def turn(self, angle: float) -> None:
        """Turn on to the next chord."""
        self.state[T, : self.live] -= angle

    def drop(self, node: int, most: int = FEW) -> None:
        """Drop those that can win no more, once there are more than so many; the others are in order of cost then."""
        if self.live <= most:
            return
        order = np.argsort(self.cost[: self.live], kind="stable")
        kept = _kept(order, self.cost[order], self.arc[self.record[order]], node - self.vertex[self.record[order]])
        self.live = len(kept)
        self.state[:, : self.live] = self.state[:, kept]
        self.cost[: self.live], self.record[: self.live] = self.cost[kept], self.record[kept]

    def branch(self, node: int, loose_heading: float, loose_offset: float, *, kink: bool) -> None:
        """Let the best go on with a new element."""
        self.drop(node, ROOM - SPAWN)
        order = np.argsort(self.cost[: self.live], kind="stable")
        arcs = order[self.arc[self.record[order]]][:PARENTS]
        chosen = np.concatenate((order[:PARENTS], arcs, order[[0, 0]] if kink else order[:0]))
        live, to_arc, more = self.live, min(PARENTS, self.live), len(chosen)
        smooth = to_arc + len(arcs)
        new, rows = slice(live, live + more), slice(self.recorded, self.recorded + more)
        fresh = self.state[:, chosen]
        self.tip[rows], self.vertex[rows], self.parent[rows] = fresh[:EE].T, node, self.record[chosen]
        arc = np.arange(more) < to_arc
        cost = self.cost[chosen]
        fresh[EE, :smooth] += loose_offset
        fresh[TT, :smooth] += loose_heading
        if kink:
            arc[-1] = True
            fresh[[T, ET], smooth:] = 0.0
            fresh[TT, smooth:] = ANY_HEADING
            cost[smooth:] += KINK_PRICE
            self.kinked[rows.stop - 2 : rows.stop] = True
        fresh[[K, EK, TK, KK]] = 0.0
        fresh[KK, arc] = SHARPEST**-2
        self.arc[rows], self.cost[new] = arc, cost + np.where(arc, 2 * PRICE, PRICE)
        self.state[:, new], self.record[new] = fresh, np.arange(rows.start, rows.stop)
        self.live, self.recorded = live + more, rows.stop

    def best(
        self, finish: float, aim: float
    ) -> tuple[IntArray, BoolArray, BoolArray, FloatArray, float, tuple[bool, bool]]:
        """Return where elements of the cheapest begin, which are arcs, which follow a kink, their ends; its cost.

        And whether it has the direction given at its start, and `finish` from the last chord, with the variance `aim`,
        at its end: another costs a kink.
        """
        live = slice(self.live)
        miss = (self.state[T, live] - finish) ** 2 / (self.state[TT, live] + aim)
        cost = self.cost[live] + np.nan_to_num(np.minimum(miss, TIP_PRICE))
        best = int(np.argmin(cost))
        path = [int(self.record[best])]
        while self.parent[path[-1]] >= 0:
            path.append(int(self.parent[path[-1]]))
        path.reverse()
        tips = np.vstack((self.tip[path[1:]], self.state[:EE, best]))
        kept = path[0] >= 2, bool(miss[best] < TIP_PRICE)
        return self.vertex[path], self.arc[path], self.kinked[path], tips, float(cost[best]), kept


def _moves(length: FloatArray) -> FloatArray:
    """Return what a step along each chord does to a state and its covariance, shape (n, 9, 9)."""
    step = np.tile(np.eye(3), (len(length), 1, 1))
    step[:, E, T] = step[:, T, K] = length
    step[:, E, K] = length**2 / 2
    moves = np.zeros((len(length), 9, 9))
    moves[:, :EE, :EE] = step
    # Of the covariance F C F' the upper half alone, in which each entry beside the diagonal counts for its mirror too.
    one, other = np.triu_indices(3)
    mirrored = step[:, one][:, :, other] * step[:, other][:, :, one] * (one != other)
    moves[:, EE:, EE:] = step[:, one][:, :, one] * step[:, other][:, :, other] + mirrored
    return moves


def _changes(turn: FloatArray, chord: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return how curvature changes at each inner node, and how far from it a joint may be meant there, shape (n - 2,).

    A joint t beyond the node at which it is looked for breaks the heading there by t times the change of curvature:
    that between the three nodes before and the three behind.
    """
    near, far = np.minimum(chord[:-1], chord[1:]), np.maximum(chord[:-1], chord[1:])
    reach = np.minimum(far, 3 * near)  # a joint lies within the chord of the curve, not within a long straight
    angle = np.concatenate((np.zeros(4), np.cumsum(turn), np.full(3, turn.sum())))
    place = np.concatenate((np.zeros(4), np.cumsum((chord[:-1] + chord[1:]) / 2)))
    place = np.concatenate((place, np.full(3, place[-1])))
    at = np.arange(len(turn)) + 3
    tiny = 1e-9
    before = (angle[at] - angle[at - 3]) / (place[at] - place[at - 3] + tiny)
    after = (angle[at + 4] - angle[at + 1]) / (place[at + 4] - place[at + 1] + tiny)
    return after - before, reach


def _kept(order: IntArray, cost: FloatArray, arc: BoolArray, age: IntArray) -> IntArray:
    """Return the candidates that may yet win, best first: of each kind and about each age the best few."""
    near = np.count_nonzero(cost <= cost[0] + MARGIN)
    peers = 2 * (2.5 * np.log2(age[:near])).astype(np.int64) + arc[:near]
    grouped = np.argsort(peers, kind="stable")
    ranked = peers[grouped]
    surplus = np.zeros(len(ranked), np.bool_)
    surplus[PEERS:] = ranked[PEERS:] == ranked[:-PEERS]
    return order[np.sort(grouped[~surplus])]


def _chain(
    nodes: Nodes, bounds: IntArray, arc: BoolArray, tips: FloatArray, turn: FloatArray, length: FloatArray
) -> Chain:
    """Return elements between nodes as a chain that begins at these, with what is known of them at their ends."""
    first = nodes.place[1] - nodes.place[0]
    heading = math.atan2(first[1], first[0]) + np.concatenate(([0.0], np.cumsum(turn)))
    heading = np.append(heading, heading[-1])  # the last state is in terms of the last chord
    along = np.concatenate(([0.0], np.cumsum(length)))
    own = np.diff(along[bounds])
    start = np.column_stack((nodes.place[bounds[:-1]], heading[bounds[1:]] + tips[:, T] - tips[:, K] * own))
    vertices = nodes.vertex[bounds]
    vertices[-1] += 1
    return Chain(start, np.where(arc, tips[:, K], 0.0), own, ~arc, vertices)
