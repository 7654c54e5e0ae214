"""How far wheels carry the film: the track from which a train brings it onto rail that is to stay clean."""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterator, Mapping
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


def within_carry(units: Units, graph: MovementGraph, clean: Collection[int], carry: float) -> Mapping[int, Carried]:
    """Return the units from which a train reaches rail that is to stay clean within the length that wheels carry film.

    Every way in which a train can arrive counts, whether or not a train of the plan runs there, but for reversals.

    Parameters
    ----------
    units, graph
        The units, and the moves that trains can make.
    clean
        The units that are to stay clean.
    carry
        How far wheels carry the film, m.
    """
    found: dict[int, Carried] = {}
    done: set[_Node] = set()
    queue: list[tuple[float, int, int, bool]] = []

    def spread(distance: float, onto: int, number: int, *, forward: bool) -> None:
        for before, before_forward in _before(units, graph, number, forward=forward):
            if distance < carry and (before, before_forward) not in done:
                heapq.heappush(queue, (distance, onto, before, before_forward))

    for number in sorted(clean):
        for forward in (True, False):
            if Way(units.all[number].track, forward) in graph.lengths:
                spread(0.0, number, number, forward=forward)
    while queue:
        distance, onto, number, forward = heapq.heappop(queue)
        if (number, forward) in done:
            continue
        done.add((number, forward))
        if number not in clean and (number not in found or distance < found[number].distance):
            found[number] = Carried(distance, onto)
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
