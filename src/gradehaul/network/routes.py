"""Routes: the ways a train runs over in order, from one place to another or round a lap."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice, pairwise

from gradehaul.errors import GradehaulError, Problems, RouteError
from gradehaul.network.graph import MovementGraph, Way
from gradehaul.network.places import Place, place_named, standing_places
from gradehaul.network.reversals import Runs, Tail, shortest_reversing, tail_between
from gradehaul.network.search import (
    Cut,
    Found,
    count_routes,
    every_circuit,
    every_route,
    fewest_reversals,
    highest_ruling,
    lowest_ruling,
    passes,
    shortest,
    ways_on_circuits,
)
from gradehaul.plan.records import NamedRoute, Note

MOST_ROUTES = 300
"""Routes listed at the most where none are declared; the answer says when there are more."""

MOST_LAPS = 20
"""Laps listed at the most where none are declared."""

ALIKE = 1e-9
"""Ruling grades that differ by less are alike: the sums they come from are rounded."""


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

    A route with reversals has `legs`: routes run in one direction each, by turns with the train's order as it started
    and turned, and between them the `tails` in which the whole train stands. A leg is `number` from 1, 0 for a route
    that is none.
    """

    name: str
    origin: str
    destination: str
    ways: tuple[Way, ...]
    lap: bool = False
    start_berth: str | None = None
    end_berth: str | None = None
    tightest_loop: Loop | None = None
    legs: tuple[Route, ...] = ()
    tails: tuple[Tail, ...] = ()
    number: int = 0

    @property
    def whole(self) -> str:
        """The name of the route that it is, or is a leg of."""
        return self.name.removesuffix(f", leg {self.number}") if self.number else self.name

    @property
    def starts_whole(self) -> bool:
        """Whether a train starts with all of it on the route: in a berth, or in a tail where it has reversed."""
        return self.start_berth is not None or self.number > 1

    @property
    def turned(self) -> bool:
        """Whether a train runs over it with its order turned: a leg after an odd number of reversals."""
        return self.number > 0 and self.number % 2 == 0


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
    ruling grade, or one where these are alike, and every lap. With `list_all`, the declared routes and every other.
    Lists have a limit, and a note where it was reached. No two routes have the same name.

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
        return _with_all_others(graph, _declared_routes(graph))
    if graph.plan.routes:
        return _declared_routes(graph)
    return _telling_routes(graph, steepest)


# Routes as records


def _made(graph: MovementGraph, name: str, origin: str, destination: str, ways: Sequence[Way]) -> Route:
    return Route(
        name,
        origin,
        destination,
        tuple(ways),
        start_berth=graph.berth_of.get(ways[0].track),
        end_berth=graph.berth_of.get(ways[-1].track),
        tightest_loop=_tightest_loop(graph, ways, lap=False),
    )


def _made_of_runs(graph: MovementGraph, wanted: NamedRoute, runs: Runs) -> Route:
    """Make a route of runs between reversals."""
    tails = tuple(tail_between(graph, run, following) for run, following in pairwise(runs))
    places = [wanted.origin, *(tail.berth or tail.joint or "" for tail in tails), wanted.destination]
    legs = tuple(
        replace(_made(graph, f"{wanted.name}, leg {number}", places[number - 1], places[number], run), number=number)
        for number, run in enumerate(runs, 1)
    )
    loops = [leg.tightest_loop for leg in legs if leg.tightest_loop is not None]
    return Route(
        wanted.name,
        wanted.origin,
        wanted.destination,
        tuple(way for run in runs for way in run),
        start_berth=legs[0].start_berth,
        end_berth=legs[-1].end_berth,
        tightest_loop=min(loops, key=lambda loop: loop.length, default=None),
        legs=legs,
        tails=tails,
    )


def _made_lap(graph: MovementGraph, name: str, ways: Sequence[Way]) -> Route:
    line = graph.line_of[ways[0].track]
    return Route(name, line, line, tuple(ways), lap=True, tightest_loop=_tightest_loop(graph, ways, lap=True))


def _tightest_loop(graph: MovementGraph, ways: Sequence[Way], *, lap: bool) -> Loop | None:
    """Return the shortest part of a route that leads back to a joint it has passed.

    A train longer than that meets itself there: on a reversing loop, on a lap crossed on the level, or between two
    runs over one track in opposite directions. The lap itself is not counted.
    """
    passed: dict[str, list[float]] = {}
    here = 0.0
    for one, following in pairwise((*ways, ways[0]) if lap else ways):
        here += graph.lengths[one]
        joint = graph.joint_between(one, following)
        if joint is not None:
            passed.setdefault(joint, []).append(here)
    loops: list[Loop] = []
    for joint, places in passed.items():
        if lap and len(places) > 1:
            places.append(here + places[0])
        loops += [Loop(joint, far - near) for near, far in pairwise(places)]
    return min(loops, key=lambda loop: loop.length, default=None)


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


