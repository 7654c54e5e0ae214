"""Ends that meet at an angle: the kink that joins them is named where it does, and a joint stays where they do."""

import itertools
import math
import re

import pytest

from gradehaul.command.output import laid_out
from gradehaul.design.clearance.findings import clearances
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.plan_view import plan_view
from gradehaul.plan.drawing.wording import by_code
from gradehaul.plan.edit.importing import ImportOptions, import_drawing
from gradehaul.plan.reader import read_plan
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.drawing.dxf import plan_dxf
from gradehaul.show.drawing.import_text import import_page
from gradehaul.track.alignment import align
from plan.drawing.double_oval import double_oval
from plan.drawing.dxf_files import MM, new


def texts(done, code="no-tangent"):
    return [fault.text for fault in done.drawn.faults if fault.code == code]


def test_the_kink_that_joins_an_end_comes_first_and_does_so(tmp_path):
    double_oval(tmp_path / "oval.dxf")
    drawing = str(tmp_path / "oval.dxf")
    done = import_drawing(drawing, None, ImportOptions(scale="N"))
    text = "track ends on the side of another at 8.5°: left unjoined; --kink 9 joins it"
    assert texts(done) == [text] * 2
    assert next(iter(by_code(done.drawn.faults))) == "no-tangent"
    joined = import_drawing(drawing, None, ImportOptions(scale="N", kink="9"))
    assert texts(joined) == texts(joined, "stray") == []
    table = '[drawing]\nfile = "oval.dxf"\nlayers = ["TRACK", "NAMES"]\n'
    plan = f'scale = "N"\nunit = "mm"\nrailhead = {{ Platform = 0 }}\n{table}'
    notes = [note.text for note in read_plan(plan, file=str(tmp_path / "plan.toml"), folder=tmp_path).notes]
    assert any("left unjoined; kink = 9 joins it" in note for note in notes)


@pytest.mark.parametrize("angle", [6, 8.96, 14.4, 14.95, 16, 30])
def test_what_is_named_is_true_at_any_angle(tmp_path, angle):
    document, space = new(units=MM)
    on = {"layer": "Track"}
    space.add_line((0, 0), (2000, 0), on)
    space.add_line((800, 0), (800 + 500 * math.cos(math.radians(angle)), 500 * math.sin(math.radians(angle))), on)
    document.saveas(tmp_path / "tarn.dxf")
    drawing = str(tmp_path / "tarn.dxf")
    (text,) = texts(import_drawing(drawing, None, ImportOptions(scale="N")))
    named = re.search(r"--kink (\d+) joins it", text)
    assert (named is not None) == (angle <= 15)
    if named:
        assert not texts(import_drawing(drawing, None, ImportOptions(scale="N", kink=named[1])))
        assert texts(import_drawing(drawing, None, ImportOptions(scale="N", kink=str(int(named[1]) - 1.1))))


def test_a_kink_that_would_lose_a_crossing_is_not_named(tmp_path):
    document, space = new(units=MM)
    on = {"layer": "Track"}
    for x, y in ((-600, 0), (600, 0), (-594, -84), (594, 84)):  # four ends that meet, at 8 degrees
        space.add_line((0, 0), (x, y), on)
    space.add_line((-600, 0), (-2000, 0), on)
    space.add_line((-1500, 0), (-900, 95), on)  # 9 degrees
    document.saveas(tmp_path / "tarn.dxf")
    (text,) = texts(import_drawing(str(tmp_path / "tarn.dxf"), None, ImportOptions(scale="N")))
    assert text.endswith("at 9.0°: left unjoined")


def row(folder, *gaps, more=()):
    """Draw straights one after another with gaps between them, mm, and more track."""
    document, space = new(units=MM)
    x = 0.0
    for gap in (*gaps, 0):
        space.add_line((x, 0), (x + 500, 0), {"layer": "Track"})
        x += 500 + gap
    for one, other in more:
        space.add_line(one, other, {"layer": "Track"})
    document.saveas(folder / "tarn.dxf")


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_the_snap_that_joins_gaps_does_so(tmp_path, unit):
    row(tmp_path, 1.4, 2.9, 3.0)
    (tmp_path / "tarn.toml").write_text(f'scale = "N"\nunit = "{unit}"\n')
    plan, drawing = str(tmp_path / "tarn.toml"), str(tmp_path / "tarn.dxf")
    done = import_drawing(drawing, plan, ImportOptions())
    figure = {"mm": "3.1", "in": "0.12"}[unit]
    found = texts(done, "near-miss")
    assert [text.partition("; ")[2] for text in found] == [f"--snap {figure} joins it and 2 others"] * 3
    joined = import_drawing(drawing, plan, ImportOptions(snap=figure))
    assert texts(joined, "near-miss") == []
    assert len(joined.drawn.lines) == 1
    shown = laid_out(import_page(done, plan), to_file=True)
    words = "Track may be cut at 3 places, where ends meet or nearly meet and are not joined"
    assert " ".join(shown.split()).startswith(words)
    assert "may be cut" not in laid_out(import_page(joined, plan), to_file=True)


