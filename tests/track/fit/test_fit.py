"""Figures left to be found: lines end at their joints by an independent walk, and what cannot is refused."""

from __future__ import annotations

import cmath
import math
import random
import re

import numpy as np
import pytest

from gradehaul.errors import Problems
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan
from gradehaul.plan.records import Plan
from gradehaul.track.alignment import align
from gradehaul.track.fit import fit_notes, fitted

HEAD = 'scale = "HO"\nunit = "mm"\nrailhead.A = 0\n'
Piece = tuple[str, float, float, float]
"""A straight and its length, or a hand, a radius, an angle in degrees and an easement at each end; mm."""


def walk(pieces: list[Piece], place: complex = 0j, heading: float = 0.0) -> tuple[complex, float]:
    """Return where pieces lead, mm, and the heading there, rad: easements by small steps of their curvature."""
    for kind, size, angle, ease in pieces:
        if kind == "straight":
            place += size * cmath.exp(1j * heading)
            continue
        sign = 1 if kind == "left" else -1
        arc = size * math.radians(angle) - ease
        for stretch, first, last in ((ease, 0.0, 1 / size), (arc, 1 / size, 1 / size), (ease, 1 / size, 0.0)):
            steps = 1 if first == last else 400
            for number in range(steps if stretch else 0):
                curvature = sign * (first + (last - first) * (number + 0.5) / steps)
                turn = curvature * stretch / steps
                place += stretch / steps * np.sinc(turn / 2 / math.pi) * cmath.exp(1j * (heading + turn / 2))
                heading += turn
    return complex(place), heading


def length_of(pieces: list[Piece]) -> float:
    return sum(size if kind == "straight" else size * math.radians(angle) + ease for kind, size, angle, ease in pieces)


def piece_text(piece: Piece, out: str = "") -> str:
    kind, size, angle, ease = piece
    if kind == "straight":
        return f"{{ straight = {chr(34) + 'fit' + chr(34) if 'length' in out else repr(size)} }}"
    radius = '"fit"' if "radius" in out else repr(size)
    turned = '"fit"' if "angle" in out else repr(angle)
    eased = f", ease = {ease!r}" if ease else ""
    return f"{{ {kind} = {radius}, angle = {turned}{eased} }}"


def between(pieces: list[Piece], out: list[tuple[int, str]], end: tuple[complex, float]) -> str:
    """Return a plan in which a line leads from (0, 0) to an end, some of its figures left to be found."""
    names = [" ".join(figure for place, figure in out if place == number) for number in range(len(pieces))]
    tracks = ", ".join(piece_text(piece, name) for piece, name in zip(pieces, names, strict=True))
    place, heading = end
    return f"""{HEAD}
line.Before = {{ from = "A", to = "B", track = [{{ straight = 100 }}], at = [-100, 0] }}
line.After = {{ from = "C", to = "D", track = [{{ straight = 100 }}],
    at = [{place.real!r}, {place.imag!r}], heading = {math.degrees(heading)!r} }}
line.Open = {{ from = "B", to = "C", track = [{tracks}] }}
"""


def pieces_of(plan: Plan) -> list[Piece]:
    """Return the tracks of the line that was open, as pieces."""
    return [
        ("straight", 1000 * track.length, 0.0, 0.0)
        if track.kind == "straight"
        else (
            "left" if track.curvature > 0 else "right",
            1000 / abs(track.curvature),
            math.degrees((track.length - track.ease) * abs(track.curvature)),
            1000 * track.ease,
        )
        for track in plan.lines["Open"].tracks
    ]


def miss(pieces: list[Piece], end: tuple[complex, float]) -> tuple[float, float]:
    place, heading = walk(pieces)
    return abs(place - end[0]), abs(math.remainder(heading - end[1], math.tau))


