"""The routes of a plan: those it declares, else the ones with the lowest and the highest ruling grade, and laps."""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice, pairwise

import networkx as nx

from gradehaul.network.declared import declared_routes
from gradehaul.network.graph import MovementGraph, Way, standing_places
from gradehaul.network.route import Between, Route, RouteList, lap_of, route_of
from gradehaul.network.search import dijkstra, path_to
from gradehaul.plan.names import some
from gradehaul.plan.records import Note

MOST_ROUTES = 300
"""Routes listed at the most where none are declared; the answer says when there are more."""

MOST_LAPS = 20
"""Laps listed at the most where none are declared."""


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


def find_routes(graph: MovementGraph, steepest: Mapping[Way, float], *, list_all: bool = False) -> RouteList:
    """Return the declared routes of a plan; where there are none, those with the lowest and the highest ruling grade.

    These are two for every ordered pair of ends and berths, one where the ruling grades are equal, and every lap. With
    `list_all`, the declared routes and every other. Lists have a limit, and a note where it was reached. No two routes
    have the same name.
    """
    if not list_all:
        return declared_routes(graph) if graph.plan.routes else _ruling_routes(graph, steepest)
    declared, every = declared_routes(graph), _all_routes(graph)
    known = {route.ways for route in declared.routes}
    names = {route.name for route in declared.routes}
    others = [
        replace(route, name=f"{route.name}, undeclared") if route.name in names else route
        for route in every.routes
        if route.ways not in known
    ]
    return RouteList((*declared.routes, *others), every.between, (*declared.notes, *every.notes))


def _ruling_routes(graph: MovementGraph, steepest: Mapping[Way, float]) -> RouteList:
    """Return the routes between places with the lowest and the highest ruling grade, and the laps."""
    routes: list[Route] = []
    between: list[Between] = []
    notes: list[Note] = []
    for pair, listed in _pairs(graph, steepest):
        if len(routes) + len(listed) > MOST_ROUTES:
            text = f"only the first {len(routes)} between places are listed; declare the ones that matter"
            notes.append(Note("routes", text))
            break
        between.append(pair)
        routes += listed
    return _with_laps(graph, routes, between, notes)


def _pairs(graph: MovementGraph, steepest: Mapping[Way, float]) -> Iterator[tuple[Between, list[Route]]]:
    """Yield, for every place and every other that a train gets to from it, the count of routes and those listed."""
    places = standing_places(graph)
    arrivals = [way for place in places for way in place.arrivals]
    behind = {place.name: graph.reach(place.arrivals, backward=True) for place in places}
    circuits = ways_on_circuits(graph)
    for origin in places:
        starts = origin.departures
        ahead = graph.reach(starts)
        counts = count_routes(graph, starts)
        lowest_to = lowest_ruling(graph, starts, arrivals, steepest)
        for destination in places:
            stops = [way for way in destination.arrivals if way in ahead]
            if destination is origin or not stops:
                continue
            within = ahead & behind[destination.name]
            reached = [lowest_to[way] for way in stops]
            least = min(ruling_grade(ways, steepest) for ways in reached)
            lowest = min(
                (ways for ways in reached if ruling_grade(ways, steepest) < least + ALIKE), key=graph.length_of
            )
            highest = highest_ruling(graph, starts, stops, steepest, within)
            pair = Between(
                origin.name,
                destination.name,
                count=sum(counts[way] for way in stops),
                exact=within.isdisjoint(circuits),
                highest_bound=max(steepest[way] for way in within),
            )
            yield pair, _lowest_and_highest(graph, pair, lowest, highest, steepest)


def _lowest_and_highest(
    graph: MovementGraph, pair: Between, lowest: Sequence[Way], highest: Sequence[Way], steepest: Mapping[Way, float]
) -> list[Route]:
    origin, destination = pair.origin, pair.destination
    name = f"{origin} to {destination}"
    if ruling_grade(highest, steepest) - ruling_grade(lowest, steepest) < ALIKE:
        return [route_of(graph, name, origin, destination, lowest)]
    return [
        route_of(graph, f"{name}, lowest ruling", origin, destination, lowest),
        route_of(graph, f"{name}, highest ruling", origin, destination, highest),
    ]


def _all_routes(graph: MovementGraph) -> RouteList:
    """Return every route between places, up to a limit, and the laps."""
    places = standing_places(graph)
    pairs = ((one, other) for one in places for other in places if one is not other)
    every = (
        route_of(graph, f"{one.name} to {other.name}", one.name, other.name, ways)
        for one, other in pairs
        for ways in every_route(graph, one.departures, other.arrivals)
    )
    routes = list(islice(every, MOST_ROUTES + 1))
    stopped = [Note("routes", f"stopped after {MOST_ROUTES} routes; there are more")]
    return _with_laps(graph, routes[:MOST_ROUTES], (), stopped if len(routes) > MOST_ROUTES else [])


def _with_laps(
    graph: MovementGraph, routes: Sequence[Route], between: Sequence[Between], notes: Sequence[Note]
) -> RouteList:
    circuits = list(islice(every_circuit(graph), MOST_LAPS + 1))
    order = {way: place for place, way in enumerate(graph.graph)}
    laps = [
        lap_of(graph, _lap_name(graph, ways), ways)
        for ways in sorted(circuits[:MOST_LAPS], key=lambda ways: [order[way] for way in ways])
    ]
    if len(circuits) > MOST_LAPS:
        more = f"only {MOST_LAPS} laps are listed and there are more; declare the ones that matter"
        notes = [*notes, Note("routes", more)]
    return RouteList(tuple(_differing_names((*routes, *laps))), tuple(between), tuple(notes))


def _lap_name(graph: MovementGraph, ways: Sequence[Way]) -> str:
    entered = (way for one, way in pairwise(ways) if graph.joint_between(one, way))
    lines = [graph.line_of[way.track] for way in (ways[0], *entered)]
    return f"Lap {some(lines, 4)}{'' if ways[0].forward else ', backward'}"


def _differing_names(routes: Iterable[Route]) -> Iterator[Route]:
    """Yield the routes, those numbered that have the name of one before them."""
    taken: dict[str, int] = {}
    for route in routes:
        name = route.name
        while name in taken:
            taken[route.name] += 1
            name = f"{route.name} ({taken[route.name]})"
        taken[name] = 1
        yield replace(route, name=name)


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
    ways = list(graph.graph)
    enters = [way.turned() in graph.joint_ahead for way in ways]
    # by number, since sets of names have another order in every process
    number = {way: place for place, way in enumerate(ways)}
    moves: nx.DiGraph[int] = nx.DiGraph((number[one], number[new]) for one, new in graph.graph.edges)
    for cycle in nx.simple_cycles(moves):
        first = cycle.index(min(number for number in cycle if enters[number]))
        yield tuple(ways[number] for number in (*cycle[first:], *cycle[:first]))
