"""The shortest route past what it must pass: with the fewest reversals, and of those the least length."""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, count
from typing import TypeVar

from gradehaul.network.graph import MovementGraph, Way

_Node = TypeVar("_Node", bound=Hashable)
_Cost = TypeVar("_Cost", float, tuple[int, float], tuple[float, int])

SearchState = tuple[Way, int]
"""A way, and the number of `via` that are left to pass when a train has run onto it."""

Cost = tuple[int, float]
"""Reversals, and length, m: of two routes the one with fewer reversals is the better, of equals the shorter."""

Runs = tuple[tuple[Way, ...], ...]
"""The ways of each run in one direction; a run begins on the last way of the one before, turned."""

MOST_LOOKED_AT = 1_000_000
"""A search that must try routes one by one gives up after this many ways of theirs, all in all."""


def dijkstra(
    begin: Iterable[tuple[_Cost, _Node]], onward: Callable[[_Node, _Cost], Iterable[tuple[_Cost, _Node]]]
) -> dict[_Node, tuple[_Cost, _Node | None]]:
    """Return for every node that can be reached its least cost and the node before it: Dijkstra's search.

    `onward` yields the nodes that follow one and what each costs, which is never less. Of equals the least node is
    taken first.
    """
    number = count()
    tree: dict[_Node, tuple[_Cost, _Node | None]] = {}
    queue: list[tuple[_Cost, _Node, int, _Node | None]] = [(cost, node, next(number), None) for cost, node in begin]
    heapq.heapify(queue)
    while queue:
        cost, node, _, before = heapq.heappop(queue)
        if node not in tree:
            tree[node] = cost, before
            for farther, new in onward(node, cost):
                if new not in tree:
                    heapq.heappush(queue, (farther, new, next(number), node))
    return tree


def path_to(tree: Mapping[_Node, tuple[_Cost, _Node | None]], node: _Node) -> list[_Node]:
    """Return the nodes on the path to one, from the first."""
    nodes = [node]
    while (before := tree[nodes[-1]][1]) is not None:
        nodes.append(before)
    return nodes[::-1]


def path_ways(tree: Mapping[SearchState, tuple[Cost, SearchState | None]], state: SearchState) -> list[Way]:
    """Return the ways on the path to a state, from the first."""
    return [way for way, _ in path_to(tree, state)]


@dataclass(frozen=True, slots=True)
class RouteCut:
    """How far a route gets that no train can follow.

    `passed` is the greatest number of `via` that a train can pass in order, and `at` has the ways on which it passes
    the last of them. Where every way round was found to run twice over a track in one direction, `twice` is one such;
    `gave_up` is whether the search for one that does not was given up.
    """

    passed: int
    at: tuple[Way, ...]
    twice: Way | None = None
    gave_up: bool = False


class _Passing:
    """Counts the `via` that a train has left to pass as it runs on."""

    def __init__(self, graph: MovementGraph, via: Sequence[str]) -> None:
        self.graph = graph
        self.via = via
        self.near = {way for name in via for way in graph.ways_at.get(name, ())}

    def onto(self, before: Way | None, way: Way, left: int) -> SearchState:
        """Return the state of a train that has run onto a way with so many `via` left before."""
        if way in self.near:
            for group in self.graph.met(before, way):
                fresh = set(group)
                while left and self.via[-left] in fresh:
                    fresh.remove(self.via[-left])
                    left -= 1
        return way, left


def passes(graph: MovementGraph, ways: Sequence[Way], via: Sequence[str]) -> bool:
    """Return whether a route passes each `via` in order."""
    passing = _Passing(graph, via)
    left = len(via)
    for before, way in zip((None, *ways), ways, strict=False):
        _, left = passing.onto(before, way, left)
    return not left


