"""Heights of a drawing: from z, from texts, from the plan, and where they contradict one another."""

import numpy as np
import pytest

from gradehaul.errors import Problems
from plan.drawing.hand_made import assembled, label, polyline, straight

SEVERAL = "is beside several tracks; for the nearest write"


def height(text, x, y):
    return label(text, x, y, layer="HEIGHTS")


@pytest.mark.parametrize(("words", "expected"), [("50", 0.05), ("2 in", 0.0508), ("+1 1/2 in", 0.0381)])
def test_a_text_near_a_joint_is_its_height(words, expected):
    drawn = assembled([straight(0, 0, 2, 0)], [height(words, 2.01, 0.02)])
    assert drawn.heights == {"End 2": pytest.approx(expected)}
    assert drawn.faults == ()


def test_the_nearest_text_counts():
    drawn = assembled([straight(0, 0, 2, 0)], [height("50.5", 2.04, 0), height("50", 2.01, 0)])
    assert drawn.heights == {"End 2": pytest.approx(0.05)}
    (fault,) = drawn.faults
    assert fault.code == "height-misfit"
    assert fault.text == 'joint "End 2": 50 mm (the text "50"), 50.5 mm (the text "50.5") differ by 0.5 mm'


def test_a_text_that_is_no_height_or_near_nothing_is_told():
    drawn = assembled([straight(0, 0, 2, 0)], [height("top", 2.01, 0), height("50", 1.0, 0.2)])
    assert [(fault.code, fault.text) for fault in drawn.faults] == [
        ("height-unread", 'the text "top" is no height (this is not a length)'),
        ("height-unused", '"50" is beside no track (66 mm is the limit)'),
    ]
    assert drawn.heights == {}


@pytest.mark.parametrize(
    ("texts", "fault"),
    [
        ([("30", 1.0, 0.01)], ""),
        (
            [("30", 1.0, 0.02)],
            f'"30" {SEVERAL} railhead_at = [[1000, 30]] in [line."TRACK 1"]',
        ),
        ([("30", 1.0, 0.01), ("40", 1.01, -0.015)], '"40" is farther off than 30 mm at this place'),
        ([("30", 1.0, 0.01), ("30", 1.01, -0.015)], ""),
    ],
)
def test_a_text_beside_a_line_is_a_height_along_it(texts, fault):
    drawn = assembled([straight(0, 0, 2, 0), straight(0, 0.045, 2, 0.045)], [height(*each) for each in texts])
    assert [each.text for each in drawn.faults] == [fault] * bool(fault)
    used = [line.railhead_at for line in drawn.lines.values() if line.railhead_at]
    assert used == ([] if "several" in fault else [((1.0, 0.03),)])


def test_a_text_beside_several_tracks_is_of_the_one_whose_strokes_meet_there():
    chords = [straight(x, 0, x + 0.5, 0, handle=str(x)) for x in (0, 0.5, 1, 1.5)]
    siding = straight(0, 0.045, 2, 0.045, handle="S")
    drawn = assembled([*chords, siding], [height("30", 1.005, 0.018)])
    assert not drawn.faults
    assert drawn.lines["TRACK 1"].railhead_at == ((pytest.approx(1.0, abs=0.006), 0.03),)
    both = [straight(0, 0.038, 1, 0.038, handle="S"), straight(1, 0.038, 2, 0.038, handle="T")]
    (fault,) = assembled([*chords, *both], [height("30", 1.0, 0.019)]).faults
    assert SEVERAL in fault.text
    assert not assembled([*chords, *both], [height("30", 1.0, 0.019)], along={"TRACK 1": [1.0]}).faults


def test_heights_of_a_plan_that_is_written_anew_follow_the_texts():
    """Those along lines of a plan that reads the drawing come before the texts."""
    hill, texts = [straight(0, 0, 2, 0)], [height("30", 1.0, 0.01)]
    assert assembled(hill, texts, along={"TRACK 1": [1.0]}).lines["TRACK 1"].railhead_at == ((1.0, 0.03),)
    assert assembled(hill, texts, along={"TRACK 1": [1.0]}, given={}).lines["TRACK 1"].railhead_at == ()


