"""Routes against every simple path: the shortest of equally ruled ones, and reversing ones that repeat no way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice, permutations
from random import Random

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradehaul.errors import Problems
from gradehaul.network.graph import MovementGraph, Way, standing_places
from gradehaul.network.routes import find_routes
from gradehaul.network.search import RouteCut, Search
from network.networks import lap, line, network, random_networks, routes_of, told, turnout
from network.test_reversals import may_turn

MOST_PATHS = 3000


def every_path(graph: MovementGraph, starts: Sequence[Way], stops: Sequence[Way]) -> list[tuple[Way, ...]]:
    found = []
    for start in starts:
        for stop in stops:
            if start == stop:
                found.append((start,))
            elif start in graph.graph and stop in graph.graph:
                found += map(tuple, islice(nx.all_simple_paths(graph.graph, start, stop), MOST_PATHS))
    return found


@settings(max_examples=80, deadline=None)
@given(random_networks(), st.randoms(use_true_random=False))
def test_of_equally_ruled_ways_the_shortest_is_shown(text: str, chance: Random) -> None:
    graph = network(text)
    by_track = {way.track: chance.choice([0.0, 0.01, 0.02]) for way in graph.graph}
    steepest = {way: by_track[way.track] for way in graph.graph}
    found = find_routes(graph, steepest)
    routes = {(one.origin, one.destination, one.name): one.ways for one in found.routes}
    exact = {(pair.origin, pair.destination): pair.exact for pair in found.between}
    places = standing_places(graph)
    for origin, destination in permutations(places, 2):
        paths = every_path(graph, origin.departures, destination.arrivals)
        if not paths or len(paths) >= MOST_PATHS:
            continue
        shortest: dict[float, float] = {}
        for ways in paths:
            ruling = max(steepest[way] for way in ways)
            shortest[ruling] = min(shortest.get(ruling, float("inf")), graph.length_of(ways))
        name = f"{origin.name} to {destination.name}"
        shown = [routes.get((origin.name, destination.name, name + end)) for end in ("", ", lowest ruling")]
        (lowest,) = (ways for ways in shown if ways is not None)
        assert max(steepest[way] for way in lowest) == min(shortest)
        assert graph.length_of(lowest) == pytest.approx(shortest[min(shortest)])
        highest = routes.get((origin.name, destination.name, f"{name}, highest ruling"), lowest)
        if exact[origin.name, destination.name]:
            assert max(steepest[way] for way in highest) == max(shortest)
            assert graph.length_of(highest) == pytest.approx(shortest[max(shortest)])
        else:  # ways form circuits: the highest is the best that was found, and a route all the same
            assert highest in paths


def test_of_the_steepest_ways_the_shortest_is_shown() -> None:
    graph = network(
        line("In", "West", "J"),
        line("Around", "J", "K", 9),
        line("Over", "J", "K", 2, 2),
        line("Easy", "J", "K", 5),
        line("Out", "K", "East"),
        turnout("J", "In", "Around", "Over", "Easy"),
        turnout("K", "Out", "Around", "Over", "Easy"),
    )
    steepest = {way: 0.03 if graph.line_of[way.track] in ("Around", "Over") else 0.0 for way in graph.graph}
    shown = {route.name: told(route.ways) for route in find_routes(graph, steepest).routes}
    assert shown["West to East, highest ruling"] == "In:1 Over:1 Over:2 Out:1"
    assert shown["East to West, highest ruling"] == "-Out:1 -Over:2 -Over:1 -In:1"


def test_a_lap_that_names_a_whole_circuit_runs_that_one() -> None:
    """The same lines may close over others too, and shorter ones."""
    tables = (
        line("A", "P", "Q", 2),
        line("B", "Q", "R", 9),
        line("Short", "Q", "R", 1),
        line("C", "R", "P", 2),
        turnout("Q", "A", "B", "Short"),
        turnout("R", "C", "B", "Short"),
    )
    for named in (["A", "B", "C"], ["A", "Short", "C"], ["C", "A", "B"]):
        found = routes_of(*tables, lap("Round", *named))
        assert [way.track.partition(":")[0] for way in found.routes[0].ways] == named
        assert found.notes == ()
    assert told(routes_of(*tables, lap("Round", "A", "C")).routes[0].ways) == "A:1 Short:1 C:1"


@settings(max_examples=40, deadline=None)
@given(random_networks(most=6))
def test_every_circuit_can_be_named_as_a_lap(text: str) -> None:
    graph = network(text)
    for circuit in islice(nx.simple_cycles(graph.graph), 12):
        first = next(n for n, way in enumerate(circuit) if graph.joint_ahead.get(way.turned()))
        ways = [*circuit[first:], *circuit[:first]]
        names = [graph.line_of[way.track] for n, way in enumerate(ways) if graph.joint_ahead.get(way.turned())]
        (found,) = routes_of(text.removeprefix('scale = "HO"\nunit = "m"\n'), lap("Round", *names)).routes
        lines = [graph.line_of[way.track] for way in found.ways if graph.joint_ahead.get(way.turned())]
        assert lines == names
        assert graph.length_of(found.ways) == pytest.approx(graph.length_of(ways))


def every_trip(
    graph: MovementGraph, starts: Sequence[Way], stops: Sequence[Way], via: Sequence[str], most: int
) -> Iterator[tuple[int, float]]:
    """Yield reversals and length of every trip whose runs repeat no way, found by trying all moves."""

    def enters(way: Way, first: bool) -> bool:
        return first or way.turned() in graph.joint_ahead

    def count(way: Way, first: bool, passed: int) -> int:
        fits = passed < len(via) and enters(way, first) and via[passed] == graph.line_of[way.track]
        return passed + fits

    trials = [(way, {way}, count(way, True, 0), 0, graph.lengths[way]) for way in starts]
    while trials:
        way, run, passed, reversals, length = trials.pop()
        if way in stops and passed == len(via):
            yield reversals, length
        onward = [(new, run | {new}, 0) for new in graph.graph.successors(way) if new not in run]
        if reversals < most and may_turn(graph, way) and not graph.graph.has_edge(way, way.turned()):
            onward.append((way.turned(), {way.turned()}, 1))
        trials += [
            (new, over, count(new, False, passed), reversals + back, length + graph.lengths[new])
            for new, over, back in onward
        ]


@settings(max_examples=150, deadline=None)
@given(random_networks(most=6), st.data())
def test_reversing_trips_against_every_trip(text: str, data: st.DataObject) -> None:
    graph = network(text)
    places = standing_places(graph)
    lines = list(graph.plan.lines)
    via = data.draw(st.lists(st.sampled_from(lines), min_size=1, max_size=3))
    for origin, destination in islice(permutations(places, 2), 4):
        trips = list(islice(every_trip(graph, origin.departures, destination.arrivals, via, 2), 20_000))
        if len(trips) == 20_000:
            continue
        found = Search(graph, origin.departures, destination.arrivals, via, graph.turning).shortest()
        assert not (isinstance(found, RouteCut) and found.gave_up)
        if isinstance(found, RouteCut) or len(found) > 3:
            assert trips == []
            continue
        reversals, length = min(trips)
        assert len(found) - 1 == reversals
        assert sum(graph.length_of(run) for run in found) == pytest.approx(length)
        assert all(len(set(run)) == len(run) for run in found)


def test_reversals_that_are_not_needed_are_a_note() -> None:
    tables = (line("A", "West", "J", 2), line("B", "J", "East", 2))
    wanted = '[route.Up]\nfrom = "West"\nto = "East"\nreversals = 2\n'
    (note,) = routes_of(*tables, wanted).notes
    assert str(note) == 'route "Up": it needs no reversal, and reversals = 2 allows more'


def test_a_search_that_is_given_up_says_so(monkeypatch) -> None:
    tables = (
        line("In", "West", "J"),
        line("Top", "J", "K"),
        line("Out", "K", "East"),
        line("Rest", "J", "K"),
        turnout("J", "Top", "In", "Rest"),
        turnout("K", "Top", "Out", "Rest"),
    )
    monkeypatch.setattr("gradehaul.network.search.MOST_LOOKED_AT", 3)
    with pytest.raises(Problems, match="was given up after"):
        routes_of(*tables, '[route.Up]\nfrom = "West"\nto = "East"\nvia = ["Rest"]\nreversals = 1\n')
