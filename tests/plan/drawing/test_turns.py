"""Turns of a helix: arcs at rising heights are one climb, circles are named, and so are ends at two heights."""

import math

import pytest

from gradehaul.plan.drawing.assembly import assemble
from gradehaul.plan.drawing.records import terms
from plan.drawing.dxf_files import MM, ON, new, read, saved

HALF = ((-90, 90), (90, 270))


def assembled(document, folder):
    return assemble(read(saved(document, folder)), terms(0.0165, "mm", ["*"]))


@pytest.mark.parametrize("count", [3, 5, 6])
@pytest.mark.parametrize("down", [False, True])
def test_half_turns_at_rising_heights_are_one_climb(tmp_path, count, down):
    document, space = new(units=MM)
    heights = [40 * (count - number if down else number) for number in range(count)]
    space.add_line((-1000, -600, heights[0]), (0, -600, heights[0]), dxfattribs=ON)
    for number, height in enumerate(heights):
        space.add_arc((0, 0, height), 600, *HALF[number % 2], dxfattribs=ON)
    end = -600 if count % 2 == 0 else 600
    space.add_line((0, end, heights[-1]), (1000 if end < 0 else -1000, end, heights[-1]), dxfattribs=ON)
    drawn = assembled(document, tmp_path)
    (line,) = drawn.lines.values()
    assert line.length == pytest.approx(2 + 0.6 * math.pi * count)
    assert [fault.code for fault in drawn.faults] == ["climb"]
    assert sorted(drawn.heights.values()) == pytest.approx(sorted((heights[0] / 1000, heights[-1] / 1000)))
    # a half turn at each end of the climb rises by half as much as those between
    along, railheads = zip((0.0, None), *line.railhead_at, strict=True)
    assert [round(each, 4) for each in along[1:3]] == pytest.approx([1.0, round(1 + 0.6 * math.pi, 4)])
    assert abs(railheads[2] - railheads[1]) == pytest.approx(0.02)


@pytest.mark.parametrize(
    ("first", "turn"), [(0, 180), (37.3, 180), (211.7, 180), (10, 200), (0, 120), (0, 240), (0, 270), (15, 300)]
)
def test_turns_begin_at_any_angle_and_may_be_longer_than_half_a_circle(tmp_path, first, turn):
    document, space = new(units=MM)
    for number in range(12):
        angle = first + turn * number
        space.add_arc((0, 0, 40 * number), 600, angle % 360, (angle + turn) % 360, dxfattribs=ON)
    drawn = assembled(document, tmp_path)
    assert sum(line.length for line in drawn.lines.values()) == pytest.approx(0.6 * math.radians(turn) * 12)
    assert sorted(drawn.heights.values()) == pytest.approx([0.0, 0.44])


def test_circles_over_one_another_are_named(tmp_path):
    document, space = new(units=MM)
    for number in range(3):
        space.add_circle((0, 0, 70 * number), 600, dxfattribs=ON)
    (fault,) = assembled(document, tmp_path).faults
    assert (fault.code, fault.text.split(":")[0]) == ("turns", "3 circles lie over one another")


@pytest.mark.parametrize("height", [0, 70, 140])
def test_a_lead_in_meets_the_circle_at_its_own_height(tmp_path, height):
    document, space = new(units=MM)
    for number in range(3):
        space.add_circle((0, 0, 70 * number), 600, dxfattribs=ON)
    space.add_line((600, -800, height), (600, 0, height), dxfattribs=ON)
    drawn = assembled(document, tmp_path)
    assert sum(line.length for line in drawn.lines.values()) == pytest.approx(3 * 1.2 * math.pi + 0.8)
    assert [fault.code for fault in drawn.faults] == ["turns"]
    (turnout,) = (joint.name for joint in drawn.joints.values() if joint.kind == "turnout")
    assert drawn.heights[turnout] == pytest.approx(height / 1000)
    assert sorted(set(drawn.heights.values())) == pytest.approx([0.0, 0.07, 0.14])


def test_ends_that_meet_in_plan_at_two_heights_are_named(tmp_path):
    document, space = new(units=MM)
    space.add_line((0, 0, 10), (1000, 0, 10), dxfattribs=ON)
    space.add_line((1000, 0, 90), (2000, 0, 90), dxfattribs=ON)
    drawn = assembled(document, tmp_path)
    assert len(drawn.lines) == 2
    assert [(fault.code, fault.text) for fault in drawn.faults] == [
        ("level-miss", "ends meet in plan, but at heights of 10.0 mm and 90.0 mm: left unjoined")
    ]
