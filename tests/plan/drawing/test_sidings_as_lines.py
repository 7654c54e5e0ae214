"""A siding drawn as straight lines stays straight: its corners lie on a circle, and no train runs on that."""

import math

import numpy as np
import pytest

from gradehaul.plan.drawing.fitting import fit_stroke
from gradehaul.plan.drawing.records import Stroke

SIDING = [(300, 0), (540, 30), (1760, 30), (2000, 0)]


def pieces(corners: list[tuple[float, float]], kink: float) -> list[list[float]]:
    points = np.array(corners) / 1000
    stroke = Stroke("1", "TRACK", "LWPOLYLINE", points, np.zeros(len(points) - 1), exact=False)
    reaches, _ = fit_stroke(stroke, tolerance=0.00045, kink=math.radians(kink))
    assert not any(element.curvature for reach in reaches for element in reach.elements)
    return [[element.length for element in reach.elements] for reach in reaches]


@pytest.mark.parametrize("more", [[], [(1000, 30)], [(900, 30), (1300, 30)]])
def test_it_breaks_at_its_corners(more: list[tuple[float, float]]) -> None:
    corners = sorted([*SIDING, *more])
    assert [sum(each) for each in pieces(corners, 5)] == pytest.approx([0.24187, 1.22, 0.24187], abs=1e-5)
    (along,) = pieces(corners, 10)
    assert sum(along) == pytest.approx(1.70374, abs=1e-5)
