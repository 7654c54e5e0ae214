"""Known track plans, linked: what is a turnout, what is not, what is named."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.linking import link
from gradehaul.plan.drawing.records import DrawnJoint, Linked, ReachEnd, terms
from plan.drawing.pen import (
    after,
    arc,
    back,
    before,
    codes,
    draw,
    kinds,
    length_of,
    lengths,
    line,
    parts,
    reach,
    rows_of,
    shifted,
    straight,
)

TERMS = terms(0.01, "mm", ["TRACK"], kink=math.radians(2))
SNAP = TERMS.snap
ORIGIN = (0.0, 0.0, 0.0)


def linked(reaches, snap=SNAP) -> Linked:
    return link(rows_of(reaches), replace(TERMS, snap=snap))


def handles(net: Linked, ends) -> set[str]:
    return {net.lines[end.line].elements[0].handle for end in ends}


def legs(joint: DrawnJoint) -> list[ReachEnd]:
    return [end for end in joint.ends if end != joint.toe]


def only(net: Linked, kind: str) -> DrawnJoint:
    (joint,) = [joint for joint in net.joints if joint.kind == kind]
    return joint


def moves(net: Linked) -> set[frozenset[ReachEnd]]:
    found = set()
    for joint in net.joints:
        if joint.kind == "turnout":
            found |= {frozenset((joint.toe, leg)) for leg in legs(joint)}
        found |= {frozenset(pair) for pair in (*joint.through, *joint.slips)}
        if joint.kind == "plain":
            found.add(frozenset(joint.ends))
    return found


# Two ends


def test_two_reaches_become_one_line_at_the_mean_of_their_ends():
    net = linked([line(ORIGIN, [straight(1)], "A"), line((1.0008, 0.0, 0.0), [arc(0.5, 90)], "B")])
    assert kinds(net) == {"end": 2}
    assert [(one.elements[0].handle, len(one.elements)) for one in net.lines] == [("A", 2)]
    assert length_of(net.lines[0].elements) == pytest.approx(1.0008 + math.pi / 4)
    assert codes(net) == ["gap"]


def test_ends_further_apart_than_snap_are_a_near_miss():
    net = linked([line(ORIGIN, [straight(1)], "A"), line((1.0021, 0.0, 0.0), [straight(1)], "B")])
    assert len(net.lines) == 2
    (fault,) = net.faults
    assert fault.code == "near-miss"
    assert fault.text == "track ends 2.1 mm from the end of another"
    assert fault.spot[:2] == pytest.approx((1.00105, 0.0))


def test_near_misses_come_nearest_first_and_end_at_five_snaps():
    pieces = [line(ORIGIN, [straight(1)], "A"), line((-1.003, 0.0, 0.0), [straight(1)], "B")]
    pieces += [line((1.0015, 0.0, 0.0), [straight(1)], "C"), line((2.0069, 0.0, 0.0), [straight(1)], "D")]
    net = linked(pieces)
    assert [(fault.code, fault.text[11:17]) for fault in net.faults] == [
        ("near-miss", "1.5 mm"),
        ("near-miss", "3.0 mm"),
    ]


def test_an_end_just_off_the_side_of_a_track_is_a_near_miss():
    branch = draw((1.0, 0.0, 0.0), [arc(0.6, 40)], "B")
    net = linked([line(ORIGIN, [straight(2)], "A"), reach(shifted(branch, 0.0, 0.0025))])
    assert codes(net) == ["near-miss"]
    assert net.faults[0].text == "track ends 2.5 mm from another track"
    assert net.faults[0].handle == "B"


def test_ends_that_just_miss_one_another_askew_are_told_once():
    net = linked([line(ORIGIN, [straight(1)], "A"), line((0.999, 0.0005, math.radians(10)), [straight(1)], "B")])
    assert [(fault.code, fault.handle) for fault in net.faults] == [("no-tangent", "B")]


def test_a_kink_stays_a_joint_and_the_worst_is_told_first():
    first = draw(ORIGIN, [straight(1)], "A")
    second = draw((1.0, 0.0, math.radians(5)), [straight(1)], "B")
    x, y, heading = after(second)
    third = draw((x, y, heading + math.radians(9)), [straight(1)], "C")
    net = linked([reach(first), reach(second), reach(third)])
    assert kinds(net) == {"end": 2, "plain": 2}
    # in degrees, as those within a stroke are, beside which they are put in order
    assert [(fault.code, round(fault.weight, 6)) for fault in net.faults] == [("kink", 9.0), ("kink", 5.0)]
    assert net.faults[1].spot[:2] == pytest.approx((1.0, 0.0))


def test_two_ends_that_double_back_are_not_joined():
    net = linked([line(ORIGIN, [straight(1)], "A"), line((0.0, 0.0, math.radians(20)), [straight(1)], "B")])
    assert kinds(net) == {"end": 4}
    assert codes(net) == ["no-tangent"]


def test_a_closed_circuit_is_one_line_with_one_plain_joint():
    oval = [straight(1), arc(0.5, 180), straight(1), arc(0.5, 180)]
    whole = linked([line(ORIGIN, oval, "A", closed=True)])
    pieces = parts(draw(ORIGIN, oval, "A"), [0.3, 1.9, 2.5, 2.9])
    cut_up = linked([reach(piece if number % 2 else back(piece)) for number, piece in enumerate(pieces)])
    for net in (whole, cut_up):
        assert kinds(net) == {"plain": 1}
        assert [len(one.elements) for one in net.lines] == [4]
        assert length_of(net.lines[0].elements) == pytest.approx(2 + math.pi)


# Turnouts


def test_an_end_on_the_side_of_a_track_makes_a_turnout():
    net = linked([line(ORIGIN, [straight(2)], "A"), line((0.7, 0.0, 0.0), [arc(0.6, 30)], "B")])
    joint = only(net, "turnout")
    assert joint.spot[:2] == pytest.approx((0.7, 0.0))
    assert length_of(net.lines[joint.toe.line].elements) == pytest.approx(0.7)
    assert handles(net, legs(joint)) == {"A", "B"}
    assert net.faults == ()


@pytest.mark.parametrize("turn_round", [False, True])
def test_lines_reach_to_their_turnout_over_gaps(turn_round):
    gap = 0.9 * SNAP
    pieces = [draw((0, 0, 0), [straight(1)], "toe"), draw((1 + gap, 0, 0), [straight(1)], "main")]
    pieces.append(draw((1 + gap, 0, 0), [arc(0.6, 30)], "branch"))
    net = linked([reach(back(piece) if turn_round else piece) for piece in pieces])
    routes = {one.elements[0].handle: length_of(one.elements) for one in net.lines}
    assert only(net, "turnout").spot.x == pytest.approx(1 + 2 / 3 * gap)
    assert routes["toe"] + routes["main"] == pytest.approx(2 + gap)
    assert routes["toe"] + routes["branch"] == pytest.approx(1 + gap + 0.1 * math.pi)
    assert codes(net) == ["gap"]


def test_the_toe_faces_the_legs_whichever_way_the_branch_is_drawn():
    branch = draw((1.3, 0.0, math.pi), [arc(-0.6, 30)], "B")
    net = linked([line(ORIGIN, [straight(2)], "A"), reach(back(branch))])
    joint = only(net, "turnout")
    assert length_of(net.lines[joint.toe.line].elements) == pytest.approx(0.7)


def test_an_end_on_the_side_at_an_angle_is_told_and_not_joined():
    net = linked([line(ORIGIN, [straight(2)], "A"), line((0.7, 0.0, 0.4), [straight(1)], "B")])
    assert kinds(net) == {"end": 4}
    (fault,) = net.faults
    assert (fault.code, fault.handle, fault.spot[:2]) == ("no-tangent", "B", (0.7, 0.0))
    assert fault.weight == pytest.approx(0.4)


def test_three_ends_of_which_one_is_no_tangent():
    pieces = [
        line(ORIGIN, [straight(1)], "A"),
        line((1, 0, 0), [straight(1)], "B"),
        line((1, 0, 0.5), [straight(1)], "C"),
    ]
    net = linked(pieces)
    assert kinds(net) == {"end": 4}
    assert len(net.lines) == 2
    (fault,) = net.faults
    assert (fault.code, fault.handle) == ("no-tangent", "C")


@pytest.mark.parametrize("curvatures", [(0.0, 1.5), (-1.25, 1.25), (0.9, 1.6), (-1.5, 0.0, 1.5)])
def test_turnouts_of_two_and_three_legs_and_wyes(curvatures):
    pieces = [line(ORIGIN, [straight(0.5)], "toe")]
    pieces += [line((0.5, 0.0, 0.0), [(0.4, curvature)], f"leg {curvature}") for curvature in curvatures]
    net = linked(pieces)
    joint = only(net, "turnout")
    assert net.lines[joint.toe.line].elements[0].handle == "toe"
    assert len(legs(joint)) == len(curvatures)
    assert net.faults == ()


def test_five_legs_are_told():
    pieces = [line(ORIGIN, [straight(0.5)], "toe")]
    pieces += [line((0.5, 0.0, 0.0), [(0.4, curvature)], "leg") for curvature in (-3.0, -1.5, 0.0, 1.5, 3.0)]
    net = linked(pieces)
    assert "turnout" not in kinds(net)
    assert codes(net) == ["no-tangent"]
    assert lengths(net) == pytest.approx([0.4] * 4 + [0.9])


def test_two_turnouts_toe_to_toe():
    east = [line((0, 0, 0), [(0.4, curvature)], f"east {curvature}") for curvature in (0.0, 1.5)]
    west = [line((0, 0, math.pi), [(0.4, curvature)], f"west {curvature}") for curvature in (0.0, 1.5)]
    joint = only(net := linked(east + west), "crossing")
    assert {frozenset(handles(net, pair)) for pair in joint.through} == {
        frozenset({"east 0.0", "west 0.0"}),
        frozenset({"east 1.5", "west 1.5"}),
    }
    assert len(moves(net)) == 4


def crossover(x, y, side, handle):
    """Return the S of a crossover between tracks 50 mm apart, from the one at y to the side."""
    radius, angle = 0.6 * side, 10.0
    rise = 2 * 0.6 * (1 - math.cos(math.radians(angle)))
    between = (0.05 - rise) / math.sin(math.radians(angle))
    return draw((x, y, 0.0), [arc(radius, angle), straight(between), arc(-radius, angle)], handle)


def test_a_scissors_crossing_has_four_turnouts_and_no_move_between_its_diagonals():
    one, other = crossover(1.0, 0.0, 1, "up"), crossover(1.0, 0.05, -1, "down")
    net = linked([line(ORIGIN, [straight(3)], "A"), line((0, 0.05, 0), [straight(3)], "B"), reach(one), reach(other)])
    assert kinds(net) == {"end": 4, "turnout": 4}
    assert len(net.lines) == 8
    assert net.faults == ()


def test_a_scissors_crossing_cut_at_its_middle_is_a_crossing_there():
    pieces = [line(ORIGIN, [straight(3)], "A"), line((0, 0.05, 0), [straight(3)], "B")]
    for diagonal in (crossover(1.0, 0.0, 1, "up"), crossover(1.0, 0.05, -1, "down")):
        pieces += [reach(part) for part in parts(diagonal, [length_of(diagonal) / 2])]
    net = linked(pieces)
    assert kinds(net) == {"end": 4, "turnout": 4, "crossing": 1}
    joint = only(net, "crossing")
    assert [handles(net, pair) for pair in joint.through] in ([{"up"}, {"down"}], [{"down"}, {"up"}])
    assert joint.slips == ()


def test_tracks_that_cross_are_not_joined():
    net = linked([line(ORIGIN, [straight(2)], "A"), line((1, -1, math.pi / 2), [straight(2)], "B")])
    assert kinds(net) == {"end": 4}
    assert net.faults == ()


def test_three_lines_cut_where_they_cross_run_straight_through():
    rays = [line((0, 0, math.radians(angle)), [straight(1)], str(angle % 180)) for angle in range(0, 360, 60)]
    net = linked(rays)
    assert kinds(net) == {"end": 6}
    assert lengths(net) == [2.0] * 3


def test_a_double_slip_has_a_turnout_at_each_end_of_both_slips():
    angle = math.radians(15)
    along = 0.12
    radius = along / math.tan(angle / 2)
    a = draw((-1, 0, 0), [straight(2)], "A")
    b = draw((-math.cos(angle), -math.sin(angle), angle), [straight(2)], "B")
    turn = [(radius * angle, 1 / radius)]
    a_to_b = draw((-along, 0, 0), turn, "slip A to B")
    b_to_a = back(draw((along, 0, math.pi), turn, "slip B to A"))
    assert after(a_to_b)[:2] == pytest.approx((along * math.cos(angle), along * math.sin(angle)))
    net = linked([reach(a), reach(b), reach(a_to_b), reach(b_to_a)])
    assert kinds(net) == {"end": 4, "turnout": 4}
    names = {tuple(sorted(handles(net, pair))) for pair in moves(net)}
    assert names == {("A",), ("B",), *((one, f"slip {way}") for one in "AB" for way in ("A to B", "B to A"))}
    assert net.faults == ()
    facing = {round(joint.spot.x, 2): net.lines[joint.toe.line] for joint in net.joints if joint.kind == "turnout"}
    assert {x: round(length_of(found.elements), 2) for x, found in facing.items()} == dict.fromkeys(facing, 0.88)


def test_a_ladder():
    ladder = draw(ORIGIN, [straight(3)], "ladder")
    tracks = [line((x, 0, 0), [arc(0.6, 12), straight(1)], f"{x}") for x in (0.5, 0.8, 1.1, 1.4, 1.7)]
    net = linked([reach(ladder), *tracks])
    assert kinds(net) == {"end": 7, "turnout": 5}
    assert lengths(net)[:4] == pytest.approx([0.3] * 4)


def test_parallel_tracks_nearer_than_ten_snaps_are_not_confused():
    pieces = [line((0, 0.009 * number, 0), [straight(2)], str(number)) for number in range(6)]
    net = linked(pieces)
    assert kinds(net) == {"end": 12}
    assert net.faults == ()


# Loops and heights


def test_a_reversing_loop_is_one_line_with_both_ends_at_its_turnout():
    stem = draw((-1, 0, 0), [straight(1)], "stem")
    loop = draw(ORIGIN, [arc(0.5, 60), arc(-0.5, 300), arc(0.5, 60)], "loop")
    for pieces in ([reach(stem), reach(loop)], [reach([*stem, *loop])]):
        net = linked(pieces)
        joint = only(net, "turnout")
        assert net.lines[joint.toe.line].elements[0].handle == "stem"
        assert [end.line for end in legs(joint)] == [legs(joint)[0].line] * 2
        assert length_of(net.lines[legs(joint)[0].line].elements) == pytest.approx(length_of(loop))
        assert net.faults == ()


def test_a_reversing_loop_drawn_out_and_home_over_its_stem():
    stem = draw((-1, 0, 0), [straight(1)], "A")
    loop = draw(ORIGIN, [arc(0.5, 60), arc(-0.5, 300), arc(0.5, 60)], "A")
    net = linked([reach([*stem, *loop, *back(stem)])])
    assert kinds(net) == {"end": 1, "turnout": 1}
    assert lengths(net) == pytest.approx([1.0, length_of(loop)])


def helix(turns, grade):
    return draw(ORIGIN, [arc(0.6, 90)] * (4 * turns), "helix", heights=(0.0, grade))


@pytest.mark.parametrize("cut_up", [False, True])
def test_the_stacked_turns_of_a_helix_are_told_apart_by_height(cut_up):
    elements = helix(4, 0.02)
    pieces = [[element] for element in elements] if cut_up else [elements]
    net = linked([reach(piece) for piece in pieces])
    assert kinds(net) == {"end": 2}
    assert lengths(net) == pytest.approx([4 * 2 * math.pi * 0.6])
    assert net.lines[0].elements[0].start.z == 0.0 or net.lines[0].elements[-1].end.z == 0.0
    assert net.faults == ()


def test_tracks_into_a_helix_meet_the_turn_at_their_own_height():
    elements = helix(4, 0.02)
    turn = 2 * math.pi * 0.6 * 0.02
    branch = line((0, 0, math.pi), [straight(1)], "in", heights=(2 * turn, 0.0))
    assert only(linked([reach(elements), branch]), "turnout").spot.z == pytest.approx(2 * turn, abs=1e-6)


# Drawn twice


@pytest.mark.parametrize("turn_round", [False, True])
def test_a_line_drawn_twice_is_kept_once(turn_round):
    tracks = [straight(0.5), arc(0.7, 50), straight(0.4)]
    again = draw(ORIGIN, tracks, "B")
    net = linked([line(ORIGIN, tracks, "A"), reach(back(again) if turn_round else again)])
    assert kinds(net) == {"end": 2}
    assert [one.elements[0].handle for one in net.lines] == ["A"]
    assert [(fault.code, fault.handle) for fault in net.faults] == [("duplicate", "B")]
    assert net.faults[0].weight == pytest.approx(length_of(again))


def test_a_line_drawn_again_in_pieces_is_kept_once():
    tracks = [straight(0.5), arc(0.7, 50), straight(0.4)]
    again = parts(draw(ORIGIN, tracks, "B"), [0.2, 0.6, 1.2])
    pieces = [reach(shifted(piece, 0.0002 * (-1) ** number, 0.0003)) for number, piece in enumerate(again)]
    net = linked([line(ORIGIN, tracks, "A"), *pieces])
    assert kinds(net) == {"end": 2}
    assert [one.elements[0].handle for one in net.lines] == ["A"]
    assert {fault.code for fault in net.faults} <= {"duplicate", "gap"}


def test_lines_that_overlap_become_one():
    net = linked([line(ORIGIN, [straight(1)], "A"), line((0.6, 0, 0), [straight(1)], "B")])
    assert lengths(net) == pytest.approx([1.6])
    assert [(fault.code, round(fault.weight, 6)) for fault in net.faults] == [("overlap", 0.4)]


def test_a_turnout_drawn_as_two_full_routes_is_cut_where_they_part():
    main = line(ORIGIN, [straight(0.3), straight(0.9)], "main")
    branch = line(ORIGIN, [straight(0.3), arc(0.6, 30)], "branch")
    lead = line((-1, 0, 0), [straight(1)], "lead")
    for pieces in ([main, branch], [main, branch, lead]):
        net = linked(pieces)
        joint = only(net, "turnout")
        assert joint.spot[:2] == pytest.approx((0.3, 0.0))
        assert handles(net, legs(joint)) == {"main", "branch"}
        assert length_of(net.lines[joint.toe.line].elements) == pytest.approx(0.3 if len(pieces) == 2 else 1.3)
        assert codes(net) == ["overlap"]


def test_routes_that_share_a_stretch_without_an_end_in_it():
    main = line((-1, 0, 0), [straight(3)], "main")
    shared = draw(ORIGIN, [straight(0.8)], "branch")
    lead = back(draw(before(shared), [arc(0.7, 45), straight(0.3)], "branch"))
    branch = [*lead, *shared, *draw(after(shared), [arc(0.7, 45)], "branch")]
    net = linked([main, reach(branch)])
    assert kinds(net) == {"end": 4, "turnout": 2}
    assert lengths(net)[2:4] == pytest.approx([0.7 * math.pi / 4 + 0.3, 1.0])
    assert {round(joint.spot.x, 6) for joint in net.joints if joint.kind == "turnout"} == {0.0, 0.8}


@pytest.mark.parametrize("facing", [1, -1])
@pytest.mark.parametrize("curvature", [1.667, -1.667])
def test_routes_drawn_again_and_cut_near_the_toe_part_at_the_toe(facing, curvature):
    heading = 0.0 if facing > 0 else math.pi
    branch = draw((0.7 * facing, 0, heading), [straight(0.3), (0.3, curvature)], "B")
    main = draw((0, 0, heading), [straight(2)], "A")
    pieces = [main, shifted(main, 0.0, 0.0003), branch, *parts(shifted(branch, 0.0002, -0.0002), [0.313])]
    net = linked([reach(piece) for piece in pieces])
    assert only(net, "turnout").spot[:2] == pytest.approx((facing, 0.0), abs=SNAP)


@pytest.mark.parametrize("facing", [1, -1])
@pytest.mark.parametrize(
    "branch",
    [
        [[(0.014, 1.659)], [(0.4, 1.669)]],  # fitted in two parts near its toe
        [[(0.02, 1 / 0.6)], [(0.294, 1 / 0.6)]],  # cut near it
        [[(0.065, 0.5), straight(0.5)]],  # a short flat leg
    ],
)
def test_a_branch_parts_at_its_toe_alone(branch, facing):
    heading = 0.0 if facing > 0 else math.pi
    pieces, start = [line((0, 0, heading), [straight(2)], "A")], (0.5 * facing, 0, heading)
    for tracks in branch:
        pieces.append(line(start, tracks, "B"))
        start = after(draw(start, tracks, "B"))
    assert only(linked(pieces), "turnout").spot[:2] == pytest.approx((0.5 * facing, 0.0))


def test_a_thousand_copies_of_one_track_are_one():
    net = linked([line(ORIGIN, [straight(1)], f"{number:04}") for number in range(1000)])
    assert [one.elements[0].handle for one in net.lines] == ["0000"]
    assert codes(net) == ["duplicate"] * 999


def test_a_star_of_ends_is_no_joint_and_takes_no_time():
    rays = [line((0, 0, math.radians(number * 0.1)), [straight(6)], str(number)) for number in range(3600)]
    net = linked(rays)
    assert kinds(net) == {"end": 7200}
    assert codes(net) == ["no-tangent"]


# Strays and errors


def test_stray_pieces_are_told_longest_first():
    pieces = [
        line(ORIGIN, [straight(4)], "main"),
        line((0, 1, 0), [straight(0.1)], "a"),
        line((2, 1, 0), [arc(0.3, 30)], "b"),
    ]
    net = linked(pieces)
    assert [(fault.code, fault.handle) for fault in net.faults] == [("stray", "b"), ("stray", "a")]
    assert net.faults[1].spot[:2] == pytest.approx((0.05, 1.0))


def test_a_speck_is_left_out():
    net = linked([line(ORIGIN, [straight(4)], "main"), line((1, 1, 0), [straight(0.0005)], "speck")])
    assert len(net.lines) == 1
    assert [(fault.code, fault.handle) for fault in net.faults] == [("stray", "speck")]


def test_nothing_drawn_is_nothing_linked():
    assert linked([]) == Linked((), (), ())


@pytest.mark.parametrize(("tracks", "message"), [([(0.0, 0.0)], "longer than 0"), ([(math.nan, 0.0)], "not finite")])
def test_elements_without_a_length_are_refused(tracks, message):
    with pytest.raises(DrawingError, match=message):
        linked([line(ORIGIN, tracks, "A")])
