"""Closed strokes of chords: one track wherever the drawing began and whichever way it ran, with the last checks."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plan.drawing.test_fitting import (
    EXAMPLES,
    TOLERANCE,
    assert_consistent,
    closed,
    distances,
    fit,
    only,
    walk,
)


def ring_of(corners, radii):
    """Straights along a polygon and curves of the radii in its corners, as pieces, and where the first begins."""
    corners = np.array(corners, dtype=float)
    ways = np.roll(corners, -1, axis=0) - corners
    sides = np.hypot(*ways.T)
    headings = np.arctan2(ways[:, 1], ways[:, 0])
    turn = np.array([math.remainder(headings[at] - headings[at - 1], 2 * math.pi) for at in range(len(corners))])
    cut = np.abs(np.array(radii) * np.tan(turn / 2))
    pieces = []
    for at in range(len(corners)):
        after = (at + 1) % len(corners)
        pieces.append((0.0, sides[at] - cut[at] - cut[after]))
        pieces.append((math.copysign(1 / radii[after], turn[after]), abs(turn[after]) * radii[after]))
    first = corners[0] + cut[0] * ways[0] / sides[0]
    return pieces, (*first, headings[0])


@st.composite
def rings(draw):
    count = draw(st.integers(3, 6))
    share = [draw(st.floats(0.7, 1.3)) for _ in range(count)]
    bearing = np.cumsum(share) / sum(share) * 2 * math.pi
    reach = [draw(st.floats(1.2, 3.0)) for _ in range(count)]
    corners = [(far * math.cos(angle), far * math.sin(angle)) for far, angle in zip(reach, bearing, strict=True)]
    radii = [draw(st.floats(0.3, 0.6)) for _ in range(count)]
    return ring_of(corners, radii)


def usual(pieces):
    """Return whether every straight has a length and every curve turns by enough to be one."""
    return all(
        length >= 0.1 if not curvature else math.radians(20) < abs(curvature) * length < math.radians(160)
        for curvature, length in pieces
    )


def figures(reach, back=False):
    """Curvature and length of the elements of a ring, from its least joint on, run the one way."""
    elements = [(element.curvature, element.length, element.start) for element in reach.elements]
    if back:
        elements = [(-element.curvature, element.length, element.end) for element in reversed(reach.elements)]
    first = min(range(len(elements)), key=lambda at: elements[at][2][:2])
    return [each[:2] for each in elements[first:] + elements[:first]]


@settings(max_examples=40 * EXAMPLES, deadline=None)
@given(
    ring=rings().filter(lambda ring: usual(ring[0])),
    chord=st.floats(2, 10),
    step=st.sampled_from([None, 0.1]),
    begin=st.integers(0, 10**6),
)
def test_random_rings_come_back_wherever_they_begin(ring, chord, step, begin):
    pieces, start = ring
    points = walk(pieces, start, chord, step)[:-1]
    reach = only(closed(np.roll(points, begin % len(points), axis=0)))
    assert reach.closed
    assert_consistent(reach)
    assert distances(reach, points).max() <= TOLERANCE
    assert len(reach.elements) == len(pieces)
    found = sorted(element.curvature for element in reach.elements)
    assert found == pytest.approx(sorted(curvature for curvature, _ in pieces), rel=0.01, abs=1e-9)


@settings(max_examples=25 * EXAMPLES, deadline=None)
@given(
    ring=rings().filter(lambda ring: usual(ring[0])),
    chord=st.floats(2, 10),
    begin=st.integers(0, 10**6),
    noise=st.sampled_from([0.0, 1e-4]),
)
def test_a_ring_is_one_track_wherever_and_whichever_way_it_is_drawn(ring, chord, begin, noise):
    points = walk(*ring, chord, 0.1)[:-1]
    points += np.random.default_rng(begin).normal(0, noise, points.shape)
    reaches, _ = fit(closed(points))
    others, _ = fit(closed(np.roll(points, begin % len(points), axis=0)))
    back, _ = fit(closed(points)[::-1])
    assert len(reaches) == len(others) == len(back)
    for reach in (*reaches, *others, *back):
        assert_consistent(reach)
    if len(reaches) == 1:
        wanted = np.array(figures(reaches[0]))
        np.testing.assert_allclose(figures(others[0]), wanted, rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(figures(back[0], back=True), wanted, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("waves", [2, 3])
def test_a_ring_that_is_not_quite_round_keeps_its_sharper_curves(waves):
    angle, far = np.radians(np.arange(0, 360, 5)), 0.4 * TOLERANCE
    radius = 0.6 + far * np.cos(waves * angle)
    reach = only(closed(np.column_stack((radius * np.cos(angle), radius * np.sin(angle)))))
    assert (reach.closed, len(reach.elements)) == (True, 2 * waves)
    # of r = R + a cos nt the curvature is 1/R + a (n² - 1) cos(nt) / R² nearly; an arc has more than a half wave's mean
    sharpest = min(1 / element.curvature for element in reach.elements)
    assert 2 / math.pi < (0.6 - sharpest) / (far * (waves**2 - 1)) < 1


@pytest.mark.parametrize("begin", [0, 7, 31])
def test_heights_of_a_ring_stand_where_they_were_drawn(begin):
    points = walk([(0, 1.0), (2, math.pi / 2), (0, 1.0), (2, math.pi / 2)], chord=6, step=0.1)[:-1]
    ring = closed(np.roll(points, -begin, axis=0))
    for drawn in (ring, ring[::-1]):
        reach = only(drawn, heights=0.1 + 0.05 * drawn[:, 0])
        for element in reach.elements:
            assert element.start.z == pytest.approx(0.1 + 0.05 * element.start.x, abs=2e-4)


@pytest.mark.parametrize("back", [False, True])
def test_heights_of_a_circle_stand_where_they_were_drawn(back):
    angle = np.radians(np.arange(0, 360, 5)) + 0.3
    ring = closed(0.6 * np.column_stack((np.cos(angle), np.sin(angle))))
    ring = ring[::-1] if back else ring
    (element,) = only(ring, heights=0.1 + 0.05 * ring[:, 0]).elements
    assert element.start[:2] == pytest.approx(tuple(ring[0]))
    assert element.start.z == element.end.z == pytest.approx(0.1 + 0.05 * ring[0, 0])
