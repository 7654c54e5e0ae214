"""Damaged and hostile DXF files: each is refused in one line that says what and where, and nothing else comes out."""

import math
import os
import random
import tracemalloc

import numpy as np
import pytest

from effort import at_most
from gradehaul.errors import DrawingError, Problems
from gradehaul.plan.drawing.dxf import file as dxf_file
from plan.drawing.dxf_files import ON, line, new, plain, read, saved, written


def said(path, **more):
    with pytest.raises((DrawingError, Problems)) as caught:
        read(path, **more)
    return [message.removeprefix(f"{path}: ") for message in str(caught.value).split("\n")]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "the drawing is empty; write it again, saved as DXF"),
        (
            b"AC1032\0\0\0\0\0",
            "only DXF is an open format, got a DWG file; write it again, saved as DXF (2018 or older)",
        ),
        (b"AC1015", "only DXF is an open format, got a DWG file; write it again, saved as DXF (2018 or older)"),
        (b"\x89PNG\r\n\x1a\n\0\0\0", "this is not a DXF file, got binary data; write it again, saved as DXF"),
        (plain(line()).encode("utf-16"), "a DXF file is plain text, got UTF-16; write it again, saved as DXF"),
    ],
)
def test_files_that_are_no_dxf(tmp_path, data, message):
    assert said(written(tmp_path, data)) == [message]


def test_no_file_a_folder_and_a_pipe(tmp_path):
    assert said(tmp_path / "none.dxf") == ["there is no such file"]
    assert said(tmp_path) == ["a drawing is a DXF file, got a folder"]
    assert said(tmp_path / "a\0b.dxf") == [f"{tmp_path}/ab.dxf: there is no such file"]
    os.mkfifo(tmp_path / "pipe")
    assert said(tmp_path / "pipe") == ["a drawing is a DXF file, got no ordinary file"]


def test_a_file_too_large(tmp_path, monkeypatch):
    path = written(tmp_path, plain(line()))
    monkeypatch.setattr(dxf_file, "LARGEST_FILE", 100)
    assert said(path)[0].startswith("a drawing has at most 200 MB, got")


@pytest.mark.parametrize("text", ["hello\nworld\n", "0\nSECTION\n", "0\nSECTION\n2\nENTITIES\n0\nENDSEC\n", "0\n" * 50])
def test_text_that_is_no_drawing(tmp_path, text):
    with pytest.raises(DrawingError, match=r"damaged or cut short|draws nothing|unit|this is not a DXF file") as caught:
        read(written(tmp_path, text))
    assert not isinstance(caught.value.__cause__, OSError)  # which would say that the file cannot be read


