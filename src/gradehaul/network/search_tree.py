"""The shortest-path tree over ways, and the `via` passed on them: Dijkstra's search."""

from __future__ import annotations

import heapq
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from gradehaul.network.graph import MovementGraph, Way

State = tuple[Way, int]
"""A way, and the number of `via` passed when a train has run onto it."""

Tree = dict[State, tuple[float, State | None]]
"""For every state reached, the length run up to the end of its way, m, and the state before it."""

MOST_LOOKED_AT = 1_000_000
"""A search that must try routes one by one gives up after this many ways of theirs, all in all."""


@dataclass(frozen=True, slots=True)
class GaveUp:
    """A search that looked at as many ways as it may without an answer, and the way that it looked at last."""

    at: Way


class Passing:
    """Counts the `via` that a train has passed as it runs on."""

    def __init__(self, graph: MovementGraph, via: Sequence[str]) -> None:
        self.graph = graph
        self.via = via
        self.near = {way for name in via for way in graph.ways_at.get(name, ())}

    def onto(self, before: Way | None, way: Way, passed: int) -> State:
        """Return the state of a train that has run onto a way with so many `via` passed before."""
        if way in self.near:
            for group in self.graph.met(before, way):
                fresh = set(group)
                while passed < len(self.via) and self.via[passed] in fresh:
                    fresh.remove(self.via[passed])
                    passed += 1
        return way, passed


def shortest_tree(
    graph: MovementGraph,
    begin: Collection[State],
    passing: Passing,
    barred: Collection[Way] = frozenset(),
    *,
    best_alone: bool = False,
) -> Tree:
    """Return the shortest-path tree over states from some of them, off the barred ways.

    With `best_alone`, states are left out whose way was reached before, at no more length and with no fewer `via`
    passed. Whoever has passed more is never behind on the way to a goal, so a goal is as near without them; of several
    shortest routes another may be found.
    """
    tree: Tree = {}
    most_passed: dict[Way, int] = {}
    near, lengths = passing.near, graph.lengths
    # of states at the same length those first that have passed more
    queue: list[tuple[float, int, State, State | None]] = [
        (lengths[state[0]], -state[1], state, None) for state in begin if state[0] not in barred
    ]
    heapq.heapify(queue)
    while queue:
        length, _, state, before = heapq.heappop(queue)
        if state in tree:
            continue
        way, passed = state
        if best_alone:
            if passed <= most_passed.get(way, -1):
                continue
            most_passed[way] = passed
        tree[state] = length, before
        for following in graph.successors[way]:
            new = passing.onto(way, following, passed) if following in near else (following, passed)
            if new not in tree and following not in barred:
                heapq.heappush(queue, (length + lengths[following], -new[1], new, state))
    return tree


def path_states(tree: Tree, state: State) -> list[State]:
    """Return the states on the path to one, from the first."""
    states = [state]
    while (before := tree[states[-1]][1]) is not None:
        states.append(before)
    return states[::-1]


def path_ways(tree: Tree, state: State) -> tuple[Way, ...]:
    """Return the ways on the path to a state."""
    return tuple(way for way, _ in path_states(tree, state))
