"""Run-rounds by hand: which track lets locomotives round a train in a berth, and how long they may be."""

from __future__ import annotations

import networkx as nx
import pytest
from hypothesis import given, settings

from gradehaul.errors import Problems
from gradehaul.network.engine_moves import run_round
from gradehaul.network.graph import MovementGraph, Way
from network.networks import line, network, random_networks, route, routes_of, turnout

UP = 'reversals = 1\nrun_round = ["Dock"]'
LEADS = (
    line("Bottom", "Foot", "J", 4),
    line("Top", "J", "Summit", 3),
    line("Neck", "J", "A", 1),
    turnout("J", "Neck", "Bottom", "Top"),
    line("Quay", "A", "B", 1, 1.5, berths=["Dock", "Dock"]),
)
SIDE = (line("Side", "A", "B", 2.5), turnout("A", "Neck", "Quay", "Side"))
STUB = (line("Stub", "B", "End", 0.2, 0.3), turnout("B", "Stub", "Quay", "Side"))


def up(*tables: str, more: str = UP):
    (found,) = routes_of(*tables, route("Up", "Foot", "Summit", "Dock", more=more)).routes
    return found


def test_the_stub_beyond_holds_the_locomotives_and_the_berth_the_train():
    found = up(*LEADS, *SIDE, *STUB)
    (tail,) = found.tails
    assert (tail.berth, tail.length, tail.within, tail.round_room) == ("Dock", 2.5, True, pytest.approx(0.5))
    assert [leg.run_rounds for leg in found.legs] == [(), (tail.run_round,)]
    plain = up(*LEADS, *SIDE, *STUB, more="reversals = 1")
    assert (plain.tails[0].length, plain.tails[0].round_room) == (3.5, None)
    assert [leg.run_rounds for leg in plain.legs] == [(), (None,)]


def test_the_lesser_room_of_both_ends_counts_and_lines_run_one_way_give_none():
    one_way = [text.replace("track =", 'runs = "forward"\ntrack =') for text in LEADS[:2]]
    stub = line("Stub", "B", "End", 2)
    assert up(*one_way, *LEADS[2:], *SIDE, stub, STUB[1]).tails[0].round_room == pytest.approx(1)
    assert up(*LEADS, *SIDE, stub, STUB[1]).tails[0].round_room == pytest.approx(2)


def test_round_a_circuit_the_berth_alone_bounds_them():
    ring = (line("Back", "B", "A", 6), turnout("A", "Quay", "Neck", "Back"))
    found = up(*LEADS, *ring)
    assert found.tails[0].round_room == 2.5


def table(name: str, length: float, *lines: str) -> str:
    return f"[table.{name}]\nlines = {list(lines)}\nlength = {length}\n"


@pytest.mark.parametrize("bridge", [0.4, 0.9, 3.0])
def test_locomotives_stand_whole_on_a_turntable_over_which_they_run(bridge):
    ring = (
        *(line("Back", "B", "A", 6), turnout("A", "Quay", "Neck", "Back"), line("Stub", "B", "End", 9)),
        table("B", bridge, "Quay", "Back", "Stub"),
    )
    assert up(*LEADS, *ring).tails[0].round_room == pytest.approx(min(bridge, 2.5))


@pytest.mark.parametrize(("bridge", "room"), [(0.2, 0.3), (0.4, 0.4), (9.0, 1.3)])
def test_locomotives_that_reverse_before_a_turntable_go_beyond_it_where_they_fit_on_it(bridge, room):
    stub = (line("Stub", "B", "T", 0.3), line("Pit", "T", "End", 1), turnout("B", "Stub", "Quay", "Side"))
    assert up(*LEADS, *SIDE, *stub, table("T", bridge, "Stub", "Pit")).tails[0].round_room == pytest.approx(room)


@pytest.mark.parametrize(
    ("tables", "more", "says"),
    [
        (
            (*LEADS,),
            UP,
            "no track leads around it with room to reverse at both ends; write track beside the berth, joined",
        ),
        (
            (*LEADS, line("Stub", "B", "End", 5)),
            UP,
            "no track leads around it with room to reverse at both ends; write track beside the berth",
        ),
        (
            (*LEADS, SIDE[0].replace("track =", 'runs = "forward"\ntrack ='), SIDE[1], *STUB),
            UP,
            'lines that lead around it run one way only; write runs = "both" on them',
        ),
        (
            (*LEADS, *SIDE, line("Stub", "B", "End", 1, berths=["Pen"]), STUB[1]),
            'reversals = 1\nrun_round = ["Dock", "Pen"]',
            'it does not reverse in this one, got run_round = ["Pen"]; write "Dock"',
        ),
    ],
)
def test_what_keeps_them_from_it_is_told(tables, more, says):
    with pytest.raises(Problems) as told:
        up(*tables, more=more)
    assert 'route "Up"' in str(told.value)
    assert says in str(told.value)
    assert ('cannot run around the train in berth "Dock": ' in str(told.value)) == ("Pen" not in more)


def test_a_route_that_does_not_reverse_has_no_run_round():
    straight = (line("Main", "West", "East", 1, 2, berths=["Dock", ""]),)
    with pytest.raises(Problems, match=r"does not reverse in this one, got run_round = \[.Dock.\]; write no run_round"):
        routes_of(*straight, route("Up", "West", "East", more=UP))


def passable(graph: MovementGraph, last: Way, length: float) -> bool:
    """Whether locomotives of a length get round, by reachability over moves and reversals that they clear."""
    tracks = graph.plan.berths[graph.berth_of[last.track]].tracks
    free = graph.graph.subgraph([way for way in graph.graph if way.track not in tracks])
    two_way = free.subgraph([way for way in free if way.turned() in free])
    moves = nx.DiGraph(free.edges)
    behind = Way(tracks[0] if last.forward else tracks[-1], last.forward)
    for one in (*free, last):
        for spur in set(graph.graph.successors(one)) & set(two_way):
            reach = nx.single_source_dijkstra_path_length(two_way, spur, weight=lambda _, way, __: graph.lengths[way])
            if max(reach.values()) + graph.lengths[spur] >= length:
                moves.add_edges_from(
                    (one, other) for other in graph.graph.successors(spur.turned()) if other != one.turned()
                )
    moves.remove_nodes_from([way for way in list(moves) if way.track in tracks and way not in (last, behind)])
    ends = [(way, "out") for way in set(moves.successors(last) if last in moves else ()) | set(graph.graph[last])]
    starts = [way for way, _ in ends if way == behind or way.track not in tracks]
    goals = {one for one in (*free, last) if graph.graph.has_edge(one, behind)} | set(
        moves.predecessors(behind) if behind in moves else ()
    )
    if last in goals:
        return True
    walk = moves.subgraph([way for way in moves if way.track not in tracks])
    return any(start in goals or (start in walk and nx.descendants(walk, start) & goals) for start in starts)


@given(random_networks())
@settings(max_examples=30, deadline=None)
def test_the_room_against_reachability(text):
    graph = network(text)
    for berth in graph.plan.berths.values():
        for last in (Way(berth.tracks[-1], forward=True), Way(berth.tracks[0], forward=False)):
            if last not in graph.graph:
                continue
            room = found.room if (found := run_round(graph, last)) else 0.0
            if room:
                assert passable(graph, last, room * (1 - 1e-9))
            berth_length = sum(graph.lengths[Way(track, last.forward)] for track in berth.tracks)
            assert room <= berth_length
            if room < berth_length:
                assert not passable(graph, last, max(room * (1 + 1e-9), 1e-6))
