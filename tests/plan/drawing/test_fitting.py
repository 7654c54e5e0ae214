"""Chords to curves: true radii, few elements, tangents, kinks, rings, heights, and how far a radius is trusted."""

import math
import os

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from gradehaul.plan.drawing.fitting import fit_stroke
from gradehaul.plan.drawing.fitting.search import NODE, nodes_of
from gradehaul.plan.drawing.records import Stroke

TOLERANCE = 16.5e-3 / 20  # a twentieth of the gauge of HO
KINK = math.radians(2)
EXAMPLES = int(os.environ.get("GRADEHAUL_FITTING_EXAMPLES", "1"))
"""How many times as many random tracks are tried as in the ordinary run."""


def walk(pieces, start=(0.0, 0.0, 0.0), chord=10.0, step=None):
    """Vertices on (curvature, length) pieces joined as tangents: chords of `chord` degrees at most, straights cut at
    `step`."""
    x, y, heading = start
    vertices = [(x, y)]
    for curvature, length in pieces:
        most = math.radians(chord) / abs(curvature) if curvature else step or length
        count = max(1, math.ceil(length / most - 1e-9))
        for _ in range(count):
            half = curvature * length / count / 2
            reach = length / count * np.sinc(half / math.pi)
            x, y = x + reach * math.cos(heading + half), y + reach * math.sin(heading + half)
            heading += 2 * half
            vertices.append((x, y))
    return np.array(vertices)


def stroke(points, *, bulges=None, exact=False, heights=None):
    segments = len(points) - 1
    return Stroke(
        "2F",
        "TRACK",
        "LWPOLYLINE",
        np.asarray(points, dtype=float),
        np.zeros(segments) if bulges is None else np.asarray(bulges, dtype=float),
        exact,
        heights,
    )


def fit(points, **more):
    return fit_stroke(stroke(points, **more), tolerance=TOLERANCE, kink=KINK)


def only(points, **more):
    reaches, faults = fit(points, **more)
    assert faults == ()
    (reach,) = reaches
    return reach


def closed(points):
    return np.vstack((points, points[:1]))


def turned(element):
    return element.curvature * element.length


def radii_of(reach):
    """Radii (0 for a straight, positive to the left), rounded to the millimeter."""
    return [round(1 / element.curvature, 3) if element.curvature else 0 for element in reach.elements]


def true_end(element):
    half = turned(element) / 2
    chord = element.length * np.sinc(half / math.pi)
    return (
        element.start.x + chord * math.cos(element.heading + half),
        element.start.y + chord * math.sin(element.heading + half),
    )


def assert_consistent(reach, tangent=1e-6):
    for element in reach.elements:
        assert element.length > 0
        assert true_end(element) == pytest.approx((element.end.x, element.end.y), abs=1e-6)
    pairs = list(zip(reach.elements, reach.elements[1:], strict=False))
    if reach.closed:
        pairs.append((reach.elements[-1], reach.elements[0]))
    for one, other in pairs:
        assert one.end == other.start
        assert abs(math.remainder(one.heading + turned(one) - other.heading, 2 * math.pi)) < tangent


def distances(reach, points):
    """How far each point lies from the nearest element, m."""
    nearest = np.full(len(points), np.inf)
    for element in reach.elements:
        begin = np.array(element.start[:2])
        along = np.array([math.cos(element.heading), math.sin(element.heading)])
        aside = np.array([-along[1], along[0]])
        if element.curvature:
            middle = begin + aside / element.curvature
            bearing = np.arctan2(*(points - middle).T[::-1]) - np.arctan2(*(begin - middle)[::-1])
            hand = math.copysign(1.0, element.curvature)
            share = np.mod(hand * bearing + 0.01, 2 * math.pi) - 0.01
            off = np.abs(np.hypot(*(points - middle).T) - 1 / abs(element.curvature))
            inside = share <= abs(turned(element)) + 0.01
        else:
            run = (points - begin) @ along
            off = np.abs((points - begin) @ aside)
            inside = (run > -0.01) & (run < element.length + 0.01)
        nearest = np.where(inside, np.minimum(nearest, off), nearest)
    return nearest


# --- one curve, and what stands beside it


