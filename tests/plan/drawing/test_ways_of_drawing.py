"""Random lines, sidings, wyes and ladders, drawn as people draw them, answer as the same layout written as text."""

import itertools
import math
import os
import random
from dataclasses import dataclass, field

import pytest

from checked import check
from gradehaul.plan import load_plan
from gradehaul.plan.edit.importing import ImportOptions, import_drawing
from plan.drawing.dxf_files import MM, ON, new

SEEDS = int(os.environ.get("GRADEHAUL_DRAWN_EXAMPLES", "1"))
HEAD = """
title    = "Tarn"
scale    = "H0"
unit     = "mm"
practice = "NEM"
[loco.tank]
mass   = "310 g"
length = 150
driven_wheels = 6
[loco.tank.pull]
clean   = "89.5 gf"
[car.tipper]
mass   = "52 g"
length = 95
"""
DRAWING = """
[drawing]
file          = "tarn.dxf"
unit          = "mm"       # R12 has none
layers        = ["Track"]
height_layers = ["Heights"]
"""


@dataclass
class Layout:
    """Lines by name: joints, start (x, y, heading), radii (0: straight) with angles, degrees, or lengths; all in mm."""

    lines: dict[str, tuple[str, str, tuple[float, float, float], list[tuple[float, float]]]] = field(
        default_factory=dict
    )
    turnouts: dict[str, tuple[str, list[str]]] = field(default_factory=dict)
    heights: dict[str, float] = field(default_factory=dict)
    routes: list[tuple[str, str]] = field(default_factory=list)

    def add(self, name, start, finish, at, parts):
        self.lines[name] = start, finish, at, parts
        *_, (_, end, _) = pieces(at, parts)
        return end

    def plan(self):
        rows = [HEAD, "[railhead]", *(f"{joint} = {height:.6f}" for joint, height in self.heights.items())]
        for name, (start, finish, _, parts) in self.lines.items():
            rows += [f"[line.{name}]", f'from = "{start}"', f'to = "{finish}"', "track = ["]
            for radius, amount in parts:
                hand = "left" if radius > 0 else "right"
                rows.append(
                    f"  {{ {hand} = {abs(radius)}, angle = {amount} }},"
                    if radius
                    else f"  {{ straight = {amount!r} }},"
                )
            rows.append("]")
        for name, (toe, legs) in self.turnouts.items():
            rows += [f"[turnout.{name}]", f'toe = "{toe}"', f"legs = {legs}".replace("'", '"')]
        return "\n".join([*rows, *self._routes()])

    def _routes(self):
        for number, (start, finish) in enumerate(self.routes):
            yield f'[route.R{number}]\nfrom = "{start}"\nto = "{finish}"'

    def drawn_plan(self):
        return "\n".join([HEAD, DRAWING, *self._routes()])


def length_of(parts):
    return sum(abs(radius) * math.radians(amount) if radius else amount for radius, amount in parts)


def a_line(chance):
    layout = Layout()
    parts = [(0, chance.uniform(300, 900))]
    for _ in range(chance.randint(2, 4)):
        radius = chance.choice((-1, 1)) * chance.uniform(400, 900)
        parts += [(round(radius, 1), chance.randint(4, 12) * 6), (0, chance.uniform(300, 900))]
    layout.add("Main", "A", "B", (0, 0, 0), parts)
    layout.heights = {"A": 0, "B": chance.uniform(0.005, 0.02) * length_of(parts)}
    layout.routes = [("A", "B")]
    return layout


def a_siding(chance):
    layout = Layout()
    radius, angle, between = round(chance.uniform(500, 800), 1), chance.randint(2, 4) * 6, chance.uniform(100, 300)
    at = layout.add("Up", "A", "J", (0, 0, 0), [(0, chance.uniform(500, 900))])
    curve = [
        (radius, angle),
        (0, between),
        (-radius, angle),
        (0, 700.0),
        (-radius, angle),
        (0, between),
        (radius, angle),
    ]
    end = layout.add("Siding", "J", "K", at, curve)
    layout.add("Through", "J", "K", at, [(0, end[0] - at[0])])
    bend = [(0, 200.0), (chance.choice((-1, 1)) * 610.0, 48), (0, 600.0)]
    layout.add("Down", "K", "B", (end[0], end[1], 0.0), bend)
    layout.turnouts = {"J": ("Up", ["Through", "Siding"]), "K": ("Down", ["Through", "Siding"])}
    layout.heights = {"A": 0, "J": 8, "K": 22, "B": 36}
    layout.routes = [("A", "B"), ("B", "A")]
    return layout


