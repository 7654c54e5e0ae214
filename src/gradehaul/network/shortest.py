"""The shortest route between places, past what it must pass, and whether others fit as well."""

from __future__ import annotations

import heapq
from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import count, islice

from gradehaul.network.graph import MovementGraph, Way
from gradehaul.network.search_tree import (
    MOST_LOOKED_AT,
    GaveUp,
    Passing,
    State,
    Tree,
    path_states,
    path_ways,
    shortest_tree,
)

MOST_OTHERS = 8
"""Other routes than the shortest that are compared with it, at most."""

MANY_VIA = 4
"""With so many `via` the best states alone are looked at first."""

_Trail = tuple[Way, "_Trail | None"]
"""A way and the trail that leads to it: trails with a common beginning share it."""


@dataclass(frozen=True, slots=True)
class ShortestRoute:
    """The shortest route that fits, and a few others that fit as well."""

    ways: tuple[Way, ...]
    others: tuple[tuple[Way, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class RouteCut:
    """How far a route gets that no train can follow.

    `passed` is the greatest number of `via` that a train can pass in order, and `at` has the ways on which it passes
    the last of them. Where every way round was found to run twice over a track in one direction, `twice` is one such;
    `gave_up` is whether the search for one that does not was given up.
    """

    passed: int
    at: tuple[Way, ...]
    twice: Way | None = None
    gave_up: bool = False


def shortest(
    graph: MovementGraph,
    starts: Collection[Way],
    stops: Collection[Way],
    via: Sequence[str] = (),
    *,
    most_others: int = MOST_OTHERS,
) -> ShortestRoute | RouteCut:
    """Return the shortest route from any of the first ways to any of the last ones, and at most so many others.

    It passes the lines, berths and joints named in `via` in order.
    """
    passing = Passing(graph, via)
    begin = [passing.onto(None, way, 0) for way in starts]
    goals = {(way, len(via)) for way in stops}
    # the more via, the more states there are of each way, and the less choice is left
    best_alone = len(via) >= MANY_VIA
    tree = shortest_tree(graph, begin, passing, best_alone=best_alone)
    if best_alone and not _is_only_one(graph, passing, tree, goals):
        tree = shortest_tree(graph, begin, passing)
    reached = sorted((tree[goal][0], goal) for goal in goals if goal in tree)
    if not reached:
        return _cut(tree)
    states = path_states(tree, reached[0][1])
    ways = tuple(way for way, _ in states)
    if len(set(ways)) == len(ways):
        others = _others(graph, passing, begin, tree, states, [goal for _, goal in reached[1:]])
        return ShortestRoute(ways, tuple(islice(others, most_others)))
    # a state may be new where its way is not: look on for a route that runs over no track twice the same way
    simple = _shortest_simple(graph, passing, begin, goals, tree)
    if isinstance(simple, tuple):
        return ShortestRoute(simple)
    return RouteCut(len(via), _cut(tree).at, Counter(ways).most_common(1)[0][0], simple is not None)


def passes(graph: MovementGraph, ways: Sequence[Way], via: Sequence[str]) -> bool:
    """Return whether a route passes each `via` in order."""
    passing = Passing(graph, via)
    passed = 0
    for before, way in zip((None, *ways), ways, strict=False):
        passed = passing.onto(before, way, passed)[1]
    return passed == len(via)


def _cut(tree: Tree) -> RouteCut:
    passed = max((passed for _, passed in tree), default=0)
    first = (s[0] for s, (_, before) in tree.items() if s[1] == passed and (before is None or before[1] < passed))
    return RouteCut(passed, tuple(first))


def _is_only_one(graph: MovementGraph, passing: Passing, tree: Tree, goals: Collection[State]) -> bool:
    """Return whether one route fits and no other, by the best states alone.

    Any other ends elsewhere, or comes onto the one from another side with enough `via` passed for what is left of it.
    """
    reached = [goal for goal in goals if goal in tree]
    if len(reached) != 1:
        return False
    ways = path_ways(tree, reached[0])
    if len(set(ways)) < len(ways):
        return False
    for place, needed in enumerate(_needed(passing, ways)):
        own = ways[place - 1] if place else None
        if next(_joining(graph, passing, tree, ways[place], own, needed), None) is not None:
            return False
    return True


def _needed(passing: Passing, ways: Sequence[Way]) -> list[int]:
    """Return how many `via` must be passed on each way of a route for the rest of it to pass the others."""
    needed = [len(passing.via)]
    for own, way in zip(ways[-2::-1], ways[:0:-1], strict=True):
        least = needed[-1]
        while least and passing.onto(own, way, least - 1)[1] >= needed[-1]:
            least -= 1
        needed.append(least)
    return needed[::-1]


def _joining(
    graph: MovementGraph, passing: Passing, tree: Tree, way: Way, own: Way | None, needed: int
) -> Iterator[State]:
    """Yield the states from which a train comes onto a way, from elsewhere than `own`, with enough `via` passed."""
    for before in graph.predecessors[way]:
        if before == own:
            continue
        for passed in range(len(passing.via), -1, -1):
            if (before, passed) in tree and passing.onto(before, way, passed)[1] >= needed:
                yield before, passed


def _others(
    graph: MovementGraph,
    passing: Passing,
    begin: Collection[State],
    tree: Tree,
    states: Sequence[State],
    goals: Sequence[State],
) -> Iterator[tuple[Way, ...]]:
    """Yield routes other than the shortest one, `states`: each ends elsewhere, or joins it from another side.

    Any other route ends with a stretch of the shortest one, however short, and what leads to the move by which it
    joins keeps off that stretch. The shortest way to that move mostly does; if not, a search that keeps off is made,
    where the network is small enough for many of them.
    """
    searches = max(1, 8_000 // len(tree))
    for goal in goals:
        ways = path_ways(tree, goal)
        if len(set(ways)) == len(ways):
            yield ways
    ways = tuple(way for way, _ in states)
    needed = _needed(passing, ways)
    for place in range(len(ways) - 1, -1, -1):
        rest = ways[place:]
        for joining in _joining(graph, passing, tree, ways[place], ways[place - 1] if place else None, needed[place]):
            head = path_ways(tree, joining)
            if not set(head).isdisjoint(rest) and searches:
                searches -= 1
                around = shortest_tree(graph, begin, passing, barred=set(rest))
                head = path_ways(around, joining) if joining in around else head
            if len({*head, *rest}) == len(head) + len(rest):
                yield (*head, *rest)


def _shortest_simple(
    graph: MovementGraph, passing: Passing, begin: Collection[State], goals: Collection[State], tree: Tree
) -> tuple[Way, ...] | GaveUp | None:
    """Try routes one by one, those that promise to be shortest first (A* search), each over no way twice."""
    to_go = _lengths_to_go(graph, passing, goals, tree)
    number = count()  # breaks ties: the youngest, which is the furthest, first
    queue: list[tuple[float, int, float, State, _Trail]] = []
    for state in begin:
        if state in to_go:
            length = graph.lengths[state[0]]
            heapq.heappush(queue, (length + to_go[state], -next(number), length, state, (state[0], None)))
    looked_at = 0
    while queue:
        _, _, length, state, trail = heapq.heappop(queue)
        if looked_at >= MOST_LOOKED_AT:
            return GaveUp(state[0])
        if state in goals:
            return tuple(_back_along(trail))[::-1]
        behind = set(_back_along(trail))
        looked_at += len(behind)
        for following in graph.successors[state[0]]:
            new = passing.onto(state[0], following, state[1])
            if new in to_go and following not in behind:
                far = length + graph.lengths[following]
                heapq.heappush(queue, (far + to_go[new], -next(number), far, new, (following, trail)))
    return None


def _back_along(trail: _Trail | None) -> Iterator[Way]:
    while trail is not None:
        way, trail = trail
        yield way


def _lengths_to_go(graph: MovementGraph, passing: Passing, goals: Collection[State], tree: Tree) -> dict[State, float]:
    """Return the length from the end of each state's way to the nearest goal, of those that can reach one."""
    leading: defaultdict[State, list[State]] = defaultdict(list)
    for state in tree:
        for following in graph.successors[state[0]]:
            leading[passing.onto(state[0], following, state[1])].append(state)
    to_go: dict[State, float] = {}
    queue = [(0.0, goal) for goal in goals if goal in tree]
    heapq.heapify(queue)
    while queue:
        length, state = heapq.heappop(queue)
        if state in to_go:
            continue
        to_go[state] = length
        for before in leading[state]:
            if before not in to_go:
                heapq.heappush(queue, (length + graph.lengths[state[0]], before))
    return to_go
