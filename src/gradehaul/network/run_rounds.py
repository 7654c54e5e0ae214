"""Run-rounds: how the locomotives get from the head of a train that stands in a berth to its other end."""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from gradehaul.errors import RouteError
from gradehaul.network.graph import MovementGraph, Way


@dataclass(frozen=True, slots=True)
class RunRound:
    """A way round a train in a berth: how long locomotives may be on it, m, and the ways onto which they reverse."""

    room: float
    spurs: tuple[Way, ...]

    @property
    def turns(self) -> bool:
        """Whether the locomotives come to the other end in the opposite order: they reverse an odd number of times."""
        return len(self.spurs) % 2 == 1


def run_round(graph: MovementGraph, last: Way) -> RunRound | None:
    """Return the roomiest way for locomotives round a train in a berth; None where there is none.

    They go on beyond the berth, past the train on other track, and come back to it from behind. Where that takes a
    reversal beyond a joint, all of them must clear it: the room there is the farthest that they get from it by the
    shortest way. No room counts for more than the berth, which holds them with their train.

    Parameters
    ----------
    graph
        The movement graph.
    last
        The last way of the train's run, in a berth.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> plan = read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... line.Main = { from = "West", to = "A", track = [{ straight = 5 }] }
    ... line.Quay = { from = "A", to = "B", track = [{ straight = 2, berth = "Dock" }] }
    ... line.Side = { from = "A", to = "B", track = [{ straight = 2 }] }
    ... line.Stub = { from = "B", to = "End", track = [{ straight = 0.4 }] }
    ... turnout.A = { toe = "Main", legs = ["Quay", "Side"] }
    ... turnout.B = { toe = "Stub", legs = ["Quay", "Side"] }
    ... ''')
    >>> found = run_round(MovementGraph(plan), Way("Quay:1", forward=True))
    >>> found.room, [way.track for way in found.spurs]
    (0.4, ['Stub:1', 'Main:1'])
    """
    tracks = graph.plan.berths[graph.berth_of[last.track]].tracks
    behind = Way(tracks[0] if last.forward else tracks[-1], last.forward)
    seen: set[Way] = set()
    berth = graph.length_of(Way(track, last.forward) for track in tracks)
    queue: list[tuple[float, int, Way, tuple[Way, ...]]] = [(-berth, 0, last, ())]
    while queue:
        less, passed, way, spurs = heapq.heappop(queue)
        if way == behind and passed:
            return RunRound(-less, spurs)
        if way in seen:
            continue
        seen.add(way)
        for following, room, spur in _onward(graph, way, tracks, -less):
            if following == behind or following.track not in tracks:
                heapq.heappush(queue, (-room, passed + 1, following, (*spurs, *spur)))
    return None


def _onward(
    graph: MovementGraph, way: Way, taken: Collection[str], room: float
) -> Iterator[tuple[Way, float, tuple[Way, ...]]]:
    """Yield what may follow a way, the room that leaves, m, and the way onto which that takes a reversal, if any."""
    for following in graph.successors[way]:
        yield following, room, ()
        if following.track not in taken and following.turned() in graph.successors:
            others = [other for other in graph.successors[following.turned()] if other != way.turned()]
            there = _farthest(graph, following, taken, room) if others else 0.0
            yield from ((other, there, (following,)) for other in others)


def no_run_round(graph: MovementGraph, last: Way) -> RouteError:
    """Say what keeps locomotives from running round a train in a berth."""
    berth = graph.berth_of[last.track]
    wrong = f'the locomotives cannot run round the train in berth "{berth}"'
    free = graph.run_both_ways
    if free is not graph and run_round(free, last):
        return RouteError(f"{wrong}: lines that lead round it run one way only", write='runs = "both" on them')
    lacks = "no track leads round it with room to reverse at both ends"
    if not graph.successors[last]:
        lacks = f'it ends at "{graph.joint_ahead[last]}", and no track leads on to let them out'
    return RouteError(
        f"{wrong}: {lacks}",
        write=f'track beside the berth, joined to it at both ends with track beyond, or no "{berth}" in run_round',
    )


def _farthest(graph: MovementGraph, start: Way, taken: Collection[str], enough: float) -> float:
    """Return how far one gets over a way and those beyond it that are run both ways, each by the shortest way, m."""
    seen: set[Way] = set()
    queue = [(graph.lengths[start], start)]
    farthest = 0.0
    while queue and farthest < enough:
        here, way = heapq.heappop(queue)
        if way in seen:
            continue
        seen.add(way)
        farthest = here
        for following in graph.successors[way]:
            if following.turned() in graph.successors and following.track not in taken:
                heapq.heappush(queue, (here + graph.lengths[following], following))
    return min(farthest, enough)
