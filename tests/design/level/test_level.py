"""Leveling: against every choice on a grid, by hand where two tracks share a rise, what binds, and refusals."""

from __future__ import annotations

import numpy as np
import pytest

from demos import layout_of, leveled_of
from gradehaul.design.level.railheads import leveled
from gradehaul.errors import DesignError, RouteError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan


def plan_text(tracks: list[tuple[float, float]], rise: float, cars: int, more: str = "") -> str:
    """Tracks of a length and a radius, m (0: straight), between level approaches, with a train that starts below."""
    rows = [
        f"{{ left = {radius}, length = {length} }}" if radius else f"{{ straight = {length} }}"
        for length, radius in tracks
    ]
    return (
        f'scale = {{ ratio = 87.1, gauge = "16.5 mm" }}\nunit = "m"\nrailhead = {{ A = 0, B = {rise} {more} }}\n'
        'curve_resistance = { model = "coefficient", coefficient = 0.008 }\n'
        f'[line.Hill]\nfrom = "A"\nto = "B"\ntrack = [{", ".join(rows)}]\n'
        '[loco.mule]\nmass = "400 g"\nlength = 0.2\npull.clean = "100 gf"\n'
        '[car.ore]\nmass = "100 g"\nlength = 0.1\n[route.Up]\nfrom = "A"\nto = "B"\n'
        f'[train.up]\nroute = "Up"\nconsist = ["mule", "{cars} ore"]\n'
    )


def test_two_tracks_share_the_rise_so_that_the_curve_is_eased() -> None:
    # the grade on the curve is less by coefficient over radius: 0.8 % at 1 m
    found = leveled(Layout(read_plan(plan_text([(3, 0), (3, 1)], 0.12, 2))), change=0.1)
    middle = found.stations.lines["Hill"][0][1]
    assert found.heights[middle] == pytest.approx(3 * (0.02 + 0.004), abs=1e-4)
    (up,) = found.hardest
    assert up.leveled == pytest.approx(0.024, abs=2e-5)
    assert up.even == pytest.approx(0.028, abs=1e-9)


def test_nothing_falls_and_changes_of_grade_keep_their_limit() -> None:
    tracks = [(1.0, 0.0), (0.5, 0.35), (1.0, 0.0), (0.5, 0.35), (1.0, 0.0)]
    found = leveled(Layout(read_plan(plan_text(tracks, 0.02, 3))), change=0.01)
    numbers, distance = found.stations.lines["Hill"]
    grades = np.diff(found.heights[numbers]) / np.diff(distance)
    assert grades.min() >= -1e-9
    assert np.abs(np.diff(grades)).max() <= 0.01 + 1e-9
    assert found.hardest[0].leveled < found.hardest[0].even


def test_among_equal_answers_the_smoothest_wins() -> None:
    # the hard part has its heights given; the approach is free and stays a stretched string
    text = plan_text([(1, 0), (1, 0), (1, 0), (1, 0)], 0.1, 1).replace(
        "{ straight = 1 }, { straight = 1 }]", "{ straight = 1, railhead = 0.02 }, { straight = 1 }]"
    )
    found = leveled(Layout(read_plan(text)))
    assert found.heights[found.stations.lines["Hill"][0]] == pytest.approx(
        [0, 0.0066667, 0.0133333, 0.02, 0.1], abs=1e-3
    )


def test_limits_of_joints_and_what_contradicts_them() -> None:
    text = (
        plan_text([(2, 0)], 0.04, 1).replace('to = "B"\ntrack', 'to = "M"\ntrack', 1)
        + '[line.Upper]\nfrom = "M"\nto = "B"\ntrack = [{ straight = 2 }]\n'
    )
    layout = Layout(read_plan(text))
    assert leveled(layout).joints["M"] == pytest.approx(0.02, abs=1e-4)
    assert leveled(layout, least={"M": 0.025}).joints["M"] == pytest.approx(0.025, abs=1e-6)
    assert leveled(layout, most={"M": 0.015}).joints["M"] == pytest.approx(0.015, abs=1e-6)
    with pytest.raises(DesignError, match="as low and as high"):
        leveled(layout, least={"M": 0.03}, most={"M": 0.02})
    with pytest.raises(RouteError, match="no joint of this name"):
        leveled(layout, least={"N": 0.03})
    with pytest.raises(DesignError, match="no heights satisfy all limits"):
        leveled(layout, least={"M": 0.05})


