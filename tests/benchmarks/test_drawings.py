"""Drawings: importing against reading the file alone, and how the linking grows."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from gradehaul.plan.drawing.dxf import read_drawing
from gradehaul.plan.drawing.dxf_library import dxf_library
from gradehaul.plan.drawing.linking import link
from gradehaul.plan.drawing.reaches import reaches_of

SNAP, FIT, KINK, LEVEL = 1.65e-3, 0.825e-3, math.radians(5), 0.03


def drawing(path: Path, entities: int) -> Path:
    """Many long lines side by side, each of straights and quarter turns that meet end to end."""
    ezdxf = dxf_library()
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    layer = {"layer": "TRACK"}
    for number in range(entities // 20):
        x, y = 3000.0 * (number % 100), 12000.0 * (number // 100)
        for _ in range(10):
            space.add_line((x, y), (x, y + 500), dxfattribs=layer)
            space.add_arc((x + 600, y + 500), 600, 150, 180, dxfattribs=layer)
            y += 500 + 600 * math.sin(math.radians(30))
            x += 600 * (1 - math.cos(math.radians(30)))
            break_off = 600 * (1 - math.cos(math.radians(30)))
            x -= break_off
            y += 200
    document.saveas(path)
    return path


def linked(path: Path) -> int:
    read = read_drawing(path, layers=["TRACK"])
    reaches, _ = reaches_of(read.strokes, tolerance=FIT, kink=KINK)
    return len(link(reaches, snap=SNAP, kink=KINK, level=LEVEL).lines)


@pytest.fixture(scope="module")
def sizes(tmp_path_factory):
    folder = tmp_path_factory.mktemp("drawings")
    return {count: drawing(folder / f"{count}.dxf", count) for count in (2_000, 20_000, 50_000)}


def test_import_against_reading_alone(sizes, ratio):
    ezdxf = dxf_library()
    assert linked(sizes[2_000]) > 0
    found = ratio(
        "import of 20,000 entities over ezdxf.readfile",
        lambda: linked(sizes[20_000]),
        lambda: ezdxf.readfile(sizes[20_000]),
        rounds=3,
        target="at most 2",
    )
    assert found <= 2


def test_linking_grows_like_n_log_n(sizes, ratio):
    reaches = {}
    for count in (2_000, 50_000):
        strokes = read_drawing(sizes[count], layers=["TRACK"]).strokes
        reaches[count], _ = reaches_of(strokes, tolerance=FIT, kink=KINK)
    found = ratio(
        "linking of 50,000 entities over 2,000",
        lambda: link(reaches[50_000], snap=SNAP, kink=KINK, level=LEVEL),
        lambda: link(reaches[2_000], snap=SNAP, kink=KINK, level=LEVEL),
        rounds=3,
        target="at most 36, which is n log n",
    )
    assert found <= 25 * math.log(50_000) / math.log(2_000)
