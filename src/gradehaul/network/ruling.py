"""The routes between places with the lowest ruling grade and with the highest, and how many routes there are."""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterable, Mapping, Sequence

import networkx as nx

from gradehaul.network.graph import MovementGraph, Way
from gradehaul.network.search import dijkstra, path_to

ALIKE = 1e-9
"""Ruling grades that differ by less are equal: the sums they come from are rounded."""

_MOST_TRIED = 32
"""Where moves form cycles, this many of the steepest tracks are tried for a route that runs over them."""


def ruling_grade(ways: Iterable[Way], steepest: Mapping[Way, float]) -> float:
    """Return the steepest grade on some ways."""
    return max(steepest[way] for way in ways)


def lowest_ruling(
    graph: MovementGraph, starts: Collection[Way], stops: Collection[Way], steepest: Mapping[Way, float]
) -> dict[Way, tuple[Way, ...]]:
    """Return, for each of the last ways that can be reached, the route to it whose steepest place is least steep.

    It is a bottleneck path, found by Dijkstra's search with "the steeper of" in place of the sum. Of several such
    routes, those included that are steeper by no more than rounding, it is the shortest.
    """
    ruling = dijkstra(
        [(steepest[way], way) for way in starts],
        lambda way, steep: [(max(steep, steepest[new]), new) for new in graph.successors[way]],
    )
    found: dict[Way, tuple[Way, ...]] = {}
    for limit in {ruling[way][0]: None for way in stops if way in ruling}:
        easy = {way for way in ruling if steepest[way] <= limit + ALIKE}
        tree = _nearest(graph, starts, easy)
        found |= {way: tuple(path_to(tree, way)) for way in stops if way in ruling and ruling[way][0] == limit}
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

    `between` are the ways that can be reached from the first ones and from which a last one can be reached; not empty.
    """
    there = _nearest(graph, starts, between)
    home = _nearest(graph, stops, between, backward=True)

    def rank(way: Way) -> tuple[float, float, Way]:
        return -round(steepest[way] / ALIKE), there[way][0] + home[way][0] - graph.lengths[way], way

    for middle in heapq.nsmallest(_MOST_TRIED, between, key=rank):
        before, after = path_to(there, middle), path_to(home, middle)[::-1]
        if not set(before).isdisjoint(after[1:]):  # the nearest way home is no other than the way there: look beside it
            beside = _nearest(graph, stops, set(between).difference(before[:-1]), backward=True)
            if middle not in beside:
                continue
            after = path_to(beside, middle)[::-1]
        return (*before, *after[1:])
    easy = lowest_ruling(graph, starts, stops, steepest)
    return max(easy.values(), key=lambda ways: ruling_grade(ways, steepest))


def _nearest(
    graph: MovementGraph, starts: Iterable[Way], within: Collection[Way], *, backward: bool = False
) -> dict[Way, tuple[float, Way | None]]:
    """Return the length to each way from the nearest of the starts, both counted, m, and the way before it."""
    following: Mapping[Way, Sequence[Way]] = graph.predecessors if backward else graph.successors
    lengths = graph.lengths
    return dijkstra(
        [(lengths[way], way) for way in starts if way in within],
        lambda way, length: [(length + lengths[new], new) for new in following[way] if new in within],
    )


def ways_on_circuits(graph: MovementGraph) -> set[Way]:
    """Return the ways that a train can come back to without reversing."""
    circuits = (part for part in nx.strongly_connected_components(graph.graph) if len(part) > 1)
    return {way for way in graph.successors if way in graph.successors[way]}.union(*circuits)


def count_routes(graph: MovementGraph, starts: Collection[Way]) -> dict[Way, int]:
    """Return how many routes lead from some ways to each way that can be reached, without listing them.

    Ways are put in the reversed postorder of a depth-first search, and routes counted that keep to the order: all of
    them where the moves on the way form no cycle, else a lower bound.
    """
    left = dict.fromkeys(way for start in starts for way in nx.dfs_postorder_nodes(graph.graph, start))
    routes = dict.fromkeys(reversed(left), 0)
    rank = {way: place for place, way in enumerate(routes)}
    for way in routes:
        if way in starts:
            routes[way] += 1
        for following in graph.successors[way]:
            if rank[following] > rank[way]:
                routes[following] += routes[way]
    return routes
