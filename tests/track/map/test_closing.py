"""Loops that miss closing: lines with stated places, and the one track that would close a loop."""

from __future__ import annotations

import cmath
import math
import random
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradehaul.plan import read_plan
from gradehaul.track.alignment import Alignment, align

HEAD = 'scale = "HO"\nunit = "mm"\nrailhead.J0 = 0\n'

Piece = tuple[str, float, float]
"""A straight and its length, or a hand, a radius and an angle in degrees; mm."""


def piece_text(piece: Piece) -> str:
    kind, size, angle = piece
    return f"{{ straight = {size!r} }}" if kind == "straight" else f"{{ {kind} = {size!r}, angle = {angle!r} }}"


def led(pieces: list[Piece], place: complex = 0j, heading: float = 0.0) -> tuple[complex, float]:
    """Return where pieces lead, mm, and the heading there, radians."""
    for kind, size, angle in pieces:
        if kind == "straight":
            place += size * cmath.exp(1j * heading)
            continue
        turn = math.radians(angle) * (1 if kind == "left" else -1)
        place += size * math.copysign(1.0, turn) * 1j * (cmath.exp(1j * heading) - cmath.exp(1j * (heading + turn)))
        heading += turn
    return place, heading


def line(name: str, start: str, finish: str, pieces: list[Piece], at: tuple[complex, float] | None = None) -> str:
    more = "" if at is None else f"at = [{at[0].real!r}, {at[0].imag!r}]\nheading = {math.degrees(at[1])!r}\n"
    rows = ", ".join(map(piece_text, pieces))
    return f'[line.{name}]\nfrom = "{start}"\nto = "{finish}"\n{more}track = [{rows}]\n'


def laid(text: str) -> Alignment:
    return align(read_plan(HEAD + text))


def notes(alignment: Alignment) -> list[str]:
    return [str(note) for note in alignment.notes if "miss" in note.text]


# Lines whose places are stated

PIECES = st.lists(
    st.one_of(
        st.tuples(st.just("straight"), st.integers(200, 2000).map(float), st.just(0.0)),
        st.tuples(
            st.sampled_from(["left", "right"]), st.integers(400, 900).map(float), st.integers(10, 170).map(float)
        ),
    ),
    min_size=1,
    max_size=4,
)


@settings(max_examples=30, deadline=None)
@given(st.lists(PIECES, min_size=2, max_size=5), st.data())
def test_a_line_misplaced_misses_its_neighbors_by_as_much(parts: list[list[Piece]], data: st.DataObject) -> None:
    """Lines one after another, each with its place; one is moved and turned about its start."""
    wrong = data.draw(st.integers(1, len(parts) - 1))
    off = complex(data.draw(st.integers(-3000, 3000)), data.draw(st.integers(-3000, 3000)))
    turned = math.radians(data.draw(st.integers(-170, 170)))
    place, heading = 0j, 0.0
    text, ends = "", []
    for number, pieces in enumerate(parts):
        at = (place + off, heading + turned) if number == wrong else (place, heading)
        text += line(f"L{number}", f"J{number}", f"J{number + 1}", pieces, at)
        ends.append(led(pieces, *at))
        place, heading = led(pieces, place, heading)
    closures = laid(text).positions.closures
    assert len(closures) == len(parts) - 1
    for closure in closures:
        joint = int(closure.joint[1:])
        assert set(closure.lines) == {f"L{joint - 1}", f"L{joint}"}
        size = sum(
            piece[1] if piece[0] == "straight" else piece[1] * math.radians(piece[2])
            for k in (joint - 1, joint)
            for piece in parts[k]
        )
        assert closure.length == pytest.approx(size / 1000)
        if joint == wrong:
            miss, angle = abs(off), abs(turned)
        elif joint == wrong + 1:
            good = led(parts[wrong], *led([piece for pieces in parts[:wrong] for piece in pieces]))
            miss, angle = abs(ends[wrong][0] - good[0]), abs(turned)
        else:
            miss, angle = 0.0, 0.0
        assert closure.distance == pytest.approx(miss / 1000, abs=1e-9)
        assert abs(closure.angle or 0.0) == pytest.approx(angle, abs=1e-9)


def test_an_oval_of_one_line_that_misses() -> None:
    """Two straights of 2 m and two half turns, the last 30 degrees short."""
    pieces: list[Piece] = [("straight", 2000, 0), ("left", 500, 180), ("straight", 2000, 0), ("left", 500, 150)]
    alignment = laid(line("Oval", "J0", "J0", pieces, (0j, 0.0)))
    (closure,) = alignment.positions.closures
    place, _ = led(pieces)
    assert closure.distance == pytest.approx(abs(place) / 1000)
    assert abs(closure.angle or 0) == pytest.approx(math.radians(30))
    assert not alignment.positions.usable(0)
    assert len(notes(alignment)) == 1


