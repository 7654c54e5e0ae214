"""Bounds of what every number of cars asks, against each train worked out by itself."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.demand import gravity_and_curves
from gradehaul.haulage.longest import Worst
from gradehaul.haulage.train import headed_by
from gradehaul.plan import read_plan

COUNTS = 60

grades = st.lists(st.tuples(st.integers(50, 1500), st.integers(-50, 50), st.booleans()), min_size=1, max_size=8)


@given(grades, st.sampled_from(["end", "berth", "lap"]), st.lists(st.integers(1, COUNTS), max_size=4))
@settings(max_examples=30)
def test_bounds_hold_for_every_count(stretches, begins, asked) -> None:
    tracks = ", ".join(
        f'{{ {"left = 500, length" if bent else "straight"} = {length}, grade = "{grade / 10} %" }}'
        for length, grade, bent in stretches
    )
    if begins == "lap":
        rows = ", ".join(f"{{ left = 700, length = {length} }}" for length, _, _ in stretches)
        line = f'line.L = {{ from = "A", to = "A", track = [ {rows} ], runs = "forward" }}\nroute.R = {{ lap = ["L"] }}'
    else:
        tracks = tracks.replace(" }", ', berth = "B" }', 1) + ", { straight = 100 }" if begins == "berth" else tracks
        start = "B" if begins == "berth" else "A"
        line = f'line.L = {{ from = "A", to = "Z", track = [ {tracks} ] }}\nroute.R = {{ from = "{start}", to = "Z" }}'
    plan = read_plan(f"""
        scale = "HO"
        unit = "mm"
        railhead.A = 0
        {line}
        loco.l = {{ mass = "200 g", length = 200 }}
        car.c = {{ mass = "100 g", length = 120 }}
        """)
    profile = Layout(plan).profile("R")
    trains = [headed_by(plan, plan.powers["l"], plan.cars["c"], n) for n in range(1, COUNTS + 1)]
    true = np.array([gravity_and_curves(profile, train).greatest().value for train in trains])
    worst = Worst(profile, lambda n: trains[n - 1], plan.cars["c"])
    for count in asked:
        assert worst.at(count).value == pytest.approx(true[count - 1], abs=1e-12)
    assert np.all(worst.most[:COUNTS] >= true - 1e-12)
    for pull in (float(true.min()) + 0.0517, float(np.median(true)) + 0.2113, float(true.max()) + 0.2391):
        fails = np.flatnonzero(true + np.arange(1, COUNTS + 1) * 0.02 > pull)
        found = Worst(profile, lambda n: trains[n - 1], plan.cars["c"]).first_failing(pull, 0.02, below=COUNTS + 1)
        assert found == (fails[0] + 1 if fails.size else COUNTS + 1)


def test_a_hill_of_one_grade_takes_few_trains_to_work_out() -> None:
    plan = read_plan("""
        scale = "HO"
        unit = "m"
        railhead.A = 0
        line.L = { from = "A", to = "Z", track = [ { straight = 10, rise = 0 }, { straight = 40, grade = "2 %" } ] }
        loco.l = { mass = "200 g", length = 0.2 }
        car.c = { mass = "100 g", length = 0.1 }
        """)
    profile = Layout(plan).profile("A to Z")
    worst = Worst(profile, lambda n: headed_by(plan, plan.powers["l"], plan.cars["c"], n), plan.cars["c"])
    # 4 % of 0.98 N for each car, and 2 % of the locomotive
    assert worst.first_failing(2.0, 0.02 * 0.980665) == 50
    assert len(worst._known) <= 3