@pytest.mark.parametrize("chord", [0.5, 3.0, 10.0])
@pytest.mark.parametrize("step", [None, 0.02])
def test_straight_curve_straight(chord, step):
    reach = only(walk([(0, 0.5), (-1 / 0.6, 0.6), (0, 0.3)], chord=chord, step=step))
    assert radii_of(reach) == [0, -0.6, 0]
    assert [element.length for element in reach.elements] == pytest.approx([0.5, 0.6, 0.3], abs=1e-6)
    assert reach.elements[0].curvature == 0.0
    assert_consistent(reach)


def clothoid(radius, length, count):
    """Euler's spiral from straight to `radius`: heading s² / (2 R L), by fine sums."""
    s = np.linspace(0, length, 100 * count + 1)
    heading = (s[1:] + s[:-1]) ** 2 / 4 / (2 * radius * length)
    step = np.diff(s)
    x = np.concatenate(([0.0], np.cumsum(step * np.cos(heading))))
    y = np.concatenate(([0.0], np.cumsum(step * np.sin(heading))))
    return np.column_stack((x, y))[::100], length / (2 * radius)


@pytest.mark.parametrize("radius", [0.5, 0.9])
@pytest.mark.parametrize(("length", "count"), [(0.25, 10), (0.4, 16), (0.4, 80)])
def test_an_easement_in_and_one_out_are_mirror_images_nearly(radius, length, count):
    easement, heading = clothoid(radius, length, count)
    lead = np.column_stack((np.linspace(-0.6, -length / count, 2), np.zeros(2)))
    arc = walk([(1 / radius, radius * math.radians(50))], start=(*easement[-1], heading), chord=5)
    half = np.vstack((lead, easement, arc[1:]))
    # The way out is the way in, mirrored about the middle of the curve.
    out = heading + math.radians(50)
    axis = np.array([math.cos(out + math.pi / 2), math.sin(out + math.pi / 2)])
    reach = half[:-1] - half[-1]
    points = np.vstack((half, (half[-1] + 2 * np.outer(reach @ axis, axis) - reach)[::-1]))
    reach = only(points)
    curvature = np.array([element.curvature for element in reach.elements])
    top = int(np.argmax(curvature))
    assert (np.diff(curvature[: top + 1]) > -1e-6).all()
    assert (np.diff(curvature[top:]) < 1e-6).all()
    assert 1 / curvature[top] == pytest.approx(radius, rel=0.01)
    assert 5 <= len(curvature) <= 13
    assert sum(map(turned, reach.elements)) == pytest.approx(2 * out, abs=math.radians(0.1))
    assert distances(reach, points).max() < TOLERANCE / 2
    assert_consistent(reach)
    back = only(points[::-1])
    np.testing.assert_array_equal([-element.curvature for element in reversed(back.elements)], curvature)


def test_what_bulges_by_less_than_the_tolerance_is_straight():
    (element,) = only(walk([(1 / 200, 1.0)], chord=0.02)).elements  # sagitta 0.6 mm
    assert element.curvature == 0.0
    assert element.radius_spread is None
    (element,) = only(walk([(1 / 20, 1.0)], chord=0.2)).elements  # 6 mm
    assert 1 / element.curvature == pytest.approx(20)


# --- the general library's opinion


def circle_by_library(points, curvature):
    middle = points.mean(axis=0)
    way = points[-1] - points[0]
    guess = middle + math.copysign(1 / abs(curvature), curvature) * np.array([-way[1], way[0]]) / np.hypot(*way)
    answer = least_squares(
        lambda u: np.hypot(points[:, 0] - u[0], points[:, 1] - u[1]) - u[2],
        [*guess, 1 / abs(curvature)],
        xtol=1e-15,
        ftol=1e-15,
        gtol=1e-15,
    )
    return answer.x[2]


@pytest.mark.parametrize("seed", range(5))
def test_a_ring_of_chords_is_the_circle_that_the_library_fits(seed):
    random = np.random.default_rng(seed)
    angle = np.radians(np.arange(0, 360, 5))
    points = 0.5 * np.column_stack((np.cos(angle), np.sin(angle))) + random.normal(0, 1e-4, (72, 2))
    (element,) = only(closed(points)).elements
    # Both minimize the squares of the vertices' distances from the circle.
    assert 1 / element.curvature == pytest.approx(circle_by_library(points, 2.0), rel=1e-8)


