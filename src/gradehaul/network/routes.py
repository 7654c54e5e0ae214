"""Routes: the ways a train runs over in order, from one place to another or round a lap."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

import networkx as nx

from gradehaul.errors import GradehaulError, Problems, RouteError
from gradehaul.network.graph import MovementGraph, Way
from gradehaul.network.places import Place, berth_of, place_named, standing_places
from gradehaul.network.search import Highest, Passes, highest_ruling, lowest_ruling, shortest
from gradehaul.plan.records import NamedRoute, Note, Plan

MOST_ROUTES = 300
"""Routes listed at the most where none are declared; the answer says when there are more."""

MOST_LAPS = 20
"""Laps listed at the most where none are declared."""


@dataclass(frozen=True, slots=True)
class Loop:
    """Track that leads a route back to a joint it has passed: its joint and its length, m."""

    joint: str
    length: float


@dataclass(frozen=True, slots=True)
class Route:
    """A way for trains: tracks in running order.

    `start_berth` and `end_berth` are the berths it begins and ends in; a train starts with its tail at the far end of
    the first. On a lap, `origin` and `destination` are the line it begins with.
    """

    name: str
    origin: str
    destination: str
    ways: tuple[Way, ...]
    lap: bool = False
    start_berth: str | None = None
    end_berth: str | None = None
    tightest_loop: Loop | None = None


@dataclass(frozen=True, slots=True)
class Between:
    """How many routes lead from one place to another; a lower bound where not `exact`.

    `highest_bound` is the steepest effective grade of any track between the two: an upper bound of the highest ruling
    grade, reached where `exact`.
    """

    origin: str
    destination: str
    count: int
    exact: bool
    highest_bound: float


@dataclass(frozen=True, slots=True)
class RouteList:
    """The routes of a plan, how many there are between places where none were declared, and notes."""

    routes: tuple[Route, ...]
    between: tuple[Between, ...]
    notes: tuple[Note, ...]


def find_routes(graph: MovementGraph, steepest: Mapping[Way, float], *, list_all: bool = False) -> RouteList:
    """Return the declared routes of a plan; where there are none, the telling ones.

    Those are, for every ordered pair of ends and berths, the route with the lowest and the one with the highest
    ruling grade, and every lap. With `list_all`, every route, up to a limit that a note tells.

    Parameters
    ----------
    graph
        The movement graph of the plan.
    steepest
        The steepest effective grade on each way.

    Raises
    ------
    Problems
        Declared routes that no train can follow.
    """
    if list_all:
        return _all_routes(graph)
    if graph.plan.routes:
        return _declared_routes(graph)
    return _telling_routes(graph, steepest)


def _made(graph: MovementGraph, name: str, origin: str, destination: str, ways: Sequence[Way]) -> Route:
    berths = berth_of(graph.plan)
    first, last = berths.get(ways[0].track), berths.get(ways[-1].track)
    return Route(
        name,
        origin,
        destination,
        tuple(ways),
        start_berth=first.name if first else None,
        end_berth=last.name if last else None,
        tightest_loop=_tightest_loop(graph, ways, lap=False),
    )


def _made_lap(graph: MovementGraph, name: str, ways: Sequence[Way]) -> Route:
    line = graph.line_of[ways[0].track]
    return Route(name, line, line, tuple(ways), lap=True, tightest_loop=_tightest_loop(graph, ways, lap=True))


def _tightest_loop(graph: MovementGraph, ways: Sequence[Way], *, lap: bool) -> Loop | None:
    """Return the shortest part of a route that leads back to a joint it has passed.

    A train longer than that meets itself there: on a reversing loop, on a lap crossed on the level, or between two
    runs over one track in opposite directions. The lap itself is not counted.
    """
    passed: dict[str, float] = {}
    first: dict[str, float] = {}
    found: Loop | None = None
    here = 0.0
    for one, following in zip(ways, (*ways[1:], ways[0]) if lap else ways[1:], strict=not lap and False):
        here += graph.lengths[one]
        joint = graph.joint_between(one, following)
        if joint is None:
            continue
        if joint in passed and (found is None or here - passed[joint] < found.length):
            found = Loop(joint, here - passed[joint])
        passed[joint] = here
        first.setdefault(joint, here)
    if lap:
        for joint, at in first.items():
            around = at + here - passed[joint]
            if around < here * (1 - 1e-12) and (found is None or around < found.length):
                found = Loop(joint, around)
    return found


def _declared_routes(graph: MovementGraph) -> RouteList:
    routes: list[Route] = []
    notes: list[Note] = []
    problems: list[GradehaulError] = []
    for wanted in graph.plan.routes.values():
        place = f'route "{wanted.name}"'
        try:
            found = _lap(graph, wanted) if wanted.lap else _between(graph, wanted)
        except RouteError as error:
            if wanted.reversals and not wanted.lap:
                notes.append(Note(place, f"left out: {error.wrong}, and routes with reversals are not rated yet"))
                continue
            problems.append(error.at(file=graph.plan.file, place=place))
            continue
        route, others = found
        routes.append(route)
        notes += [Note(place, text) for text in others]
    if problems:
        raise Problems(problems)
    return RouteList(tuple(routes), (), tuple(notes))


def _between(graph: MovementGraph, wanted: NamedRoute) -> tuple[Route, list[str]]:
    origin, destination = place_named(graph, wanted.origin), place_named(graph, wanted.destination)
    via = [_passes(graph, name) for name in wanted.via]
    found = shortest(graph, origin.departures, destination.arrivals, via)
    if found.ways is None:
        raise _cut(graph, wanted, origin, destination, found.passed)
    notes = _level_behind(graph, origin, found.ways)
    if found.other is not None:
        notes.append(_choice(graph, found.ways, found.other))
    return _made(graph, wanted.name, wanted.origin, wanted.destination, found.ways), notes


def _level_behind(graph: MovementGraph, origin: Place, ways: Sequence[Way]) -> list[str]:
    if not origin.mid_track or ways[0].track in berth_of(graph.plan):
        return []
    behind = "the track behind is taken as straight and level; a longer route would put the train on real track"
    return [f'it begins at "{origin.name}", which is no end of track: {behind}']


def _choice(graph: MovementGraph, ways: Sequence[Way], other: Sequence[Way]) -> str:
    lines = {graph.line_of[way.track] for way in ways}
    telling = [graph.line_of[way.track] for way in other if graph.line_of[way.track] not in lines]
    if telling:
        return f'several ways fit and the shortest is taken; via = ["{telling[0]}"] would choose another'
    return "several ways fit and the shortest is taken; a via along the way would choose another"


def _passes(graph: MovementGraph, name: str) -> Passes:
    plan = graph.plan
    if name in plan.lines:
        return lambda _, way: graph.line_of[way.track] == name
    if name in plan.berths:
        tracks = set(plan.berths[name].tracks)
        return lambda _, way: way.track in tracks
    if name in plan.joints:
        ends = {graph.entering(end) for end in plan.joints[name].ends}
        # a route also passes the joint it begins at
        return lambda before, way: way in ends if before is None else graph.joint_between(before, way) == name
    raise RouteError("no line, joint or berth has this name", found=f'"{name}"')


def _cut(graph: MovementGraph, wanted: NamedRoute, origin: Place, destination: Place, passed: int) -> RouteError:
    """Say where a route is cut, and whether a reversal would mend it."""
    stops = [wanted.origin, *wanted.via, wanted.destination]
    if not origin.departures:
        return RouteError(f'no train may leave "{wanted.origin}"', write='runs = "both" on its line, or another place')
    one, other = stops[passed], stops[passed + 1]
    where = f'no train can follow it: it is cut between "{one}" and "{other}"'
    starts = origin.departures if passed == 0 else _ways_at(graph, one)
    goals = destination.arrivals if passed == len(wanted.via) else _ways_at(graph, other)
    joints = _reversals(graph, starts, set(goals))
    if joints:
        many = "a reversal" if len(joints) == 1 else f"{len(joints)} reversals"
        named = ", ".join(f'"{joint}"' for joint in joints)
        instead = f"reversals = {len(joints)}, or another via"
        return RouteError(f"{where}, which would need {many} beyond {named}", write=instead)
    barred = sorted(f'"{line.name}" runs {line.runs} only' for line in graph.plan.lines.values() if line.runs != "both")
    told = f" (line {', '.join(barred)})" if barred else ""
    wrong = f"{where}, and no track joins them in that direction{told}"
    return RouteError(wrong, write="another place, or the turnout that joins them")


def _ways_at(graph: MovementGraph, name: str) -> list[Way]:
    passes = _passes(graph, name)
    ways = [way for way in graph.successors if passes(None, way)]
    return ways + [way.turned() for way in ways if way.turned() in graph.graph]


def _reversals(graph: MovementGraph, starts: Collection[Way], goals: set[Way]) -> list[str]:
    """Return the joints beyond which a train would reverse to get from some ways to others, as few as can be."""
    waves: list[dict[Way, Way | None]] = []
    frontier: dict[Way, Way | None] = dict.fromkeys(starts)
    seen: set[Way] = set()
    while frontier:
        waves.append(frontier)
        came_from: dict[Way, Way | None] = {way: None for way in frontier if way not in seen}
        queue = list(came_from)
        for way in queue:
            seen.add(way)
            for following in graph.successors[way]:
                if following not in seen and following not in came_from:
                    came_from[following] = way
                    queue.append(following)
        waves[-1] = came_from
        reached = next((way for way in queue if way in goals), None)
        if reached is not None:
            return _reversed_beyond(graph, waves, reached)
        frontier = {way.turned(): None for way in queue if way.turned() in graph.graph and way.turned() not in seen}
    return []


def _reversed_beyond(graph: MovementGraph, waves: Sequence[Mapping[Way, Way | None]], reached: Way) -> list[str]:
    joints: list[str] = []
    way = reached
    for number in range(len(waves) - 1, -1, -1):
        while (before := waves[number][way]) is not None:
            way = before
        if number == 0:
            break
        way = way.turned()
        # the last joint passed on the way to the reversal
        inward, joint = way, None
        while (before := waves[number - 1][inward]) is not None:
            joint = graph.joint_between(before, inward)
            if joint is not None:
                break
            inward = before
        joints.append(joint or graph.line_of[way.track])
    return joints[::-1]


def _lap(graph: MovementGraph, wanted: NamedRoute) -> tuple[Route, list[str]]:
    tracks = graph.plan.lines[wanted.lap[0]].tracks
    passed = 0
    for start in (Way(tracks[0].id, forward=True), Way(tracks[-1].id, forward=False)):
        if start not in graph.graph:
            continue
        via = [_passes(graph, name) for name in wanted.lap[1:]]
        found = shortest(graph, [start], graph.predecessors[start], via)
        if found.ways is not None:
            return _made_lap(graph, wanted.name, found.ways), []
        passed = max(passed, found.passed)
    around = [*wanted.lap, wanted.lap[0]]
    raise RouteError(
        f'it does not close: no train gets from line "{around[passed]}" to line "{around[passed + 1]}"',
        write="the lines of one closed circuit, in running order",
    )


def _telling_routes(graph: MovementGraph, steepest: Mapping[Way, float]) -> RouteList:
    routes: list[Route] = []
    between: list[Between] = []
    notes: list[Note] = []
    for origin, destination, lowest in _pairs(graph, steepest):
        highest = highest_ruling(graph, origin.departures, destination.arrivals, steepest)
        if highest is None:
            continue
        if len(routes) >= MOST_ROUTES:
            notes.append(Note("routes", f"only the first {len(routes)} are listed; declare the ones that matter"))
            break
        between.append(Between(origin.name, destination.name, highest.count, highest.exact, highest.bound))
        routes += _lowest_and_highest(graph, origin, destination, lowest, highest)
    laps = list(islice(_laps(graph), MOST_LAPS + 1))
    if len(laps) > MOST_LAPS:
        notes.append(Note("routes", f"only the first {MOST_LAPS} laps are listed; declare the ones that matter"))
    return RouteList((*routes, *laps[:MOST_LAPS]), tuple(between), tuple(notes))


def _pairs(graph: MovementGraph, steepest: Mapping[Way, float]) -> Iterator[tuple[Place, Place, tuple[Way, ...]]]:
    places = standing_places(graph)
    for origin in places:
        best = lowest_ruling(graph, origin.departures, steepest)
        for destination in places:
            lowest = [best[way] for way in destination.arrivals if way in best]
            if destination is not origin and lowest:
                yield origin, destination, min(lowest, key=lambda ways: max(steepest[way] for way in ways))


def _lowest_and_highest(
    graph: MovementGraph, origin: Place, destination: Place, lowest: tuple[Way, ...], highest: Highest
) -> list[Route]:
    name = f"{origin.name} to {destination.name}"
    if lowest == highest.ways:
        return [_made(graph, name, origin.name, destination.name, lowest)]
    return [
        _made(graph, f"{name}, lowest ruling", origin.name, destination.name, lowest),
        _made(graph, f"{name}, highest ruling", origin.name, destination.name, highest.ways),
    ]


def _laps(graph: MovementGraph) -> Iterator[Route]:
    order = {way: place for place, way in enumerate(graph.graph)}
    names: dict[str, int] = {}
    for cycle in nx.simple_cycles(graph.line_graph()):
        first = min(range(len(cycle)), key=lambda k: order[cycle[k]])
        turned = [*cycle[first:], *cycle[:first]]
        lines = [graph.line_of[way.track] for way in turned]
        name = "Lap " + ", ".join(lines[:4]) + (f" and {len(lines) - 4} more" if len(lines) > 4 else "")
        if not turned[0].forward:
            name += ", backward"
        names[name] = names.get(name, 0) + 1
        if names[name] > 1:
            name += f" ({names[name]})"
        yield _made_lap(graph, name, graph.whole_lines(turned))


def _all_routes(graph: MovementGraph) -> RouteList:
    """List every route between places, up to the limit, with a note where it was reached."""
    places = standing_places(graph)
    small = graph.line_graph()
    routes: list[Route] = []
    notes: list[Note] = []
    for ways, origin, destination in _every_path(graph, small, places):
        if len(routes) == MOST_ROUTES:
            notes.append(Note("routes", f"stopped after {MOST_ROUTES} routes; there are more"))
            break
        number = sum(r.origin == origin.name and r.destination == destination.name for r in routes) + 1
        name = f"{origin.name} to {destination.name}" + (f" ({number})" if number > 1 else "")
        routes.append(_made(graph, name, origin.name, destination.name, ways))
    laps = list(islice(_laps(graph), MOST_LAPS + 1))
    if len(laps) > MOST_LAPS:
        notes.append(Note("routes", f"stopped after {MOST_LAPS} laps; there are more"))
    return RouteList((*routes, *laps[:MOST_LAPS]), (), tuple(notes))


def _every_path(
    graph: MovementGraph, small: nx.DiGraph[Way], places: Sequence[Place]
) -> Iterator[tuple[tuple[Way, ...], Place, Place]]:
    """Yield every route over each way at most once, shortest in joints not guaranteed, as the search finds them."""
    plan: Plan = graph.plan
    for origin in places:
        for destination in places:
            if origin is destination:
                continue
            for start in origin.departures:
                for stop in destination.arrivals:
                    yield from ((ways, origin, destination) for ways in _paths(graph, small, plan, start, stop))


def _paths(
    graph: MovementGraph, small: nx.DiGraph[Way], plan: Plan, start: Way, stop: Way
) -> Iterator[tuple[Way, ...]]:
    def entrance(way: Way) -> Way:
        tracks = plan.lines[graph.line_of[way.track]].tracks
        return Way((tracks[0] if way.forward else tracks[-1]).id, way.forward)

    first, last = entrance(start), entrance(stop)
    if first == last:
        whole = graph.whole_lines([first])
        if whole.index(start) <= whole.index(stop):
            yield whole[whole.index(start) : whole.index(stop) + 1]
        return
    ahead = nx.descendants(small, first) | {first}
    behind = nx.ancestors(small, last) | {last}
    for path in nx.all_simple_paths(small.subgraph(ahead & behind), first, last):
        ways = graph.whole_lines(path)
        begin = ways.index(start)
        end = len(ways) - 1 - ways[::-1].index(stop)
        yield ways[begin : end + 1]
