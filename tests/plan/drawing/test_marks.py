"""Points with a text beside them: joints where the track would otherwise run through."""

import math

import pytest

from gradehaul.plan.drawing.assembly import assemble
from gradehaul.plan.drawing.records import terms
from plan.drawing.dxf_files import MM, new, read, saved

HO = 0.0165
ON, NAMES = {"layer": "Track"}, {"layer": "Names"}


def named(space, name, x, y, z=0.0, layer=NAMES):
    space.add_point((x, y, z), layer)
    space.add_text(name, dxfattribs=layer).set_placement((x, y + 5))


def drawn(tmp_path, *points, track=((0, 600), (600, 1000)), draw=None):
    """Return what is read of straights in a row, named points (name, x, y, ...) on them, and what else is drawn."""
    document, space = new(units=MM)
    for start, end in track:
        space.add_line((start, 0), (end, 0), ON)
    for point in points:
        named(space, *point)
    if draw is not None:
        draw(space)
    return assemble(read(saved(document, tmp_path), layers=("Track", "Names")), terms(HO, "mm", ("Track", "Names")))


def lengths(found):
    return sorted(sum(element.length for element in line.elements) for line in found.lines.values())


@pytest.mark.parametrize(
    ("x", "y", "kind", "at", "parts"),
    [
        (400, 0.5, "plain", 0.4, [0.4, 0.6]),
        (600.4, 0, "plain", 0.6, [0.4, 0.6]),  # where two entities meet
        (0.2, 0, "end", 0.0, [1.0]),
        (1000, 0, "end", 1.0, [1.0]),
    ],
)
def test_a_point_with_a_text_is_a_joint_of_that_name(tmp_path, x, y, kind, at, parts):
    found = drawn(tmp_path, ("Foot", x, y))
    assert found.joints["Foot"].kind == kind
    assert found.joints["Foot"].spot[:2] == pytest.approx((at, 0.0))
    assert lengths(found) == pytest.approx(parts)
    assert found.faults == ()


def test_a_point_where_track_changes_makes_its_joint_there(tmp_path):
    curve = {"center": (600, 500), "radius": 500, "start_angle": 270, "end_angle": 330, "dxfattribs": ON}
    found = drawn(tmp_path, ("Foot", 600.4, 0), track=[(0, 600)], draw=lambda space: space.add_arc(**curve))
    assert sorted(len(line.elements) for line in found.lines.values()) == [1, 1]
    assert found.joints["Foot"].spot.x == pytest.approx(0.6)


def test_points_on_the_tracks_own_layer_without_a_text_off_the_track_or_nowhere_are_none(tmp_path):
    def draw(space):
        space.add_point((700, 0), NAMES)
        space.add_text("far", dxfattribs=NAMES).set_placement((700, 200))
        space.add_point((1e12, 0), NAMES)

    found = drawn(tmp_path, ("Foot", 400, 0, 0.0, ON), ("Top", 800, 3), draw=draw)
    assert len(found.lines) == 1
    assert {fault.code for fault in found.faults} == {"mark-unused", "text-unused", "unknown-entity"}
    assert "1 point with a name lies on no track and makes no joint" in [fault.text for fault in found.faults]


def test_a_point_takes_the_track_at_its_height(tmp_path):
    turn = [math.radians(6 * step) for step in range(121)]  # two turns over one another
    helix = [(600 * math.cos(a), 600 * math.sin(a), 80 * a / math.tau) for a in turn]
    upper = ("Upper", -600, 0, 120)
    found = drawn(tmp_path, upper, track=(), draw=lambda space: space.add_polyline3d(helix, dxfattribs=ON))
    assert lengths(found) == pytest.approx([0.5 * math.tau * 0.6, 1.5 * math.tau * 0.6], rel=1e-3)
    assert found.heights["Upper"] == pytest.approx(0.12, abs=1e-4)


def test_marks_do_not_depend_on_their_order(tmp_path):
    points = [("A", 200, 0), ("B", 500, 0), ("C", 800, 0)]
    assert drawn(tmp_path, *points).joints == drawn(tmp_path, *points[::-1]).joints
