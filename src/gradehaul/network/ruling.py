"""The routes between places with the lowest ruling grade and with the highest."""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterator, Mapping, Sequence

from gradehaul.network.graph import MovementGraph, Way, path_to
from gradehaul.network.search_tree import Passing, path_ways, shortest_tree

ALIKE = 1e-9
"""Ruling grades that differ by less are equal: the sums they come from are rounded."""

MOST_TRIED = 32
"""Where moves form cycles, this many of the steepest tracks are tried for a route that runs over them."""


def lowest_ruling(
    graph: MovementGraph, starts: Collection[Way], stops: Collection[Way], steepest: Mapping[Way, float]
) -> dict[Way, tuple[Way, ...]]:
    """Return, for each of the last ways that can be reached, the route to it whose steepest place is least steep.

    It is a bottleneck path, found by Dijkstra's search with "the steeper of" in place of the sum. Of several such
    routes, those included that are steeper by no more than rounding, it is the shortest.
    """
    ruling: dict[Way, float] = {}
    queue = [(steepest[way], way) for way in starts]
    heapq.heapify(queue)
    while queue:
        steep, way = heapq.heappop(queue)
        if way in ruling:
            continue
        ruling[way] = steep
        for following in graph.successors[way]:
            if following not in ruling:
                heapq.heappush(queue, (max(steep, steepest[following]), following))
    found: dict[Way, tuple[Way, ...]] = {}
    for limit in {ruling[way]: None for way in stops if way in ruling}:
        barred = {way for way, steep in steepest.items() if steep > limit + ALIKE}
        tree = shortest_tree(graph, [(way, 0) for way in starts], Passing(graph, ()), barred)
        found |= {way: path_ways(tree, (way, 0)) for way in stops if ruling.get(way) == limit}
    return found


def highest_ruling(
    graph: MovementGraph,
    starts: Collection[Way],
    stops: Collection[Way],
    steepest: Mapping[Way, float],
    between: Collection[Way],
) -> tuple[Way, ...]:
    """Return a route with the highest ruling grade, the shortest of several.

    It is exact where the moves between the two places form no cycle. Where they do, a steep track may lie on no route
    at all, which only trying every route would show, and the answer is the best that was found.

    Parameters
    ----------
    graph
        The movement graph.
    starts, stops
        The first ways and the last ones.
    steepest
        The steepest effective grade on each way.
    between
        The ways that can be reached from the first ones and from which a last one can be reached; not empty.
    """
    for middle in heapq.nsmallest(MOST_TRIED, between, key=lambda way: (-steepest[way], way)):
        ways = _through(graph, starts, middle, stops, between)
        if ways is not None:
            break
    else:
        easy = lowest_ruling(graph, starts, stops, steepest)
        ways = max(easy.values(), key=lambda ways: max(steepest[way] for way in ways))
    ruling = max(steepest[way] for way in ways)
    steep = [way for way in between if steepest[way] > ruling - ALIKE]
    return _shortest_over(graph, starts, steep, stops, between) or ways


def _shortest_over(
    graph: MovementGraph,
    starts: Collection[Way],
    middles: Collection[Way],
    stops: Collection[Way],
    within: Collection[Way],
) -> tuple[Way, ...] | None:
    """Return the shortest route over any of some ways, of those whose two parts are each the shortest."""
    there = _nearest(graph.successors, graph.lengths, starts, within)
    home = _nearest(graph.predecessors, graph.lengths, stops, within)
    found = sorted(
        (there[way][0] + home[way][0] - graph.lengths[way], way) for way in middles if way in there and way in home
    )
    for _, middle in found[:MOST_TRIED]:
        before, after = (list(_back_from(tree, middle)) for tree in (there, home))
        if len({*before, *after}) == len(before) + len(after) - 1:
            return (*reversed(before), *after[1:])
    return None


_Nearest = dict[Way, tuple[float, Way | None]]


def _nearest(
    following: Mapping[Way, Sequence[Way]],
    lengths: Mapping[Way, float],
    starts: Collection[Way],
    within: Collection[Way],
) -> _Nearest:
    """Return the length to each way from the nearest of the starts, both counted, m, and the way before it."""
    found: _Nearest = {}
    queue: list[tuple[float, Way, Way | None]] = [(lengths[way], way, None) for way in starts if way in within]
    heapq.heapify(queue)
    while queue:
        length, way, before = heapq.heappop(queue)
        if way not in found:
            found[way] = length, before
            for new in following[way]:
                if new in within and new not in found:
                    heapq.heappush(queue, (length + lengths[new], new, way))
    return found


def _back_from(tree: _Nearest, way: Way | None) -> Iterator[Way]:
    while way is not None:
        yield way
        way = tree[way][1]


def _through(
    graph: MovementGraph, starts: Collection[Way], middle: Way, stops: Collection[Way], within: Collection[Way]
) -> tuple[Way, ...] | None:
    """Return a route over one way, None where the nearest part on neither side leaves room for the other."""
    before = _fewest(graph.predecessors, middle, starts, within)
    if before is None:
        return None
    after = _fewest(graph.successors, middle, stops, within, barred=set(before[1:]))
    if after is None:
        after = _fewest(graph.successors, middle, stops, within)
        before = _fewest(graph.predecessors, middle, starts, within, barred=set(after[1:])) if after else None
    return (*reversed(before), *after[1:]) if before and after else None


def _fewest(
    following: Mapping[Way, Sequence[Way]],
    start: Way,
    goals: Collection[Way],
    within: Collection[Way],
    barred: Collection[Way] = frozenset(),
) -> tuple[Way, ...] | None:
    came_from: dict[Way, Way | None] = {start: None}
    queue = [start]
    for way in queue:
        if way in goals:
            return path_to(came_from, way)
        for new in following[way]:
            if new in within and new not in came_from and new not in barred:
                came_from[new] = way
                queue.append(new)
    return None
