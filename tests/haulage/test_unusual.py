"""Figures that are hardly meant get a note with what is usual, and the plan is answered all the same."""

import pytest

from gradehaul.haulage.check import check
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
        ("length = 10", "length = 100", 'car "box": the length is 100'),
        ("length = 10", 'length = 10\nmass = "9 lb"', 'car "box": the mass is '),
    ],
)
def test_a_note_and_no_refusal(usual, odd, told):
    assert not [note for note in check(read_plan(PLAN)).notes if "usual" in note.text or "NEM 111" in note.text]
    notes = [str(note) for note in check(read_plan(PLAN.replace(usual, odd, 1))).notes]
    (note,) = [note for note in notes if told in note]
    assert "usual" in note or "NEM 111" in note


@pytest.mark.parametrize("name", ["first-hill", "switchback", "n-mountain", "full-size-example", "bench"])
def test_demo_plans_are_usual(name):
    notes = check(load_plan(f"plans/{name}.toml")).notes
    assert not [note for note in notes if "is usual" in note.text or "NEM 111" in note.text]
