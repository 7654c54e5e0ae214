"""Routes: declared ones and their errors, laps, loops, and those that are found where none are declared."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from itertools import islice, permutations
from pathlib import Path

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from effort import at_most
from gradehaul.errors import Problems
from gradehaul.network import routes
from gradehaul.network.graph import standing_places
from gradehaul.network.route import Loop, Route
from gradehaul.network.routes import MOST_LAPS, MOST_ROUTES, find_routes
from network.networks import (
    HEAD,
    crossing,
    every_path,
    ladder,
    lap,
    large_network,
    line,
    network,
    random_networks,
    route,
    routes_of,
    told,
    turnout,
)

ANOTHER = "several ways lead there, and the shortest is taken; "


def only(*tables: str) -> Route:
    """The one route of a plan, which has no notes."""
    found = routes_of(*tables)
    assert found.notes == ()
    (one,) = found.routes
    return one


def error(*tables: str) -> str:
    with pytest.raises(Problems) as caught:
        routes_of(*tables)
    return str(caught.value)


def notes(*tables: str) -> list[str]:
    return [str(note) for note in routes_of(*tables).notes]


FORK = (
    line("Main", "Wharf", "J", 1, 2),
    line("Hill", "J", "Summit"),
    line("Spur", "J", "Quarry", keys='berth = "Loading"'),
    turnout("J", "Main", "Hill", "Spur"),
)
PASSING = (
    line("A", "West", "J", 1, 1),
    line("Main", "J", "K", 3),
    line("Siding", "J", "K", 1, 2, 1, berths=["", "Loop"]),
    line("B", "K", "East"),
    turnout("J", "A", "Main", "Siding"),
    turnout("K", "B", "Main", "Siding"),
)
BALLOON = (
    line("A", "West", "J", 2),
    line("L", "J", "J", 3, 4),
    turnout("J", "A", "L.from", "L.to"),
)
DOG_BONE = (
    line("Main", "J", "K", 5),
    line("L", "J", "J", 3),
    line("M", "K", "K", 2),
    turnout("J", "Main", "L.from", "L.to"),
    turnout("K", "Main", "M.from", "M.to"),
)
EIGHT = (line("A", "X", "X", 2), line("B", "X", "X", 3), crossing("X", ("A.to", "B.from"), ("B.to", "A.from")))
WYE = (
    line("A", "J", "K"),
    line("B", "K", "M"),
    line("C", "M", "J"),
    line("a", "J", "North"),
    line("b", "K", "South"),
    line("c", "M", "West"),
    turnout("J", "a", "A", "C"),
    turnout("K", "b", "A", "B"),
    turnout("M", "c", "B", "C"),
)


# Where a route begins and ends


@pytest.mark.parametrize(
    ("start", "end", "run", "berths"),
    [
        ("West", "East", "A:1 A:2 Main:1 B:1", (None, None)),
        ("A.from", "B.to", "A:1 A:2 Main:1 B:1", (None, None)),
        # out of the passing siding at either end, with the whole berth on the route
        ("Loop", "East", "Siding:1 Siding:2 Siding:3 B:1", ("Loop", None)),
        ("Loop", "West", "-Siding:3 -Siding:2 -Siding:1 -A:2 -A:1", ("Loop", None)),
        ("West", "Loop", "A:1 A:2 Siding:1 Siding:2 Siding:3", (None, "Loop")),
        ("East", "Loop", "-B:1 -Siding:3 -Siding:2 -Siding:1", (None, "Loop")),
    ],
)
def test_ends_lines_ends_and_berths(start, end, run, berths):
    tables = [each for each in PASSING if not each.startswith(('[line."Siding"]', '[line."Main"]'))]
    # the berth is three tracks, and the main track the shorter way round
    tables += [line("Main", "J", "K"), line("Siding", "J", "K", 1, 2, 1, berths=["Loop"] * 3)]
    found = routes_of(*tables, route("Trip", start, end))
    (one,) = found.routes
    assert told(one.ways) == run
    assert (one.start_berth, one.end_berth) == berths
    assert (one.name, one.origin, one.destination, one.lap) == ("Trip", start, end, False)
    assert all(ANOTHER in note.text for note in found.notes)


def test_a_berth_that_is_part_of_a_line():
    one = only(*PASSING, route("Trip", "Loop", "East"))
    assert told(one.ways) == "Siding:2 Siding:3 B:1"
    assert one.start_berth == "Loop"


def test_an_end_of_track_in_a_berth_counts_as_the_berth():
    out, home = routes_of(*FORK, route("Out", "Quarry", "Wharf"), route("Home", "Wharf", "Quarry")).routes
    berth_out, berth_home = routes_of(*FORK, route("Out", "Loading", "Wharf"), route("Home", "Wharf", "Loading")).routes
    assert told(out.ways) == "-Spur:1 -Main:2 -Main:1"
    assert (out.ways, out.start_berth, out.end_berth) == (berth_out.ways, "Loading", None)
    assert (home.ways, home.start_berth, home.end_berth) == (berth_home.ways, None, "Loading")


# Several ways, and via


def test_the_shortest_is_taken_and_the_note_names_a_via_that_chooses_another():
    found = routes_of(*PASSING, route("Trip", "West", "East"))
    assert told(found.routes[0].ways) == "A:1 A:2 Main:1 B:1"
    assert [str(note) for note in found.notes] == [f'route "Trip": {ANOTHER}via = ["Siding"] would choose another']
    assert (
        told(only(*PASSING, route("Trip", "West", "East", "Siding")).ways) == "A:1 A:2 Siding:1 Siding:2 Siding:3 B:1"
    )


def test_via_lines_joints_and_berths_in_order():
    one = only(*PASSING, route("Trip", "West", "East", "A", "J", "Siding", "Loop", "K", "B"))
    assert told(one.ways) == "A:1 A:2 Siding:1 Siding:2 Siding:3 B:1"
    assert only(*PASSING, route("Trip", "West", "East", "Loop")).ways == one.ways
    assert error(*PASSING, route("Trip", "West", "East", "K", "J")) == (
        'tarn.toml: route "Trip": no train can follow it: it is cut between "K" and "J", which would need 2 '
        'reversals: at "East", then at "West"; write reversals = 2, or another via'
    )


def test_the_note_keeps_the_via_there_is():
    tables = [
        *(each for each in PASSING if not each.startswith('[line."B"]')),
        line("B", "K", "P"), line("C", "P", "Q", 1), line("D", "P", "Q", 2), line("E", "Q", "East"),
        turnout("P", *"BCD"), turnout("Q", *"ECD"),
    ]  # fmt: skip
    assert notes(*tables, route("Trip", "West", "East", "C")) == [
        f'route "Trip": {ANOTHER}via = ["Siding", "C"] would choose another'
    ]
    assert notes(*tables, route("Trip", "West", "East", "Siding")) == [
        f'route "Trip": {ANOTHER}via = ["Siding", "D"] would choose another'
    ]


def test_the_other_way_is_found_where_the_nearest_track_leads_to_it_round_a_loop():
    # Long meets the loop of Middle and Back; the shortest way to Join is over Middle itself, and no other way round
    tables = (
        line("A", "West", "S"), line("Short", "S", "J"), line("Long", "S", "M", 50), line("Middle", "J", "K"),
        line("Back", "K", "M"), line("Join", "M", "J"), line("Out", "K", "East"),
        turnout("S", "A", "Short", "Long"), turnout("J", "Middle", "Short", "Join"),
        turnout("K", "Middle", "Out", "Back"), turnout("M", "Join", "Long", "Back"),
    )  # fmt: skip
    found = routes_of(*tables, route("Trip", "West", "East"))
    assert told(found.routes[0].ways) == "A:1 Short:1 Middle:1 Out:1"
    assert [str(note) for note in found.notes] == [f'route "Trip": {ANOTHER}via = ["Long"] would choose another']
    assert told(only(*tables, route("Trip", "West", "East", "Long")).ways) == "A:1 Long:1 Join:1 Middle:1 Out:1"


def test_no_via_tells_two_ways_round_one_line_apart():
    assert notes(*BALLOON, route("Turn", "West", "West")) == [
        f'route "Turn": {ANOTHER}the others run over the same lines in the same order, so that no via chooses one'
    ]


def test_the_order_of_via_tells_two_ways_round_a_loop_apart():
    tables = (
        line("A", "West", "J"), line("L", "J", "P"), line("M", "P", "J"), turnout("J", "A", "L", "M"),
    )  # fmt: skip
    found = routes_of(*tables, route("Turn", "West", "West"))
    (note,) = found.notes
    via = note.text.partition("via = [")[2].partition("]")[0].replace('"', "").split(", ")
    other = only(*tables, route("Turn", "West", "West", *via))
    assert {told(found.routes[0].ways), told(other.ways)} == {"A:1 L:1 M:1 -A:1", "A:1 -M:1 -L:1 -A:1"}


def chosen_another(text: str, start: str, end: str) -> bool:
    """Whether a route between two places is told of another that fits; its via is tried, and chooses another."""
    try:
        found = routes_of(text, route("Trip", start, end))
    except Problems:
        return False
    (one,) = found.routes
    via = [note.text.partition("via = [")[2].partition("]")[0] for note in found.notes if "via = [" in note.text]
    if not via:
        return False
    (other,) = routes_of(text, route("Trip", start, end, *via[0].replace('"', "").split(", "))).routes
    assert other.ways != one.ways
    assert len(set(other.ways)) == len(other.ways)
    return True


@given(random_networks(), st.data())
def test_the_via_that_a_note_names_chooses_another(text, data):
    places = [place.name for place in standing_places(network(text))]
    if len(places) > 1:
        chosen_another(text, *data.draw(st.sampled_from(list(permutations(places, 2)))))


def test_out_through_a_reversing_loop_and_home():
    found = routes_of(*BALLOON, route("Turn", "West", "West"))
    assert told(found.routes[0].ways) in {"A:1 L:1 L:2 -A:1", "A:1 -L:2 -L:1 -A:1"}
    assert found.routes[0].tightest_loop == Loop("J", 7.0)


def test_out_of_a_berth_and_home_to_it():
    tables = (line("A", "West", "J", 1, 1, berths=["Shed", "Shed"]), *BALLOON[1:])
    (one,) = routes_of(*tables, route("Turn", "Shed", "Shed")).routes
    assert told(one.ways) in {"A:1 A:2 L:1 L:2 -A:2 -A:1", "A:1 A:2 -L:2 -L:1 -A:2 -A:1"}
    assert (one.start_berth, one.end_berth) == ("Shed", "Shed")
    assert error(*FORK, route("Turn", "Loading", "Loading")) == (
        'tarn.toml: route "Turn": no train can follow it: it is cut between "Loading" and "Loading", which would need '
        'a reversal in berth "Loading"; write reversals = 1'
    )


def test_a_line_met_twice_as_via():
    found = routes_of(*BALLOON, route("Turn", "West", "West", "A", "L", "A"))
    assert len(found.routes[0].ways) == 4


def test_a_wye():
    found = routes_of(*WYE, route("In", "North", "South"), route("On", "South", "West"), route("Out", "West", "North"))
    assert [told(one.ways) for one in found.routes] == ["-a:1 A:1 b:1", "-b:1 B:1 c:1", "-c:1 C:1 a:1"]
    assert found.notes == ()


# Errors


@pytest.mark.parametrize(
    ("tables", "wanted", "cut"),
    [
        (
            FORK,
            route("Up", "Loading", "Summit"),
            '"Loading" and "Summit", which would need a reversal at "Wharf"; write reversals = 1',
        ),
        (
            FORK,
            route("Up", "Wharf", "Summit", "Spur"),
            (
                '"Spur" and "Summit", which would need 2 reversals: in berth "Loading", then at "Wharf"; '
                "write reversals = 2, or another via"
            ),
        ),
        (  # run-round: out at one end of a passing siding and in at the other
            PASSING,
            route("Round", "Loop", "West", "K", "Main"),
            '"K" and "Main", which would need a reversal at "East"; write reversals = 1, or another via',
        ),
        (  # turned on a wye, with a reversal on two of its tails
            WYE,
            route("Turn", "North", "North"),
            '"North" and "North", which would need a reversal at "South"; write reversals = 1',
        ),
        (
            (line("A", "West", "East"), line("B", "North", "South")),
            route("Trip", "West", "South"),
            '"West" and "South", and no track joins them; write another place, or the turnout that joins them',
        ),
        (  # across a crossing without a slip
            (*(line(name, "X", name.lower()) for name in "ABCD"), crossing("X", "AB", "CD")),
            route("Trip", "a", "c"),
            '"a" and "c", and no track joins them; write another place, or the turnout that joins them',
        ),
        (
            (line("A", "West", "J"), line("Up", "J", "East", keys='runs = "backward"')),
            route("Trip", "West", "East"),
            '"West" and "East", where line "Up" runs backward only; write runs = "both" there, or another place',
        ),
        (  # nothing may leave at all
            (line("A", "West", "J", keys='runs = "forward"'), line("B", "J", "East")),
            route("Trip", "J", "West"),
            '"J" and "West", where line "A" runs forward only; write runs = "both" there, or another place',
        ),
        (  # a reversal would do but for the line that runs one way
            (line("Main", "Wharf", "J", keys='runs = "backward"'), FORK[1], line("Spur", "J", "Quarry"), FORK[3]),
            route("Up", "Quarry", "Summit"),
            (
                '"Quarry" and "Summit", and lines between them run one way only; write runs = "both" on one of them, '
                "or another place"
            ),
        ),
    ],
)
def test_a_route_that_no_train_can_follow(tables, wanted, cut):
    name = wanted.partition('."')[2].partition('"')[0]
    told = f'tarn.toml: route "{name}": no train can follow it: it is cut between {cut}'
    assert error(*tables, wanted) == told


def test_a_route_that_would_run_over_a_line_twice():
    tables = (
        line("In", "West", "J"), line("Top", "J", "K"), line("Out", "K", "East"), line("Rest", "K", "J"),
        turnout("J", "Top", "In", "Rest"), turnout("K", "Top", "Out", "Rest"),
    )  # fmt: skip
    assert error(*tables, route("Trip", "West", "East", "Rest")) == (
        'tarn.toml: route "Trip": no train can follow it without running over line "Top" twice in one direction; '
        "write fewer via, or two routes"
    )


def test_all_errors_at_once():
    found = error(*FORK, route("Up", "Loading", "Summit"), route("Turn", "Wharf", "Wharf"), lap("Lap", "Main"))
    assert [text.split(": ")[1] for text in found.splitlines()] == ['route "Up"', 'route "Turn"', 'route "Lap"']


def test_a_route_with_enough_reversals_has_legs_and_tails():
    found = routes_of(*FORK, route("Up", "Loading", "Summit", more="reversals = 1"))
    (one,) = found.routes
    assert [told(leg.ways) for leg in one.legs] == ["-Spur:1 -Main:2 -Main:1", "Main:1 Main:2 Hill:1"]
    assert told(one.ways) == "-Spur:1 -Main:2 -Main:1 Main:1 Main:2 Hill:1"
    assert [(tail.name, tail.length) for tail in one.tails] == [('the tail at "Wharf"', 3.0)]
    assert [(leg.name, leg.run_rounds, leg.starts_whole) for leg in one.legs] == [
        ("Up, leg 1", (), True),
        ("Up, leg 2", (None,), True),
    ]
    assert (one.start_berth, one.end_berth, found.notes) == ("Loading", None, ())


def test_more_reversals_than_a_route_may_have():
    assert "would need 2 reversals" in error(*FORK, route("Up", "Wharf", "Summit", "Spur", more="reversals = 1"))
    two = only(*FORK, route("Up", "Wharf", "Summit", "Spur", more="reversals = 2"))
    assert [told(leg.ways) for leg in two.legs] == [
        "Main:1 Main:2 Spur:1",
        "-Spur:1 -Main:2 -Main:1",
        "Main:1 Main:2 Hill:1",
    ]
    far = line("Far", "North", "South")
    assert "no track joins them" in error(*FORK, far, route("Up", "Wharf", "North", more="reversals = 9"))


def test_a_reversal_where_there_is_nowhere_to_reverse():
    ring = (
        line("Ring", "A", "B"),
        line("Back", "B", "A"),
        line("X", "Wharf", "A"),
        line("Y", "B", "Summit"),
        turnout("A", "Ring", "Back", "X"),
        turnout("B", "Back", "Ring", "Y"),
    )
    assert error(*ring, route("Up", "Wharf", "Summit", more="reversals = 9")) == (
        'tarn.toml: route "Up": no train can follow it: it is cut between "Wharf" and "Summit", which would need a '
        'reversal beyond "B", where there is neither a berth nor an end of track to reverse in; '
        'write berth = "..." on a track there'
    )
    halt = (ring[0], line("Back", "B", "A", berths=["Halt"]), *ring[2:])
    up = only(*halt, route("Up", "Wharf", "Summit", more="reversals = 1"))
    assert [told(leg.ways) for leg in up.legs] == ["X:1 Ring:1 Back:1", "-Back:1 Y:1"]
    assert (up.tails[0].name, up.tails[0].length, up.tails[0].within) == ('the tail in berth "Halt"', 1.0, True)


# Laps


CIRCUIT = (line("A", "J", "K", 1, 2), line("B", "K", "M"), line("C", "M", "J"))


@pytest.mark.parametrize(
    ("lines", "run"),
    [
        ("ABC", "A:1 A:2 B:1 C:1"),
        ("BCA", "B:1 C:1 A:1 A:2"),
        ("ACB", "-A:2 -A:1 -C:1 -B:1"),
        ("CBA", "-C:1 -B:1 -A:2 -A:1"),
    ],
)
def test_a_lap_runs_over_its_lines_in_order(lines, run):
    one = only(*CIRCUIT, lap("Round", *lines))
    assert told(one.ways) == run
    assert (one.lap, one.origin, one.destination, one.tightest_loop) == (True, lines[0], lines[0], None)


def test_a_lap_of_one_line():
    assert told(only(line("A", "J", "J", 1, 2), lap("Round", "A")).ways) == "A:1 A:2"
    assert told(only(line("A", "J", "J"), lap("Round", "A")).ways) == "A:1"
    against = line("A", "J", "J", 1, 2, keys='runs = "backward"')
    assert told(only(against, lap("Round", "A")).ways) == "-A:2 -A:1"


def test_a_lap_that_does_not_name_all_its_lines_is_noted():
    found = routes_of(*CIRCUIT, lap("Round", "A"))
    assert told(found.routes[0].ways) == "A:1 A:2 B:1 C:1"
    assert [str(note) for note in found.notes] == [
        'route "Round": it closes over "B", "C" too, which lap does not name'
    ]


@pytest.mark.parametrize(
    ("tables", "lines", "gap"),
    [
        (FORK, ["Main"], ("Main", "Main")),
        (FORK, ["Main", "Hill"], ("Hill", "Main")),
        (FORK, ["Hill", "Main", "Spur"], ("Main", "Spur")),
        ((*CIRCUIT, line("D", "North", "South")), ["A", "B", "D"], ("B", "D")),
        ((*CIRCUIT, line("D", "North", "South")), ["D", "A"], ("D", "A")),
    ],
)
def test_a_lap_that_does_not_close(tables, lines, gap):
    assert error(*tables, lap("Round", *lines)) == (
        f'tarn.toml: route "Round": it does not close: no train gets from line "{gap[0]}" to line "{gap[1]}"; '
        "write the lines of one closed circuit, in running order"
    )


def test_a_lap_that_runs_round_twice():
    assert error(*CIRCUIT, lap("Round", "A", "B", "A", "C")) == (
        'tarn.toml: route "Round": it does not close without running over line "A" twice in one direction; '
        "write the lines of one closed circuit, in running order"
    )


def test_a_figure_of_eight_meets_itself_at_its_crossing():
    one = only(*EIGHT, lap("Eight", "A", "B"))
    assert told(one.ways) == "A:1 B:1"
    assert one.tightest_loop == Loop("X", 2.0)
    assert only(*EIGHT, lap("Eight", "B", "A")).tightest_loop == Loop("X", 2.0)


def test_a_dog_bone_meets_itself_at_both_ends():
    found = routes_of(*DOG_BONE, lap("Bone", "Main", "M", "Main", "L"))
    (one,) = found.routes
    assert [way.track for way in one.ways] == ["Main:1", "M:1", "Main:1", "L:1"]
    assert one.ways[0].forward is not one.ways[2].forward
    assert one.tightest_loop == Loop("K", 2.0)


def test_the_stretch_over_which_a_lap_begins_counts_as_a_loop_too():
    # the lap begins inside its shorter loop, so only the stretch over its start shows how short that is
    one = only(
        line("A", "X", "P", 1), line("C", "P", "X", 0.5), line("B", "X", "X", 3),
        crossing("X", ("C", "B.from"), ("B.to", "A")), lap("Eight", "C", "B", "A"),
    )  # fmt: skip
    assert told(one.ways) == "C:1 B:1 A:1"
    assert one.tightest_loop == Loop("X", 1.5)


# Routes where none are declared


@given(random_networks(6), st.randoms(use_true_random=False))
@settings(max_examples=30)
def test_telling_routes_against_every_path(text, chance):
    graph = network(text)
    steepest = {way: chance.choice([0, 0.01, 0.02, 0.03]) for way in graph.graph}
    found = find_routes(graph, steepest)
    places = permutations(standing_places(graph), 2)
    paths = {(one.name, other.name): every_path(graph, one.departures, other.arrivals) for one, other in places}
    paths = {ends: every for ends, every in paths.items() if every}
    assert {(pair.origin, pair.destination) for pair in found.between} == set(paths)
    names = [one.name for one in found.routes]
    assert len(set(names)) == len(names)
    for pair in found.between:
        every = paths[pair.origin, pair.destination]
        rulings = [max(steepest[way] for way in path) for path in every]
        told_here = [one for one in found.routes if (one.origin, one.destination) == (pair.origin, pair.destination)]
        told_here = [one for one in told_here if not one.lap]
        assert all(one.ways in every for one in told_here)
        ruling = [max(steepest[way] for way in one.ways) for one in told_here]
        assert ruling[0] == min(rulings)
        assert len(ruling) == len(set(ruling)) <= 2
        name = f"{pair.origin} to {pair.destination}"
        assert [one.name for one in told_here] == (
            [name] if len(ruling) == 1 else [f"{name}, lowest ruling", f"{name}, highest ruling"]
        )
        assert pair.highest_bound >= max(rulings)
        if pair.exact:
            assert pair.count == len(every)
            assert ruling[-1] == max(rulings) == pair.highest_bound
        else:
            assert 1 <= pair.count <= len(every)


def test_a_circuit_between_two_places_makes_the_count_a_lower_bound():
    # from West to East only Top is run over, but the circuit might be
    tables = (
        line("In", "West", "J"), line("Top", "J", "K"), line("Out", "K", "East"), line("Rest", "K", "J"),
        turnout("J", "Top", "In", "Rest"), turnout("K", "Top", "Out", "Rest"),
    )  # fmt: skip
    graph = network(*tables)
    steepest = {way: 0.03 if way.track == "Rest:1" else 0.01 for way in graph.graph}
    found = find_routes(graph, steepest)
    assert [(pair.origin, pair.count, pair.exact, pair.highest_bound) for pair in found.between] == [
        ("West", 1, False, 0.03),
        ("East", 1, False, 0.03),
    ]
    assert [one.name for one in found.routes] == [
        "West to East",
        "East to West",
        "Lap Top, Rest",
        "Lap Top, Rest, backward",
    ]


def test_what_lies_beside_the_way_between_two_places_says_nothing_of_it():
    # beyond J a steep line leads to a circuit, and neither leads to East
    tables = (
        line("In", "West", "J"), line("Out", "J", "East"), line("Side", "J", "K"), line("Ring", "K", "K"),
        turnout("J", "In", "Out", "Side"), turnout("K", "Side", "Ring.from", "Ring.to"),
    )  # fmt: skip
    graph = network(*tables)
    steepest = {way: 0.03 if way.track in {"Side:1", "Ring:1"} else 0.01 for way in graph.graph}
    between = {(pair.origin, pair.destination): pair for pair in find_routes(graph, steepest).between}
    assert (between["West", "East"].exact, between["West", "East"].highest_bound) == (True, 0.01)


def test_coming_round_again_is_no_other_route():
    tables = (
        line("In", "West", "J"), line("Top", "J", "K", keys='berth = "Halt"'), line("Rest", "K", "J"),
        turnout("J", "Top", "In", "Rest"),
    )  # fmt: skip
    counts = {(pair.origin, pair.destination): (pair.count, pair.exact) for pair in routes_of(*tables).between}
    assert counts == {("West", "Halt"): (1, False), ("Halt", "West"): (1, False)}


def test_every_lap_in_both_directions():
    found = [one for one in routes_of(*CIRCUIT).routes if one.lap]
    assert [(one.name, told(one.ways)) for one in found] == [
        ("Lap A, B, C", "A:1 A:2 B:1 C:1"),
        ("Lap A, C, B, backward", "-A:2 -A:1 -C:1 -B:1"),
    ]
    bones = [one for one in routes_of(*DOG_BONE).routes if one.lap]
    # either loop may be run either way
    assert len({one.ways for one in bones}) == 4
    assert sorted(one.name for one in bones) == [
        "Lap Main, M, Main, L",
        "Lap Main, M, Main, L (2)",
        "Lap Main, M, Main, L (3)",
        "Lap Main, M, Main, L (4)",
    ]


def test_a_long_lap_has_a_short_name():
    tables = [line(f"L{n}", f"J{n}", f"J{(n + 1) % 9}") for n in range(9)]
    assert [one.name for one in routes_of(*tables).routes] == [
        "Lap L0, L1, L2, L3 and 5 more",
        "Lap L0, L8, L7, L6 and 5 more, backward",
    ]


def test_names_that_would_be_alike_are_numbered():
    found = routes_of(line("A", "X to Y", "Z"), line("B", "X", "Y to Z"))
    names = [one.name for one in found.routes]
    assert sorted(names) == ["X to Y to Z", "X to Y to Z (2)", "Y to Z to X", "Z to X to Y"]


def test_list_all():
    graph = network(*PASSING)
    found = find_routes(graph, dict.fromkeys(graph.graph, 0.0), list_all=True)
    west_east = [
        (one.name, told(one.ways)) for one in found.routes if (one.origin, one.destination) == ("West", "East")
    ]
    assert west_east == [
        ("West to East", "A:1 A:2 Main:1 B:1"),
        ("West to East (2)", "A:1 A:2 Siding:1 Siding:2 Siding:3 B:1"),
    ]
    assert (found.between, found.notes) == ((), ())


def test_list_all_finds_berths_that_follow_one_another_round_one_line():
    graph = network(line("A", "J", "J", 1, 1, 1, 1, berths=["", "B1", "", "B2"]))
    found = find_routes(graph, dict.fromkeys(graph.graph, 0.0), list_all=True)
    assert {told(one.ways) for one in found.routes if one.name.startswith("B2 to B1")} == {
        "A:4 A:1 A:2",
        "-A:4 -A:3 -A:2",
    }


def test_list_all_lists_the_declared_routes_and_every_other():
    graph = network(*PASSING, route("Trip", "West", "East"))
    found = find_routes(graph, dict.fromkeys(graph.graph, 0.0), list_all=True).routes
    assert found[0].name == "Trip"
    assert len({one.ways for one in found}) == len(found) == 8


# Limits and speed


def test_a_ladder_with_a_million_routes():
    graph = network(ladder(20))
    level = dict.fromkeys(graph.graph, 0.0)
    with at_most(400_000):
        found = find_routes(graph, level)
        assert [(pair.count, pair.exact) for pair in found.between] == [(1_048_576, True)] * 2
        every = find_routes(graph, level, list_all=True)
    assert len({one.ways for one in every.routes}) == len({one.name for one in every.routes}) == MOST_ROUTES
    assert [str(note) for note in every.notes] == [f"routes: stopped after {MOST_ROUTES} routes; there are more"]


def test_limits_are_told(monkeypatch):
    tables = "".join(line(f"L{n}", f"J{n}", f"J{n}") for n in range(MOST_LAPS))
    text = f"routes: only {MOST_LAPS} laps are listed and there are more; declare the ones that matter"
    found = routes_of(tables)
    assert len(found.routes) == MOST_LAPS
    assert [str(note) for note in found.notes] == [text]
    monkeypatch.setattr(routes, "MOST_ROUTES", 3)
    graph = network(*WYE)
    found = find_routes(graph, dict.fromkeys(graph.graph, 0.0))
    assert len([one for one in found.routes if not one.lap]) == len(found.between) == 3
    assert [str(note) for note in found.notes] == [
        "routes: only the first 3 between places are listed; declare the ones that matter"
    ]


def test_no_limit_is_told_where_all_is_listed():
    tables = "".join(line(f"L{n}", f"J{n}", f"J{n}") for n in range(MOST_LAPS // 2))
    found = routes_of(tables)
    assert (len(found.routes), found.notes) == (MOST_LAPS, ())


@pytest.mark.parametrize("text", [ladder(650), large_network(1_300, 10, 4)], ids=["ladder", "tangle"])
def test_large_networks(text):
    for number in range(4):  # ten places, more or less
        text = text.replace(f'[line."Siding{number * 100}"]\n', f'[line."Siding{number * 100}"]\nberth = "B{number}"\n')
    graph = network(text)
    assert len(graph.lengths) > 3_500
    chance = random.Random(3)
    steepest = {way: chance.choice([0.0, 0.01, chance.random() / 30]) for way in graph.graph}
    with at_most(6_000_000):
        find_routes(graph, steepest)


def test_many_declared_routes_over_a_large_network():
    chance = random.Random(1)
    wanted = []
    for number in range(20):
        one, other = sorted(chance.sample(range(650), 2))
        via = [f"Siding{chance.randint(one, other - 1)}"] if number % 2 else []
        wanted.append(route(f"R{number}", f"Lead{one}.from", f"Main{other}.to", *via))
    graph = network(ladder(650), *wanted)
    with at_most(2_400_000):
        found = find_routes(graph, dict.fromkeys(graph.graph, 0.0))
        assert len(found.routes) == 20


PRINT = """
import sys
from gradehaul.network.graph import MovementGraph
from gradehaul.network.routes import MOST_LAPS, MOST_ROUTES, find_routes
from gradehaul.plan import read_plan
graph = MovementGraph(read_plan(sys.stdin.read()))
steepest = {way: len(way.track) * 7 % 5 / 100 for way in graph.graph}
for every in (False, True):
    found = find_routes(graph, steepest, list_all=every)
    print([(one.name, one.ways, one.tightest_loop) for one in found.routes], found.between, found.notes)
"""


def test_the_same_on_every_run():
    text = (
        HEAD
        + large_network(40, 5, 7)
        + "".join(DOG_BONE).replace('"J"', '"JJ"').replace('"K"', '"KK"').replace('."J"', '."JJ"')
    )
    told_by = []
    for seed in ("1", "2"):
        environment = os.environ | {"PYTHONHASHSEED": seed, "PYTHONPATH": str(Path(routes.__file__).parents[2])}
        run = subprocess.run(
            [sys.executable, "-c", PRINT], input=text, capture_output=True, text=True, check=True, env=environment
        )
        told_by.append(run.stdout)
    assert told_by[0] == told_by[1]
    assert told_by[0].count("Lap ") > 1


# Of several routes or laps alike


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


@settings(max_examples=25, deadline=None)
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