@pytest.mark.parametrize("seed", range(3))
def test_straight_curve_straight_is_where_the_library_puts_it(seed):
    random = np.random.default_rng(seed)
    points = walk([(0, 0.6), (1 / 0.5, 0.7), (0, 0.5)], chord=5, step=0.05)
    points += random.normal(0, 1e-4, points.shape)
    ours = only(points)
    assert len(ours.elements) == 3

    def off(unknown):
        y, heading, curvature, lead, arc = unknown
        way = np.array([math.cos(heading), math.sin(heading)])
        begin = np.array([points[0, 0], y]) + lead * way
        middle = begin + np.array([-way[1], way[0]]) / curvature
        out = heading + curvature * arc
        end = middle - np.array([-math.sin(out), math.cos(out)]) / curvature
        first = (points - begin) @ way < 0
        last = (points - end) @ np.array([math.cos(out), math.sin(out)]) > 0
        curve = 1 / curvature - np.hypot(*(points - middle).T)
        before = (points - begin) @ np.array([-way[1], way[0]])
        after = (points - end) @ np.array([-math.sin(out), math.cos(out)])
        return np.where(first, before, np.where(last, after, curve))

    answer = least_squares(off, [0, 0, 2.1, 0.59, 0.68], x_scale=[1e-3, 1e-3, 0.1, 0.1, 0.1], xtol=1e-14, ftol=1e-14)
    element = ours.elements[1]
    assert abs(1 / element.curvature - 1 / answer.x[2]) < 2 * element.radius_spread
    # Held to two ends, the fit cannot be closer than the free one, and should be hardly worse.
    squares = float((distances(ours, points) ** 2).sum())
    assert 2 * answer.cost * (1 - 1e-6) <= squares <= 2 * answer.cost + 30 * 1e-8


# --- random track


@st.composite
def tracks(draw):
    pieces = []
    for _ in range(draw(st.integers(1, 6))):
        before = pieces[-1][0] if pieces else None
        if before != 0 and draw(st.booleans()):
            pieces.append((0.0, draw(st.floats(0.1, 1.5))))
            continue
        curvature = draw(st.sampled_from([-1, 1])) / draw(st.floats(0.25, 1.5))
        if before and abs(curvature - before) < 0.05 * abs(before):
            curvature = -curvature  # nearly the same curve on: that would truly merge
        pieces.append((curvature, math.radians(draw(st.floats(30, 150))) / abs(curvature)))
    return pieces


@settings(max_examples=60 * EXAMPLES, deadline=None)
@given(pieces=tracks(), chord=st.floats(2, 10), bearing=st.floats(-3, 3), step=st.sampled_from([None, 0.05]))
@example(pieces=[(0.0, 0.2), (-4.0, 0.1308996938995747)], chord=2.3894721232726184, bearing=0.0, step=None)
@example(
    pieces=[
        (2.522168179704046, 0.8509926829118695),
        (-1.062236758992329, 1.3320177905483084),
        (1.2347744633137459, 1.2680785381122408),
        (0.9335149348941386, 1.463454387249033),
    ],
    chord=9.552151562973538,
    bearing=2.543797585559881,
    step=None,
)
@example(
    pieces=[(0.8394661559773124, 2.5864707026470755), (-1.467804766138255, 0.6902416600860302)],
    chord=9.263739354407864,
    bearing=-1.2559550355429672,
    step=0.05,
)
@example(
    pieces=[
        (0.0, 0.7415989828719953),
        (1.6740947528862573, 1.1267498463308003),
        (-1.2203809876636855, 0.8328072217669493),
    ],
    chord=8.883716339483975,
    bearing=-1.9494736340919223,
    step=None,
)
def test_random_track_comes_back(pieces, chord, bearing, step):
    points = walk(pieces, (3.0, -2.0, bearing), chord, step)
    reach = only(points)
    assert_consistent(reach)
    assert distances(reach, points).max() <= TOLERANCE
    length = sum(piece[1] for piece in pieces)
    turn = sum(curvature * length for curvature, length in pieces)
    assert sum(element.length for element in reach.elements) == pytest.approx(length, rel=0.002)
    assert sum(map(turned, reach.elements)) == pytest.approx(turn, abs=math.radians(0.5))
    assert len(reach.elements) == len(pieces)
    for element, (curvature, _) in zip(reach.elements, pieces, strict=True):
        assert element.curvature == pytest.approx(curvature, rel=0.01, abs=1e-9)


