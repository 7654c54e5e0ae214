"""A hill that no route runs over is named above the verdict where it is steeper than what the routes run over."""

import math

import pytest

from checked import check
from gradehaul.plan import read_plan

LOLLIPOP = """
scale = "N"
unit = "mm"
[railhead]
Foot = 0
Mine = {height}
[line.Oval]
from = "Foot"
to = "Foot"
track = [{{ straight = 600 }}, {{ left = 350, angle = 180 }}, {{ straight = 600 }}, {{ left = 350, angle = 180 }}]
[line.Ramp]
from = "Foot"
to = "Mine"
track = [{{ right = 450, angle = 12 }}, {{ straight = 2000 }}]
[turnout.Foot]
toe = "Oval.to"
legs = ["Oval.from", "Ramp"]
"""
ROUTE = '[route.Up]\nfrom = "Foot"\nto = "Mine"\n'


def said(text: str) -> list[str]:
    return [str(note) for note in check(read_plan(text)).doubts if "runs over it" in note.text]


@pytest.mark.parametrize("height", [80, -80])
def test_a_ramp_beside_a_loop_is_named(height):
    curve = (
        0.0004 * 5729.578 * 0.3048 / 160 / 0.45
    )  # 0.04 % a degree of 100 ft at full size, as docs/computation.md has it
    grade = f"{100 * (80 / (2000 + math.radians(12) * 450) + curve):.3g} %"
    assert said(LOLLIPOP.format(height=height)) == [
        (
            f'line "Ramp": the steepest here, {grade}, but none of these routes runs over it: name one in the plan, '
            "[route.NAME] with from and to"
        )
    ]


def test_a_ramp_that_is_easier_than_the_laps_is_not():
    """Its own curve of 450 mm costs less than that of 350 mm."""
    assert said(LOLLIPOP.format(height=4)) == []


def test_a_plan_that_names_its_routes_has_chosen():
    text = LOLLIPOP.format(height=80) + ROUTE
    assert said(text) == []
    assert check(read_plan(text)).routes[0].ruling.effective > 0.038