def test_lines_that_should_meet_and_do_not() -> None:
    text = line("A", "J0", "J1", [("straight", 2000, 0)], (0j, 0.0))
    alignment = laid(text + line("B", "J1", "J2", [("straight", 2000, 0)], (2000 + 7800j, 0.0)))
    assert not alignment.positions.usable(0)
    assert notes(alignment) == ["lines B, A: miss one another by 7800 mm over 4000 mm (200 %), at joint J1"]


def test_a_leg_that_leaves_its_toe_at_an_angle() -> None:
    text = 'turnout.T = { toe = "Lead", legs = ["Main", "Leg"] }\n'
    text += line("Lead", "J0", "T", [("straight", 1000, 0)], (0j, 0.0))
    text += line("Main", "T", "J1", [("straight", 1000, 0)], (1000 + 0j, 0.0))
    text += line("Leg", "T", "J2", [("straight", 1000, 0)], (1000 + 0j, math.radians(20)))
    alignment = laid(text)
    assert notes(alignment) == ["lines Main, Leg: miss one another by 20°, at joint T"]
    assert not alignment.positions.usable(0)


def turnouts_drawn(*degrees: float) -> str:
    """Turnouts one behind another, each leg of which leaves straight at an angle, a hair beside its toe."""
    text, straight = "", [("straight", 1000.0, 0.0)]
    for number, angle in enumerate(degrees):
        text += f'[turnout.T{number}]\ntoe = "L{number}"\nlegs = ["L{number + 1}", "Leg{number}"]\n'
        text += line(f"L{number}", f"T{number - 1}" if number else "J0", f"T{number}", straight, (1e3 * number + 0j, 0))
        leg = 1e3 * (number + 1) + 7.6e-5j, math.radians(angle)
        text += line(f"Leg{number}", f"T{number}", f"End{number}", straight, leg)
    count = len(degrees)
    return text + line(f"L{count}", f"T{count - 1}", "End", straight, (1e3 * count + 0j, 0))


def test_legs_drawn_at_an_angle_are_one_note_and_no_doubt() -> None:
    alignment = laid(turnouts_drawn(8.3, 7.1, 4.8, 6.0, 1.5))
    (note,) = (str(note) for note in alignment.notes if "diverging" in note.text)
    assert note == (
        "drawing: 4 turnouts have their diverging track drawn at an angle, 8.3° at most, at joint T0; "
        "no curve is counted for it"
    )
    assert alignment.doubts == ()
    assert notes(alignment) == []


def test_a_leg_beyond_what_symbols_have_and_a_kink_at_a_plain_joint_are_doubts() -> None:
    (kink,) = laid(turnouts_drawn(20)).doubts
    assert kink.text == "miss one another by 20°, at joint T0"
    text = line("A", "J0", "J1", [("straight", 900, 0)], (0j, 0.0))
    plain = laid(text + line("B", "J1", "J2", [("straight", 900, 0)], (900 + 0j, math.radians(8.3))))
    assert [note.text for note in plain.doubts] == ["miss one another by 8.3°, at joint J1"]


def test_of_many_that_miss_alike_the_worst_is_noted_with_their_count() -> None:
    text, at = "", 0.0
    for number in range(6):
        text += line(f"L{number}", f"J{number}", f"J{number + 1}", [("straight", 1000, 0)], (complex(at, 0), 0.0))
        at += 1000 + 100 * (number + 1)
    alignment = laid(text)
    (note,) = notes(alignment)
    assert "by 500 mm over 2000 mm (25 %), at joint J5; the worst of 5 that do" in note
    assert [str(doubt) for doubt in alignment.doubts] == [note]


# The track that would close a loop


def random_half(draw: random.Random) -> list[Piece]:
    """Return pieces that turn by half a turn, so that twice as many close."""
    pieces: list[Piece] = []
    for _ in range(draw.randint(1, 3)):
        pieces.append(("straight", float(draw.randint(300, 2500)), 0.0))
        pieces.append((draw.choice(["left", "right"]), float(draw.randint(400, 1000)), float(draw.randint(10, 80))))
    turned = sum(angle if kind == "left" else -angle for kind, _, angle in pieces if kind != "straight")
    pieces.append(("straight", float(draw.randint(300, 2500)), 0.0))
    pieces.append(("left", float(draw.randint(400, 1000)), 180.0 - turned))
    return pieces