def test_a_plan_without_free_heights_has_nothing_to_level() -> None:
    with pytest.raises(DesignError, match="nothing to level"):
        leveled(Layout(read_plan(plan_text([(2, 0)], 0.04, 1))))


def test_no_train_of_several_gets_it_harder() -> None:
    found = leveled_of("n-mountain")
    assert max(each.leveled for each in found.hardest) < max(each.even for each in found.hardest) - 0.001
    assert all(each.leveled <= each.even + 1e-5 for each in found.hardest)


def test_a_hill_that_cannot_gain_stays_even_beside_one_that_can() -> None:
    # straights gain nothing; the curve of the second hill is eased, the third is straight again
    text = plan_text([(2, 0), (1, 0), (1.5, 0), (1.5, 0.5), (2, 0), (1, 0)], 0.2, 2)
    text = text.replace("{ straight = 1 }, { straight = 1.5 }", "{ straight = 1, railhead = 0.05 }, { straight = 1.5 }")
    text = text.replace("{ left = 0.5, length = 1.5 }", "{ left = 0.5, length = 1.5, railhead = 0.1 }")
    found = leveled(Layout(read_plan(text)), change=0.1)
    numbers, _ = found.stations.lines["Hill"]
    assert found.heights[numbers[[1, 2, 4, 5]]].tolist() == found.even[numbers[[1, 2, 4, 5]]].tolist()
    assert found.heights[numbers[3]] > found.even[numbers[3]] + 0.005


@pytest.mark.parametrize("curve", ["", 'vertical_curve.length = "0.6 m"\n'])
def test_what_binds_is_named_with_what_it_costs(curve: str) -> None:
    tracks = [(1.0, 0.0), (1.2, 0.4), (1.0, 0.0)]
    text = curve + plan_text(tracks, 0.08, 2)
    found = leveled(Layout(read_plan(text)), change=0.01)
    (up,) = found.hardest
    change = next(each for each in up.binds if each.rule == "change")
    assert (change.limit, change.wider) == (0.01, 0.02)
    assert set(change.where) <= {"Hill at 1 m", "Hill at 2.2 m"}
    # the figure is what the wider limit really gives, vertical curves included
    assert leveled(Layout(read_plan(text)), change=0.02).hardest[0].leveled == pytest.approx(change.lower, rel=1e-9)
    assert change.lower < up.leveled - 0.001
    freely = leveled(Layout(read_plan(text)), change=0.2).hardest[0]
    assert {each.rule for each in freely.binds} == {"given"}
    assert set(freely.binds[0].where) == {"A", "B"}


def test_what_keeps_every_train_where_it_is_was_proved_by_leveling_without_it() -> None:
    layout = Layout(read_plan(plan_text([(1.0, 0.0), (1.2, 0.4), (1.0, 0.0)], 0.08, 2)))
    kept = leveled(layout, change=1e-5)
    assert not kept.gains
    assert kept.limited_by == ("change",)
    assert leveled(layout, change=10.0).hardest[0].leveled < kept.top.leveled - 0.001
    tied = leveled_of("two-levels")
    assert tied.limited_by == ("rise",)  # the helix: with any change of grade it is as hard
    assert leveled(layout_of("two-levels"), change=10.0).top.leveled >= tied.top.leveled - 1e-4
    straight = leveled(Layout(read_plan(plan_text([(1.0, 0.0), (1.0, 0.0)], 0.08, 2))), change=10.0)
    assert straight.limited_by == ("given",)


def test_a_limit_of_a_joint_that_binds_is_named_and_limits_that_fix_all_are_refused() -> None:
    text = (
        plan_text([(2, 0)], 0.04, 1).replace('to = "B"\ntrack', 'to = "M"\ntrack', 1)
        + '[line.Upper]\nfrom = "M"\nto = "B"\ntrack = [{ straight = 2 }]\n'
    )
    layout = Layout(read_plan(text))
    (up,) = leveled(layout, least={"M": 0.025}).hardest
    bound = next(each for each in up.binds if each.rule == "at least")
    assert (bound.where, bound.limit) == (("M",), 0.025)
    assert bound.lower == pytest.approx(leveled(layout).hardest[0].leveled, abs=2e-5)
    with pytest.raises(DesignError, match="limits of joints fix every railhead: nothing is left to find"):
        leveled(layout, least={"M": 0.02}, most={"M": 0.02})