# Declared routes


def _declared_routes(graph: MovementGraph) -> RouteList:
    routes: list[Route] = []
    notes: list[Note] = []
    problems: list[GradehaulError] = []
    for wanted in graph.plan.routes.values():
        place = f'route "{wanted.name}"'
        try:
            route, texts = _lap(graph, wanted) if wanted.lap else _between(graph, wanted)
        except RouteError as error:
            problems.append(error.at(file=graph.plan.file, place=place))
            continue
        routes.append(route)
        notes += [Note(place, text) for text in texts]
    if problems:
        raise Problems(problems)
    return RouteList(tuple(routes), (), tuple(notes))


def _between(graph: MovementGraph, wanted: NamedRoute) -> tuple[Route, list[str]]:
    found = _shortest_between(graph, wanted)
    if isinstance(found, Cut):
        runs = None if found.twice is not None else _reversing(graph, wanted)
        if runs is None or len(runs) - 1 > wanted.reversals:
            raise _told_cut(graph, wanted, found, runs)
        notes = _level_behind(graph, place_named(graph, wanted.origin), runs[0])
        return _made_of_runs(graph, wanted, runs), notes
    notes = _level_behind(graph, place_named(graph, wanted.origin), found.ways)
    if found.others:
        notes.append(_choice(graph, wanted.via, found))
    return _made(graph, wanted.name, wanted.origin, wanted.destination, found.ways), notes


def _shortest_between(graph: MovementGraph, wanted: NamedRoute) -> Found | Cut:
    origin, destination = place_named(graph, wanted.origin), place_named(graph, wanted.destination)
    if wanted.origin != wanted.destination or wanted.origin not in graph.plan.berths:
        return shortest(graph, origin.departures, destination.arrivals, wanted.via)
    # out of a berth and home to it: over its whole length each time, so not by running through it once
    tried = [shortest(graph, [way], [way.turned()], wanted.via) for way in origin.departures]
    found = [each for each in tried if isinstance(each, Found)]
    if found:
        return min(found, key=lambda each: _length(graph, each.ways))
    cuts = (each for each in tried if isinstance(each, Cut))
    return max(cuts, key=lambda cut: (cut.passed, len(graph.reach(cut.at))))


def _reversing(graph: MovementGraph, wanted: NamedRoute) -> Runs | None:
    """Return the runs of a route with the fewest reversals, out of a berth and home to it over all of it each time."""
    origin, destination = place_named(graph, wanted.origin), place_named(graph, wanted.destination)
    if wanted.origin != wanted.destination or wanted.origin not in graph.plan.berths:
        return shortest_reversing(graph, origin.departures, destination.arrivals, wanted.via)
    tried = (shortest_reversing(graph, [way], [way.turned()], wanted.via) for way in origin.departures)
    found = [runs for runs in tried if runs is not None]
    return min(found, key=lambda runs: (len(runs), _length(graph, chain(*runs))), default=None)


def _length(graph: MovementGraph, ways: Iterable[Way]) -> float:
    return sum(graph.lengths[way] for way in ways)


def _level_behind(graph: MovementGraph, origin: Place, ways: Sequence[Way]) -> list[str]:
    if not origin.mid_track or ways[0].track in graph.berth_of:
        return []
    behind = "the track behind is taken as straight and level; a longer route would put the train on real track"
    return [f'it begins at "{origin.name}", which is no end of track: {behind}']


def _choice(graph: MovementGraph, via: Sequence[str], found: Found) -> str:
    several = "several ways fit and the shortest is taken"
    for other in found.others:
        telling = _telling_via(graph, via, found.ways, other)
        if telling:
            named = ", ".join(f'"{name}"' for name in telling)
            return f"{several}; via = [{named}] would choose another"
    return f"{several}; the others run over the same lines in the same order, so that no via chooses one"


def _telling_via(
    graph: MovementGraph, via: Sequence[str], ways: Sequence[Way], other: Sequence[Way]
) -> tuple[str, ...] | None:
    """Return the least addition to `via` with which the other way fits and this one does not."""
    known = {graph.line_of[way.track] for way in ways}
    entered = [graph.line_of[after.track] for before, after in pairwise(other) if graph.joint_between(before, after)]
    lines = [graph.line_of[other[0].track], *entered]
    fresh: list[tuple[str, ...]] = [(line,) for line in lines if line not in known]
    for added in fresh or pairwise(lines):
        for place in range(len(via), -1, -1):
            more = (*via[:place], *added, *via[place:])
            if passes(graph, other, more) and not passes(graph, ways, more):
                return more
    return None