def changed(pieces: list[Piece], figure: tuple[int, str], by: float) -> list[Piece]:
    place, name = figure
    kind, size, angle, ease = pieces[place]
    new = (kind, size, angle + by, ease) if name == "angle" else (kind, size + by, angle, ease)
    return [*pieces[:place], new, *pieces[place + 1 :]]


def fixed(pieces: list[Piece], out: list[tuple[int, str]]) -> bool:
    """Return whether the end moves with every change of the figures, by differences of the independent walk."""
    rows = []
    for figure in out:
        step = 0.01 if figure[1] == "angle" else 1.0
        (far, turned), (near, back) = walk(changed(pieces, figure, step)), walk(changed(pieces, figure, -step))
        rows.append([(far - near).real / step, (far - near).imag / step, 500 * (turned - back) / step])
    matrix = np.array(rows)
    singular = np.linalg.svd(matrix / np.linalg.norm(matrix, axis=1, keepdims=True), compute_uv=False)
    return bool(singular[-1] > 1e-3)


def figure_made(dice: random.Random, form: str) -> list[Piece]:
    """Return a siding, a wye, a loop or a crossover of random size."""
    radius = float(dice.randint(350, 1100))
    angle = float(dice.randint(8, 25))
    ease = float(dice.choice([0, 0, 40]))
    straight = [("straight", float(dice.randint(40, 1500)), 0.0, 0.0) for _ in range(3)]
    if form == "siding":
        other = float(dice.randint(350, 1100))
        return [
            ("left", radius, angle, 0.0), straight[0], ("right", other, angle, 0.0), straight[1],
            ("right", other, angle, 0.0), straight[2], ("left", radius, angle, 0.0),
        ]  # fmt: skip
    if form == "wye":
        return [straight[0], ("left", radius, float(dice.randint(60, 120)), ease), straight[1]]
    if form == "loop":
        return [
            ("left", radius, angle * 2, ease), straight[0], ("right", radius, 150.0, ease), straight[1],
            ("right", radius, float(dice.randint(100, 170)), ease), straight[2],
        ]  # fmt: skip
    return [("left", radius, angle, 0.0), straight[0], ("right", radius, angle, 0.0)]


def taken_out(dice: random.Random, pieces: list[Piece]) -> list[tuple[int, str]]:
    every = [
        (place, figure)
        for place, (kind, *_) in enumerate(pieces)
        for figure in (["length"] if kind == "straight" else ["angle", "radius"])
    ]
    return sorted(dice.sample(every, dice.randint(1, 3)))


@pytest.mark.parametrize("form", ["siding", "wye", "loop", "crossover"])
def test_what_was_taken_out_is_found_again(form: str) -> None:
    dice = random.Random(form)
    done = 0
    while done < 15:
        pieces = figure_made(dice, form)
        out = taken_out(dice, pieces)
        if not fixed(pieces, out):
            continue
        done += 1
        end = walk(pieces)
        found = pieces_of(fitted(read_plan(between(pieces, out, end))))
        distance, angle = miss(found, end)
        assert distance < 0.01, (pieces, out)
        assert angle < 1e-5, (pieces, out)
        assert length_of(found) < length_of(pieces) + 0.02, (pieces, out, "a shorter track was missed")


def test_figures_that_nothing_fixes_are_refused() -> None:
    dice = random.Random(7)
    done = 0
    while done < 30:
        pieces = figure_made(dice, "siding")
        out = sorted(dice.sample([(1, "length"), (3, "length"), (5, "length")], 3))
        done += 1
        with pytest.raises(Problems, match="nothing fixes straight 2 and straight 4 and straight 6"):
            fitted(read_plan(between(pieces, out, walk(pieces))))


def refusal(text: str) -> str:
    with pytest.raises(Problems) as caught:
        fitted(read_plan(text))
    return str(caught.value)


def told_miss(words: str) -> float:
    found = re.search(r"misses it by ([\d.]+) mm", words)
    assert found, words
    return float(found[1])


