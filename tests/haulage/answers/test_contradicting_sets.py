"""Sets of readings that contradict: none that says more raises a load or makes it surer, and plain tables count too."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checked import check
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan
from haulage.bench.tables import GF, reading, string

PLAN = """
scale = "HO"
unit = "mm"
railhead.Foot = 0
line.Hill = { from = "Foot", to = "Top", track = [{ straight = 3000, grade = "2 %" }] }
loco.goat = { mass = "300 g", length = 200 }
car.ore = { mass = "100 g", length = 120 }
route.Up = { from = "Foot", to = "Top" }
"""

near = st.lists(st.sampled_from([-0.02, -0.01, 0.0, 0.01, 0.02]), min_size=1, max_size=5)


def forces(mean: float, shares: list[float]) -> str:
    return str([f"{mean * (1 + share):.2f} gf" for share in shares])


def loads(more: str) -> list[tuple[int, int, int, int]]:
    """The rated and the limit load on every rail condition, and the 90 % range of the rated one."""
    (route,) = check(read_plan(PLAN + more)).routes
    found = [(each.load, each.spread) for each in route.ranged_loads]
    return [(load.rated, load.limit, spread.rated_low, spread.rated_high) for load, spread in found]


@given(st.floats(45, 75), near, st.floats(1.35, 1.4), near, st.sampled_from(["standing", "slipping"]))
@settings(max_examples=15, deadline=None)
def test_a_contradicting_set_that_pulls_more_raises_no_load(mean, own, times, others, state):
    before = reading("goat", forces(70, [0.0, 0.01])) if state == "slipping" else ""
    before += reading("goat", forces(mean, own), f'state = "{state}"')
    assert loads(before + reading("goat", forces(times * mean, others), f'state = "{state}"')) == loads(before)


@given(near, st.floats(1.7, 1.9), near)
@settings(max_examples=10, deadline=None)
def test_a_contradicting_set_of_cars_that_roll_better_raises_no_load(own, times, others):
    before = reading("goat", forces(66, [0.0, 0.01])) + string(forces(20 * times, own))
    assert loads(before + string(forces(20, others))) == loads(before)


def test_a_reading_far_off_in_a_plain_table_is_left_out_too():
    table = 'pull.clean = ["65 gf", "66 gf", "67 gf", "66 gf", "95 gf"]'
    plan = PLAN.replace("loco.goat = {", f"loco.goat = {{ {table},")
    layout = Layout(read_plan(plan))
    assert layout.pulls.standing(layout.plan.locos["goat"], "clean").value == pytest.approx(66 * GF)
