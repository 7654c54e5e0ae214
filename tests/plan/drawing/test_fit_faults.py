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


# Easements


def eased(ease, radius=0.6, step=0.025):
    """Return chords of a straight, an easement of a length, m, a curve, another easement and a straight."""
    parts = [(0.8, 0, 0), (ease, 0, 1 / radius), (0.6, 1 / radius, 1 / radius), (ease, 1 / radius, 0), (0.8, 0, 0)]
    x = y = heading = 0.0
    points = [(x, y)]
    for length, first, last in parts:
        count = round(length / step)
        for piece in range(count * 50):
            bend = first + (last - first) * (piece + 0.5) / (count * 50)
            heading += bend * step / 100
            x, y = x + step / 50 * math.cos(heading), y + step / 50 * math.sin(heading)
            heading += bend * step / 100
            if piece % 50 == 49:
                points.append((x, y))
    return points


def easements(strokes):
    return [fault.text for fault in assembled(strokes).faults if fault.code == "easement"]


@pytest.mark.parametrize("ease", [0.2, 0.3])
def test_an_easement_that_is_read_as_arcs_is_said_at_both_ends_of_its_curve(ease):
    found = easements([polyline(eased(ease))])
    assert len(found) == 2
    assert named([polyline(eased(ease))]) == []
    for text in found:
        curve, arcs = re.fullmatch(r"an easement into a curve of ([\d.]+) mm is read as arcs of (.*)", text).groups()
        assert float(curve) == pytest.approx(600, rel=0.01)
        radii = [float(each) for each in re.findall(r"([\d.]+) mm", arcs)]
        assert radii == sorted(radii, reverse=True)
        assert radii[-1] > 600


def test_a_curve_without_easements_has_none():
    along = [(x, 0.0) for x in np.arange(-0.8, 0, 0.05)]
    curve = [*along, *chords(0.6, 90, 30, 0)]
    assert easements([polyline(curve)]) == []


def test_a_compound_curve_is_no_easement():
    x, y, heading = 0.0, 0.0, 0.0
    points = [(-0.8, 0.0), (-0.4, 0.0), (x, y)]
    for radius, count in ((1.2, 20), (0.6, 30)):
        for _ in range(count):
            heading += math.radians(1)
            x += 2 * radius * math.sin(math.radians(1)) * math.cos(heading)
            y += 2 * radius * math.sin(math.radians(1)) * math.sin(heading)
            heading += math.radians(1)
            points.append((x, y))
    assert easements([polyline(points)]) == []
