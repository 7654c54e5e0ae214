"""The repair of damaged files: on request, every change told, and none that changes numbers or loses entities."""

import numpy as np
import pytest

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf_mending import Found, UnreadableError, compare, survey
from gradehaul.plan.drawing.dxf_repair import repaired
from plan.drawing.dxf_files import MM, ON, line, new, plain, read, saved, written

TEXT = plain(line() + line(2, 0, 3.25, 0, handle="30"), header="9\n$INSUNITS\n70\n4\n")
WITHOUT_ENDSEC = TEXT.replace("0\nENDSEC\n0\nEOF\n", "0\nEOF\n")
SWAPPED = TEXT.replace("10\n2\n20\n0\n30\n0\n11\n3.25\n21\n0\n31\n0\n", "10\n2\n11\n3.25\n20\n0\n21\n0\n30\n0\n31\n0\n")


def refused(path, **more):
    with pytest.raises(DrawingError) as caught:
        read(path, **more)
    return str(caught.value).removeprefix(f"{path}: ")


def test_coordinates_in_another_order_are_mended_when_asked(tmp_path):
    path = written(tmp_path, SWAPPED)
    assert "ask for its repair" in refused(path)
    drawing = read(path, repair=True)
    np.testing.assert_allclose(
        [each.points for each in drawing.strokes], [[(0, 0), (1e-3, 0)], [(2e-3, 0), (3.25e-3, 0)]]
    )
    assert {fault.code for fault in drawing.faults} == {"repaired"}
    assert all(fault.text for fault in drawing.faults)
    assert path.read_bytes() == SWAPPED.encode()


def test_a_file_without_a_unit_is_still_asked_for_it(tmp_path):
    path = written(tmp_path, SWAPPED.replace("9\n$INSUNITS\n70\n4\n", ""))
    assert "does not say in which unit" in refused(path, repair=True)


def test_a_whole_file_is_not_repaired(tmp_path):
    assert read(written(tmp_path, TEXT), repair=True).faults == ()


def test_a_file_cut_short_would_lose_entities(tmp_path):
    document, space = new(units=MM)
    for number in range(40):
        space.add_line((0, number), (7, number), dxfattribs=ON)
    data = saved(document, tmp_path).read_bytes()
    path = written(tmp_path, data[: data.rindex(b"AcDbLine") + 20])
    message = refused(path, repair=True)
    assert "entities would be lost, got LINE #" in message


def test_a_number_with_a_comma_would_change(tmp_path):
    path = written(tmp_path, SWAPPED.replace("3.25", "3,25"))
    number = SWAPPED.split("\n").index("3.25") + 1
    assert refused(path, repair=True) == (
        f"the file cannot be repaired, got no number in line {number}: 3,25; write it again, saved as DXF"
    )


def test_a_binary_file_cannot_be_repaired(tmp_path):
    document, space = new()
    space.add_line((0, 0), (1, 0), dxfattribs=ON)
    data = saved(document, tmp_path, fmt="bin").read_bytes()
    assert "a binary DXF file cannot be repaired" in refused(written(tmp_path, data[:-400]), repair=True)


def test_a_repair_that_takes_too_long_is_ended(tmp_path):
    path = written(tmp_path, SWAPPED)
    with (
        pytest.raises(DrawingError, match=r"cannot be repaired, got no end after 0\.01 s"),
        repaired(path, "tarn.dxf", seconds=0.01),
    ):
        pass


def test_what_a_repair_must_not_do_is_seen(tmp_path):
    before, unit = survey(written(tmp_path, TEXT))
    assert unit == 4
    assert [entity.name for entity in before] == ["LINE #2F", "LINE #30"]
    after, _ = survey(written(tmp_path, TEXT.replace("3.25", "3.5")))
    assert compare(before, after) == (["LINE #30"], [])
    assert compare(before, after[:1]) == ([], ["LINE #30"])
    assert compare([Found(b"ARC")], before) == ([], ["ARC"])
    with pytest.raises(UnreadableError, match="no group code in line"):
        survey(written(tmp_path, TEXT.replace("0\nENDSEC", "x\nENDSEC")))