@pytest.mark.parametrize("seed", range(100))
def test_the_track_that_was_changed_is_named_or_one_that_closes_the_loop_as_well(seed: int) -> None:
    draw = random.Random(seed)
    half = random_half(draw)
    good = [*half, *half]
    assert abs(led(good)[0]) < 1e-6
    bad = list(good)
    number = draw.randrange(len(good))
    kind, size, angle = good[number]
    if kind == "straight":
        bad[number] = (kind, size + draw.choice([-1, 1]) * draw.randint(5, 250), 0.0)
    elif draw.random() < 0.5:
        bad[number] = ("right" if kind == "left" else "left", size, angle)
    else:
        bad[number] = (kind, size, angle + draw.choice([-1, 1]) * draw.randint(1, 8))
    cut = draw.randrange(1, len(bad))
    text = line("One", "J0", "J1", bad[:cut]) + line("Two", "J1", "J0", bad[cut:])
    (note,) = notes(laid(text))
    named = re.findall(
        r"(straight|curve) (\d+) of (One|Two) (?:at ([\d.]+) mm|laid (left|right)|through ([\d.]+) deg)", note
    )
    changed = []
    for what, place, name, length, hand, degrees in named:
        where = int(place) - 1 + (cut if name == "Two" else 0)
        before = bad[where]
        assert (before[0] == "straight") == (what == "straight")
        after = (
            ("straight", float(length), 0.0) if length else (hand or before[0], before[1], float(degrees or before[2]))
        )
        mended = [*bad[:where], after, *bad[where + 1 :]]
        place_, heading = led(mended)
        assert abs(place_) < 0.1
        assert abs(math.remainder(heading, math.tau)) < math.radians(0.01)
        changed.append(where)
    assert number in changed
    assert piece_size(good[number]) in note or "laid" in note


def piece_size(piece: Piece) -> str:
    return f"{piece[1]:g}" if piece[0] == "straight" else f"{piece[2]:g}"


def test_a_turnout_of_the_wrong_hand_is_named_and_what_would_open_another_loop_is_not() -> None:
    """A passing track between two turnouts, the first curve of it laid to the wrong side."""
    curve = 800 * math.sin(math.radians(20))
    siding: list[Piece] = [("left", 800, 20), ("right", 800, 20), ("straight", 1000, 0)]
    siding += [("right", 800, 20), ("left", 800, 20)]
    text = 'turnout.West = { toe = "In", legs = ["Main", "Siding"] }\n'
    text += 'turnout.East = { toe = "Out", legs = ["Main", "Siding"] }\n'
    text += line("In", "J0", "West", [("straight", 500, 0)])
    text += line("Main", "West", "East", [("straight", 1000 + 4 * curve, 0)])
    text += line("Out", "East", "J9", [("straight", 500, 0)])
    assert notes(laid(text + line("Siding", "West", "East", siding))) == []
    siding[0] = ("right", 800, 20)
    (note,) = notes(laid(text + line("Siding", "West", "East", siding)))
    assert note.endswith("; turnout West laid left (curve 1 of Siding) would close it")
    # the main belongs to a second siding that closes, so only the first siding is named
    siding[0], siding[2] = ("left", 800, 20), ("straight", 990, 0)
    (note,) = notes(laid(text + line("Siding", "West", "East", siding)))
    assert "straight 3 of Siding at 1000 mm instead of 990 mm or straight 1 of Main" in note
    text = text.replace('legs = ["Main", "Siding"]', 'legs = ["Main", "Siding", "Third"]')
    third = [("right" if kind == "left" else "left" if kind == "right" else kind, *rest) for kind, *rest in siding]
    third[2] = ("straight", 1000, 0)
    text += line("Third", "West", "East", third)
    found = notes(laid(text + line("Siding", "West", "East", siding)))
    assert found[0].endswith("; straight 3 of Siding at 1000 mm instead of 990 mm would close it")


def test_a_curve_with_easements_is_named_with_its_angle() -> None:
    rows = "{ left = 600, angle = 90, ease = 100 }, { straight = 500 }, "
    text = f'[line.Oval]\nfrom = "J0"\nto = "J0"\ntrack = [{rows * 3}{rows.replace("= 90", "= 84")}]\n'
    (note,) = notes(laid(text))
    assert note.endswith("; curve 7 of Oval through 90 degrees instead of 84 would close it")


def test_where_no_single_change_closes_a_loop_only_the_miss_is_shown() -> None:
    pieces: list[Piece] = [("straight", 2000, 0), ("left", 500, 175), ("straight", 1900, 0), ("left", 520, 184)]
    (note,) = notes(laid(line("Oval", "J0", "J0", pieces)))
    assert "would close it" not in note


def test_the_side_of_a_ring_of_many_lines_that_is_too_long_is_named() -> None:
    """Both ways round from where the walk begins are of several lines."""
    sides = [1000.0, 1000.0, 1100.0, 1000.0, 1000.0, 1000.0, 1000.0]
    bend: Piece = ("left", 500.0, 360 / 7)
    text = "".join(
        line(f"L{k}", f"J{k}", f"J{(k + 1) % 7}", [("straight", side, 0.0), bend]) for k, side in enumerate(sides)
    )
    (note,) = notes(laid(text))
    assert "; straight 1 of L2 at 1000 mm instead of 1100 mm would close it" in note
