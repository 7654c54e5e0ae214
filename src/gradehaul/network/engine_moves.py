"""Engine moves: where locomotives alone can run past standing vehicles, and round their own train in a berth."""

from __future__ import annotations

import heapq
import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from gradehaul.errors import RouteError
from gradehaul.network.graph import MovementGraph, Way
from gradehaul.network.search import dijkstra
from gradehaul.quantities.si import Meters

_NEARLY = 1 - 1e-9
"""Room so little shorter than an engine holds it."""


class EngineMove(NamedTuple):
    """A way that an engine can run onto, how long it may be for that, m, and the ways onto which it reversed before."""

    way: Way
    room: Meters
    spurs: tuple[Way, ...]


def engine_moves(
    graph: MovementGraph, chain: Sequence[Way], taken: Collection[str], enough: float, into: Way | None = None
) -> Iterator[EngineMove]:
    """Yield the ways that an engine can run onto, those first that leave most room; some come more than once.

    Where it reverses beyond a joint, all of it must clear the joint: the room there is the farthest that it gets from
    it by the shortest way. On a turntable that it passes all of it must stand.

    It stands on a chain of ways, the one last from which it runs on; the first may be behind it. Other vehicles stand
    on tracks `taken`, though the way `into` may be run onto. Room that is `enough` counts for no more, m.
    """
    queue: list[tuple[float, int, Way, tuple[Way, ...]]] = [(-enough, 0, chain[-1], ())]
    for before, on in pairwise(chain):
        queue += [(-room, 1, way, (on,)) for way, room in _reversed_out(graph, before, on, taken, enough)]
    heapq.heapify(queue)
    seen: set[Way] = set()
    while queue:
        less, passed, way, spurs = heapq.heappop(queue)
        if passed:
            yield EngineMove(way, -less, spurs)
        if way in seen:
            continue
        seen.add(way)
        for following in graph.successors[way]:
            moves = [(following, min(-less, graph.bridge_between(way, following)), spurs)]
            if following.track not in taken:
                out = _reversed_out(graph, way, following, taken, -less)
                moves += [(other, room, (*spurs, following)) for other, room in out]
            for new, room, there in moves:
                if new == into or new.track not in taken:
                    heapq.heappush(queue, (-room, passed + 1, new, there))


def _reversed_out(
    graph: MovementGraph, way: Way, following: Way, taken: Collection[str], room: float
) -> Iterator[tuple[Way, float]]:
    """Yield the ways onto which an engine comes out again that has run from one way onto the next, and the room, m."""
    others = [other for other in graph.successors.get(following.turned(), ()) if other != way.turned()]
    if others:
        there = room_beyond(graph, following, taken, min(room, graph.bridge_between(way, following)))
        yield from ((other, there) for other in others)


def room_beyond(graph: MovementGraph, start: Way, taken: Collection[str], enough: float) -> float:
    """Return how long an engine may be to stand on a way and those beyond it, m.

    That is how far one gets over ways that are run both ways, each by the shortest way, and over no turntable on which
    an engine so long does not stand. What is `enough` counts for no more.
    """

    def farthest(bridge: float) -> float:
        def onward(way: Way, here: float) -> Iterator[tuple[float, Way]]:
            for following in graph.successors[way] if here < enough else ():
                passable = graph.bridge_between(way, following) >= bridge
                if passable and following.turned() in graph.successors and following.track not in taken:
                    yield here + graph.lengths[following], following

        reached = dijkstra([(graph.lengths[start], start)], onward)
        return min(bridge, max(here for here, _ in reached.values()))

    # a shorter engine may pass more bridges
    return min(enough, max(map(farthest, (math.inf, *graph.bridges))))


def can_reach(graph: MovementGraph, chain: Sequence[Way], goal: Way, taken: Collection[str], length: float) -> bool:
    """Return whether an engine of a length, m, that stands on the ways of a chain can run onto a way."""
    if goal not in graph.successors or any(way not in graph.successors for way in chain):
        return False
    moves = engine_moves(graph, chain, taken, length, into=goal)
    return any(move.way == goal and move.room >= length * _NEARLY for move in moves)


def can_clear(
    graph: MovementGraph, chain: Sequence[Way], taken: Collection[str], off: Collection[str], length: float
) -> bool:
    """Return whether an engine of a length, m, that stands on the ways of a chain gets clear of some tracks.

    It then stands on track beyond a joint, all of it, where neither the tracks `off` nor those `taken` are. An engine
    that would stand off the layout has no chain, and gets nowhere.
    """
    if not chain or any(way not in graph.successors for way in chain):
        return False
    barred = {*taken, *off}
    return any(
        move.way.track not in barred
        and move.room >= length * _NEARLY
        and room_beyond(graph, move.way, barred, length) >= length * _NEARLY
        for move in engine_moves(graph, chain, taken, length)
    )


@dataclass(frozen=True, slots=True)
class RunRound:
    """A way round a train in a berth: how long locomotives may be on it, m, and the ways onto which they reverse."""

    room: Meters
    spurs: tuple[Way, ...]

    @property
    def turns(self) -> bool:
        """Whether the locomotives come to the other end in the opposite order: they reverse an odd number of times."""
        return len(self.spurs) % 2 == 1


def run_round(graph: MovementGraph, last: Way, taken: Collection[str] = ()) -> RunRound | None:
    """Return the roomiest way for locomotives round a train in a berth; None where there is none.

    They go on beyond the berth, past the train on other track, and come back to it from behind. Where that takes a
    reversal beyond a joint, all of them must clear it: the room there is the farthest that they get from it by the
    shortest way. No room counts for more than the berth, which holds them with their train. `last` is the last way of
    the train's run, in the berth; other vehicles stand on the tracks `taken`.
    """
    tracks = graph.plan.berths[graph.berth_of[last.track]].tracks
    behind = Way(tracks[0] if last.forward else tracks[-1], last.forward)
    berth = graph.length_of(Way(track, last.forward) for track in tracks)
    moves = engine_moves(graph, [last], {*tracks, *taken}, berth, into=behind)
    return next((RunRound(move.room, move.spurs) for move in moves if move.way == behind), None)


def no_run_round(graph: MovementGraph, last: Way) -> RouteError:
    """Return the error that locomotives cannot run round a train in a berth, with the reason."""
    berth = graph.berth_of[last.track]
    wrong = f'the locomotives cannot run around the train in berth "{berth}"'
    free = graph.run_both_ways
    if free is not graph and run_round(free, last):
        return RouteError(f"{wrong}: lines that lead around it run one way only", write='runs = "both" on them')
    lacks = "no track leads around it with room to reverse at both ends"
    write = f'track beside the berth, joined to it at both ends with track beyond, or no "{berth}" in run_round'
    return RouteError(f"{wrong}: {lacks}", write=write)
