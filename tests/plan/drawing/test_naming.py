"""Names of what is drawn: from points, from texts, from kind and layer, and the same however the drawing was saved."""

import random
from dataclasses import replace

import pytest

from gradehaul.errors import Problems
from gradehaul.plan.drawing.naming import layers
from gradehaul.plan.drawing.records import Claim, Spot
from plan.drawing.hand_made import assembled, label, straight
from project import ROOT

YARD = [
    straight(0, 0, 2, 0, handle="A"),
    straight(0, 1, 2, 1, handle="B"),
    straight(0, 2, 2, 2, handle="C", layer="TRACK-OLD"),
]


def test_without_texts_kinds_and_layers_give_the_names():
    drawn = assembled(YARD)
    assert list(drawn.lines) == ["TRACK 1", "TRACK 2", "TRACK-OLD 1"]
    assert list(drawn.joints) == [f"End {number}" for number in range(1, 7)]


def test_texts_near_name_joints_and_lines():
    texts = [label("Wharf", -0.02, 0.02), label("Main", 1.0, 0.03), label("far away", 1.0, 0.5), label("x" * 41, 1, 1)]
    texts += [label("2nd", 1.0, 0.04), label("R 280", 1.0, 1.01)]
    drawn = assembled(YARD, texts)
    assert list(drawn.lines) == ["Main", "TRACK 2", "TRACK-OLD 1"]
    assert list(drawn.joints)[drawn.lines["Main"].start] == "Wharf"
    assert [(fault.code, fault.text, fault.spot.y) for fault in drawn.faults] == [
        ("text-unused", '"2nd" names nothing: what it stands beside has another name', 0.04),
        ("text-unused", '"far away" names nothing: too far from track that it may name', 0.5),
        ("text-unused", f'"{"x" * 40}" names nothing: longer than a name', 1),
        ("text-unused", '"R 280" names nothing: a radius', 1.01),
    ]


def test_a_text_names_track_of_its_own_layer_only_unless_its_layer_has_none():
    texts = [label("Old", 1.0, 1.03, layer="TRACK-OLD"), label("New", 1.0, 1.04, layer="NAMES")]
    drawn = assembled(YARD, texts)
    assert "New" in drawn.lines
    assert "Old" not in drawn.lines


TWO = [straight(0, 0, 3, 0, handle="A"), straight(0, 0.1, 3, 0.1, handle="B")]


@pytest.mark.parametrize("y", [0.045, 0.05, 0.055])
def test_a_text_between_two_tracks_is_the_name_of_neither(y):
    drawn = assembled(TWO, [label("HARBOR", 1.5, y, layer="TOWNS")])
    assert list(drawn.lines) == ["TRACK 1", "TRACK 2"]
    (fault,) = drawn.faults
    assert (fault.code, fault.text) == (
        "text-unused",
        '"HARBOR" names nothing: it stands as near to one track as to another',
    )


@pytest.mark.parametrize(("y", "named"), [(0.03, ["HARBOR", "TRACK 2"]), (0.07, ["TRACK 1", "HARBOR"])])
def test_a_text_that_is_clearly_nearer_to_one_of_two_tracks_names_that_one(y, named):
    assert list(assembled(TWO, [label("HARBOR", 1.5, y, layer="TOWNS")]).lines) == named


def test_a_text_on_a_track_names_it_where_another_crosses():
    drawn = assembled([*TWO, straight(1.5, -1, 1.5, 1, handle="C")], [label("HARBOR", 1.508, 0.006, layer="TOWNS")])
    assert "HARBOR" in drawn.lines


def test_a_text_between_two_tracks_still_names_the_joint_that_it_stands_beside():
    drawn = assembled(TWO, [label("HARBOR", 0.02, 0.04, layer="TOWNS")])
    assert drawn.lines["TRACK 1"].start == list(drawn.joints).index("HARBOR")
    assert drawn.faults == ()


def test_the_nearest_text_counts_and_names_are_unique():
    texts = [label("Second", 1.0, 0.04), label("Main", 1.0, 0.01), label("Main", 1.0, 1.01)]
    drawn = assembled(YARD, texts)
    assert list(drawn.lines) == ["Main", "Main 2", "TRACK-OLD 1"]


def test_names_of_the_plan_are_not_used_again():
    drawn = assembled(YARD, lines_taken={"TRACK 1"}, joints_taken={"TRACK 2"})
    assert list(drawn.lines) == ["TRACK 1 2", "TRACK 2 2", "TRACK-OLD 1"]


def test_naming_one_joint_does_not_rename_the_others():
    named = assembled(YARD, claims=[Claim("Wharf", Spot(0.001, 0), 0.005)])
    assert list(named.joints) == ["Wharf", *(f"End {number}" for number in range(2, 7))]


def shape(drawn):
    return [
        (
            line.name,
            line.start,
            line.finish,
            [(round(e.length, 9), round(e.curvature, 9), round(e.heading, 9)) for e in line.elements],
        )
        for line in drawn.lines.values()
    ], [(joint.name, joint.kind, joint.ends, joint.toe) for joint in drawn.joints.values()]


@pytest.mark.parametrize("seed", range(8))
def test_names_stay_when_the_drawing_is_saved_in_another_order_and_direction(seed):
    strokes = [
        *YARD,
        straight(2, 0, 3, 0, handle="D"),
        straight(3.0005, 0, 4, 0.0, handle="E"),
        straight(4, 0, 5, 0.5, handle="F"),
    ]
    texts = [label("Wharf", -0.02, 0.02), label("Wharf", 2.02, 1.02), label("Main", 1.0, 0.03)]
    before = shape(assembled(strokes, texts))
    shuffle = random.Random(seed)
    again = []
    for number, stroke in enumerate(shuffle.sample(strokes, len(strokes))):
        points = stroke.points[::-1] if shuffle.random() < 0.5 else stroke.points
        again.append(replace(stroke, handle=f"{number:X}", points=points))
    shuffle.shuffle(texts)
    assert shape(assembled(again, texts)) == before


def test_points_that_name_no_joint_or_one_that_is_named():
    claims = [
        Claim("Wharf", Spot(0.0, 0.0), 0.0066, "tarn.toml:4", 'joint "Wharf", at'),
        Claim("Quay", Spot(0.001, 0.0), 0.0066, "tarn.toml:6", 'joint "Quay", at'),
        Claim("Summit", Spot(2.1, 0.0), 0.0066, "tarn.toml:8", 'joint "Summit", at'),
    ]
    with pytest.raises(Problems) as caught:
        assembled(YARD, claims=claims)
    assert str(caught.value).split("\n") == [
        (
            'tarn.toml:6: joint "Quay", at: joint "Wharf" names the same joint of the drawing, got (0.0, 0.0) mm and '
            "(1.0, 0.0) mm; write one of the two, or points nearer to the joints that are meant"
        ),
        (
            'tarn.toml:8: joint "Summit", at: no joint of the drawing lies within 6.6 mm of here, '
            "got (2100.0, 0.0) mm; the nearest is 100 mm away, at (2000.0, 0.0) mm; "
            "write its coordinates, or within = ... for a wider look"
        ),
    ]


def test_the_handbook_lists_the_words_of_layers() -> None:
    table = (ROOT / "docs" / "drawings.md").read_text(encoding="utf-8").partition("| layers | words |\n")[2]
    rows = [row.strip("| ").split(" | ") for row in table.partition("\n\n")[0].splitlines()[1:]]
    assert [tuple(words.split(", ")) for _, words in rows] == list(layers._WORDS.values())