def test_an_end_aside_or_behind_the_leads_is_refused_with_the_miss_or_the_length_that_would_have_to_be() -> None:
    dice = random.Random(0)
    for _ in range(50):
        pieces = figure_made(dice, "siding")
        (place, heading) = walk(pieces)
        off = dice.choice([-1, 1]) * dice.uniform(2.0, 60.0)
        # the middle straight runs along the end's own heading, so what is aside stays aside
        words = refusal(between(pieces, [(3, "length")], (place + off * 1j * cmath.exp(1j * heading), heading)))
        assert told_miss(words) == pytest.approx(abs(off), rel=0.051)
        assert "0 degrees" in words
        short = dice.uniform(5.0, 80.0)
        end = walk(changed(pieces, (3, "length"), -pieces[3][1] - short))
        words = refusal(between(pieces, [(3, "length")], end))
        assert told_miss(words) == pytest.approx(short, rel=0.051)
        assert f"straight 4 would have to be {-short:.1f}".rstrip("0").rstrip(".") in words


# Where the places of joints come from

FORK = f"""{HEAD}
turnout.W = {{ toe = "Lead", legs = ["Main", "Siding"] }}
turnout.E = {{ toe = "Tail", legs = ["Main", "Siding"] }}
line.Lead = {{ from = "A", to = "W", track = [{{ straight = 500 }}] }}
line.Main = {{ from = "W", to = "E", track = [{{ straight = 3000 }}] }}
line.Tail = {{ from = "E", to = "Z", track = [{{ straight = 500 }}] }}
"""
OVER = "{ left = 900, angle = 12 }, %s, { right = 900, angle = 12 }"
BACK = "{ right = 900, angle = 12 }, %s, { left = 900, angle = 12 }"
FIT = '{ straight = "fit" }'
LEAD = "{ straight = 99.3956 }"


def siding(tracks: str, more: str = "") -> str:
    return f'{FORK}[line.Siding]\nfrom = "W"\nto = "E"\n{more}\ntrack = [{tracks}]\n'


def test_parallel_puts_the_middle_of_a_siding_beside_the_main_line_and_another_beside_the_siding() -> None:
    tracks = f"{OVER % FIT}, {FIT}, {BACK % FIT}"
    beside = 'parallel = {{ line = "{}", distance = "60 mm" }}'
    third = f'[line.Third]\nfrom = "W"\nto = "E"\n{beside.format("Siding")}\ntrack = [{tracks}]\n'
    text = siding(tracks, beside.format("Main")).replace("[line.Siding]", f"{third}[line.Siding]")
    plan = fitted(read_plan(text.replace('"Siding"] }', '"Siding", "Third"] }')))
    a = math.radians(12)
    for name, apart in (("Siding", 60), ("Third", 120)):
        lead, middle, tail = (1000 * plan.lines[name].tracks[n].length for n in (1, 3, 5))
        # 2 R (1 - cos a) + s sin a = 60, and each lead takes 2 R sin a + s cos a of the main line
        s = (apart - 1800 * (1 - math.cos(a))) / math.sin(a)
        assert (lead, tail) == pytest.approx((s, s), abs=1e-3)
        assert middle == pytest.approx(3000 - 2 * (1800 * math.sin(a) + s * math.cos(a)), abs=1e-3)


def test_parallel_beside_a_curve_changes_the_radius_by_the_distance() -> None:
    text = FORK.replace("{ straight = 3000 }", "{ straight = 1200 }, { right = 800, angle = 60 }, { straight = 1200 }")
    tracks = (
        f'{OVER % FIT}, {{ straight = 650 }}, {{ right = "fit", angle = 60 }}, {FIT}, {BACK % "{ straight = 99.3956 }"}'
    )
    plan = fitted(read_plan(text + f'[line.Siding]\nfrom = "W"\nto = "E"\nparallel = "60 mm"\ntrack = [{tracks}]\n'))
    middle = next(track for track in plan.lines["Siding"].tracks if track.number == 5)
    positions = align(plan).positions
    at, main = positions.tracks[middle.id].start, positions.tracks["Main:2"].start
    center = complex(main.x, main.y) - 0.8j * cmath.exp(1j * main.heading)
    half = 0.5 * plan.lines["Siding"].length - sum(t.length for t in plan.lines["Siding"].tracks[:4])
    radius = 1 / abs(middle.curvature)
    own = complex(at.x, at.y) - 1j * radius * cmath.exp(1j * at.heading)
    spot = own + 1j * radius * cmath.exp(1j * (at.heading - half / radius))
    assert abs(spot - center) == pytest.approx(0.860, abs=2e-6)


