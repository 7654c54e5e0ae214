"""Strokes of chords to straights and arcs: how long one takes, and how that grows with its chords."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from gradehaul.plan.drawing.fitting import fit_stroke
from plan.drawing.test_fitting import KINK, TOLERANCE, closed, stroke, walk

ROW = [(0, 0.8), (1 / 0.6, 0.9), (0, 1.1), (-1 / 0.8, 1.5), (1 / 1.1, 2.0)]


def row(times):
    return walk(ROW * times, chord=5, step=0.05)


def ring():
    angle = np.radians(np.arange(0, 360, 5))
    return closed(0.6 * np.column_stack((np.cos(angle), np.sin(angle))))


STROKES = {
    "a quarter": (walk([(1 / 0.6, 0.6 * math.pi / 2)], chord=10), 1),
    "a curve in short chords": (walk([(1 / 0.6, 0.3 * math.pi)], chord=1.5), 1),
    "straight, curve, straight": (walk([(0, 0.5), (1 / 0.6, 0.9), (0, 0.4)], chord=3, step=0.03), 3),
    "a circle": (ring(), 1),
    "a long row": (row(10), 50),
}
"""Vertices, and how many elements they are."""


def seconds(points, rounds):
    """The least processor time that one fit takes, seconds, and its elements."""
    drawn = stroke(points)
    fit_stroke(drawn, tolerance=TOLERANCE, kink=KINK)
    least = math.inf
    for _ in range(rounds):
        before = time.process_time()
        reaches, _ = fit_stroke(drawn, tolerance=TOLERANCE, kink=KINK)
        least = min(least, time.process_time() - before)
    return least, [element for reach in reaches for element in reach.elements]


@pytest.mark.parametrize("name", STROKES)
def test_one_stroke(name):
    points, count = STROKES[name]
    taken, elements = seconds(points, 20)
    print(f"\n{name}, {len(points) - 1} chords: {1000 * taken:.2f} ms")
    assert len(elements) == count


def test_nine_chords_take_a_millisecond_and_a_half():
    points, _ = STROKES["a quarter"]
    taken, _ = seconds(points, 50)
    print(f"\nnine chords: {1000 * taken:.2f} ms (target 1.5)")
    assert taken < 1.5e-3


def test_it_grows_with_the_chords_nearly():
    short, long = seconds(row(10), 5)[0], seconds(row(80), 2)[0]
    print(f"\neight times the chords take {long / short:.1f} times as long (target 12)")
    assert long < 12 * short
