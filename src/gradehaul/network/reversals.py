"""Reversals: ways that turn back in berths and at ends of track, as runs from one reversal to the next."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import count, takewhile

from gradehaul.network.engine_moves import RunRound
from gradehaul.network.graph import MovementGraph, Way, path_to
from gradehaul.network.search_tree import MOST_LOOKED_AT, GaveUp, Passing, State
from gradehaul.quantities.si import Meters

Runs = tuple[tuple[Way, ...], ...]
"""The ways of each run in one direction; a run begins on the last way of the one before, turned."""


@dataclass(frozen=True, slots=True)
class Tail:
    """Where a train reverses: a berth or an end of track, and the track it must stand on, all of it, to go on.

    That is the track which it runs over both ways, from the joint at which it then leaves it, m long. `within` is
    whether all of it lies in the berth. Where its locomotives run round it, that is track of the berth alone, and
    `run_round` is their way; else None.
    """

    joint: str | None
    berth: str | None
    length: Meters
    within: bool = False
    run_round: RunRound | None = None

    @property
    def place(self) -> str:
        """Its place in messages."""
        return f'in berth "{self.berth}"' if self.berth is not None else f'at "{self.joint}"'

    @property
    def name(self) -> str:
        """Its name in messages."""
        return f"the tail {self.place}"

    @property
    def round_room(self) -> Meters | None:
        """How long locomotives may be that run round a train in it, m; None where they stay."""
        return None if self.run_round is None else self.run_round.room


def reversing_ways(graph: MovementGraph) -> frozenset[Way]:
    """Return the ways at whose far end a train may reverse: the last of a berth in either direction, and at ends."""
    plan = graph.plan
    ends = {way for way, joint in graph.joint_ahead.items() if plan.joints[joint].kind == "end"}
    for berth in plan.berths.values():
        ends |= {Way(berth.tracks[-1], forward=True), Way(berth.tracks[0], forward=False)}
    return frozenset(way for way in ends if way in graph.successors and way.turned() in graph.successors)


Cost = tuple[int, float]
"""Reversals, and length, m: of two runs the one with fewer reversals is the better, of equals the shorter."""

_Trail = tuple[State, "_Trail | None"]
"""A state and the trail that leads to it: trails with a common beginning share it."""


def shortest_reversing(
    graph: MovementGraph, starts: Collection[Way], stops: Collection[Way], via: Sequence[str] = ()
) -> Runs | GaveUp | None:
    """Return the runs with the fewest reversals, and of those the shortest, from some ways to others.

    No run is twice on a track in one direction; all together pass the lines, berths and joints named in `via` in order.
    None where no number of reversals does.
    """
    passing = Passing(graph, via)
    continuations = partial(_continuations, graph, passing, reversing_ways(graph))
    begin = [passing.onto(None, way, 0) for way in starts]
    goals = {(way, len(via)) for way in stops}
    to_go = _costs_to_go(graph, begin, goals, continuations)
    number = count()  # of equals the youngest, which is the furthest, first
    queue = [
        _step(to_go, (0, graph.lengths[state[0]]), (state, None), frozenset({state[0]}), next(number))
        for state in sorted(begin, reverse=True)
        if state in to_go
    ]
    heapq.heapify(queue)
    seen: set[tuple[State, frozenset[Way]]] = set()
    looked_at = 0
    while queue:
        *_, (reversals, length), trail, run = heapq.heappop(queue)
        state = trail[0]
        if state in goals:
            return _runs(trail)
        if (state, run) in seen:
            continue
        seen.add((state, run))
        looked_at += len(run)
        if looked_at > MOST_LOOKED_AT:
            return GaveUp(state[0])
        for new, reverses in continuations(state):
            if new in to_go and (reverses or new[0] not in run):
                cost = reversals + reverses, length + graph.lengths[new[0]]
                over = frozenset({new[0]}) if reverses else run | {new[0]}
                heapq.heappush(queue, _step(to_go, cost, (new, trail), over, next(number)))
    return None


def _continuations(
    graph: MovementGraph, passing: Passing, turning: Collection[Way], state: State
) -> list[tuple[State, bool]]:
    """Return the states that may follow one, the least last, each with whether the train reverses to come to it."""
    way, passed = state
    moves = [(passing.onto(way, new, passed), False) for new in graph.successors[way]]
    if way in turning and way.turned() not in graph.successors[way]:
        moves.append((passing.onto(way, way.turned(), passed), True))
    return sorted(moves, reverse=True)


_Step = tuple[int, float, int, Cost, _Trail, frozenset[Way]]


def _step(to_go: Mapping[State, Cost], cost: Cost, trail: _Trail, run: frozenset[Way], number: int) -> _Step:
    """Return a trail as it is queued: by the reversals and the length that it comes to at the least."""
    reversals, length = to_go[trail[0]]
    return cost[0] + reversals, cost[1] + length, -number, cost, trail, run


def _costs_to_go(
    graph: MovementGraph,
    begin: Collection[State],
    goals: Collection[State],
    continuations: Callable[[State], list[tuple[State, bool]]],
) -> dict[State, Cost]:
    """Return the least cost from each state that can be reached to the nearest goal, of those that can reach one."""
    leading: dict[State, list[tuple[State, bool]]] = {state: [] for state in begin}
    looked_at = list(leading)
    for state in looked_at:
        for new, reverses in continuations(state):
            if new not in leading:
                leading[new] = []
                looked_at.append(new)
            leading[new].append((state, reverses))
    to_go: dict[State, Cost] = {}
    queue = [(0, 0.0, goal) for goal in goals if goal in leading]
    heapq.heapify(queue)
    while queue:
        reversals, length, state = heapq.heappop(queue)
        if state in to_go:
            continue
        to_go[state] = reversals, length
        for before, reverses in leading[state]:
            if before not in to_go:
                heapq.heappush(queue, (reversals + reverses, length + graph.lengths[state[0]], before))
    return to_go


def _runs(trail: _Trail | None) -> Runs:
    ways: list[Way] = []
    while trail is not None:
        (way, _), trail = trail
        ways.append(way)
    runs: list[list[Way]] = []
    for way in reversed(ways):
        if runs and way != runs[-1][-1].turned():
            runs[-1].append(way)
        else:
            runs.append([way])
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


def fewest_reversals(graph: MovementGraph, starts: Collection[Way], stops: Collection[Way]) -> Runs | None:
    """Return the runs between reversals that lead from some ways to others, as few runs as can be.

    A train may reverse on any way here; a run ends on the way where it does and the next begins on that way turned.
    None where no number of reversals works.
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
            runs: list[tuple[Way, ...]] = []
            for each in reversed(waves):
                runs.append(path_to(each, reached))
                reached = runs[-1][0].turned()
            return tuple(reversed(runs))
        frontier = [way.turned() for way in queue if way.turned() in graph.successors and way.turned() not in seen]
    return None