def a_wye(chance):
    layout = Layout()
    radius = round(chance.uniform(500, 800), 1)
    far = chance.uniform(400, 800)
    layout.add("West", "A", "J", (-radius - far, 0, 0), [(0, far)])
    layout.add("Middle", "J", "K", (-radius, 0, 0), [(0, 2 * radius)])
    layout.add("East", "K", "B", (radius, 0, 0), [(0, far)])
    layout.add("Left", "J", "L", (-radius, 0, 0), [(radius, 90)])
    layout.add("Right", "K", "L", (radius, 0, math.pi), [(-radius, 90)])
    layout.add("Tail", "L", "C", (0, radius, math.pi / 2), [(0, 900.0)])
    layout.turnouts = {
        "J": ("West", ["Middle", "Left"]),
        "K": ("East", ["Middle", "Right"]),
        "L": ("Tail", ["Left", "Right"]),
    }
    layout.heights = {"A": 0, "J": 4, "K": 12, "L": 20, "B": 16, "C": 38}
    layout.routes = [("A", "C"), ("B", "C"), ("A", "B")]
    return layout


def a_ladder(chance):
    layout = Layout()
    at, before, height = (0.0, 0.0, 0.0), "A", 0.0
    layout.heights["A"] = height
    radius, angle = round(chance.uniform(500, 900), 1), chance.randint(3, 5) * 6
    for number in range(3):
        joint = f"J{number}"
        lead = chance.uniform(250, 500)
        end = layout.add(f"Lead{number}", before, joint, at, [(0, lead)])
        height += 0.012 * lead
        track = [(-radius, angle), (0, chance.uniform(400, 700))]
        layout.add(f"Yard{number}", joint, f"Y{number}", end, track)
        layout.turnouts[joint] = (f"Lead{number}", [f"Lead{number + 1}", f"Yard{number}"])
        layout.heights |= {joint: height, f"Y{number}": height + 0.01 * length_of(track)}
        layout.routes.append(("A", f"Y{number}"))
        at, before = end, joint
    layout.add("Lead3", before, "B", at, [(0, 600.0)])
    layout.heights["B"] = height + 9
    layout.routes.append(("A", "B"))
    return layout


# Drawing them


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


def line_of(space, start, length):
    x, y, heading = start
    space.add_line((x, y), (x + length * math.cos(heading), y + length * math.sin(heading)), dxfattribs=ON)


def as_arcs(_document, space, radius, start, amount):
    if not radius:
        return line_of(space, start, amount)
    center, low, high = arc_of(radius, start, amount)
    return space.add_arc(center, abs(radius), low, high, dxfattribs=ON)


def as_splines(_document, space, radius, start, amount):
    if not radius:
        return line_of(space, start, amount)
    from ezdxf.math import Vec3, fit_points_to_cad_cv

    (x, y), *_ = arc_of(radius, start, amount)
    hand = math.copysign(1, radius)
    count = math.ceil(amount / 5)
    turns = [start[2] - hand * (math.pi / 2 - math.radians(amount) * number / count) for number in range(count + 1)]
    points = [(x + abs(radius) * math.cos(angle), y + abs(radius) * math.sin(angle)) for angle in turns]
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


def chords_of(layout, name, step=6):
    """Return the vertices of a line in space, mm, evenly along each arc."""
    start, finish, at, parts = layout.lines[name]
    low, high = layout.heights[start], layout.heights[finish]
    spots, passed = [(*at[:2], 0.0)], 0.0
    for radius, (x, y, heading), amount in pieces(at, parts):
        if radius is None:
            break
        count = math.ceil(amount / step) if radius else 1
        length = abs(radius) * math.radians(amount) if radius else amount
        for number in range(1, count + 1):
            along = length * number / count
            if radius:
                turn = along / radius
                there = (
                    x + radius * (math.sin(heading + turn) - math.sin(heading)),
                    y - radius * (math.cos(heading + turn) - math.cos(heading)),
                )
            else:
                there = x + along * math.cos(heading), y + along * math.sin(heading)
            spots.append((*there, passed + along))
        passed += length
    return [(x, y, low + (high - low) * along / passed) for x, y, along in spots]


