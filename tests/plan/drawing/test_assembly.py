"""A drawing all the way to a network: the same in whatever order it was saved, and always a plan that reads back."""

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st

from gradehaul.errors import DrawingError
from gradehaul.plan import read_plan
from gradehaul.plan.drawing.assembly import assemble
from gradehaul.plan.drawing.dxf import read_drawing
from gradehaul.plan.drawing.records import terms
from gradehaul.plan.edit.writer import Changes, new_plan, updated_plan
from plan.drawing.hand_made import GAUGE, assembled, polyline, straight
from project import PLANS

TERMS = terms(GAUGE, "mm", ["TRACK"], height_layers=["HEIGHTS"])


def plan_text(drawn):
    """All that a plan has of a drawing, to the last tenth of a micrometer."""
    return new_plan(drawn, title="x", scale="HO", unit="mm").text


@pytest.mark.parametrize("name", ["cove", "hollow"])
@pytest.mark.parametrize("seed", range(4))
def test_order_and_handles_do_not_matter(name, seed):
    drawing = read_drawing(PLANS / f"{name}.dxf", layers=["TRACK"], height_layers=["HEIGHTS"])
    shuffle = random.Random(seed)
    strokes = [
        replace(stroke, handle=f"{number:X}")
        for number, stroke in enumerate(shuffle.sample(drawing.strokes, len(drawing.strokes)))
    ]
    labels = shuffle.sample(drawing.labels, len(drawing.labels))
    again = replace(drawing, strokes=tuple(strokes), labels=tuple(labels))
    assert plan_text(assemble(again, TERMS)) == plan_text(assemble(drawing, TERMS))


@pytest.mark.parametrize("name", ["cove", "hollow"])
def test_direction_does_not_matter(name):
    drawing = read_drawing(PLANS / f"{name}.dxf", layers=["TRACK"], height_layers=["HEIGHTS"])
    back = [
        replace(
            stroke,
            points=stroke.points[::-1],
            bulges=-stroke.bulges[::-1],
            heights=None if stroke.heights is None else stroke.heights[::-1],
        )
        for stroke in drawing.strokes
    ]
    one, other = assemble(drawing, TERMS), assemble(replace(drawing, strokes=tuple(back)), TERMS)
    assert list(one.lines) == list(other.lines)
    for name_ in one.lines:
        assert other.lines[name_].length == pytest.approx(one.lines[name_].length, rel=1e-6)
        assert len(other.lines[name_].railhead_at) == len(one.lines[name_].railhead_at)


def test_crossings_and_double_slips_become_crossings():
    cross = [
        straight(0, 0, 1, 0, handle="A"),
        straight(1, 0, 2, 0, handle="B"),
        straight(0.5, -0.5, 1, 0, handle="C"),
        straight(1, 0, 1.5, 0.5, handle="D"),
    ]
    drawn = assembled(cross)
    (joint,) = (joint for joint in drawn.joints.values() if joint.kind == "crossing")
    plan = read_plan(plan_text(drawn))
    assert plan.joints[joint.name].kind == "crossing"
    assert len(plan.joints[joint.name].through) == 2


def test_a_circle_is_a_line_that_meets_itself():
    angle = np.linspace(0, 2 * np.pi, 49)
    drawn = assembled([polyline(np.column_stack((np.cos(angle), np.sin(angle))))])
    (line,) = drawn.lines.values()
    assert line.start == line.finish
    plan = read_plan(plan_text(drawn))
    assert plan.lines[line.name].length == pytest.approx(2 * np.pi, rel=1e-3)


def test_what_is_too_short_or_hardly_bent_is_no_track_of_its_own():
    nearly = polyline([(0, 0), (1, 0)], handle="A", exact=True)
    nearly.bulges[:] = 1e-7
    drawn = assembled([nearly, straight(1, 0, 1.000004, 0, handle="B"), straight(1.000004, 0, 2, 0, handle="C")])
    (line,) = drawn.lines.values()
    assert all(element.length > 0.5 for element in line.elements)
    assert all(element.curvature == 0 for element in line.elements)
    assert line.length == pytest.approx(2, abs=1e-5)
    read_plan(plan_text(drawn))


coordinate = st.integers(-20, 20).map(lambda number: number / 8)
point = st.tuples(coordinate, coordinate)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.lists(point, min_size=2, max_size=6, unique=True), min_size=1, max_size=8))
def test_whatever_is_drawn_becomes_a_plan_that_reads_back(paths):
    strokes = [polyline(path, handle=f"{number:X}", exact=number % 2 == 0) for number, path in enumerate(paths)]
    try:
        drawn = assembled(strokes)
    except DrawingError as error:  # a path that folds back upon itself lies beside itself as rails do
        if "look like rails" in str(error):
            reject()
        raise
    text = plan_text(drawn)
    plan = read_plan(text)
    assert list(plan.lines) == list(drawn.lines)
    assert set(plan.joints) == set(drawn.joints)
    for name, line in drawn.lines.items():
        assert plan.lines[name].length == pytest.approx(line.length, rel=1e-5, abs=1e-6)
    for name, joint in drawn.joints.items():
        assert plan.joints[name].kind == joint.kind
    assert updated_plan(text, drawn, file="x")[:2] == (text, Changes())


@pytest.mark.parametrize(
    ("unit", "words"),
    [
        ("mm", ["50.8 mm of track drawn again", "1.02 mm apart", "track ends 2.5 mm from", "101.6 mm of track meets"]),
        ("in", ["2.00 in of track drawn again", "0.040 in apart", "track ends 0.10 in from", "4.00 in of track meets"]),
    ],
)
def test_lengths_in_faults_are_in_the_plans_unit(unit, words):
    inch = 0.0254
    strokes = [
        straight(0, 0, 1, 0, handle="1"),
        straight(0.5, 0, 0.5 + 2 * inch, 0, handle="2"),
        straight(1 + 0.04 * inch, 0, 2, 0, handle="3"),
        straight(2 + 0.1 * inch, 0, 5, 0, handle="4"),
        straight(0, 1, 4 * inch, 1, handle="5"),
    ]
    texts = [fault.text for fault in assembled(strokes, unit=unit).faults]
    for each in words:
        assert any(each in text for text in texts), (each, texts)
    other = "mm" if unit == "in" else "in"
    assert not any(f" {other} " in text for text in texts)
