"""Reversals: ways that turn back in berths and at ends of track, as runs from one reversal to the next."""

from __future__ import annotations

import heapq
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import takewhile

from gradehaul.network.graph import MovementGraph, Way, path_to
from gradehaul.network.run_rounds import RunRound
from gradehaul.network.search_tree import Passing, State

Runs = tuple[tuple[Way, ...], ...]
"""The ways of each run in one direction; a run begins on the last way of the one before, turned."""


@dataclass(frozen=True, slots=True)
class Tail:
    """Where a train reverses: a berth or an end of track, and the track it must stand on, all of it, to go on.

    That is the track which it runs over both ways, from the joint at which it then leaves it, m long. `within` tells
    that all of it lies in the berth. Where its locomotives run round it, that is track of the berth alone, and
    `run_round` is their way; else None.
    """

    joint: str | None
    berth: str | None
    length: float
    within: bool = False
    run_round: RunRound | None = None

    @property
    def place(self) -> str:
        """Where it is."""
        return f'in berth "{self.berth}"' if self.berth is not None else f'at "{self.joint}"'

    @property
    def name(self) -> str:
        """What it is called."""
        return f"the tail {self.place}"

    @property
    def round_room(self) -> float | None:
        """How long locomotives may be that run round a train in it, m; None where they stay."""
        return None if self.run_round is None else self.run_round.room


def reversing_ways(graph: MovementGraph) -> frozenset[Way]:
    """Return the ways at whose far end a train may reverse: the last of a berth in either direction, and at ends."""
    plan = graph.plan
    ends = {way for way, joint in graph.joint_ahead.items() if plan.joints[joint].kind == "end"}
    for berth in plan.berths.values():
        ends |= {Way(berth.tracks[-1], forward=True), Way(berth.tracks[0], forward=False)}
    return frozenset(way for way in ends if way in graph.successors and way.turned() in graph.successors)


def shortest_reversing(
    graph: MovementGraph, starts: Collection[Way], stops: Collection[Way], via: Sequence[str] = ()
) -> Runs | None:
    """Find the runs with the fewest reversals, and of those the shortest, from some ways to others.

    None where no number of reversals does, or where one of the runs would be twice on a track in one direction.

    Parameters
    ----------
    graph
        The movement graph.
    starts, stops
        The first ways and the last ones.
    via
        Names of lines, berths and joints to pass, in order.
    """
    passing = Passing(graph, via)
    turning = reversing_ways(graph)
    goals = {(way, len(via)) for way in stops}
    before: dict[State, State | None] = {}
    queue: list[tuple[int, float, State, State | None]] = [
        (0, graph.lengths[way], passing.onto(None, way, 0), None) for way in starts
    ]
    heapq.heapify(queue)
    while queue:
        reversals, length, state, came_from = heapq.heappop(queue)
        if state in before:
            continue
        before[state] = came_from
        if state in goals:
            return _runs(before, state)
        way, passed = state
        for following in (*graph.successors[way], *([way.turned()] if way in turning else [])):
            more = reversals + (following == way.turned() and following not in graph.successors[way])
            new = passing.onto(way, following, passed)
            if new not in before:
                heapq.heappush(queue, (more, length + graph.lengths[following], new, state))
    return None


def _runs(before: dict[State, State | None], state: State) -> Runs | None:
    ways: list[Way] = []
    here: State | None = state
    while here is not None:
        ways.append(here[0])
        here = before[here]
    runs: list[list[Way]] = []
    for way in reversed(ways):
        if runs and way != runs[-1][-1].turned():
            runs[-1].append(way)
        else:
            runs.append([way])
    if any(len(set(run)) < len(run) for run in runs):
        return None
    return tuple(tuple(run) for run in runs)


def tail_between(graph: MovementGraph, run: Sequence[Way], following: Sequence[Way]) -> Tail:
    """Return the tail in which a train stands between one run and the next."""
    shared = list(takewhile(lambda pair: pair[0].turned() == pair[1], zip(reversed(run), following, strict=False)))
    berth = graph.berth_of.get(run[-1].track)
    return Tail(
        joint=graph.joint_ahead.get(run[-1]),
        berth=berth,
        length=sum(graph.lengths[way] for way, _ in shared),
        within=berth is not None and all(graph.berth_of.get(way.track) == berth for way, _ in shared),
    )


def fewest_reversals(
    graph: MovementGraph, starts: Collection[Way], stops: Collection[Way]
) -> tuple[tuple[Way, ...], ...] | None:
    """Return the runs between reversals that lead from some ways to others, as few runs as can be.

    A train may reverse on any way here; a run ends on the way where it does and the next begins on that way turned.
    None where no number of reversals would do.
    """
    goals = set(stops)
    waves: list[dict[Way, Way | None]] = []
    seen: set[Way] = set()
    frontier = [way for way in starts if way in graph.successors]
    while frontier:
        wave: dict[Way, Way | None] = dict.fromkeys(frontier)
        queue = list(wave)
        for way in queue:
            for following in graph.successors[way]:
                if following not in seen and following not in wave:
                    wave[following] = way
                    queue.append(following)
        waves.append(wave)
        seen.update(wave)
        reached = next((way for way in queue if way in goals), None)
        if reached is not None:
            return _runs_of_waves(waves, reached)
        frontier = [way.turned() for way in queue if way.turned() in graph.successors and way.turned() not in seen]
    return None


def _runs_of_waves(waves: Sequence[Mapping[Way, Way | None]], reached: Way) -> tuple[tuple[Way, ...], ...]:
    runs: list[tuple[Way, ...]] = []
    for wave in reversed(waves):
        runs.append(path_to(wave, reached))
        reached = runs[-1][0].turned()
    return tuple(reversed(runs))
