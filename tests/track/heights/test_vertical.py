"""Vertical curves: where they lie, how long they are, and the railhead they leave."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.plan import read_plan
from gradehaul.track.alignment import Alignment, align
from gradehaul.track.heights.vertical import vertical_curves
from gradehaul.track.piecewise import FloatArray

HEAD = 'scale = "HO"\nunit = "m"\nrailhead.A = 0\n'
ROUNDED = HEAD + "vertical_curve.length = 0.4\n"
FORK = 'turnout.T = { toe = "One", legs = ["Two", "Three"] }\n'
CROSS = 'crossing.X = { through = [["One", "Two"], ["Three", "Four"]] }\n'


def line(name: str, start: str, finish: str, track: str, more: str = "") -> str:
    return f'[line.{name}]\nfrom = "{start}"\nto = "{finish}"\ntrack = [{track}]\n{more}'


def grades(*pairs: tuple[float, float]) -> str:
    return ", ".join(f'{{ straight = {length}, grade = "{percent} %" }}' for length, percent in pairs)


def aligned(*parts: str, head: str = ROUNDED) -> Alignment:
    return align(read_plan(head + "".join(parts)))


def told(alignment: Alignment, word: str) -> list[str]:
    return [str(note) for note in alignment.notes if word in str(note)]


def grade_at(alignment: Alignment, track: str, place: float) -> float:
    return alignment.tracks[track].railhead.derivative()(place)


# Where the curves lie and how long they are


def test_no_curve_on_an_even_grade_whose_figures_are_rounded() -> None:
    distance = np.cumsum([0.0, 0.1, 0.2, 0.3, 0.7])
    assert vertical_curves(distance, 0.3 + 0.022 * distance, 0.4) == []


# In plans


def test_a_given_railhead_is_the_height_where_the_grades_meet() -> None:
    text = line("Main", "A", "C", "{ straight = 2, railhead = 0.04 }, { straight = 2, railhead = 0 }")
    alignment = aligned(text, line("On", "C", "D", grades((1, 0))))
    # the crest lies below it by change × length / 8
    assert alignment.tracks["Main:2"].railhead(0.0) == pytest.approx(0.04 - 0.04 * 0.4 / 8)
    assert alignment.tracks["Main:1"].railhead.ends[-1] == pytest.approx(0.04 - 0.04 * 0.4 / 8)
    # and the joint's railhead is where the grades meet, though the rail in the sag lies above it
    assert alignment.railheads["C"] == pytest.approx(0.0, abs=1e-15)
    assert alignment.tracks["On:1"].railhead(0.0) == pytest.approx(0.02 * 0.4 / 8)


def test_a_change_of_grade_at_a_measured_height_inside_a_track_is_rounded_too() -> None:
    alignment = aligned("railhead.B = 0.04\n", line("Main", "A", "B", "{ straight = 4 }", "railhead_at = [[2, 0]]\n"))
    assert grade_at(alignment, "Main:1", 2.0) == pytest.approx(0.01)
    assert alignment.tracks["Main:1"].railhead(2.0) == pytest.approx(0.02 * 0.4 / 8)


# Joints that have none


@pytest.mark.parametrize(
    ("joint", "ends", "note"),
    [
        (FORK, "One A T 1, Two T B 1, Three C T -3.5", 'turnout "T": the grade changes by 2.5 %'),
        (FORK, "One A T 1, Two T B 1, Three C T -1", ""),  # an even grade
        # no train passes from leg to leg, so only toe to leg counts: 1 % from toe to each leg
        (FORK, "One A T 0, Two T B 1, Three T C -1", 'turnout "T": the grade changes by 1 %'),
        (CROSS, "One A X 0, Two X B 1.5, Three C X 0, Four X D 0", 'crossing "X": the grade changes by 1.5 %'),
    ],
)
@pytest.mark.parametrize("head", [ROUNDED, HEAD], ids=["rounded", "not rounded"])
def test_turnouts_and_crossings_have_no_vertical_curve_and_tell_the_change_of_grade(
    joint: str, ends: str, note: str, head: str
) -> None:
    lines = [each.split() for each in ends.split(", ")]
    alignment = aligned(joint, *(line(*each[:3], grades((2, float(each[3])))) for each in lines), head=head)
    for name, _, _, percent in lines:
        for place in (0.01, 1.99):
            assert grade_at(alignment, f"{name}:1", place) == pytest.approx(float(percent) / 100)
    assert told(alignment, "vertical curve") == ([f"{note} in it, and it has no vertical curve"] if note else [])


def test_a_turnout_limits_the_stretch_of_a_curve_beside_it() -> None:
    alignment = aligned(
        FORK,
        line("One", "A", "T", grades((2, 0), (0.1, 2))),
        line("Two", "T", "B", grades((2, 2))),
        line("Three", "T", "C", grades((2, 2))),
    )
    assert grade_at(alignment, "One:1", 1.94) == pytest.approx(0.0, abs=1e-12)
    assert grade_at(alignment, "One:2", 0.0) == pytest.approx(0.01)
    (note,) = told(alignment, "shortened")
    assert "from 0.4 m to 0.1 m" in note


# Notes on shortened curves


def test_a_shortened_curve_is_noted_with_both_lengths() -> None:
    alignment = aligned(line("Main", "A", "B", grades((2, 0), (0.25, 2), (3, 0))))
    notes = told(alignment, "shortened")
    assert len(notes) == 2
    assert all("from 0.4 m to 0.25 m" in note and note.startswith('line "Main", track ') for note in notes)


def test_a_curve_of_just_its_length_is_not_noted() -> None:
    assert not told(aligned(line("Main", "A", "B", grades((2, 0), (0.4, 2), (3, 0)))), "shortened")


def test_no_note_where_no_vertical_curves_are_asked_for() -> None:
    alignment = aligned(line("Main", "A", "B", grades((2, 0), (0.25, 2), (3, 0))), head=HEAD)
    assert not told(alignment, "vertical curve")
    assert grade_at(alignment, "Main:2", 0.0) == pytest.approx(0.02)


# The profile against the direct formula


@dataclass(frozen=True)
class Rail:
    """A chain of straight grades with its plan text, and its tracks in the chain's order with their direction."""

    text: str
    length: float
    closed: bool
    stations: tuple[float, ...]
    heights: tuple[float, ...]
    order: tuple[tuple[str, bool], ...]


