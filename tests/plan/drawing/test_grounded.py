"""Track at z = 0: at height 0 in a drawing with heights, and without a height where it was drawn flat."""

import numpy as np
import pytest

from plan.drawing.hand_made import assembled, label, polyline, straight

UP = straight(0, 5, 2, 5, z=[0.03, 0.05], handle="UP")
"""Track in space, away from all others."""


def ring(z=None, handle="R"):
    angle = np.linspace(0, 2 * np.pi, 61)
    heights = None if z is None else np.full(61, z)
    return polyline(0.6 * np.column_stack((np.cos(angle), np.sin(angle))), z=heights, handle=handle)


def heights_of(drawn, x):
    """Return the heights of the joints at some x."""
    return [drawn.heights.get(name) for name, joint in drawn.joints.items() if joint.spot.x == pytest.approx(x)]


def test_a_drawing_without_any_z_has_no_heights():
    assert assembled([straight(0, 0, 2, 0)]).heights == {}


def test_track_at_zero_lies_at_zero_where_other_track_has_a_height():
    drawn = assembled([straight(0, 0, 2, 0), UP])
    assert sorted(drawn.heights.values()) == pytest.approx([0.0, 0.0, 0.03, 0.05])


def test_a_level_stretch_at_zero_before_a_climb_lies_at_zero():
    drawn = assembled([straight(0, 0, 2, 0, handle="A"), straight(2, 0, 4, 0, z=[0.0, 0.04], handle="B")])
    assert heights_of(drawn, 0) == [0.0]
    assert heights_of(drawn, 4) == pytest.approx([0.04])
    assert drawn.lines["TRACK 1"].railhead_at == ((pytest.approx(2.0), 0.0),)


def test_the_lowest_of_rings_over_one_another_stays_a_track_of_its_own():
    drawn = assembled([ring(handle="1"), ring(0.1, "2"), ring(0.2, "3")])
    assert len(drawn.lines) == 3
    assert sorted(drawn.heights.values()) == pytest.approx([0.0, 0.1, 0.2])
    assert [(fault.code, fault.text.split(":")[0]) for fault in drawn.faults] == [
        ("turns", "3 circles lie over one another")
    ]


def test_flat_track_between_climbs_has_no_height():
    flat = [straight(2, 0, 3, 0, handle="B"), straight(3, 0, 4, 0, handle="C"), straight(4, 0, 5, 0, handle="D")]
    drawn = assembled(
        [straight(0, 0, 2, 0, z=[0, 0.03], handle="A"), *flat, straight(5, 0, 6, 0, z=[0.05, 0.06], handle="E")]
    )
    (line,) = drawn.lines.values()
    assert [height for _, height in line.railhead_at] == pytest.approx([0.03, 0.05])


def test_a_flat_branch_from_the_side_of_a_climb_has_no_height():
    main = straight(0, 0, 4, 0, z=[0.04, 0.08], handle="A")
    angle = np.radians(np.arange(0, 31, 5.0))
    curve = np.column_stack((1.5 + np.sin(angle), 1 - np.cos(angle)))
    drawn = assembled([main, polyline(curve, handle="B")])
    assert [joint.kind for joint in drawn.joints.values()].count("turnout") == 1
    assert heights_of(drawn, curve[-1, 0]) == [None]


def test_what_only_crosses_is_not_met():
    drawn = assembled([straight(0, 0, 4, 0, z=[0.1, 0.1], handle="A"), straight(2, -1, 2, 1, handle="B")])
    assert heights_of(drawn, 2) == [0.0, 0.0]


def test_a_text_tells_that_track_was_drawn_flat():
    drawn = assembled([straight(0, 0, 2, 0), UP], [label("50", 2.01, 0.02, layer="HEIGHTS")])
    assert heights_of(drawn, 2)[0] == pytest.approx(0.05)
    assert drawn.heights.keys() & {name for name, joint in drawn.joints.items() if joint.spot == (0, 0, None)} == set()
    assert drawn.faults == ()


def test_the_plan_tells_that_track_was_drawn_flat():
    strokes = [
        straight(0, 0, 2, 0, handle="A"),
        straight(2, 0, 3, 0.5, handle="B"),  # beyond a kink, so that there is a joint between
        straight(8, 0, 9, 0, handle="C"),
        UP,
    ]
    labels = [label("Wharf", 0.0, 0.01)]
    drawn = assembled(strokes, labels, given={"Wharf": 0.08})
    assert heights_of(drawn, 3) == [None]
    assert heights_of(drawn, 8) == [0.0]
    assert "height-misfit" not in {fault.code for fault in drawn.faults}
    at_zero = assembled(strokes, labels, given={"Wharf": 0.0})
    assert heights_of(at_zero, 3) == [0.0]


def test_track_in_space_at_zero_still_contradicts_the_plan():
    from gradehaul.errors import Problems

    with pytest.raises(Problems, match="contradict"):
        assembled([straight(0, 0, 2, 0, z=[0.0, 0.05])], [label("Wharf", 0, 0.01)], given={"Wharf": 0.08})
