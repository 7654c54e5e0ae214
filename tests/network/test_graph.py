"""The movement graph: the moves through every kind of joint, and what a train meets on its way."""

import pytest

from gradehaul.errors import RouteError
from gradehaul.network.graph import MovementGraph, Way
from network.networks import crossing, line, network, table, turnout, ways


def moves(graph: MovementGraph) -> set[str]:
    """Every move as ``A:1 B:1``, a minus for backward."""
    words = {way: ("" if way.forward else "-") + way.track for way in graph.graph}
    return {f"{words[one]} {words[other]}" for one, other in graph.graph.edges}


def both(*pairs: str) -> set[str]:
    """Each move and the one that runs over the same tracks the other way."""
    found = set(pairs)
    for pair in pairs:
        one, other = ways(pair)
        found.add(" ".join(("" if way.forward else "-") + way.track for way in (other.turned(), one.turned())))
    return found


def test_tracks_of_a_line_follow_one_another_both_ways():
    graph = network(line("A", "West", "East", 1, 2, 3))
    assert moves(graph) == both("A:1 A:2", "A:2 A:3")
    assert graph.lengths[Way("A:3", forward=False)] == 3
    assert graph.graph.nodes[Way("A:2", forward=True)]["length"] == 2


def test_straight_through_a_plain_joint_whatever_the_lines_directions():
    graph = network(line("A", "West", "J"), line("B", "East", "J"))
    assert moves(graph) == both("A:1 -B:1")
    assert graph.joint_between(*ways("A:1 -B:1")) == "J"


def test_both_ends_of_one_line_at_a_plain_joint_close_a_circuit():
    assert moves(network(line("A", "J", "J", 1, 2))) == both("A:1 A:2", "A:2 A:1")
    assert moves(network(line("A", "J", "J"))) == both("A:1 A:1")


@pytest.mark.parametrize("toe", range(3))
def test_toe_to_leg_and_leg_to_toe_never_leg_to_leg(toe):
    names = ["A", "B", "C"]
    first = names.pop(toe)
    graph = network(*(line(name, "J", name.lower()) for name in "ABC"), turnout("J", first, *names))
    assert moves(graph) == both(*(f"-{first}:1 {leg}:1" for leg in names))


def test_three_legs():
    graph = network(*(line(name, "J", name.lower()) for name in "ABCD"), turnout("J", "B", "A", "C", "D"))
    assert moves(graph) == both("-B:1 A:1", "-B:1 C:1", "-B:1 D:1")


def test_both_ends_of_one_line_at_a_turnout():
    graph = network(line("A", "West", "J"), line("L", "J", "J", 1, 1), turnout("J", "A", "L.from", "L.to"))
    assert moves(graph) == both("L:1 L:2", "A:1 L:1", "A:1 -L:2")


def test_toe_and_leg_may_be_ends_of_one_line():
    graph = network(line("A", "West", "J"), line("L", "J", "J"), turnout("J", "L.to", "L.from", "A"))
    assert moves(graph) == both("L:1 L:1", "L:1 -A:1")


def test_crossings_lead_through_pairs_and_over_slips():
    lines = [line(name, "X", name.lower()) for name in "ABCD"]
    assert moves(network(*lines, crossing("X", "AC", "BD"))) == both("-A:1 C:1", "-B:1 D:1")
    slip = network(*lines, crossing("X", "AC", "BD", moves=["AD"]))
    assert moves(slip) == both("-A:1 C:1", "-B:1 D:1", "-A:1 D:1")


def test_turntables_lead_from_every_line_to_every_other():
    graph = network(*(line(name, "T", name.lower()) for name in "ABC"), table("T", *"ABC"))
    assert moves(graph) == both("-A:1 B:1", "-A:1 C:1", "-B:1 C:1")


def test_one_way_lines_forbid_the_other_direction():
    lines = [line("A", "West", "J"), line("B", "J", "East", keys='runs = "forward"')]
    graph = network(*lines)
    assert moves(graph) == {"A:1 B:1"}
    assert Way("B:1", forward=False) not in graph.graph
    against = network(lines[0], line("B", "J", "East", keys='runs = "backward"'))
    assert moves(against) == {"-B:1 -A:1"}
    assert moves(against.run_both_ways) == both("A:1 B:1")
    free = network(lines[0])
    assert free.run_both_ways is free


def test_a_train_meets_joints_lines_and_berths_in_order():
    graph = network(line("A", "West", "J", 1, 1, 1, berths=["", "Siding", "Siding"]), line("B", "J", "East"))
    one, two, three, onto_b = ways("A:1 A:2 A:3 B:1")
    assert graph.met(None, one) == (("West",), ("A",))
    assert graph.met(one, two) == (("Siding",) * 1,)
    assert graph.met(two, three) == ((), ("J",))
    assert graph.met(three, onto_b) == (("B",), ("East",))
    # from where a route begins, the line and the berth are met whichever track it is
    assert graph.met(None, three) == (("A", "Siding"), ("J",))
    assert graph.met(None, three.turned()) == (("J",), ("A", "Siding"))
    assert graph.ways_at["Siding"] == (two, three, three.turned(), two.turned())


def test_a_circuit_of_one_line_meets_the_line_again():
    graph = network(line("A", "J", "J"))
    (way,) = ways("A:1")
    assert graph.met(way, way) == (("A",), ("J",))


def test_reach():
    graph = network(line("A", "West", "J", 1, 1), line("B", "J", "b"), line("C", "J", "c"), turnout("J", *"ABC"))
    assert graph.reach(ways("B:1")) == set(ways("B:1"))
    assert graph.reach(ways("-B:1")) == set(ways("-B:1 -A:2 -A:1"))
    assert graph.reach(ways("B:1"), backward=True) == set(ways("A:1 A:2 B:1"))
    with pytest.raises(RouteError, match='the plan has no such track, got "nowhere"'):
        graph.reach([Way("nowhere", forward=True)])
