"""The drawing of a plan view: sound, the same from run to run, and read back as the same network."""

from __future__ import annotations

import math
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.plan_view import plan_view
from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.drawing.dxf.file import dxf_library
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.drawing.dxf import BESIDE, SIGN, plan_dxf
from gradehaul.show.drawing.dxf_pen import dxf_text
from show.plan_view.test_plan_picture import view_of

DEMOS = ("first-hill", "n-mountain", "switchback", "two-levels", "yard", "full-size-example", "cove", "hollow")


@cache
def data_of(name: str) -> bytes:
    return plan_dxf(view_of(name), units_of(view_of(name).plan.unit))


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("drawings")


def document_of(name: str, folder: Path):
    path = folder / f"{name}.dxf"
    path.write_bytes(data_of(name))
    return dxf_library().readfile(path)


def read_back(name: str, folder: Path, layers: str) -> Layout:
    plan = view_of(name).plan
    (folder / f"{name}.dxf").write_bytes(data_of(name))
    path = folder / f"{name}.toml"
    path.write_text(
        f'scale = {{ ratio = {plan.scale.ratio}, gauge = "{plan.scale.gauge!r} m" }}\n'
        f'unit = "{plan.unit}"\n[drawing]\nfile = "{name}.dxf"\n'
        f'layers = ["{layers}", "Names", "Line names", "Turntables"]\n'
        'height_layers = ["Railhead heights"]\n',
        encoding="utf-8",
    )
    return Layout(load_plan(path))


@pytest.mark.parametrize("name", [*DEMOS, "odd", "loop"])
def test_the_audit_finds_nothing(name, folder):
    document = document_of(name, folder)
    audit = document.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    assert len(document.modelspace()) > 3


def test_the_file_begins_with_its_sign_and_the_library_is_left_as_it_was():
    assert data_of("odd").startswith(SIGN)
    assert not dxf_library().options.write_fixed_meta_data_for_testing


def test_an_arc_of_more_than_half_a_turn_is_drawn_in_two_that_follow_one_another(folder):
    arcs = [(arc.dxf.start_angle, arc.dxf.end_angle) for arc in document_of("loop", folder).modelspace().query("ARC")]
    assert arcs == [pytest.approx((-90, 45)), pytest.approx((45, 180))]


REACHED = 3e-5
"""Ends of lines are drawn where the plan's figures lead, and reach over what these miss to their joints."""


def joints_of(layout: Layout):
    """Joints that are more than the meeting of two lines: kind, and ways through but for slips."""
    return {
        joint.name: (joint.kind, len(joint.ends), len(joint.through) - len(joint.slips))
        for joint in layout.plan.joints.values()
        if joint.kind != "plain"
    }


@pytest.mark.parametrize("name", ["first-hill", "n-mountain", "yard", "cove", "hollow"])
def test_the_plan_itself_reads_back_with_the_same_lengths_and_radii(name, folder):
    view = view_of(name)
    before, after = Layout(view.plan), read_back(name, folder, "Track *")
    assert joints_of(after) == joints_of(before)
    lengths = [sum(line.length for line in layout.plan.lines.values()) for layout in (before, after)]
    assert lengths[1] == pytest.approx(lengths[0], rel=REACHED)
    sharpest = [max(abs(track.sharpest) for track in plan_view(each).tracks.values()) for each in (before, after)]
    assert sharpest[1] == pytest.approx(sharpest[0], rel=1e-4)


def test_straights_and_arcs_are_true_and_lie_on_the_layer_of_their_class(folder):
    space = document_of("first-hill", folder).modelspace()
    arcs = list(space.query("ARC"))
    assert {round(arc.dxf.radius, 6) for arc in arcs} == {24.0}
    assert sum(math.radians((arc.dxf.end_angle - arc.dxf.start_angle) % 360) * 24 for arc in arcs) == pytest.approx(
        sum(track.length / 0.0254 for track in view_of("first-hill").tracks.values() if track.sharpest)
    )
    layers = {entity.dxf.layer for entity in space if entity.dxf.layer.startswith("Track")}
    assert layers == {"Track clean level", "Track clean to 3 percent", "Track clean over 4 percent"}
    assert {layer.split()[1] for layer in layers_of("two-levels", folder)} == {"clean", "treated"}


def layers_of(name: str, folder: Path) -> set[str]:
    space = document_of(name, folder).modelspace()
    return {entity.dxf.layer for entity in space if entity.dxf.layer.startswith("Track")}


