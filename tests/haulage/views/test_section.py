"""What a long section tells, against geometry by hand, against the profile, and against the verdict."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from math import pi, radians

import numpy as np
import pytest

from demos import layout_of
from gradehaul.errors import RouteError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.stretches import grade_stretches
from gradehaul.haulage.views.section import LongSection, long_section
from gradehaul.plan import read_plan
from gradehaul.track.piecewise import PiecewiseQuadratic, polyline

INCH = 0.0254

HILL = """
scale = "HO"
unit = "m"
vertical_curve.length = 0.4
railhead.Foot = 0
[line.Hill]
from = "Foot"
to = "Top"
track = [
  { straight = 2, grade = "0 %" },
  { name = "Bend", left = 1.5, angle = 90, ease = 0.3, grade = "2 %" },
  { straight = 1, grade = "2 %" },
  { right = 2, length = 1, grade = "2 %" },
  { easement = 0.5, grade = "-1 %" },
  { straight = 3, grade = "-1 %" },
]
[loco.tank]
mass = "300 g"
length = 0.2
pull.clean = "70 gf"
[car.wagon]
mass = "100 g"
length = 0.15
[train.pickup]
route = "Up"
consist = ["tank", "8 wagon"]
[train.other]
route = "Down"
consist = ["tank"]
[route.Up]
from = "Foot"
to = "Top"
[route.Down]
from = "Top"
to = "Foot"
[route.Again]
from = "Foot"
to = "Top"
"""
BEND = 1.5 * radians(90) + 0.3
"""Length of the bend: through 90 degrees, of which its two easements turn half as much as the arc does."""

LAP = """
scale = "HO"
unit = "m"
railhead.A = 0
[line.Ring]
from = "A"
to = "A"
track = [{ left = 1, angle = 180, grade = "2 %" }, { left = 1, angle = 180 }]
[loco.tank]
mass = "300 g"
length = 0.2
[car.wagon]
mass = "100 g"
length = 0.15
[train.short]
route = "Round"
consist = ["tank", "20 wagon"]
[train.long]
route = "Round"
consist = ["tank", "45 wagon"]
[route.Round]
lap = ["Ring"]
"""


@cache
def hill(route: str = "Up", text: str = HILL) -> LongSection:
    return long_section(Layout(read_plan(text)), route)


def some_sections() -> list[LongSection]:
    routes = [
        (name, route.name) for name in ("first-hill", "n-mountain", "two-levels") for route in layout_of(name).routes
    ]
    routes += [("yard", route.name) for route in layout_of("yard").routes[::12]]
    return [long_section(layout_of(name), route) for name, route in routes]


# By hand


def test_grades_and_vertical_curves_by_hand():
    top = 2 + BEND + 1 + 1
    # the first change is rounded over 0.4 m, half of it on each side
    expected = [
        (0.0, 1.8, 0.0, 0.0, 0.0),
        (1.8, 2.2, 0.0, 0.02, 0.2 * 0.02),
        (2.2, top - 0.2, 0.02, 0.02, (top - 2.4) * 0.02),
        (top - 0.2, top + 0.2, 0.02, -0.01, 0.2 * 0.02 - 0.2 * 0.01),
        (top + 0.2, top + 3.5, -0.01, -0.01, -3.3 * 0.01),
    ]
    told = [(each.start, each.stop, each.first, each.last, each.rise) for each in hill().grades]
    assert np.array(told) == pytest.approx(np.array(expected), abs=1e-9)
    assert [each.vertical_curve for each in hill().grades] == [False, True, False, True, False]


def test_curves_and_easements_by_hand():
    bend = [(2.0, 2.3, 0, 1 / 1.5), (2.3, 1.7 + BEND, 1 / 1.5, 1 / 1.5), (1.7 + BEND, 2 + BEND, 1 / 1.5, 0)]
    far = 3 + BEND
    right = [(far, far + 1, -0.5, -0.5), (far + 1, far + 1.5, -0.5, 0)]
    told = [(each.start, each.stop, each.first, each.last) for each in hill().curves]
    assert np.array(told) == pytest.approx(np.array(bend + right), abs=1e-9)
    assert [each.hand for each in hill().curves] == ["left"] * 3 + ["right"] * 2
    assert [each.tapers for each in hill().curves] == [True, False, True, False, True]
    assert [each.radius for each in hill().curves] == pytest.approx([1.5] * 3 + [2.0] * 2)


def test_first_hill_by_hand():
    section = long_section(layout_of("first-hill"))
    grade = 4 / (24 + 24 * pi / 2 + 36 + 24 * pi / 3 + 24)
    assert [each.first for each in section.grades] == pytest.approx([0, grade, 0])
    assert sum(each.rise for each in section.grades) == pytest.approx(4 * INCH)
    assert [(each.hand, each.radius / INCH) for each in section.curves] == [
        ("left", pytest.approx(24)),
        ("right", pytest.approx(24)),
    ]
    assert [(each.name, each.kind) for each in section.joints] == [("Harbor", "end"), ("Ridge", "end")]
    assert [each.at for each in section.joints] == pytest.approx([0.0, section.profile.length])
    assert [each.berth for each in section.tracks] == ["Harbor yard", *[None] * 5, "Ridge yard"]
    assert [each.name for each in section.tracks if each.named] == ["Lower bend", "Upper bend"]
    assert section.haul is not None
    assert section.haul.name == "local"


def test_a_curve_through_zero_is_two_easements():
    section = long_section(layout_of("n-mountain"), "Southbound")
    (at,) = [one.stop for one, next_ in pairwise(section.curves) if one.hand != next_.hand and one.stop == next_.start]
    before = next(each for each in section.curves if each.stop == at)
    after = next(each for each in section.curves if each.start == at)
    assert (before.hand, before.last, after.hand, after.first) == ("left", 0.0, "right", 0.0)


def test_easements_end_straight():
    curves = ", ".join(f"{{ left = {20 + size}, angle = 90, ease = {size % 7 + 3} }}" for size in range(20))
    text = f'scale = "HO"\nunit = "in"\nrailhead.A = 0\nline.L = {{ from = "A", to = "B", track = [{curves}] }}'
    elements = long_section(Layout(read_plan(text)), "A to B").elements
    assert [bend == 0 for each in elements for bend in each.curvature] == [True, *[False] * 4, True] * 20


# Whatever the plan


@pytest.mark.parametrize("kind", ["grades", "tracks", "elements"])
def test_stretches_cover_the_route(kind):
    for section in some_sections():
        stretches = getattr(section, kind)
        assert stretches[0].start == 0
        assert stretches[-1].stop == pytest.approx(section.profile.length, abs=1e-9)
        for one, other in pairwise(stretches):
            assert one.stop == pytest.approx(other.start, abs=1e-9)
            assert one.stop > one.start


def test_elements_agree_with_the_profile():
    for section in some_sections():
        profile = section.profile
        for element in section.elements:
            assert element.railhead == pytest.approx(profile.railhead(element.stop), abs=1e-12)
            for share in (0.01, 0.5, 0.99):
                at = element.start + share * (element.stop - element.start)
                grade, curvature, effective = (
                    first + share * (last - first)
                    for first, last in (element.grade, element.curvature, element.effective)
                )
                assert effective == pytest.approx(section.effective(at), abs=1e-8)
                assert grade == pytest.approx(profile.railhead.derivative()(at), abs=1e-8)
                assert effective == pytest.approx(grade + profile.coefficient * abs(curvature), abs=1e-8)
                assert profile.track_at(at) == element.track


def test_rises_sum_up():
    for section in some_sections():
        railhead = section.profile.railhead
        whole = float(railhead.ends[-1] - railhead.values[0])
        assert sum(each.rise for each in section.grades) == pytest.approx(whole, abs=1e-9)


def test_splitting_a_track_changes_nothing():
    split = HILL.replace("{ straight = 3,", '{ straight = 1, grade = "-1 %" }, { straight = 2,')
    split = split.replace(
        "{ right = 2, length = 1,", '{ right = 2, length = 0.4, grade = "2 %" }, { right = 2, length = 0.6,'
    )
    one, other = hill(), hill(text=split)
    assert len(other.tracks) == len(one.tracks) + 2
    for kind in ("grades", "curves"):
        ends = [np.array([(a.start, a.stop, a.first, a.last) for a in getattr(s, kind)]) for s in (one, other)]
        assert ends[0] == pytest.approx(ends[1], abs=1e-9)


def test_the_way_back_is_the_mirror_image():
    there, back = hill("Up"), hill("Down")
    length = there.profile.length
    turned = [(length - a.stop, length - a.start, -a.last, -a.first, -a.rise) for a in reversed(there.grades)]
    told = [(a.start, a.stop, a.first, a.last, a.rise) for a in back.grades]
    assert np.array(told) == pytest.approx(np.array(turned), abs=1e-9)
    turned = [(length - a.stop, length - a.start, -a.last, -a.first) for a in reversed(there.curves)]
    assert np.array([(a.start, a.stop, a.first, a.last) for a in back.curves]) == pytest.approx(
        np.array(turned), abs=1e-9
    )
    assert [a.name for a in back.joints] == [a.name for a in reversed(there.joints)]


def test_a_sliver_of_rounding_is_no_stretch():
    railhead = polyline([0.0, 1.0, 1.0 + 1e-11, 2.0], [0.0, 0.02, 0.02, 0.04])
    (only,) = grade_stretches(railhead)
    assert (only.start, only.stop, only.first) == (0.0, 2.0, pytest.approx(0.02))


def test_a_vertical_curve_ends_where_another_goes_on_more_sharply():
    sharper = PiecewiseQuadratic(*map(np.array, ([0.0, 1.0, 2.0], [0.0, 0.005], [0.0, 0.01], [0.01, 0.02])))
    assert [(each.start, each.stop) for each in grade_stretches(sharper)] == [(0.0, 1.0), (1.0, 2.0)]
    same = PiecewiseQuadratic(*map(np.array, ([0.0, 1.0, 2.0], [0.0, 0.005], [0.0, 0.01], [0.01, 0.01])))
    assert [(each.start, each.stop) for each in grade_stretches(same)] == [(0.0, 2.0)]


# The train


def test_pull_less_demand_is_the_margin_of_the_verdict():
    for section in some_sections():
        if section.haul is None:
            continue
        for given in section.haul.given:
            spare = given.standing - section.haul.running
            assert spare.least().value == pytest.approx(given.verdict.margin, abs=1e-12)
            places = np.linspace(spare.start, spare.stop, 997)[1:-1]
            for pull, asked, stretches in (
                (given.standing, section.haul.running, given.verdict.stalling),
                (given.standing, section.haul.starting, given.verdict.no_stopping),
                (given.slipping, section.haul.running, given.verdict.no_recovery),
            ):
                short = pull.at(places) < asked.at(places)
                told = np.any([(places > a.start) & (places < a.stop) for a in stretches], axis=0)
                near = np.abs(pull.at(places) - asked.at(places)) < 1e-6
                assert np.array_equal(short[~near], np.broadcast_to(told, short.shape)[~near])


def test_rails_are_those_judged_and_film_everywhere_at_its_worse_age():
    two_levels = layout_of("two-levels")
    section = long_section(two_levels, "Up by the siding")
    shown = [(given.rail, given.judged) for given in section.haul.given]
    assert shown == [("as planned", True), ("as planned fresh", True), ("treated fresh", False)]
    shown = [(given.rail, given.judged) for given in long_section(layout_of("first-hill"), "Uphill").haul.given]
    assert shown == [("clean", True), ("treated fresh", False)]
    section = long_section(two_levels, "Up by the siding", rails=["clean", "as planned", "as planned fresh"])
    clean, planned, fresh = (given.standing for given in section.haul.given)
    assert clean.least().value == clean.greatest().value
    assert planned.least().value < planned.greatest().value
    assert fresh.least().value < planned.least().value
    assert fresh.greatest().value == planned.greatest().value
    asked = long_section(two_levels, "Up by the siding", rails=["treated", "clean", "treated"])
    assert [given.rail for given in asked.haul.given] == ["treated", "clean"]


def test_any_train_of_the_plan_may_be_put_on_a_route():
    layout = Layout(read_plan(HILL))
    assert long_section(layout, "Up", train="other").haul.name == "other"
    assert long_section(layout, "Down").haul.name == "other"
    assert long_section(layout, "Again").haul is None


def test_a_train_as_long_as_its_route_stands_at_one_place():
    text = HILL.replace('"8 wagon"', '"80 wagon"').replace("{ straight = 2,", '{ berth = "Stop", straight = 2,')
    haul = hill(
        text=text.replace('from = "Foot"\nto = "Top"\n[route.Down]', 'from = "Stop"\nto = "Top"\n[route.Down]')
    ).haul
    assert haul.running.start == haul.running.stop == pytest.approx(7.5 + BEND)
    assert haul.given[0].standing.start == haul.running.start


# What is refused


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({}, '"Up", "Down", "Again"'),
        ({"route": "Upp"}, 'got "Upp"; write "Up"'),
        ({"route": "Up", "train": "express"}, 'got "express"; write one of "pickup", "other"'),
        ({"route": "Up", "rails": ["oiled"]}, 'got "oiled"; write one of "clean", "treated", "treated fresh"'),
        ({"route": "Again", "rails": ["oiled"]}, 'got "oiled"'),
    ],
)
def test_what_the_plan_does_not_have(asked, found):
    with pytest.raises(RouteError) as error:
        long_section(Layout(read_plan(HILL, file="hill.toml")), **asked)
    assert str(error.value).startswith("hill.toml: ")
    assert found in str(error.value)


def test_a_train_longer_than_its_lap():
    layout = Layout(read_plan(LAP))
    short, long = (long_section(layout, train=name).haul for name in ("short", "long"))
    assert short is not None
    assert short.misfits == ()
    assert long is not None
    assert [misfit.place for misfit in long.misfits] == ["the lap"]
