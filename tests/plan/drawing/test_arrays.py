"""What is calculated on arrays, for speed, against the same one by one."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.plan.drawing.assembly import reaches_of
from gradehaul.plan.drawing.elements import cut, gap, height, in_plan, in_space, nearest, order, place, reverse, whole
from gradehaul.plan.drawing.elements import heading as heading_at
from gradehaul.plan.drawing.fitting import fit_stroke
from gradehaul.plan.drawing.linking.overlaps import _runs
from gradehaul.plan.drawing.nearness import Nearness, components, pairs
from gradehaul.plan.drawing.records import Spot, Stroke
from gradehaul.plan.drawing.rows import Rows
from plan.drawing.pen import arc, draw, straight

coordinates = st.integers(-20, 20).map(lambda value: value / 8)
spots = st.lists(st.builds(Spot, coordinates, coordinates, st.none() | coordinates), max_size=40)


@given(spots, st.sampled_from([0.125, 0.25, 0.3, 1.0, 10.0]))
def test_pairs_of_points_are_those_of_every_pair_compared(points, distance):
    expected = [
        [one, other]
        for one in range(len(points))
        for other in range(len(points))
        if gap(points[one], points[other]) <= distance
    ]
    table = in_plan(points)
    assert np.column_stack(pairs(table, distance, table)).tolist() == expected
    assert np.column_stack(pairs(table, distance)).tolist() == [[one, other] for one, other in expected if one < other]


def test_pairs_far_from_one_another_and_from_the_origin():
    points = [Spot(-1e6, 1e6), Spot(-1e6 + 1e-3, 1e6), Spot(1e6, -1e6), Spot(1e6, -1e6 + 5e-4), Spot(0, 0)]
    assert np.column_stack(pairs(in_plan(points), 2e-3)).tolist() == [[0, 1], [2, 3]]
    assert np.column_stack(pairs(in_plan(points), 7e-4)).tolist() == [[2, 3]]
    beyond = np.array([(0.0, 0.0), (1e25, 1e25), (0.0, 5e-4)])  # more cells across than whole numbers count
    assert np.column_stack(pairs(beyond, 1e-3)).tolist() == [[0, 2]]


@given(st.lists(st.builds(Spot, *[st.floats(-1e6, 1e6)] * 2, st.none() | st.floats(-10, 10)), max_size=20))
def test_whole_micrometers_are_each_point_s_order(points):
    assert [tuple(row) for row in whole(in_space(points)).tolist()] == [order(point) for point in points]


@pytest.mark.parametrize("seed", range(5))
def test_places_beside_points_are_those_of_every_pair_compared(seed):
    random = np.random.default_rng(seed)
    ways = []
    for number in range(40):
        x, y, heading = random.uniform(-1, 1, 3) * (1, 1, math.pi)
        size = (1.0, 1.0, 0.01, 30.0)[number % 4]
        tracks = random.uniform((0.05, -3), (0.9, 3), (3, 2)) * (size, 1 / size)
        own = draw((float(x), float(y), float(heading)), [*map(tuple, tracks.tolist()), (0.4 * size, 0.0)], str(number))
        ways.append(own)
    elements = [element for way in ways for element in way]
    points = [Spot(float(x), float(y)) for x, y in random.uniform(-1.5, 1.5, (60, 2))]
    near = Nearness(Rows.of(ways)).beside(in_plan(points), 0.05, 0.3)
    expected = {
        (which, number): nearest(element, point)
        for which, point in enumerate(points)
        for number, element in enumerate(elements)
        if gap(point, place(element, nearest(element, point))) <= 0.05
    }
    assert list(zip(near.which.tolist(), near.number.tolist(), strict=True)) == sorted(expected)
    assert len(expected) > 20
    for which, number, along, row, since, off, aside, turn in near.feet():
        element, point = elements[number], points[which]
        there = place(element, along)
        assert along == pytest.approx(expected[which, number], abs=1e-9)
        assert off == pytest.approx(gap(point, there), abs=1e-9)
        assert aside == pytest.approx((there.y - point.y) * math.cos(0.3) - (there.x - point.x) * math.sin(0.3))
        assert math.cos(2 * turn) == pytest.approx(math.cos(2 * (heading_at(element, along) - 0.3)))
        assert row == number // 4
        assert since == pytest.approx(sum(each.length for each in ways[row][: number % 4]) + along)


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30)), max_size=30))
def test_components_are_those_of_a_walk_from_each(pairs):
    label = components(31, pairs).tolist()
    for start in range(31):
        reached, waiting = {start}, [start]
        while waiting:
            here = waiting.pop()
            onward = {other for pair in pairs if here in pair for other in pair} - reached
            reached |= onward
            waiting += onward
        assert label[start] == min(reached)


strokes = st.lists(
    st.builds(
        lambda x, y, turn, heights, exact: Stroke(
            "2F",
            "TRACK",
            "ARC",
            np.array([(0.0, 0.0), (x, y)]),
            np.array([math.tan(turn / 4)]),
            exact,
            heights and np.array(heights),
        ),
        st.sampled_from([1e-6, 0.3, 1.0, -2.5]),
        st.sampled_from([0.0, 0.5, -1.0]),
        st.sampled_from([0.0, 0.3, -1.2, 3.1, -5.0]),
        st.none() | st.tuples(coordinates, coordinates),
        st.booleans(),
    ),
    max_size=6,
)


@given(strokes)
def test_single_lines_and_arcs_are_what_the_fitting_makes_of_them(drawn):
    drawn.append(Stroke("3A", "TRACK", "LWPOLYLINE", np.array([(0.0, 0), (1, 0), (2, 1)]), np.zeros(2), exact=True))
    found, faults = reaches_of(drawn, tolerance=8e-4, kink=0.09)
    each = [fit_stroke(stroke, tolerance=8e-4, kink=0.09) for stroke in drawn]
    assert faults == [fault for _, own in each for fault in own]
    expected = [reach for own, _ in each for reach in own]
    assert found.closed.tolist() == [reach.closed for reach in expected]
    for ours, theirs in zip(found.rows(), expected, strict=True):
        for one, other in zip(ours, theirs.elements, strict=True):
            assert one.start == other.start
            assert one.end == other.end
            figures = (other.heading, other.curvature, other.length)
            assert (one.heading, one.curvature, one.length) == pytest.approx(figures, abs=1e-12, rel=1e-12)
            assert one.radius_spread == other.radius_spread


def test_a_tolerance_must_be_above_0():
    stroke = Stroke("2F", "TRACK", "LINE", np.array([(0.0, 0), (1, 0)]), np.zeros(1), exact=True)
    with pytest.raises(ValueError, match="above 0"):
        reaches_of([stroke], tolerance=0, kink=0.1)


def assert_alike(found, expected):
    """Compare elements, whatever the rounding and whichever way round a straight's curvature of 0 is signed."""
    assert len(found) == len(expected)
    for one, other in zip(found, expected, strict=True):
        assert (one.handle, one.layer, one.radius_spread) == (other.handle, other.layer, other.radius_spread)
        assert math.remainder(one.heading - other.heading, math.tau) == pytest.approx(0, abs=1e-9)
        figures = [(*each.start, *each.end, each.curvature, each.length, *sum(each.inner, ())) for each in (one, other)]
        assert figures[0] == pytest.approx(figures[1], abs=1e-9)


