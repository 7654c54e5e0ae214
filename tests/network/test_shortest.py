"""Searches on the movement graph against brute force: every simple path of small random networks."""

from __future__ import annotations

from itertools import islice, pairwise, permutations

import networkx as nx
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from effort import at_most
from gradehaul.network.graph import MovementGraph, Way, standing_places
from gradehaul.network.routes import (
    count_routes,
    every_circuit,
    every_route,
    highest_ruling,
    lowest_ruling,
    ways_on_circuits,
)
from gradehaul.network.search import RouteCut, Search, passes
from network.networks import (
    crossing,
    every_path,
    ladder,
    line,
    network,
    random_networks,
    told,
    turnout,
    ways,
)


def shortest(graph: MovementGraph, starts, stops, via=()) -> list[tuple[Way, ...]] | RouteCut:
    """The shortest route without reversal and others that fit, at most eight; else how far a train gets."""
    search = Search(graph, starts, stops, via)
    found = search.shortest()
    return found if isinstance(found, RouteCut) else [found[0], *islice(search.others(found[0]), 8)]


def length(graph: MovementGraph, run) -> float:
    return sum(graph.lengths[way] for way in run)


def is_route(graph: MovementGraph, run, starts, stops) -> bool:
    moves = all(graph.graph.has_edge(one, other) for one, other in pairwise(run))
    return moves and len(set(run)) == len(run) and run[0] in starts and run[-1] in stops


@st.composite
def searched(draw):
    """A random network, how steep its ways are, and the ways that leave one place in it and that reach another."""
    graph = network(draw(random_networks()))
    places = standing_places(graph)
    assume(len(places) > 1)
    chance = draw(st.randoms(use_true_random=False))
    steepest = {way: chance.choice([-0.01, 0, 0.01, 0.02, 0.03, 0.04]) for way in graph.graph}
    origin, destination = draw(st.sampled_from(list(permutations(places, 2))))
    return graph, steepest, origin.departures, destination.arrivals


# The shortest


@given(searched(), st.data())
def test_shortest_and_whether_others_fit(drawn, data):
    graph, _, starts, stops = drawn
    names = [*graph.plan.lines, *graph.plan.joints, *graph.plan.berths]
    via = data.draw(st.lists(st.sampled_from(names), max_size=3))
    every = every_path(graph, starts, stops)
    paths = [path for path in every if passes(graph, path, via)]
    found = shortest(graph, starts, stops, via)
    if not paths:
        assert isinstance(found, RouteCut)
        anywhere = every_path(graph, starts, graph.graph)
        assert found.passed >= max(
            k for k in range(len(via) + 1) if not k or any(passes(graph, p, via[:k]) for p in anywhere)
        )
        assert found.twice is None or found.passed == len(via)
        assert via or set(found.at) == set(starts)
        return
    assert isinstance(found, list)
    assert found[0] in paths
    assert length(graph, found[0]) == min(length(graph, path) for path in paths)
    assert all(other in paths and other != found[0] for other in found[1:])
    assert via or (len(found) > 1) == (len(paths) > 1)


@pytest.mark.parametrize("lengths", [(1, 5), (20, 5)], ids=["late", "early"])
@pytest.mark.parametrize("via", [["X"], ["X", "T"], ["X", "N", "T", "U"], ["X", "Q2", "T", "U"]])
def test_a_route_that_passes_a_via_elsewhere_than_the_shortest_fits_as_well(via, lengths):
    # X is a crossing: one way to K leads over it too, and both go over it further on
    own, over = lengths
    graph = network(
        line("S", "West", "J"),
        line("Own", "J", "K", own),
        line("P1", "J", "X", over),
        line("P2", "X", "K", over),
        line("Z", "K", "M"),
        line("Q1", "M", "X"),
        line("Q2", "X", "N"),
        line("T", "N", "O"),
        line("U", "O", "East"),
        turnout("J", "S", "Own", "P1"),
        turnout("K", "Z", "Own", "P2"),
        crossing("X", ["P1", "P2"], ["Q1", "Q2"]),
    )
    found = shortest(graph, ways("S:1"), ways("U:1"), via)
    both = ways("S:1 Own:1 Z:1 Q1:1 Q2:1 T:1 U:1"), ways("S:1 P1:1 P2:1 Z:1 Q1:1 Q2:1 T:1 U:1")
    assert tuple(found) == (both if own < over else both[::-1])


def test_passes_keeps_the_order():
    graph = network(line("A", "West", "J"), line("B", "J", "K", 1, 1, berths=["", "Halt"]), line("C", "K", "East"))
    run = ways("A:1 B:1 B:2 C:1")
    for via in (
        ["West", "A", "J", "B", "Halt", "K", "C", "East"],
        ["A", "C"],
        ["J", "B", "K"],
        [],
    ):
        assert passes(graph, run, via), via
    for via in (["B", "J"], ["K", "B"], ["C", "A"], ["A", "A"], ["Halt", "Halt"], ["J", "J"], ["B", "B"]):
        assert not passes(graph, run, via), via


