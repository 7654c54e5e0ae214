"""How many routes lead from one place to another, and each of them, one after another."""

from __future__ import annotations

from collections.abc import Collection, Iterator

import networkx as nx

from gradehaul.network.graph import MovementGraph, Way


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


def every_route(graph: MovementGraph, starts: Collection[Way], stops: Collection[Way]) -> Iterator[tuple[Way, ...]]:
    """Yield every route, one after another.

    Wherever a train could choose, only ways that still lead to a last way are followed, so that the next route never
    takes long, however many there are.
    """
    goals = set(stops)
    run: dict[Way, None] = {}
    to_try: list[Iterator[Way]] = [(way for way in starts if _leads_to(graph, way, goals, run))]
    while to_try:
        way = next(to_try[-1], None)
        if way is not None:
            run[way] = None
            if way in goals:
                yield tuple(run)
            to_try.append(_continuations(graph, way, goals, run))
        else:
            to_try.pop()
            if run:
                run.popitem()


def _continuations(graph: MovementGraph, way: Way, goals: set[Way], run: Collection[Way]) -> Iterator[Way]:
    """Return the ways that may follow on a run and still lead to a last way; each is checked when its turn comes."""
    choices = [new for new in graph.successors[way] if new not in run]
    if len(choices) == 1 and way not in goals:
        return iter(choices)
    return (new for new in choices if _leads_to(graph, new, goals, run))


def _leads_to(graph: MovementGraph, start: Way, goals: set[Way], run: Collection[Way]) -> bool:
    seen = {start}
    stack = [start]
    while stack:
        way = stack.pop()
        if way in goals:
            return True
        for new in graph.successors[way]:
            if new not in seen and new not in run:
                seen.add(new)
                stack.append(new)
    return False


def every_circuit(graph: MovementGraph) -> Iterator[tuple[Way, ...]]:
    """Yield every circuit in either direction, beginning with the line that stands first in the plan."""
    small = graph.line_graph()
    entrances = list(small)
    # by number, since sets of names have another order in every process
    number_of = {way: number for number, way in enumerate(entrances)}
    numbered: nx.DiGraph[int] = nx.DiGraph()
    numbered.add_nodes_from(number_of.values())
    numbered.add_edges_from((number_of[one], number_of[following]) for one, following in small.edges)
    for cycle in nx.simple_cycles(numbered):
        first = cycle.index(min(cycle))
        yield graph.whole_lines(entrances[number] for number in (*cycle[first:], *cycle[:first]))
