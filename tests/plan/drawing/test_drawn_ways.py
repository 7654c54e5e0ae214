"""One network, drawn as arcs, as chords, as splines and as blocks, and in every version: it answers the same."""

import math

import pytest

from checked import check
from gradehaul.plan import load_plan
from plan.drawing.dxf_files import MM, ON, new

HAND = ("Track", "Heights")
PLAN = """
title    = "Tarn"
scale    = "H0"
unit     = "mm"
practice = "NEM"

[drawing]
file          = "tarn.dxf"
unit          = "mm"       # R12 has none
layers        = ["Track"]
height_layers = ["Heights"]

[loco.tank]
mass   = "310 g"
length = 150
driven_wheels = 6
[loco.tank.pull]
clean   = ["88 gf", "91 gf"]
treated = "64 gf"

[car.tipper]
mass   = "52 g"
length = 95

[route.Up]
from = "Wharf"
to   = "Summit"

[route.Branch]
from = "Wharf"
to   = "Quarry"
"""
MAIN = [(0, 700), (0, 500), (610, 150), (0, 650), (-700, 75), (0, 400)]
"""Radius, mm, positive to the left, 0 for a straight, and angle, degrees, or length, mm."""
BRANCH = [(-900, 30), (0, 300), (800, 40)]
TEXTS = [("Wharf", 0, 0, "Track"), ("0", 0, -20, "Heights"), ("4", 700, -30, "Heights")]


def pieces(start, parts):
    """Yield each straight and arc: its radius, its start (x, y, heading) and what it turns by or how long it is."""
    x, y, heading = start
    for radius, amount in parts:
        yield radius, (x, y, heading), amount
        if radius:
            turn = math.copysign(math.radians(amount), radius)
            x += radius * (math.sin(heading + turn) - math.sin(heading))
            y -= radius * (math.cos(heading + turn) - math.cos(heading))
            heading += turn
        else:
            x += amount * math.cos(heading)
            y += amount * math.sin(heading)
    yield None, (x, y, heading), 0


def arc_of(radius, start, angle):
    """Return an arc's center and its angles, degrees, the way the format runs: always to the left."""
    x, y, heading = start
    center = x - radius * math.sin(heading), y + radius * math.cos(heading)
    low = math.degrees(heading) - math.copysign(90, radius)
    return center, *((low, low + angle) if radius > 0 else (low - angle, low))


def points_of(radius, start, angle, step):
    count = math.ceil(angle / step)
    (x, y), *_ = arc_of(radius, start, angle)
    hand = math.copysign(1, radius)
    first = start[2] - hand * math.pi / 2
    turns = [first + hand * math.radians(angle) * number / count for number in range(count + 1)]
    return [(x + abs(radius) * math.cos(turn), y + abs(radius) * math.sin(turn)) for turn in turns]


def line_of(space, start, length):
    x, y, heading = start
    space.add_line((x, y), (x + length * math.cos(heading), y + length * math.sin(heading)), dxfattribs=ON)


def as_arcs(_document, space, radius, start, amount):
    if not radius:
        return line_of(space, start, amount)
    center, low, high = arc_of(radius, start, amount)
    return space.add_arc(center, abs(radius), low, high, dxfattribs=ON)


def as_bulges(_document, space, radius, start, amount):
    if not radius:
        return line_of(space, start, amount)
    ends = points_of(radius, start, amount, 360)
    bulge = math.copysign(math.tan(math.radians(amount) / 4), radius)
    return space.add_polyline2d([(*ends[0], bulge), (*ends[-1], 0)], format="xyb", dxfattribs=ON)


def as_chords(_document, space, radius, start, amount):
    if not radius:
        return line_of(space, start, amount)
    return space.add_polyline2d(points_of(radius, start, amount, 5), dxfattribs=ON)


def as_splines(_document, space, radius, start, amount):
    if not radius:
        return line_of(space, start, amount)
    from ezdxf.math import Vec3, fit_points_to_cad_cv

    points = points_of(radius, start, amount, 5)
    turn = start[2] + math.copysign(math.radians(amount), radius)
    tangents = [Vec3(math.cos(angle), math.sin(angle)) for angle in (start[2], turn)]
    curve = fit_points_to_cad_cv([Vec3(point) for point in points], tangents)
    return space.add_spline(dxfattribs=ON).apply_construction_tool(curve)


def as_blocks(document, space, radius, start, amount):
    """Insert a straight of length 1 or an arc of radius 1, which turns left, stretched, turned and mirrored."""
    x, y, heading = start
    name = f"arc {amount}" if radius else "straight"
    if name not in document.blocks:
        block = document.blocks.new(name)
        if radius:
            block.add_arc((0, 1), 1, -90, -90 + amount)
        else:
            block.add_line((0, 0), (1, 0))
    size = abs(radius) or amount
    scales = {"xscale": size, "yscale": math.copysign(size, radius or 1), "zscale": 1}
    return space.add_blockref(name, (x, y), dxfattribs={**ON, **scales, "rotation": math.degrees(heading)})


def drawn(folder, way, version="R2010", fmt="asc"):
    document, space = new(version, MM)
    for start, parts, texts in (
        ((0, 0, 0), MAIN, ("Summit", "52")),
        ((700, 0, 0), BRANCH, ("Quarry", "31")),
    ):
        for radius, at, amount in pieces(start, parts):
            if radius is not None:
                way(document, space, radius, at, amount)
                continue
            for words, layer in zip(texts, HAND, strict=True):
                space.add_text(words, dxfattribs={"layer": layer}).set_placement(at[:2])
    for words, x, y, layer in TEXTS:
        space.add_text(words, dxfattribs={"layer": layer}).set_placement((x, y))
    document.saveas(folder / "tarn.dxf", fmt=fmt)
    (folder / "tarn.toml").write_text(PLAN, "utf-8")
    return check(load_plan(folder / "tarn.toml"))


def same(found, expected):
    assert [each.route.name for each in found.routes] == ["Up", "Branch"]
    for one, other in zip(found.routes, expected.routes, strict=True):
        assert one.ruling.effective == pytest.approx(other.ruling.effective, rel=2e-4)
        assert one.profile.length == pytest.approx(other.profile.length, rel=1e-3)
        ours, theirs = ([(load.power, load.car, load.rail, load.rated) for load in each.loads] for each in (one, other))
        assert ours == theirs
        assert ours


def test_arcs_climb_as_they_are_drawn(tmp_path):
    up = drawn(tmp_path, as_arcs).routes[0]
    length = sum(abs(radius) * math.radians(amount) if radius else amount for radius, amount in MAIN) / 1000
    assert up.profile.length == pytest.approx(length, rel=1e-6)
    # 48 mm over the main line beyond the turnout, and the coefficient of curves over the sharpest of its curves
    grade = 0.048 / (length - 0.7)
    assert up.ruling.effective > grade
    assert up.ruling.effective == pytest.approx(grade + check_coefficient(tmp_path) / 0.610, abs=2e-4)


def check_coefficient(folder):
    return check(load_plan(folder / "tarn.toml")).coefficient


@pytest.mark.parametrize("way", [as_bulges, as_chords, as_splines, as_blocks])
def test_it_answers_the_same_however_it_is_drawn(tmp_path, way):
    same(drawn(tmp_path, way), drawn(tmp_path, as_arcs))


@pytest.mark.parametrize("version", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
@pytest.mark.parametrize("way", [as_blocks, as_chords])
def test_it_answers_the_same_in_every_version(tmp_path, way, version):
    same(drawn(tmp_path, way, version, "bin" if version == "R2004" else "asc"), drawn(tmp_path, as_arcs))
