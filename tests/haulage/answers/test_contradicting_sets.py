"""Sets of readings that contradict: none that says more raises a load or makes it surer, and plain tables count too."""

from __future__ import annotations

from typing import NamedTuple

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from checked import check
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.trust.load import RouteTrust
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.plan import read_plan
from haulage.bench.tables import GF, HILL, reading, string, tilt

PLAN = HILL + 'loco.goat = { mass = "300 g", length = 200 }\n'

TEN = [-0.06, -0.03, 0.0, 0.03, 0.06, -0.06, -0.03, 0.0, 0.03, 0.06]
"""Ten readings about their mean, as shares of it."""

near = st.lists(st.sampled_from([-0.02, -0.01, 0.0, 0.01, 0.02]), min_size=1, max_size=5)


def forces(mean: float, shares: list[float]) -> str:
    return str([f"{mean * (1 + share):.2f} gf" for share in shares])


def loads(more: str, plan: str = PLAN) -> list[tuple[int, int, int, int]]:
    """The rated and the limit load on every rail condition, and the 90 % range of the rated one."""
    (route,) = check(read_plan(plan + more)).routes
    found = [(each.load, each.spread) for each in route.ranged_loads]
    return [(load.rated, load.limit, spread.rated_low, spread.rated_high) for load, spread in found]


@given(st.floats(45, 75), near, st.floats(1.3, 3.0), near, st.sampled_from(["standing", "slipping"]))
@settings(max_examples=15, deadline=None)
def test_a_contradicting_set_that_pulls_more_raises_no_load(mean, own, times, others, state):
    before = reading("goat", forces(70, [0.0, 0.01])) if state == "slipping" else ""
    before += reading("goat", forces(mean, own), f'state = "{state}"')
    assert loads(before + reading("goat", forces(times * mean, others), f'state = "{state}"')) == loads(before)


def rolling(mean: float, strays: list[float]) -> str:
    return string(forces(20 * mean, strays))


def starting(mean: float, strays: list[float]) -> str:
    return tilt("starts", [mean * 25 * (1 + share) for share in strays])


def round_a_curve(mean: float, strays: list[float]) -> str:
    """Ten cars of 100 g that roll at 2 % and meet 1.5 % of curve resistance, or some twice as much, at 600 mm."""
    return string(str([f"{1000 * (0.02 + 0.015 * mean * (1 + each)):.3f} gf" for each in strays]), "radius = 600")


@pytest.mark.parametrize("read", [rolling, starting, round_a_curve])
@given(near, st.floats(1.7, 1.9), near)
@settings(max_examples=10, deadline=None)
def test_a_contradicting_set_of_cars_that_run_more_easily_raises_no_load(read, own, times, others):
    plan = PLAN if read is not round_a_curve else PLAN.replace("{ straight = 3000", "{ left = 600, length = 3000")
    before = reading("goat", forces(66, [0.0, 0.01])) + ("" if read is rolling else string(forces(20, [0.0])))
    before += read(times, own)
    assert loads(before + read(1.0, others), plan) == loads(before, plan)


def test_contradicting_starts_and_curves_are_said_above_the_verdict():
    found = check(read_plan(
        PLAN + string('["20 gf"]') + tilt("starts", [25, 26]) + tilt("starts", [49, 50])
        + string('["35 gf", "35.2 gf"]', "radius = 600") + string('["50 gf", "50.2 gf"]', "radius = 600")
    ))  # fmt: skip
    (starts,) = (note for note in found.doubts if note.place == "readings of the starting resistance of ore")
    (curves,) = (note for note in found.doubts if note.place == "readings of the curve resistance")
    assert starts.text.endswith("contradict, 4.95 % and 2.55 %; the higher counts")
    assert curves.text.endswith("contradict, C = 18.06 mm and C = 9.06 mm; the higher counts")


def test_a_reading_far_off_in_a_plain_table_is_left_out_too():
    table = 'pull.clean = ["65 gf", "66 gf", "67 gf", "66 gf", "95 gf"]'
    plan = PLAN.replace("loco.goat = {", f"loco.goat = {{ {table},")
    layout = Layout(read_plan(plan))
    assert layout.pulls.standing(layout.plan.locos["goat"], "clean").value == pytest.approx(66 * GF)


@given(near, near, st.floats(0.98, 1.3), st.floats(0.05, 0.6), st.booleans(), st.permutations([0, 1, 2]))
@example([-0.02, -0.02, -0.01, 0.0, 0.02], [-0.02] * 4, 1.1875, 0.1640625, True, [0, 1, 2])
@settings(max_examples=25, deadline=None)
def test_a_wide_set_hides_none_that_contradicts(own, others, times, width, middle, order):
    """Whatever a third set scatters by, and whichever is written first, the higher of two raises no mean."""
    strays = [-width, *([0.0] if middle else []), width]
    sets = [reading("goat", each) for each in (forces(60, own), forces(81, others), forces(60 * times, strays))]
    together = Layout(read_plan(PLAN + "".join(sets[k] for k in order)))
    without = Layout(read_plan(PLAN + sets[0] + sets[2]))
    found, most = (each.pulls.standing(each.plan.locos["goat"], "clean").value for each in (together, without))
    assert found <= most * (1 + 1e-9)
    assert any("contradict" in doubt.text for doubt in together.plan.locos["goat"].doubts["standing", "clean"])


