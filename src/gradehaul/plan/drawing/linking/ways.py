"""Ways: the drawing as a network in the making, of elements in rows between the nodes where their ends meet."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from typing import NamedTuple

import numpy as np

from gradehaul.plan.drawing.elements import cut, length_of, reverse, turned, wrapped
from gradehaul.plan.drawing.nearness import IntArray, components, distinct, pairs, walks
from gradehaul.plan.drawing.records import Element, FloatArray, Spot

CROWD = 48
"""Where more ends than this come together they are not compared with one another: that is no track."""
SPECK = 3.0
"""Track from a joint back to itself that is no longer than this, in snaps, is no track."""


class Way(NamedTuple):
    """Elements in order, and the nodes at both ends. Way n has the ends 2n, where it begins, and 2n + 1."""

    elements: list[Element]
    start: int
    finish: int

    def node(self, end: int) -> int:
        """Return the node at one of its ends."""
        return self.finish if end % 2 else self.start


class Cut(NamedTuple):
    """A cut of a way at a distance along it, m, at a node."""

    way: int
    along: float
    node: int


def outward(ways: Sequence[Way], end: int) -> Element:
    """Return the element at an end as a train meets it that leaves the node."""
    elements = ways[end // 2].elements
    return turned(elements[-1]) if end % 2 else elements[0]


def heading(ways: Sequence[Way], end: int) -> float:
    """Return the direction in which a train leaves the node at an end, radians."""
    element = ways[end // 2].elements[-(end % 2)]
    return element.heading + element.curvature * element.length + math.pi if end % 2 else element.heading


def headings(ways: Sequence[Way]) -> FloatArray:
    """Return the directions in which trains leave the nodes at all ends, radians, shape (2n,)."""
    tips = [(way.elements[0], way.elements[-1]) for way in ways]
    rows = [(one.heading, other.heading + other.curvature * other.length + math.pi) for one, other in tips]
    return np.array(rows, dtype=np.float64).ravel()


def spot(ways: Sequence[Way], end: int) -> Spot:
    """Return where an end lies."""
    elements = ways[end // 2].elements
    return elements[-1].end if end % 2 else elements[0].start


def continuing(ways: Sequence[Way], one: int, other: int) -> float:
    """Return the angle, radians, by which a train turns that passes from one end at a node to another."""
    return abs(wrapped(heading(ways, one) - heading(ways, other) + math.pi))


def nodes_of(ways: Sequence[Way]) -> IntArray:
    """Return the node at every end, shape (2n,)."""
    return np.array([node for way in ways for node in (way.start, way.finish)], dtype=np.int64)


def ends_at(ways: Sequence[Way], least: int = 1) -> dict[int, list[int]]:
    """Return the ends at each node at which there are so many at the least."""
    nodes = nodes_of(ways)
    order = np.argsort(nodes, kind="stable")
    node, first, often = np.unique(nodes[order], return_index=True, return_counts=True)
    many = often >= least
    rows = zip(node[many].tolist(), first[many].tolist(), often[many].tolist(), strict=True)
    ends = order.tolist()
    return {each: ends[begin : begin + count] for each, begin, count in rows}


def fresh_node(ways: Iterable[Way]) -> int:
    """Return a number above that of any node."""
    return 1 + max((max(way.start, way.finish) for way in ways), default=-1)


def without_specks(ways: Iterable[Way], snap: float) -> tuple[list[Way], list[Way]]:
    """Return ways without those that lead back to their own node over hardly any length, and these."""
    found: tuple[list[Way], list[Way]] = [], []
    for way in ways:
        found[way.start == way.finish and length_of(way.elements) <= SPECK * snap].append(way)
    return found


def merged(ways: Sequence[Way], kink: float = math.pi, plain: Collection[int] | None = None) -> list[Way]:
    """Return ways with those made one that meet at a node of two ends; of a closed circuit one node is kept.

    Where they go on as tangents within `kink`, radians, and at `plain` nodes alone where these are given.
    """
    nodes, away = nodes_of(ways), headings(ways)
    by_node = np.argsort(nodes, kind="stable")
    node, first, often = np.unique(nodes[by_node], return_index=True, return_counts=True)
    two = first[(often == 2) & (True if plain is None else np.isin(node, list(plain)))]
    one, other = by_node[two], by_node[two + 1]
    turn = np.abs(np.remainder(away[one] - away[other], math.tau) - math.pi)
    fair = (one // 2 != other // 2) & (turn <= kink)
    partner = np.full(len(nodes), -1)
    partner[one[fair]], partner[other[fair]] = other[fair], one[fair]
    found: list[Way] = []
    for row in walks(partner.tolist()):
        if len(row) == 1:
            found.append(ways[row[0] // 2])
            continue
        elements: list[Element] = []
        for end in row:
            own = ways[end // 2].elements
            elements += reverse(own) if end % 2 else own
        found.append(Way(elements, ways[row[0] // 2].node(row[0]), ways[row[-1] // 2].node(row[-1] ^ 1)))
    return found


def cut_ways(ways: Sequence[Way], cuts: Iterable[Cut], snap: float) -> list[Way]:
    """Return ways cut at places; cuts within `snap` along one way, or of a joint of its elements, are one.

    Their nodes are one too, of the least number.
    """
    wanted: dict[int, list[tuple[float, int]]] = {}
    joined: list[tuple[int, int]] = []
    highest = fresh_node(ways)
    for way, along, node in cuts:
        wanted.setdefault(way, []).append((along, node))
        highest = max(highest, node + 1)
    found: list[Way] = []
    for number, way_ in enumerate(ways):
        if number not in wanted:
            found.append(way_)
            continue
        stops = np.cumsum([element.length for element in way_.elements])
        total, done = float(stops[-1]), [(0.0, way_.start)]
        for raw, node in sorted(wanted[number]):
            nearest = float(stops[np.argmin(np.abs(stops - raw))])
            along = nearest if abs(nearest - raw) <= snap else raw
            if along - done[-1][0] <= snap:
                joined.append((done[-1][1], node))
            elif total - along <= snap:
                joined.append((way_.finish, node))
            else:
                done.append((along, node))
        found += _pieces(way_, done[1:])
    if not joined:
        return found
    node_of = components(highest, joined).tolist()
    return [Way(way.elements, node_of[way.start], node_of[way.finish]) for way in found]


def _pieces(way: Way, cuts: Iterable[tuple[float, int]]) -> list[Way]:
    """Return a way cut at distances along it, m, between 0 and its length, rising, at a node each."""
    found: list[Way] = []
    rest, before, passed = list(reversed(way.elements)), way.start, 0.0
    for at, node in cuts:
        own: list[Element] = []
        while passed + rest[-1].length <= at + 1e-9:
            own.append(rest.pop())
            passed += own[-1].length
        if at - passed > 1e-9:
            first, rest[-1] = cut(rest[-1], at - passed)
            own.append(first)
            passed = at
        found.append(Way(own, before, node))
        before = node
    return [*found, Way(rest[::-1], before, way.finish)]


def common_spot(spots: Sequence[Spot]) -> Spot:
    """Return the mean of points, the same in whatever order they come."""
    heights = [spot.z for spot in spots if spot.z is not None]
    return Spot(
        math.fsum(spot.x for spot in spots) / len(spots),
        math.fsum(spot.y for spot in spots) / len(spots),
        math.fsum(heights) / len(heights) if heights else None,
    )


def meet(spots: Sequence[Spot], *, snap: float, level: float) -> list[int]:
    """Return a number for each end, the same for ends that meet.

    Ends meet where they are within `snap` of one another in plan and within `level` in height, and so on from end to
    end; one without a height meets the nearest that has one.

    Examples
    --------
    >>> meet([Spot(0.0, 0.0), Spot(1.0, 0.0), Spot(1.001, 0.0)], snap=0.002, level=0.01)
    [0, 1, 1]
    """
    if not spots:
        return []
    table = np.array([(x, y, math.inf if z is None else z) for x, y, z in spots])
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
    found: list[int] = components(len(places), np.column_stack((one[fair], other[fair])))[own].tolist()
    return found