def test_a_note_says_where_a_line_is_parallel_in_its_middle_alone() -> None:
    straight = fitted(read_plan(siding(f"{OVER % FIT}, {FIT}, {BACK % FIT}", 'parallel = "60 mm"')))
    assert not [note for note in fit_notes(straight) if "middle" in note.text]
    bent = "{ straight = 1400 }, { left = 900, angle = 4 }, { right = 900, angle = 4 }, { straight = 1400 }"
    text = siding(f"{OVER % FIT}, {FIT}, {BACK % FIT}", 'parallel = "60 mm"').replace("{ straight = 3000 }", bent)
    (note,) = [note for note in fit_notes(fitted(read_plan(text))) if "middle" in note.text]
    low, high = map(float, re.findall(r"([0-9.]+) mm(?= to| over)", note.text))
    assert str(note).startswith('line "Siding": only its middle lies 60 mm beside Main: ')
    assert max(60 - low, high - 60) > 0.5


def test_a_line_that_follows_from_another_open_one_is_found_after_it() -> None:
    text = siding(f"{OVER % LEAD}, {{ straight = 500 }}, {{ straight = 500 }}, {FIT}, {BACK % LEAD}")
    spur = """
line.Spur = { from = "Z", to = "Y", track = [{ straight = 200 }] }
line.Ring = { from = "Y", to = "A",
    track = [{ left = 600, angle = 180 }, { straight = "fit" }, { left = 600, angle = 180 }] }
"""
    plan = fitted(read_plan(text.replace("[line.Siding]", f"{spur}[line.Siding]")))
    assert plan.lines["Ring"].tracks[1].length == pytest.approx(4.2)
    assert not any(line.open for line in plan.lines.values())
    assert all(closure.distance < 1e-4 for closure in align(plan).positions.closures)


def test_an_easement_runs_into_the_radius_that_is_found() -> None:
    pieces = "{ straight = 200 }, { easement = 100 }, { left = %s, angle = 70 }, { easement = 100 }, { straight = %s }"
    closed = align(
        read_plan(f'{HEAD}line.X = {{ from = "A", to = "B", track = [{pieces % (640, 333)}, {{ straight = 1 }}] }}')
    )
    last = closed.positions.tracks["X:6"].start
    text = between([("straight", 1.0, 0.0, 0.0)], [], (1000 * complex(last.x, last.y), last.heading))
    text = text.replace("{ straight = 1.0 }", pieces % ('"fit"', '"fit"'))
    tracks = fitted(read_plan(text)).lines["Open"].tracks
    assert (1000 / tracks[2].curvature, 1000 * tracks[4].length) == pytest.approx((640, 333), abs=0.01)


def test_a_layout_with_open_figures_simply_works() -> None:
    layout = Layout(read_plan(siding(f"{OVER % '{ straight = 99.3956 }'}, {FIT}, {BACK % '{ straight = 99.3956 }'}")))
    assert not layout.plan.lines["Siding"].open
    assert [str(note) for note in fit_notes(layout.plan)] == ["Siding: straight 4 fits at 2057.1 mm"]
    assert layout.movements.lengths
    assert fitted(layout.plan) is layout.plan


