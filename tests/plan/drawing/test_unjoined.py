"""Ends left unjoined for their angle: the kink that joins them is named where it does, and only there."""

import re

import pytest

from gradehaul.plan.drawing.wording import by_code
from gradehaul.plan.edit.importing import ImportOptions, import_drawing
from gradehaul.plan.reader import read_plan
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
    from math import cos, radians, sin

    document, space = new(units=MM)
    on = {"layer": "Track"}
    space.add_line((0, 0), (2000, 0), on)
    space.add_line((800, 0), (800 + 500 * cos(radians(angle)), 500 * sin(radians(angle))), on)
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


def test_a_break_within_a_line_is_named_where_the_track_goes_on_without_it(tmp_path):
    """A siding whose leg is one straight, then a corner back to parallel: with a wide kink the corner is dropped."""
    document, space = new(units=MM)
    space.add_line((0, 0), (3000, 0), {"layer": "Track"})
    space.add_lwpolyline([(500, 0), (800, 48.57), (2200, 48.57)], dxfattribs={"layer": "Track"})
    document.saveas(tmp_path / "tarn.dxf")
    done = import_drawing(str(tmp_path / "tarn.dxf"), None, ImportOptions(scale="HO", kink="10"))
    (fault,) = (fault for fault in done.drawn.faults if fault.code == "kink")
    assert fault.text.startswith("the direction breaks by 9.2° within a line, which goes on without it")
    assert fault.spot[:2] == pytest.approx((0.8, 0.04857))
    apart = import_drawing(str(tmp_path / "tarn.dxf"), None, ImportOptions(scale="HO"))
    assert not [text for text in texts(apart, "kink") if "within" in text]