def each(way):
    def add(_chance, document, space, layout):
        for _, _, at, parts in layout.lines.values():
            for radius, place, amount in pieces(at, parts):
                if radius is not None:
                    way(document, space, radius, place, amount)

    return add


def add_shuffled(chance, _document, space, layout):
    each(as_arcs)(chance, None, space, layout)
    entities = list(space)
    chance.shuffle(entities)
    for entity in entities:
        space.unlink_entity(entity)
        space.add_entity(entity)
        if entity.dxftype() == "LINE" and chance.random() < 0.5:
            entity.dxf.start, entity.dxf.end = entity.dxf.end, entity.dxf.start


def add_bulges(_chance, _document, space, layout):
    for _, _, at, parts in layout.lines.values():
        rows = [
            (x, y, math.tan(math.copysign(math.radians(amount), radius) / 4) if radius else 0.0)
            for radius, (x, y, _), amount in pieces(at, parts)
        ]
        space.add_lwpolyline(rows, format="xyb", dxfattribs={"layer": "Track"})


def add_polylines(_chance, _document, space, layout):
    for name in layout.lines:
        spots = [spot[:2] for spot in chords_of(layout, name)]
        space.add_polyline2d(spots, dxfattribs={"layer": "Track"})


def separate(chance, space, segments):
    chance.shuffle(segments)
    for start, end in segments:
        ends = (start, end) if chance.random() < 0.5 else (end, start)
        space.add_line(*ends, dxfattribs={"layer": "Track"})


def segments_of(layout, dimensions=2):
    return [
        (start[:dimensions], end[:dimensions])
        for name in layout.lines
        for start, end in itertools.pairwise(chords_of(layout, name))
    ]


def add_chords(chance, _document, space, layout):
    separate(chance, space, segments_of(layout))


def add_split(chance, _document, space, layout):
    halves = []
    for start, end in segments_of(layout):
        share = chance.uniform(0.2, 0.8)
        middle = tuple(one + share * (other - one) for one, other in zip(start, end, strict=True))
        halves += [(start, middle), (middle, end)]
    separate(chance, space, halves)


def stretched(chance, layout, most):
    """Return segments that are longer, or shorter where `most` is negative, within each line by up to so much, mm.

    The ends of lines stay where they are: a line that is drawn short is short.
    """
    found = []
    for name in layout.lines:
        spots = [spot[:2] for spot in chords_of(layout, name)]
        for number, (start, end) in enumerate(itertools.pairwise(spots)):
            before = most * chance.random() if number else 0
            after = most * chance.random() if number < len(spots) - 2 else 0
            shares = -before / math.dist(start, end), 1 + after / math.dist(start, end)
            found.append(
                [tuple(one + share * (other - one) for one, other in zip(start, end, strict=True)) for share in shares]
            )
    return found


def add_overlapping(chance, _document, space, layout):
    separate(chance, space, stretched(chance, layout, 0.3))


def add_gaps(chance, _document, space, layout):
    separate(chance, space, stretched(chance, layout, -0.8))


def add_in_space(chance, _document, space, layout):
    separate(chance, space, segments_of(layout, 3))


WAYS = {
    "arcs": (each(as_arcs), 0.02),
    "shuffled": (add_shuffled, 0.02),
    "bulges": (add_bulges, 0.02),
    "polylines": (add_polylines, 0.06),
    "chords": (add_chords, 0.06),
    "split": (add_split, 0.06),
    "overlapping": (add_overlapping, 0.06),
    "gaps": (add_gaps, 0.06),
    "in space": (add_in_space, 0.06),
    "splines": (each(as_splines), 0.06),
    "blocks": (each(as_blocks), 0.02),
}
"""How each is drawn, and how far the ruling grade may be off, percentage points."""


def texts(layout, space, heights):
    places = {}
    for name, (start, finish, _, _) in layout.lines.items():
        spots = chords_of(layout, name)
        places |= {start: spots[0], finish: spots[-1]}
    for joint, (x, y, _) in places.items():
        space.add_text(joint, dxfattribs={"layer": "Track"}).set_placement((x, y + 2))
        if heights:
            height = f"{layout.heights[joint]:.6f}"
            space.add_text(height, dxfattribs={"layer": "Heights"}).set_placement((x, y - 2))


