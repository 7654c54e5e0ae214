"""A stroke of chords keeps the directions of the lines and arcs that it meets: no turn is lost where they join."""

import itertools
import math
import random

import numpy as np
import pytest

from gradehaul.plan.drawing.assembly import reaches_of
from gradehaul.plan.drawing.joining import joined
from gradehaul.plan.drawing.outlines import Outlines
from gradehaul.plan.drawing.records import Stroke, terms

TERMS = terms(0.0165, "mm", ["*"])
FINE = 200
"""Steps of the sum for each chord of an easement."""


def oval(rng, chords):
    """Yield a closed layout of straights, easements and arcs: places all along, turn (none for easements), chords."""
    radius, easement, length = rng.uniform(0.25, 0.6), rng.uniform(0.06, 0.13), rng.uniform(0.3, 1.0)
    x, y, heading = 0.0, 0.0, rng.uniform(-3, 3)
    turn = math.pi - easement / radius
    for begin, end, size, count in 2 * (
        (0.0, 0.0, length, 1),
        (0.0, 1 / radius, easement, chords),
        (1 / radius, 1 / radius, turn * radius, 1),
        (1 / radius, 0.0, easement, chords),
    ):
        bend = begin + (end - begin) * (np.arange(FINE * count) + 0.5) / FINE / count
        step = size / len(bend)
        headings = heading + np.cumsum(bend) * step - bend * step / 2
        chord = step * np.sinc(bend * step / math.tau)
        points = np.column_stack((x + np.cumsum(chord * np.cos(headings)), y + np.cumsum(chord * np.sin(headings))))
        points = np.vstack(((x, y), points))
        (x, y), heading = points[-1], heading + bend.sum() * step
        yield points, bend.mean() * size if begin == end else None, count


def strokes_of(rng, chords, *, joined_up, arcs):
    """Return the layout as strokes, its vertices to a tenth of a micrometer: easements as one stroke or as lines."""
    found = []

    def add(points, bulge, *, exact):
        points = np.round(points, 7)
        found.append(Stroke(str(len(found) + 1), "T", "", points, np.full(len(points) - 1, bulge), exact))

    for points, turn, count in oval(rng, chords):
        if turn is not None and (arcs or not turn):
            add(points[[0, -1]], math.tan(turn / 4), exact=True)
            continue
        most = count if turn is None else max(3, round(math.degrees(turn) / 6))
        vertices = points[np.linspace(0, len(points) - 1, most + 1).round().astype(int)]
        if joined_up and turn is None:
            add(vertices, 0.0, exact=False)
        else:
            for pair in itertools.pairwise(vertices):
                add(np.array(pair), 0.0, exact=True)
    return found


@pytest.mark.parametrize("arcs", [True, False], ids=["arcs", "chords"])
@pytest.mark.parametrize("joined_up", [True, False], ids=["polylines", "lines"])
@pytest.mark.parametrize("chords", [4, 6, 9, 12, 24])
def test_a_layout_that_closes_turns_once_round(chords, joined_up, arcs):
    for seed in range(4):
        strokes = strokes_of(random.Random(100 * chords + seed), chords, joined_up=joined_up, arcs=arcs)
        whole, _, _ = joined(strokes, Outlines.of(strokes), TERMS)
        rows, faults = reaches_of(whole, tolerance=TERMS.fit, kink=TERMS.kink)
        assert math.degrees(np.abs(rows.curvature * rows.length).sum()) == pytest.approx(360, abs=0.02)
        assert len(rows.length) <= 14
        assert faults == []


def test_a_kink_that_is_seen_where_a_line_meets_chords_stays_one():
    angle = np.radians(np.arange(0, 61, 6))
    curve = 0.5 * np.column_stack((np.sin(angle), 1 - np.cos(angle)))
    line = np.array([(-0.4 * math.cos(0.07), 0.4 * math.sin(0.07)), (0.0, 0.0)])  # 4 degrees
    strokes = [
        Stroke("1", "T", "", line, np.zeros(1), exact=True),
        Stroke("2", "T", "", curve, np.zeros(len(curve) - 1), exact=False),
    ]
    rows, _ = reaches_of(strokes, tolerance=TERMS.fit, kink=TERMS.kink)
    assert rows.curvature == pytest.approx([0, 2], abs=2e-3)
    assert rows.heading == pytest.approx([-0.07, 0], abs=1e-3)
