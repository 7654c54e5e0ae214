"""Ways: the drawing as a network in the making, of chains of elements between numbered nodes."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from gradehaul.plan.drawing.elements import cut, turned, wrapped
from gradehaul.plan.drawing.records import Element, Spot

CROWD = 48
"""Where more ends than this come together they are not compared with one another: that is no track."""


class End(NamedTuple):
    """One end of a way: side 0 where its elements begin, side 1 where they end."""

    way: int
    side: int


@dataclass(slots=True, eq=False)
class Way:
    """Elements in order, and the nodes at both ends."""

    elements: deque[Element]
    nodes: list[int]

    @property
    def length(self) -> float:
        """Length, m."""
        return math.fsum(element.length for element in self.elements)


class Ways:
    """Ways by number, and the ends at every node. Joining two nodes keeps both numbers good."""

    def __init__(self) -> None:
        self.all: dict[int, Way] = {}
        self._at: dict[int, list[End]] = {}
        self._moved: dict[int, int] = {}
        self.changes = 0
        """How often a way was added, taken out or moved; while it stays, so do places along the ways."""
        self._next_way = 0
        self._next_node = 0

    def node(self) -> int:
        """Return the number of a new node."""
        self._next_node += 1
        self._at[self._next_node] = []
        return self._next_node

    def nodes(self) -> list[tuple[int, list[End]]]:
        """Return the nodes where ways end, in order of their making, with the ends at each."""
        return [(node, ends) for node, ends in self._at.items() if ends]

    def find(self, node: int) -> int:
        """Return the node that a number stands for now."""
        while node in self._moved:
            node = self._moved[node]
        return node

    def at(self, node: int) -> list[End]:
        """Return the ends at a node."""
        return self._at[self.find(node)]

    def node_at(self, end: End) -> int:
        """Return the node at an end."""
        return self.find(self.all[end.way].nodes[end.side])

    def add(self, elements: Iterable[Element], start: int, finish: int) -> int:
        """Add a way and return its number."""
        self.changes += 1
        self._next_way += 1
        number = self._next_way
        self.all[number] = Way(deque(elements), [start, finish])
        self._at[self.find(start)].append(End(number, 0))
        self._at[self.find(finish)].append(End(number, 1))
        return number

    def remove(self, way: int) -> Way:
        """Take a way out and return it."""
        self.changes += 1
        gone = self.all.pop(way)
        for side in (0, 1):
            self.at(gone.nodes[side]).remove(End(way, side))
        return gone

    def move(self, end: End, node: int) -> None:
        """Let an end leave its node for another."""
        self.changes += 1
        self.at(self.all[end.way].nodes[end.side]).remove(end)
        self.all[end.way].nodes[end.side] = node
        self.at(node).append(end)

    def join(self, one: int, other: int) -> int:
        """Make two nodes one and return it."""
        one, other = self.find(one), self.find(other)
        if one == other:
            return one
        if len(self._at[one]) < len(self._at[other]):
            one, other = other, one
        self._at[one].extend(self._at.pop(other))
        self._moved[other] = one
        return one

    def outward(self, end: End) -> Element:
        """Return the element at an end as a train meets it that leaves the node."""
        elements = self.all[end.way].elements
        return elements[0] if end.side == 0 else turned(elements[-1])

    def heading(self, end: End) -> float:
        """Return the direction in which a train leaves the node at an end, radians."""
        elements = self.all[end.way].elements
        if end.side == 0:
            return elements[0].heading
        last = elements[-1]
        return last.heading + last.curvature * last.length + math.pi

    def spot(self, end: End) -> Spot:
        """Return where a way ends."""
        elements = self.all[end.way].elements
        return elements[0].start if end.side == 0 else elements[-1].end

    def split(self, way: int, cuts: Sequence[tuple[float, int]]) -> None:
        """Cut a way at distances along it, m, each between 0 and its length and all apart, at a node each."""
        gone = self.remove(way)
        waiting = deque(sorted(cuts))
        passed, before, parts = 0.0, gone.nodes[0], list[Element]()
        for element in gone.elements:
            left = element
            end = passed + element.length
            while waiting and waiting[0][0] <= end:
                at, node = waiting.popleft()
                along = at - (end - left.length)
                if along >= left.length - 1e-12:
                    parts.append(left)
                    self.add(parts, before, node)
                    before, parts = node, []
                    break
                if along > 1e-12:
                    first, left = cut(left, along)
                    parts.append(first)
                self.add(parts, before, node)
                before, parts = node, []
            else:
                parts.append(left)
            passed = end
        self.add(parts, before, gone.nodes[1])


def sweep(ways: Ways, least: float) -> bool:
    """Take out what is left between ends that became one joint: ways back to their own node up to `least` long, m.

    Return whether there was any.
    """
    gone = [
        number
        for number, way in ways.all.items()
        if ways.find(way.nodes[0]) == ways.find(way.nodes[1]) and way.length <= least
    ]
    for number in gone:
        ways.remove(number)
    return bool(gone)


def continuing(ways: Ways, one: End, other: End) -> float:
    """Return the angle, radians, by which a train turns that passes from one end at a node to another."""
    return abs(wrapped(ways.heading(one) - ways.heading(other) + math.pi))


def common_spot(spots: Sequence[Spot]) -> Spot:
    """Return the mean of points, the same in whatever order they come.

    Examples
    --------
    >>> common_spot([Spot(0.0, 0.0, 1.0), Spot(2.0, 1.0)])
    Spot(x=1.0, y=0.5, z=1.0)
    """
    heights = [spot.z for spot in spots if spot.z is not None]
    return Spot(
        math.fsum(spot.x for spot in spots) / len(spots),
        math.fsum(spot.y for spot in spots) / len(spots),
        math.fsum(heights) / len(heights) if heights else None,
    )


def merge(ways: Ways, nodes: Iterable[int]) -> None:
    """Make one way of the two that meet at each of some nodes of two ends; a way that closes on itself stays one.

    Of a closed circuit of several ways one node is kept.
    """
    plain: set[int] = set()
    starts: set[int] = set()
    for node in nodes:
        ends = ways.at(node)
        if len(ends) == 2 and ends[0].way != ends[1].way:
            plain.add(ways.find(node))
            starts.update((ends[0].way, ends[1].way))
    done: set[int] = set()
    for start in sorted(starts):
        if start in done:
            continue
        first, _ = _walk(ways, End(start, 0), plain)  # back to where the run begins, or once round
        last, chain = _walk(ways, End(first.way, 1 - first.side), plain)
        done.update(end.way for end in chain)
        if len(chain) < 2:
            continue
        nodes_ = ways.all[first.way].nodes[first.side], ways.all[last.way].nodes[last.side]
        elements: list[Element] = []
        for end in chain:
            own = ways.remove(end.way).elements
            elements.extend(own if end.side == 1 else (turned(element) for element in reversed(own)))
        ways.add(elements, *nodes_)


def _walk(ways: Ways, end: End, plain: set[int]) -> tuple[End, list[End]]:
    """Return the last end of the run that leaves by an end, and the ends by which its ways are left."""
    start = end.way
    chain = [end]
    while (node := ways.node_at(end)) in plain:
        one, other = ways.at(node)
        entered = other if one == end else one
        if entered.way == start:
            break
        end = End(entered.way, 1 - entered.side)
        chain.append(end)
    return end, chain
