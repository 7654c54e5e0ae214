"""Railheads: what is given holds, the rest lies as a stretched string, and contradictions are shared out or told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gradehaul.errors import PlanError, Problems
from gradehaul.plan import read_plan
from gradehaul.plan.records import Note
from gradehaul.track.alignment import align
from gradehaul.track.heights import railhead
from gradehaul.track.heights.railhead import Railheads, solve_railheads

HEAD = 'scale = "HO"\nunit = "m"\n'
FORK = 'turnout.T = { toe = "One", legs = ["Two", "Three"] }\n'


def line(name: str, start: str, finish: str, track: str = "{ straight = 1 }", more: str = "") -> str:
    return f'[line.{name}]\nfrom = "{start}"\nto = "{finish}"\ntrack = [{track}]\n{more}'


def given_heights(**heights: float) -> str:
    return "railhead = { " + ", ".join(f"{name} = {height}" for name, height in heights.items()) + " }\n"


def solved(*parts: str, head: str = HEAD) -> Railheads:
    return solve_railheads(read_plan(head + "".join(parts)))


def refused(*parts: str, head: str = HEAD) -> tuple[str, ...]:
    with pytest.raises(Problems) as caught:
        solved(*parts, head=head)
    assert all(isinstance(error, PlanError) for error in caught.value.errors)
    return tuple(str(error) for error in caught.value.errors)


def along(found: Railheads, name: str) -> list[object]:
    """Distances and heights of a line, to be compared with plain pairs."""
    one = found.lines[name]
    return [pytest.approx(pair, abs=1e-12) for pair in zip(one.distance, one.railhead, strict=True)]


# What is given holds; everything between climbs evenly


@pytest.mark.parametrize("fixed", ["rise = 0.06", 'grade = "3 %"', 'grade = "30 permille"', "railhead = 0.16"])
def test_a_fixed_track_holds_and_the_rest_is_even(fixed: str) -> None:
    text = f"{{ straight = 1 }}, {{ straight = 2, {fixed} }}, {{ straight = 3 }}"
    found = solved(given_heights(A=0.0, B=0.3), line("Main", "A", "B", text))
    if fixed.startswith("railhead"):  # a height at the far end, from the known one on evenly
        assert along(found, "Main") == [(0.0, 0.0), (1.0, 0.16 / 3), (3.0, 0.16), (6.0, 0.3)]
    else:  # 0.24 m over the other 4 m
        assert along(found, "Main") == [(0.0, 0.0), (1.0, 0.06), (3.0, 0.12), (6.0, 0.3)]


def test_a_grade_on_a_curve_is_over_the_length_of_its_rail() -> None:
    found = solved(given_heights(A=0.0), line("Main", "A", "B", '{ left = 1, angle = 180, grade = "2 %" }'))
    assert found.joints["B"] == pytest.approx(0.02 * np.pi)


# Heights measured along a line


@pytest.mark.parametrize(
    ("track", "heights", "lie"),
    [
        # in any order; before the first and after the last nothing is known, so the string lies level
        (
            "{ straight = 4 }",
            [(3, 0.02), (1, 0.04), (2, 0.01)],
            [(0, 0.04), (1, 0.04), (2, 0.01), (3, 0.02), (4, 0.02)],
        ),
        # at both ends of a line, as those of its joints
        ("{ straight = 1 }, { straight = 3 }", [(0, 0.2), (4, 0.1)], [(0, 0.2), (1, 0.175), (4, 0.1)]),
        # on a track with a grade, of which it lifts the whole
        ('{ straight = 4, grade = "1 %" }', [(1, 0.05)], [(0, 0.04), (1, 0.05), (4, 0.08)]),
    ],
)
def test_heights_measured_along_a_line_hold(
    track: str, heights: list[tuple[float, float]], lie: list[tuple[float, float]]
) -> None:
    found = solved(line("Main", "A", "B", track, f"railhead_at = {[list(pair) for pair in heights]}\n"))
    assert along(found, "Main") == lie
    assert found.joints == {"A": pytest.approx(lie[0][1]), "B": pytest.approx(lie[-1][1])}


@pytest.mark.parametrize("place", ["1", "1.0000000001", '"999.9999999 mm"'])
def test_railhead_at_the_end_of_a_track_is_the_height_there(place: str) -> None:
    found = solved(
        given_heights(A=0.0, B=0.1),
        line("Main", "A", "B", "{ straight = 1 }, { straight = 4 }", f"railhead_at = [[{place}, 0.05]]\n"),
    )
    assert along(found, "Main") == [(0.0, 0.0), (1.0, 0.05), (5.0, 0.1)]


def test_railhead_at_a_joint_that_says_the_same_is_no_contradiction() -> None:
    found = solved(given_heights(A=0.05), line("Main", "A", "B", more="railhead_at = [[0, 0.05]]\n"))
    assert found.joints["A"] == pytest.approx(0.05)
    assert found.notes == ()


# Contradictions


LOOP = ("X", "A", "B"), ("Y", "B", "C"), ("Z", "C", "A")


def loop(rises: tuple[float, float, float], lengths: tuple[float, float, float] = (1, 3, 2)) -> str:
    return "".join(
        line(*ends, f"{{ straight = {length}, rise = {rise} }}")
        for ends, rise, length in zip(LOOP, rises, lengths, strict=True)
    )


def rises_of(found: Railheads) -> list[float]:
    return [float(found.lines[name].railhead[-1] - found.lines[name].railhead[0]) for name, _, _ in LOOP]


def the_note(found: Railheads) -> str:
    (note,) = found.notes
    assert isinstance(note, Note)
    return str(note)


def test_a_misfit_is_shared_out_in_proportion_to_length_with_a_note() -> None:
    found = solved(given_heights(A=0.5), loop((0.01, 0.01, -0.0188)))
    assert rises_of(found) == pytest.approx([0.01 - 0.0002, 0.01 - 0.0006, -0.0188 - 0.0004], abs=1e-12)
    assert found.joints["A"] == pytest.approx(0.5, abs=1e-15)
    told = the_note(found)
    assert "0.0012 m" in told
    assert all(f'line "{name}", track 1' in told for name, _, _ in LOOP)


def test_the_note_tells_the_misfit_in_the_plan_s_unit() -> None:
    parts = [
        line(*ends, f'{{ straight = "1 m", rise = "{rise} mm" }}')
        for ends, rise in zip(LOOP, (10, 10, -18.73), strict=True)
    ]
    told = the_note(solved("railhead.A = 0\n", *parts, head='scale = "HO"\nunit = "in"\n'))
    assert "0.05 in" in told  # 1.27 mm


def test_a_misfit_between_two_given_heights_is_shared_over_the_fixed_rises_alone() -> None:
    found = solved(
        given_heights(A=0.0, C=0.0212),
        line("X", "A", "B", "{ straight = 1, rise = 0.01 }"),
        line("Y", "B", "C", "{ straight = 1, rise = 0.004 }, { straight = 2, rise = 0.006 }"),
        line("Z", "C", "D", "{ straight = 5 }"),
    )
    assert along(found, "X") == [(0.0, 0.0), (1.0, 0.0103)]
    assert along(found, "Y") == [(0.0, 0.0103), (1.0, 0.0146), (3.0, 0.0212)]
    assert along(found, "Z") == [(0.0, 0.0212), (5.0, 0.0212)]
    told = the_note(found)
    for part in ('railhead of "A"', 'railhead of "C"', 'line "X", track 1', 'line "Y", track 1', 'line "Y", track 2'):
        assert part in told
    assert "0.0012 m" in told


def test_a_misfit_is_shared_within_a_track_where_a_height_was_measured_on_its_grade() -> None:
    found = solved(
        given_heights(A=0.0),
        line("Main", "A", "B", '{ straight = 4, grade = "1 %" }', "railhead_at = [[1, 0.011], [3, 0.030]]\n"),
    )
    assert along(found, "Main") == [(0.0, 0.0), (1.0, 0.011), (3.0, 0.030), (4.0, 0.040)]
    assert len(found.notes) == 2


def test_a_misfit_is_shared_out_where_no_height_of_the_loop_is_given() -> None:
    # the loop hangs on A by a line that climbs as it likes: the string's loop is level with A at its joint
    found = solved(
        'turnout.T = { toe = "Lead", legs = ["X", "Z"] }\n',
        given_heights(A=0.3),
        line("Lead", "A", "T", "{ straight = 2 }"),
        line("X", "T", "B", "{ straight = 1, rise = 0.01 }"),
        line("Y", "B", "C", "{ straight = 3, rise = 0.01 }"),
        line("Z", "C", "T", "{ straight = 2, rise = -0.0188 }"),
    )
    assert found.joints == {
        name: pytest.approx(z, abs=1e-12) for name, z in (("A", 0.3), ("T", 0.3), ("B", 0.3098), ("C", 0.3192))
    }
    assert "0.0012 m" in the_note(found)


@pytest.mark.parametrize("last", [-0.018, -0.022])
def test_a_misfit_of_just_two_millimeters_is_shared_out(last: float) -> None:
    found = solved(given_heights(A=0.0), loop((0.01, 0.01, last)))
    assert sum(rises_of(found)) == pytest.approx(0.0, abs=1e-12)
    assert "0.002 m" in the_note(found)


@pytest.mark.parametrize(("last", "misfit"), [(-0.0179, "0.0021 m"), (-0.0221, "0.0021 m"), (0.02, "0.04 m")])
def test_more_than_two_millimeters_is_an_error_that_names_the_loop_and_the_misfit(last: float, misfit: str) -> None:
    (told,) = refused(given_heights(A=0.0), loop((0.01, 0.01, last)))
    assert told.startswith("plan.toml: railheads: heights contradict one another around a loop: ")
    assert all(f'line "{name}", track 1' in told for name, _, _ in LOOP)
    assert f", got a misfit of {misfit}; write " in told
    assert 'railhead of "A"' not in told  # the given height is no part of this loop


def test_the_loop_that_is_named_is_the_one_that_contradicts() -> None:
    (told,) = refused(
        FORK,
        given_heights(A=0.0, B=0.1),
        line("One", "A", "T", "{ straight = 2, rise = 0.02 }"),
        line("Two", "T", "B", "{ straight = 2, rise = 0.02 }, { straight = 1, rise = 0.01 }"),
        line("Three", "T", "C", "{ straight = 2, rise = 0.02 }"),
    )
    assert "0.05 m" in told
    for part in (
        'railhead of "A"',
        'railhead of "B"',
        'line "One", track 1',
        'line "Two", track 1',
        'line "Two", track 2',
    ):
        assert part in told
    assert "Three" not in told


def test_every_contradiction_is_told_in_one_error() -> None:
    told = refused(
        given_heights(A=0.0, D=0.0, E=0.5),
        loop((0.01, 0.01, 0.0)),
        line("W", "D", "E", "{ straight = 2, rise = 0.02 }"),
    )
    assert len(told) == 2
    assert any('line "W", track 1' in one and "0.48 m" in one for one in told)
    assert any('line "Z", track 1' in one and "0.02 m" in one for one in told)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (  # a line that climbs back to its own joint
            given_heights(A=0.0) + line("Ring", "A", "A", "{ straight = 5, rise = 0.1 }"),
            ['line "Ring", track 1', "a misfit of 0.1 m"],
        ),
        (  # two heights of one joint
            given_heights(A=0.0) + line("Main", "A", "B", more="railhead_at = [[0, 0.003]]\n"),
            ['railhead of "A"', 'railhead_at 0 of line "Main"', "a misfit of 0.003 m"],
        ),
        (  # a track's against the joint's
            given_heights(B=0.1) + line("Main", "A", "B", "{ straight = 2, railhead = 0.2 }"),
            ['railhead of "B"', 'railhead of line "Main", track 1', "a misfit of 0.1 m"],
        ),
    ],
)
def test_two_heights_of_one_place_that_contradict_each_other_are_an_error(text: str, words: list[str]) -> None:
    (told,) = refused(text)
    assert all(each in told for each in words)


def test_two_heights_of_one_joint_that_nearly_agree_are_shared_out_with_a_note() -> None:
    found = solved(given_heights(A=0.0), line("Main", "A", "B", more="railhead_at = [[0, 0.001]]\n"))
    assert found.joints["A"] == pytest.approx(0.0005, abs=1e-12)
    told = the_note(found)
    assert "0.001 m" in told
    assert 'railhead of "A"' in told


def test_a_helix_of_grades_that_closes_to_rounding_has_no_note() -> None:
    up = ", ".join(['{ left = 0.61, angle = 123.4, grade = "2.2 %" }'] * 30)
    down = ", ".join(['{ right = 0.61, angle = 123.4, grade = "-2.2 %" }'] * 30)
    found = solved(given_heights(A=0.0), line("Up", "A", "B", up), line("Down", "B", "A", down))
    assert found.notes == ()


# Pieces without a known height


def test_every_piece_without_a_known_height_is_named_in_one_error() -> None:
    told = refused(
        given_heights(A=0.0),
        line("Main", "A", "B"),
        line("Spur", "C", "D"),
        line("East", "E", "F", "{ straight = 1, rise = 0.02 }"),
        line("West", "F", "G"),
    )
    assert len(told) == 2
    assert all(one.startswith("plan.toml: railheads: no height is known on this part of the network") for one in told)
    (spur,) = [one for one in told if "Spur" in one]
    (rest,) = [one for one in told if "East" in one]
    assert '"C" = 0' in spur
    assert '"West"' in rest
    assert not any("Main" in one for one in told)


@pytest.mark.parametrize(
    ("spur", "heights", "noted"),
    [
        ("{ straight = 1 }", {}, True),
        ("{ straight = 1 }", {"C": 0.4}, False),
        ('{ straight = 1, grade = "2 %" }', {}, False),  # stated, all of it
        ('{ straight = 1, grade = "2 %" }, { straight = 1 }', {}, True),
        ("{ straight = 1, railhead = 0.32 }", {}, False),
        ("{ straight = 1, railhead = 0.32 }, { straight = 1 }", {}, True),
    ],
)
def test_track_that_is_level_for_want_of_a_height_beyond_is_noted(
    spur: str, heights: dict[str, float], noted: bool
) -> None:
    def plan(top: float) -> Railheads:
        lines = (line("Main", "A", "B"), line("Other", "A", "B"), line("Spur", "B", "C", spur))
        joints = [
            f'turnout.{at} = {{ toe = "{toe}", legs = ["Main", "Other"] }}\n'
            for at, toe in (("A", "Lead"), ("B", "Spur"))
        ]
        return solved(given_heights(A=0.0, B=top, **heights), *joints, *lines, line("Lead", "End", "A"))

    found, moved = plan(0.3), plan(0.31)
    assert {track.partition(":")[0] for track in found.slack} == ({"Spur", "Lead"} if noted else {"Lead"})
    assert np.ptp(found.lines["Lead"].railhead) == np.ptp(moved.lines["Lead"].railhead) == 0


def test_an_alignment_notes_track_that_is_level_for_want_of_a_height() -> None:
    plan = read_plan(HEAD + given_heights(A=0.0, B=0.3) + line("Main", "A", "B") + line("Spur", "B", "C"))
    assert Note('line "Spur"', railhead.LEVEL) in align(plan).notes


def test_a_plan_without_any_height_is_refused_by_align_too() -> None:
    with pytest.raises(
        Problems,
        match='no height is known on this part of the network: line "Main"',
    ):
        align(read_plan(HEAD + line("Main", "A", "B")))


@pytest.mark.parametrize(
    ("track", "more"), [("{ straight = 1, railhead = 0.1 }", ""), ("{ straight = 1 }", "railhead_at = [[0.5, 0.1]]\n")]
)
def test_a_height_on_a_line_is_as_good_as_one_of_a_joint(track: str, more: str) -> None:
    assert solved(line("Main", "A", "B", track, more)).joints == {"A": pytest.approx(0.1), "B": pytest.approx(0.1)}


# Random networks against a dense solution that shares no code with the package


@dataclass(frozen=True)
class Network:
    """Plan text, and the same as stations, stretches (start, stop, length, rise or None) and given heights.

    `along` has the stations of each line with their distances from its `from`.
    """

    text: str
    stations: int
    stretches: tuple[tuple[int, int, float, float | None], ...]
    given: Mapping[int, float]
    along: Mapping[str, tuple[tuple[float, int], ...]]
    joints: Mapping[str, int]


def stretched(network: Network) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Minimize the sum of grade² × length under what is fixed, by the null space of the constraints."""
    rows, right = [], []
    for station, height in network.given.items():
        rows.append(np.eye(network.stations)[station])
        right.append(height)
    bends, targets = [], []
    for start, stop, length, rise in network.stretches:
        row = np.eye(network.stations)[stop] - np.eye(network.stations)[start]
        if rise is None:
            bends.append(row / np.sqrt(length))
        else:
            rows.append(row)
            right.append(rise)
    held, heights = np.array(rows), np.array(right)
    some = np.linalg.lstsq(held, heights, rcond=None)[0]
    _, sizes, basis = np.linalg.svd(held)
    free = basis[int((sizes > 1e-9).sum()) :].T
    if not free.size or not bends:
        return np.asarray(some)
    string = np.array(bends)
    targets = -string @ some
    return np.asarray(some + free @ np.linalg.lstsq(string @ free, targets, rcond=None)[0])