def test_of_three_sets_the_second_and_third_can_contradict():
    """One reading says too little against either of two sets, of which the higher does not count."""
    sets = [reading("goat", each) for each in ('"64 gf"', forces(66, TEN), forces(74, TEN))]
    (told,) = (note.text for note in check(read_plan(PLAN + "".join(sets))).doubts if note.place.startswith("readings"))
    assert told == "reading 2 and reading 3 contradict, 66 gf and 74 gf; the lower counts"
    layout = Layout(read_plan(PLAN + "".join(sets)))
    assert layout.pulls.standing(layout.plan.locos["goat"], "clean").value == pytest.approx((64 + 660) / 11 * GF)


def test_a_set_above_one_that_contradicts_is_said_not_to_count():
    sets = [reading("goat", each) for each in (forces(60, TEN), forces(68, TEN), '"69 gf"')]
    told = [note.text for note in check(read_plan(PLAN + "".join(sets))).doubts if note.place.startswith("readings")]
    assert "reading 3, 69 gf, does not count: it lies above readings that contradict others" in told


DOWN = """
scale = "HO"
unit = "m"
railhead.Mill = 0
line.Down = { from = "Mill", to = "Quay", track = [
{ straight = 3, berth = "Yard", grade = "-1.7 %" },
{ left = 0.6, length = 6, grade = "-3 %" },
{ straight = 3, grade = "-2 %" },
] }
route.Down = { from = "Yard", to = "Quay" }
loco.tank = { mass = "300 g", length = 0.2, pull.clean = "41 gf" }
car.ore = { mass = "100 g", length = 0.15, rolling = "0.8 %" }
train.down = { route = "Down", consist = ["tank", "18 ore"] }
"""
"""A berth on a grade, and a long fall round a curve, where what the cars and curves resist helps."""


class Kept(NamedTuple):
    """Whether cars stay put in the berth; on clean rail what the train has to spare, N, its risk, and the most cars."""

    stays: bool
    spare: float
    risk: float
    most: int


def kept(text: str) -> Kept:
    found = check(read_plan(text))
    (berth,), train = found.berths, next(each for each in found.trains if each.rail == "clean")
    most = next(each.spread.rated_high for each in found.routes[0].ranged_loads if each.load.rail == "clean")
    return Kept(berth.cars_stay["ore"], train.verdict.spare, train.risk, most)


@pytest.mark.parametrize("backward", [False, True])
def test_of_readings_that_contradict_the_lower_resistance_counts_where_it_helps(backward):
    plan, order = DOWN, slice(None, None, -1 if backward else 1)
    strings = [string(f'["{pull} gf", "{pull + 0.1} gf", "{pull} gf"]', "radius = 0.6") for pull in (12.2, 25.5)]
    tilts = [tilt("rolls", [0.006, 0.0062, 0.0059]), tilt("rolls", [0.022, 0.0218, 0.0221])]
    low, high = (kept(plan + each.replace("over = 1000", "over = 1")) for each in tilts)
    both = kept(plan + "".join(tilts[order]).replace("over = 1000", "over = 1"))
    assert (low.stays, high.stays, both.stays) == (False, True, False)
    for sets in (tilts, strings):
        low, high = (kept(plan + each.replace("over = 1000", "over = 1")) for each in sets)
        both = kept(plan + "".join(sets[order]).replace("over = 1000", "over = 1"))
        assert both.spare <= low.spare < high.spare
        assert both.risk > low.risk - 0.05 > high.risk  # of 10,000 trials
        assert both.most <= low.most < high.most


def test_the_range_of_such_a_load_passes_over_no_number_of_cars_that_runs_away(monkeypatch):
    plan = DOWN.replace("left = 0.6, length = 6", "straight = 6").replace('"-3 %"', '"-5 %"').replace("41 gf", "120 gf")
    tilts = [tilt("rolls", [0.006, 0.0062, 0.0059]), tilt("rolls", [0.022, 0.0218, 0.0221])]
    layout = Layout(read_plan(plan + "".join(tilts).replace("over = 1000", "over = 1")))
    load, trials = (
        layout.longest_train("Down", "tank", "ore", rail="clean"),
        RandomTrials(layout.plan, layout.coefficient),
    )
    found = RouteTrust(layout.plan, layout.profile("Down"), trials).spread(load)
    monkeypatch.setattr(RouteTrust, "_surely_more", lambda *_: 0)
    assert found == RouteTrust(layout.plan, layout.profile("Down"), trials).spread(load)
    assert 0 < found.rated_low < load.rated < found.rated_high