def test_runaways_lie_where_they_begin_and_end(folder):
    view = view_of("landing")
    space = document_of("landing", folder).modelspace()
    spots = [spot for train in view.trains for each in train.runaways for spot in (each.begins, each.ends)]
    centers = [tuple(circle.dxf.center)[:2] for circle in space.query('CIRCLE[layer=="Runaway points"]')]
    assert centers == [pytest.approx((spot.x * 1000, spot.y * 1000)) for spot in spots]
    assert len(space.query('LWPOLYLINE[layer=="Runs away"]')) >= len(spots) // 2 > 0


def test_stalls_and_stretches_lie_where_they_are(folder):
    view = view_of("first-hill")
    space = document_of("first-hill", folder).modelspace()
    centers = [tuple(circle.dxf.center)[:2] for circle in space.query('CIRCLE[layer=="Stall points"]')]
    assert centers == [
        pytest.approx((train.stall.x / 0.0254, train.stall.y / 0.0254)) for train in view.trains if train.stall
    ]
    for kind, layer in (
        ("no stopping", "No stopping"),
        ("stalls", "Stalls"),
        ("no recovery", "No recovery from a slip"),
    ):
        drawn = [np.array(line.get_points("xy")) for line in space.query(f'LWPOLYLINE[layer=="{layer}"]')]
        marks = [(mark, part) for train in view.trains for mark in train.marks if mark.kind == kind for part in mark.on]
        assert len(drawn) == len(marks) > 0
        for line, (_, part) in zip(drawn, marks, strict=True):
            for point, at in ((line[0], part.start), (line[-1], part.stop)):
                spot = view.tracks[part.track].spot(at)
                off = point * 0.0254 - [spot.x, spot.y]
                assert np.hypot(*off) == pytest.approx(BESIDE[kind] * view.plan.scale.gauge)
                assert off @ [math.cos(spot.heading), math.sin(spot.heading)] == pytest.approx(0, abs=1e-9)


def test_odd_names_are_texts_and_no_codes(folder):
    document = document_of("odd", folder)
    texts = {entity.plain_text() for entity in document.modelspace().query("TEXT")}
    assert "$\\alpha_{$" in texts
    assert "מחצבה" in texts
    assert any(text.startswith("[/] night $_{ 🚂, ") for text in texts)
    assert all(not set(layer.dxf.name) & set('<>/\\":;?*|=`,') for layer in document.layers)


def boxes_of(document) -> dict[str, tuple[float, float, float, float]]:
    """Return texts with where they lie at least, in a narrow font: left, right, low and high."""
    found = {}
    for text in document.modelspace().query("TEXT"):
        align, at, _ = text.get_placement()
        up, across = align.name.split("_")
        left = at.x - {"LEFT": 0, "CENTER": 0.5, "RIGHT": 1}[across] * (
            wide := 0.6 * len(text.plain_text()) * text.dxf.height
        )
        low = at.y - {"BOTTOM": 0, "MIDDLE": 0.5, "TOP": 1}[up] * text.dxf.height
        found[f"{text.plain_text()} {text.dxf.handle}"] = (left, left + wide, low, low + text.dxf.height)
    return found


@pytest.mark.parametrize("name", ["n-mountain", "two-levels", "landing"])
def test_no_text_lies_over_another(name, folder):
    boxes = boxes_of(document_of(name, folder))
    assert len(boxes) > 10
    for (one, (left, right, low, high)), (other, (left2, right2, low2, high2)) in combinations(boxes.items(), 2):
        assert right <= left2 or right2 <= left or high <= low2 or high2 <= low, (one, other)


@pytest.mark.parametrize("size", [0.1, 1.0, 10.0])
def test_a_long_name_is_small_enough_to_stay_beside_the_track(size, folder):
    plan = f'scale = "HO"\nunit = "m"\nrailhead.A = 0\nline.L = {{ from = "A", to = "{"long " * 24}", '
    view = plan_view(Layout(read_plan(f"{plan}track = [{{ straight = {size} }}] }}\n")))
    (folder / "long.dxf").write_bytes(plan_dxf(view, units_of("m")))
    boxes = boxes_of(dxf_library().readfile(folder / "long.dxf"))
    (box,) = [box for name, box in boxes.items() if name.startswith("long")]
    room = 0.25 * max(size, 10 * 0.0165) + 10 * max(0.0165, size / 110)  # a quarter of it, and ten lines of text
    assert -room <= box[0] < box[1] <= size + room


@pytest.mark.parametrize(
    "name", ["50%%d", "100%", "%%%", "a^Jb", "^", "\\U+0041", "{\\fArial;x}", "</script>", '"', "%%u under", "🚂 قطار"]
)
def test_a_text_is_shown_as_it_is_written(name):
    document = dxf_library().new()
    entity = document.modelspace().add_text(dxf_text(name))
    assert entity.plain_text().rstrip("\N{NO-BREAK SPACE}") == name
