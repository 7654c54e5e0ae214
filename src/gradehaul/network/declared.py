"""The routes that a plan declares, and why no train can follow one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import chain, islice, pairwise

from gradehaul.errors import GradehaulError, Problems, RouteError
from gradehaul.network.graph import MovementGraph, Way, first_and_last, route_end
from gradehaul.network.route import Route, RouteList, check_run_rounds, lap_of, route_of, route_of_runs, tail_between
from gradehaul.network.search import MOST_LOOKED_AT, RouteCut, Runs, Search, passes
from gradehaul.plan.records import NamedRoute, Note

_MOST_OTHERS = 8
"""Other routes than the shortest that are compared with it, at most."""


def declared_routes(graph: MovementGraph) -> RouteList:
    """Return the routes that a plan declares, or refuse all that no train can follow at once."""
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
    found = _shortest(graph, wanted)
    if isinstance(found, RouteCut):
        reversing = _shortest(graph, wanted, reversing=True)
        if isinstance(reversing, RouteCut) or len(reversing[1]) - 1 > wanted.reversals:
            raise _cut_error(graph, wanted, found, reversing)
        _, runs = reversing
        return route_of_runs(graph, wanted, runs), _notes(wanted, runs)
    check_run_rounds(wanted)
    search, (ways,) = found
    notes = _notes(wanted, [ways])
    if others := list(islice(search.others(ways), _MOST_OTHERS)):
        notes.append(_choice(graph, wanted.via, ways, others))
    return route_of(graph, wanted.name, wanted.origin, wanted.destination, ways), notes


def _shortest(graph: MovementGraph, wanted: NamedRoute, *, reversing: bool = False) -> tuple[Search, Runs] | RouteCut:
    """Return the shortest route as a plan declares it with the search that found it, or how far a train gets on it."""
    turning = graph.turning if reversing else ()
    searches = [Search(graph, starts, stops, wanted.via, turning) for starts, stops in first_and_last(graph, wanted)]
    results = [(search, search.shortest()) for search in searches]
    found = [(search, runs) for search, runs in results if isinstance(runs, tuple)]
    if found:
        return min(found, key=lambda each: (len(each[1]), graph.length_of(chain(*each[1]))))
    cuts = [cut for _, cut in results if isinstance(cut, RouteCut)]
    return max(cuts, key=lambda cut: (cut.gave_up, cut.passed, len(graph.reach(cut.at))))


def _notes(wanted: NamedRoute, runs: Sequence[Sequence[Way]]) -> list[str]:
    """Return a note on reversals that a route does not need."""
    needed = len(runs) - 1
    if needed == wanted.reversals:
        return []
    many = {0: "no reversal", 1: "one reversal"}.get(needed, f"{needed} reversals")
    return [f"it needs {many}, and reversals = {wanted.reversals} allows more"]


def _choice(graph: MovementGraph, via: Sequence[str], ways: Sequence[Way], others: Iterable[Sequence[Way]]) -> str:
    several = "several ways lead there, and the shortest is taken"
    for other in others:
        chooses = _via_of_other(graph, via, ways, other)
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


def _cut_error(
    graph: MovementGraph, wanted: NamedRoute, cut: RouteCut, reversing: tuple[Search, Runs] | RouteCut
) -> RouteError:
    """Return the error that a route is cut, with what would mend it: a line run both ways, or a reversal."""
    runs = None if isinstance(reversing, RouteCut) else reversing[1]
    if cut.gave_up or (isinstance(reversing, RouteCut) and reversing.gave_up):
        wrong = f"the search for a way that runs over no line twice was given up after {MOST_LOOKED_AT:,} steps"
        return RouteError(wrong, write="more via, or shorter routes")
    if cut.twice is not None:
        line = graph.line_of[cut.twice.track]
        wrong = f'no train can follow it without running over line "{line}" twice in one direction'
        fewer = "fewer via, or two routes"
        return RouteError(wrong, write=f"reversals = {len(runs) - 1}, {fewer}" if runs else fewer)
    one, other = [wanted.origin, *wanted.via, wanted.destination][cut.passed :][:2]
    where = f'no train can follow it: it is cut between "{one}" and "{other}"'
    free = graph.run_both_ways
    freed = cut if free is graph else _shortest(free, wanted)
    if isinstance(freed, tuple):
        line = next(graph.line_of[way.track] for way in freed[1][0] if way not in graph.successors)
        barred = f'where line "{line}" runs {graph.plan.lines[line].runs} only'
        return RouteError(f"{where}, {barred}", write='runs = "both" there, or another place')
    if runs is not None:
        count = len(runs) - 1
        many = "a reversal" if count == 1 else f"{count} reversals:"
        beyond = ", then ".join(tail_between(graph, *pair).place for pair in pairwise(runs))
        write = f"reversals = {count}" + (", or another via" if wanted.via else "")
        return RouteError(f"{where}, which would need {many} {beyond}", write=write)
    if anywhere := _reversing_anywhere(graph, wanted, cut):
        many = "a reversal" if len(anywhere) == 2 else "reversals"
        beyond = ", then ".join(_reversed_where(graph, run) for run in anywhere[:-1])
        lacks = "where there is neither a berth nor an end of track to reverse in"
        return RouteError(f"{where}, which would need {many} {beyond}, {lacks}", write='berth = "..." on a track there')
    if free is not graph and freed.twice is None and _reversing_anywhere(free, wanted, freed):
        wrong = f"{where}, and lines between them run one way only"
        return RouteError(wrong, write='runs = "both" on one of them, or another place')
    return RouteError(f"{where}, and no track joins them", write="another place, or the turnout that joins them")


def _reversing_anywhere(graph: MovementGraph, wanted: NamedRoute, cut: RouteCut) -> Runs | None:
    """Return the runs that mend a cut where a train could reverse on any way; None where none do."""
    last = cut.passed == len(wanted.via)
    name = wanted.destination if last else wanted.via[cut.passed]
    # a train that passes a joint has it at the far end of its way
    ways = graph.ways_at.get(name, ())
    passing = [way for way in ways if name not in graph.plan.joints or graph.joint_ahead.get(way) == name]
    goals = route_end(graph, name).arrivals if last else passing
    # a way reached without reversing is no goal: it was run over before its turn came
    turning = {way for way in graph.successors if way.turned() in graph.successors}
    runs = Search(graph, cut.at, set(goals) - graph.reach(cut.at), turning=turning).shortest()
    return runs if isinstance(runs, tuple) else None


def _reversed_where(graph: MovementGraph, run: Sequence[Way]) -> str:
    """Name the last joint that a train passes before it reverses at the end of a run."""
    joints = [joint for one, following in pairwise(run) if (joint := graph.joint_between(one, following))]
    return f'beyond "{joints[-1]}"' if joints else f'on line "{graph.line_of[run[-1].track]}"'


def _lap(graph: MovementGraph, wanted: NamedRoute) -> tuple[Route, list[str]]:
    """Return a lap, forward over its first line where both directions close it equally, and notes on it.

    It runs over the lines that it names alone where they close: any other way past them all is longer.
    """
    tracks = graph.plan.lines[wanted.lap[0]].tracks
    starts = [way for way in (Way(tracks[0].id, forward=True), Way(tracks[-1].id, forward=False)) if way in graph.graph]
    tried = [Search(graph, [start], graph.predecessors[start], wanted.lap).shortest() for start in starts]
    found = [runs[0] for runs in tried if isinstance(runs, tuple)]
    if not found:
        raise _open_lap_error(
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


def _open_lap_error(graph: MovementGraph, wanted: NamedRoute, cut: RouteCut) -> RouteError:
    """Return the error that a lap does not close, with the lines between which it does not."""
    write = "the lines of one closed circuit, in running order"
    if cut.twice is not None:
        line = graph.line_of[cut.twice.track]
        return RouteError(f'it does not close without running over line "{line}" twice in one direction', write=write)
    around = [*wanted.lap, wanted.lap[0]]
    one, other = around[cut.passed - 1], around[cut.passed]
    return RouteError(f'it does not close: no train gets from line "{one}" to line "{other}"', write=write)
