"""Reading a DXF file: every version and kind, its units, layers, texts, and what is named of the rest."""

import math

import numpy as np
import pytest

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf import UNITS
from plan.drawing.dxf_files import MM, ON, ezdxf, line, new, plain, read, saved, strokes, written


@pytest.mark.parametrize("version", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
@pytest.mark.parametrize("fmt", ["asc", "bin"])
def test_every_version_as_text_and_binary(tmp_path, version, fmt):
    document, space = new(version, MM)
    space.add_line((0, 0), (1000, 500), dxfattribs=ON)
    space.add_arc((0, 100), 250, 10, 100, dxfattribs=ON)
    space.add_polyline2d([(0, 0, 0.5), (100, 0, 0)], format="xyb", dxfattribs=ON)
    path = saved(document, tmp_path, fmt=fmt)
    drawing = read(path, unit="mm" if version == "R12" else None)  # R12 has no unit in its header
    first, arc, polyline = drawing.strokes
    np.testing.assert_allclose(first.points, [(0, 0), (1, 0.5)], atol=1e-12)
    assert first.exact
    assert first.heights is None
    assert first.kind == "LINE"
    assert first.layer == "Track"
    np.testing.assert_allclose(arc.bulges, math.tan(math.radians(90) / 4))
    np.testing.assert_allclose(polyline.bulges, [0.5])
    assert drawing.file == str(path)


def test_handles_are_the_file_s_own(tmp_path):
    document, space = new()
    handle = space.add_line((0, 0), (1, 0), dxfattribs=ON).dxf.handle
    (stroke,) = strokes(document, tmp_path)
    assert stroke.handle == handle


# Units


def test_the_unit_of_the_header(tmp_path):
    meters = {
        "Inches": 0.0254,
        "Feet": 0.3048,
        "Miles": 1609.344,
        "Millimeters": 1e-3,
        "Centimeters": 1e-2,
        "Meters": 1,
        "Kilometers": 1e3,
        "Yards": 0.9144,
        "USSurveyFeet": 1200 / 3937,
        "USSurveyInch": 100 / 3937,
        "USSurveyYard": 3600 / 3937,
    }
    assert {int(ezdxf.InsertUnits[name]) for name in meters} == set(UNITS)
    for name, unit in meters.items():
        code = int(ezdxf.InsertUnits[name])
        path = written(tmp_path, plain(line(x2=1 / unit), header=f"9\n$INSUNITS\n70\n{code}\n"))
        (stroke,) = read(path).strokes
        np.testing.assert_allclose(stroke.points[1], (1, 0), rtol=3e-6)


@pytest.mark.parametrize("header", ["", "9\n$INSUNITS\n70\n0\n", "9\n$MEASUREMENT\n70\n1\n"])
def test_a_file_that_does_not_say_its_unit(tmp_path, header):
    path = written(tmp_path, plain(line(), header=header))
    with pytest.raises(DrawingError) as caught:
        read(path)
    assert str(caught.value) == (
        f"{path}: the file does not say in which unit it is drawn; "
        'write the drawing\'s unit, such as unit = "mm" or unit = "in"'
    )
    assert read(path, unit="in").strokes[0].points[1, 0] == pytest.approx(0.0254)


def test_a_file_without_a_header_is_asked_for_its_unit(tmp_path):
    text = plain(line())
    path = written(tmp_path, text[text.index("0\nENDSEC\n") + 9 :])
    with pytest.raises(DrawingError, match="does not say in which unit"):
        read(path)


@pytest.mark.parametrize("code", [25, 999, -1, 8, 11, 19])
def test_a_unit_that_no_layout_is_drawn_in(tmp_path, code):
    path = written(tmp_path, plain(line(), header=f"9\n$INSUNITS\n70\n{code}\n"))
    with pytest.raises(DrawingError, match=rf"\$INSUNITS: the file's unit is none for a layout, got the code {code};"):
        read(path)
    assert read(path, unit="m").strokes


def test_a_given_unit_wins_and_the_contradiction_is_told(tmp_path):
    document, space = new(units=MM)
    space.add_line((0, 0), (1, 0), dxfattribs=ON)
    path = saved(document, tmp_path)
    drawing = read(path, unit="in")
    assert drawing.strokes[0].points[1, 0] == pytest.approx(0.0254)
    assert [(fault.code, fault.text) for fault in drawing.faults] == [
        ("unit", 'the file gives its unit as "mm"; it is read as "in", as chosen')
    ]
    assert read(path, unit="mm").faults == ()


# Layers


def test_layers_by_pattern_in_any_case(tmp_path):
    document, space = new()
    for layer in ("TRACK-main", "track-yard", "Trees", "x_track"):
        space.add_line((0, 0), (1, 0), dxfattribs={"layer": layer})
    drawing = read(saved(document, tmp_path), layers=["Track*"])
    assert [stroke.layer for stroke in drawing.strokes] == ["TRACK-main", "track-yard"]
    assert len(read(saved(document, tmp_path), layers=["trees", "?_track"]).strokes) == 2


def test_nothing_on_the_layers_lists_those_that_have_something(tmp_path):
    document, space = new()
    for layer, count in (("Rails", 3), ("Trees", 2)):
        for _ in range(count):
            space.add_line((0, 0), (1, 0), dxfattribs={"layer": layer})
    path = saved(document, tmp_path)
    with pytest.raises(DrawingError) as caught:
        read(path)
    assert str(caught.value) == f'{path}: nothing is on the layers "Track*"; write one of "Rails" (3), "Trees" (2)'


def test_an_empty_model_space_and_paper(tmp_path):
    document, space = new()
    path = saved(document, tmp_path)
    with pytest.raises(DrawingError, match="draws nothing in its model space"):
        read(path)
    document.layout("Layout1").add_line((0, 0), (1, 0), dxfattribs=ON)
    space.add_line((0, 0), (1, 0), dxfattribs=ON)
    drawing = read(saved(document, tmp_path))
    assert len(drawing.strokes) == 1
    assert [fault.code for fault in drawing.faults] == ["paper-space"]


def test_what_is_no_track_is_counted_by_type(tmp_path):
    document, space = new()
    space.add_line((0, 0), (1, 0), dxfattribs=ON)
    for _ in range(3):
        space.add_point((0, 0), dxfattribs=ON)
    space.add_hatch(dxfattribs=ON)
    space.add_polymesh((3, 3), dxfattribs=ON)
    space.add_point((0, 0), dxfattribs={"layer": "elsewhere"})
    drawing = read(saved(document, tmp_path))
    assert {(fault.code, fault.text.split(" on ")[0], fault.weight) for fault in drawing.faults} == {
        ("unknown-entity", "3 POINT", 3),
        ("unknown-entity", "1 HATCH", 1),
        ("unknown-entity", "1 POLYLINE", 1),
    }


def test_layers_that_hold_nothing_to_read_as_track(tmp_path):
    document, space = new()
    space.add_point((0, 0), dxfattribs=ON)
    with pytest.raises(DrawingError, match=r'nothing on the layers "Track\*" can be read as track, got 1 POINT'):
        strokes(document, tmp_path)


# Texts


def test_texts_on_the_layers_and_on_those_of_heights(tmp_path):
    document, space = new(units=MM)
    space.add_line((0, 0), (1, 0), dxfattribs=ON)
    space.add_text("Wharf", dxfattribs={**ON, "insert": (1000, 2000)})
    space.add_mtext("{\\H2x;+12.5}\\Pmm", dxfattribs={"layer": "heights", "insert": (3000, 0, 40)})
    space.add_text("tree", dxfattribs={"layer": "Trees"})
    space.add_text("45%%d", dxfattribs=ON).set_placement((7, 7), align=ezdxf.enums.TextEntityAlignment.MIDDLE_CENTER)
    labels = read(saved(document, tmp_path), height_layers=["HEIGHT*"]).labels
    assert [label.text for label in labels] == ["Wharf", "+12.5 mm", "45°"]
    assert labels[0].spot == pytest.approx((1, 2, None))
    assert labels[1].spot == pytest.approx((3, 0, 0.04))
    assert labels[1].layer == "heights"
    assert labels[2].spot[:2] == pytest.approx((0.007, 0.007))


def test_lines_on_the_layers_of_heights_are_not_read(tmp_path):
    document, space = new()
    space.add_line((0, 0), (1, 0), dxfattribs=ON)
    space.add_line((0, 0), (2, 0), dxfattribs={"layer": "heights"})
    drawing = read(saved(document, tmp_path), height_layers=["heights"])
    assert len(drawing.strokes) == 1
    assert drawing.faults == ()


def test_control_characters_leave_texts(tmp_path):
    entities = line() + "0\nTEXT\n5\n30\n8\nTrack\n10\n0\n20\n0\n40\n1\n1\nWh\x1b[31marf\x07\n"
    (label,) = read(written(tmp_path, plain(entities))).labels
    assert label.text == "Wh[31marf"


def test_attributes_of_a_block(tmp_path):
    document, space = new()
    block = document.blocks.new("sign")
    block.add_line((0, 0), (1, 0), dxfattribs=ON)
    block.add_attdef("HEIGHT", (0, 1), "0", dxfattribs=ON)
    block.add_attdef("FIXED", (0, 2), "always", dxfattribs=ON).dxf.flags = 2
    insert = space.add_blockref("sign", (5, 5), dxfattribs={"xscale": 2, "yscale": 2})
    insert.add_attrib("HEIGHT", "12", (5, 6), dxfattribs=ON)
    drawing = read(saved(document, tmp_path))
    assert [(label.text, label.spot) for label in drawing.labels] == [
        ("12", pytest.approx((5, 6, None))),
        ("always", pytest.approx((5, 9, None))),
    ]
    assert all(label.handle.startswith(f"{insert.dxf.handle}/") for label in drawing.labels)
