"""One arc between two ends, against the general library; and how much wider few vertices make its spread."""

import math

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.special import stdtrit

from gradehaul.plan.drawing.fitting.runs import one_arc
from gradehaul.plan.drawing.fitting.search import PRICE
from gradehaul.plan.drawing.fitting.spans import student
from plan.drawing.test_fitting import TOLERANCE, walk


def squares(curvature, points):
    """The squares of the vertices' distances from the circle of a curvature through the two ends."""
    way = points[-1] - points[0]
    chord = math.hypot(*way)
    left = np.array([-way[1], way[0]]) / chord
    deep = math.copysign(math.sqrt(1 / curvature**2 - chord**2 / 4), curvature)
    middle = (points[0] + points[-1]) / 2 + left * deep  # arcs of less than a half turn
    return float(((np.hypot(*(points - middle).T) - 1 / abs(curvature)) ** 2).sum())


@pytest.mark.parametrize("seed", range(12))
def test_one_arc_is_the_circle_that_the_library_finds_through_both_ends(seed):
    chance = np.random.default_rng(seed)
    radius = chance.uniform(0.3, 1.5) * chance.choice([-1, 1])
    pieces = [(1 / radius, abs(radius) * math.radians(chance.uniform(20, 140)))]
    points = walk(pieces, (2.0, 1.0, chance.uniform(-3, 3)), chord=chance.uniform(2, 8)) / TOLERANCE
    points[1:-1] += chance.normal(0, 0.03, points[1:-1].shape)
    (arc,) = one_arc(points, 0.1).chains
    (found,) = arc.curvature
    guess = TOLERANCE / radius
    library = minimize_scalar(squares, bracket=(0.99 * guess, 1.01 * guess), args=(points,), tol=1e-12).x
    assert found == pytest.approx(library, rel=1e-6)
    assert squares(found, points) == pytest.approx(float(arc.off @ arc.off), rel=1e-6)
    turn = float(arc.curvature[0] * arc.length[0])
    chord, middle = arc.length[0] * np.sinc(turn / math.tau), arc.start[0, 2] + turn / 2
    end = arc.start[0, :2] + chord * np.array([math.cos(middle), math.sin(middle)])
    np.testing.assert_allclose(end, points[-1], rtol=0, atol=1e-6)


def test_two_curves_are_not_one_arc():
    assert one_arc(walk([(1 / 0.6, 0.5), (1 / 0.605, 0.5)], chord=5) / TOLERANCE, 0.0).excess(0.0) > PRICE


@pytest.mark.parametrize(("freedom", "within"), [(1, 0.02), (2, 0.002), (3, 1e-3), (10, 1e-4), (1000, 1e-4)])
def test_the_factor_for_few_vertices_is_the_library_s(freedom, within):
    assert student(float(freedom), freedom) == pytest.approx(stdtrit(freedom, 0.841345), rel=within)
    assert math.isinf(student(1.0, 0))
