"""How far wheels carry the film: the track from which a train brings it onto rail that is to stay clean."""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterable, Iterator, Mapping
from itertools import product
from typing import NamedTuple

from gradehaul.network.graph import MovementGraph, Way
from gradehaul.network.reversals import reversing_ways
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
    for way in reversing_ways(graph):
        for tail in _tail(graph, way):
            found.update((int(number), tail.forward) for number in units.on_way(tail))
        queue.append((0.0, int(units.on_way(way)[-1]), way.forward))
    heapq.heapify(queue)
    covered: set[_Node] = set()
    while queue:
        behind, number, forward = heapq.heappop(queue)
        if (number, forward) in covered:
            continue
        covered.add((number, forward))
        behind += units.all[number].length
        if behind < longest:
            for before in _before(units, graph, number, forward=forward):
                heapq.heappush(queue, (behind, *before))
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


def within_carry(
    units: Units,
    graph: MovementGraph,
    clean: Collection[int],
    carry: float,
    turning: Collection[_Node] = frozenset(),
) -> Mapping[int, Carried]:
    """Return the units from which a train reaches rail that is to stay clean within the length that wheels carry film.

    Every way in which a train can arrive counts, whether or not a train of the plan runs there. A wheel that turns back
    with its train has run over as little as its last unit allows, so turning adds no length.

    Parameters
    ----------
    units, graph
        The units, and the moves that trains can make.
    clean
        The units that are to stay clean.
    carry
        How far wheels carry the film, m.
    turning
        The units and directions of arrival in which wheels may turn back, as `turning_places` has them.
    """
    found: dict[int, Carried] = {}
    done: set[_Node] = set()
    queue: list[tuple[float, int, int, bool]] = []

    def spread(distance: float, onto: int, number: int, *, forward: bool) -> None:
        for before, before_forward in _before(units, graph, number, forward=forward):
            if distance < carry and (before, before_forward) not in done:
                heapq.heappush(queue, (distance, onto, before, before_forward))

    for number, forward in product(sorted(clean), (True, False)):
        if Way(units.all[number].track, forward) in graph.lengths:
            spread(0.0, number, number, forward=forward)
    while queue:
        distance, onto, number, forward = heapq.heappop(queue)
        if (number, forward) in done:
            continue
        done.add((number, forward))
        if number not in clean:
            found.setdefault(number, Carried(distance, onto))  # the nearest comes first
        if (number, not forward) in turning:
            spread(distance, onto, number, forward=not forward)
        spread(distance + units.all[number].length, onto, number, forward=forward)
    return found


def _before(units: Units, graph: MovementGraph, number: int, *, forward: bool) -> Iterator[_Node]:
    """Yield the units, with their directions, from which a train runs onto a unit."""
    way = Way(units.all[number].track, forward)
    order = units.on_way(way).tolist()
    place = order.index(number)
    if place:
        yield order[place - 1], forward
        return
    for before in graph.predecessors.get(way, ()):
        yield int(units.on_way(before)[-1]), before.forward
