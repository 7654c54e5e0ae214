"""Curvature along each track: easements that take it from their neighbors, and its sum whatever the hand."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.plan import read_plan
from gradehaul.track.curvature import Section, chains, sections, summed_curvature

HEAD = 'scale = "HO"\nunit = "m"\n'


def line(name: str, start: str, finish: str, track: str) -> str:
    return f'[line.{name}]\nfrom = "{start}"\nto = "{finish}"\ntrack = [{track}]\n'


def bent(*parts: str) -> dict[str, tuple[Section, ...]]:
    plan = read_plan(HEAD + "".join(parts))
    return sections(plan, chains(plan))


LEFT = "{ left = 0.5, length = 1 }"
RIGHT = "{ right = 0.8, length = 1 }"
EASEMENT = "{ easement = 0.3 }"
STRAIGHT = "{ straight = 1 }"


@pytest.mark.parametrize(
    ("before", "after", "first", "last"),
    [
        (STRAIGHT, LEFT, 0.0, 2.0),
        (LEFT, STRAIGHT, 2.0, 0.0),
        (LEFT, RIGHT, 2.0, -1.25),
        (RIGHT, LEFT, -1.25, 2.0),
        (LEFT, "{ left = 0.8, length = 1 }", 2.0, 1.25),
        ("{ left = 0.5, length = 1, ease = 0.2 }", RIGHT, 0.0, -1.25),  # an eased curve ends straight
    ],
)
def test_an_easement_runs_from_the_track_before_to_the_track_after(
    before: str, after: str, first: float, last: float
) -> None:
    found = bent(line("Main", "A", "B", f"{before}, {EASEMENT}, {after}"))
    assert found["Main:2"] == (Section(0.3, first, last),)


def test_an_easement_at_an_end_of_track_begins_or_ends_straight() -> None:
    found = bent(line("Main", "A", "B", f"{EASEMENT}, {LEFT}, {EASEMENT}"))
    assert found["Main:1"] == (Section(0.3, 0.0, 2.0),)
    assert found["Main:3"] == (Section(0.3, 2.0, 0.0),)


@pytest.mark.parametrize(
    "joint",
    [
        'turnout.T = { toe = "One", legs = ["Two", "Three"] }\n',
        'turnout.T = { toe = "Three", legs = ["Two", "One"] }\n',
        'table.T = { lines = ["One", "Two", "Three"] }\n',
        'crossing.T = { through = [["One", "Two"], ["Three", "Four"]] }\n' + line("Four", "T", "D", LEFT),
    ],
)
def test_an_easement_at_a_joint_of_several_lines_ends_straight_though_a_curve_lies_beyond(joint: str) -> None:
    found = bent(
        joint,
        line("One", "A", "T", f"{LEFT}, {EASEMENT}"),
        line("Two", "T", "B", LEFT),
        line("Three", "T", "C", f"{EASEMENT}, {RIGHT}"),
    )
    assert found["One:2"] == (Section(0.3, 2.0, 0.0),)
    assert found["Three:1"] == (Section(0.3, 0.0, -1.25),)


@pytest.mark.parametrize("along", [True, False])
def test_an_easement_takes_its_curvature_where_a_circuit_closes(along: bool) -> None:
    # the easement comes first in the circuit, the curve before it last
    one = line("One", "J0", "J1", f"{EASEMENT}, {RIGHT}")
    two = (
        line("Two", "J1", "J0", f"{STRAIGHT}, {LEFT}")
        if along
        else line("Two", "J0", "J1", f"{LEFT.replace('left', 'right')}, {STRAIGHT}")
    )
    found = bent(one, two)
    assert found["One:1"] == (Section(0.3, 2.0, -1.25),)
    found = bent(line("Loop", "J", "J", f"{LEFT}, {STRAIGHT}, {RIGHT}, {EASEMENT}"))
    assert found["Loop:4"] == (Section(0.3, -1.25, 2.0),)  # one line, its easement last


def test_a_section_met_backward_changes_ends_and_hands() -> None:
    assert Section(0.3, 2.0, -1.25).reversed() == Section(0.3, 1.25, -2.0)


# Curves with easements of their own


def test_a_curve_through_an_angle_with_ease_turns_through_that_angle() -> None:
    (parts,) = bent(line("Main", "A", "B", "{ right = 0.5, angle = 90, ease = 0.2 }")).values()
    arc = 0.25 * math.pi - 0.2  # R θ less one easement
    assert [part.length for part in parts] == pytest.approx([0.2, arc, 0.2])
    assert [(part.first, part.last) for part in parts] == [(0.0, -2.0), (-2.0, -2.0), (-2.0, 0.0)]
    turning = summed_curvature(parts)
    assert turning(turning.stop) == pytest.approx(math.pi / 2, abs=1e-14)


def test_a_curve_of_a_length_with_ease_keeps_its_length() -> None:
    (parts,) = bent(line("Main", "A", "B", "{ left = 0.5, length = 1, ease = 0.2 }")).values()
    assert [part.length for part in parts] == pytest.approx([0.2, 0.6, 0.2])
    assert summed_curvature(parts).ends[-1] == pytest.approx(2.0 * (1.0 - 0.2), abs=1e-14)


def test_a_curve_that_is_all_ease_has_no_arc() -> None:
    (parts,) = bent(line("Main", "A", "B", "{ left = 0.5, length = 0.5, ease = 0.25 }")).values()
    assert parts == (Section(0.25, 0.0, 2.0), Section(0.25, 2.0, 0.0))


# The sum


CURVATURES = st.one_of(st.just(0.0), st.floats(-4.0, 4.0).filter(lambda k: abs(k) > 1e-3))
SECTIONS = st.lists(st.builds(Section, st.floats(0.01, 3.0), CURVATURES, CURVATURES), min_size=1, max_size=6)


@given(SECTIONS)
def test_summed_curvature_is_the_integral_of_its_size(parts: list[Section]) -> None:
    turning = summed_curvature(parts)
    lengths = np.cumsum([0.0, *(part.length for part in parts)])
    assert turning.start == 0.0
    assert turning(0.0) == 0.0
    assert turning.stop == pytest.approx(lengths[-1])
    steps = 2000
    expected = 0.0
    for part, end in zip(parts, lengths[1:], strict=True):
        middle = (np.arange(steps) + 0.5) / steps
        expected += part.length * float(np.abs(part.first + (part.last - part.first) * middle).mean())
        assert turning.at([end - 1e-12])[0] == pytest.approx(expected, abs=1e-5)
    for before, after in zip(turning.ends[:-1], turning.values[1:], strict=True):
        assert after == pytest.approx(before, abs=1e-12)


@st.composite
def rails(draw: st.DrawFn) -> tuple[str, list[tuple[float, float, float]], list[tuple[str, bool]]]:
    """Plan text of a chain cut into lines, its sections seen from the start, and the tracks in that order."""
    kinds = draw(st.lists(st.sampled_from(["straight", "curve", "curve"]), min_size=2, max_size=6))
    tracks: list[tuple[str, float, float]] = []
    for kind in kinds:
        curvature = draw(st.sampled_from([-2.0, -1.25, 1.0, 2.5])) if kind == "curve" else 0.0
        if tracks and (tracks[-1][2] or curvature) and draw(st.booleans()):
            tracks.append(("easement", draw(st.sampled_from([0.1, 0.25])), 0.0))
        tracks.append((kind, draw(st.sampled_from([0.5, 1.0])), curvature))
    parts = []
    for k, (kind, length, curvature) in enumerate(tracks):
        ends = (tracks[k - 1][2], tracks[k + 1][2]) if kind == "easement" else (curvature, curvature)
        parts.append((length, *ends))
    cuts = [0, *sorted(draw(st.sets(st.integers(1, len(tracks) - 1)))), len(tracks)]
    text, order = [], []
    for number, (a, b) in enumerate(pairwise(cuts)):
        along = draw(st.booleans())
        worded = [_worded(kind, length, curvature if along else -curvature) for kind, length, curvature in tracks[a:b]]
        joints = (f"J{number}", f"J{number + 1}")
        text.append(
            line(f"L{number}", *(joints if along else joints[::-1]), ", ".join(worded if along else worded[::-1]))
        )
        order += [(f"L{number}:{k + 1 if along else b - a - k}", along) for k in range(b - a)]
    return "".join(draw(st.permutations(text))), parts, order


def _worded(kind: str, length: float, curvature: float) -> str:
    if kind == "curve":
        return f"{{ {'left' if curvature > 0 else 'right'} = {abs(1 / curvature)}, length = {length} }}"
    return f"{{ {kind} = {length} }}"


@given(rails())
def test_a_chain_of_lines_has_the_curvature_of_the_rail(
    drawn: tuple[str, list[tuple[float, float, float]], list[tuple[str, bool]]],
) -> None:
    text, parts, order = drawn
    found = bent(text)
    assert len(found) == len(order)
    for (track, along), expected in zip(order, parts, strict=True):
        (part,) = found[track]
        seen = part if along else part.reversed()
        assert (seen.length, seen.first, seen.last) == pytest.approx(expected, abs=1e-12)