@settings(max_examples=15 * EXAMPLES, deadline=None)
@given(pieces=tracks(), seed=st.integers(0, 10**6), most=st.floats(0.02, 0.06))
def test_random_track_with_unequal_chords_over_its_joints_comes_back(pieces, seed, most):
    # A walk in steps far finer than the chords, of which some vertices are kept: joints lie anywhere between two.
    fine = walk(pieces, chord=0.02, step=0.0005)
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(fine, axis=0).T))))
    places = np.cumsum(np.random.default_rng(seed).uniform(most / 3, most, 2000))
    places = places[places < along[-1] - most / 3]
    kept = np.concatenate(([0], np.searchsorted(along, places), [len(fine) - 1]))
    reach = only(fine[kept])
    assert_consistent(reach)
    assert sum(element.length for element in reach.elements) == pytest.approx(along[-1], rel=1e-3)
    assert [math.copysign(1, element.curvature) * (element.curvature != 0) for element in reach.elements] == [
        math.copysign(1, curvature) * (curvature != 0) for curvature, _ in pieces
    ]


@settings(max_examples=25 * EXAMPLES, deadline=None)
@given(pieces=tracks(), chord=st.floats(2, 10), seed=st.integers(0, 10**6))
@example(
    pieces=[
        (0.7789383710634831, 1.3666337204734844),
        (0.0, 0.3441829398159275),
        (-2.0133702815489607, 0.8305022986174894),
        (0.0, 1.227200566637339),
        (0.9784446097006854, 0.9749362492636265),
    ],
    chord=7.0,
    seed=204214,
)
@example(
    pieces=[
        (1.1975940793974946, 0.885876013039719),
        (-2.4771425658722013, 0.4974607902213957),
        (0.0, 0.4587916145833598),
    ],
    chord=7.524106929125297,
    seed=1211,
)
@example(pieces=[(0.0, 0.1), (4.0, 0.34579335805137656)], chord=2.0, seed=1)
@example(pieces=[(4.0, 0.19635)], chord=2.0, seed=1)
@example(pieces=[(4.0, 0.4134248665661568)], chord=2.0, seed=1)  # scatter that passed for a corner
@example(pieces=[(-5.0, 0.2605145179736966), (-4.0, 0.3906222528507007)], chord=2.0, seed=1021)  # and for a kink
@example(  # the tangent joint of two curves nearly alike
    pieces=[
        (0.0, 0.5),
        (-1 / 0.4609375, 0.4609375 * math.radians(118)),
        (-1 / 0.4375, 0.4375 * math.radians(67)),
        (0.0, 1.0),
        (-1.0, math.radians(30)),
    ],
    chord=3.875,
    seed=24914,
)
def test_scattered_vertices_still_give_the_ruling_curve(pieces, chord, seed):
    points = walk(pieces, chord=chord)
    points += np.random.default_rng(seed).normal(0, 1e-4, points.shape)
    reaches, _ = fit(points)
    for reach in reaches:
        assert_consistent(reach)
    elements = [element for reach in reaches for element in reach.elements]
    # Within 0.2 %, and what the scatter of the two ends can make of it.
    length = sum(length for _, length in pieces)
    assert sum(element.length for element in elements) == pytest.approx(length, abs=0.002 * length + 6e-4)
    # Curve resistance is 1/R: right within 1 % over every curve of 60 degrees or more, but for the ends of it.
    place = np.concatenate(([0.0], np.cumsum([element.length for element in elements])))
    since = 0.0
    for curvature, length in pieces:
        if abs(curvature) * length >= math.radians(60):
            middle = np.searchsorted(place, since + length / 2) - 1
            assert elements[middle].curvature == pytest.approx(curvature, rel=0.01)
        since += length


