"""Why no train can follow a route as it is declared, and what would mend it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from gradehaul.errors import RouteError
from gradehaul.network.graph import MovementGraph, Way
from gradehaul.network.places import first_and_last, route_end
from gradehaul.network.reversals import Runs, fewest_reversals, tail_between
from gradehaul.network.search_tree import MOST_LOOKED_AT, GaveUp
from gradehaul.network.shortest import RouteCut, ShortestRoute, shortest
from gradehaul.plan.alike import alike
from gradehaul.plan.records import NamedRoute


def shortest_between(graph: MovementGraph, wanted: NamedRoute) -> ShortestRoute | RouteCut:
    """Return the shortest route as a plan declares it, or how far a train gets on it."""
    tried = [shortest(graph, starts, stops, wanted.via) for starts, stops in first_and_last(graph, wanted)]
    found = [each for each in tried if isinstance(each, ShortestRoute)]
    if found:
        return min(found, key=lambda each: graph.length_of(each.ways))
    cuts = (each for each in tried if isinstance(each, RouteCut))
    return max(cuts, key=lambda cut: (cut.passed, len(graph.reach(cut.at))))


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


def _gap(graph: MovementGraph, wanted: NamedRoute, cut: RouteCut) -> _Gap:
    stops = [wanted.origin, *wanted.via, wanted.destination]
    one, other = stops[cut.passed], stops[cut.passed + 1]
    last = cut.passed == len(wanted.via)
    goals = route_end(graph, other).arrivals if last else _ways_past(graph, other)
    # a way reached without reversing is no goal: it was run over before its turn came
    return _Gap(one, other, fewest_reversals(graph, cut.at, set(goals) - graph.reach(cut.at)))


def _ways_past(graph: MovementGraph, name: str) -> list[Way]:
    """Return the ways on which a train passes a line, a berth or, at their far end, a joint."""
    return [
        way
        for way in graph.successors
        if name in (graph.line_of[way.track], graph.berth_of.get(way.track), graph.joint_ahead.get(way))
    ]


def cut_error(graph: MovementGraph, wanted: NamedRoute, cut: RouteCut, reversing: Runs | GaveUp | None) -> RouteError:
    """Return the error that a route is cut, with what would mend it: a line run both ways, or a reversal."""
    if isinstance(reversing, GaveUp) or cut.gave_up:
        wrong = f"the search for a way that runs over no line twice was given up after {MOST_LOOKED_AT:,} steps"
        return RouteError(wrong, write="more via, or shorter routes")
    if cut.twice is not None:
        line = graph.line_of[cut.twice.track]
        wrong = f'no train can follow it without running over line "{line}" twice in one direction'
        if reversing is None:
            return RouteError(wrong, write="fewer via, or two routes")
        return RouteError(wrong, write=f"reversals = {len(reversing) - 1}, fewer via, or two routes")
    gap = _gap(graph, wanted, cut)
    where = f'no train can follow it: it is cut between "{gap.one}" and "{gap.other}"'
    free = graph.run_both_ways
    freed = cut if free is graph else shortest_between(free, wanted)
    if isinstance(freed, ShortestRoute):
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
    joints = graph.plan.joints  # track that ends at a joint with almost the name of another: they may be one
    write = next(
        (
            f'one name for joints "{name}" and "{other}", if they are one'
            for name, other in alike(joints).items()
            if joints[name].kind == "end"
        ),
        "another place, or the turnout that joins them",
    )
    return RouteError(f"{where}, and no track joins them", write=write)


def _reversed_where(graph: MovementGraph, run: Sequence[Way]) -> str:
    """Name the last joint that a train passes before it reverses at the end of a run."""
    joints = [joint for one, following in pairwise(run) if (joint := graph.joint_between(one, following))]
    return f'beyond "{joints[-1]}"' if joints else f'on line "{graph.line_of[run[-1].track]}"'


def open_lap_error(graph: MovementGraph, wanted: NamedRoute, cut: RouteCut) -> RouteError:
    """Return the error that a lap does not close, with the lines between which it does not."""
    write = "the lines of one closed circuit, in running order"
    if cut.twice is not None:
        line = graph.line_of[cut.twice.track]
        return RouteError(f'it does not close without running over line "{line}" twice in one direction', write=write)
    around = [*wanted.lap, wanted.lap[0]]
    one, other = around[cut.passed - 1], around[cut.passed]
    return RouteError(f'it does not close: no train gets from line "{one}" to line "{other}"', write=write)