def assert_same(folder, shape, way, seed=0, version="R2010"):
    chance = random.Random(f"{shape.__name__} {way} {seed}")
    layout = shape(chance)
    (folder / "text.toml").write_text(layout.plan(), "utf-8")
    expected = check(load_plan(folder / "text.toml"))
    document, space = new(version, MM)
    add, off = WAYS[way]
    add(chance, document, space, layout)
    texts(layout, space, heights=way != "in space")
    document.saveas(folder / "tarn.dxf", fmt="bin" if version == "R2004" else "asc")
    (folder / "tarn.toml").write_text(layout.drawn_plan(), "utf-8")
    found = check(load_plan(folder / "tarn.toml"))
    assert len(found.routes) == len(expected.routes) == len(layout.routes)
    for one, other in zip(found.routes, expected.routes, strict=True):
        assert one.profile.length == pytest.approx(other.profile.length, rel=1e-3)
        assert 100 * one.ruling.effective == pytest.approx(100 * other.ruling.effective, abs=off)
        for ours, theirs in zip(one.loads, other.loads, strict=True):
            assert (ours.power, ours.car, ours.rail) == (theirs.power, theirs.car, theirs.rail)
            assert ours.rated == pytest.approx(theirs.rated, abs=1)


@pytest.mark.parametrize("seed", range(SEEDS))
@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("shape", [a_line, a_siding, a_wye, a_ladder])
def test_it_answers_as_its_text_does(tmp_path, shape, way, seed):
    assert_same(tmp_path, shape, way, seed)


@pytest.mark.parametrize("version", ["R12", "R2000", "R2004", "R2007", "R2013", "R2018"])
@pytest.mark.parametrize("way", ["blocks", "polylines"])
def test_it_answers_the_same_in_every_version(tmp_path, way, version):
    assert_same(tmp_path, a_siding, way, version=version)


@pytest.mark.parametrize("joined", [False, True])
@pytest.mark.parametrize(
    "parts",
    [
        [(0.5, 0), (0.6, 24), (0.5, 0)],
        [(0.6, 24), (0.5, 0)],
        [(0.5, 0), (0.6, 24)],
        [(0.5, 0), (0.6, 24), (0.3, 0), (0.9, -24), (0.5, 0)],
        [(0.5, 0), (0.6, 24), (0.6, -24), (0.5, 0)],
    ],
)
@pytest.mark.parametrize("count", [1, 2])
def test_curves_of_one_or_two_chords_of_12_degrees_come_back(tmp_path, parts, joined, count):
    if count == 1 and len(parts) % 2 == 0:
        pytest.skip("one chord is a curve by itself only between straights")
    parts = [(size, angle * count / 2) for size, angle in parts]
    corners, heading = [(0.0, 0.0)], 0.0
    for size, angle in parts:
        for chord in (12,) * count if angle else (0,):
            half = math.copysign(math.radians(chord) / 2, angle)
            length = 2 * size * math.sin(abs(half)) if angle else size
            heading += half
            x, y = corners[-1]
            corners.append((x + length * math.cos(heading), y + length * math.sin(heading)))
            heading += half
    document, space = new(units=6)
    if joined:
        space.add_lwpolyline(corners)
    else:
        for start, end in itertools.pairwise(corners):
            space.add_line(start, end)
    document.saveas(tmp_path / "tarn.dxf")
    found = import_drawing(str(tmp_path / "tarn.dxf"), None, ImportOptions(scale="HO"))
    (line,) = found.drawn.lines.values()
    own = [(round(1 / abs(e.curvature), 6) if e.curvature else round(e.length, 6)) for e in line.elements]
    assert own in ([size for size, _ in parts], [size for size, _ in parts[::-1]])


def test_forty_five_closed_splines_are_read_in_near_linear_work(tmp_path, monkeypatch):
    from gradehaul.plan.drawing.fitting import runs

    searched = []
    search = runs.search
    monkeypatch.setattr(runs, "search", lambda points, *more: searched.append(len(points)) or search(points, *more))
    document, space = new(units=4)
    for number in range(45):
        x, y = 2000 * (number % 9), 2000 * (number // 9)
        wave = [(math.radians(45 * n), 600 + 75 * (n * 5 % 8)) for n in range(8)]
        corners = [(x + radius * math.cos(angle), y + radius * math.sin(angle)) for angle, radius in wave]
        space.add_spline().set_closed([(*corner, 0) for corner in corners])
    document.saveas(tmp_path / "tarn.dxf")
    found = import_drawing(str(tmp_path / "tarn.dxf"), None, ImportOptions(scale="HO"))
    assert len(found.drawn.lines) == 45
    assert searched == []  # a free curve is followed by pairs of arcs
