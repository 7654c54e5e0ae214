"""Joints: ends, plain joints, turnouts, crossings and turntables, and easements that run on across them."""

import pytest

from gradehaul.errors import Problems
from gradehaul.plan import read_plan
from gradehaul.plan.records import LineEnd, Note
from plan.example import FORK, HEAD


def line(name, start, end, track="{ straight = 9 }"):
    return f'[line."{name}"]\nfrom = "{start}"\nto = "{end}"\ntrack = [ {track} ]\n'


def joints(*lines, more=""):
    return read_plan(HEAD + "".join(lines) + more).joints


def test_ends_and_plain_joints():
    found = joints(line("A", "West", "Middle"), line("B", "East", "Middle"))
    assert {name: joint.kind for name, joint in found.items()} == {"West": "end", "Middle": "plain", "East": "end"}
    assert found["Middle"].through == ((LineEnd("A", "to"), LineEnd("B", "to")),)
    assert found["West"].through == ()


def test_a_closed_circuit():
    (joint,) = joints(line("Loop", "J", "J")).values()
    assert (joint.kind, joint.through) == ("plain", ((LineEnd("Loop", "from"), LineEnd("Loop", "to")),))


def test_a_reversing_loop():
    found = joints(
        line("Main", "West", "J"),
        line("Loop", "J", "J"),
        more='[turnout.J]\ntoe = "Main"\nlegs = ["Loop.from", "Loop.to"]',
    )
    toe = LineEnd("Main", "to")
    assert found["J"].through == ((toe, LineEnd("Loop", "from")), (toe, LineEnd("Loop", "to")))


def test_a_turnout_with_three_legs():
    found = joints(
        *(line(name, "J", name.lower()) for name in "ABCD"), more='[turnout.J]\ntoe = "A"\nlegs = ["B", "C", "D.from"]'
    )
    assert [leg.line for _, leg in found["J"].through] == ["B", "C", "D"]


def test_whole_names_are_tried_before_line_ends():
    found = joints(
        line("Main.from", "J", "a"), line("Main", "J", "b"), line("C", "J", "c"),
        more='[turnout.J]\ntoe = "C"\nlegs = ["Main.from", "Main"]',
    )  # fmt: skip
    assert [leg for _, leg in found["J"].through] == [LineEnd("Main.from", "from"), LineEnd("Main", "from")]


def test_both_slips_of_a_crossing():
    found = joints(
        *(line(name, "X", name.lower()) for name in "ABCD"),
        more='[crossing.X]\nthrough = [["A", "B"], ["C", "D"]]\nmoves = [["A", "D"], ["C", "B"], ["D", "A"]]',
    )
    pairs = {frozenset(end.line for end in pair) for pair in found["X"].through}
    assert pairs == {frozenset("AB"), frozenset("CD"), frozenset("AD"), frozenset("BC")}
    assert len(found["X"].through) == 4


def test_track_ends_are_listed():
    plan = read_plan(HEAD + FORK + '[turnout.Junction]\ntoe="Main"\nlegs=["Hill","Spur"]')
    assert plan.notes == (Note("", 'track ends at "Wharf", "Summit", "Quarry"'),)


CURVE = "{ left = 24, angle = 30 }"
EASE = "{ easement = 4 }"


def test_easements_run_on_across_plain_joints():
    assert joints(line("A", "a", "J", EASE), line("B", "b", "J", CURVE))["J"].kind == "plain"
    assert joints(line("A", "J", "a", EASE), line("B", "J", "b", CURVE))["J"].kind == "plain"
    assert joints(line("A", "J", "J", f"{EASE}, {CURVE}"))["J"].kind == "plain"


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ((line("A", "a", "J", f"{CURVE}, {EASE}"), line("B", "b", "J", f"{CURVE}, {EASE}")), "two easements in a row"),
        ((line("A", "J", "a", f"{EASE}, {CURVE}"), line("B", "J", "b", f"{EASE}, {CURVE}")), "two easements in a row"),
        ((line("A", "J", "J", f"{EASE}, {CURVE}, {EASE}"),), "two easements in a row"),
        ((line("A", "J", "J", EASE),), "two easements in a row"),
        ((line("A", "a", "J", EASE), line("B", "b", "J")), "nothing to ease here"),
        ((line("A", "a", "b", EASE),), "nothing to ease here"),
        ((line("A", "a", "b", f"{{ left = 24, angle = 90, ease = 4 }}, {EASE}"),), "nothing to ease here"),
    ],
)
def test_easements_that_cannot_be(lines, message):
    with pytest.raises(Problems) as caught:
        joints(*lines)
    (error,) = caught.value.errors
    assert message in error.wrong


def test_an_easement_ends_at_a_turnout():
    fork = FORK.replace("{ straight = 30 }", "{ straight = 30 }, { easement = 4 }", 1).replace(
        'from = "Junction"\nto = "Summit"\ntrack = [ { straight = 30 } ]',
        f'from = "Junction"\nto = "Summit"\ntrack = [ {CURVE} ]',
    )
    with pytest.raises(Problems, match="nothing to ease here"):
        joints(fork, more='[turnout.Junction]\ntoe="Main"\nlegs=["Hill","Spur"]')


def test_a_line_with_a_fault_hides_no_fault_elsewhere_and_causes_none():
    text = (
        HEAD
        + FORK.replace("straight = 30", "straight = -30", 1)
        + '[railhead]\nWarf = 0\n[turnout.Junction]\ntoe="Main"\nlegs=["Hill","Spr"]'
    )
    with pytest.raises(Problems) as caught:
        read_plan(text)
    assert [error.wrong for error in caught.value.errors] == [
        "straight must be more than 0",
        'there is no joint "Warf"',
        'there is no line "Spr"',
    ]
