"""Drawings: importing against reading the file alone, and how the linking grows."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from gradehaul.plan.drawing.assembly import assemble, reaches_of
from gradehaul.plan.drawing.dxf import read_drawing
from gradehaul.plan.drawing.dxf.file import dxf_library
from gradehaul.plan.drawing.linking import link
from gradehaul.plan.drawing.records import terms
from gradehaul.plan.edit.importing import ImportOptions, import_drawing
from gradehaul.plan.edit.writer import new_plan, updated_plan

ON = terms(0.0165, "mm", ["TRACK"])
RECORDS = "each entity is checked, made a stroke, an element and a part of a line, in steps of Python"


def rows(space, entities):
    """Draw long lines side by side, each of straights and curves end to end, with a track that branches off midway."""
    layer = {"layer": "TRACK"}
    for number in range(entities // 20):
        x, y, heading = 8000.0 * (number % 100), 3000.0 * (number // 100), 0.0
        for piece in range(20):
            turn = math.radians(heading)
            if piece % 2 == 0 and piece != 10:
                end = x + 400 * math.cos(turn), y + 400 * math.sin(turn)
                space.add_line((x, y), end, dxfattribs=layer)
                x, y = end
            elif piece == 10:  # from the side of the straight before last
                back = x - 900 * math.cos(turn), y - 900 * math.sin(turn)
                space.add_line(back, (x, y), dxfattribs=layer)
            else:
                hand = 1 if piece % 4 == 1 else -1
                center = x - hand * 700 * math.sin(turn), y + hand * 700 * math.cos(turn)
                low = heading - hand * 90
                space.add_arc(center, 700, *sorted((low, low + hand * 20)), dxfattribs=layer)
                heading += hand * 20
                last = math.radians(heading)
                x, y = center[0] + hand * 700 * math.sin(last), center[1] - hand * 700 * math.cos(last)


def pairs(space, entities):
    """Draw pairs of a straight and a curve, each pair by itself: as many loose ends as entities."""
    layer = {"layer": "TRACK"}
    for number in range(entities // 2):
        x, y = 300.0 * (number % 1000), 1200.0 * (number // 1000)
        space.add_line((x, y), (x, y + 500), dxfattribs=layer)
        space.add_arc((x + 600, y + 500), 600, 150, 180, dxfattribs=layer)


def circles(space, entities):
    """Draw quarter circles and full ones by turns, each by itself."""
    for number in range(entities):
        x, y = 1500.0 * (number % 50), 1500.0 * (number // 50)
        if number % 2:
            space.add_arc((x, y), 600, 0, 90, dxfattribs={"layer": "TRACK"})
        else:
            space.add_circle((x, y), 600, dxfattribs={"layer": "TRACK"})


def noted(space, entities):
    """Draw pairs of a straight and a curve with a text each that may be its radius or a name, and a height between."""
    pairs(space, entities * 2 // 3)
    for number in range(entities // 3):
        x, y = 300.0 * (number % 1000), 1200.0 * (number // 1000)
        space.add_text(f"R{number % 90 + 2}", dxfattribs={"layer": "NAMES", "insert": (x, y + 250)})
        space.add_text(f"{number % 7 + 20}", dxfattribs={"layer": "HEIGHTS", "insert": (x + 150, y + 250)})


def chords(space, entities):
    """Draw curves of 38 chords between two straights, each a line of its own."""
    for number in range(entities // 40):
        x, y, heading = 2500.0 * (number % 25), 2500.0 * (number // 25), 0.0
        for piece in range(40):
            length = 300 if piece in {0, 39} else 30
            end = x + length * math.cos(heading), y + length * math.sin(heading)
            space.add_line((x, y), end, dxfattribs={"layer": "TRACK"})
            x, y = end
            heading += 0.05


def drawing(path: Path, entities: int, draw) -> Path:
    document = dxf_library().new("R2010", units=4)
    draw(document.modelspace(), entities)
    document.saveas(path)
    return path


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("drawings")
    return {
        (draw, count): drawing(folder / f"{draw.__name__}-{count}.dxf", count, draw)
        for draw in (rows, pairs, chords)
        for count in (2_000, 20_000, 50_000)
    }


def network(path: Path):
    return assemble(read_drawing(path, layers=["TRACK"]), ON)


@pytest.mark.parametrize("draw", [rows, pairs])
def test_a_network_against_reading_alone(files, ratio, draw):
    ezdxf = dxf_library()
    path = files[draw, 20_000]
    assert len(network(files[draw, 2_000]).lines) >= 100
    ratio(
        f"a network of 20,000 entities in {draw.__name__} over ezdxf.readfile",
        lambda: network(path),
        lambda: ezdxf.readfile(path),
        rounds=3,
        most=2.5,
        limit=RECORDS,
    )


def test_separate_chords_against_reading_alone(files, ratio):
    ezdxf = dxf_library()
    path = files[chords, 20_000]
    assert len(network(path).lines) == 500
    ratio(
        "a network of 20,000 separate chords over ezdxf.readfile",
        lambda: network(path),
        lambda: ezdxf.readfile(path),
        rounds=3,
        most=3.5,
        limit="each curve is fitted by itself, in steps of Python: all fits take twice as long as reading the file",
    )


def test_a_plan_file_against_reading_alone(files, ratio):
    ezdxf = dxf_library()
    path = files[rows, 20_000]
    ratio(
        "a plan file of 20,000 entities in rows, written and checked, over ezdxf.readfile",
        lambda: import_drawing(str(path), None, ImportOptions(layers=("TRACK",), scale="HO")),
        lambda: ezdxf.readfile(path),
        rounds=3,
        most=2.5,
        limit=f"{RECORDS}, and the plan is written, parsed and checked table by table",
    )


def test_splines_against_reading_alone(tmp_path, ratio):
    ezdxf, document = dxf_library(), dxf_library().new("R2010", units=4)
    space = document.modelspace()
    for number in range(420):  # some 300 kB
        x, y = 3000 * (number % 20), 3000 * (number // 20)
        wave = [(math.radians(45 * n), 900 + 75 * ((n * 5 + number) % 8 - 4)) for n in range(8)]
        corners = [(x + radius * math.cos(angle), y + radius * math.sin(angle), 0) for angle, radius in wave]
        space.add_spline(dxfattribs={"layer": "TRACK"}).set_closed(corners)
    document.saveas(path := tmp_path / "splines.dxf")
    ratio(
        "a plan file of 420 closed splines, 300 kB, over ezdxf.readfile",
        lambda: import_drawing(str(path), None, ImportOptions(layers=("TRACK",), scale="HO")),
        lambda: ezdxf.readfile(path),
        rounds=3,
        most=10,
        # two fifths go into the fit, three tenths into writing, reading and checking the plan, a twentieth into chords
        limit="each spline becomes some 60 tracks, all of which are fitted, written, read again and checked",
    )


@pytest.mark.parametrize("draw", [rows, pairs])
def test_linking_grows_like_n_log_n(files, ratio, draw):
    reaches = {}
    for count in (2_000, 50_000):
        strokes = read_drawing(files[draw, count], layers=["TRACK"]).strokes
        reaches[count], _ = reaches_of(strokes, tolerance=ON.fit, kink=ON.kink)
    small, large = (lambda own=reaches[count]: link(own, ON) for count in (2_000, 50_000))
    ratio(
        f"linking of 50,000 entities in {draw.__name__} over 2,000",
        large,
        small,
        rounds=3,
        most=25 * math.log(50_000) / math.log(2_000),
        # 45, 64 and 72 µs a piece of 2,000, 10,000 and 50,000, with the collector or without
        limit="most of the growth comes before 10,000 pieces: the same steps, in more memory than is near at hand",
    )


@pytest.mark.parametrize("draw", [circles, noted])
def test_a_network_grows_like_n_log_n(tmp_path, ratio, draw):
    on = terms(0.0165, "mm", ["TRACK"], height_layers=("HEIGHTS",))
    small, large = (
        read_drawing(
            drawing(tmp_path / f"{count}.dxf", count, draw),
            layers=["TRACK", "NAMES", "HEIGHTS"],
            height_layers=["HEIGHTS"],
        )
        for count in (1_500, 12_000)
    )
    ratio(
        f"a network of 12,000 entities in {draw.__name__} over 1,500",
        lambda: assemble(large, on),
        lambda: assemble(small, on),
        rounds=3,
        most=8 * math.log(12_000) / math.log(1_500),
    )


def test_bringing_a_plan_up_to_date_grows_like_n_log_n(tmp_path, ratio):
    networks = [network(drawing(tmp_path / f"{count}.dxf", count, pairs)) for count in (20, 1_000, 8_000)]
    text = new_plan(networks[0], title="Tarn", scale="HO", unit="mm").text
    small, large = (lambda own=own: updated_plan(text, own, file="tarn.toml") for own in networks[1:])
    ratio(
        "a plan brought up to date with 8,000 entities more over 1,000 more",
        large,
        small,
        rounds=3,
        most=8 * math.log(8_000) / math.log(1_000),
        limit="the plan is parsed whole, which takes the library more than nine times as long",
    )
