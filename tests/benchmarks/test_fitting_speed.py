"""Strokes of chords to straights and arcs: how long one takes, and how that grows with its chords."""

from __future__ import annotations

import math
import time

from gradehaul.plan.drawing.fitting import fit_stroke
from plan.drawing.test_fitting import KINK, TOLERANCE, stroke, walk

ROW = [(0, 0.8), (1 / 0.6, 0.9), (0, 1.1), (-1 / 0.8, 1.5), (1 / 1.1, 2.0)]


def row(times):
    return walk(ROW * times, chord=5, step=0.05)


QUARTER = walk([(1 / 0.6, 0.6 * math.pi / 2)], chord=10)


def seconds(points, rounds):
    """The least processor time that one fit takes, seconds."""
    drawn = stroke(points)
    fit_stroke(drawn, tolerance=TOLERANCE, kink=KINK)
    least = math.inf
    for _ in range(rounds):
        before = time.process_time()
        fit_stroke(drawn, tolerance=TOLERANCE, kink=KINK)
        least = min(least, time.process_time() - before)
    return least


def test_nine_chords_take_a_millisecond_and_a_half():
    taken = seconds(QUARTER, 50)
    print(f"\nnine chords: {1000 * taken:.2f} ms (target 1.5)")
    assert taken < 1.5e-3


def test_it_grows_with_the_chords_nearly():
    short, long = seconds(row(10), 5), seconds(row(80), 2)
    print(f"\neight times the chords take {long / short:.1f} times as long (target 12)")
    assert long < 12 * short
