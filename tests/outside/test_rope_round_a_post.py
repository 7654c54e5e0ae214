"""The rope round a post, as encyclopedias print it, against coupler tension round a curve."""

from __future__ import annotations

import math

import pytest

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.demand import demand
from gradehaul.haulage.train import build_train
from gradehaul.plan import read_plan

# A heavy car on the straight of a hill, and cars with next to no mass between it and the engine, round a level curve.
PLAN = """
scale = "HO"
unit = "mm"
railhead.Foot = 0
[curve_resistance]
tension = {tension}
[line.Hill]
from = "Foot"
to = "Top"
track = [
  {{ straight = 300, grade = "5 %" }},
  {{ left = 600, angle = {angle}, grade = "0 %" }},
  {{ straight = 300, grade = "0 %" }},
]
[loco.mogul]
mass = "300 g"
length = 190
pull.clean = "250 gf"
[car.heavy]
mass = "2 kg"
length = 150
rolling = "0.01 %"
[car.light]
mass = "0.001 g"
length = 50
rolling = "0.01 %"
[route.Up]
from = "Foot"
to = "Top"
[train.all]
route = "Up"
consist = ["mogul", "{count} light", "heavy"]
"""


@pytest.mark.parametrize(
    ("friction", "half_turns", "times"),
    [(0.1, 1, 1.37), (0.1, 2, 1.87), (0.05, 2, 1.37)],
)
def test_tension_grows_as_the_capstan_equation_says(friction: float, half_turns: int, times: float) -> None:
    """T = T0 exp(friction x angle), Euler and Eytelwein (second-hand, encyclopedias): 1.9 in a turn at 0.1.

    Tension is a step function, never less than the exact integral: up to 5 % more over a whole turn.
    """

    def needed(tension: float) -> float:
        angle = 180 * half_turns
        count = math.ceil((math.radians(angle) * 600 + 100) / 50)
        plan = read_plan(PLAN.format(tension=tension, angle=angle, count=count))
        profile, train = Layout(plan).profile("Up"), build_train(plan, plan.trains["all"])
        # the heavy car stands with its front at the foot of the curve's level, the engine beyond the curve
        return demand(profile, train).running.greatest().value

    assert times == pytest.approx(math.exp(friction * math.pi * half_turns), abs=0.005)
    assert times - 0.005 <= needed(friction) / needed(0.0) <= 1.05 * times
