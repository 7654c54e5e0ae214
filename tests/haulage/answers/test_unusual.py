"""Figures that are hardly meant get a note with what is usual, and the plan is answered all the same."""

import json

import pytest

from checked import check
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.answers.readings import readings
from gradehaul.haulage.answers.trial_train import try_train
from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.records import Note
from gradehaul.quantities.document import json_text
from haulage.bench.tables import HILL, reading, string, tilt

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
    assert "usual" in note


@pytest.mark.parametrize("cliff", ["", ', grade = "-30 %"'])
def test_a_cliff_off_every_route_stands_above_the_verdict(cliff):
    """The steeper half of its line is named, once."""
    heights = "Low = 0, Drop = -15" if not cliff else "Low = 0"
    line = f'[line.Mad]\nfrom = "Low"\nto = "Drop"\ntrack = [{{ straight = 100 }}, {{ straight = 50{cliff} }}]\n'
    text = PLAN.replace("A = 0", f"A = 0, {heights}") + line.replace("100 }", '100, grade = "0 %" }')
    (found,) = (note for note in check(read_plan(text)).doubts if "for racks" in note.text)
    assert (found.place, "30 %;" in found.text) == ('line "Mad", track 2', True)


@pytest.mark.parametrize("name", ["first-hill", "switchback", "n-mountain", "full-size-example", "bench"])
def test_demo_plans_are_usual(name):
    notes = check(load_plan(f"plans/{name}.toml")).notes
    assert not [note for note in notes for odd in ("is usual", "NEM 111", "of its weight") if odd in note.text]


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


GOAT = 'loco.goat = { mass = "300 g", length = 200 }\n'


@pytest.mark.parametrize(
    ("more", "note"),
    [
        (
            'loco.goat = { mass = "300 g", length = 200, pull.clean = ["660 gf", "661 gf"] }',
            "goat on clean rail, standing: 660.5 gf is 220 % of its weight, more than 60 %; was 661 mN (22 %) meant?",
        ),
        (
            'loco.goat = { mass = "300 g", length = 200, pull.treated = "5 gf" }',
            "goat on treated rail, standing: 5 gf is 2 % of its weight, less than 3 %; was 5 ozf (47 %) meant?",
        ),
        (
            GOAT + 'car.tub = { mass = "100 g", length = 120, rolling = "0.02 %" }',
            'car "tub": its rolling resistance is 0.02 % of its weight, where 0.8 to 3 % is usual',
        ),
        (
            GOAT + 'car.tub = { mass = "100 g", length = 120, rolling = "20 %" }',
            'car "tub": its rolling resistance is 20.00 % of its weight, where 0.8 to 3 % is usual',
        ),
    ],
)
def test_a_pull_or_a_resistance_that_cannot_be_stands_above_the_verdict_and_in_what_is_tried(more: str, note: str):
    plan = read_plan(f"{HILL}{more}\n")
    assert note in map(str, check(plan).doubts)
    stock = ["goat", "2 tub"] if "tub" in plan.cars else ["goat", "2 ore"]
    assert note in map(str, try_train(plan, "Up", stock).doubts)


def test_what_is_not_in_a_train_is_not_said_of_it():
    goat = 'loco.goat = { mass = "300 g", length = 200, pull.clean = "660 gf" }'
    plan = read_plan(f'{HILL}{goat}\nloco.mule = {{ mass = "300 g", length = 200 }}\n')
    assert try_train(plan, "Up", ["mule", "2 ore"]).doubts == ()


def test_a_curve_coefficient_far_from_the_usual_stands_above_the_verdict():
    words = "the coefficient comes out at 0.01 times the usual one: is the unit right?"
    curves = 'curve_resistance = { model = "coefficient", coefficient = "0.08 mm" }\n'
    assert Note("curves", words) in check(read_plan(curves + HILL + GOAT)).doubts
    usual = curves.replace("0.08", "8")
    assert not [note for note in check(read_plan(usual + HILL + GOAT)).doubts if note.place == "curves"]


def test_cars_that_come_out_as_rolling_by_themselves_keep_their_resistance():
    """A string pulled on the level and written as on a hill of 2 %: ten cars of 100 g and 12 gf leave -0.8 %."""
    plan = read_plan(
        HILL + GOAT + reading("goat", '["66 gf", "67 gf"]') + string('["12 gf", "12.2 gf"]', 'grade = "2 %"')
    )
    layout = Layout(plan)
    assert layout.plan.cars["ore"].rolling == plan.cars["ore"].rolling
    (doubt,) = (note for note in check(plan).doubts if note.place == "readings of the rolling resistance of ore")
    assert doubt.text.startswith(
        "it comes out at -0.79 % of its weight, which is impossible, so that it stays as it was"
    )
    (ore,) = json.loads(json_text(readings(plan).to_dict()))["cars"]
    assert (ore["car"], ore["rolling"]) == ("ore", None)


def test_cars_that_seem_to_start_more_easily_than_they_roll_start_as_hard_as_they_roll():
    plan = read_plan(HILL + GOAT + string('["30 gf", "30.2 gf"]') + tilt("starts", [18, 18.2]))
    ore = Layout(plan).plan.cars["ore"]
    assert ore.starting.value == ore.rolling.value == pytest.approx(0.0301)