@dataclass(frozen=True, slots=True)
class _Gap:
    """Where a route is cut: the two places between which, and the runs between reversals that would mend it, if any."""

    one: str
    other: str
    runs: tuple[tuple[Way, ...], ...] | None

    @property
    def reversals(self) -> int:
        """How many reversals would mend it; 0 where none would."""
        return len(self.runs) - 1 if self.runs else 0


def _gap(graph: MovementGraph, wanted: NamedRoute, cut: Cut) -> _Gap:
    stops = [wanted.origin, *wanted.via, wanted.destination]
    one, other = stops[cut.passed], stops[cut.passed + 1]
    last = cut.passed == len(wanted.via)
    goals = place_named(graph, other).arrivals if last else _ways_past(graph, other)
    # a way reached without reversing is no goal: it was run over before its turn came
    return _Gap(one, other, fewest_reversals(graph, cut.at, set(goals) - graph.reach(cut.at)))


def _ways_past(graph: MovementGraph, name: str) -> list[Way]:
    """Return the ways on which a train passes a line, a berth or, at their far end, a joint."""
    return [
        way
        for way in graph.successors
        if name in (graph.line_of[way.track], graph.berth_of.get(way.track), graph.joint_ahead.get(way))
    ]


def _told_cut(graph: MovementGraph, wanted: NamedRoute, cut: Cut, reversing: Runs | None) -> RouteError:
    """Say where a route is cut, and what would mend it: a line run both ways, or a reversal."""
    if cut.twice is not None:
        line = graph.line_of[cut.twice.track]
        wrong = f'no train can follow it without running over line "{line}" twice in one direction'
        return RouteError(wrong, write="fewer via, or two routes")
    gap = _gap(graph, wanted, cut)
    where = f'no train can follow it: it is cut between "{gap.one}" and "{gap.other}"'
    free = graph.run_both_ways
    freed = cut if free is graph else _shortest_between(free, wanted)
    if isinstance(freed, Found):
        line = next(graph.line_of[way.track] for way in freed.ways if way not in graph.successors)
        barred = f'where line "{line}" runs {graph.plan.lines[line].runs} only'
        return RouteError(f"{where}, {barred}", write='runs = "both" there, or another place')
    if reversing is not None:
        count = len(reversing) - 1
        many = "a reversal" if count == 1 else f"{count} reversals:"
        beyond = ", then ".join(tail_between(graph, *pair).place for pair in pairwise(reversing))
        write = f"reversals = {count}" + (", or another via" if wanted.via else "")
        return RouteError(f"{where}, which would need {many} {beyond}", write=write)
    if gap.runs and gap.reversals:
        many = "a reversal" if gap.reversals == 1 else "reversals"
        beyond = ", then ".join(_reversed_where(graph, run) for run in gap.runs[:-1])
        lacks = "where there is neither a berth nor an end of track to reverse in"
        return RouteError(f"{where}, which would need {many} {beyond}, {lacks}", write='berth = "..." on a track there')
    if free is not graph and freed.twice is None and _gap(free, wanted, freed).reversals:
        wrong = f"{where}, and lines between them run one way only"
        return RouteError(wrong, write='runs = "both" on one of them, or another place')
    return RouteError(f"{where}, and no track joins them", write="another place, or the turnout that joins them")


def _reversed_where(graph: MovementGraph, run: Sequence[Way]) -> str:
    """Name the last joint that a train passes before it reverses at the end of a run."""
    joints = [joint for one, following in pairwise(run) if (joint := graph.joint_between(one, following))]
    return f'beyond "{joints[-1]}"' if joints else f'on line "{graph.line_of[run[-1].track]}"'


def _lap(graph: MovementGraph, wanted: NamedRoute) -> tuple[Route, list[str]]:
    """Close a lap, starting forward over its first line where both directions do alike."""
    tracks = graph.plan.lines[wanted.lap[0]].tracks
    starts = [way for way in (Way(tracks[0].id, forward=True), Way(tracks[-1].id, forward=False)) if way in graph.graph]
    tried = [shortest(graph, [start], graph.predecessors[start], wanted.lap, most_others=0) for start in starts]
    found = [each.ways for each in tried if isinstance(each, Found)]
    if not found:
        raise _told_open(graph, wanted, max((each for each in tried if isinstance(each, Cut)), key=lambda c: c.passed))
    # lengths summed in either direction may differ in the last place
    ways = min(found, key=lambda ways: (len(_lines_unnamed(graph, wanted, ways)), round(_length(graph, ways), 9)))
    unnamed = [f'"{line}"' for line in _lines_unnamed(graph, wanted, ways)]
    notes = [f"it closes over {', '.join(unnamed)} too, which lap does not name"] if unnamed else []
    return _made_lap(graph, wanted.name, ways), notes


