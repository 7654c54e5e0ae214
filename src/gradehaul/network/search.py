"""Searches on the movement graph: the shortest route, the lowest and the highest ruling one, and how many there are."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

import networkx as nx

from gradehaul.network.graph import MovementGraph, Way

Passes = Callable[[Way | None, Way], bool]
"""Whether entering a way, from the one before it, passes a `via`."""


@dataclass(frozen=True, slots=True)
class Found:
    """A shortest route, how many of the `via` any train could pass, and another route that fits as well."""

    ways: tuple[Way, ...] | None
    passed: int
    other: tuple[Way, ...] | None = None


_State = tuple[Way, int]


def shortest(graph: MovementGraph, starts: Collection[Way], stops: Collection[Way], via: Sequence[Passes]) -> Found:
    """Find the shortest route over any of the first ways to any of the last ones, passing each `via` in order.

    A state of the search is a way and the number of `via` passed so far. `passed` tells how far the best attempt got
    where there is no route.
    """

    def onward(before: Way | None, way: Way, passed: int) -> _State:
        while passed < len(via) and via[passed](before, way):
            passed += 1
        return way, passed

    from_states = [onward(None, way, 0) for way in starts]
    goals = {(way, len(via)) for way in stops}
    distance, came_from = _dijkstra(from_states, graph, onward)
    reached = [goal for goal in goals if goal in distance]
    furthest = max((passed for _, passed in distance), default=0)
    if not reached:
        return Found(None, furthest)
    goal = min(reached, key=lambda state: (distance[state], state))
    states = [goal]
    while (before := came_from[states[-1]]) is not None:
        states.append(before)
    states.reverse()
    ways = tuple(way for way, _ in states)
    if len(set(ways)) < len(ways):
        # a state may be new where its way is not: look on for a route that runs over no track twice the same way
        simple = _shortest_simple(graph, from_states, goals, onward)
        return Found(simple, furthest, None)
    return Found(ways, furthest, _another(graph, states, goals, onward))


_Onward = Callable[[Way | None, Way, int], _State]


def _dijkstra(
    starts: Iterable[_State], graph: MovementGraph, onward: _Onward
) -> tuple[dict[_State, float], dict[_State, _State | None]]:
    distance: dict[_State, float] = {}
    came_from: dict[_State, _State | None] = {}
    queue: list[tuple[float, _State, _State | None]] = [(graph.lengths[s[0]], s, None) for s in starts]
    heapq.heapify(queue)
    while queue:
        length, state, before = heapq.heappop(queue)
        if state in distance:
            continue
        distance[state], came_from[state] = length, before
        way, passed = state
        for following in graph.successors[way]:
            new = onward(way, following, passed)
            if new not in distance:
                heapq.heappush(queue, (length + graph.lengths[following], new, state))
    return distance, came_from


MOST_STEPS = 200_000
"""A search that must try routes one by one gives up after this many steps."""


def _shortest_simple(
    graph: MovementGraph, starts: Iterable[_State], goals: set[_State], onward: _Onward
) -> tuple[Way, ...] | None:
    queue: list[tuple[float, tuple[Way, ...], int]] = [(graph.lengths[s[0]], (s[0],), s[1]) for s in starts]
    heapq.heapify(queue)
    for _ in range(MOST_STEPS):
        if not queue:
            return None
        length, ways, passed = heapq.heappop(queue)
        if (ways[-1], passed) in goals:
            return ways
        for following in graph.successors[ways[-1]]:
            if following not in ways:
                _, count = onward(ways[-1], following, passed)
                heapq.heappush(queue, (length + graph.lengths[following], (*ways, following), count))
    return None


def _another(graph: MovementGraph, states: list[_State], goals: set[_State], onward: _Onward) -> tuple[Way, ...] | None:
    """Return a route that leaves the one found at its first choice and still fits, None where there is no other."""
    ways = [way for way, _ in states]
    for place, (way, passed) in enumerate(states[:-1]):
        if len(graph.successors[way]) < 2:
            continue
        behind = set(ways[: place + 1])
        for following in graph.successors[way]:
            if following == ways[place + 1] or following in behind:
                continue
            distance, came_from = _dijkstra([onward(way, following, passed)], graph, onward)
            reached = [goal for goal in goals if goal in distance]
            if not reached:
                continue
            rest = [min(reached, key=lambda state: (distance[state], state))]
            while (before := came_from[rest[-1]]) is not None:
                rest.append(before)
            tail = [state[0] for state in reversed(rest)]
            if len(set(tail)) == len(tail) and behind.isdisjoint(tail):
                return (*ways[: place + 1], *tail)
    return None


def lowest_ruling(
    graph: MovementGraph, starts: Collection[Way], steepest: Mapping[Way, float]
) -> dict[Way, tuple[Way, ...]]:
    """Return, for every way that can be reached, the route to it on which the steepest place is least steep.

    It is a bottleneck path: Dijkstra's search with "the steeper of" in place of the sum, and the length to choose
    among equals.
    """
    done: dict[Way, Way | None] = {}
    queue: list[tuple[float, float, Way, Way | None]] = [(steepest[w], graph.lengths[w], w, None) for w in starts]
    heapq.heapify(queue)
    while queue:
        ruling, length, way, before = heapq.heappop(queue)
        if way in done:
            continue
        done[way] = before
        for following in graph.successors[way]:
            if following not in done:
                far = length + graph.lengths[following]
                heapq.heappush(queue, (max(ruling, steepest[following]), far, following, way))
    return {way: _traced(done, way) for way in done}


def _traced(came_from: Mapping[Way, Way | None], way: Way) -> tuple[Way, ...]:
    ways = [way]
    while (before := came_from[ways[-1]]) is not None:
        ways.append(before)
    return tuple(reversed(ways))


@dataclass(frozen=True, slots=True)
class Highest:
    """The route with the highest ruling grade between two places, and how many routes there are between them.

    Where the moves between the two form no cycle both are `exact`. With cycles, `count` is a lower bound, the ruling
    grade of `ways` is one too, and `bound` is an upper bound of the highest ruling grade.
    """

    ways: tuple[Way, ...]
    bound: float
    count: int
    exact: bool


def highest_ruling(
    graph: MovementGraph,
    starts: Collection[Way],
    stops: Collection[Way],
    steepest: Mapping[Way, float],
) -> Highest | None:
    """Find the route with the highest ruling grade and count the routes, without listing them."""
    between = graph.reach(starts) & graph.reach(stops, backward=True)
    if not between:
        return None
    inside = graph.graph.subgraph(between)
    exact = nx.is_directed_acyclic_graph(inside)
    order = list(nx.topological_sort(inside)) if exact else _finishing_order(graph, starts, between)
    count = _count(graph, order, starts, stops)
    bound = max(steepest[way] for way in between)
    tried = sorted(between, key=lambda way: (-steepest[way], way))
    for way in tried if exact else tried[:MOST_TRIED]:
        ways = _through(graph, starts, way, stops, between)
        if ways is not None:
            return Highest(ways, bound, max(count, 1), exact)
    return None


MOST_TRIED = 64
"""Where moves form cycles, this many of the steepest tracks are tried for a route that runs over them."""


def _through(
    graph: MovementGraph, starts: Collection[Way], middle: Way, stops: Collection[Way], within: set[Way]
) -> tuple[Way, ...] | None:
    """Return a route over one way that runs over no way twice, or None where the two nearest parts meet."""
    before = _fewest(graph.predecessors, middle, set(starts), within, set())
    if before is None:
        return None
    after = _fewest(graph.successors, middle, set(stops), within, set(before[1:]))
    return None if after is None else (*reversed(before), *after[1:])


def _fewest(
    following: Mapping[Way, Sequence[Way]], start: Way, goals: set[Way], within: set[Way], barred: set[Way]
) -> list[Way] | None:
    came_from: dict[Way, Way | None] = {start: None}
    queue = [start]
    for way in queue:
        if way in goals:
            return list(_traced(came_from, way))
        for new in following[way]:
            if new in within and new not in came_from and new not in barred:
                came_from[new] = way
                queue.append(new)
    return None


def _finishing_order(graph: MovementGraph, starts: Collection[Way], within: set[Way]) -> list[Way]:
    """Order ways so that a walk that never goes back in the order repeats nothing: a depth-first search, unrolled."""
    finished: list[Way] = []
    seen: set[Way] = set()
    for start in starts:
        if start in seen or start not in within:
            continue
        seen.add(start)
        stack = [(start, iter(graph.successors[start]))]
        while stack:
            way, rest = stack[-1]
            for new in rest:
                if new in within and new not in seen:
                    seen.add(new)
                    stack.append((new, iter(graph.successors[new])))
                    break
            else:
                finished.append(way)
                stack.pop()
    return finished[::-1]


def _count(graph: MovementGraph, order: Sequence[Way], starts: Collection[Way], stops: Collection[Way]) -> int:
    """Count the routes that keep to an order of ways: all of them where the moves form no cycle."""
    rank = {way: place for place, way in enumerate(order)}
    routes = dict.fromkeys(order, 0)
    total = 0
    for way in order:
        if way in starts:
            routes[way] += 1
        if way in stops:
            total += routes[way]
        for following in graph.successors[way]:
            if rank.get(following, -1) > rank[way]:
                routes[following] += routes[way]
    return total
