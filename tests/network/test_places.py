"""Places: what leaves and what reaches a joint, a line's end and a berth."""

import pytest

from gradehaul.errors import RouteError
from gradehaul.network.graph import route_end, standing_places
from network.networks import line, network, told, turnout

STATION = (
    line("A", "West", "J", 1, 2),
    line("Main", "J", "K"),
    line("Siding", "J", "K", 1, 1, 1, berths=["", "Loop", "Loop"]),
    line("B", "K", "East", 1, 1, berths=["", "Bay"]),
    turnout("J", "A", "Main", "Siding"),
    turnout("K", "B", "Main", "Siding"),
)


@pytest.mark.parametrize(
    ("name", "departures", "arrivals"),
    [
        ("West", "A:1", "-A:1"),
        ("J", "-A:2 Main:1 Siding:1", "A:2 -Main:1 -Siding:1"),
        ("A.from", "A:1", "-A:1"),
        ("Main.to", "-Main:1", "Main:1"),
        ("Loop", "Siding:2 -Siding:3", "-Siding:2 Siding:3"),
        ("Bay", "B:2 -B:2", "-B:2 B:2"),
        ("East", "-B:2", "B:2"),
    ],
)
def test_ways_from_and_to_a_place(name, departures, arrivals):
    place = route_end(network(*STATION), name)
    assert (told(place.departures), told(place.arrivals)) == (departures, arrivals)


def test_one_way_lines_leave_out_what_may_not_run():
    graph = network(line("A", "West", "J"), line("B", "J", "East", keys='runs = "forward"'))
    assert route_end(graph, "East").departures == ()
    assert told(route_end(graph, "East").arrivals) == "B:1"
    assert told(route_end(graph, "J").departures) == "-A:1 B:1"
    assert told(route_end(graph, "J").arrivals) == "A:1"


@pytest.mark.parametrize("name", ["Nowhere", "Main", "Main.middle", "Nowhere.to", ""])
def test_no_such_place(name):
    with pytest.raises(RouteError) as caught:
        route_end(network(*STATION), name)
    assert str(caught.value) == f'no joint, berth or end of a line has this name, got "{name}"'


def test_trains_stand_at_berths_and_at_ends_that_are_no_berths():
    # track ends at East in the berth Bay, which counts once
    assert [place.name for place in standing_places(network(*STATION))] == ["Loop", "Bay", "West"]
