"""Rails and edges of the roadbed are refused with the cure, or read as the line between two rails."""

import math

import pytest

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.assembly import assemble
from gradehaul.plan.drawing.records import terms
from gradehaul.plan.edit.importing import ImportOptions, import_drawing
from plan.drawing.dxf_files import MM, new, read, saved

GAUGE = 0.0165


def track(space, offset, layer):
    """Draw a straight, a quarter circle of 600 mm radius and a straight, some mm to the right of them."""
    on = {"layer": layer}
    space.add_line((0, -offset), (1000, -offset), dxfattribs=on)
    space.add_arc((1000, 600), 600 + offset, 270, 360, dxfattribs=on)
    space.add_line((1600 + offset, 600), (1600 + offset, 1100), dxfattribs=on)


def assembled(folder, offsets, **more):
    document, space = new(units=MM)
    for number, offset in enumerate(offsets):
        track(space, offset, f"Track {number}")
    return assemble(read(saved(document, folder)), terms(GAUGE, "mm", ["*"], **more))


@pytest.mark.parametrize(
    ("offsets", "rails"),
    [
        ((-8.25, 8.25), True),
        ((-22, 0, 22), False),  # edges and the center line
        ((-22, -8.25, 8.25, 22), False),
        ((-22, -8.25, 0, 8.25, 22), False),
    ],
)
def test_rails_and_edges_are_refused(tmp_path, offsets, rails):
    with pytest.raises(DrawingError, match="look like rails or edges of the roadbed") as caught:
        assembled(tmp_path, offsets)
    assert ("rails = true" in str(caught.value)) == rails
    assert all(f'"Track {number}"' in str(caught.value) for number in range(len(offsets)))
    if rails:
        with pytest.raises(DrawingError, match="or --rails"):
            assembled(tmp_path, offsets, typed=True)


@pytest.mark.parametrize("offsets", [(0,), (-23, 23), (-50, 0, 50)])  # one track, a double track, a yard
def test_tracks_side_by_side_are_not(tmp_path, offsets):
    length = sum(line.length for line in assembled(tmp_path, offsets).lines.values())
    assert length == pytest.approx(sum(1.5 + (0.6 + off / 1000) * math.pi / 2 for off in offsets))


def test_the_line_between_two_rails(tmp_path):
    document, space = new(units=MM)
    for offset in (-8.25, 8.25):
        track(space, offset, "Track")
    done = import_drawing(str(saved(document, tmp_path)), None, ImportOptions(scale="HO", rails=True))
    assert "rails = true" in done.text  # the next import reads it so, too
    (line,) = done.drawn.lines.values()
    assert sorted(abs(element.curvature) for element in line.elements) == pytest.approx([0, 0, 1 / 0.6], abs=1e-9)
    assert line.length == pytest.approx(1.5 + 0.3 * math.pi)
    assert done.drawn.faults == ()


def test_a_line_without_another_rail_is_named(tmp_path):
    document, space = new(units=MM)
    for offset in (-8.25, 8.25):
        track(space, offset, "Rails")
    space.add_line((0, 300), (700, 300), dxfattribs={"layer": "Rails"})
    drawn = assemble(read(saved(document, tmp_path), layers=["*"]), terms(GAUGE, "mm", ["*"], rails=True))
    assert [fault.code for fault in drawn.faults] == ["no-rail"]
    assert sum(line.length for line in drawn.lines.values()) == pytest.approx(1.5 + 0.3 * math.pi)


def drawn(folder, draw):
    document, space = new(units=MM)
    draw(space)
    return assemble(read(saved(document, folder)), terms(GAUGE, "mm", ["*"]))


def test_a_grid_is_refused_and_so_are_five_parallel_lines(tmp_path):
    def grid(space):
        for number in range(20):
            space.add_line((0, 25 * number), (475, 25 * number), dxfattribs={"layer": "Track"})
            space.add_line((25 * number, 0), (25 * number, 475), dxfattribs={"layer": "Track"})

    def parallels(space):
        for number in range(5):
            space.add_line((0, 20 * number), (1000, 20 * number), dxfattribs={"layer": "Track"})

    for draw in (grid, parallels):
        with pytest.raises(DrawingError, match="or like a grid, not like center lines") as caught:
            drawn(tmp_path, draw)
        assert "rails = true" not in str(caught.value)


def test_lines_that_part_at_two_degrees_are_no_rails(tmp_path):
    def ray(space, start, angle):
        turn = math.radians(angle)
        end = start[0] + 1000 * math.cos(turn), start[1] + 1000 * math.sin(turn)
        space.add_line(start, end, dxfattribs={"layer": "Track"})

    def star(space):
        for angle in range(0, 180, 2):
            ray(space, (0, 0), angle)

    def folded(space):
        ray(space, (0, 0), 0)
        ray(space, (1000, 0), 178)

    assert len(drawn(tmp_path, star).lines) == 90
    assert len(drawn(tmp_path, folded).lines) == 2