def check_network(network: Network) -> Railheads:
    found = solve_railheads(read_plan(network.text))
    expected = stretched(network)
    assert found.notes == ()
    for joint, station in network.joints.items():
        within = 1e-13 if station in network.given else 1e-9  # what is given holds exactly
        assert found.joints[joint] == pytest.approx(network.given.get(station, expected[station]), abs=within)
    for name, stations in network.along.items():
        assert found.lines[name].distance == pytest.approx([s for s, _ in stations], abs=1e-9)
        assert found.lines[name].railhead == pytest.approx([expected[k] for _, k in stations], abs=1e-9)
    for station, height in network.given.items():
        assert expected[station] == pytest.approx(height, abs=1e-9)
    return found


class Survey:
    """Builds a network from a level for every station, so that nothing given contradicts."""

    def __init__(self) -> None:
        self.text: list[str] = []
        self.levels: list[float] = []
        self.stretches: list[tuple[int, int, float, float | None]] = []
        self.given: dict[int, float] = {}
        self.along: dict[str, tuple[tuple[float, int], ...]] = {}
        self.joints: dict[str, int] = {}
        self.meeting: dict[str, list[str]] = {}

    def station(self, level: float) -> int:
        self.levels.append(level)
        return len(self.levels) - 1

    def joint(self, name: str, level: float) -> None:
        self.joints[name] = self.station(level)
        self.meeting[name] = []

    def hold(self, name: str) -> None:
        station = self.joints[name]
        self.given[station] = self.levels[station]

    def line(self, name: str, ends: tuple[str, str], tracks: list[tuple[float, float, str, float | None]]) -> None:
        """Lay a line; a track is its length, the level at its far end, what fixes it, and the place of a mark in it."""
        at, here, worded, marks = 0.0, self.joints[ends[0]], [], []
        stations = [(0.0, here)]
        for number, (length, level, fixed, mark) in enumerate(tracks, 1):
            there = self.joints[ends[1]] if number == len(tracks) else self.station(level)
            rise = self.levels[there] - self.levels[here]
            more = {"rise": f", rise = {rise!r}", "grade": f', grade = "{100 * rise / length!r} %"'}.get(fixed, "")
            if fixed == "railhead":
                more = f", railhead = {self.levels[there]!r}"
                self.given[there] = self.levels[there]
            worded.append(f"{{ straight = {length!r}{more} }}")
            tied = rise if fixed in ("rise", "grade") else None
            before = here
            if mark is not None and tied is None:
                middle = self.station(level)
                self.given[middle] = level
                marks.append(f"[{at + mark * length!r}, {level!r}]")
                self.stretches.append((here, middle, mark * length, None))
                stations.append((at + mark * length, middle))
                before, length_left = middle, (1 - mark) * length
            else:
                length_left = length
            self.stretches.append((before, there, length_left, tied))
            at += length
            stations.append((at, there))
            here = there
        self.along[name] = tuple(stations)
        for joint, end in zip(ends, ("from", "to"), strict=True):
            self.meeting[joint].append(f"{name}.{end}")
        self.text.append(line(name, *ends, ", ".join(worded), f"railhead_at = [{', '.join(marks)}]\n" if marks else ""))

    def network(self) -> Network:
        held = {name: station for name, station in self.joints.items() if station in self.given}
        text = HEAD + given_heights(**{name: self.levels[station] for name, station in held.items()})
        for name, ends in self.meeting.items():
            if len(ends) > 2:
                text += f"table.{name} = {{ lines = {ends} }}\n"
        return Network(
            text + "".join(self.text), len(self.levels), tuple(self.stretches), self.given, self.along, self.joints
        )