@pytest.mark.parametrize(
    ("gaps", "more", "cures"),
    [
        ([1.4], [((500.7, 1.2), (500.7, 90))], [""]),  # a third end beside the gap
        ([1.4], [((-1.2, 0), (-60, 60))], [""]),  # a corner of 45 degrees is nearer
        ([1.4], [((-2, 0), (-60, 60))], ["", "--snap 1.5 joins it"]),  # or farther
    ],
)
def test_a_snap_that_would_join_anything_else_is_not_named(tmp_path, gaps, more, cures):
    row(tmp_path, *gaps, more=more)
    done = import_drawing(str(tmp_path / "tarn.dxf"), None, ImportOptions(scale="N"))
    assert sorted({text.partition("; ")[2] for text in texts(done, "near-miss")}) == cures


def siding(folder, rise, *, separate):
    """Draw a main line and a siding of straights, mm: away from it over 300, along, and back."""
    document, space = new(units=MM)
    space.add_line((0, 0), (3000, 0), {"layer": "Track"})
    places = [(500, 0), (800, rise), (1400, rise), (1700, 0)]
    if separate:
        for pair in itertools.pairwise(places):
            space.add_line(*pair, {"layer": "Track"})
    else:
        space.add_lwpolyline(places, dxfattribs={"layer": "Track"})
    document.saveas(folder / "tarn.dxf")


@pytest.mark.parametrize("separate", [False, True])
@pytest.mark.parametrize(("rise", "kink"), [(48.57, "10"), (20, None)])
def test_a_break_of_direction_is_a_plain_joint_and_the_track_behind_it_lies_as_drawn(tmp_path, rise, kink, separate):
    siding(tmp_path, rise, separate=separate)
    text = import_drawing(str(tmp_path / "tarn.dxf"), None, ImportOptions(scale="HO", kink=kink)).text
    plan = read_plan(f"{text}\n[railhead]\n'End 1' = 0", file=str(tmp_path / "plan.toml"))
    assert sorted(joint.kind for joint in plan.joints.values()) == ["end"] * 2 + ["plain"] * 2 + ["turnout"] * 2
    (middle,) = (line for line in plan.lines.values() if line.length == pytest.approx(0.6))
    assert middle.place == pytest.approx((0.8, rise / 1000, 0), abs=1e-6)
    layout = Layout(plan)
    assert [each.what for each in clearances(layout).unchecked] == ["radius and reverse curves"]  # there is no stock
    (tmp_path / "out.dxf").write_bytes(plan_dxf(plan_view(layout), units_of("mm")))
    back = read_plan(import_drawing(str(tmp_path / "out.dxf"), None, ImportOptions(scale="HO")).text)
    for name, line in plan.lines.items():
        assert (back.lines[name].start, back.lines[name].finish) == (line.start, line.finish)
        assert back.lines[name].length == pytest.approx(line.length, abs=1e-5)
        assert back.lines[name].place == pytest.approx(line.place, abs=1e-5)


@pytest.mark.parametrize(("kink", "doubted"), [("10", False), ("9", True)])
def test_a_break_that_import_was_to_join_is_a_note_and_no_doubt(tmp_path, kink, doubted):
    siding(tmp_path, 48.57, separate=True)  # breaks of 9.2 degrees
    text = import_drawing(str(tmp_path / "tarn.dxf"), None, ImportOptions(scale="HO", kink="10")).text
    aligned = align(read_plan(text.replace('kink = "10"', f'kink = "{kink}"') + "\n[railhead]\n'End 1' = 0"))
    (*_, note) = (each.text for each in aligned.notes if "miss one another by 9.2°" in each.text)
    assert note.endswith("no curve is counted for it: draw one there") != doubted
    assert any("miss one another" in each.text for each in aligned.doubts) == doubted


@pytest.mark.parametrize("separate", [False, True])
def test_a_circuit_has_joints_where_its_direction_breaks_and_no_other(tmp_path, separate):
    """An oval of which one end turns by 176 degrees, wherever and whichever way it is drawn."""
    half, less = math.tan(math.radians(180) / 4), math.tan(math.radians(176) / 4)
    corners = [(0, 0, 0), (1000, 0, less), (1000, 1000, 0), (0, 1000, half)]
    backward = [(0, 0, -half), (0, 1000, 0), (1000, 1000, -less), (1000, 0, 0)]
    found = set()
    for begin, around in itertools.product(range(4), (corners, backward)):
        document, space = new(units=MM)
        ring = [*around[begin:], *around[:begin]]
        for first, last in itertools.pairwise([*ring, ring[0]]) if separate else ():
            space.add_lwpolyline([first, last], format="xyb", dxfattribs={"layer": "Track"})
        if not separate:
            space.add_lwpolyline(ring, format="xyb", close=True, dxfattribs={"layer": "Track"})
        document.saveas(tmp_path / "tarn.dxf")
        drawn = import_drawing(str(tmp_path / "tarn.dxf"), None, ImportOptions(scale="HO")).drawn
        assert [joint.kind for joint in drawn.joints.values()] == ["plain", "plain"]
        found.add(tuple(sorted(tuple(round(each, 6) for each in joint.spot[:2]) for joint in drawn.joints.values())))
    assert found == {((1.0, 0.0), (1.0, 1.0))}