@settings(max_examples=20 * EXAMPLES, deadline=None)
@given(pieces=tracks(), chord=st.floats(2, 10))
@example(pieces=[(0.0, 0.2), (-4.0, 0.1308996938995747)], chord=2.3894721232726184)
def test_a_stroke_drawn_backward_is_the_same_track(pieces, chord):
    points = walk(pieces, chord=chord)
    there, back = only(points), only(points[::-1])
    assert [-element.curvature for element in reversed(back.elements)] == pytest.approx(
        [element.curvature for element in there.elements], rel=1e-4, abs=1e-6
    )


@pytest.mark.parametrize("scale", [0.1, 87.0])
def test_size_makes_no_difference(scale):
    points = walk([(0, 0.5), (1 / 0.6, 0.9), (-1 / 0.8, 0.7)], chord=8)
    ((reach,), _) = fit_stroke(stroke(points * scale), tolerance=TOLERANCE * scale, kink=KINK)
    assert [1 / element.curvature / scale for element in reach.elements[1:]] == pytest.approx([0.6, -0.8])


def test_far_from_the_origin():
    points = walk([(0, 0.3), (1 / 0.6, 0.6), (0, 0.3)], chord=6) + np.array([5e5, 4e6])
    assert radii_of(only(points)) == [0, 0.6, 0]


# --- how far a radius is trusted


