"""One arc between two drawn ends: the general library's answer, and left alone where two elements might do better."""

import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from gradehaul.plan.drawing.fit_limits import Fit
from gradehaul.plan.drawing.single_arc import single_arc
from plan.drawing.test_fitting import KINK, TOLERANCE, walk

FIT = Fit(TOLERANCE, KINK, 1e-4)


@pytest.mark.parametrize("hand", [-1, 1])
@pytest.mark.parametrize("degrees", [15, 40, 120, 200, 260])
@pytest.mark.parametrize("seed", range(3))
def test_it_is_the_arc_through_the_ends_that_the_library_fits(seed, degrees, hand):
    random = np.random.default_rng(seed)
    radius = random.uniform(0.3, 1.2)
    points = walk([(hand / radius, radius * math.radians(degrees))], (2.0, -1.0, 0.7), chord=degrees / 12)
    points += random.normal(0, 5e-5, points.shape)
    arc = single_arc(points, FIT)
    begin, way = points[0], points[-1] - points[0]
    chord = np.hypot(*way)
    aside = np.array([-way[1], way[0]]) / chord

    def off(unknown):
        middle = begin + way / 2 + unknown[0] * aside
        return np.hypot(*(points - middle).T) - np.hypot(*(begin - middle))

    guess = hand * math.copysign(radius, math.cos(math.radians(degrees) / 2)) * abs(math.cos(math.radians(degrees) / 2))
    (found,) = least_squares(off, [guess], x_scale=radius, xtol=1e-15, ftol=1e-15, gtol=1e-15).x
    assert 1 / abs(arc.curvature[0]) == pytest.approx(math.hypot(found, chord / 2), rel=1e-6)
    assert math.copysign(1, arc.curvature[0]) == hand
    assert arc.curvature[0] * arc.length[0] == pytest.approx(hand * math.radians(degrees), rel=0.03)
    # It lies to the left of the arc by what it lies inside a circle to the left.
    np.testing.assert_allclose(arc.off, -hand * off([found]), atol=1e-9)


@pytest.mark.parametrize(
    "pieces",
    [
        [(0, 0.3), (1 / 0.6, 0.6)],
        [(1 / 0.6, 0.5), (-1 / 0.6, 0.5)],
        [(1 / 0.6, 0.5), (1 / 0.7, 0.5)],
        [(1 / 0.6, 1.2 * math.pi * 0.9)],  # its ends come too near one another
    ],
)
def test_others_are_left_to_the_search(pieces):
    assert single_arc(walk(pieces, chord=5, step=0.05), FIT) is None


def test_a_straight_is_an_arc_of_no_curvature():
    points = np.column_stack((np.linspace(0, 1, 7), np.zeros(7)))
    arc = single_arc(points, FIT)
    assert (arc.curvature[0], arc.length[0]) == (0.0, 1.0)
