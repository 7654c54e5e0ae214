"""Curves are drawn through their breakpoints, and closely enough between."""

import numpy as np
import pytest

from gradehaul.show.base.picture import curve_points
from gradehaul.track.piecewise import PiecewiseQuadratic, polyline


def test_straight_pieces_have_only_their_ends():
    x, y = curve_points(polyline([0.0, 1.0, 4.0], [0.0, 2.0, 1.0]))
    assert x.tolist() == [0, 1, 1, 4]
    assert y.tolist() == [0, 2, 2, 1]


def test_a_parabola_is_followed_closely():
    arc = PiecewiseQuadratic(np.array([0.0, 3.0]), np.array([1.0]), np.array([-2.0]), np.array([1.5]))
    x, y = curve_points(arc)
    assert (x[0], x[-1], y[-1]) == (0.0, 3.0, pytest.approx(arc.ends[-1]))
    fine = np.linspace(0, 3, 1001)
    sag = 1.5 * 3**2 / 8
    assert np.abs(np.interp(fine, x, y) - arc.at(fine)).max() <= sag / 15**2 * (1 + 1e-6)


def test_a_function_of_one_place():
    x, y = curve_points(PiecewiseQuadratic(np.array([2.0, 2.0]), np.array([5.0]), np.array([1.0]), np.array([1.0])))
    assert set(x.tolist()) == {2.0}
    assert set(y.tolist()) == {5.0}
