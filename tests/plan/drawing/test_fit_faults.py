"""What is named of the fitting: kinks that are no turnouts, and radii that are not well known."""

import math
import re

import numpy as np
import pytest

from plan.drawing.hand_made import assembled, polyline, straight


def chords(radius, degrees, pieces, noise, seed=0):
    angle = np.radians(np.linspace(0, degrees, pieces + 1))
    points = radius * np.column_stack((np.sin(angle), 1 - np.cos(angle)))
    return points + np.random.default_rng(seed).normal(0, noise, points.shape)


def named(strokes, unit="mm"):
    return [fault for fault in assembled(strokes, unit=unit).faults if fault.code == "radius"]


@pytest.mark.parametrize("unit_name", ["mm", "in"])
def test_the_radius_of_a_short_arc_in_chords_says_how_uncertain_it_is(unit_name):
    strokes = [polyline(chords(0.6, 18, 6, 1e-4), handle="1"), polyline(chords(0.6, 90, 18, 1e-4) + 3, handle="2")]
    (fault,) = named(strokes, unit_name)
    assert fault.handle == "1"
    radius, spread, of = re.search(r"a radius of ([\d.]+) \w+, give or take ([\d.]+) (\w+)$", fault.text).groups()
    radius, spread = float(radius), float(spread)
    unit = {"mm": 1000, "in": 1 / 0.0254}[unit_name]
    assert of == unit_name
    assert fault.weight == pytest.approx(spread / radius, rel=0.01)
    assert abs(radius / unit - 0.6) < 4 * spread / unit
    assert 0.01 < fault.weight < 0.2


def test_an_arc_through_three_points_says_so():
    (fault,) = named([polyline(chords(0.6, 9, 2, 0))])
    assert fault.text.endswith("by three points alone")


def test_a_radius_that_is_drawn_is_known():
    stroke = polyline(chords(0.6, 20, 1, 0), exact=True)
    stroke.bulges[:] = math.tan(math.radians(5))
    assert named([stroke]) == []


def test_a_kink_that_is_no_turnout_stays():
    bent = polyline([(0, 0), (1, 0), (2, 0.2)], exact=True)
    faults = assembled([bent, straight(5, 0, 6, 0, handle="2")]).faults
    assert "kink" in [fault.code for fault in faults]


def test_the_radius_of_an_arc_under_a_degree_is_not_named():
    assert named([polyline(chords(60, 0.9, 9, 1e-4))]) == []
    assert len(named([polyline(chords(20, 2.7, 9, 1e-4))])) == 1
