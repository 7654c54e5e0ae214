"""Ways: the drawing as a network in the making, rows of elements between the nodes where their ends meet."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from gradehaul.plan.components import components
from gradehaul.plan.drawing.elements import turned, wrapped
from gradehaul.plan.drawing.nearness import distinct, pairs, walks
from gradehaul.plan.drawing.records import BoolArray, Element, FloatArray, IntArray, Spot
from gradehaul.plan.drawing.rows import Rows

CROWD = 48
"""Where more ends than this come together they are not compared with one another: that is no track."""
SPECK = 3.0
"""Track from a joint back to itself that is no longer than this, in snaps, is no track."""


@dataclass(frozen=True, slots=True, eq=False)
class Ways:
    """Rows of elements, and the nodes at both ends of each, shape (w, 2). Way n has the ends 2n and 2n + 1."""

    rows: Rows
    nodes: IntArray

    def __len__(self) -> int:
        """How many there are."""
        return len(self.nodes)

    def run(self, ends: IntArray, first: IntArray | None = None) -> Ways:
        """Return ways in another order, each entered at one of its ends; several are one where `first` has them so."""
        nodes = self.nodes.ravel()
        begin, last = (ends, ends) if first is None else (ends[first[:-1]], ends[first[1:] - 1])
        return Ways(self.rows.run(ends, first), np.column_stack((nodes[begin], nodes[last ^ 1])))

    def outward(self, end: int) -> Element:
        """Return the element at an end as a train meets it that leaves the node."""
        first = self.rows.first
        element = self.rows.element(int(first[end // 2 + 1] - 1 if end % 2 else first[end // 2]))
        return turned(element) if end % 2 else element

    def ends_at(self, least: int = 1) -> dict[int, list[int]]:
        """Return the ends at each node at which there are so many at the least."""
        nodes = self.nodes.ravel()
        order = np.argsort(nodes, kind="stable")
        node, first, often = np.unique(nodes[order], return_index=True, return_counts=True)
        many = often >= least
        rows = zip(node[many].tolist(), first[many].tolist(), often[many].tolist(), strict=True)
        ends = order.tolist()
        return {each: ends[begin : begin + count] for each, begin, count in rows}

    @property
    def fresh_node(self) -> int:
        """A number above that of any node."""
        return int(self.nodes.max(initial=-1)) + 1


class WayCut(NamedTuple):
    """A cut of a way at a distance along it, m, at a node."""

    way: int
    along: float
    node: int


def continuing(one: Element, other: Element) -> float:
    """Return the angle, radians, by which a train turns that passes from one element at a node to another."""
    return abs(wrapped(one.heading - other.heading + math.pi))


def specks(ways: Ways, snap: float) -> BoolArray:
    """Return which ways lead back to their own node over hardly any length."""
    found: BoolArray = (ways.nodes[:, 0] == ways.nodes[:, 1]) & (ways.rows.total <= SPECK * snap)
    return found


def without_specks(ways: Ways, snap: float) -> Ways:
    """Return the ways that are no specks."""
    return ways.run(2 * np.flatnonzero(~specks(ways, snap)))


def merged(ways: Ways, kink: float = math.pi, plain: Collection[int] | None = None) -> Ways:
    """Return ways with those made one that meet at a node of two ends; of a closed circuit one node is kept.

    Where they go on as tangents within `kink`, radians, and at `plain` nodes alone where these are given.
    """
    nodes, away = ways.nodes.ravel(), ways.rows.away
    by_node = np.argsort(nodes, kind="stable")
    node, first, often = np.unique(nodes[by_node], return_index=True, return_counts=True)
    two = first[(often == 2) & (True if plain is None else np.isin(node, list(plain)))]
    one, other = by_node[two], by_node[two + 1]
    turn = np.abs(np.remainder(away[one] - away[other], math.tau) - math.pi)
    fair = (one // 2 != other // 2) & (turn <= kink)
    if not fair.any():
        return ways
    partner = np.full(len(nodes), -1)
    partner[one[fair]], partner[other[fair]] = other[fair], one[fair]
    found = list(walks(partner.tolist()))
    return ways.run(np.array([end for row in found for end in row]), np.cumsum([0, *map(len, found)]))


def cut_ways(ways: Ways, cuts: Iterable[WayCut], snap: float) -> Ways:
    """Return ways cut at places; cuts within `snap` along one way, or of a joint of its elements, are one.

    Their nodes are one too, of the least number.
    """
    wanted: dict[int, list[tuple[float, int]]] = {}
    joined: list[tuple[int, int]] = []
    highest = ways.fresh_node
    for way, along, node in cuts:
        wanted.setdefault(way, []).append((along, node))
        highest = max(highest, node + 1)
    first, nodes = ways.rows.first.tolist(), ways.nodes
    pieces: list[tuple[int, float]] = []  # elements that are cut, and how far along them
    begins: list[tuple[int, int, int]] = []  # where ways begin: an element, which part of it, and the node
    for number in sorted(wanted):
        stops = np.cumsum(ways.rows.length[first[number] : first[number + 1]])
        total, done = float(stops[-1]), [(0.0, int(nodes[number, 0]))]
        for raw, node in sorted(wanted[number]):
            nearest = float(stops[np.argmin(np.abs(stops - raw))])
            along = nearest if abs(nearest - raw) <= snap else raw
            if along - done[-1][0] <= snap:
                joined.append((done[-1][1], node))
            elif total - along <= snap:
                joined.append((int(nodes[number, 1]), node))
            else:
                done.append((along, node))
        for along, node in done[1:]:
            within = int(np.searchsorted(stops, along + 1e-9, side="right"))
            on = along - (float(stops[within - 1]) if within else 0.0)
            if on > 1e-9:
                pieces.append((first[number] + within, on))
            begins.append((first[number] + within, len(pieces), node))
    if begins:
        ways = _cut(ways, pieces, begins)
    if joined:
        ways = Ways(ways.rows, components(highest, joined)[ways.nodes])
    return ways


def cut_at(ways: Ways, elements: IntArray) -> Ways:
    """Return ways cut where some of their elements begin, each cut at a node of its own."""
    fresh = ways.fresh_node
    begins = [(each, 0, fresh + number) for number, each in enumerate(elements.tolist())]
    return _cut(ways, [], begins) if begins else ways


def _cut(ways: Ways, pieces: list[tuple[int, float]], begins: list[tuple[int, int, int]]) -> Ways:
    """Return ways with elements in pieces, each way from one of its beginnings to the next."""
    at, on = np.array([each for each, _ in pieces], dtype=np.int64), np.array([along for _, along in pieces])
    rows = ways.rows.split(at, on)
    element, passed, node = np.array(begins, dtype=np.int64).T
    begin = element + passed
    first = np.concatenate((rows.first[:-1], begin))
    order = np.argsort(first, kind="stable")
    start = np.concatenate((ways.nodes[:, 0], node))[order]
    # a way that is cut ends at the node where the next part of it begins
    whole = np.concatenate((np.ones(len(ways), dtype=bool), np.zeros(len(node), dtype=bool)))[order]
    finish = np.where(np.append(whole[1:], True), ways.nodes[np.cumsum(whole) - 1, 1], np.append(start[1:], -1))
    bounds, closed = np.append(first[order], len(rows.length)), np.zeros(len(order), dtype=bool)
    return Ways(replace(rows, first=bounds, closed=closed), np.column_stack((start, finish)))


def common_spot(points: FloatArray) -> Spot:
    """Return the mean of points, shape (n, 3), the same in whatever order they come."""
    x, y, z = points.T.tolist()
    heights = [each for each in z if not math.isnan(each)]
    return Spot(
        math.fsum(x) / len(x),
        math.fsum(y) / len(y),
        math.fsum(heights) / len(heights) if heights else None,
    )


def meet(points: FloatArray, *, snap: float, level: float) -> IntArray:
    """Return a number for each end, the same for ends that meet.

    Ends meet where they are within `snap` of one another in plan and within `level` in height, and so on from end to
    end; one without a height meets the nearest that has one.

    Examples
    --------
    >>> meet(np.array([(0.0, 0.0, np.nan), (1.0, 0.0, np.nan), (1.001, 0.0, np.nan)]), snap=0.002, level=0.01).tolist()
    [0, 1, 1]
    """
    table: FloatArray = np.where(np.isnan(points), np.inf, points)
    places, own = distinct(np.round(table, 6))
    one, other = pairs(places[:, :2], snap)
    known = np.isfinite(places[:, 2])
    both = known[one] & known[other]
    rise = np.subtract(places[one, 2], places[other, 2], out=np.zeros(len(one)), where=both)
    fair = (known[one] == known[other]) & (np.abs(rise) <= level)
    # Of those with and those without a height each of these meets one of the others.
    mixed = np.flatnonzero(known[one] != known[other])
    bare, high = np.where(known[one[mixed]], (other[mixed], one[mixed]), (one[mixed], other[mixed]))
    off = np.round(np.hypot(*(places[bare] - places[high])[:, :2].T), 9)
    nearest = mixed[np.lexsort((high, off, bare))]
    bare = np.where(known[one[nearest]], other[nearest], one[nearest])
    fair[nearest[np.unique(bare, return_index=True)[1]]] = True
    return components(len(places), np.column_stack((one[fair], other[fair])))[own]