class Search:
    """The search for routes from any of some ways to any of others.

    Routes pass the lines, berths and joints of `via` in order; a train may reverse at the far end of ways `turning`.
    """

    def __init__(
        self,
        graph: MovementGraph,
        starts: Collection[Way],
        stops: Collection[Way],
        via: Sequence[str] = (),
        turning: Collection[Way] = frozenset(),
    ) -> None:
        self.graph = graph
        self._via = via
        self._turning = turning
        self._passing = _Passing(graph, via)
        self._begin = [self._passing.onto(None, way, len(via)) for way in starts]
        self._goals = {(way, 0) for way in stops}
        self._tree = self._best_states()

    def _onward(self, state: SearchState) -> Iterator[tuple[SearchState, bool]]:
        """Yield the states that may follow one, each with whether the train reverses to come to it."""
        way, left = state
        near = self._passing.near
        for new in self.graph.successors[way]:
            yield self._passing.onto(way, new, left) if new in near else (new, left), False
        if way in self._turning:
            yield self._passing.onto(way, way.turned(), left), True

    def _best_states(self, barred: Collection[Way] = frozenset()) -> dict[SearchState, tuple[Cost, SearchState | None]]:
        """Return the shortest-path tree over states off some ways.

        It does not go on from a state whose way was reached before at no more cost with no more `via` left: whoever
        has fewer left is never behind on the way to a goal.
        """
        lengths = self.graph.lengths
        fewest_left: dict[Way, int] = {}

        def onward(state: SearchState, cost: Cost) -> Iterator[tuple[Cost, SearchState]]:
            way, left = state
            if left < fewest_left.get(way, left + 1):
                fewest_left[way] = left
                for new, reverses in self._onward(state):
                    if new[0] not in barred:
                        yield (cost[0] + reverses, cost[1] + lengths[new[0]]), new

        return dijkstra([((0, lengths[s[0]]), s) for s in self._begin if s[0] not in barred], onward)

    def shortest(self) -> Runs | RouteCut:
        """Return the route with the fewest reversals, and of those the shortest, no run of it twice over one way."""
        reached = [(self._tree[goal][0], goal) for goal in self._goals if goal in self._tree]
        if not reached:
            left = min((left for _, left in self._tree), default=len(self._via))
            at = [s[0] for s, (_, b) in self._tree.items() if s[1] == left and (b is None or b[1] > left)]
            return RouteCut(len(self._via) - left, tuple(at))
        runs = _runs(path_ways(self._tree, min(reached)[1]))
        if all(len(set(run)) == len(run) for run in runs):
            return runs
        # a state may be new where its way is not: look on for a route that runs over no track twice the same way
        simple = self._shortest_simple()
        if isinstance(simple, tuple):
            return simple
        twice, _ = Counter(chain(*runs)).most_common(1)[0]
        return RouteCut(len(self._via), (), twice, gave_up=simple is not None)

    def _shortest_simple(self) -> Runs | bool | None:
        """Try routes one by one, those that promise to be shortest first (A* search); True where it gives up."""
        to_go = self._costs_to_go()
        lengths = self.graph.lengths
        number = count()  # of equals the youngest, which is the furthest, first

        def step(cost: Cost, state: SearchState, behind: _Trail | None, run: frozenset[Way]) -> _Step:
            reversals, length = to_go[state][0]
            return (cost[0] + reversals, cost[1] + length), -next(number), cost, (state, behind), run

        queue = [
            step((0, lengths[state[0]]), state, None, frozenset({state[0]}))
            for state in sorted(self._begin, reverse=True)
            if state in to_go
        ]
        heapq.heapify(queue)
        seen: set[tuple[SearchState, frozenset[Way]]] = set()
        looked_at = 0
        while queue:
            _, _, cost, trail, run = heapq.heappop(queue)
            state = trail[0]
            if state in self._goals:
                return _runs(reversed(list(_back_along(trail))))
            if (state, run) in seen:
                continue
            seen.add((state, run))
            looked_at += len(run)
            if looked_at > MOST_LOOKED_AT:
                return True
            for new, reverses in sorted(self._onward(state), reverse=True):
                if new in to_go and (reverses or new[0] not in run):
                    over = frozenset({new[0]}) if reverses else run | {new[0]}
                    heapq.heappush(queue, step((cost[0] + reverses, cost[1] + lengths[new[0]]), new, trail, over))
        return None

    def _costs_to_go(self) -> dict[SearchState, tuple[Cost, SearchState | None]]:
        """Return the least cost from each state that can be reached to the nearest goal, where it leads to one."""
        leading: dict[SearchState, list[tuple[SearchState, bool]]] = {state: [] for state in self._begin}
        looked_at = list(leading)
        for state in looked_at:
            for new, reverses in self._onward(state):
                if new not in leading:
                    leading[new] = []
                    looked_at.append(new)
                leading[new].append((state, reverses))

        def back(state: SearchState, cost: Cost) -> Iterator[tuple[Cost, SearchState]]:
            for before, reverses in leading[state]:
                yield (cost[0] + reverses, cost[1] + self.graph.lengths[state[0]]), before

        return dijkstra([((0, 0.0), goal) for goal in self._goals if goal in leading], back)

    def others(self, ways: Sequence[Way]) -> Iterator[tuple[Way, ...]]:
        """Yield routes without reversal other than the shortest: each ends elsewhere, or joins it from another side.

        Any other route ends with a stretch of the shortest one, however short, and what leads to the move by which it
        joins keeps off that stretch. The shortest way to that move mostly does; if not, a search that keeps off is
        made, where the network is small enough for many of them.
        """
        searches = max(1, 8_000 // len(self._tree))
        for goal in sorted(self._goals):
            if goal in self._tree and goal[0] != ways[-1]:
                yield from _simple(path_ways(self._tree, goal))
        most_left = self._most_left(ways)
        for place in range(len(ways) - 1, -1, -1):
            for joining in self._joining(ways[place], ways[place - 1] if place else None, most_left[place]):
                rest = set(ways[place:])
                head = path_ways(self._tree, joining)
                if not rest.isdisjoint(head) and searches:
                    searches -= 1
                    around = self._best_states(barred=rest)
                    head = path_ways(around, joining) if joining in around else head
                yield from _simple([*head, *ways[place:]])

    def _most_left(self, ways: Sequence[Way]) -> list[int]:
        """Return how many `via` may be left on each way of a route for the rest of it to pass them."""
        most = [0]
        for own, way in zip(ways[-2::-1], ways[:0:-1], strict=True):
            left = most[-1]
            while left < len(self._via) and self._passing.onto(own, way, left + 1)[1] <= most[-1]:
                left += 1
            most.append(left)
        return most[::-1]

    def _joining(self, way: Way, own: Way | None, most: int) -> Iterator[SearchState]:
        """Yield the states from which a train comes onto a way, from elsewhere than `own`, with few `via` left."""
        for before in self.graph.predecessors[way]:
            for left in range(len(self._via) + 1 if before != own else 0):
                if (before, left) in self._tree and self._passing.onto(before, way, left)[1] <= most:
                    yield before, left


_Trail = tuple[SearchState, "_Trail | None"]
"""A state and the trail that leads to it: trails with a common beginning share it."""

_Step = tuple[Cost, int, Cost, _Trail, frozenset[Way]]


def _back_along(trail: _Trail | None) -> Iterator[Way]:
    while trail is not None:
        (way, _), trail = trail
        yield way


def _simple(ways: Sequence[Way]) -> Iterator[tuple[Way, ...]]:
    """Yield a route if it runs over no way twice."""
    if len(set(ways)) == len(ways):
        yield tuple(ways)


def _runs(ways: Iterable[Way]) -> Runs:
    """Divide the ways of a route into runs where it reverses."""
    runs: list[list[Way]] = []
    for way in ways:
        if runs and way != runs[-1][-1].turned():
            runs[-1].append(way)
        else:
            runs.append([way])
    return tuple(tuple(run) for run in runs)
