"""Figures that are hardly meant get a note with what is usual, and the plan is answered all the same."""

import pytest

from checked import check
from gradehaul.plan import load_plan, read_plan

PLAN = """scale = "O"
unit = "in"
railhead = { A = 0, B = 1 }
[line.Main]
from = "A"
to = "B"
track = [ { straight = 200 }, { left = 48, angle = 30 } ]
[loco.mogul]
mass = "40 oz"
length = 14
[car.box]
length = 10
[route.Up]
from = "A"
to = "B"
"""


@pytest.mark.parametrize(
    ("usual", "odd", "told"),
    [
        ('"40 oz"', '"340 oz"', 'loco "mogul": the mass is 340'),
        ('"40 oz"', '"4 oz"', 'loco "mogul": the mass is 4'),
        ("left = 48", "left = 3", 'line "Main", track 2: the radius is 3'),
        ("B = 1", "B = 65", "the grade comes to 2"),
        ("straight = 200", 'straight = 100, grade = "12 %" }, { straight = 100', "track 1: the grade is 12 %"),
        ("length = 10", "length = 100", 'car "box": the length is 100'),
        ("length = 10", 'length = 10\nmass = "9 lb"', 'car "box": the mass is '),
        ("angle = 30", "angle = 400, rise = 0", "track 2: it turns through 400 deg and climbs 0 in in a full turn"),
    ],
)
def test_a_note_and_no_refusal(usual, odd, told):
    assert not [note for note in check(read_plan(PLAN)).notes if "usual" in note.text or "NEM 111" in note.text]
    notes = [str(note) for note in check(read_plan(PLAN.replace(usual, odd, 1))).notes]
    (note,) = [note for note in notes if told in note]
    assert note in map(str, check(read_plan(PLAN.replace(usual, odd, 1))).doubts)
    assert "usual" in note or "NEM 111" in note


@pytest.mark.parametrize("name", ["first-hill", "switchback", "n-mountain", "full-size-example", "bench"])
def test_demo_plans_are_usual(name):
    notes = check(load_plan(f"plans/{name}.toml")).notes
    assert not [note for note in notes if "is usual" in note.text or "NEM 111" in note.text]


@pytest.mark.parametrize("rail", ["clean", "treated", "treated fresh"])
@pytest.mark.parametrize(("standing", "swapped"), [("70 gf", False), ("50 gf", True), ("", True)])
def test_a_slipping_pull_above_the_standing_one_stands_above_the_verdict(rail, standing, swapped):
    """The standing pull that nobody read is 249 gf by its weight on clean rail, 0.22 of 1134 g, and less on film."""
    pull = f'pull = {{ "{rail}" = "{standing}" }}\n' if standing else ""
    slipping = f'slipping = {{ "{rail}" = "{60 if standing else 300} gf" }}'
    doubts = check(read_plan(PLAN.replace("length = 14", f"length = 14\n{pull}{slipping}"))).doubts
    places = [note.place for note in doubts if "with sliding wheels is more than the standing pull" in note.text]
    assert places == ([f'loco "mogul", slipping, {rail}'] if swapped else [])


def test_a_helix_may_turn_more_than_once():
    helix = (
        PLAN.replace("angle = 30", "angle = 800").replace("straight = 200", "straight = 9").replace("B = 1", "B = 12")
    )
    assert not [note for note in check(read_plan(helix)).doubts if "turns through" in note.text]


@pytest.mark.parametrize("state", ["pull", "slipping"])
@pytest.mark.parametrize("rail", ["treated", "treated fresh"])
def test_a_film_that_gives_more_than_clean_rail_is_pointed_out(state, rail):
    read = f'length = 14\n{state} = {{ clean = ["60 gf", "62 gf"], "{rail}" = ["60 gf", "%s gf"] }}'
    for last, told in ((62, False), (63, True)):
        notes = check(read_plan(PLAN.replace("length = 14", read % last))).notes
        found = [note for note in notes if "as on no film" in note.text]
        assert [note.place for note in found] == (
            [f'loco "mogul", {"standing" if state == "pull" else state}, {rail}'] if told else []
        )


def test_readings_of_the_bench_are_looked_at_too():
    rows = "".join(
        f'[[reading]]\nloco = "mogul"\nrail = "{rail}"\nforce = "{force} gf"\n'
        for rail, force in (("clean", 60), ("treated", 90))
    )
    assert any("as on no film" in note.text for note in check(read_plan(PLAN + rows)).notes)