def test_what_stops_the_reading_is_told_in_words_about_the_file(tmp_path):
    whole = whole_file(tmp_path, "R2010", "asc")
    stopped, cut_short = (said(written(tmp_path, whole[: len(whole) // share])) for share in (8, 2))
    cure = "write it anew: open it where it was drawn and save it"
    assert stopped == [f"the file is damaged or cut short; {cure}"]  # a bare StopIteration of the library
    assert cut_short == [f"the file is damaged or cut short, got missing ENDSEC tag.; {cure}"]


def test_bytes_of_no_encoding_are_shown_as_such(tmp_path):
    (message,) = said(written(tmp_path, b"\x80" + plain(line()).replace("AC1009", "AC1024").encode()))
    assert "\N{REPLACEMENT CHARACTER}" in message
    assert message.encode("utf-8")


def attempt(path):
    """Return the drawing or the refusal; anything else that comes out fails the test."""
    try:
        return read(path, unit="m"), None
    except (DrawingError, Problems) as error:
        return None, error


CIRCLE = "0\nCIRCLE\n5\n30\n8\nTrack\n10\n{x}\n20\n0\n40\n{r}\n"
ARC = "0\nARC\n5\n30\n8\nTrack\n10\n0\n20\n0\n40\n1\n50\n{a}\n51\n90\n"
VERTEX = "0\nVERTEX\n8\nTrack\n10\n{x}\n20\n0\n42\n{b}\n"
POLYLINE = f"0\nPOLYLINE\n5\n30\n8\nTrack\n66\n1\n{VERTEX}{VERTEX.replace('{x}', '1')}0\nSEQEND\n"


@pytest.mark.parametrize(
    ("entity", "message"),
    [
        (line(x1="nan", handle=30), 'LINE #30 on layer "Track": a coordinate must be finite, got nan'),
        (line(y2="-inf", handle=30), 'LINE #30 on layer "Track": a coordinate must be finite, got -inf'),
        (line(y2="1e999", handle=30), 'LINE #30 on layer "Track": a coordinate must be finite, got inf'),
        (
            line(x2="2e6", handle=30),
            ('LINE #30 on layer "Track": a coordinate must be within 1,000 km, got 2e+06 m; '
            "write the right unit, or draw it nearer to the origin"),
        ),
        ("0\nLINE\n5\n30\n8\nTrack\n10\n0\n20\n0\n", 'LINE #30 on layer "Track": the end is missing'),
        (CIRCLE.format(x=0, r=-5), 'CIRCLE #30 on layer "Track": a radius must be more than 0, got -5'),
        (CIRCLE.format(x=0, r="nan"), 'CIRCLE #30 on layer "Track": the radius must be finite, got nan'),
        (CIRCLE.format(x="nan", r=1), 'CIRCLE #30 on layer "Track": a coordinate must be finite, got nan'),
        (
            CIRCLE.format(x=0, r="1e15"),
            ('CIRCLE #30 on layer "Track": a coordinate must be within 1,000 km, got 1e+15 m; '
            "write the right unit, or draw it nearer to the origin"),
        ),
        (ARC.format(a="inf"), 'ARC #30 on layer "Track": the start angle must be finite, got inf'),
        (
            POLYLINE.format(x=0, b="1e300"),
            'POLYLINE #30 on layer "Track": a bulge must make less than a full circle, got 1e+300',
        ),
        (POLYLINE.format(x=0, b="nan"), 'POLYLINE #30 on layer "Track": a bulge must be finite, got nan'),
        (POLYLINE.format(x="nan", b="0"), 'POLYLINE #30 on layer "Track": a coordinate must be finite, got nan'),
    ],
)  # fmt: skip
def test_numbers_that_cannot_be(tmp_path, entity, message):
    assert said(written(tmp_path, plain(line() + entity))) == [message]
    elsewhere = entity.replace("Track", "Trees")
    assert len(read(written(tmp_path, plain(line() + elsewhere))).strokes) == 1


def test_an_arc_too_wide(tmp_path):
    entities = POLYLINE.format(x=-9e5, b="1e-3").replace("10\n1\n", "10\n9e5\n")
    assert said(written(tmp_path, plain(entities))) == [
        'POLYLINE #30 on layer "Track": a radius must be within 1,000 km, got 4.5e+08 m; write a straight line'
    ]


def test_all_that_is_wrong_is_told_up_to_a_limit(tmp_path):
    entities = "".join(line(x1="nan", handle=f"{number + 64:X}") for number in range(30))
    messages = said(written(tmp_path, plain(entities)))
    assert len(messages) == 21
    assert messages[-1] == "10 more entities cannot be used"


@pytest.mark.parametrize(
    "change",
    [
        {"degree": 30},
        {"knots": [0, 0, 0, 0, 1, 1, 1]},
        {"knots": [0, 0, 0, 0, 0, 0, 0, 0]},
        {"knots": [1, 1, 1, 1, 0, 0, 0, 0]},
        {"knots": [0, 0, 0, 0, 1, 1, 1, math.nan]},
        {"weights": [1, 1, -1, 1]},
        {"weights": [1, 1]},
    ],
)
def test_splines_that_are_none(tmp_path, change):
    document, space = new("R2000")
    spline = space.add_open_spline([(0, 0), (1, 0), (1, 1), (2, 1)], dxfattribs=ON)
    for name, value in change.items():
        if name == "degree":
            spline.dxf.unprotected_set(name, value)
        else:
            setattr(spline, f"_{name}", value)
    (message,) = said(saved(document, tmp_path))
    assert message.startswith(f'SPLINE #{spline.dxf.handle} on layer "Track": this is not a spline, got ')


def test_a_spline_at_one_place_has_no_length_and_is_left_out(tmp_path):
    document, space = new("R2000")
    space.add_line((0, 0), (1, 0), dxfattribs=ON)
    space.add_spline([(1, 0)] * 4, dxfattribs=ON)
    drawing = read(saved(document, tmp_path))
    assert [stroke.kind for stroke in drawing.strokes] == ["LINE"]
    assert [(fault.code, fault.text) for fault in drawing.faults] == [
        ("zero-length", "SPLINE without length, left out")
    ]


def test_names_not_in_the_file_s_encoding(tmp_path):
    text = plain(line(layer="Track Wei\xdfe")).replace("AC1009", "AC1021")  # which would be UTF-8
    drawing = read(
        written(
            tmp_path, text.replace("8\nTrack", "100\nAcDbEntity\n8\nTrack").replace("10\n0", "100\nAcDbLine\n10\n0")
        )
    )
    assert drawing.strokes[0].layer == "Track Weiße"
    assert [fault.code for fault in drawing.faults] == ["encoding"]
    str(drawing).encode("utf-8")


def test_control_characters_in_layers(tmp_path):
    drawing = read(written(tmp_path, plain(line(layer="Track\x1b[31m"))))
    assert drawing.strokes[0].layer == "Track[31m"


def whole_file(folder, version, fmt):
    document, space = new(version)
    document.blocks.new("B").add_line((0, 0), (1, 0), dxfattribs=ON)
    for number in range(12):
        space.add_line((0, number), (1, number), dxfattribs=ON)
        space.add_arc((0, number), 1, 10, 80, dxfattribs=ON)
        space.add_blockref("B", (0, number))
    return saved(document, folder, fmt=fmt).read_bytes()


@pytest.mark.parametrize(("version", "fmt"), [("R12", "asc"), ("R2010", "asc"), ("R2010", "bin")])
def test_a_file_cut_short_is_refused_or_whole(tmp_path, version, fmt):
    data = whole_file(tmp_path, version, fmt)
    full = read(written(tmp_path, data), unit="m")
    refusals = 0
    with at_most(1_500_000):
        for share in range(1, 20):
            path = written(tmp_path, data[: len(data) * share // 20])
            drawing, error = attempt(path)
            if error is not None:
                refusals += 1
                assert "damaged or cut short" in str(error)
            else:
                assert len(drawing.strokes) == len(full.strokes)
                for ours, theirs in zip(drawing.strokes, full.strokes, strict=True):
                    np.testing.assert_array_equal(ours.points, theirs.points)
        assert refusals > 5


@pytest.mark.parametrize(("version", "fmt"), [("R12", "asc"), ("R2000", "asc"), ("R2018", "bin")])
def test_random_damage_raises_only_what_it_should(tmp_path, version, fmt):
    data = whole_file(tmp_path, version, fmt)
    chance = random.Random(20_240)
    for _ in range(25):
        damaged = bytearray(data)
        for _ in range(chance.randrange(1, 12)):
            at = chance.randrange(len(damaged))
            if chance.random() < 0.5:
                damaged[at] = chance.randrange(256)
            else:
                del damaged[at : at + chance.randrange(1, 30)]
        path = written(tmp_path, bytes(damaged))
        drawing, error = attempt(path)
        if error is not None:
            assert str(error).startswith(str(path))
        else:
            assert all(np.isfinite(stroke.points).all() for stroke in drawing.strokes)


@pytest.mark.parametrize(
    ("layout", "message"),
    [
        ("Model", "the drawing draws nothing in its model space; write it again with the track in the model space"),
        (
            "0Model",
            (
                "the file is damaged or cut short, got no model space; "
                "write it anew: open it where it was drawn and save it"
            ),
        ),
    ],
)
def test_a_layout_that_has_lost_its_name_or_that_of_its_block(tmp_path, layout, message):
    text = (
        "0 SECTION 2 HEADER 9 $ACADVER 1 AC1024 0 ENDSEC 0 SECTION 2 CLASSES 0 BLOCK_RECORD 5 17 0 ENDSEC "
        "0 SECTION 2 OBJECTS 0 DICTIONARY 3 ACAD_GROUP 3 ACAD_LAYOUT 350 D 0 DICTIONARY 5 D 100 AcDbDictionary "
        f"3 {layout} 350 1A 3 Layout1 350 1E 0 LAYOUT 5 1A 100 AcDbPlotSettings 100 AcDbLayout 330 17 "
        "0 LAYOUT 5 1E 330 D 100 DictionaryVariables 0 ENDSEC 0 EOF "
    )
    path = written(tmp_path, text.replace(" ", "\n").encode())
    assert said(path, unit="mm") == [message]


def test_a_circle_that_stands_upright(tmp_path):
    document, space = new()
    circle = space.add_circle((0, 0), 1, dxfattribs={**ON, "extrusion": (1, 0, 0)})
    assert said(saved(document, tmp_path)) == [
        (
            f'CIRCLE #{circle.dxf.handle} on layer "Track": a curve must not stand upright; '
            "write it flat, or on another layer"
        )
    ]


def test_what_the_library_leaves_out_is_told(tmp_path):
    block = "0\nBLOCK\n8\n0\n2\nB\n70\n0\n10\n0\n20\n0\n30\n0\n"
    path = written(tmp_path, plain(line(), blocks=block + line(handle="30") + block + "0\nENDBLK\n8\n0\n"))
    assert [(fault.code, fault.text) for fault in read(path).faults] == [
        ("warned", "Missing required ENDBLK, ignoring content.")
    ]


@pytest.mark.parametrize(("version", "fmt"), [("R12", "asc"), ("R2010", "asc"), ("R2010", "bin")])
def test_a_drawing_of_too_many_entities_is_refused_before_it_is_read(tmp_path, monkeypatch, version, fmt):
    document, space = new(version)
    for number in range(3_000):
        space.add_line((0, number), (8 + number % 2, number), dxfattribs=ON)
    path = saved(document, tmp_path, fmt=fmt)
    monkeypatch.setattr(dxf_file, "_SHORTEST_ENTITY", 1)
    monkeypatch.setattr(dxf_file, "MOST_ENTITIES", 3_600)  # the tables of the file count too
    assert len(read(path, unit="m").strokes) == 3_000
    monkeypatch.setattr(dxf_file, "MOST_ENTITIES", 2_999)
    monkeypatch.setattr(dxf_file, "load", None)
    assert said(path) == ["a drawing has at most 2,999 entities, got more; write a file of the track alone"]


def test_a_million_entities_are_refused_at_once_and_in_little_memory(tmp_path):
    path = written(tmp_path, plain("0\nLINE\n8\nTrack\n10\n0\n20\n0\n11\n1\n21\n0\n" * 1_000_000))
    tracemalloc.start()
    with at_most(2_000_000):
        assert said(path) == ["a drawing has at most 250,000 entities, got more; write a file of the track alone"]
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 50e6


def test_values_of_0_before_a_code_are_no_entities(tmp_path, monkeypatch):
    path = written(tmp_path, plain(line() + "0\nPOINT\n8\nTrees\n10\n0\n20\n0\n30\n0\n39\n0\n" * 50))
    monkeypatch.setattr(dxf_file, "MOST_ENTITIES", 60)
    monkeypatch.setattr(dxf_file, "_SHORTEST_ENTITY", 1)
    assert len(read(path).strokes) == 1
