"""Free curves: splines followed closely by few arcs that meet as tangents; curves and straights are no free curves."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import BSpline, make_interp_spline

from gradehaul.plan.drawing.dxf.curves import Budget, chords
from gradehaul.plan.drawing.fitting import free
from gradehaul.plan.drawing.fitting.course import scatter
from gradehaul.plan.drawing.fitting.search import nodes_of
from gradehaul.plan.drawing.fitting.spans import Fit
from plan.drawing.test_fitting import KINK, TOLERANCE, assert_consistent, distances, fit, turned, walk


def loop(seed, size=1.5, count=600):
    """A closed curve about a point, of five waves, by vertices at even angles, and its greatest curvature."""
    chance = np.random.default_rng(seed)
    waves = [(k, chance.normal(0, 0.12 / k), chance.uniform(0, 6)) for k in range(2, 6)]
    angle = np.linspace(0, 2 * math.pi, count + 1)
    r = size * (1 + sum(high * np.cos(k * angle + phase) for k, high, phase in waves))
    once = size * sum(-high * k * np.sin(k * angle + phase) for k, high, phase in waves)
    twice = size * sum(-high * k * k * np.cos(k * angle + phase) for k, high, phase in waves)
    bend = (r**2 + 2 * once**2 - r * twice) / (r**2 + once**2) ** 1.5  # plane geometry, polar coordinates
    points = np.column_stack((r * np.cos(angle), r * np.sin(angle)))
    points[-1] = points[0]
    return points, float(np.abs(bend).max())


def wander(seed, count=40):
    """An open B-spline of wandering control points some 15 cm apart."""
    chance = np.random.default_rng(seed)
    heading = np.cumsum(np.convolve(chance.normal(0, 0.3, count + 4), np.ones(5) / 5, "valid"))
    control = np.cumsum(0.15 * np.column_stack((np.cos(heading), np.sin(heading))), axis=0)
    knots = np.concatenate((np.zeros(3), np.linspace(0, 1, count - 2), np.ones(3)))
    return BSpline(knots, control, 3)(np.linspace(0, 1, 60 * (count - 3) // 3))


@pytest.fixture
def no_search(monkeypatch):
    """Make any search fail, so that a curve is seen to be taken for a free one."""

    def fail(*_, **__):
        raise AssertionError("searched")

    for name in ("chord_spans", "ring_spans"):
        monkeypatch.setattr(f"gradehaul.plan.drawing.fitting.{name}", fail)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.usefixtures("no_search")
def test_a_closed_spline_is_one_ring_of_arcs(seed):
    points, sharpest = loop(seed)
    (reach,), faults = fit(points)
    assert reach.closed
    assert faults == ()
    assert_consistent(reach)
    assert distances(reach, points).max() <= free.MOST * TOLERANCE * 1.001
    assert sum(map(turned, reach.elements)) == pytest.approx(2 * math.pi, abs=1e-9)
    assert max(abs(element.curvature) for element in reach.elements) == pytest.approx(sharpest, rel=0.03)
    drawn = float(np.hypot(*np.diff(points, axis=0).T).sum())
    assert sum(element.length for element in reach.elements) == pytest.approx(drawn, rel=1e-3)
    assert len(reach.elements) < 90


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.usefixtures("no_search")
def test_an_open_spline_is_followed_from_end_to_end(seed):
    points = wander(seed)
    there, back = fit(points)[0], fit(points[::-1])[0]
    (reach,) = there
    assert not reach.closed
    assert_consistent(reach)
    assert reach.elements[0].start[:2] == tuple(points[0])
    assert reach.elements[-1].end[:2] == tuple(points[-1])
    assert distances(reach, points).max() <= free.MOST * TOLERANCE * 1.001
    assert len(reach.elements) < len(points) / 4
    assert [-element.curvature for element in reversed(back[0].elements)] == [
        element.curvature for element in reach.elements
    ]


@pytest.mark.parametrize("begin", [1, 57, 201])
def test_a_closed_spline_is_one_track_wherever_and_whichever_way_it_is_drawn(begin):
    points, _ = loop(3)
    ring = np.roll(points[:-1], begin, axis=0)
    ring = np.vstack((ring, ring[:1]))
    places = [
        sorted(element.start[:2] for reach in fit(way)[0] for element in reach.elements) for way in (points, ring)
    ]
    assert places[0] == places[1]
    assert len(fit(ring[::-1])[0][0].elements) == len(places[0])


def test_a_corner_parts_a_free_curve():
    one = wander(1)
    bent = one[::-1] - one[-1]
    angle = math.atan2(*(one[-1] - one[-2])[::-1]) - math.atan2(*(bent[1] - bent[0])[::-1]) + math.radians(9)
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    reaches, (fault,) = fit(np.vstack((one, (bent @ turn + one[-1])[1:])))
    assert len(reaches) == 2
    assert fault.weight == pytest.approx(9, abs=0.1)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6), noise=st.sampled_from([0.0, 1e-6, 1e-5, 1e-4, 3e-4]), way=st.sampled_from("cfs"))
def test_straights_and_curves_are_no_free_curve(seed, noise, way):
    chance = np.random.default_rng(seed)
    pieces = []
    for _ in range(6):
        pieces.append((0.0, chance.uniform(0.1, 1.5)))
        curvature = chance.choice([-1, 1]) / chance.uniform(0.25, 1.5)
        pieces.append((curvature, math.radians(chance.uniform(30, 150)) / abs(curvature)))
    if way == "s":  # a spline through vertices of the track
        track = walk(pieces, chord=6, step=0.06)
        along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(track, axis=0).T))))
        points = make_interp_spline(along, track, k=3)(np.arange(0, along[-1], 0.005))
    else:
        points = walk(pieces, chord=1 if way == "f" else 8, step=0.012 if way == "f" else None)
    points = points + chance.normal(0, noise, points.shape)
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    level = scatter(points[nodes_of(points / TOLERANCE, 0.0).vertex])
    assert free.free_spans(points, along, Fit(TOLERANCE, KINK, level / TOLERANCE), closed=False) is None


def cusped(seed):
    """A closed cubic spline as of lettering: control points drawn up to three times, where it has cusps."""
    chance = np.random.default_rng(seed)
    count, size = int(chance.integers(5, 12)), chance.uniform(0.02, 0.2)
    angle = np.sort(chance.uniform(0, 2 * math.pi, count))
    corners = size * chance.uniform(0.2, 1, (count, 1)) * np.column_stack((np.cos(angle), np.sin(angle)))
    control = np.repeat(corners, chance.integers(1, 4, count), axis=0)
    control = np.vstack((control, control[:1]))
    last = len(control) - 3
    knots = np.concatenate((np.zeros(3), np.arange(last + 1), np.full(3, last)))
    curve = BSpline(knots, np.column_stack((control, np.zeros(len(control)))), 3)
    return chords(curve, np.linspace(0, last, 6 * last + 1), Budget(2e-5))[:, :2]


@pytest.mark.parametrize("seed", [1, 21, 43, 106, 123])
def test_a_spline_with_cusps_is_no_longer_than_drawn_and_named_where_shorter(seed):
    points = cusped(seed)
    drawn = float(np.hypot(*np.diff(points, axis=0).T).sum())
    reaches, faults = fit(points)
    share = sum(element.length for reach in reaches for element in reach.elements) / drawn
    named = [fault.weight for fault in faults if fault.code == "shortened"]
    assert share < 1.01
    assert named == ([pytest.approx(1 - share)] if share < 0.99 else [])
    assert bool(named) == (seed == 106)
