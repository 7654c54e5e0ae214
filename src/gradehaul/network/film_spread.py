"""Where wheels carry film: the stretches that it reaches from others, and those from which it reaches clean rail."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from typing import NamedTuple

from gradehaul.network.graph import MovementGraph, Way
from gradehaul.network.search import dijkstra
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.quantities.si import Meters

_Node = tuple[int, bool]
"""A stretch and the direction, that of its line or the other, in which a train runs over it."""

_Steps = Mapping[_Node, Sequence[_Node]]


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """Stretches of track by number: how long each is, m, and those of each track in its line's direction."""

    lengths: Sequence[Meters]
    of_track: Mapping[str, Sequence[int]]

    def on_way(self, way: Way) -> Sequence[int]:
        """Return the stretches of a way, in running order."""
        numbers = self.of_track[way.track]
        return numbers if way.forward else numbers[::-1]


class Carried(NamedTuple):
    """How far a stretch lies from clean rail that a train can reach from it, m, and the stretch it reaches first."""

    distance: Meters
    onto: int


def turning_places(
    stretches: Stretches, graph: MovementGraph, longest: float, spurs: Iterable[Way] = ()
) -> frozenset[_Node]:
    """Return the stretches, with the direction of arrival, in which a wheel of a train that reverses may turn back.

    Trains reverse in berths and at ends of track. One that stands there covers what lies behind that place, no further
    than the longest train is long; and a short one may turn anywhere in the berth, or anywhere between the end of track
    and the joint where track last divides. Locomotives that run round their train turn back on spurs.

    The longest train is `longest` m long; `spurs` are the ways onto which locomotives reverse to run round a train.
    """
    after, before = _moves(stretches, graph)
    ways = graph.turning
    in_tails = {(n, tail.forward) for way in ways for tail in _tail(graph, way) for n in stretches.on_way(tail)}
    last = [(stretches.on_way(way)[-1], way.forward) for way in ways]
    first = [(stretches.on_way(way)[0], way.forward) for way in spurs]
    behind, beyond = (_covered(stretches, starts, steps, longest) for starts, steps in ((last, before), (first, after)))
    return frozenset(in_tails | behind | beyond)


def _covered(stretches: Stretches, starts: Iterable[_Node], steps: _Steps, longest: float) -> set[_Node]:
    """Return what vehicles of a length may stand on that stand on some stretches and on those next to them."""

    def onward(node: _Node, along: float) -> Iterator[tuple[float, _Node]]:
        along += stretches.lengths[node[0]]
        return ((along, step) for step in steps[node] if along < longest)

    return set(dijkstra([(0.0, node) for node in starts], onward))


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
    """Where wheels run from stretch to stretch, and how far they carry film, m.

    `after` and `before` have, for each stretch and direction, those that may follow and precede it; `turning` those in
    which a wheel may turn back, as `turning_places` has them. Every way in which a train can run counts, whether or not
    a train of the plan does. A wheel that turns back has run over as little as its last stretch allows, so turning adds
    no length.
    """

    lengths: Sequence[Meters]
    after: _Steps
    before: _Steps
    turning: Collection[_Node]
    carry: Meters

    def rails(self, has: Mapping[int, str]) -> list[tuple[str, ...]]:
        """Return the rail conditions that each stretch may have once wheels have spread the film that some have.

        The first is its own, clean where `has` names none; then come films that wheels carry onto it.
        """
        found = [{has.get(number, CLEAN): None} for number in range(len(self.lengths))]
        for film in dict.fromkeys(has.values()):
            for number in self.reached([number for number, own in has.items() if own == film]):
                found[number][film] = None
        return [tuple(own) for own in found]

    def within_carry(self, clean: Collection[int]) -> Mapping[int, Carried]:
        """Return the stretches from which wheels carry film onto rail that is to stay clean, itself left out."""
        found: dict[int, Carried] = {}
        for distance, onto, number in self._search(clean, self.before, backward=True):
            if number not in clean:
                found.setdefault(number, Carried(distance, onto))  # the nearest comes first
        return found

    def reached(self, treated: Collection[int]) -> Iterator[int]:
        """Yield the stretches onto which wheels carry film from some stretches, these first, then the nearest first."""
        yield from treated
        seen = set(treated)
        for _, _, number in self._search(treated, self.after, backward=False):
            if number not in seen:
                seen.add(number)
                yield number

    def _search(self, starts: Collection[int], steps: _Steps, *, backward: bool) -> Iterator[tuple[float, int, int]]:
        """Yield how far stretches lie beyond some stretches, m, which of these is nearest, and their numbers."""

        def spread(distance: float, start: int, node: _Node) -> list[tuple[tuple[float, int], _Node]]:
            return [((distance, start), step) for step in steps.get(node, ()) if distance < self.carry]

        def onward(node: _Node, cost: tuple[float, int]) -> list[tuple[tuple[float, int], _Node]]:
            (number, forward), (distance, start) = node, cost
            turned = (number, forward != backward) in self.turning
            back = spread(distance, start, (number, not forward)) if turned else []
            return back + spread(distance + self.lengths[number], start, node)

        begin = [each for node in product(starts, (True, False)) for each in spread(0.0, node[0], node)]
        for (number, _), ((distance, start), _) in dijkstra(begin, onward).items():
            yield distance, start, number


def wheels(
    stretches: Stretches, graph: MovementGraph, carry: float, turning: Collection[_Node] = frozenset()
) -> Wheels:
    """Return where wheels run over some stretches and carry film."""
    return Wheels(stretches.lengths, *_moves(stretches, graph), turning, carry)


def _moves(stretches: Stretches, graph: MovementGraph) -> tuple[_Steps, _Steps]:
    """Return, for each stretch and direction, those that may follow it, and those that may precede it."""
    after: dict[_Node, tuple[_Node, ...]] = {}
    before: dict[_Node, tuple[_Node, ...]] = {}
    for way, following in graph.successors.items():
        order = [(number, way.forward) for number in stretches.on_way(way)]
        for one, two in pairwise(order):
            after[one], before[two] = (two,), (one,)
        after[order[-1]] = tuple((stretches.on_way(w)[0], w.forward) for w in following)
        before[order[0]] = tuple((stretches.on_way(w)[-1], w.forward) for w in graph.predecessors[way])
    return after, before
