"""Run-rounds: how the locomotives get from the head of a train that stands in a berth to its other end."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from gradehaul.errors import RouteError
from gradehaul.network.engine_moves import engine_moves
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


def run_round(graph: MovementGraph, last: Way, taken: Collection[str] = ()) -> RunRound | None:
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
    taken
        Tracks that other vehicles stand on.

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
    berth = graph.length_of(Way(track, last.forward) for track in tracks)
    moves = engine_moves(graph, [last], {*tracks, *taken}, berth, into=behind)
    return next((RunRound(move.room, move.spurs) for move in moves if move.way == behind), None)


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