def _lines_unnamed(graph: MovementGraph, wanted: NamedRoute, ways: Iterable[Way]) -> list[str]:
    lines = dict.fromkeys(graph.line_of[way.track] for way in ways)
    return [line for line in lines if line not in wanted.lap]


def _told_open(graph: MovementGraph, wanted: NamedRoute, cut: Cut) -> RouteError:
    write = "the lines of one closed circuit, in running order"
    if cut.twice is not None:
        line = graph.line_of[cut.twice.track]
        return RouteError(f'it does not close without running over line "{line}" twice in one direction', write=write)
    around = [*wanted.lap, wanted.lap[0]]
    one, other = around[cut.passed - 1], around[cut.passed]
    return RouteError(f'it does not close: no train gets from line "{one}" to line "{other}"', write=write)


# Routes where none are declared


def _telling_routes(graph: MovementGraph, steepest: Mapping[Way, float]) -> RouteList:
    routes: list[Route] = []
    between: list[Between] = []
    notes: list[Note] = []
    for pair, told in _pairs(graph, steepest):
        if len(routes) + len(told) > MOST_ROUTES:
            text = f"only the first {len(routes)} between places are listed; declare the ones that matter"
            notes.append(Note("routes", text))
            break
        between.append(pair)
        routes += told
    return _with_laps(graph, routes, between, notes)


def _pairs(graph: MovementGraph, steepest: Mapping[Way, float]) -> Iterator[tuple[Between, list[Route]]]:
    """Yield, for every place and every other that a train gets to from it, what there is to tell between the two."""
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
            lowest = min((lowest_to[way] for way in stops), key=lambda ways: _ruling(ways, steepest))
            highest = highest_ruling(graph, starts, stops, steepest, within)
            pair = Between(
                origin.name,
                destination.name,
                count=sum(counts[way] for way in stops),
                exact=within.isdisjoint(circuits),
                highest_bound=max(steepest[way] for way in within),
            )
            yield pair, _lowest_and_highest(graph, pair, lowest, highest, steepest)


def _ruling(ways: Iterable[Way], steepest: Mapping[Way, float]) -> float:
    return max(steepest[way] for way in ways)


def _lowest_and_highest(
    graph: MovementGraph, pair: Between, lowest: Sequence[Way], highest: Sequence[Way], steepest: Mapping[Way, float]
) -> list[Route]:
    origin, destination = pair.origin, pair.destination
    name = f"{origin} to {destination}"
    if _ruling(highest, steepest) - _ruling(lowest, steepest) < ALIKE:
        return [_made(graph, name, origin, destination, lowest)]
    return [
        _made(graph, f"{name}, lowest ruling", origin, destination, lowest),
        _made(graph, f"{name}, highest ruling", origin, destination, highest),
    ]


def _with_all_others(graph: MovementGraph, declared: RouteList) -> RouteList:
    """Return declared routes and behind them every route that is none of them."""
    every = _all_routes(graph)
    known = {route.ways for route in declared.routes}
    names = {route.name for route in declared.routes}
    others = [
        replace(route, name=f"{route.name}, undeclared") if route.name in names else route
        for route in every.routes
        if route.ways not in known
    ]
    return RouteList((*declared.routes, *others), every.between, (*declared.notes, *every.notes))


def _all_routes(graph: MovementGraph) -> RouteList:
    places = standing_places(graph)
    pairs = ((one, other) for one in places for other in places if one is not other)
    every = (
        _made(graph, f"{one.name} to {other.name}", one.name, other.name, ways)
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
        _made_lap(graph, _lap_name(graph, ways), ways)
        for ways in sorted(circuits[:MOST_LAPS], key=lambda ways: [order[way] for way in ways])
    ]
    if len(circuits) > MOST_LAPS:
        more = f"only {MOST_LAPS} laps are listed and there are more; declare the ones that matter"
        notes = [*notes, Note("routes", more)]
    return RouteList(tuple(_differing_names((*routes, *laps))), tuple(between), tuple(notes))


def _lap_name(graph: MovementGraph, ways: Sequence[Way]) -> str:
    onward = ((one, way) for one, way in pairwise(ways) if graph.joint_between(one, way))
    lines = [graph.line_of[ways[0].track], *(graph.line_of[way.track] for _, way in onward)]
    more = f" and {len(lines) - 4} more" if len(lines) > 4 else ""
    return f"Lap {', '.join(lines[:4])}{more}{'' if ways[0].forward else ', backward'}"
