"""Searches on the movement graph: the shortest route, the lowest and the highest ruling one, how many, and each."""

from __future__ import annotations

import heapq
from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import count, islice

import networkx as nx

from gradehaul.network.graph import MovementGraph, Way

MOST_OTHERS = 8
"""Routes beside the shortest that are looked at for the one to tell of."""

MANY_VIA = 4
"""With so many `via` the best states alone are looked at first."""

MOST_LOOKED_AT = 1_000_000
"""A search that must try routes one by one gives up when it has looked at this many ways of theirs, all in all."""

MOST_TRIED = 32
"""Where moves form cycles, this many of the steepest tracks are tried for a route that runs over them."""

State = tuple[Way, int]
"""A way, and the number of `via` passed when a train has run onto it."""

Tree = dict[State, tuple[float, State | None]]
"""For every state reached, the length run up to the end of its way, m, and the state before it."""

_Trail = tuple[Way, "_Trail | None"]
"""A way and the trail that leads to it: trails with a common beginning share it."""


# The shortest route


@dataclass(frozen=True, slots=True)
class Found:
    """The shortest route that fits, and a few others that fit as well."""

    ways: tuple[Way, ...]
    others: tuple[tuple[Way, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Cut:
    """How far a route gets that no train can follow.

    `passed` is the greatest number of `via` that a train can pass in order, and `at` has the ways on which it passes
    the last of them. Where every way round was found to run twice over a track in one direction, `twice` is one such.
    """

    passed: int
    at: tuple[Way, ...]
    twice: Way | None = None


def shortest(
    graph: MovementGraph,
    starts: Collection[Way],
    stops: Collection[Way],
    via: Sequence[str] = (),
    *,
    most_others: int = MOST_OTHERS,
) -> Found | Cut:
    """Find the shortest route from any of the first ways to any of the last ones.

    Parameters
    ----------
    graph
        The movement graph.
    starts, stops
        The first ways and the last ones.
    via
        Names of lines, berths and joints to pass, in order.
    most_others
        How many other routes to look for, at the most.
    """
    passing = Passing(graph, via)
    begin = [passing.onto(None, way, 0) for way in starts]
    goals = {(way, len(via)) for way in stops}
    # the more via, the more states there are of each way, and the less choice is left
    best_alone = len(via) >= MANY_VIA
    tree = _shortest_tree(graph, begin, passing, best_alone=best_alone)
    if best_alone and not _is_only_one(graph, passing, tree, goals):
        tree = _shortest_tree(graph, begin, passing)
    reached = sorted((tree[goal][0], goal) for goal in goals if goal in tree)
    if not reached:
        return _cut(tree)
    states = _traced(tree, reached[0][1])
    ways = _ways(states)
    if len(set(ways)) == len(ways):
        others = _others(graph, passing, begin, tree, states, [goal for _, goal in reached[1:]])
        return Found(ways, tuple(islice(others, most_others)))
    # a state may be new where its way is not: look on for a route that runs over no track twice the same way
    simple = _shortest_simple(graph, passing, begin, goals, tree)
    if simple is not None:
        return Found(simple)
    return Cut(len(via), _cut(tree).at, Counter(ways).most_common(1)[0][0])


def passes(graph: MovementGraph, ways: Sequence[Way], via: Sequence[str]) -> bool:
    """Tell whether a route passes each `via` in order."""
    passing = Passing(graph, via)
    passed = 0
    for before, way in zip((None, *ways), ways, strict=False):
        passed = passing.onto(before, way, passed)[1]
    return passed == len(via)


class Passing:
    """Counts the `via` that a train has passed as it runs on."""

    def __init__(self, graph: MovementGraph, via: Sequence[str]) -> None:
        self.graph = graph
        self.via = via
        self.near = {way for name in via for way in graph.ways_at.get(name, ())}

    def onto(self, before: Way | None, way: Way, passed: int) -> State:
        """Return the state of a train that has run onto a way with so many `via` passed before."""
        if way in self.near:
            for group in self.graph.met(before, way):
                fresh = set(group)
                while passed < len(self.via) and self.via[passed] in fresh:
                    fresh.remove(self.via[passed])
                    passed += 1
        return way, passed


def _shortest_tree(
    graph: MovementGraph,
    begin: Collection[State],
    passing: Passing,
    barred: Collection[Way] = frozenset(),
    *,
    best_alone: bool = False,
) -> Tree:
    """Run Dijkstra's search over states, keeping off some ways.

    With `best_alone`, states are left out whose way was reached before, at no more length and with no fewer `via`
    passed. Whoever has passed more is never behind on the way to a goal, so a goal is as near without them; of several
    shortest routes another may be found.
    """
    tree: Tree = {}
    most_passed: dict[Way, int] = {}
    near, lengths = passing.near, graph.lengths
    # of states at the same length those first that have passed more
    queue: list[tuple[float, int, State, State | None]] = [
        (lengths[state[0]], -state[1], state, None) for state in begin if state[0] not in barred
    ]
    heapq.heapify(queue)
    while queue:
        length, _, state, before = heapq.heappop(queue)
        if state in tree:
            continue
        way, passed = state
        if best_alone:
            if passed <= most_passed.get(way, -1):
                continue
            most_passed[way] = passed
        tree[state] = length, before
        for following in graph.successors[way]:
            new = passing.onto(way, following, passed) if following in near else (following, passed)
            if new not in tree and following not in barred:
                heapq.heappush(queue, (length + lengths[following], -new[1], new, state))
    return tree


def _traced(tree: Tree, state: State) -> list[State]:
    states = [state]
    while (before := tree[states[-1]][1]) is not None:
        states.append(before)
    return states[::-1]


def _ways(states: Sequence[State]) -> tuple[Way, ...]:
    return tuple(way for way, _ in states)


def _cut(tree: Tree) -> Cut:
    passed = max((passed for _, passed in tree), default=0)
    first = (s[0] for s, (_, before) in tree.items() if s[1] == passed and (before is None or before[1] < passed))
    return Cut(passed, tuple(first))


def _is_only_one(graph: MovementGraph, passing: Passing, tree: Tree, goals: Collection[State]) -> bool:
    """Tell from the best states alone whether one route fits, and no other.

    Any other ends elsewhere, or comes onto the one from another side with enough `via` passed for what is left of it.
    """
    reached = [goal for goal in goals if goal in tree]
    if len(reached) != 1:
        return False
    ways = _ways(_traced(tree, reached[0]))
    if len(set(ways)) < len(ways):
        return False
    needed = most = len(passing.via)  # so many must be passed on a way for the rest of the route to pass the others
    for place in range(len(ways) - 1, -1, -1):
        way, own = ways[place], ways[place - 1] if place else None
        for before in graph.predecessors[way]:
            passed = next((passed for passed in range(most, -1, -1) if (before, passed) in tree), None)
            if before != own and passed is not None and passing.onto(before, way, passed)[1] >= needed:
                return False
        while own is not None and needed and passing.onto(own, way, needed - 1)[1] >= needed:
            needed -= 1
    return True


def _others(
    graph: MovementGraph,
    passing: Passing,
    begin: Collection[State],
    tree: Tree,
    states: Sequence[State],
    goals: Sequence[State],
) -> Iterator[tuple[Way, ...]]:
    """Yield routes other than the shortest one, `states`: each ends elsewhere, or joins it from another side.

    Any other route ends with a stretch of the shortest one, however short, and what leads to the move by which it
    joins keeps off that stretch. The shortest way to that move mostly does; if not, a search that keeps off is made,
    where the network is small enough for many of them.
    """
    searches = max(1, 8_000 // len(tree))
    for goal in goals:
        ways = _ways(_traced(tree, goal))
        if len(set(ways)) == len(ways):
            yield ways
    for place in range(len(states) - 1, -1, -1):
        if len(graph.predecessors[states[place][0]]) == (1 if place else 0):
            continue  # nothing joins here
        rest = _ways(states[place:])
        for joining in _states_before(graph, passing, tree, states[place]):
            if place and joining == states[place - 1]:
                continue
            head = _ways(_traced(tree, joining))
            if not set(head).isdisjoint(rest) and searches:
                searches -= 1
                around = _shortest_tree(graph, begin, passing, barred=set(rest))
                head = _ways(_traced(around, joining)) if joining in around else head
            if len({*head, *rest}) == len(head) + len(rest):
                yield (*head, *rest)


def _states_before(graph: MovementGraph, passing: Passing, tree: Tree, state: State) -> Iterator[State]:
    way, passed = state
    for before in graph.predecessors[way]:
        for fewer in range(passed, -1, -1):
            if (before, fewer) in tree and passing.onto(before, way, fewer) == state:
                yield before, fewer


def _shortest_simple(
    graph: MovementGraph, passing: Passing, begin: Collection[State], goals: Collection[State], tree: Tree
) -> tuple[Way, ...] | None:
    """Try routes one by one, those that promise to be shortest first (A* search), each over no way twice."""
    to_go = _lengths_to_go(graph, passing, goals, tree)
    number = count()  # settles ties: the youngest, which is the furthest, first
    queue: list[tuple[float, int, float, State, _Trail]] = []
    for state in begin:
        if state in to_go:
            length = graph.lengths[state[0]]
            heapq.heappush(queue, (length + to_go[state], -next(number), length, state, (state[0], None)))
    looked_at = 0
    while queue and looked_at < MOST_LOOKED_AT:
        _, _, length, state, trail = heapq.heappop(queue)
        if state in goals:
            return tuple(_back_along(trail))[::-1]
        behind = set(_back_along(trail))
        looked_at += len(behind)
        for following in graph.successors[state[0]]:
            new = passing.onto(state[0], following, state[1])
            if new in to_go and following not in behind:
                far = length + graph.lengths[following]
                heapq.heappush(queue, (far + to_go[new], -next(number), far, new, (following, trail)))
    return None


def _back_along(trail: _Trail | None) -> Iterator[Way]:
    while trail is not None:
        way, trail = trail
        yield way


def _lengths_to_go(graph: MovementGraph, passing: Passing, goals: Collection[State], tree: Tree) -> dict[State, float]:
    """Return the length from the end of each state's way to the nearest goal, of those that can reach one."""
    leading: defaultdict[State, list[State]] = defaultdict(list)
    for state in tree:
        for following in graph.successors[state[0]]:
            leading[passing.onto(state[0], following, state[1])].append(state)
    to_go: dict[State, float] = {}
    queue = [(0.0, goal) for goal in goals if goal in tree]
    heapq.heapify(queue)
    while queue:
        length, state = heapq.heappop(queue)
        if state in to_go:
            continue
        to_go[state] = length
        for before in leading[state]:
            if before not in to_go:
                heapq.heappush(queue, (length + graph.lengths[state[0]], before))
    return to_go


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
            return _runs(waves, reached)
        frontier = [way.turned() for way in queue if way.turned() in graph.successors and way.turned() not in seen]
    return None


def _runs(waves: Sequence[Mapping[Way, Way | None]], reached: Way) -> tuple[tuple[Way, ...], ...]:
    runs: list[tuple[Way, ...]] = []
    for wave in reversed(waves):
        runs.append(_path(wave, reached))
        reached = runs[-1][0].turned()
    return tuple(reversed(runs))


def _path(came_from: Mapping[Way, Way | None], way: Way) -> tuple[Way, ...]:
    ways = [way]
    while (before := came_from[ways[-1]]) is not None:
        ways.append(before)
    return tuple(reversed(ways))


# The lowest and the highest ruling grade, and how many routes there are


def lowest_ruling(
    graph: MovementGraph, starts: Collection[Way], stops: Collection[Way], steepest: Mapping[Way, float]
) -> dict[Way, tuple[Way, ...]]:
    """Return, for each of the last ways that can be reached, the route to it whose steepest place is least steep.

    It is a bottleneck path, found by Dijkstra's search with "the steeper of" in place of the sum. Of several such
    routes it is the shortest.
    """
    ruling: dict[Way, float] = {}
    queue = [(steepest[way], way) for way in starts]
    heapq.heapify(queue)
    while queue:
        steep, way = heapq.heappop(queue)
        if way in ruling:
            continue
        ruling[way] = steep
        for following in graph.successors[way]:
            if following not in ruling:
                heapq.heappush(queue, (max(steep, steepest[following]), following))
    found: dict[Way, tuple[Way, ...]] = {}
    for limit in {ruling[way]: None for way in stops if way in ruling}:
        barred = {way for way, steep in steepest.items() if steep > limit}
        tree = _shortest_tree(graph, [(way, 0) for way in starts], Passing(graph, ()), barred)
        found |= {way: _ways(_traced(tree, (way, 0))) for way in stops if ruling.get(way) == limit}
    return found


def highest_ruling(
    graph: MovementGraph,
    starts: Collection[Way],
    stops: Collection[Way],
    steepest: Mapping[Way, float],
    between: Collection[Way],
) -> tuple[Way, ...]:
    """Return a route with the highest ruling grade.

    It is one where the moves between the two places form no cycle. Where they do, a steep track may lie on no route
    at all, to be told only by trying every route, and the answer is the best that was found.

    Parameters
    ----------
    graph
        The movement graph.
    starts, stops
        The first ways and the last ones.
    steepest
        The steepest effective grade on each way.
    between
        The ways that can be reached from the first ones and from which a last one can be reached; not empty.
    """
    for middle in heapq.nsmallest(MOST_TRIED, between, key=lambda way: (-steepest[way], way)):
        ways = _through(graph, starts, middle, stops, between)
        if ways is not None:
            return ways
    easy = lowest_ruling(graph, starts, stops, steepest)
    return max(easy.values(), key=lambda ways: max(steepest[way] for way in ways))


def _through(
    graph: MovementGraph, starts: Collection[Way], middle: Way, stops: Collection[Way], within: Collection[Way]
) -> tuple[Way, ...] | None:
    """Return a route over one way, None where the nearest part on neither side leaves room for the other."""
    before = _fewest(graph.predecessors, middle, starts, within)
    if before is None:
        return None
    after = _fewest(graph.successors, middle, stops, within, barred=set(before[1:]))
    if after is None:
        after = _fewest(graph.successors, middle, stops, within)
        before = _fewest(graph.predecessors, middle, starts, within, barred=set(after[1:])) if after else None
    return (*reversed(before), *after[1:]) if before and after else None


def _fewest(
    following: Mapping[Way, Sequence[Way]],
    start: Way,
    goals: Collection[Way],
    within: Collection[Way],
    barred: Collection[Way] = frozenset(),
) -> tuple[Way, ...] | None:
    came_from: dict[Way, Way | None] = {start: None}
    queue = [start]
    for way in queue:
        if way in goals:
            return _path(came_from, way)
        for new in following[way]:
            if new in within and new not in came_from and new not in barred:
                came_from[new] = way
                queue.append(new)
    return None


def ways_on_circuits(graph: MovementGraph) -> set[Way]:
    """Return the ways that a train can come back to without reversing."""
    circuits = (part for part in nx.strongly_connected_components(graph.graph) if len(part) > 1)
    return {way for way in graph.successors if way in graph.successors[way]}.union(*circuits)


def count_routes(graph: MovementGraph, starts: Collection[Way]) -> dict[Way, int]:
    """Return how many routes lead from some ways to each way that can be reached, without listing them.

    Ways are put in the order in which a depth-first search leaves them, last first, and routes counted that keep to
    the order: all of them where the moves on the way form no cycle, else a lower bound.
    """
    routes = dict.fromkeys(_last_left_first(graph, starts), 0)
    rank = {way: place for place, way in enumerate(routes)}
    for way in routes:
        if way in starts:
            routes[way] += 1
        for following in graph.successors[way]:
            if rank[following] > rank[way]:
                routes[following] += routes[way]
    return routes


def _last_left_first(graph: MovementGraph, starts: Collection[Way]) -> list[Way]:
    left: list[Way] = []
    seen: set[Way] = set()
    for start in starts:
        if start in seen:
            continue
        seen.add(start)
        stack = [(start, iter(graph.successors[start]))]
        while stack:
            way, rest = stack[-1]
            new = next((each for each in rest if each not in seen), None)
            if new is None:
                left.append(way)
                stack.pop()
            else:
                seen.add(new)
                stack.append((new, iter(graph.successors[new])))
    return left[::-1]


# Every route and every circuit


def every_route(graph: MovementGraph, starts: Collection[Way], stops: Collection[Way]) -> Iterator[tuple[Way, ...]]:
    """Yield every route, one after another.

    Wherever a train could choose, only what still leads to a last way is followed, so that the next route is never
    long in coming, however many there are.
    """
    goals = set(stops)
    run: dict[Way, None] = {}
    to_try: list[Iterator[Way]] = [(way for way in starts if _leads_to(graph, way, goals, run))]
    while to_try:
        way = next(to_try[-1], None)
        if way is not None:
            run[way] = None
            if way in goals:
                yield tuple(run)
            to_try.append(_onward(graph, way, goals, run))
        else:
            to_try.pop()
            if run:
                run.popitem()


def _onward(graph: MovementGraph, way: Way, goals: set[Way], run: Collection[Way]) -> Iterator[Way]:
    """Return what may follow on a run that still leads to a last way; each is looked at when its turn comes."""
    choices = [new for new in graph.successors[way] if new not in run]
    if len(choices) == 1 and way not in goals:
        return iter(choices)
    return (new for new in choices if _leads_to(graph, new, goals, run))


def _leads_to(graph: MovementGraph, start: Way, goals: set[Way], run: Collection[Way]) -> bool:
    seen = {start}
    stack = [start]
    while stack:
        way = stack.pop()
        if way in goals:
            return True
        for new in graph.successors[way]:
            if new not in seen and new not in run:
                seen.add(new)
                stack.append(new)
    return False


def every_circuit(graph: MovementGraph) -> Iterator[tuple[Way, ...]]:
    """Yield every circuit in either direction, beginning with the line that stands first in the plan."""
    small = graph.line_graph()
    entrances = list(small)
    # numbers, since sets of names have another order on every run
    number_of = {way: number for number, way in enumerate(entrances)}
    numbered: nx.DiGraph[int] = nx.DiGraph()
    numbered.add_nodes_from(number_of.values())
    numbered.add_edges_from((number_of[one], number_of[following]) for one, following in small.edges)
    for cycle in nx.simple_cycles(numbered):
        first = cycle.index(min(cycle))
        yield graph.whole_lines(entrances[number] for number in (*cycle[first:], *cycle[:first]))