def test_a_berth_that_is_a_whole_line_is_met_together_with_it():
    graph = network(line("A", "West", "J"), line("B", "J", "East", keys='berth = "Bay"'))
    assert passes(graph, ways("A:1 B:1"), ["Bay", "B"])
    assert passes(graph, ways("A:1 B:1"), ["B", "Bay"])
    assert not passes(graph, ways("A:1 B:1"), ["B", "Bay", "B"])


LOOP = (line("A", "West", "J"), line("L", "J", "J", 2, 2), turnout("J", "A", "L.from", "L.to"))


def test_a_via_passed_twice():
    graph = network(*LOOP)
    for via in (["A", "A"], ["A", "L", "A"], ["J", "J"]):
        found = shortest(graph, ways("A:1"), ways("-A:1"), via)
        assert isinstance(found, list), via
    assert isinstance(shortest(graph, ways("A:1"), ways("-A:1"), ["L", "L"]), RouteCut)


def test_a_state_that_is_new_where_its_way_is_not():
    # from West the branch joins a circuit; East lies off it. The nearest way past Far runs once round and so over
    # Top twice; the one that does not is longer
    tables = (
        line("In", "West", "J"),
        line("Top", "J", "K"),
        line("Out", "K", "East"),
        line("Round", "K", "M"),
        line("Far", "M", "N"),
        line("Home", "N", "J"),
        turnout("J", "Top", "In", "Home"),
        turnout("K", "Top", "Out", "Round"),
    )
    graph = network(*tables)
    cut = shortest(graph, ways("In:1"), ways("Out:1"), ["Far"])
    assert isinstance(cut, RouteCut)
    assert (cut.passed, cut.twice) == (1, ways("Top:1")[0])
    # with another way off the circuit there is a simple path
    more = [each for each in tables if not each.startswith('[line."Out"') and '[line."Far"' not in each]
    graph = network(
        *more,
        line("Out", "K", "P"),
        line("Far", "M", "Q"),
        line("On", "Q", "N"),
        line("By", "Q", "P", 50),
        line("End", "P", "East"),
        turnout("Q", "Far", "On", "By"),
        turnout("P", "End", "Out", "By"),
    )
    found = shortest(graph, ways("In:1"), ways("End:1"), ["Far"])
    assert told(found[0]) == "In:1 Top:1 Round:1 Far:1 By:1 End:1"


def test_a_hopeless_via_gives_up_soon():
    # 20 passing tracks out, a reversing loop, and home: no train passes a lead three times
    graph = network(
        ladder(20).replace('to = "East"', 'to = "B"'), line("L", "B", "B"), turnout("B", "Last", "L.from", "L.to")
    )
    with at_most(20_000):
        found = shortest(graph, ways("Lead0:1"), ways("-Lead0:1"), ["Main7", "L", "Siding7", "Siding9", "L"])
        assert isinstance(found, RouteCut)


# The lowest and highest ruling grade, and how many


@given(searched())
@settings(max_examples=100)
def test_lowest_highest_and_count(drawn):
    graph, steepest, starts, stops = drawn
    paths = every_path(graph, starts, stops)
    easy = lowest_ruling(graph, starts, stops, steepest)
    assert bool(easy) == bool(paths)
    if not paths:
        return

    def ruling(path):
        return max(steepest[way] for way in path)

    for stop, run in easy.items():
        there = [path for path in paths if path[-1] == stop]
        assert run in there
        least = min(map(ruling, there))
        assert ruling(run) == least
        assert length(graph, run) == min(length(graph, path) for path in there if ruling(path) == least)

    between = graph.reach(starts) & graph.reach(stops, backward=True)
    within = graph.graph.subgraph(between)
    acyclic = nx.is_directed_acyclic_graph(within)
    assert between.isdisjoint(ways_on_circuits(graph)) == acyclic

    counts = count_routes(graph, starts)
    count = sum(counts.get(stop, 0) for stop in stops)
    run = highest_ruling(graph, starts, stops, steepest, between)
    assert is_route(graph, run, starts, stops)
    highest = max(map(ruling, paths))
    assert max(steepest[way] for way in between) >= highest
    if acyclic:
        assert count == len(paths)
        assert ruling(run) == highest
        assert length(graph, run) == min(length(graph, path) for path in paths if ruling(path) == highest)
    else:
        assert 1 <= count <= len(paths)
        assert min(map(ruling, paths)) <= ruling(run) <= highest


