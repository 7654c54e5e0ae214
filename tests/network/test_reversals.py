"""Routes with reversals against brute force: every trip by all its moves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice, permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradehaul.errors import Problems
from gradehaul.network.graph import MovementGraph, Way, standing_places
from gradehaul.network.route import tail_between
from gradehaul.network.search import RouteCut, Search
from network.networks import line, network, random_networks, routes_of, told, turnout, ways


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


@given(random_networks())
def test_trains_reverse_in_berths_and_at_ends_alone(text):
    graph = network(text)
    assert graph.turning == {way for way in graph.graph if may_turn(graph, way)}


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


@settings(max_examples=75, deadline=None)
@given(random_networks(most=6), st.data())
def test_reversing_trips_against_every_trip(text: str, data: st.DataObject) -> None:
    graph = network(text)
    places = standing_places(graph)
    lines = list(graph.plan.lines)
    via = data.draw(st.lists(st.sampled_from(lines), min_size=0, max_size=3))
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
    assert tail.name == 'the tail with berth "Pocket"'


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