LEVELS = st.integers(0, 500).map(lambda level: level / 5000)
LENGTHS = st.integers(100, 4000).map(lambda length: length / 1000)
FIXED = st.sampled_from(["", "", "", "rise", "grade", "railhead"])


@st.composite
def networks(draw: st.DrawFn) -> Network:
    """Trees and loops of lines: every joint hangs on one before it, and some lines more close loops."""
    survey = Survey()
    count = draw(st.integers(2, 8))
    for k in range(count):
        survey.joint(f"J{k}", draw(LEVELS))
    pairs = [(draw(st.integers(0, k - 1)), k) for k in range(1, count)]
    pairs += draw(st.lists(st.tuples(st.integers(0, count - 1), st.integers(0, count - 1)), max_size=5))
    for held in draw(st.sets(st.integers(0, count - 1), min_size=1, max_size=4)):
        survey.hold(f"J{held}")
    for number, (a, b) in enumerate(pairs):
        ends = (f"J{a}", f"J{b}") if draw(st.booleans()) else (f"J{b}", f"J{a}")
        tracks = draw(
            st.lists(
                st.tuples(LENGTHS, LEVELS, FIXED, st.sampled_from([None, None, 0.25, 0.5])), min_size=1, max_size=3
            )
        )
        survey.line(f"L{number}", ends, tracks)
    return survey.network()


