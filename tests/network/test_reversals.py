"""Routes with reversals against brute force: every sequence of moves on a graph with a layer for each reversal."""

from __future__ import annotations

from itertools import chain, pairwise, permutations

import networkx as nx
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from gradehaul.network.graph import MovementGraph, Way, standing_places
from gradehaul.network.route import tail_between
from gradehaul.network.search import RouteCut, Search
from network.networks import line, network, random_networks, routes_of, told, turnout, ways

LAYERS = 5


def may_turn(graph: MovementGraph, way: Way) -> bool:
    """Whether a train reverses at the far end of a way, by the plan alone: a dead end, or the last track of a berth."""
    tracks = graph.plan.lines[way.track.rpartition(":")[0]].tracks
    order = [track.id for track in (tracks if way.forward else tracks[::-1])]
    here = order.index(way.track)
    if here == len(order) - 1 and not graph.graph.out_degree(way):
        joint = graph.joint_ahead[way]
        if len(graph.plan.joints[joint].ends) == 1:
            return way.turned() in graph.graph
    berths = [berth.name for berth in graph.plan.berths.values() if way.track in berth.tracks]
    following = order[here + 1] if here + 1 < len(order) else None
    last = bool(berths) and (following is None or following not in graph.plan.berths[berths[0]].tracks)
    return last and way.turned() in graph.graph


def layered(graph: MovementGraph) -> nx.DiGraph:
    """A node for each way and number of reversals so far; an edge costs a great deal for a reversal, and its length."""
    expanded = nx.DiGraph()
    for layer in range(LAYERS):
        for one, other in graph.graph.edges:
            expanded.add_edge((one, layer), (other, layer), cost=graph.lengths[other])
        for way in graph.graph:
            expanded.add_node((way, layer))
            if layer + 1 < LAYERS and may_turn(graph, way):
                expanded.add_edge((way, layer), (way.turned(), layer + 1), cost=graph.lengths[way])
    return expanded


@given(random_networks(), st.data())
@settings(max_examples=150)
def test_the_fewest_reversals_and_then_the_shortest(text, data):
    graph = network(text)
    places = standing_places(graph)
    assume(len(places) > 1)
    origin, destination = data.draw(st.sampled_from(list(permutations(places, 2))))
    expanded = layered(graph)
    best = None
    for layer in range(LAYERS):
        for start in origin.departures:
            for stop in destination.arrivals:
                try:
                    cost = nx.dijkstra_path_length(expanded, (start, 0), (stop, layer), weight="cost")
                except nx.NetworkXNoPath:
                    continue
                found = layer, cost + graph.lengths[start]
                best = found if best is None else min(best, found)
    runs = Search(graph, origin.departures, destination.arrivals, turning=graph.turning).shortest()
    if isinstance(runs, RouteCut) or len(runs) > LAYERS:
        assert best is None
        return
    assert best is not None
    assert len(runs) - 1 == best[0]
    assert abs(sum(graph.lengths[way] for way in chain(*runs)) - best[1]) < 1e-9
    assert runs[0][0] in origin.departures
    assert runs[-1][-1] in destination.arrivals
    for run in runs:
        assert all(graph.graph.has_edge(one, other) for one, other in pairwise(run))
    for one, other in pairwise(runs):
        assert other[0] == one[-1].turned()
        assert may_turn(graph, one[-1])


@given(random_networks())
def test_trains_reverse_in_berths_and_at_ends_alone(text):
    graph = network(text)
    assert graph.turning == {way for way in graph.graph if may_turn(graph, way)}


YARD = (
    line("Main", "West", "J", 4),
    line("Hill", "J", "Top", 3),
    line("Stub", "J", "K", 1, 2, berths=["", "Pocket"]),
    line("Lead", "K", "End", 5),
    turnout("J", "Stub", "Main", "Hill"),
)


def test_the_nearest_berth_on_the_way_serves_and_all_that_is_shared_is_the_tail():
    graph = network(*YARD)
    runs = Search(graph, ways("Main:1"), ways("Hill:1"), turning=graph.turning).shortest()
    assert [told(run) for run in runs] == ["Main:1 Stub:1 Stub:2", "-Stub:2 -Stub:1 Hill:1"]
    tail = tail_between(graph, *runs)
    assert (tail.berth, tail.joint, tail.length, tail.within) == ("Pocket", "K", 3.0, False)
    assert tail.name == 'the tail in berth "Pocket"'


def test_via_is_passed_on_any_run():
    graph = network(*YARD)
    runs = Search(graph, ways("Main:1"), ways("Hill:1"), ["Lead"], graph.turning).shortest()
    assert [told(run) for run in runs] == [
        "Main:1 Stub:1 Stub:2 Lead:1",
        "-Lead:1 -Stub:2 -Stub:1 Hill:1",
    ]
    assert tail_between(graph, *runs).name == 'the tail at "End"'


def test_a_run_round_of_the_whole_train_is_out_and_home():
    (trip,) = routes_of(*YARD, '[route.Turn]\nfrom = "West"\nto = "Top"\nreversals = 1\nvia = ["Pocket"]\n').routes
    assert [leg.origin for leg in trip.legs] == ["West", "Pocket"]
    assert [leg.destination for leg in trip.legs] == ["Pocket", "Top"]
    assert [leg.whole for leg in trip.legs] == ["Turn", "Turn"]


def test_a_route_of_three_runs_stands_where_its_first_and_last_do():
    switchback = (
        line("Low", "Mill", "J", 2, 3, berths=["Siding"]),
        line("Tail", "J", "Stop", 4),
        line("Middle", "J", "K", 6),
        line("Head", "K", "End", 5, berths=["Headshunt"]),
        line("High", "K", "Top", 3, 2, berths=["", "Loader"]),
        turnout("J", "Tail", "Low", "Middle"),
        turnout("K", "Head", "Middle", "High"),
    )
    (trip,) = routes_of(*switchback, '[route.Up]\nfrom = "Siding"\nto = "Loader"\nreversals = 2\n').routes
    assert (trip.start_berth, trip.end_berth) == ("Siding", "Loader")
    assert [(leg.start_berth, leg.end_berth) for leg in trip.legs] == [
        ("Siding", None),
        (None, "Headshunt"),
        ("Headshunt", "Loader"),
    ]
    assert [(leg.number, leg.starts_whole, leg.run_rounds) for leg in trip.legs] == [
        (1, True, ()),
        (2, True, (None,)),
        (3, True, (None, None)),
    ]
    assert [tail.name for tail in trip.tails] == ['the tail at "Stop"', 'the tail in berth "Headshunt"']