def test_steep_tracks_that_no_route_runs_over_do_not_lose_the_route():
    # between the entry and the exit of a circuit every train runs over Top; the rest of the circuit, steeper than
    # anything, would take it there twice
    graph = network(
        line("In", "West", "J"), line("Top", "J", "K"), line("Out", "K", "East"), line("Rest", "K", "J", *[1] * 100),
        turnout("J", "Top", "In", "Rest"), turnout("K", "Top", "Out", "Rest"),
    )  # fmt: skip
    steepest = {way: 0.03 if way.track.startswith("Rest") else 0.01 for way in graph.graph}
    starts, stops = ways("In:1"), ways("Out:1")
    between = graph.reach(starts) & graph.reach(stops, backward=True)
    assert Way("Rest:50", forward=True) in between
    assert told(highest_ruling(graph, starts, stops, steepest, between)) == "In:1 Top:1 Out:1"


def test_where_steep_tracks_are_out_of_reach_the_steepest_of_the_easy_routes_is_taken():
    graph = network(
        line("In", "West", "J"), line("Top", "J", "K"), line("Rest", "K", "J", *[1] * 100),
        line("Lead", "K", "M"), line("Out", "M", "East", 1, 1), line("Away", "M", "South", 1, 1),
        turnout("J", "Top", "In", "Rest"), turnout("K", "Top", "Lead", "Rest"), turnout("M", "Lead", "Out", "Away"),
    )  # fmt: skip
    steepest = {way: 0.03 if way.track.startswith("Rest") else 0.01 for way in graph.graph}
    steepest |= dict.fromkeys(ways("Away:1"), -0.01) | dict.fromkeys(ways("Away:2"), 0.02)
    starts, stops = ways("In:1"), ways("Out:2 Away:2")
    between = graph.reach(starts) & graph.reach(stops, backward=True)
    for order in (stops, stops[::-1]):
        run = highest_ruling(graph, starts, order, steepest, between)
        assert told(run) == "In:1 Top:1 Lead:1 Away:1 Away:2"


def test_a_steep_track_is_left_beside_the_way_that_led_there():
    # the nearest way home from Steep is back round over A, which a train has run over already
    graph = network(
        line("In", "West", "J"), line("A", "J", "K"), line("Steep", "K", "M"), line("Back", "M", "J"),
        line("Long", "M", "N", 50), line("Out", "K", "N"), line("End", "N", "East"),
        turnout("J", "A", "In", "Back"), turnout("K", "A", "Steep", "Out"), turnout("M", "Steep", "Back", "Long"),
        turnout("N", "End", "Out", "Long"),
    )  # fmt: skip
    steepest = {way: {"Steep": 0.03, "Out": 0.02}.get(graph.line_of[way.track], 0.0) for way in graph.graph}
    starts, stops = ways("In:1"), ways("End:1")
    between = graph.reach(starts) & graph.reach(stops, backward=True)
    assert told(highest_ruling(graph, starts, stops, steepest, between)) == "In:1 A:1 Steep:1 Long:1 End:1"


# Every route and circuit


@given(searched())
def test_every_route_once(drawn):
    graph, _, starts, stops = drawn
    paths = every_path(graph, starts, stops)
    found = list(every_route(graph, starts, stops))
    assert len(found) == len(set(found))
    assert set(found) == set(paths)


@given(random_networks())
def test_every_circuit_once_and_turned_round(text):
    graph = network(text)
    circuits = list(islice(every_circuit(graph), 500))
    assume(len(circuits) < 500)

    def rotated(run):
        return min(run[place:] + run[:place] for place in range(len(run)))

    found = {rotated(run) for run in circuits}
    assert len(found) == len(circuits)
    assert found == {rotated(tuple(run)) for run in nx.simple_cycles(graph.graph)}
    if graph.run_both_ways is graph:
        assert found == {rotated(tuple(way.turned() for way in reversed(run))) for run in circuits}
    order = [way for way in graph.graph if way.turned() in graph.joint_ahead]
    assert all(order.index(run[0]) == min(order.index(way) for way in run if way in order) for run in circuits)


def test_the_next_of_many_routes_is_never_long_in_coming():
    text = ladder(18).replace('to = "East"', 'to = "B"')
    graph = network(text, line("L", "B", "B"), turnout("B", "Last", "L.from", "L.to"))
    with at_most(300_000):
        found = list(islice(every_route(graph, ways("Lead0:1"), ways("-Lead0:1")), 1000))
        assert len(set(found)) == 1000


def test_no_trap_holds_the_search_for_every_route():
    # a circuit entered at J and left at K; past K trains come to 18 passing tracks and, by Rest, only to J again.
    # A search that does not look ahead tries all the ways through them from which Out is not to be reached
    text = ladder(18).replace('from = "West"', 'from = "K"').replace('"East"', '"J"')
    graph = network(
        text, line("In", "West", "J"), line("Top", "J", "K"), line("Out", "K", "East"),
        turnout("J", "Top", "In", "Last"), turnout("K", "Top", "Lead0", "Out"),
    )  # fmt: skip
    with at_most(2_000):
        assert [*every_route(graph, ways("In:1"), ways("Out:1"))] == [ways("In:1 Top:1 Out:1")]