def direct(rail: Rail, curve: float, places: FloatArray) -> FloatArray:
    """The polygon of the grades, and at each corner change × (distance from the curve's nearer end)² / (2 L)."""
    slopes = np.diff(rail.heights) / np.diff(rail.stations)
    corners = [
        (station, after - before)
        for station, before, after in zip(rail.stations[1:-1], slopes[:-1], slopes[1:], strict=True)
        if abs(after - before) > 1e-6
    ]
    if rail.closed and abs(slopes[0] - slopes[-1]) > 1e-6:
        corners.insert(0, (0.0, float(slopes[0] - slopes[-1])))
    at = [station for station, _ in corners]
    bounds = [0.0, *at, rail.length]
    if rail.closed and corners:
        bounds[0], bounds[-1] = at[-1] - rail.length, at[0] + rail.length
    z = np.interp(places, rail.stations, rail.heights)
    for k, (station, change) in enumerate(corners):
        whole = min(curve, station - bounds[k], bounds[k + 2] - station)
        for turn in (-1, 0, 1) if rail.closed else (0,):
            inward = np.clip(whole / 2 - np.abs(places - station - turn * rail.length), 0.0, None)
            z = z + change * inward**2 / (2 * whole)
    return np.asarray(z)


@st.composite
def rails(draw: st.DrawFn, *, closed: bool | None = None) -> tuple[Rail, float]:
    """Straight grades cut into tracks and lines, with the length of vertical curves; the last track closes a lap."""
    lap = draw(st.booleans()) if closed is None else closed
    count = draw(st.integers(2, 7))
    lengths = [draw(st.integers(50, 3000)) / 1000 for _ in range(count)]
    percents = [draw(st.sampled_from([0, 0, 1, 1.5, 2, -1, -2.5])) for _ in range(count)]
    rises = [length * percent / 100 for length, percent in zip(lengths, percents, strict=True)]
    if lap:  # the last is free, and long enough
        lengths[-1] += 1.0
        rises[-1] = -sum(rises[:-1])
    cuts = [0, *sorted(draw(st.sets(st.integers(1, count - 1)))), count]
    parts, order = [], []
    for number, (a, b) in enumerate(pairwise(cuts)):
        along = draw(st.booleans())
        worded = []
        for k in range(a, b):
            percent = percents[k] if along else -percents[k]
            fixed = "" if lap and k == count - 1 else f', grade = "{percent} %"'
            worded.append(f"{{ straight = {lengths[k]}{fixed} }}")
        joints = ["A" if number == 0 else f"J{number}", f"J{number + 1}"]
        if lap and b == count:
            joints[1] = "A"
        parts.append(
            line(
                f"L{number}",
                joints[0 if along else 1],
                joints[1 if along else 0],
                ", ".join(worded if along else worded[::-1]),
            )
        )
        order += [(f"L{number}:{k + 1 if along else b - a - k}", along) for k in range(b - a)]
    curve = draw(st.sampled_from([0.0, 0.1, 0.3, 1.0, 5.0]))
    text = HEAD + f"vertical_curve.length = {curve}\n" + "".join(draw(st.permutations(parts)))
    stations = np.cumsum([0.0, *lengths])
    heights = np.cumsum([0.0, *rises])
    if lap:
        heights[-1] = 0.0
    return Rail(text, float(stations[-1]), lap, tuple(stations), tuple(heights), tuple(order)), curve


