"""Clear lengths of berths, against fouling points worked out by trigonometry and by measuring point by point."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradehaul.plan import read_plan
from gradehaul.scales import clear_height, scale_named
from gradehaul.track.alignment import Alignment, align
from gradehaul.track.map.plane import points
from gradehaul.track.proximity.fouling import ClearLength, clear_lengths, fouling_notes

if TYPE_CHECKING:
    from collections.abc import Sequence

HEAD = 'scale = "HO"\nunit = "m"\nrailhead.A = 0\n'
HO = scale_named("HO")
FOUL = HO.fouling_distance
MM = 1e-3
# NMRA S-8 in HO, class Ia (read second-hand): 2 1/2 in about one center where the inner radius is 32 in, 1 13/16 in on
# straight track; what a curve needs more is in proportion to the curvature
MORE = (2.5 - 1.8125) * 32 * 0.0254**2


def foul(radius: float) -> float:
    """Return the fouling distance beside a curve; without stock in the plan the longest counts."""
    return FOUL + MORE / radius


def aligned(text: str, head: str = HEAD) -> Alignment:
    return align(read_plan(head + text))


def clear(text: str, head: str = HEAD) -> dict[str, ClearLength]:
    return clear_lengths(aligned(text, head))


def line(name: str, start: str, finish: str, track: str, more: str = "") -> str:
    return f'[line.{name}]\nfrom = "{start}"\nto = "{finish}"\n{more}\ntrack = [{track}]\n'


def turnout(leg: str, main: str, berth_on: str = "Spur") -> str:
    """Return a lead that divides into two legs at 0, heading along x; one of them is the berth."""
    return (
        '[turnout.T]\ntoe = "Lead"\nlegs = ["Main", "Spur"]\n'
        + line("Lead", "A", "T", "{ straight = 1 }")
        + line("Main", "T", "B", main, 'berth = "Standing"' if berth_on == "Main" else "")
        + line("Spur", "T", "C", leg, 'berth = "Standing"' if berth_on == "Spur" else "")
    )


# One turnout


@pytest.mark.parametrize("radius", [0.4, 0.7, 2.0])
@pytest.mark.parametrize("hand", ["left", "right"])
def test_a_curved_leg_is_fouled_to_where_its_offset_is_the_fouling_distance(radius: float, hand: str) -> None:
    """R (1 − cos θ) = d, and the place along the curve is R θ."""
    found = clear(turnout(f"{{ {hand} = {radius}, angle = 80 }}", "{ straight = 3 }"))["Standing"]
    place = radius * math.acos(1 - foul(radius) / radius)
    whole = radius * math.radians(80)
    assert found.basis == "map"
    assert found.start == pytest.approx(place, abs=0.2 * MM)
    assert found.stop == pytest.approx(whole)
    assert found.length == pytest.approx(whole - place, abs=0.2 * MM)


def test_the_same_berth_written_toward_the_turnout_is_fouled_at_its_end() -> None:
    text = turnout("{ left = 0.7, angle = 80 }", "{ straight = 3 }").replace(
        line("Spur", "T", "C", "{ left = 0.7, angle = 80 }", 'berth = "Standing"'),
        line("Spur", "C", "T", "{ right = 0.7, angle = 80 }", 'berth = "Standing"'),
    )
    found = clear(text)["Standing"]
    assert found.start == 0.0
    assert found.stop == pytest.approx(0.7 * (math.radians(80) - math.acos(1 - foul(0.7) / 0.7)), abs=0.2 * MM)


def test_the_track_at_a_toe_stands_clear_up_to_the_turnout() -> None:
    text = turnout("{ left = 0.7, angle = 80 }", "{ straight = 3 }").replace(
        'to = "T"\n\n', 'to = "T"\nberth = "Throat"\n', 1
    )
    found = clear(text)["Throat"]
    assert (found.start, found.stop) == (0.0, pytest.approx(1.0))


def test_the_track_that_goes_on_does_not_foul_a_berth_in_the_middle_of_a_line() -> None:
    """However its line is cut, and on the sharpest curve that HO trains run on."""
    curve = "{ left = 0.3, angle = 30 }"
    middle = "{ left = 0.3, angle = 30, berth = 'Stop' }"
    found = clear(line("Round", "A", "B", f"{curve}, {middle}, {middle}, {curve}"))["Stop"]
    assert found.length == pytest.approx(0.3 * math.radians(60))
    short = ", ".join(["{ left = 0.3, length = 0.011 }"] * 9)
    cut = line("One", "A", "B", f"{curve}, {short}") + line("Two", "B", "C", middle) + line("Three", "D", "C", short)
    cut = cut.replace('from = "D"\nto = "C"\n\ntrack = [{ left', 'from = "D"\nto = "C"\n\ntrack = [{ right', 1)
    assert clear(cut)["Stop"].length == pytest.approx(0.3 * math.radians(30))


# Sidings, yards and crossings


def test_a_siding_joined_at_both_ends_has_a_fouling_point_at_both() -> None:
    """Legs of 0.7 m radius through 20° and back: the offset passes d on the second curve, at both ends alike."""
    spread = 4 * 0.7 * math.sin(math.radians(20))
    text = (
        'turnout.T = { toe = "West", legs = ["Main", "Siding"] }\n'
        'turnout.U = { toe = "East", legs = ["Main", "Siding"] }\n'
        + line("West", "A", "T", "{ straight = 1 }")
        + line("Main", "T", "U", f"{{ straight = {spread + 2!r} }}")
        + line(
            "Siding",
            "T",
            "U",
            "{ left = 0.7, angle = 20 }, { right = 0.7, angle = 20 }, { straight = 2 }, "
            "{ right = 0.7, angle = 20 }, { left = 0.7, angle = 20 }",
            'berth = "Passing"',
        )
        + line("East", "U", "B", "{ straight = 1 }")
    )
    assert 0.7 * (1 - math.cos(math.radians(20))) < foul(0.7)  # so the point lies on the second curve
    height = 2 * 0.7 * (1 - math.cos(math.radians(20)))
    # on the second curve, φ short of its end, the offset is height − R (1 − cos φ)
    before_end = math.acos(1 - (height - foul(0.7)) / 0.7)
    place = 0.7 * (2 * math.radians(20) - before_end)
    whole = 2 + 4 * 0.7 * math.radians(20)
    found = clear(text)["Passing"]
    assert found.start == pytest.approx(place, abs=0.3 * MM)
    assert found.stop == pytest.approx(whole - place, abs=0.3 * MM)
    assert found.length == pytest.approx(found.stop - found.start)
    assert [by.track for by in found.fouled_by] == ["Main:1"]
    assert found.fouled_by[0].distance == pytest.approx(0.0, abs=1e-9)


def ladder(tracks: int, angle: float, gap: float) -> str:
    """Return a ladder at an angle to a lead, with parallel yard tracks that leave it every `gap` m to the right."""
    text = '[turnout.T0]\ntoe = "Lead"\nlegs = ["Yard0", "Rung0"]\n'
    text += line("Lead", "A", "T0", "{ straight = 1 }")
    text += line("Yard0", "T0", "E0", "{ straight = 3 }", 'berth = "Berth 0"')
    for n in range(1, tracks):
        own = f"{{ left = 0.8, angle = {angle} }}, " if n == 1 else ""
        text += line(f"Rung{n - 1}", f"T{n - 1}", f"T{n}", f"{own}{{ straight = {gap!r} }}")
        last = n == tracks - 1
        text += line(
            f"Yard{n}",
            f"T{n}",
            f"E{n}",
            f"{{ right = 0.8, angle = {angle} }}, {{ straight = 2 }}",
            f'berth = "Berth {n}"',
        )
        text += f'[turnout.T{n}]\ntoe = "Rung{n - 1}"\nlegs = ["Yard{n}", "Rung{n}"]\n'
        if last:
            text += line(f"Rung{n}", f"T{n}", "Tail", "{ straight = 0.5 }")
    return text


def test_every_track_of_a_ladder_is_fouled_by_the_ladder_itself() -> None:
    """Away from the ladder's line the yard curve is R (1 − cos θ): d at R acos(1 − d / R), if before its end.

    Here 0.8 (1 − cos 25°) = 75 mm is more than d, and the tracks then lie 0.3 sin 25° = 127 mm apart.
    """
    found = clear(ladder(6, 25.0, 0.3))
    place = 0.8 * math.acos(1 - foul(0.8) / 0.8)
    for n in range(1, 6):
        assert found[f"Berth {n}"].start == pytest.approx(place, abs=0.2 * MM)
        assert found[f"Berth {n}"].stop == pytest.approx(0.8 * math.radians(25) + 2)
    # the first yard track is straight, and the ladder's own curve beside it
    assert found["Berth 0"].start == pytest.approx(math.sqrt(2 * 0.8 * foul(0.8) + foul(0.8) ** 2), abs=0.2 * MM)


@pytest.mark.parametrize("hair", [0.05 * MM, 1 * MM, 10 * MM])
def test_parallel_tracks_wider_apart_than_the_fouling_distance_do_not_foul(hair: float) -> None:
    """Two half turns about one center."""
    found = clear(concentric(foul(0.6) + hair))
    assert found["Inner"].length == pytest.approx(math.pi * 0.6)
    assert found["Outer"].length == pytest.approx(math.pi * (0.6 + foul(0.6) + hair))


def concentric(apart: float) -> str:
    """Return two half turns of one line about one center, with a wider half turn between."""
    return line(
        "Long",
        "A",
        "B",
        "{ left = 0.6, angle = 180, berth = 'Inner' }, { straight = 1 }, "
        f"{{ left = {0.6 + 0.5 * apart!r}, angle = 180 }}, {{ straight = 1 }}, "
        f"{{ left = {0.6 + apart!r}, angle = 180, berth = 'Outer' }}",
    )


def test_lines_that_cross_through_one_another_foul_both_ways_from_the_crossing() -> None:
    """Across a track at the angle α a place is clear from d / sin α on; here 90°, by a loop that crosses itself."""
    text = line("Loop", "A", "B", "{ straight = 2, berth = 'Across' }, { left = 0.5, angle = 270 }, { straight = 2 }")
    found = clear(text)["Across"]
    # the loop comes back across it 0.5 m before its end
    assert found.start == 0.0
    assert found.stop == pytest.approx(1.5 - FOUL, abs=0.1 * MM)


# Levels


def helix(rise: float) -> str:
    """Return a helix of three turns, the middle one a berth, rising so much in each."""
    turn = f"{{ left = 0.6, angle = 360, rise = {rise!r} }}"
    return "vertical_curve.length = 0\n" + line("Helix", "A", "B", f"{turn}, {turn[:-2]}, berth = 'Turn' }}, {turn}")


@pytest.mark.parametrize("practice", ["NMRA", "NEM"])
def test_stacked_turns_of_a_helix_are_not_on_one_level(practice: str) -> None:
    high = clear_height(HO, "NMRA" if practice == "NMRA" else "NEM")
    head = f'practice = "{practice}"\n' + HEAD
    # within the fouling distance along the rail the turn above is a little less than a whole turn away
    margin = 1 + 3 * FOUL / (math.tau * 0.6)
    assert clear(helix(high * margin), head)["Turn"].length == pytest.approx(math.tau * 0.6)
    assert clear(helix(high * 0.9), head)["Turn"].length < 0.4


@pytest.mark.parametrize("way", ["10 %", "-10 %"])
def test_a_track_that_climbs_away_fouls_only_while_it_is_on_the_level(way: str) -> None:
    """A leg that runs parallel at an offset o and climbs at 10 %: its near places reach √(d² − o²) back, and lower."""
    high = clear_height(HO, "NMRA")
    spur = "{ left = 2, angle = 1, rise = 0 }, { right = 2, angle = 1, rise = 0 }, "
    text = turnout(f"{spur}{{ straight = 2, grade = '{way}' }}", "{ straight = 3 }", "Main")
    found = clear("vertical_curve.length = 0\n" + text)["Standing"]
    offset = 4 * (1 - math.cos(math.radians(1)))
    ends_at = 4 * math.sin(math.radians(1)) + high / 0.1 + math.sqrt(FOUL**2 - offset**2)
    assert found.start == pytest.approx(ends_at, abs=0.05 * MM)
    assert found.stop == pytest.approx(3.0)


# What else counts


@pytest.mark.parametrize(("where", "start"), [("Spur", 0.7 * math.radians(80) - 0.3), ("Main", 2.7)])
def test_a_stated_length_holds_and_is_laid_against_the_end_of_track(where: str, start: float) -> None:
    text = turnout("{ left = 0.7, angle = 80 }", "{ straight = 3 }", where)
    found = clear(text.replace('berth = "Standing"', 'berth = "Standing"\nclear = 0.3'))["Standing"]
    assert found == ClearLength("Standing", 0.3, pytest.approx(start), pytest.approx(start + 0.3), "stated")


def test_a_map_that_does_not_close_gives_the_whole_length_and_says_why() -> None:
    text = (
        'turnout.T = { toe = "West", legs = ["Main", "Siding"] }\n'
        'turnout.U = { toe = "East", legs = ["Main", "Siding"] }\n'
        + line("West", "A", "T", "{ straight = 1 }", 'berth = "Stated"\nclear = 0.5')
        + line("Main", "T", "U", "{ straight = 2 }")
        + line("Siding", "T", "U", "{ straight = 2.1 }", 'berth = "Passing"')
        + line("East", "U", "B", "{ straight = 1 }")
    )
    alignment = aligned(text)
    found = clear_lengths(alignment)
    assert found["Passing"] == ClearLength("Passing", 2.1, 0.0, 2.1, "whole")
    assert found["Stated"].basis == "stated"
    (note,) = fouling_notes(alignment)
    assert note.place == 'berth "Passing"'
    assert note.text.startswith("its whole length of 2.1 m counts as clear, since the map cannot tell")
    assert "loop Main, Siding misses closing by 0.1 m;" in note.text


@pytest.mark.parametrize(("length", "told"), [(2.001, False), (2.01, True)])
def test_a_map_that_closes_by_less_than_it_should_says_so(length: float, told: bool) -> None:
    """A twentieth of 44 mm is 2.2 mm."""
    text = (
        '[turnout.T]\ntoe = "West"\nlegs = ["Main", "Siding"]\n[turnout.U]\ntoe = "East"\nlegs = ["Main", "Siding"]\n'
        + line("West", "A", "T", "{ straight = 1 }")
        + line("Main", "T", "U", "{ straight = 2 }")
        + line("Siding", "T", "U", f"{{ straight = {length} }}", 'berth = "Passing"')
        + line("East", "U", "B", "{ straight = 1 }")
    )
    notes = fouling_notes(aligned(text))
    words = "loop Main, Siding misses closing by 0.01 m, so fouling points on it may lie several times as far"
    assert [str(note).startswith(words) for note in notes] == [True] * told


def test_a_berth_at_a_crossing_of_unknown_angle_says_so() -> None:
    text = (
        'railhead.C = 0\ncrossing.X = { through = [["LA", "LB"], ["LC", "LD"]] }\n'
        + line("LA", "A", "X", "{ straight = 1 }", 'berth = "Short of it"')
        + line("LB", "X", "B", "{ straight = 1 }")
        + line("LC", "C", "X", "{ straight = 1 }")
        + line("LD", "X", "D", "{ straight = 2 }")
    )
    alignment = aligned(text)
    assert clear_lengths(alignment)["Short of it"].length == pytest.approx(1.0)
    (note,) = fouling_notes(alignment)
    assert 'up to the crossing "X", since the angle at which LC, LD crosses there is unknown' in note.text


def test_tracks_of_different_frames_do_not_foul() -> None:
    """Both lie at (0, 0) along x in frames of their own."""
    text = "railhead.C = 0\n" + line("One", "A", "B", "{ straight = 1 }", 'berth = "Here"')
    found = clear(text + line("Two", "C", "D", "{ straight = 1 }"))["Here"]
    assert found.length == pytest.approx(1.0)


def test_the_answer_does_not_care_how_large_the_railway_is() -> None:
    """The same turnout at full size, with the scale's own fouling distance.

    NMRA S-8, class Ia (read), by the wider of O and S: 190 m lies between 144 and 287 in of O, 108 and 215 in of S.
    """
    head = 'scale = { ratio = 1, gauge = "1435 mm" }\nunit = "m"\nrailhead.A = 0\n'
    alignment = aligned(turnout("{ left = 190, angle = 20 }", "{ straight = 200 }"), head)
    inch = 48 * 0.0254
    o_row = float(np.interp(1 / 190, [1 / (287 * inch), 1 / (144 * inch)], [0.25 * inch, 0.5625 * inch]))
    inch = 64 * 0.0254
    s_row = float(np.interp(1 / 190, [1 / (215 * inch), 1 / (108 * inch)], [0.25 * inch, 0.4375 * inch]))
    distance = alignment.plan.scale.fouling_distance + max(o_row, s_row)
    found = clear_lengths(alignment)["Standing"]
    assert found.start == pytest.approx(190 * math.acos(1 - distance / 190), abs=20 * MM)


# Against measuring point by point

LEG = st.builds(
    lambda hand, radius, angle, ease: f"{{ {hand} = {radius}, angle = {angle}, ease = {ease} }}",
    st.sampled_from(["left", "right"]),
    st.floats(0.4, 1.5).map(lambda value: round(value, 2)),
    st.integers(20, 200),
    st.sampled_from([0.0, 0.1]),
)
TRACKS = st.lists(st.one_of(LEG, st.just("{ straight = 0.4 }")), min_size=1, max_size=4)


def bends_at(alignment: Alignment, name: str, distance: np.ndarray) -> np.ndarray:
    """Return the curvature at places on a track, without sign; where it jumps, the sharper."""
    found, start = np.zeros(distance.size), 0.0
    for part in alignment.tracks[name].sections:
        stop = start + part.length
        inside = (distance >= start - 1e-9) & (distance <= stop + 1e-9)
        bend = abs(part.first + (part.last - part.first) * (distance[inside] - start) / part.length)
        found[inside] = np.maximum(found[inside], bend)
        start = stop
    return found


def by_points(alignment: Alignment, berth: Sequence[str], left_out: str) -> float:
    """Return the longest clear stretch by measuring from points 2 mm apart to points 2 mm apart; all on one level."""
    fine = {
        name: points(track.sections, alignment.positions.tracks[name].start, longest=2 * MM, most=20_000)
        for name, track in alignment.tracks.items()
    }
    bends = {name: bends_at(alignment, name, trace.distance) for name, trace in fine.items()}
    widest = FOUL + MORE * max(float(each.max()) for each in bends.values())
    others, their_bends = [], []
    for name, trace in fine.items():
        if name not in berth:
            keep = trace.distance < alignment.tracks[name].length - 1.5 * widest if name == left_out else slice(None)
            others.append(trace.xy[keep])
            their_bends.append(bends[name][keep])
    there, their_bend = np.concatenate(others), np.concatenate(their_bends)
    best = run = 0.0
    for name in berth:
        trace = fine[name]
        for k in range(1, trace.distance.size):
            wanted = FOUL + MORE * np.maximum(their_bend, bends[name][k])
            near = bool(np.any(np.hypot(*(there - trace.xy[k]).T) < wanted))
            run = 0.0 if near else run + float(trace.distance[k] - trace.distance[k - 1])
            best = max(best, run)
    return best


@settings(max_examples=15, deadline=None)
@given(TRACKS, TRACKS)
def test_any_turnout_agrees_with_measuring_point_by_point(spur: list[str], main: list[str]) -> None:
    alignment = aligned(turnout(", ".join(spur), ", ".join(main)))
    found = clear_lengths(alignment)["Standing"]
    expected = by_points(alignment, alignment.plan.berths["Standing"].tracks, "Lead:1")
    # a near pass by a hair may be missed between points, and an end may fall between two
    assert found.length == pytest.approx(expected, abs=30 * MM)


def test_track_that_turns_back_beside_its_berth_fouls_it_from_one_and_a_half_distances_along_the_rail() -> None:
    radius = 0.02
    tracks = (
        '{ straight = 3, berth = "Standing" }, { straight = 0.3 }, { left = 0.02, angle = 180 }, { straight = 3.3 }'
    )
    found = clear(line("Main", "A", "B", tracks))["Standing"]
    left_out = 1.5 * foul(radius) - 0.3 - math.pi * radius
    assert found.start == pytest.approx(3.3 - left_out + math.sqrt(FOUL**2 - (2 * radius) ** 2), abs=0.5 * MM)
    assert found.stop == pytest.approx(3.0)


SLIP = """
scale = "HO"
unit = "m"
railhead.P = 0
crossing.X = { through = [["B", "C"], ["D", "E"]], moves = [["B", "E"]] }
line.B = { from = "P", to = "X", berth = "Standing", track = [{ straight = 1 }] }
line.C = { from = "X", to = "Q", track = [{ straight = 1 }] }
line.D = { from = "R", to = "X", track = [{ straight = 1 }] }
line.E = { from = "X", to = "S", track = [{ straight = 1 }] }
"""


def test_a_slip_at_the_end_of_a_berth_leads_out_of_its_frame() -> None:
    assert clear_lengths(align(read_plan(SLIP)))["Standing"].length == pytest.approx(1.0)


# What ends a clear length


def test_what_ends_a_clear_length_is_named_with_how_near_it_comes() -> None:
    beside = 0.03
    text = (
        line("Main", "A", "B", "{ straight = 2 }", "at = [0, 0]")
        + line("Spur", "C", "D", "{ straight = 1 }", f'berth = "Dock"\nat = [0.5, {beside}]')
        + line("Far", "E", "F", "{ straight = 1 }", 'at = [0.5, 1]\nberth = "Pier"')
    )
    found = clear(text, HEAD + "railhead.C = 0\nrailhead.E = 0\n")
    assert found["Pier"].fouled_by == ()
    (by,) = found["Dock"].fouled_by
    assert (found["Dock"].length, by.track) == (0.0, "Main:1")
    assert by.distance == pytest.approx(beside)
    assert by.needed == pytest.approx(FOUL)
