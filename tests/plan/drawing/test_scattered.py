"""Strokes whose vertices scatter, so that they are cut where nothing holds: all that a fit must hold."""

import itertools
import math

import numpy as np
import pytest

from gradehaul.plan.drawing.fitting import fit_stroke
from gradehaul.plan.drawing.records import Stroke

TOLERANCE, KINK, SCATTER = 0.00083, math.radians(2), 0.0003


def scattered(seed: int) -> np.ndarray:
    """Straights and curves of up to five pieces by vertices some 5 to 12 cm apart; half of them are closed by force."""
    chance = np.random.default_rng(seed)
    count, closed = chance.integers(2, 6), chance.random() < 0.5
    step = chance.uniform(0.05, 0.12)
    at, heading = np.zeros(2), 0.0
    points = [at]
    for _ in range(count):
        length, curvature = chance.uniform(0.3, 1.0), chance.choice([0, 1, -1]) * chance.uniform(0.6, 2.0)
        pieces = max(1, int(length / step))
        for _ in range(pieces):
            heading += curvature * length / pieces / 2
            at = at + length / pieces * np.array([math.cos(heading), math.sin(heading)])
            heading += curvature * length / pieces / 2
            points.append(at)
    found = np.array(points)
    if closed:
        found = found - np.linspace(0, 1, len(found))[:, None] * (found[-1] - found[0])
    found = found + chance.normal(0, SCATTER, found.shape)
    if closed:
        found[-1] = found[0]
    return found


def along(element, count: int = 400) -> np.ndarray:
    """Points of an element, summed from many small steps."""
    s = (np.arange(count) + 0.5) * element.length / count
    heading = element.heading + element.curvature * s
    steps = np.column_stack([np.cos(heading), np.sin(heading)]) * element.length / count
    return np.array(element.start[:2]) + np.vstack([np.zeros(2), np.cumsum(steps, axis=0)])


@pytest.mark.parametrize("seed", [3, 10, 15, 22, 31, 44, 46, 53, 54, 77, 86, 97])
def test_a_scattered_stroke_is_fitted_within_its_tolerance_and_without_breaks(seed):
    points = scattered(seed)
    none = np.zeros(len(points) - 1)
    stroke = Stroke("1", "TRACK", "LWPOLYLINE", points, none, exact=False)
    reaches, faults = fit_stroke(stroke, tolerance=TOLERANCE, kink=KINK)
    assert {fault.code for fault in faults} <= {"kink"}
    assert all(math.radians(fault.weight) > KINK for fault in faults)
    for reach in reaches:
        for one, other in itertools.pairwise(reach.elements):
            assert one.end == other.start
            turn = one.heading + one.curvature * one.length - other.heading
            assert abs(math.remainder(turn, 2 * math.pi)) < KINK
    drawn = np.vstack([along(element) for reach in reaches for element in reach.elements])
    off = [np.hypot(*(drawn - point).T).min() for point in points]
    assert max(off) < TOLERANCE + 0.003  # half of a step between the points of an element
    # no fitted track where none was drawn
    chords = np.vstack([np.linspace(a, b, 60) for a, b in itertools.pairwise(points)])
    sagitta = 0.12**2 * 2.2 / 8
    assert max(np.hypot(*(chords - place).T).min() for place in drawn[::40]) < TOLERANCE + sagitta + 0.002