@pytest.mark.parametrize(("degrees", "pieces"), [(30, 1), (30, 3), (75, 1)])
def test_the_spread_of_a_radius_covers_the_truth_as_often_as_it_says(degrees, pieces):
    # One standard deviation either way holds 68.3 % of cases; 100 draws tell that to within 4.7 % (binomial).
    random = np.random.default_rng(degrees + pieces)
    hits = []
    for _ in range(100):
        radius = random.uniform(0.3, 1.2)
        arc = (1 / radius, radius * math.radians(degrees))
        points = walk([(0, 0.4), arc, (0, 0.4)] if pieces == 3 else [arc], chord=5, step=0.05)
        points += random.normal(0, 1e-4, points.shape)
        elements = only(points).elements
        if len(elements) == pieces:
            element = elements[pieces // 2]
            hits.append(abs(1 / element.curvature - radius) <= element.radius_spread)
    assert len(hits) > 90
    assert 0.54 < np.mean(hits) < 0.82


# --- kinks


def test_straights_that_meet_at_an_angle():
    reaches, faults = fit([(0, 0), (0.5, 0), (0.9, 0.2)])
    assert [radii_of(reach) for reach in reaches] == [[0], [0]]
    (fault,) = faults
    assert fault.code == "kink"
    assert fault.weight == pytest.approx(math.degrees(math.atan2(0.2, 0.4)))
    assert fault.spot[:2] == (0.5, 0)
    assert (fault.handle, fault.layer) == ("2F", "TRACK")


@pytest.mark.parametrize("noise", [0.0, 1e-4])
@pytest.mark.parametrize("degrees", [5, 7, 9])
@pytest.mark.parametrize("seed", [3, 20])
def test_a_kink_in_the_middle_of_a_curve(seed, degrees, noise):
    one = walk([(1 / 0.6, 0.6)], chord=6)
    other = walk([(1 / 0.6, 0.6)], start=(*one[-1], 1 + math.radians(degrees)), chord=6)
    points = np.vstack((one, other[1:]))
    points += np.random.default_rng(seed).normal(0, noise, points.shape)
    reaches, (fault,) = fit(points)
    assert [len(reach.elements) for reach in reaches] == [1, 1]
    assert [1 / reach.elements[0].curvature for reach in reaches] == pytest.approx([0.6, 0.6], rel=0.01)
    assert fault.weight == pytest.approx(degrees, abs=0.3 if noise else 1e-6)
    assert reaches[0].elements[-1].end == reaches[1].elements[0].start == fault.spot


def test_a_break_below_the_kink_is_no_fault():
    one = [(0.0, 0.0), (0.5, 0.0)]
    points = [*one, (1.0, 0.5 * math.tan(math.radians(1.5)))]
    reaches, faults = fit(points, exact=True)
    assert (len(reaches), faults) == (1, ())
    reaches, faults = fit_stroke(stroke(points, exact=True), tolerance=TOLERANCE, kink=math.radians(1))
    assert (len(reaches), len(faults)) == (2, 1)


def test_a_square_is_no_circle():
    reaches, faults = fit(closed(np.array([(0, 0), (1, 0), (1, 1), (0, 1.0)])))
    assert len(reaches) == 4
    assert [fault.weight for fault in faults] == pytest.approx([90] * 4)
    assert not any(reach.closed for reach in reaches)


def test_a_ring_with_one_kink_is_open_there_wherever_it_was_drawn_from():
    drop = walk([(1 / 0.4, 0.4 * math.radians(300))], chord=6)
    end = drop[-1]
    way = np.linspace(0, 1, 8)[1:-1, None]
    points = np.vstack((drop, end + way * (drop[0] - end)))  # a chord closes it: a kink of 30 degrees at either end
    for begin in (0, 20, 53):
        reaches, faults = fit(closed(np.roll(points, -begin, axis=0)))
        assert sorted(radii_of(reach) for reach in reaches) == [[0], [0.4]]
        assert [fault.weight for fault in faults] == pytest.approx([30, 30], abs=1e-3)


# --- rings


@pytest.mark.parametrize("begin", [0, 1, 17, 50])
def test_a_circle_is_one_full_turn_wherever_it_begins(begin):
    angle = np.radians(np.arange(0, 360, 5))
    points = np.roll(0.6 * np.column_stack((np.cos(angle), np.sin(angle))), -begin, axis=0)
    reach = only(closed(points))
    (element,) = reach.elements
    assert reach.closed
    assert 1 / element.curvature == pytest.approx(0.6)
    assert element.length == pytest.approx(1.2 * math.pi)
    assert element.start == element.end
    assert element.start[:2] == pytest.approx(tuple(points[0]))
    (backward,) = only(closed(points)[::-1]).elements
    assert backward.curvature == pytest.approx(-1 / 0.6)


def test_a_figure_of_eight_turns_by_nothing():
    lean = math.asin(0.8)
    bend = 0.4 * (math.pi + 2 * lean)
    points = walk([(0, 0.3), (2.5, bend), (0, 0.6), (-2.5, bend), (0, 0.3)], chord=6)
    reach = only(closed(points[:-1]))
    assert reach.closed
    assert sorted(radii_of(reach)) == [-0.4, 0, 0, 0.4]
    assert sum(map(turned, reach.elements)) == pytest.approx(0, abs=1e-6)
    assert_consistent(reach)


def test_a_helix_is_no_ring():
    points = walk([(1 / 0.6, 1.2 * math.pi * 3)], chord=5)
    heights = np.linspace(0, 0.3, len(points))
    reach = only(points, heights=heights)
    assert not reach.closed
    (element,) = reach.elements
    assert element.length == pytest.approx(3.6 * math.pi)
    assert (element.start.z, element.end.z) == (0, 0.3)


# --- exact curves


def test_bulges_stay_the_arcs_they_are():
    quarter = math.tan(math.pi / 8)
    points = [(0, 0), (0.5, 0), (1.0, 0.5), (1.5, 1.0)]
    reach = only(points, bulges=[0, quarter, -quarter], exact=True)
    assert [element.curvature for element in reach.elements] == pytest.approx([0, 2, -2])
    assert [element.length for element in reach.elements] == pytest.approx([0.5, math.pi / 4, math.pi / 4])
    assert_consistent(reach, 1e-9)


def test_two_half_circles_are_one_circle():
    reach = only([(0, 0), (1, 0), (0, 0)], bulges=[1, 1], exact=True)
    (element,) = reach.elements
    assert reach.closed
    assert element.length == pytest.approx(math.pi)
    assert element.curvature == pytest.approx(2)


def test_an_exact_straight_drawn_in_pieces_is_one():
    assert len(only([(0, 0), (0.1, 0), (0.3, 0), (1, 0)], exact=True).elements) == 1


def test_an_exact_oval_that_begins_in_the_middle_of_a_straight():
    points = [(0.5, 0), (1, 0), (1, 1), (0, 1), (0, 0), (0.5, 0)]
    reach = only(points, bulges=[0, 1, 0, 1, 0], exact=True, heights=np.arange(6.0) * (np.arange(6) < 5))
    assert reach.closed
    assert [element.length for element in reach.elements] == pytest.approx([math.pi / 2, 1, math.pi / 2, 1])
    assert [element.start.z for element in reach.elements] == [1, 2, 3, 4]
    assert_consistent(reach)


# --- heights, doubled vertices, little to go by


def test_heights_are_read_along_the_stroke():
    points = walk([(0, 0.5), (1 / 0.6, 0.6), (0, 0.4)], chord=5)
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    reach = only(points, heights=0.1 + 0.02 * along)
    assert [element.start.z for element in reach.elements] == pytest.approx([0.1, 0.11, 0.122], abs=1e-4)
    assert reach.elements[-1].end.z == pytest.approx(0.1 + 0.02 * along[-1])
    assert all(element.start.z is None for element in only(points).elements)


def test_doubled_vertices_change_nothing():
    points = walk([(0, 0.3), (1 / 0.6, 0.6), (0, 0.3)], chord=6)
    assert only(np.repeat(points, 3, axis=0)).elements == only(points).elements


def test_a_stroke_that_goes_out_and_back_comes_by_its_places_again():
    out = np.array([(0.0, 0.0), (0.007, 0.0)])
    points = np.vstack((np.tile(out, (8, 1)), [(0.0, 0.3), (0.1, 0.3)]))
    reaches, _ = fit(points)
    assert np.min([distances(reach, points) for reach in reaches], axis=0).max() <= TOLERANCE


@given(st.lists(st.floats(0.1, 40), min_size=2, max_size=30))
def test_close_vertices_are_taken_together_but_for_the_ends(chords):
    """In tolerances, as the search has them."""
    points = np.column_stack((np.concatenate(([0.0], np.cumsum(chords))), np.zeros(len(chords) + 1)))
    nodes = nodes_of(points, 0.0)
    np.testing.assert_array_equal(nodes.place[[0, -1]], points[[0, -1]])
    assert nodes.vertex[[0, -1]].tolist() == [0, len(chords)]
    assert (np.diff(nodes.vertex) > 0).all()
    if chords[-1] >= NODE / 2 and len(nodes.vertex) > 2:
        assert nodes.members[-1] == 1  # or the last chord counts for nothing


def test_two_vertices_are_a_straight():
    (element,) = only([(0, 0), (3, 4)]).elements
    assert (element.length, element.curvature) == (5, 0)
    assert element.heading == pytest.approx(math.atan2(4, 3))


def test_vertices_in_a_row_are_one_straight():
    points = np.column_stack((np.sort(np.random.default_rng(0).uniform(0, 5, 200)), np.zeros(200)))
    assert radii_of(only(points)) == [0]


def test_three_vertices_leave_the_radius_open():
    (element,) = fit_stroke(stroke(walk([(1 / 0.6, 0.2)], chord=10)), tolerance=TOLERANCE, kink=math.radians(20))[0][
        0
    ].elements
    assert 1 / element.curvature == pytest.approx(0.6)
    assert element.heading == pytest.approx(0, abs=1e-9)
    assert math.isinf(element.radius_spread)


def test_all_at_one_place():
    reaches, (fault,) = fit([(1, 2), (1, 2), (1, 2)])
    assert reaches == ()
    assert fault.code == "zero-length"


@pytest.mark.parametrize("given_", [{"tolerance": 0.0, "kink": 1.0}, {"tolerance": 1.0, "kink": -1.0}])
def test_senseless_settings(given_):
    with pytest.raises(ValueError, match="must be above 0"):
        fit_stroke(stroke([(0, 0), (1, 0)]), **given_)


@settings(max_examples=25 * EXAMPLES, deadline=None)
@given(seed=st.integers(0, 10**6), count=st.integers(2, 40), spread=st.sampled_from([1e-4, 1e-2, 1.0]))
@example(seed=13002, count=38, spread=1e-4)
@example(seed=13275, count=23, spread=1e-4)
def test_a_scribble_is_followed_within_the_tolerance(seed, count, spread):
    random = np.random.default_rng(seed)
    points = np.cumsum(random.normal(0, spread, (count, 2)), axis=0)
    points[:, 0] += 0.05 * np.arange(count)
    reaches, faults = fit(points)
    assert len(faults) == len(reaches) - 1
    elements = [element for reach in reaches for element in reach.elements]
    assert elements[0].start[:2] == pytest.approx(tuple(points[0]))
    assert elements[-1].end[:2] == pytest.approx(tuple(points[-1]))
    nearest = np.min([distances(reach, points) for reach in reaches], axis=0)
    assert nearest.max() <= TOLERANCE * 1.001
    for reach in reaches:
        assert_consistent(reach, tangent=KINK)


def scattered(seed):
    """Straights and curves of up to five pieces by vertices some 5 to 12 cm apart; half of them are closed by force."""
    chance = np.random.default_rng(seed)
    count, closed = chance.integers(2, 6), chance.random() < 0.5
    step = chance.uniform(0.05, 0.12)
    at, heading = np.zeros(2), 0.0
    points = [at]
    for _ in range(count):
        length, curvature = chance.uniform(0.3, 1.0), chance.choice([0, 1, -1]) * chance.uniform(0.6, 2.0)
        pieces = max(1, int(length / step))
        for _ in range(pieces):
            heading += curvature * length / pieces / 2
            at = at + length / pieces * np.array([math.cos(heading), math.sin(heading)])
            heading += curvature * length / pieces / 2
            points.append(at)
    found = np.array(points)
    if closed:
        found = found - np.linspace(0, 1, len(found))[:, None] * (found[-1] - found[0])
    found = found + chance.normal(0, 3e-4, found.shape)
    if closed:
        found[-1] = found[0]
    return found


@pytest.mark.parametrize("seed", [3, 10, 15, 22, 31, 44, 46, 53, 54, 77, 86, 97])
def test_a_scattered_stroke_is_fitted_within_its_tolerance_and_without_breaks(seed):
    points = scattered(seed)
    reaches, faults = fit(points)
    assert all(math.radians(fault.weight) > KINK for fault in faults)
    for reach in reaches:
        assert_consistent(reach, tangent=KINK)
    assert np.min([distances(reach, points) for reach in reaches], axis=0).max() <= TOLERANCE * 1.001
    # no fitted track where none was drawn: arcs are longer than chords of 30 degrees by a hundredth
    drawn = float(np.hypot(*np.diff(points, axis=0).T).sum())
    assert sum(element.length for reach in reaches for element in reach.elements) == pytest.approx(drawn, rel=0.012)


SIDING = [(0.3, 0), (0.54, 0.03), (1.76, 0.03), (2.0, 0)]


@pytest.mark.parametrize("more", [[], [(1.0, 0.03)], [(0.9, 0.03), (1.3, 0.03)]])
def test_a_siding_drawn_as_straight_lines_stays_straight_though_its_corners_lie_on_a_circle(more):
    corners = stroke(sorted([*SIDING, *more]))
    lengths = []
    for kink in (5, 10):
        reaches, _ = fit_stroke(corners, tolerance=0.00045, kink=math.radians(kink))
        assert not any(element.curvature for reach in reaches for element in reach.elements)
        lengths.append([sum(element.length for element in reach.elements) for reach in reaches])
    assert lengths == [pytest.approx([0.24187, 1.22, 0.24187], abs=1e-5), pytest.approx([1.70374], abs=1e-5)]


@pytest.mark.parametrize("length", [0.5, 1.0, 3.0])
def test_a_line_that_a_curve_leaves_at_a_small_angle_stays_where_it_was_drawn(length):
    """As a spline leaves it that was drawn through points, without a direction at its ends."""
    pieces = [(growing / 8 / 0.6, 0.01) for growing in range(9)] + [(1 / 0.6, 0.8)]
    curve = walk(pieces, start=(length, 0.0, math.radians(2.2)), chord=1)
    (reach,), _ = fit_stroke(stroke([(0, 0), *curve]), tolerance=TOLERANCE, kink=math.radians(5))
    assert distances(reach, np.column_stack((np.linspace(0, length, 50), np.zeros(50)))).max() < TOLERANCE
