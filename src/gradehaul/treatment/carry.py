"""How far wheels carry film: what it reaches from a unit, and from where it reaches clean rail."""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from typing import NamedTuple

from gradehaul.network.graph import MovementGraph, Way
from gradehaul.treatment.units import Units

CARRY = 2.0
"""How far wheels carry a film, m: assumed, for nobody has measured it."""

_Node = tuple[int, bool]
"""A unit and the direction, that of its line or the other, in which a train runs over it."""


class Carried(NamedTuple):
    """How far a unit lies from clean rail that a train can reach from it, m, and the unit that it reaches first."""

    distance: float
    onto: int


def turning_places(units: Units, graph: MovementGraph, longest: float, spurs: Iterable[Way] = ()) -> frozenset[_Node]:
    """Return the units, with the direction of arrival, in which a wheel of a train that reverses may turn back.

    Trains reverse in berths and at ends of track. One that stands there covers what lies behind that place, no further
    than the longest train is long; and a short one may turn anywhere in the berth, or anywhere between the end of track
    and the joint where track last divides. Locomotives that run round their train turn back on spurs.

    Parameters
    ----------
    units, graph
        The units, and the moves that trains can make.
    longest
        Length of the longest train, m.
    spurs
        The ways onto which locomotives reverse as they run round a train.
    """
    found: set[_Node] = set()
    queue: list[tuple[float, int, bool]] = []
    for way in graph.turning:
        for tail in _tail(graph, way):
            found.update((int(number), tail.forward) for number in units.on_way(tail))
        queue.append((0.0, int(units.on_way(way)[-1]), way.forward))
    heapq.heapify(queue)
    covered: set[_Node] = set()
    _, before = _moves(units, graph)
    while queue:
        behind, number, forward = heapq.heappop(queue)
        if (number, forward) in covered:
            continue
        covered.add((number, forward))
        behind += units.all[number].length
        if behind < longest:
            for node in before[number, forward]:
                heapq.heappush(queue, (behind, *node))
    return frozenset(found | covered | _beyond(units, graph, spurs, longest))


def _beyond(units: Units, graph: MovementGraph, spurs: Iterable[Way], longest: float) -> set[_Node]:
    """Return the units on which locomotives no longer than the longest train stand as they reverse onto spurs."""
    found: set[_Node] = set()
    queue = [(0.0, way) for way in spurs]
    heapq.heapify(queue)
    seen: set[Way] = set()
    while queue:
        along, way = heapq.heappop(queue)
        if way in seen:
            continue
        seen.add(way)
        for number in units.on_way(way).tolist():
            if along < longest:
                found.add((number, way.forward))
            along += units.all[number].length
        if along < longest:
            for following in graph.successors[way]:
                heapq.heappush(queue, (along, following))
    return found


def _tail(graph: MovementGraph, way: Way) -> Iterator[Way]:
    """Yield the ways of the berth that a way ends in, or of the track that ends with it, back to where it divides."""
    berth, at_end = graph.berth_of.get(way.track), not graph.successors[way]
    while True:
        yield way
        before = graph.predecessors.get(way, ())
        if len(before) != 1 or len(graph.successors[before[0]]) != 1:
            return
        (way,) = before
        if not at_end and graph.berth_of.get(way.track) != berth:
            return


@dataclass(frozen=True, slots=True, eq=False)
class Wheels:
    """Where wheels run from unit to unit, and how far they carry film, m.

    `after` and `before` have, for each unit and direction, those that may follow and precede it; `turning` those in
    which a wheel may turn back, as `turning_places` has them. Every way in which a train can run counts, whether or not
    a train of the plan does. A wheel that turns back has run over as little as its last unit allows, so turning adds no
    length.
    """

    lengths: tuple[float, ...]
    after: Mapping[_Node, tuple[_Node, ...]]
    before: Mapping[_Node, tuple[_Node, ...]]
    turning: Collection[_Node]
    carry: float

    def within_carry(self, clean: Collection[int]) -> Mapping[int, Carried]:
        """Return the units from which wheels carry film onto rail that is to stay clean, which is not among them."""
        found: dict[int, Carried] = {}
        for distance, onto, number in self._search(clean, self.before, backward=True):
            if number not in clean:
                found.setdefault(number, Carried(distance, onto))  # the nearest comes first
        return found

    def reached(self, filmed: Collection[int]) -> Iterator[int]:
        """Yield the units onto which wheels carry film from some units, these first, then the nearest first."""
        yield from filmed
        seen = set(filmed)
        for _, _, number in self._search(filmed, self.after, backward=False):
            if number not in seen:
                seen.add(number)
                yield number

    def _search(
        self, starts: Collection[int], steps: Mapping[_Node, Sequence[_Node]], *, backward: bool
    ) -> Iterator[tuple[float, int, int]]:
        """Yield how far units lie beyond some units, m, which of these is nearest, and their numbers."""
        done: set[_Node] = set()
        queue: list[tuple[float, int, int, bool]] = []

        def spread(distance: float, start: int, node: _Node) -> None:
            if distance < self.carry:
                for step in steps.get(node, ()):
                    if step not in done:
                        heapq.heappush(queue, (distance, start, *step))

        for number, forward in product(sorted(starts), (True, False)):
            spread(0.0, number, (number, forward))
        while queue:
            distance, start, number, forward = heapq.heappop(queue)
            if (number, forward) in done:
                continue
            done.add((number, forward))
            yield distance, start, number
            if (number, forward != backward) in self.turning:
                spread(distance, start, (number, not forward))
            spread(distance + self.lengths[number], start, (number, forward))


def wheels(units: Units, graph: MovementGraph, carry: float, turning: Collection[_Node] = frozenset()) -> Wheels:
    """Return where wheels run over some units and carry film.

    Parameters
    ----------
    units, graph
        The units, and the moves that trains can make.
    carry
        How far wheels carry the film, m.
    turning
        The units and directions of arrival in which wheels may turn back.
    """
    after, before = _moves(units, graph)
    return Wheels(tuple(units.lengths.tolist()), after, before, turning, carry)


def _moves(units: Units, graph: MovementGraph) -> tuple[dict[_Node, tuple[_Node, ...]], dict[_Node, tuple[_Node, ...]]]:
    """Return, for each unit and direction, those that may follow it, and those that may precede it."""
    after: dict[_Node, tuple[_Node, ...]] = {}
    before: dict[_Node, tuple[_Node, ...]] = {}
    for way, following in graph.successors.items():
        order = [(number, way.forward) for number in units.on_way(way).tolist()]
        for one, two in pairwise(order):
            after[one], before[two] = (two,), (one,)
        after[order[-1]] = tuple((int(units.on_way(w)[0]), w.forward) for w in following)
        before[order[0]] = tuple((int(units.on_way(w)[-1]), w.forward) for w in graph.predecessors[way])
    return after, before
