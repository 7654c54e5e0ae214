"""Drawings too small, too dense or too sharp for trains of their scale: refused early or questioned, with the unit."""

import math
import random
import tracemalloc

import pytest

from effort import at_most
from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.assembly import assemble
from gradehaul.plan.drawing.records import terms
from plan.drawing.dxf_files import MM, ON, new, read, saved

GAUGE = 0.0165


def assembled(folder, document, *, unit=None, **more):
    return assemble(read(saved(document, folder), unit=unit), terms(GAUGE, "mm", ["*"], **more))


def crowd(count, width, height):
    chance = random.Random(7)
    document, space = new(units=MM)
    for _ in range(count):
        ends = [(chance.uniform(0, width), chance.uniform(0, height)) for _ in range(2)]
        space.add_line(*ends, dxfattribs=ON)
    return document


@pytest.mark.parametrize(
    ("size", "wrong"),
    [((8, 5), "no train fits in the whole drawing"), ((200, 100), "the lines lie more densely than track can")],
)
def test_ten_thousand_lines_in_a_small_place(tmp_path, size, wrong):
    document = crowd(10_000, *size)
    drawing = read(saved(document, tmp_path))
    tracemalloc.start()
    with at_most(100_000), pytest.raises(DrawingError, match=wrong):
        assemble(drawing, terms(GAUGE, "mm", ["*"]))
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 100e6


def test_short_lines_in_one_place(tmp_path):
    chance = random.Random(3)
    document, space = new(units=MM)
    for _ in range(5_000):
        x, y = chance.uniform(0, 140), chance.uniform(0, 15)
        space.add_line((x, y), (x + chance.uniform(-0.4, 0.4), y + 0.3), dxfattribs=ON)
    with pytest.raises(DrawingError, match="the ends of lines lie more densely than those of track can"):
        assembled(tmp_path, document)


def test_a_helix_of_many_turns_drawn_as_arcs_is_no_crowd(tmp_path):
    document, space = new(units=MM)
    for half in range(28):
        space.add_arc((0, 0, 40 * half), 600, 37 + 180 * half, 217 + 180 * half, dxfattribs=ON)
    drawn = assembled(tmp_path, document)
    assert sum(line.length for line in drawn.lines.values()) == pytest.approx(28 * 0.6 * math.pi)
    assert sorted(drawn.heights.values()) == pytest.approx([0.0, 0.04 * 27])


def test_circles_cover_more_than_the_ends_of_their_halves(tmp_path):
    document, space = new(units=MM)
    for number in range(25):
        space.add_circle((0, 0, 80 * number), 600, dxfattribs=ON)
    assert len(assembled(tmp_path, document).lines) == 25
    for _ in range(300):
        space.add_circle((0, 0), 600, dxfattribs=ON)
    with pytest.raises(
        DrawingError, match=r"more densely than track can, got \d+\.\d mm of lines in 1200.0 mm by 1200.0 mm"
    ):
        assembled(tmp_path, document)


@pytest.mark.parametrize(("typed", "write"), [(True, "--unit m"), (False, 'unit = "m"')])
def test_a_drawing_in_meters_read_as_millimeters(tmp_path, typed, write):
    document, space = new(units=MM)
    space.add_line((0, 0), (4, 2), dxfattribs=ON)
    with pytest.raises(DrawingError) as caught:
        assembled(tmp_path, document, typed=typed)
    assert str(caught.value).endswith(f"no train fits in the whole drawing, got 4.0 mm by 2.0 mm; write {write}")


def test_curves_that_no_stock_runs_round_are_questioned(tmp_path):
    document, space = new(units=MM)
    space.add_line((-200, 0), (0, 0), dxfattribs=ON)
    arc = space.add_arc((0, 60), 60, 270, 350, dxfattribs=ON)
    (fault,) = assembled(tmp_path, document).faults
    assert fault.code == "unit"
    assert fault.text.startswith("no curve is wider than 60.0 mm, which no stock can run around; if its unit is cm")
    arc.dxf.radius, arc.dxf.center = 360, (0, 360)
    assert assembled(tmp_path, document).faults == ()


def test_a_drawing_in_inches_that_is_read_as_meters_is_questioned(tmp_path):
    """A file says meters where nobody chose: an oval of 18 in radius would be 100 m long with curves of 18 m."""
    document, space = new(units=6)
    space.add_line((0, 0), (90, 0), dxfattribs=ON)
    space.add_arc((90, 18), 18, 270, 90, dxfattribs=ON)
    (fault,) = assembled(tmp_path, document).faults
    assert fault.code == "unit"
    assert fault.text == 'the drawing is 90000.0 mm wide, far more than a layout; if its unit is in, write unit = "in"'
    document.header["$INSUNITS"] = 1
    assert assembled(tmp_path, document).faults == ()
