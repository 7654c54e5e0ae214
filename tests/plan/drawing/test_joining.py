"""Lines that meet end to end are one stroke, whatever their order, direction and number; and what is not joined."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.plan.drawing.joining import joined
from gradehaul.plan.drawing.outlines import Outlines
from gradehaul.plan.drawing.records import Stroke, terms
from plan.drawing.hand_made import assembled

TERMS = terms(0.0165, "mm", ["TRACK"])
SNAP = TERMS.snap


def line(start, end, handle="1", layer="TRACK"):
    points = np.array([start[:2], end[:2]], dtype=float)
    heights = np.array([start[2], end[2]]) if len(start) == 3 else None
    return Stroke(handle, layer, "LINE", points, np.zeros(1), exact=True, heights=heights)


def curve(count=12, radius=0.6, step=6, rise=None):
    turn = np.radians(step) * np.arange(count + 1)
    columns = [radius * np.sin(turn), radius * (1 - np.cos(turn))]
    if rise is not None:
        columns.append(rise * np.arange(count + 1))
    return np.column_stack(columns)


def lines_of(points):
    return [line(points[n], points[n + 1], str(n)) for n in range(len(points) - 1)]


def join(strokes):
    return joined(strokes, Outlines.of(strokes), TERMS)


@given(st.permutations(range(12)), st.lists(st.booleans(), min_size=12, max_size=12), st.sampled_from([None, 0.001]))
def test_the_order_and_direction_of_chords_do_not_matter(order, backward, rise):
    points = curve(rise=rise)
    lines = lines_of(points)
    drawn = [line(points[n + 1], points[n], str(n)) if backward[n] else lines[n] for n in order]
    (stroke,), twice, _ = join(drawn)
    np.testing.assert_array_equal(stroke.points, points[:, :2])
    assert (stroke.handle, stroke.exact, twice) == ("0", False, [])
    assert stroke.bulges.tolist() == [0] * 12
    if rise is not None:
        np.testing.assert_array_equal(stroke.heights, points[:, 2])


@given(st.lists(st.floats(-0.4, 0.4), min_size=24, max_size=24))
def test_gaps_and_overlaps_within_snap_close_where_the_chords_cross(ends):
    points = curve()
    lines = []
    for number in range(12):
        start, end = points[number], points[number + 1]
        way = (end - start) / np.hypot(*(end - start))
        lines.append(line(start - SNAP * ends[2 * number] * way, end + SNAP * ends[2 * number + 1] * way, str(number)))
    (stroke,), *_ = join(lines)
    assert len(stroke.points) == 13
    # ends within 0.01 mm are one place, which may lie 0.1 mm along the chords from where they cross
    np.testing.assert_allclose(stroke.points[1:-1], points[1:-1], atol=1.1e-4)


def test_turns_over_one_another_stay_apart():
    turn = np.radians(np.arange(0, 1081, 6))
    points = np.column_stack((0.6 * np.cos(turn), 0.6 * np.sin(turn), 0.07 * turn / math.tau))
    (stroke,), twice, _ = join(lines_of(points))
    assert len(stroke.points) == len(points)
    assert twice == []
    drawn = assembled(lines_of(points))
    (track,) = drawn.lines.values()
    assert [abs(1 / element.curvature) for element in track.elements] == [pytest.approx(0.6, rel=1e-4)]
    assert sorted(drawn.heights.values()) == pytest.approx([0, 0.21])


def test_a_chord_that_is_split_and_one_that_is_drawn_twice():
    points = curve()
    lines = lines_of(points)
    middle = (points[4] + points[5]) / 2
    split = [*lines[:4], line(points[4], middle, "4"), line(middle, points[5], "40"), *lines[5:]]
    twice = line(points[8], points[7], "70")
    (stroke,), dropped, _ = join([*split, twice])
    np.testing.assert_array_equal(stroke.points, points)
    assert [(each.source, each.kept) for each in dropped] == [(("70", "TRACK"), ("7", "TRACK"))]


@pytest.mark.parametrize(
    "strokes",
    [
        [line((0, 0), (1, 0)), line((1, 0), (2, 0.2))],  # one corner may be meant
        [line((0, 0), (1, 0)), line((1, 0), (2, 0)), line((2, 0), (3, 0))],  # a straight in pieces
        [line((0, 0), (1, 0)), line((1, 0), (1, 1)), line((1, 1), (2, 1))],  # square corners
        [line((0, 0), (1, 0), layer="A"), line((1, 0), (2, 0.1), layer="B"), line((2, 0.1), (3, 0.3), layer="A")],
        [line((0, 0), (1, 0)), line((1, 0), (2, 0.1)), line((1, 0), (2, -0.1)), line((1, 0), (2, 0))],  # three legs
        [line((0, 0, 0), (1, 0, 0)), line((1, 0, 0.1), (2, 0.1, 0.1)), line((2, 0.1, 0.2), (3, 0.3, 0.2))],  # levels
    ],
)
def test_what_stays_as_it_is_drawn(strokes):
    assert join(strokes) == (strokes, [], [])


def test_a_turnout_in_a_curve_of_chords_keeps_its_three_ends():
    points = curve(count=20)
    way = points[10] - points[9]
    heading = math.atan2(way[1], way[0]) + math.radians(3)
    leg = points[10] + np.outer((0, 0.5), (math.cos(heading), math.sin(heading)))
    drawn = assembled([*lines_of(points), line(leg[0], leg[1], "99")])
    assert sorted(joint.kind for joint in drawn.joints.values()) == ["end", "end", "end", "turnout"]
    radii = sorted(
        round(abs(1 / e.curvature), 4) for each in drawn.lines.values() for e in each.elements if e.curvature
    )
    assert radii == pytest.approx([0.6, 0.6], rel=1e-3)


def shortened(points, by):
    """Return lines that fall short of the vertices by so much at each end, m."""
    lines = []
    for number in range(len(points) - 1):
        start, end = points[number], points[number + 1]
        way = (end - start) / np.hypot(*(end - start))
        lines.append(line(start + by * way, end - by * way, str(number)))
    return lines


@pytest.mark.parametrize(("count", "step", "gap"), [(2000, 0.09, 0.0), (200, 0.18, 0.0002)])
def test_chords_shorter_than_snap_keep_their_order(count, step, gap):
    points = curve(count=count, step=step)  # 0.94 and 1.9 mm each, where ends meet within 1.65 mm
    (stroke,), _, gaps = join(shortened(points, gap)[::-1])
    np.testing.assert_allclose(stroke.points[1:-1], points[1:-1], atol=1e-6 if gap else 1e-12)
    np.testing.assert_allclose(stroke.points[[0, -1]], points[[0, -1]], atol=1.01 * gap + 1e-12)
    assert len(gaps) == (count - 1 if gap else 0)


@pytest.mark.parametrize("gap", [0.0, 0.0003])
def test_a_ring_of_chords_is_closed(gap):
    points = curve(count=60)
    points[-1] = points[0]
    (stroke,), *_ = join(shortened(points, gap))
    assert len(stroke.points) == 61
    np.testing.assert_array_equal(stroke.points[0], stroke.points[-1])
    off = np.abs(stroke.points[:, None] - points[None]).sum(axis=2).min(axis=1)
    assert off.max() < 1e-6