@pytest.mark.parametrize(("words", "faults"), [("26", 0), ("40", 1)])
def test_a_text_along_a_line_does_not_contradict_its_z(words, faults):
    drawn = assembled([straight(0, 0, 2, 0, z=[0, 0.05])], [height(words, 1.0, 0.01)])
    assert [each.text for each in drawn.faults] == ['"40" contradicts the z of its line, 25 mm'] * faults
    assert drawn.lines["TRACK 1"].railhead_at == ()


def test_a_text_beside_two_turns_of_one_line_is_not_used():
    angle = np.radians(np.arange(0, 3 * 360 + 1, 6.0))
    turns = polyline(0.6 * np.column_stack((np.sin(angle), 1 - np.cos(angle))), z=0.01 + 0.6 * angle * 0.02)
    (fault,) = assembled([turns], [height("100", 0.0, 1.21)]).faults
    assert fault.text == f'"100" {SEVERAL} railhead_at = [[1884.96, 100]] in [line."TRACK 1"]'


def test_the_plan_comes_first_then_the_text_then_z():
    drawn = assembled(
        [straight(0, 0, 2, 0, z=[0.001, 0.050])],
        [height("51", 2.01, 0), height("1.5", 0, 0.01)],
        given={"End 2": 0.0515},
    )
    assert drawn.heights == {"End 1": pytest.approx(0.0015)}
    assert [(fault.code, fault.text) for fault in drawn.faults] == [
        (
            "height-misfit",
            'joint "End 2": 51.5 mm ([railhead]), 51 mm (the text "51"), 50 mm (z of line "TRACK 1") differ by 1.5 mm',
        ),
        (
            "height-misfit",
            'joint "End 1": 1.5 mm (the text "1.5"), 1 mm (z of line "TRACK 1") differ by 0.5 mm',
        ),
    ]


def test_what_contradicts_by_more_than_two_millimeters_is_an_error_each():
    with pytest.raises(Problems) as caught:
        assembled(
            [straight(0, 0, 2, 0, z=[0, 0.05], handle="A"), straight(2, 0, 4, 0, z=[0.055, 0.06], handle="B")],
            [height("70", 4.01, 0)],
            given={"End 1": 0.0021},
        )
    assert str(caught.value).split("\n") == [
        (
            'tarn.dxf: joint "End 2" at (4000.0, 0.0) mm: heights contradict one another by 10 mm, '
            'got 70 mm (the text "70"), 60 mm (z of line "TRACK 1"); write the right one, or none of the others'
        ),
        (
            'tarn.dxf: line "TRACK 1" at (2000.0, 0.0) mm: heights contradict one another by 5 mm, '
            "got z 50 mm and z 55 mm; write the right one, or none of the others"
        ),
        (
            'tarn.dxf: joint "End 1" at (0.0, 0.0) mm: heights contradict one another by 2.1 mm, '
            'got 2.1 mm ([railhead]), 0 mm (z of line "TRACK 1"); write the right one, or none of the others'
        ),
    ]


def test_a_rounded_change_of_grade_keeps_the_grades_of_its_chords():
    along = 0.008 * np.arange(51)  # level, rounded over 200 mm to 1 %, and on
    climb = 0.01 / 0.2 / 2 * np.clip(along - 0.1, 0, 0.2) ** 2 + 0.01 * np.clip(along - 0.3, 0, None)
    drawn = assembled([polyline(np.column_stack((along, 0 * along)), z=climb)])
    (line,) = drawn.lines.values()
    heights = (
        (0.0, drawn.heights[list(drawn.joints)[line.start]]),
        *line.railhead_at,
        (line.length, drawn.heights[list(drawn.joints)[line.finish]]),
    )
    kept = np.interp(along, *zip(*heights, strict=True))
    assert np.abs(np.diff(kept) - np.diff(climb)).max() <= 2.6e-4 * 0.008
    assert len(heights) < 30  # what is level or climbs evenly needs none
