"""Track drawn over itself in plan on several levels: set apart by z, or by texts beside the ends of its pieces."""

import math

import pytest

from gradehaul.plan.drawing.records import terms
from plan.drawing.dxf_files import MM, ON, assembled, new, saved

RADIUS, STEP = 610.0, 10.0
TURNS = 4
ON_TERMS = terms(0.0165, "mm", ["Track"], height_layers=["Heights"])


def at(angle, radius=RADIUS):
    return radius * math.cos(math.radians(angle)), radius * math.sin(math.radians(angle))


def helix(space, *, heights=(0, 45, 90, 135, 180), texts=True, order=range(TURNS)):
    """Draw four turns of 350 degrees one over another as separate arcs, each from where the one below ends."""
    for turn in order:
        low = -STEP * turn
        space.add_arc((0, 0), RADIUS, low, low - STEP, dxfattribs=ON)
    for turn, height in enumerate(heights):
        if texts:
            spot = at(-STEP * turn, RADIUS + 25)
            space.add_text(f"{height}", dxfattribs={"layer": "Heights"}).set_placement(spot)


def lead_in(space):
    space.add_line((RADIUS, -800), (RADIUS, 0), dxfattribs=ON)


def lead_out(space):
    x, y = at(-STEP * TURNS)
    turn = math.radians(90 - STEP * TURNS)
    space.add_line((x, y), (x + 900 * math.cos(turn), y + 900 * math.sin(turn)), dxfattribs=ON)


TURN = math.radians(350) * RADIUS / 1000


@pytest.mark.parametrize("order", [range(TURNS), (2, 0, 3, 1)])
def test_four_turns_over_one_another_are_told_apart_by_texts(tmp_path, order):
    document, space = new(units=MM)
    helix(space, order=order)
    lead_in(space)
    lead_out(space)
    drawn = assembled(saved(document, tmp_path), ON_TERMS)
    (line,) = drawn.lines.values()
    assert line.length == pytest.approx(0.8 + TURNS * TURN + 0.9, rel=1e-6)
    assert drawn.faults == ()
    stops = {round(where, 6): height for where, height in line.railhead_at}
    if line.elements[0].start.y > -0.7:  # it runs down
        stops = {round(line.length - where, 6): height for where, height in stops.items()}
    # all the way up it climbs evenly, so that what lies between needs no telling
    assert stops[0.8] == pytest.approx(0.0)
    assert stops[round(0.8 + TURNS * TURN, 6)] == pytest.approx(0.180)


def test_turns_that_climb_unevenly_keep_the_heights_between_them(tmp_path):
    document, space = new(units=MM)
    helix(space, heights=(0, 45, 95, 135, 190))
    drawn = assembled(saved(document, tmp_path), ON_TERMS)
    (line,) = drawn.lines.values()
    assert sorted(drawn.heights.values()) == pytest.approx([0.0, 0.190])
    assert sorted(height for _, height in line.railhead_at) == pytest.approx([0.045, 0.095, 0.135])


def test_without_heights_they_are_one_track_drawn_again(tmp_path):
    document, space = new(units=MM)
    helix(space, texts=False)
    drawn = assembled(saved(document, tmp_path), ON_TERMS)
    assert sum(line.length for line in drawn.lines.values()) == pytest.approx(2 * math.pi * RADIUS / 1000, rel=1e-3)
    assert {fault.code for fault in drawn.faults} & {"duplicate", "overlap"}


def test_a_line_drawn_twice_between_heights_is_still_one(tmp_path):
    document, space = new(units=MM)
    for _ in range(2):
        space.add_line((0, 0), (2000, 0), dxfattribs=ON)
    for words, x in (("0", 0), ("40", 2000)):
        space.add_text(words, dxfattribs={"layer": "Heights"}).set_placement((x, 20))
    drawn = assembled(saved(document, tmp_path), ON_TERMS)
    assert len(drawn.lines) == 1
    assert [fault.code for fault in drawn.faults] == ["duplicate"]
    assert sorted(drawn.heights.values()) == pytest.approx([0.0, 0.040])


@pytest.mark.parametrize("kind", ["circles", "turns"])
def test_four_turns_over_one_another_are_told_apart_by_z(tmp_path, kind):
    document, space = new(units=MM)
    count = 72
    if kind == "circles":  # each level for itself, closed; a height of 0 is none
        for turn in range(TURNS):
            space.add_circle((0, 0, 45 * turn + 1), RADIUS, dxfattribs=ON)
    else:
        for turn in range(TURNS):
            points = [(*at(360 * step / count), 45 * (turn + step / count) + 1) for step in range(count + 1)]
            space.add_polyline3d(points, dxfattribs=ON)
    drawn = assembled(saved(document, tmp_path), ON_TERMS)
    whole = TURNS * 2 * math.pi * RADIUS / 1000
    assert sum(line.length for line in drawn.lines.values()) == pytest.approx(whole, rel=1e-3)
    assert len(drawn.lines) == (TURNS if kind == "circles" else 1)
    assert not {fault.code for fault in drawn.faults} & {"duplicate", "overlap"}
    if kind == "turns":
        assert sorted(drawn.heights.values()) == pytest.approx([0.001, 0.181])