@given(networks())
@settings(max_examples=60)
def test_random_networks_lie_as_the_stretched_string_does(network: Network) -> None:
    check_network(network)


@given(networks())
@settings(max_examples=25)
def test_the_sparse_solution_is_the_full_one(network: Network) -> None:
    with patch.object(railhead, "_FEW", 0):
        check_network(network)


@given(st.integers(1, 40), st.lists(st.floats(0.2, 5.0), min_size=2, max_size=6), st.floats(-0.0019, 0.0019))
@example(1, [1.0, 1.0], 0.0)
def test_whatever_the_misfit_each_track_takes_its_share(grade: int, lengths: list[float], misfit: float) -> None:
    rises = [grade / 1000 * length * (-1) ** k for k, length in enumerate(lengths[:-1])]
    rises.append(misfit - sum(rises))
    tracks = ", ".join(f"{{ straight = {a!r}, rise = {b!r} }}" for a, b in zip(lengths, rises, strict=True))
    found = solved(given_heights(A=0.2), line("Ring", "A", "A", tracks))
    shares = [rise - misfit * length / sum(lengths) for rise, length in zip(rises, lengths, strict=True)]
    assert np.diff(found.lines["Ring"].railhead) == pytest.approx(shares, abs=1e-8)
    if abs(abs(misfit) - 1e-9) > 1e-12:  # at the bound itself rounding decides
        assert bool(found.notes) == (abs(misfit) > 1e-9)


# Grades that no track has


@pytest.mark.parametrize(
    ("heights", "track"),
    [
        ({"A": 0.0}, "{ straight = 1, rise = 1 }"),
        ({"A": 0.0}, "{ straight = 1, railhead = -1.2 }"),
        ({"A": 0.0, "B": 2.0}, "{ straight = 1 }, { straight = 1 }"),
    ],
)
def test_a_grade_of_100_per_cent_or_more_is_refused(heights: dict[str, float], track: str) -> None:
    with pytest.raises(Problems, match='line "Main", track 1: its grade comes to 100 % or more, got'):
        align(read_plan(HEAD + given_heights(**heights) + line("Main", "A", "B", track)))


def test_a_grade_just_under_100_per_cent_is_allowed() -> None:
    text = HEAD + given_heights(A=0.0) + line("Main", "A", "B", "{ straight = 1, rise = 0.999 }")
    assert align(read_plan(text)).railheads["B"] == pytest.approx(0.999)