def test_one_loop_closes_on_its_own_joint() -> None:
    half = "{ right = 600, angle = 150 }"
    loop = f'{{ left = 600, angle = "fit" }}, {half}, {half}, {{ left = 600, angle = "fit" }}'
    plan = fitted(
        read_plan(
            f'{HEAD}line.Lead = {{ from = "A", to = "B", track = [{{ straight = 500 }}] }}\n'
            f'line.Loop = {{ from = "B", to = "B", track = [{loop}] }}\n'
            'turnout.B = { toe = "Lead", legs = ["Loop.from", "Loop.to"] }\n'
        )
    )
    tracks = plan.lines["Loop"].tracks
    assert [math.degrees(track.length / 0.6) for track in (tracks[0], tracks[3])] == pytest.approx([60, 60], abs=1e-6)


# What is refused


def one(*tracks: str, more: str = "") -> str:
    return f'{HEAD}line.One = {{ from = "A", to = "B", track = [{", ".join(tracks)}]{more} }}\n'


TURN = "{ left = 600, angle = 180 }"
REFUSED = {
    "lap": (
        one(FIT, TURN) + f'line.Two = {{ from = "B", to = "A", track = [{FIT}, {TURN}] }}\n',
        'nothing fixes where "A" and "B" lie relative to each other; write numbers in "One", "Two", all but one',
    ),
    "end": (
        one(FIT),
        'nothing fixes where "A" and "B" lie relative to each other; write a number in place of each fit',
    ),
    "turntable": (
        one("{ straight = 300 }")
        + f'line.Two = {{ from = "B", to = "A", track = [{FIT}] }}\ntable.B = {{ lines = ["One", "Two"] }}',
        "nothing fixes where",
    ),
    "sharp": (
        between([("left", 120.0, 90.0, 0.0)], [(0, "radius")], walk([("left", 120.0, 90.0, 0.0)])),
        "the radius of curve 1 would have to be 120 mm, and can be 165 mm, ten gauges, at the least",
    ),
    "wide": (
        between([("left", 400.0, 200.0, 0.0)], [(0, "angle")], walk([("left", 400.0, 200.0, 0.0)])),
        "the angle of curve 1 would have to be 200 deg, and can be 180 degrees at the most",
    ),
    "eased": (
        between(
            [("straight", 600.0, 0.0, 0.0), ("left", 600.0, 5.0, 200.0), ("straight", 600.0, 0.0, 0.0)],
            [(0, "length"), (1, "angle"), (2, "length")],
            walk([("straight", 600.0, 0.0, 0.0), ("left", 2000.0, 5.0, 0.0), ("straight", 600.0, 0.0, 0.0)]),
        ),
        "the angle of curve 2 would have to be 5 deg, and can be 180 degrees at the most, with room for its easements",
    ),
    "easement": (one('{ easement = "fit" }'), "easement: this is not a length, got"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_refused(name: str) -> None:
    text, words = REFUSED[name]
    assert words in refusal(text)


# Turnouts by number


def test_a_turnout_by_number_turns_by_its_frog_and_reaches_it_where_the_rails_cross() -> None:
    plan = read_plan(one('{ turnout = 8, hand = "right" }', "{ straight = 9 }"))
    (track, _) = plan.lines["One"].tracks
    turned = track.length * track.curvature
    assert math.tan(turned / 2) == pytest.approx(-1 / 16)
    # the outer rail of the leg, half a gauge outside the arc's center line, meets the straight track's inner rail
    radius, gauge = 1 / abs(track.curvature), 0.0165
    assert radius - (radius + gauge / 2) * math.cos(turned) == pytest.approx(gauge / 2)
    assert "one arc from toe to frog" in "".join(map(str, plan.notes))


def test_the_two_turnouts_of_a_crossover_have_one_hand() -> None:
    plan = read_plan(one('{ turnout = 6, hand = "left" }', "{ straight = 90 }", '{ turnout = 6, hand = "left" }'))
    first, _, last = plan.lines["One"].tracks
    assert first.curvature == -last.curvature > 0