@given(rails())
def test_random_rails_lie_as_the_direct_formula_says(drawn: tuple[Rail, float]) -> None:
    rail, curve = drawn
    alignment = align(read_plan(rail.text))
    for (name, along), start, stop in zip(rail.order, rail.stations[:-1], rail.stations[1:], strict=True):
        track = alignment.tracks[name]
        assert track.railhead.start == 0.0
        assert track.railhead.stop == track.length == pytest.approx(stop - start)
        places = np.linspace(start, stop, 31)
        own = places - start if along else stop - places
        heights = track.railhead.at(np.clip(own, 0.0, track.length))
        assert heights == pytest.approx(direct(rail, curve, places) if curve else direct(rail, 1e-9, places), abs=1e-9)


# The alignment as a whole


def test_the_alignment_has_every_track_with_its_geometry() -> None:
    alignment = aligned(
        line(
            "Main",
            "A",
            "J",
            '{ name = "Bend", left = 0.5, angle = 90, rail = "treated" }, { straight = 1, rise = 0.02 }',
        ),
        line("Hill", "J", "B", "{ straight = 2 }"),
    )
    assert list(alignment.tracks) == ["Main:1", "Main:2", "Hill:1"]
    bend = alignment.tracks["Main:1"]
    assert (bend.id, bend.name, bend.rail) == ("Main:1", "Bend", "treated")
    assert alignment.tracks["Main:2"].rail is None
    assert bend.length == pytest.approx(np.pi / 4)
    assert bend.summed_curvature.ends[-1] == pytest.approx(np.pi / 2)
    assert alignment.railheads == {"A": 0.0, "J": pytest.approx(0.02), "B": pytest.approx(0.02)}
    assert [len(chain.lines) for chain in alignment.chains] == [2]


def test_the_alignment_carries_the_notes_on_heights_and_on_grades() -> None:
    alignment = aligned(
        line("Main", "A", "B", "{ straight = 1, rise = 0.01 }, { straight = 1, railhead = 0.03 }"),
        line("Back", "B", "A", "{ straight = 2, rise = -0.029 }"),
        line(
            "Spur", "C", "D", "{ straight = 1, rise = 0 }, { straight = 0.1, rise = 0.01 }", "railhead_at = [[0, 0]]\n"
        ),
    )
    assert len(told(alignment, "misfit")) == 1
    assert len(told(alignment, "shortened")) == 1
