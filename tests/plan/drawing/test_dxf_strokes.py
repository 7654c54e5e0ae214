"""From entities to strokes: closed forms, mirrored and askew placings, and chords that keep to their curves."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gradehaul.plan.drawing.assembly import assemble
from gradehaul.plan.drawing.dxf.curves import Budget, chords
from gradehaul.plan.drawing.fitting import fit_stroke
from gradehaul.plan.drawing.records import terms
from plan.drawing.dxf_files import ON, farthest, length, line, new, plain, read, sampled, saved, strokes, written
from plan.drawing.test_fitting import distances


def test_an_arc_is_one_segment_and_a_circle_two(tmp_path):
    document, space = new()
    space.add_arc((1, 2), 0.5, 350, 40, dxfattribs=ON)
    space.add_circle((1, 2), 0.5, dxfattribs=ON)
    space.add_arc((0, 0), 1, 0, 270, dxfattribs=ON)
    arc, circle, wide = strokes(document, tmp_path)
    np.testing.assert_allclose(
        arc.points[0], (1 + 0.5 * math.cos(math.radians(350)), 2 + 0.5 * math.sin(math.radians(350)))
    )
    np.testing.assert_allclose(arc.bulges, [math.tan(math.radians(50) / 4)])
    np.testing.assert_allclose(circle.bulges, [1, 1])
    assert (circle.points[0] == circle.points[-1]).all()
    np.testing.assert_allclose(wide.bulges, math.tan(math.radians(135) / 4))
    assert arc.exact
    assert circle.exact
    assert wide.exact
    assert length(sampled(wide, 4000)) == pytest.approx(1.5 * math.pi, rel=1e-6)


def test_an_enormous_arc_stays_one_segment(tmp_path):
    document, space = new()
    space.add_arc((0, 9e5), 9e5, 270, 270.001, dxfattribs=ON)
    (stroke,) = strokes(document, tmp_path)
    assert len(stroke.bulges) == 1
    np.testing.assert_allclose(stroke.bulges, math.tan(math.radians(0.001) / 4), rtol=1e-9)


def test_an_arc_drawn_from_below_is_mirrored(tmp_path):
    document, space = new()
    space.add_arc((1, 0), 1, 0, 90, dxfattribs={**ON, "extrusion": (0, 0, -1)})
    space.add_lwpolyline([(0, 0, 1), (2, 0, 0)], format="xyb", dxfattribs={**ON, "extrusion": (0, 0, -1)})
    arc, polyline = strokes(document, tmp_path)
    np.testing.assert_allclose(arc.points, [(-2, 0), (-1, 1)], atol=1e-12)
    np.testing.assert_allclose(arc.bulges, [-math.tan(math.pi / 8)])
    np.testing.assert_allclose(polyline.points, [(0, 0), (-2, 0)], atol=1e-12)
    np.testing.assert_allclose(polyline.bulges, [-1])


def test_polylines(tmp_path):
    document, space = new()
    space.add_lwpolyline([(0, 0), (1, 0), (2, 1)], dxfattribs=ON)
    space.add_lwpolyline([(0, 0), (1, 0)], dxfattribs=ON)
    space.add_lwpolyline([(0, 0, 0), (1, 0, 0.2), (2, 1, 0)], format="xyb", dxfattribs=ON)
    space.add_lwpolyline([(0, 0), (1, 0), (1, 1)], close=True, dxfattribs=ON)
    space.add_polyline3d([(0, 0, 0), (1, 0, 0.1), (2, 0, 0.2)], dxfattribs=ON)
    space.add_lwpolyline([(0, 0), (1, 0)], dxfattribs={**ON, "elevation": 0.3})
    chain, single, bulged, ring, climb, raised = strokes(document, tmp_path)
    assert not chain.exact  # chords of a curve, perhaps: the fit will tell
    assert single.exact
    assert bulged.exact
    assert bulged.bulges.tolist() == [0, 0.2]
    assert len(ring.points) == 4
    assert (ring.points[0] == ring.points[-1]).all()
    np.testing.assert_allclose(climb.heights, [0, 0.1, 0.2])
    np.testing.assert_allclose(raised.heights, [0.3, 0.3])
    assert chain.heights is None


def test_closed_polylines_that_end_where_they_began_and_pairs_of_points(tmp_path):
    document, space = new()
    space.add_lwpolyline([(0, 0), (1, 0), (1, 1), (0, 0)], close=True, dxfattribs=ON)
    space.add_lwpolyline([(0, 0), (1, 0)], close=True, dxfattribs=ON)
    space.add_lwpolyline([(0, 0, 1), (1, 0, 1)], format="xyb", close=True, dxfattribs=ON)
    drawing = read(saved(document, tmp_path))
    ring, there, back, circle = drawing.strokes
    assert len(ring.points) == 4
    assert there.exact
    assert there.points.tolist() == back.points[::-1].tolist()
    assert circle.bulges.tolist() == [1, 1]
    assert drawing.faults == ()


def test_what_leads_straight_there_and_back_is_kept_once_and_named(tmp_path):
    document, space = new()
    space.add_lwpolyline([(0, 0), (1, 0)], close=True, dxfattribs=ON)
    space.add_lwpolyline([(0, 1), (1, 1), (0, 1)], dxfattribs=ON)
    drawn = assemble(read(saved(document, tmp_path)), terms(0.0165, "mm", ["*"]))
    assert [line.length for line in drawn.lines.values()] == [1, 1]
    assert [(each.code, each.weight) for each in drawn.faults] == [("overlap", 1), ("overlap", 1)]
    assert drawn.faults[0].text == "1000.0 mm of track drawn again, over itself: kept once"


@pytest.mark.parametrize("tolerance", [2e-5, 1e-3])
def test_an_ellipse_keeps_to_its_arcs(tmp_path, tolerance):
    document, space = new()
    space.add_ellipse((1, 1), (0.9, 0.3), 0.4, 0.3, 5, dxfattribs=ON)
    (stroke,) = strokes(document, tmp_path, tolerance=tolerance)
    assert stroke.exact
    at = np.linspace(0.3, 5, 3000)
    curve = np.array((1, 1)) + np.outer(np.cos(at), (0.9, 0.3)) + 0.4 * np.outer(np.sin(at), (-0.3, 0.9))
    assert farthest(curve, sampled(stroke)) < 1.05 * tolerance
    assert farthest(sampled(stroke, 8), curve) < 1.05 * tolerance
    np.testing.assert_allclose(stroke.points[[0, -1]], curve[[0, -1]], atol=1e-12)
    assert len(stroke.bulges) < 3 / tolerance ** (1 / 3)
    turn = 4 * np.arctan(stroke.bulges)
    chord = np.unwrap(np.arctan2(*np.diff(stroke.points, axis=0).T[::-1]))
    np.testing.assert_allclose(np.diff(chord), (turn[:-1] + turn[1:]) / 2, atol=1e-9)  # each the tangent of the next


@pytest.mark.parametrize("off", [0.0, 5e5])
def test_a_tiny_ellipse_has_its_length(tmp_path, off):
    document, space = new()
    space.add_ellipse((off, 0), (0.0009, 0), 0.97, dxfattribs=ON)
    (stroke,) = strokes(document, tmp_path, tolerance=8e-5)
    assert len(stroke.bulges) < 40
    assert length(sampled(stroke)) == pytest.approx(math.pi * 0.0009 * (1 + 0.97), rel=0.01)


def test_a_round_ellipse_is_an_arc(tmp_path):
    document, space = new()
    space.add_ellipse((1, 1), (0, 0.5), 1.0, 0, math.pi / 2, dxfattribs=ON)
    (stroke,) = strokes(document, tmp_path)
    assert stroke.exact
    np.testing.assert_allclose(stroke.points, [(1, 1.5), (0.5, 1)], atol=1e-12)


@pytest.mark.parametrize(
    ("major", "minor"),
    [
        (
            (1, 0.5, 1),
            (0.5, 1, -1),
        ),  # round as it stands, and as long one way as the other in plan, but not square there
        ((1, 0, 0.5), (0, 1, 0)),  # round in plan, but it climbs
    ],
)
@pytest.mark.parametrize("size", [0.3, 30])
def test_an_ellipse_that_stands_askew_is_no_arc(tmp_path, major, minor, size):
    document, space = new()
    u, v = size * np.array(major, float), size * np.array(minor, float)
    ratio = np.linalg.norm(v) / np.linalg.norm(u)
    more = {**ON, "extrusion": tuple(np.cross(u, v))}
    space.add_ellipse((1, 1, 0), tuple(u), ratio, 0, math.pi / 2, dxfattribs=more)
    (stroke,) = strokes(document, tmp_path)
    at = np.linspace(0, math.pi / 2, 500)
    curve = np.array((1, 1, 0)) + np.outer(np.cos(at), u) + np.outer(np.sin(at), v)
    assert len(stroke.bulges) > 2
    assert farthest(curve[:, :2], sampled(stroke)) < 1e-4 * size
    assert stroke.heights[[0, -1]] == pytest.approx(curve[[0, -1], 2])
    nearest = np.argmin(np.hypot(*(stroke.points[:, None] - curve[:, :2]).transpose(2, 0, 1)), axis=1)
    np.testing.assert_allclose(stroke.heights, curve[nearest, 2], atol=5e-3 * size)


def test_a_curve_that_ends_where_it_began_has_its_length():
    ends = np.array([0, math.tau])
    points = chords(lambda at: np.column_stack((np.cos(at), np.sin(at % math.tau), 0 * at)), ends, Budget(1e-4))
    assert length(points[:, :2]) == pytest.approx(math.tau, rel=1e-3)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    kind=st.sampled_from(["clamped", "rational", "fit", "closed"]),
    seed=st.integers(0, 10**6),
    count=st.integers(5, 16),
    degree=st.integers(2, 5),
)
def test_a_spline_keeps_to_its_chords_and_its_arcs_to_both(tmp_path_factory, kind, seed, count, degree):
    chance = np.random.default_rng(seed)
    if kind == "closed":
        angle, far = np.linspace(0, math.tau, count, endpoint=False), 0.9 * (1 + chance.uniform(-0.1, 0.1, count))
        corners = np.column_stack((far * np.cos(angle), far * np.sin(angle)))
    else:
        heading = np.cumsum(chance.uniform(-0.5, 0.5, count))
        corners = np.cumsum(0.15 * np.column_stack((np.cos(heading), np.sin(heading))), axis=0)
    corners = np.column_stack((corners, chance.uniform(0, 0.1, count))).tolist()
    document, space = new()
    degree = min(degree, count - 1)
    if kind == "clamped":
        spline = space.add_open_spline(corners, degree=degree, dxfattribs=ON)
    elif kind == "rational":
        spline = space.add_rational_spline(corners, chance.uniform(0.5, 2, count).tolist(), degree, dxfattribs=ON)
    elif kind == "closed":
        spline = space.add_spline(dxfattribs=ON)
        spline.set_closed(corners, degree)
    else:
        spline = space.add_spline(corners, dxfattribs=ON)
    (stroke,) = strokes(document, tmp_path_factory.mktemp("spline"), tolerance=8e-5)
    curve = spline.construction_tool()
    ends = (curve.knots()[degree], curve.knots()[-degree - 1]) if kind == "closed" else (0, curve.max_t)
    there = np.array([point.xyz for point in curve.points(np.linspace(*ends, 1500))])[:, :2]
    assert farthest(there, stroke.points) < 8.8e-5
    assert farthest(stroke.points, there) < 8.8e-5
    assert not stroke.exact
    assert len(stroke.points) < 600
    reaches, _ = fit_stroke(stroke, tolerance=8e-4, kink=math.radians(5))
    assert np.min([distances(reach, there) for reach in reaches], axis=0).max() < 8e-4
    assert sum(e.length for reach in reaches for e in reach.elements) == pytest.approx(length(there), rel=2e-3)


def test_an_enormous_curve_has_only_so_many_parts(tmp_path):
    document, space = new()
    space.add_ellipse((0, 0), (3e5, 0), 0.5, dxfattribs=ON)
    (stroke,) = strokes(document, tmp_path)
    assert 100 < len(stroke.points) < 1000


def test_what_has_no_length_is_left_out_and_told(tmp_path):
    document, space = new()
    space.add_line((0, 0), (1, 0), dxfattribs=ON)
    nothing = [
        space.add_line((3, 4), (3, 4, 5), dxfattribs=ON),
        space.add_circle((0, 0), 0, dxfattribs=ON),
        space.add_lwpolyline([(1, 1)], dxfattribs=ON),
        space.add_lwpolyline([(1, 1), (1, 1)], dxfattribs=ON),
    ]
    space.add_lwpolyline([(0, 0, 0.5), (1, 0, 0.7), (1, 0, 0.2), (2, 0, 0)], format="xyb", dxfattribs=ON)
    drawing = read(saved(document, tmp_path))
    assert len(drawing.strokes) == 2
    assert drawing.strokes[1].bulges.tolist() == [0.5, 0.2]
    assert len(drawing.strokes[1].points) == 3
    assert [fault.code for fault in drawing.faults] == ["zero-length"] * 5
    assert [fault.handle for fault in drawing.faults][:4] == [entity.dxf.handle for entity in nothing]
    assert drawing.faults[0].spot == (3, 4, None)


def curves_of(entity):
    """Return points of an entity's parts in its block, shape (n, 3) each, by the library's own calculation."""
    if entity.dxftype() == "LINE":
        return [np.array([entity.dxf.start.xyz, entity.dxf.end.xyz])]
    if entity.dxftype() == "LWPOLYLINE":
        return [curve for part in entity.virtual_entities() for curve in curves_of(part)]
    return [np.array([point.xyz for point in entity.flattening(1e-4)])]


def placings(insert):
    """Return the matrices by which the library would place the blocks in a block, innermost coordinates first."""
    for each in insert.multi_insert():
        for inner in each.block():
            for copy in inner.multi_insert():
                yield np.array(list(copy.matrix44().rows())) @ np.array(list(each.matrix44().rows()))


sizes = st.floats(0.3, 3) | st.floats(-3, -0.3)
places = st.tuples(*[st.floats(-3, 3)] * 3)
directions = st.sampled_from([(0, 0, 1), (0, 0, -1), (0.2, -0.4, 0.9), (1, 0, 0.5)])
inserts = st.fixed_dictionaries(
    {
        "xscale": sizes,
        "yscale": sizes,
        "zscale": sizes,
        "rotation": st.floats(-180, 360),
        "extrusion": directions,
        "insert": places,
        "column_count": st.integers(1, 2),
        "row_count": st.integers(1, 2),
        "column_spacing": st.floats(1, 2),
        "row_spacing": st.floats(1, 2),
    }
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(outer=inserts, inner=inserts, base=places, direction=directions)
def test_nested_placings_agree_with_the_library_s_own(tmp_path_factory, outer, inner, base, direction):
    document, space = new()
    shapes = document.blocks.new("shapes", base_point=base)
    shapes.add_line((0, 0, 0), (1, 0.5, 0.3), dxfattribs=ON)
    shapes.add_arc((0.5, 0.2, 0.1), 0.7, 20, 250, dxfattribs={**ON, "extrusion": direction})
    shapes.add_ellipse((0, 1, 0), (1, 0.2, 0), 0.5, 0.1, 4, dxfattribs=ON)
    points = [(0, 0, 0.4), (1, 0, -0.3), (1, 1, 0), (2, 1, 0)]
    shapes.add_lwpolyline(points, format="xyb", dxfattribs={**ON, "extrusion": direction, "elevation": 0.2})
    document.blocks.new("outer").add_blockref("shapes", (0, 0), dxfattribs=inner)
    insert = space.add_blockref("outer", (0, 0), dxfattribs=outer)

    path = saved(document, tmp_path_factory.mktemp("nested"))
    found = [sampled(stroke, 400 if len(stroke.bulges) < 4 else 30) for stroke in read(path, tolerance=1e-4).strokes]
    theirs = [c @ m[:3, :3] + m[3, :3] for m in placings(insert) for shape in shapes for c in curves_of(shape)]
    points = shapely.points(np.concatenate(theirs)[:, :2])
    chords = shapely.STRtree(shapely.linestrings([pair for line in found for pair in itertools.pairwise(line)]))
    _, off = chords.query_nearest(points, all_matches=False, return_distance=True)
    assert (len(off), off.max() < 2e-4) == (len(points), True)
    assert sum(map(length, found)) == pytest.approx(sum(length(each[:, :2]) for each in theirs), rel=0.01)


def test_an_arc_that_is_sheared_is_no_arc(tmp_path):
    document, space = new()
    document.blocks.new("arc").add_arc((0, 0), 1, 0, 90, dxfattribs=ON)
    document.blocks.new("turned").add_blockref("arc", (0, 0), dxfattribs={"rotation": 45})
    space.add_blockref("turned", (0, 0), dxfattribs={"xscale": 2})
    (stroke,) = strokes(document, tmp_path)
    x, y = sampled(stroke).T
    np.testing.assert_allclose((x / 2) ** 2 + y**2, 1, atol=1e-4)
    assert len(stroke.bulges) > 2


def test_an_arc_scaled_alike_stays_an_arc_and_else_becomes_more(tmp_path):
    document, space = new()
    document.blocks.new("arc").add_arc((0, 0), 1, 0, 90, dxfattribs=ON)
    for x, y in ((-2, 2), (2, 1)):
        space.add_blockref("arc", (0, 0), dxfattribs={"xscale": x, "yscale": y})
    mirrored, askew = strokes(document, tmp_path)
    assert mirrored.exact
    assert mirrored.bulges.tolist() == pytest.approx([-math.tan(math.pi / 8)])
    assert len(askew.bulges) > 2
    x, y = sampled(askew).T
    np.testing.assert_allclose((x / 2) ** 2 + y**2, 1, atol=1e-4)


def test_an_insert_without_height_lies_flat(tmp_path):
    climb = line().replace("31\n0\n", "31\n2\n")
    block = f"0\nBLOCK\n8\n0\n2\nB\n70\n0\n10\n0\n20\n0\n30\n0\n3\nB\n{climb}0\nENDBLK\n8\n0\n"
    insert = "0\nINSERT\n8\n0\n2\nB\n10\n0\n20\n0\n30\n0.5\n43\n0\n"
    (stroke,) = read(written(tmp_path, plain(insert, blocks=block))).strokes
    np.testing.assert_allclose(stroke.points, [(0, 0), (1, 0)])
    np.testing.assert_allclose(stroke.heights, [0.5, 0.5])


def test_a_helix_is_read(tmp_path):
    document, space = new()
    helix = space.add_helix(radius=0.6, pitch=0.08, turns=2.5, dxfattribs=ON)
    (stroke,) = strokes(document, tmp_path)
    assert stroke.kind == helix.dxftype() == "HELIX"
    np.testing.assert_allclose(np.hypot(*stroke.points.T), 0.6, atol=1e-3)
    assert stroke.heights[-1] == pytest.approx(0.2)


def test_a_straight_that_is_all_but_curved(tmp_path):
    entities = line() + (
        "0\nPOLYLINE\n5\n40\n8\nTrack\n66\n1\n0\nVERTEX\n8\nTrack\n10\n0\n20\n0\n42\n1e-9\n"
        "0\nVERTEX\n8\nTrack\n10\n1\n20\n0\n0\nSEQEND\n"
    )
    stroke = read(written(tmp_path, plain(entities))).strokes[1]
    assert stroke.bulges.tolist() == [0]
