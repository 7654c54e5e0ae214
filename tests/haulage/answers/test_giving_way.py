"""Heights that are tried win: none is refused for what a plan states elsewhere, and each stands where it was set."""

from __future__ import annotations

import numpy as np
import pytest

from demos import plan_of
from gradehaul.haulage.answers.set_heights import give_way, tried_plan
from gradehaul.plan import read_plan
from gradehaul.plan.edit.trial import TrialHeights, fixed_railheads
from gradehaul.plan.records import Plan
from gradehaul.track.fit import fitted
from gradehaul.track.heights.railhead import solve_railheads

YARD = """
scale = "HO"
unit = "m"
railhead = {{ Stop = 0, Foot = 0{joint} }}
line.Yard = {{ from = "Stop", to = "Foot", track = [{{ straight = 1, rise = 0 }}, {{ straight = 1, grade = "0 %" }}] }}
line.Hill = {{ from = "Foot", to = "Top", track = [
  {{ straight = 2{inner} }}, {{ straight = 1, rise = 0.02 }}, {{ straight = 0.5, rise = 0 }} ] }}
"""


def yard(joint: str = "", inner: str = "") -> Plan:
    return read_plan(YARD.format(joint=joint, inner=inner))


@pytest.mark.parametrize("name", ["two-levels", "n-mountain", "switchback", "landing", "yard", "first-hill", "bench"])
@pytest.mark.parametrize("off", [0.0005, -0.004, 0.02])
def test_every_height_of_the_demo_plans_can_be_set(name: str, off: float) -> None:
    """Joints without a height too: each stands where it was set, and all other given heights of joints hold."""
    plan = fitted(plan_of(name))
    before = solve_railheads(plan).joints
    stations = fixed_railheads(plan) | {f"joint {joint}": height for joint, height in before.items()}
    for station, height in stations.items():
        tried, aside = tried_plan(plan, TrialHeights({station: height + off}))
        after = solve_railheads(tried)
        assert not after.notes or solve_railheads(plan).notes
        assert all(key[0] != "joint" for key in aside)
        kind, _, joint = station.partition(" ")
        if kind == "joint":
            assert after.joints[joint] == pytest.approx(height + off, abs=1e-9)
        for other, given in plan.railhead.items():
            if station != f"joint {other}":
                assert after.joints[other] == pytest.approx(given, abs=1e-9)


def test_level_track_stays_level_where_a_height_along_it_can_follow() -> None:
    plan = yard(joint=", Top = 0.03", inner=", railhead = 0.01")
    tried, aside = tried_plan(plan, TrialHeights({"joint Top": 0.05}))
    assert set(aside) == {("rise", "Hill:2")}  # what climbs gives way first
    heights = solve_railheads(tried).lines["Hill"].railhead
    np.testing.assert_allclose(heights, [0.0, 0.01, 0.05, 0.05], atol=1e-12)
    flat = read_plan(YARD.format(joint=", Top = 0.01", inner=", railhead = 0.01").replace("rise = 0.02", "rise = 0"))
    tried, aside = tried_plan(flat, TrialHeights({"joint Top": 0.05}))
    assert [(each.railhead, each.track) for each in aside.values()] == [(0.01, "Hill:1")]
    np.testing.assert_allclose(solve_railheads(tried).lines["Hill"].railhead, [0.0, 0.05, 0.05, 0.05], atol=1e-12)


def test_level_track_between_two_joints_of_given_heights_gives_way() -> None:
    tried, aside = tried_plan(yard(), TrialHeights({"joint Foot": 0.01}))
    assert {(each.track, each.rise, each.grade) for each in aside.values()} == {
        ("Yard:1", 0.0, None),
        ("Yard:2", None, 0.0),
    }
    np.testing.assert_allclose(solve_railheads(tried).lines["Yard"].railhead, [0.0, 0.005, 0.01], atol=1e-12)
    both, kept = tried_plan(yard(), TrialHeights({"joint Foot": 0.01, "joint Stop": 0.01}))
    assert not kept
    np.testing.assert_allclose(solve_railheads(both).lines["Yard"].railhead, 0.01, atol=1e-12)


def test_what_contradicts_no_height_that_is_set_stays() -> None:
    plan = yard(joint=", Top = 0.5", inner=", railhead = 0.01")
    same, aside = give_way(plan, [("joint", "Stop")])
    assert same is plan
    assert not aside
