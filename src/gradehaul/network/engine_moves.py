"""Engine moves: where locomotives alone can run past standing vehicles, reversing beyond joints that they clear."""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from gradehaul.network.graph import MovementGraph, Way

_WHOLE = 1 - 1e-9
"""Room so little shorter than an engine holds it."""


class EngineMove(NamedTuple):
    """A way that an engine can run onto, how long it may be for that, m, and the ways onto which it reversed before."""

    way: Way
    room: float
    spurs: tuple[Way, ...]


def engine_moves(
    graph: MovementGraph, chain: Sequence[Way], taken: Collection[str], enough: float, into: Way | None = None
) -> Iterator[EngineMove]:
    """Yield the ways that an engine can run onto, those first that leave most room; some come more than once.

    Where it reverses beyond a joint, all of it must clear the joint: the room there is the farthest that it gets from
    it by the shortest way.

    Parameters
    ----------
    graph
        The movement graph.
    chain
        The ways that the engine stands on, the one last from which it runs on. The first is the one behind it, which
        it need not stand on.
    taken
        Tracks that other vehicles stand on.
    enough
        Room that counts for no more, m.
    into
        A way that may be run onto though its track is taken.
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
            onward = [(following, -less, spurs)]
            if following.track not in taken:
                out = _reversed_out(graph, way, following, taken, -less)
                onward += [(other, room, (*spurs, following)) for other, room in out]
            for new, room, there in onward:
                if new == into or new.track not in taken:
                    heapq.heappush(queue, (-room, passed + 1, new, there))


def _reversed_out(
    graph: MovementGraph, way: Way, following: Way, taken: Collection[str], room: float
) -> Iterator[tuple[Way, float]]:
    """Yield the ways onto which an engine comes out again that has run from one way onto the next, and the room, m."""
    others = [other for other in graph.successors.get(following.turned(), ()) if other != way.turned()]
    if others:
        there = room_beyond(graph, following, taken, room)
        yield from ((other, there) for other in others)


def room_beyond(graph: MovementGraph, start: Way, taken: Collection[str], enough: float) -> float:
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


def can_reach(graph: MovementGraph, chain: Sequence[Way], goal: Way, taken: Collection[str], length: float) -> bool:
    """Return whether an engine of a length, m, that stands on the ways of a chain can run onto a way."""
    if goal not in graph.successors or any(way not in graph.successors for way in chain):
        return False
    moves = engine_moves(graph, chain, taken, length, into=goal)
    return any(move.way == goal and move.room >= length * _WHOLE for move in moves)


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
        and move.room >= length * _WHOLE
        and room_beyond(graph, move.way, barred, length) >= length * _WHOLE
        for move in engine_moves(graph, chain, taken, length)
    )
