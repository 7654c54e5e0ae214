"""The routes that a plan declares."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import chain, pairwise

from gradehaul.errors import GradehaulError, Problems, RouteError
from gradehaul.network.cuts import cut_error, open_lap_error, shortest_between
from gradehaul.network.graph import MovementGraph, Way
from gradehaul.network.places import first_and_last, route_end
from gradehaul.network.reversals import Runs, shortest_reversing
from gradehaul.network.route import Route, RouteList, check_run_rounds, lap_of, route_of, route_of_runs
from gradehaul.network.search_tree import GaveUp
from gradehaul.network.shortest import RouteCut, ShortestRoute, passes, shortest
from gradehaul.plan.records import NamedRoute, Note


def declared_routes(graph: MovementGraph) -> RouteList:
    """Return the routes that a plan declares.

    Raises
    ------
    Problems
        Routes that no train can follow.
    """
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
    found = shortest_between(graph, wanted)
    if isinstance(found, RouteCut):
        runs = _reversing(graph, wanted)
        if not isinstance(runs, tuple) or len(runs) - 1 > wanted.reversals:
            raise cut_error(graph, wanted, found, runs)
        return route_of_runs(graph, wanted, runs), _notes(graph, wanted, runs)
    check_run_rounds(wanted)
    notes = _notes(graph, wanted, [found.ways])
    if found.others:
        notes.append(_choice(graph, wanted.via, found))
    return route_of(graph, wanted.name, wanted.origin, wanted.destination, found.ways), notes


def _reversing(graph: MovementGraph, wanted: NamedRoute) -> Runs | GaveUp | None:
    """Return the runs of a route with the fewest reversals."""
    every = [shortest_reversing(graph, starts, stops, wanted.via) for starts, stops in first_and_last(graph, wanted)]
    found = [runs for runs in every if isinstance(runs, tuple)]
    gave_up = next((each for each in every if isinstance(each, GaveUp)), None)
    return min(found, key=lambda runs: (len(runs), graph.length_of(chain(*runs))), default=gave_up)


def _notes(graph: MovementGraph, wanted: NamedRoute, runs: Sequence[Sequence[Way]]) -> list[str]:
    """Return notes on a route that begins where track goes on behind it, and on reversals that it does not need."""
    notes = []
    if route_end(graph, wanted.origin).mid_track and runs[0][0].track not in graph.berth_of:
        behind = "the track behind is taken as straight and level; a longer route would put the train on real track"
        notes.append(f'it begins at "{wanted.origin}", which is no end of track: {behind}')
    needed = len(runs) - 1
    if needed != wanted.reversals:
        many = {0: "no reversal", 1: "one reversal"}.get(needed, f"{needed} reversals")
        notes.append(f"it needs {many}, and reversals = {wanted.reversals} allows more")
    return notes


def _choice(graph: MovementGraph, via: Sequence[str], found: ShortestRoute) -> str:
    several = "several ways fit and the shortest is taken"
    for other in found.others:
        chooses = _via_of_other(graph, via, found.ways, other)
        if chooses:
            named = ", ".join(f'"{name}"' for name in chooses)
            return f"{several}; via = [{named}] would choose another"
    return f"{several}; the others run over the same lines in the same order, so that no via chooses one"


def _via_of_other(
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


def _lap(graph: MovementGraph, wanted: NamedRoute) -> tuple[Route, list[str]]:
    """Return a lap, forward over its first line where both directions close it equally, and notes on it.

    It runs over the lines that it names alone where they close: any other way past them all is longer.
    """
    tracks = graph.plan.lines[wanted.lap[0]].tracks
    starts = [way for way in (Way(tracks[0].id, forward=True), Way(tracks[-1].id, forward=False)) if way in graph.graph]
    tried = [shortest(graph, [start], graph.predecessors[start], wanted.lap, most_others=0) for start in starts]
    found = [each.ways for each in tried if isinstance(each, ShortestRoute)]
    if not found:
        raise open_lap_error(
            graph, wanted, max((each for each in tried if isinstance(each, RouteCut)), key=lambda c: c.passed)
        )
    # lengths summed in either direction may differ in the last place
    ways = min(found, key=lambda ways: (len(_lines_unnamed(graph, wanted, ways)), round(graph.length_of(ways), 9)))
    unnamed = [f'"{line}"' for line in _lines_unnamed(graph, wanted, ways)]
    notes = [f"it closes over {', '.join(unnamed)} too, which lap does not name"] if unnamed else []
    return lap_of(graph, wanted.name, ways), notes


def _lines_unnamed(graph: MovementGraph, wanted: NamedRoute, ways: Iterable[Way]) -> list[str]:
    lines = dict.fromkeys(graph.line_of[way.track] for way in ways)
    return [line for line in lines if line not in wanted.lap]
