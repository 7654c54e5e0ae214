"""Points with a text beside them: joints where the track would otherwise run through."""

import math

import pytest

from gradehaul.plan.drawing.assembly import assemble
from gradehaul.plan.drawing.records import Spot, terms
from plan.drawing.dxf_files import MM, new, read, saved

HO = 0.0165
ON, NAMES = {"layer": "Track"}, {"layer": "Names"}


def drawn(tmp_path, draw, layers=("Track", "Names")):
    document, space = new(units=MM)
    draw(space)
    drawing = read(saved(document, tmp_path), layers=layers)
    return assemble(drawing, terms(HO, "mm", layers))


def named(space, name, x, y, z=0.0, layer=NAMES, aside=5):
    space.add_point((x, y, z), layer)
    space.add_text(name, dxfattribs=layer).set_placement((x, y + aside))


def test_a_point_with_a_text_is_a_joint_of_that_name(tmp_path):
    def draw(space):
        space.add_line((0, 0), (600, 0), ON)
        space.add_line((600, 0), (1000, 0), ON)
        named(space, "Foot", 400, 0.5)

    found = drawn(tmp_path, draw)
    assert found.joints["Foot"].kind == "plain"
    assert (found.joints["Foot"].spot.x, found.joints["Foot"].spot.y) == pytest.approx((0.4, 0.0))
    lengths = sorted(sum(element.length for element in line.elements) for line in found.lines.values())
    assert lengths == pytest.approx([0.4, 0.6])
    assert found.faults == ()


def test_a_point_where_track_changes_makes_its_joint_there(tmp_path):
    def draw(space):
        space.add_line((0, 0), (600, 0), ON)
        space.add_arc((600, 500), 500, 270, 330, dxfattribs=ON)
        named(space, "Foot", 600.4, 0)

    found = drawn(tmp_path, draw)
    assert sorted(len(line.elements) for line in found.lines.values()) == [1, 1]
    assert found.joints["Foot"].spot.x == pytest.approx(0.6)


@pytest.mark.parametrize("x", [0.2, 1000])
def test_a_point_at_an_end_changes_nothing(tmp_path, x):
    def draw(space):
        space.add_line((0, 0), (1000, 0), ON)
        named(space, "Wharf", x, 0)

    found = drawn(tmp_path, draw)
    assert len(found.lines) == 1
    assert found.joints["Wharf"].kind == "end"


def test_points_on_the_tracks_own_layer_and_without_a_text_are_none(tmp_path):
    def draw(space):
        space.add_line((0, 0), (1000, 0), ON)
        named(space, "Foot", 400, 0, layer=ON)
        space.add_point((700, 0), NAMES)
        space.add_text("far", dxfattribs=NAMES).set_placement((700, 200))

    found = drawn(tmp_path, draw)
    assert len(found.lines) == 1
    assert [fault.code for fault in found.faults] == ["unknown-entity", "text-unused"]


def test_a_point_off_the_track_is_told(tmp_path):
    def draw(space):
        space.add_line((0, 0), (1000, 0), ON)
        named(space, "Foot", 400, 3)

    found = drawn(tmp_path, draw)
    assert len(found.lines) == 1
    assert [fault.text for fault in found.faults] == ["1 point with a name lies on no track and makes no joint"]


def test_a_point_takes_the_track_at_its_height(tmp_path):
    def draw(space):
        turn = [math.radians(6 * step) for step in range(121)]  # two turns over one another
        space.add_polyline3d([(600 * math.cos(a), 600 * math.sin(a), 80 * a / math.tau) for a in turn], dxfattribs=ON)
        named(space, "Upper", -600, 0, 120)

    found = drawn(tmp_path, draw)
    lengths = sorted(sum(element.length for element in line.elements) for line in found.lines.values())
    assert lengths == pytest.approx([0.5 * math.tau * 0.6, 1.5 * math.tau * 0.6], rel=1e-3)
    assert found.heights["Upper"] == pytest.approx(0.12, abs=1e-4)


def test_a_point_that_stands_nowhere_is_passed_over(tmp_path):
    def draw(space):
        space.add_line((0, 0), (1000, 0), ON)
        space.add_text("Foot", dxfattribs=NAMES).set_placement((1000, 5))
        space.add_point((1e12, 0), NAMES)

    assert [fault.code for fault in drawn(tmp_path, draw).faults] == ["unknown-entity"]


def test_marks_do_not_depend_on_their_order(tmp_path):
    def draw(points):
        def by(space):
            space.add_line((0, 0), (1000, 0), ON)
            for name, x in points:
                named(space, name, x, 0)

        return by

    points = [("A", 200), ("B", 500), ("C", 800)]
    one, other = drawn(tmp_path, draw(points)), drawn(tmp_path, draw(points[::-1]))
    assert one.joints == other.joints
    assert one.joints["B"].spot == Spot(pytest.approx(0.5), 0.0)