@given(st.integers(0, 2**32), st.booleans())
def test_columns_do_what_is_done_to_records_one_by_one(seed, flat):
    random = np.random.default_rng(seed)
    ways = []
    for number in range(int(random.integers(1, 5))):
        tracks = [(float(length), float(bend)) for length, bend in random.uniform((0.05, -3), (0.9, 3), (3, 2))]
        own = draw((0.3, -0.2, 1.0), tracks, f"{number}", heights=None if flat else (0.1, 0.02))
        middle = () if flat else ((0.25, 0.3), (0.75, 0.2))
        ways.append([own[0], own[1]._replace(inner=middle), own[2]._replace(radius_spread=0.01)])
    rows, every = Rows.of(ways), [element for way in ways for element in way]
    ends = 2 * random.permutation(len(ways)) + random.integers(0, 2, len(ways))
    entered = [reverse(ways[end // 2]) if end % 2 else ways[end // 2] for end in ends]
    for ours, theirs in zip(rows.run(ends).rows(), entered, strict=True):
        assert_alike(ours, theirs)
    assert_alike(rows.run(ends, np.array([0, len(ends)])).row(0), [element for row in entered for element in row])
    number = int(random.integers(len(every)))
    on = float(random.uniform(0.1, 0.9)) * every[number].length
    parts = rows.split(np.array([number]), np.array([on]))
    assert_alike(
        [element for row in parts.rows() for element in row],
        [*every[:number], *cut(every[number], on), *every[number + 1 :]],
    )
    fused = parts.fused(np.arange(len(every) + 1) == number + 1).element(number)
    seam = (on / every[number].length, height(every[number], on))
    inner = sorted([*every[number].inner, seam]) if every[number].inner else []
    assert_alike([fused], [every[number]._replace(inner=tuple(inner))])


def test_curvature_lasts_to_where_it_changes_or_the_way_ends():
    turn = arc(0.5, 90)
    ways = [draw((0.0, 0.0, 0.0), [straight(1.0), straight(2.0), turn]), draw((0.0, 5.0, 0.0), [straight(4.0)])]
    ahead, behind, changes = _runs(Nearness(Rows.of(ways)))
    assert ahead == pytest.approx([3.0, 2.0, turn[0], 4.0])
    assert behind == pytest.approx([1.0, 3.0, turn[0], 4.0])
    assert changes.tolist() == [1]
