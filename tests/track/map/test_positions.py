"""Positions by dead reckoning, against figures worked by hand and integrals summed step by step."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.plan import read_plan
from gradehaul.plan.records import Note
from gradehaul.track.curvature import Section, chains, sections
from gradehaul.track.map.closing import closure_notes
from gradehaul.track.map.plane import Pose, points
from gradehaul.track.map.positions import ClosureError, Positions, map_positions

if TYPE_CHECKING:
    from gradehaul.plan.records import Plan

HEAD = 'scale = "HO"\nunit = "m"\n'


def miss_notes(plan: Plan, found: Positions) -> list[Note]:
    return [note for note, _ in closure_notes(plan, found, sections(plan, chains(plan)))]


def placed(text: str, head: str = HEAD) -> tuple[Plan, Positions]:
    plan = read_plan(head + text)
    return plan, map_positions(plan, sections(plan, chains(plan)))


def line(name: str, start: str, finish: str, track: str) -> str:
    return f'[line.{name}]\nfrom = "{start}"\nto = "{finish}"\ntrack = [{track}]\n'


def end_of(parts: list[Section]) -> tuple[float, float]:
    x, y = points(parts, tolerance=1e-3).xy[-1]
    return float(x), float(y)


def summed(parts: list[Section], steps: int = 200_000) -> tuple[float, float]:
    """Add up short steps along the heading at the middle of each, the midpoint rule."""
    x = y = heading = 0.0
    for part in parts:
        h = part.length / steps
        s = (np.arange(steps) + 0.5) * h
        angle = heading + part.first * s + 0.5 * (part.last - part.first) / part.length * s**2
        x, y = x + h * float(np.cos(angle).sum()), y + h * float(np.sin(angle).sum())
        heading += 0.5 * part.length * (part.first + part.last)
    return x, y


# One track


def test_a_quarter_turn_to_the_right_ends_a_radius_ahead_and_a_radius_to_the_right() -> None:
    assert end_of([Section(0.5 * math.pi * 0.6, -1 / 0.6, -1 / 0.6)]) == pytest.approx((0.6, -0.6), abs=1e-14)


def test_a_nearly_straight_arc_neither_cancels_nor_divides_by_zero() -> None:
    x, y = end_of([Section(2.0, 1e-12, 1e-12)])
    assert x == pytest.approx(2.0, abs=1e-15)
    assert y == pytest.approx(2e-12, rel=1e-6)  # κ s² / 2


@pytest.mark.parametrize(
    "parts",
    [
        [Section(0.4, 0.0, 2.0)],
        [Section(0.4, 2.0, 0.0)],
        [Section(0.5, -2.0, 1.5)],
        [Section(0.3, 0.0, -1.7), Section(0.7, -1.7, -1.7), Section(0.3, -1.7, 0.0)],
        [Section(9.0, 0.0, 3.0)],  # more than two full turns
        [Section(0.3, 2.0, 2.0000001)],
    ],
)
def test_an_easement_ends_where_short_steps_lead(parts: list[Section]) -> None:
    assert end_of(parts) == pytest.approx(summed(parts), abs=2e-9)


def test_a_clothoid_ends_where_the_fresnel_integrals_say() -> None:
    from scipy.special import fresnel

    length, radius = 0.5, 0.4
    scale = math.sqrt(math.pi * radius * length)
    s, c = fresnel(length / scale)
    assert end_of([Section(length, 0.0, 1 / radius)]) == pytest.approx((scale * c, scale * s), abs=1e-15)


@given(
    st.lists(
        st.builds(Section, st.floats(0.01, 3.0), st.floats(-3.0, 3.0), st.floats(-3.0, 3.0)), min_size=1, max_size=4
    ),
    st.floats(1e-5, 1e-2),
)
def test_chords_stay_within_the_tolerance_and_points_do_not_depend_on_it(
    parts: list[Section], tolerance: float
) -> None:
    trace = points(parts, tolerance=tolerance)
    assert trace.distance[-1] == pytest.approx(sum(part.length for part in parts))
    step = np.hypot(*np.diff(trace.xy, axis=0).T)
    assert np.all(step <= np.diff(trace.distance) + 1e-12)  # a chord is no longer than its arc
    if trace.distance.size < 1000:
        fine = points(parts, tolerance=tolerance / 4, most=10**6)
        assert fine.xy[-1] == pytest.approx(trace.xy[-1], abs=1e-12)
        chord = np.column_stack([np.interp(fine.distance, trace.distance, trace.xy[:, axis]) for axis in (0, 1)])
        piece = np.clip(np.searchsorted(trace.distance, fine.distance) - 1, 0, step.size - 1)
        along = np.diff(trace.xy, axis=0)[piece] / step[piece, np.newaxis]
        off = fine.xy - chord
        across = np.abs(along[:, 0] * off[:, 1] - along[:, 1] * off[:, 0])
        assert across.max() <= tolerance * 1.05


def test_the_sagitta_of_an_arc_just_meets_the_tolerance() -> None:
    """16 chords of a full circle: the sagitta R (1 − cos(π/16)) is 0.0192 R, by κ h²/8 0.0193 R."""
    trace = points([Section(math.tau, 1.0, 1.0)], tolerance=(math.tau / 16) ** 2 / 8)
    assert trace.distance.size == 17


def test_a_track_is_never_cut_into_more_than_the_most_pieces() -> None:
    assert points([Section(1e9, 1.0, 1.0)], tolerance=1e-9).distance.size == 2001
    assert points([Section(1e6, 1.0, 1.0), Section(1e6, 1.0, 0.0)], tolerance=1e-9).distance.size <= 2002
    long = points([Section(10.0, 0.0, 0.0)], tolerance=1e-3, longest=2.5)
    assert long.distance.tolist() == [0.0, 2.5, 5.0, 7.5, 10.0]


# Figures


@pytest.mark.parametrize("hand", ["left", "right"])
@pytest.mark.parametrize("ease", [0.0, 0.3])
def test_a_square_with_rounded_corners_closes(hand: str, ease: float) -> None:
    track = ", ".join([f"{{ straight = 1.25 }}, {{ {hand} = 0.7, angle = 90, ease = {ease} }}"] * 2)
    text = "railhead.A = 0\n" + line("North", "A", "B", track) + line("South", "B", "A", track)
    plan, found = placed(text)
    (closure,) = found.closures
    assert sorted(closure.lines) == ["North", "South"]
    assert closure.distance < 1e-14
    assert found.usable(0)
    assert miss_notes(plan, found) == []


def test_tracks_start_where_the_ones_before_end() -> None:
    """Worked by hand: 1 m along y, a quarter turn right at 0.5 m, then along x."""
    text = line("Up", "A", "B", "{ straight = 1 }, { right = 0.5, angle = 90 }") + line(
        "On", "C", "B", "{ straight = 2 }"
    )
    _, found = placed('railhead.A = 0\nmap = { joint = "A", x = 3, y = -1, heading = 90 }\n' + text)
    assert found.tracks["Up:1"].start == pytest.approx((3.0, -1.0, math.pi / 2))
    assert found.tracks["Up:2"].start == pytest.approx((3.0, 0.0, math.pi / 2))
    # On runs toward B, so it starts 2 m beyond B and heads back
    assert found.joints["B"].pose[:2] == pytest.approx((3.5, 0.5))
    assert found.joints["C"].pose[:2] == pytest.approx((5.5, 0.5))
    x, y, heading = found.tracks["On:1"].start
    assert (x, y) == pytest.approx((5.5, 0.5))
    assert abs(heading) == pytest.approx(math.pi)


def test_the_maps_heading_is_that_of_the_first_line_that_starts_at_the_joint() -> None:
    """Lines that only end at the joint leave it against their own direction."""
    start = 'railhead.A = 0\nmap = { joint = "B" }\n'
    into = line("Into", "A", "B", "{ straight = 1 }")
    out = line("Out", "B", "C", "{ straight = 2 }")
    _, found = placed(start + into + out)
    assert found.joints["A"].pose[:2] == pytest.approx((-1.0, 0.0))
    assert found.joints["C"].pose[:2] == pytest.approx((2.0, 0.0))
    _, found = placed(start + into)
    assert found.joints["A"].pose[:2] == pytest.approx((1.0, 0.0))


def test_legs_of_a_turnout_leave_along_one_tangent_away_from_the_toe() -> None:
    text = (
        'railhead.A = 0\nturnout.T = { toe = "Lead", legs = ["Main", "Spur"] }\n'
        + line("Lead", "A", "T", "{ straight = 1 }")
        + line("Main", "T", "B", "{ straight = 1 }")
        + line("Spur", "C", "T", "{ left = 1, angle = 90 }")
    )
    _, found = placed(text)
    assert found.joints["B"].pose[:2] == pytest.approx((2.0, 0.0))
    # toward T it turns left, so away from T it turns right
    assert found.joints["C"].pose[:2] == pytest.approx((2.0, -1.0))


def reversing_loop(straight: float) -> str:
    """Return a loop: 45° off the axis, a straight, 270° round, and the same back."""
    return (
        'railhead.A = 0\nturnout.T = { toe = "Lead", legs = ["Loop.from", "Loop.to"] }\n'
        + line("Lead", "A", "T", "{ straight = 1 }")
        + line(
            "Loop",
            "T",
            "T",
            f"{{ right = 0.5, angle = 45 }}, {{ straight = {straight!r} }}, {{ left = 0.5, angle = 270 }}, "
            f"{{ straight = {straight!r} }}, {{ right = 0.5, angle = 45 }}",
        )
    )


def test_a_reversing_loop_closes_onto_its_own_turnout() -> None:
    """By hand: the turnout curve ends R (1 − 1/√2) off the axis, and the loop's circle has to begin R/√2 off it.

    What is between, R (√2 − 1), is a straight of R (2 − √2) at 45°.
    """
    _, found = placed(reversing_loop(0.5 * (2 - math.sqrt(2))))
    (closure,) = found.closures
    assert closure.lines == ("Loop",)
    assert closure.distance < 1e-14
    assert closure.angle == pytest.approx(0.0, abs=1e-14)


def test_a_reversing_loop_that_misses_tells_by_how_much() -> None:
    """Each straight 0.1 m too long opens the ends by 2 × 0.1 m × sin 45°, across the axis."""
    plan, found = placed(reversing_loop(0.5 * (2 - math.sqrt(2)) + 0.1))
    (closure,) = found.closures
    assert closure.distance == pytest.approx(0.1 * math.sqrt(2))
    assert closure.length == pytest.approx(0.5 * 2 * math.pi + 2 * (0.5 * (2 - math.sqrt(2)) + 0.1))
    assert closure.share == pytest.approx(closure.distance / closure.length)
    assert not found.usable(0)
    (note,) = miss_notes(plan, found)
    assert str(note) == "loop Loop: misses closing by 0.14 m over 3.927 m (3.6 %), at joint T"


def passing_loop(extra: float, angle: float = 0.0) -> str:
    """Return a straight main line with a passing loop beside it, that is too long and turns too far by so much."""
    curve = 2 * math.sin(math.radians(30))
    return (
        "railhead.A = 0\n"
        'turnout.T = { toe = "West", legs = ["Main", "Loop"] }\n'
        'turnout.U = { toe = "East", legs = ["Main", "Loop"] }\n'
        + line("West", "A", "T", "{ straight = 1 }")
        + line("Main", "T", "U", f"{{ straight = {2 * curve + 2 + extra!r} }}")
        + line(
            "Loop",
            "U",
            "T",
            "{ right = 1, angle = 30 }, { left = 1, angle = 30 }, { straight = 2 }, "
            f"{{ left = 1, angle = 30 }}, {{ right = 1, angle = {30 + angle!r} }}",
        )
        + line("East", "U", "B", "{ straight = 1 }")
    )


def test_a_passing_loop_misses_by_what_its_main_is_too_long() -> None:
    plan, found = placed(passing_loop(0.01))
    (closure,) = found.closures
    assert sorted(closure.lines) == ["Loop", "Main"]
    assert closure.distance == pytest.approx(0.01)
    assert closure.angle == pytest.approx(0.0, abs=1e-12)
    length = 4.01 + 2 + 4 * math.pi / 6
    assert closure.length == pytest.approx(length)
    assert found.usable(0)
    (note,) = miss_notes(plan, found)
    # 0.01 / 8.104 = 0.1234 %
    assert str(note).startswith("loop Main, Loop: misses closing by 0.01 m over 8.104 m (0.12 %), at joint U; ")


def test_a_misclosure_in_angle_alone_is_told_too() -> None:
    """The last half degree of the loop, at T, turns about a center 1 m away: 2 sin 0.25° m off."""
    plan, found = placed(passing_loop(0.0, 0.5))
    (closure,) = found.closures
    assert abs(closure.angle or 0.0) == pytest.approx(math.radians(0.5))
    (note,) = miss_notes(plan, found)
    assert "and 0.5° over" in note.text


@pytest.mark.parametrize(("extra", "usable"), [(0.0999, True), (0.1001, False)])
def test_one_per_cent_of_the_figure_is_the_limit(extra: float, usable: bool) -> None:
    """A circle of 5 m with a straight of x in it misses by x over 5 m + x."""
    radius, straight = 5 / math.tau, extra * 5 / (10 - extra)
    _, found = placed(
        "railhead.A = 0\n" + line("R", "A", "A", f"{{ left = {radius!r}, angle = 360 }}, {{ straight = {straight!r} }}")
    )
    assert found.closures[0].share == pytest.approx(extra / 10)
    assert found.usable(0) is usable


def test_a_note_speaks_in_the_plans_unit() -> None:
    """A circle of 24 in and half an inch of straight: 0.5 in over 151.3 in."""
    text = 'railhead.A = 0\n[line.R]\nfrom = "A"\nto = "A"\ntrack = [{ left = 24, angle = 360 }, { straight = 0.5 }]\n'
    plan, found = placed(text, head='scale = "HO"\nunit = "in"\n')
    (note,) = miss_notes(plan, found)
    assert str(note) == "loop R: misses closing by 0.5 in over 151.3 in (0.33 %), at joint A"


def test_a_long_figure_names_its_first_lines() -> None:
    plan, _ = placed("railhead.A = 0\n" + line("R", "A", "B", "{ straight = 1 }"))
    closure = ClosureError(tuple(f"L{n}" for n in range(30)), 0, 0.2, 0.1, 10.0)
    (note,) = miss_notes(plan, Positions({}, {}, (closure,)))
    assert note.place == "loop L0, L1, L2, L3, L4, L5, L6, L7 and 22 more"


# Crossings and turntables


@pytest.mark.parametrize(("lead", "miss"), [(1.0, 0.0), (0.0, math.sqrt(2))])
def test_a_figure_of_eight_is_one_figure_and_its_crossing_another(lead: float, miss: float) -> None:
    """By hand: from (0, 0) a straight of 1 m, 270° at 1 m and a straight of 1 m lead back to (0, 0), heading down.

    With the straights before and after the curve of 0 and 2 m they lead to (-1, -1), which the lobe of the other hand
    takes back to (0, 0): the whole closes, and the crossing does not.
    """
    before = f"{{ straight = {lead} }}, " if lead else ""
    after = f", {{ straight = {2 - lead} }}"
    _, found = placed(
        'railhead.X = 0\ncrossing.X = { through = [["One.from", "Two.to"], ["Two.from", "One.to"]] }\n'
        + line("One", "X", "X", before + "{ left = 1, angle = 270 }" + after)
        + line("Two", "X", "X", before + "{ right = 1, angle = 270 }" + after)
    )
    (whole,) = [closure for closure in found.closures if closure.angle is not None]
    (crossing,) = [closure for closure in found.closures if closure.angle is None]
    assert sorted(whole.lines) == ["One", "Two"]
    assert whole.distance == pytest.approx(0.0, abs=1e-14)
    assert crossing.lines == ("One",)
    assert crossing.distance == pytest.approx(miss, abs=1e-14)
    assert found.usable(0) is (miss == 0.0)


def crossing(moves: str = "") -> str:
    return (
        f'railhead.A = 0\nrailhead.C = 0\ncrossing.X = {{ through = [["LA", "LB"], ["LC", "LD"]]{moves} }}\n'
        + line("LA", "A", "X", "{ straight = 1 }")
        + line("LB", "X", "B", "{ straight = 1 }")
        + line("LC", "C", "X", "{ straight = 1 }")
        + line("LD", "X", "D", "{ straight = 2 }")
    )


def test_lines_that_cross_at_an_unknown_angle_lie_in_frames_of_their_own() -> None:
    _, found = placed(crossing())
    assert found.tracks["LA:1"].frame == found.tracks["LB:1"].frame == 0
    assert found.tracks["LC:1"].frame == found.tracks["LD:1"].frame == 1
    assert found.joints["B"].pose[:2] == pytest.approx((2.0, 0.0))
    assert found.tracks["LD:1"].start == pytest.approx((1.0, 0.0, 0.0))
    assert found.closures == ()


def test_a_slip_turns_through_the_angle_of_its_crossing_which_is_not_known() -> None:
    _, found = placed(crossing(', moves = [["LA", "LD"]]'))
    assert found.tracks == placed(crossing())[1].tracks


def test_positions_do_not_go_on_across_a_turntable() -> None:
    text = (
        'railhead.A = 0\ntable.Shed = { lines = ["Lead", "S1", "S2"] }\nmap = { joint = "A", x = 5 }\n'
        + line("S1", "Shed", "B", "{ straight = 1 }")
        + line("S2", "Shed", "C", "{ straight = 2 }")
        + line("Lead", "A", "Shed", "{ straight = 1 }")
    )
    _, found = placed(text)
    assert [found.tracks[name].frame for name in ("Lead:1", "S1:1", "S2:1")] == [0, 1, 2]
    assert found.tracks["Lead:1"].start == Pose(5.0, 0.0, 0.0)
    assert found.tracks["S2:1"].start == Pose(0.0, 0.0, 0.0)
    assert found.closures == ()


# Properties

LEGS = st.sampled_from(["{ straight = 1.5 }", "{ left = 0.8, angle = 60 }", "{ right = 1.1, angle = 75, ease = 0.2 }"])


@given(st.lists(LEGS, min_size=1, max_size=8), st.integers(0, 7), st.booleans())
def test_a_chain_lies_the_same_however_its_lines_are_cut_and_written(tracks: list[str], cut: int, turn: bool) -> None:
    """The same track as one line and as two, the second written against its direction."""
    cut = min(cut, len(tracks) - 1)
    start = 'railhead.A = 0\nmap = { joint = "A", x = 0.3, y = 0.7, heading = 20 }\n'
    _, whole = placed(start + line("L", "A", "Z", ", ".join(tracks)))
    if cut == 0:
        return
    first = line("M", "A", "B", ", ".join(tracks[:cut]))
    rest = tracks[cut:]
    if turn:
        other = {"left": "right", "right": "left"}
        rest = [" ".join(other.get(word, word) for word in track.split(" ")) for track in reversed(rest)]
    second = line("N", "Z", "B", ", ".join(rest)) if turn else line("N", "B", "Z", ", ".join(rest))
    _, parts = placed(start + first + second)
    assert parts.joints["Z"].pose[:2] == pytest.approx(whole.joints["Z"].pose[:2], abs=1e-12)


# Places that are told


def at(x: float, y: float, heading: float = 0.0) -> str:
    return f"at = [{x}, {y}]\nheading = {heading}\n"


def test_a_line_lies_where_it_is_told_and_what_joins_it_goes_on_from_there() -> None:
    text = line("Main", "A", "B", "{ straight = 3 }") + at(1, 2, 90) + line("On", "B", "C", "{ straight = 1 }")
    _, found = placed("railhead.A = 0\n" + text)
    assert found.tracks["Main:1"].start == pytest.approx((1, 2, math.pi / 2))
    assert found.tracks["On:1"].start == pytest.approx((1, 5, math.pi / 2))
    assert (found.joints["C"].pose.x, found.joints["C"].pose.y) == pytest.approx((1, 6))
    assert {track.frame for track in found.tracks.values()} == {0}


def test_small_breaks_between_lines_do_not_add_up() -> None:
    # each line is told to begin a little beside the end of the one before, and turned against it
    text = "".join(
        line(f"L{n}", f"J{n}", f"J{n + 1}", "{ straight = 1 }") + at(n, 0.001 * n, 0.02 * (n % 2)) for n in range(9)
    )
    plan, found = placed("railhead.J0 = 0\n" + text)
    for n in range(9):
        start = found.tracks[f"L{n}:1"].start
        assert start == pytest.approx((n, 0.001 * n, math.radians(0.02 * (n % 2))), abs=1e-12)
    assert len(found.closures) == 8
    assert all(0.0005 < closure.distance < 0.0015 for closure in found.closures)
    assert miss_notes(plan, found) == []  # a drawing breaks by as much


def test_pieces_that_no_rail_joins_lie_in_one_frame_where_their_places_are_told() -> None:
    text = line("Main", "A", "B", "{ straight = 3 }") + at(0, 0)
    apart = line("Far", "C", "D", "{ straight = 3 }")
    _, found = placed("railhead.A = 0\n" + text + apart + at(0, 1))
    assert found.tracks["Far:1"].frame == 0
    assert found.tracks["Far:1"].start == pytest.approx((0, 1, 0))
    _, found = placed("railhead.A = 0\n" + text + apart)
    assert found.tracks["Far:1"].frame == 1


def test_a_figure_of_lines_that_are_not_told_still_closes_against_told_ones() -> None:
    text = line("Main", "A", "B", "{ straight = 3 }") + at(0, 0)
    text += line("Back", "B", "A", "{ left = 1, angle = 180 }, { straight = 3.01 }, { left = 1, angle = 180 }")
    _, found = placed("railhead.A = 0\n" + text)
    (closure,) = found.closures
    assert closure.distance == pytest.approx(0.01)
    assert closure.lines == ("Main", "Back")
    assert closure.length == pytest.approx(6.01 + 2 * math.pi)


def test_a_map_beside_told_places_starts_what_is_left_in_their_frame() -> None:
    text = line("Main", "A", "B", "{ straight = 3 }") + at(0, 0) + line("Far", "C", "D", "{ straight = 3 }")
    _, found = placed('railhead.A = 0\nmap = { joint = "C", x = 0, y = 1 }\n' + text)
    assert (found.tracks["Far:1"].frame, found.tracks["Far:1"].start) == (0, pytest.approx((0, 1, 0)))
