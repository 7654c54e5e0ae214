"""Clearances: against a cloud of points, and the rules one by one on plans with known answers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

import gradehaul
from design.point_cloud import Piece, cloud
from gradehaul.design.clearance.findings import clearances, failing_places
from gradehaul.design.clearance.rules import USUAL_ALLOWANCES, Allowances, standard_of
from gradehaul.errors import DesignError, RouteError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.check.text import check_page

HEAD = 'scale = "H0"\nunit = "mm"\npractice = "NEM"\n'
FULL_SIZE = HEAD.replace('"H0"', '{ ratio = 1, gauge = "1435.5 mm" }')


def judged(text: str, rule: str, allowances: Allowances = USUAL_ALLOWANCES, head: str = HEAD):
    return [each for each in clearances(Layout(read_plan(head + text)), allowances).findings if each.rule == rule]


def line_text(pieces: list[Piece]) -> str:
    rows = []
    for number, piece in enumerate(pieces, 1):
        shape = f"straight = {1000 * piece.length}"
        if piece.curvature:
            hand = "left" if piece.curvature > 0 else "right"
            shape = f"{hand} = {1000 / abs(piece.curvature)}, length = {1000 * piece.length}"
        rows.append(f"{{ name = 'T{number}', {shape}, grade = '{100 * piece.grade} %' }}")
    return f'railhead.A = 0\n[line.Main]\nfrom = "A"\nto = "B"\ntrack = [{", ".join(rows)}]'


PIECES = st.builds(
    Piece,
    st.floats(0.4, 1.6),
    st.sampled_from([0.0, 2.5, 2.0, -2.2, 1.25, 2.5]),
    st.one_of(st.just(0.001), st.floats(0.005, 0.04)),
)


@settings(max_examples=12, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(st.lists(PIECES, min_size=3, max_size=6))
def test_a_cloud_of_points_finds_the_same_room(pieces: list[Piece]) -> None:
    plan = read_plan(HEAD + line_text(pieces))
    standard = standard_of(plan, USUAL_ALLOWANCES)
    # group C by NEM 103 in H0, written out again: radius and mm
    table = [(2500, 0), (2000, 1), (1800, 1), (1600, 2), (1400, 2), (1200, 3), (1000, 4), (900, 5), (800, 6), (700, 7)]
    table += [(600, 9), (550, 10), (500, 11), (450, 12), (225, 24)]
    bends, wide = [0.0, *(1000 / radius for radius, _ in table)], [0.0, *(mm / 1000 for _, mm in table)]
    widest = float(np.interp(max(abs(p.curvature) for p in pieces), bends, wide))
    reach = 1.25 * (0.046 + 2 * widest)
    seen = cloud(
        pieces,
        half=0.022,
        widening=lambda bend: float(np.interp(bend, bends, wide)),
        level=0.5 * 0.059,
        highest=2 * (0.059 + 0.019),
        onward=1.5 * reach,
    )
    assume(not seen.doubtful)
    findings = clearances(Layout(plan)).findings
    every = [each.value for each in findings if each.rule == "vertical room"]
    rooms = [room for room in every if room >= 0.5 * 0.059]
    beside = [each.value for each in findings if each.rule == "side room"]
    assert standard.spacing.fouling == pytest.approx(0.044)
    if math.isfinite(seen.room):
        assert min(rooms) == pytest.approx(seen.room, abs=0.0015)
        for (one, two), room in seen.rooms.items():
            if room < standard.wanted_height - 0.0015:
                pair = {f"T{one}", f"T{two}"}
                low = [each.value for each in findings if {each.track, each.other} == pair and each.outcome != "pass"]
                assert min(low) == pytest.approx(room, abs=0.0015)
    else:
        assert not rooms
    if len(every) > len(rooms):  # tracks that cross lower, which the cloud counts as beside one another
        assert seen.beside < 0.0025
    elif beside:
        assert min(beside) == pytest.approx(seen.beside, abs=0.0025)
    else:
        assert seen.beside > 0.046 - 0.0025


def helix(rise: float, turns: int = 3) -> str:
    return (
        f'railhead.A = 0\n[line.Helix]\nfrom = "A"\nto = "B"\n'
        f"track = [{{ left = 600, angle = {360 * turns}, rise = {rise * turns} }}]"
    )


@pytest.mark.parametrize(
    ("rise", "allowances", "outcome"),
    [
        (84.0, USUAL_ALLOWANCES, "pass"),
        (83.0, USUAL_ALLOWANCES, "look"),
        (58.0, USUAL_ALLOWANCES, "fail"),
        (77.0, Allowances(structure=0.019), "fail"),
        (75.0, Allowances(structure=0.016), "pass"),
        (80.0, Allowances(structure=0.016, wire=True), "fail"),
        (81.0, Allowances(structure=0.016, wire=True), "look"),  # 1.8 m over 87 for the line are assumed
        (102.0, Allowances(structure=0.016, wire=True), "pass"),
        (80.0, Allowances(structure=0.016, wire=True, overhead=0.0), "fail"),
        (81.0, Allowances(structure=0.016, wire=True, overhead=0.0), "pass"),
        (90.0, Allowances(structure=0.016, wire=True, overhead=0.010), "fail"),
        (91.0, Allowances(structure=0.016, wire=True, overhead=0.010), "pass"),
    ],
)
def test_stacked_turns_have_the_rise_of_a_turn(rise: float, allowances: Allowances, outcome: str) -> None:
    found = min(judged(helix(rise), "vertical room", allowances), key=lambda each: each.value)
    assert found.value == pytest.approx(rise / 1000, abs=1e-5)
    assert found.outcome == outcome
    assert "NEM 102" in found.source


def test_each_pair_of_named_tracks_is_a_row_with_how_much_of_it_fails() -> None:
    """Four turns, two of them built: the worst turn hides no other, and a track without a name is its line."""
    turns = "{{ name = '{}', left = 600, angle = 720, rise = {} }}".format
    text = f'railhead.A = 0\n[line.Helix]\nfrom = "A"\nto = "B"\ntrack = [{turns("Old", 116)}, {turns("New", 110)}]'
    turn = 2 * math.pi * 0.6
    rows = [each for each in judged(text, "vertical room") if each.outcome != "pass"]
    assert [(each.track, each.other, each.outcome) for each in rows] == [
        ("Old", "Old", "fail"),
        ("New", "Old", "fail"),
        ("New", "New", "fail"),
    ]
    assert [each.along for each in rows] == pytest.approx([turn] * 3, abs=0.02)
    plain = "{ left = 600, angle = 360, rise = 70 }"
    (row,) = judged(
        f'railhead.A = 0\n[line.Helix]\nfrom = "A"\nto = "B"\ntrack = [{plain}, {plain}, {plain}]', "vertical room"
    )[:1]
    assert (row.outcome, row.along) == ("look", pytest.approx(2 * turn, abs=0.02))


@pytest.mark.parametrize(
    ("deck", "rise", "outcome", "assumed"),
    [
        ("thickness = 10, roadbed = 5, track = 4", 77.9, "fail", ()),  # 59 + 19, all of it stated
        ("thickness = 10, roadbed = 5, track = 4", 78.0, "pass", ()),
        ("thickness = 10, roadbed = 5", 78.0, "look", ("track",)),  # 5.9 mm more are assumed
        ("thickness = 10, roadbed = 5", 73.9, "fail", ("track",)),
    ],
)
def test_the_deck_of_the_plan_counts_as_far_as_it_is_stated(
    deck: str, rise: float, outcome: str, assumed: tuple[str, ...]
) -> None:
    found = clearances(Layout(read_plan(f"{HEAD}deck = {{ {deck} }}\n{helix(rise)}")))
    worst = min((each for each in found.findings if each.rule == "vertical room"), key=lambda each: each.value)
    assert worst.outcome == outcome
    assert [note.text.split(";")[0] for note in found.notes if note.place == "deck"] == [
        f"its {layer} is assumed" for layer in assumed
    ]


def double(centers: float, radius: float = 600.0) -> str:
    """A line out, a wide half circle, and the same back beside it, then a half circle round the first end."""
    return (
        'railhead.A = 0\n[line.Main]\nfrom = "A"\nto = "B"\ntrack = ['
        f"{{ straight = 3000, rise = 0 }}, {{ left = {radius}, angle = 180, rise = 0 }}, "
        f"{{ straight = 3500, rise = 0 }}, {{ left = {radius - centers / 2}, angle = 180, rise = 0 }}, "
        "{ straight = 2000, rise = 0 }]"
    )


@pytest.mark.parametrize(("centers", "outcome"), [(46.0, "pass"), (45.0, "look"), (43.0, "fail")])
def test_straight_tracks_beside_one_another(centers: float, outcome: str) -> None:
    worst = min(judged(double(centers), "side room"), key=lambda each: each.value)
    assert worst.value == pytest.approx(centers / 1000, abs=2e-4)
    assert worst.outcome == outcome
    assert "NEM 112" in worst.source


def turns_about_one_center(radius: float, centers: float) -> str:
    """A quarter turn, a half turn that leads outward, and a half turn round the first, with the same center."""
    return (
        'railhead.A = 0\n[line.Main]\nfrom = "A"\nto = "B"\ntrack = ['
        f"{{ left = {radius}, angle = 90, rise = 0 }}, {{ left = {radius + centers / 2}, angle = 180, rise = 0 }}, "
        f"{{ left = {radius + centers}, angle = 170, rise = 0 }}]"
    )


def test_short_stock_needs_no_more_than_its_overhang_on_both_sides() -> None:
    # NEM 103, group A: 4 mm at 600 mm, 3 mm at 700 and 800 mm
    text = turns_about_one_center(600, 54) + '\n[car.flat]\nlength = 100\nmass = "50 g"\n'
    (found,) = judged(text, "side room")
    outer = float(np.interp(1 / 0.654, [1 / 0.7, 1 / 0.6], [3, 4]))
    assert found.wanted == pytest.approx((46 + 4 + outer) / 1000, abs=1e-5)
    assert found.outcome == "pass"


def test_a_curve_sharper_than_the_table_is_to_be_looked_at() -> None:
    (found,) = judged(turns_about_one_center(300, 100), "side room") or [None]
    assert found is None  # far enough apart to be no meeting
    (found,) = judged(turns_about_one_center(300, 75), "side room")
    assert found.wanted == pytest.approx(0.046 + 0.018 * 400 / 300, abs=1e-5)
    assert found.outcome == "look"
    assert "sharper than any" in found.words


@pytest.mark.parametrize(
    ("rise", "rule", "outcome"),
    [(86.0, "vertical room", "pass"), (16.0, "vertical room", "fail"), (1.0, "side room", "fail")],
)
def test_a_crossing_is_over_and_not_beside_however_low(rise: float, rule: str, outcome: str) -> None:
    text = (
        'railhead.A = 0\n[line.Main]\nfrom = "A"\nto = "B"\n'
        "track = [{ straight = 1000, rise = 0 }, { left = 500, angle = 270, rise = "
        f"{rise} }}, {{ straight = 1000, rise = 0 }}]"
    )
    other = "side room" if rule == "vertical room" else "vertical room"
    (found,) = judged(text, rule)
    assert judged(text, other) == []
    assert found.outcome == outcome
    assert found.value == pytest.approx(rise / 1000 if rule == "vertical room" else 0.0, abs=1e-5)
    assert {found.track, found.other} == {"Main:3", "Main:1"}
    assert (found.at, found.other_at) == pytest.approx((0.5, 0.5), abs=0.05)


@pytest.mark.parametrize("turn", [1, -1], ids=["curve first", "climb first"])
def test_a_climb_over_a_curve_has_least_room_at_the_outer_side_of_what_stock_needs_in_it(turn: int) -> None:
    """It climbs 8 % straight toward the center, 48 mm above 60 where it meets the curve of 400 mm."""
    away = 1000 * math.sqrt(0.5)
    low = 'line.Low = { from = "A", to = "B", at = [0, 0], track = [{ left = 400, angle = 90, rise = 0 }] }\n'
    high = f'line.High = {{ from = "C", to = "D", at = [{away}, {400 - away}], heading = 135, '
    high += 'track = [{ straight = 1000, grade = "8 %" }] }\n'
    text = "vertical_curve.length = 0\nrailhead = { A = 0, C = 60 }\n" + "".join([low, high][::turn])
    (found,) = judged(text, "vertical room")
    # group C by NEM 103: 12 mm at 450 mm of radius and in proportion to the curvature beyond, as the cloud has it
    wide = 12 + 12 * (1 / 400 - 1 / 450) / (1 / 225 - 1 / 450)
    assert found.value == pytest.approx(0.108 - 0.08 * (22 + wide) / 1000, abs=1e-4)


@pytest.mark.parametrize("end", ["start", "finish"])
@pytest.mark.parametrize(("past", "room", "at"), [(20, 0.1 - 0.08 * 0.022, 0.478), (30, 0.1, 0.5)])
@pytest.mark.parametrize("turn", [1, -1], ids=["end first", "climb first"])
def test_track_takes_no_room_beyond_its_end(turn: int, end: str, past: int, room: float, at: float) -> None:
    """Track that climbs at 8 % passes over the end; 22 mm wide to either side, it may reach back over the track."""
    where = {"start": "at = [1000, 0], heading = 180", "finish": "at = [0, 0]"}[end]
    low = f'line.Low = {{ from = "A", to = "B", {where}, track = [{{ straight = 1000, rise = 0 }}] }}\n'
    high = f'line.High = {{ from = "C", to = "D", at = [{1000 + past}, -500], heading = 90, '
    high += 'track = [{ straight = 1000, grade = "8 %" }] }\n'
    text = "vertical_curve.length = 0\nrailhead = { A = 0, C = 60 }\n" + "".join([low, high][::turn])
    (found,) = judged(text, "vertical room")
    assert found.value == pytest.approx(room, abs=5e-5)
    assert found.at == pytest.approx(at, abs=1e-3)
    assert found.other_at == pytest.approx(0.0 if end == "start" else 1.0, abs=0.005)


@pytest.mark.parametrize(("centers", "over"), [(60, True), (62, False)])
def test_turns_about_one_center_lie_over_one_another_as_far_as_stock_on_both_reaches(centers: int, over: bool) -> None:
    # group C by NEM 103: 44 mm on straight track, 9 mm more at 600 mm, and 7.7 mm at 660
    level = turns_about_one_center(600, centers)
    text = level.replace("angle = 180, rise = 0", "angle = 180, rise = 70")
    assert [each.value for each in judged(text, "vertical room")] == ([pytest.approx(0.07)] if over else [])


def test_legs_of_a_turnout_are_not_beside_one_another_and_a_pinched_siding_is() -> None:
    legs = (
        'railhead.A = 0\nturnout.T = { toe = "Lead", legs = ["Main", "Spur"] }\n'
        'line.Lead = { from = "A", to = "T", track = [{ straight = 500 }] }\n'
        'line.Main = { from = "T", to = "B", track = [{ straight = 2500 }] }\n'
    )
    apart = 'line.Spur = { from = "T", to = "C", track = [{ left = 900, angle = 20 }, { straight = 1000 }] }\n'
    assert judged(legs + apart, "side room") == []
    # out by 2 x 900 (1 - cos 8.5 degrees) = 19.8 and 99 sin 8.5 degrees = 14.6 mm
    pinched = (
        'line.Spur = { from = "T", to = "C", track = [{ left = 900, angle = 8.5 }, { straight = 99 }, '
        "{ right = 900, angle = 8.5 }, { straight = 1600 }] }\n"
    )
    (found,) = judged(legs + pinched, "side room")
    out = 2 * 900 * (1 - math.cos(math.radians(8.5))) + 99 * math.sin(math.radians(8.5))
    assert found.value == pytest.approx(out / 1000, abs=1e-4)
    assert found.outcome == "fail"


@pytest.mark.parametrize("run", [[1600], [60, 1540]])
@pytest.mark.parametrize(("between", "outcome"), [(90, "pass"), (45, "fail")])
@pytest.mark.parametrize(("head", "size"), [(HEAD, 1), (FULL_SIZE, 87)])
def test_a_track_that_still_parts_is_judged_only_past_its_turnout(
    head: str, size: int, run: list[int], between: int, outcome: str
) -> None:
    text = (
        'railhead.A = 0\nturnout.T = { toe = "Lead", legs = ["Main", "Spur"] }\n'
        f'line.Lead = {{ from = "A", to = "T", track = [{{ straight = {500 * size} }}] }}\n'
        f'line.Main = {{ from = "T", to = "B", track = [{{ straight = {2500 * size} }}] }}\n'
        f'line.Spur = {{ from = "T", to = "C", track = [{{ left = {900 * size}, angle = 9 }}, '
        f"{{ straight = {between * size} }}, {{ right = {2000 * size}, angle = 9 }}, "
        f"{', '.join(f'{{ straight = {each * size} }}' for each in run)}] }}\n"
    )
    turn = math.radians(9)
    out = 2900 * (1 - math.cos(turn)) + between * math.sin(turn)
    # judged from about 460 mm on both legs: 20 times the 46 mm that H0 wants between centers by NEM 112
    left = (2900 * turn + between - 460) / 2000
    (found,) = judged(text, "side room", head=head)
    assert found.outcome == outcome
    assert found.value / size == pytest.approx((out - 2000 * (1 - math.cos(left))) / 1000, abs=1e-3)


STOCK = '[car.coach]\nlength = 300\nmass = "150 g"\n[loco.mule]\nmass = "400 g"\nlength = 200\npull.clean = "100 gf"\n'


@pytest.mark.parametrize(
    ("radius", "by_nem", "by_length"),
    [(1000, "pass", "pass"), (700, "pass", "look"), (600, "look", "look"), (480, "fail", "fail")],
)
def test_radius_against_the_longest_stock(radius: int, by_nem: str, by_length: str) -> None:
    # a car of 300 mm is 26.1 m long at full size: NEM 111 has 495 and 660 mm for it, practice 600 and 900 mm
    text = f'railhead.A = 0\nline.Main = {{ from = "A", to = "B", track = [{{ left = {radius}, angle = 90 }}] }}\n'
    nem, practice = sorted(judged(text + STOCK, "radius"), key=lambda each: each.wanted)
    assert (nem.outcome, practice.outcome) == (by_nem, by_length)
    assert nem.least == pytest.approx(0.495)
    assert nem.wanted == pytest.approx(0.660)
    assert practice.wanted == pytest.approx(0.9)


@pytest.mark.parametrize(("rounding", "outcome"), [(600, "pass"), (599, "look"), (300, "look"), (0, "look")])
def test_change_of_grade_against_car_length(rounding: int, outcome: str) -> None:
    text = (
        f"railhead.A = 0\nvertical_curve.length = {rounding}\n"
        'line.Main = { from = "A", to = "B", '
        "track = [{ straight = 2000, rise = 0 }, { straight = 2000, rise = 40 }] }\n"
    )
    (found,) = judged(text + STOCK, "change of grade")
    assert found.outcome == outcome
    assert found.value == pytest.approx(rounding / 1000)
    assert found.wanted == pytest.approx(0.6)
    assert "+2.00 %" in found.words


def test_a_change_of_grade_in_a_turnout_has_no_rounding() -> None:
    text = (
        'railhead.A = 0\nvertical_curve.length = 600\nturnout.T = { toe = "Lead", legs = ["Main", "Spur"] }\n'
        'line.Lead = { from = "A", to = "T", track = [{ straight = 500, rise = 0 }] }\n'
        'line.Main = { from = "T", to = "B", track = [{ straight = 2500, grade = "0 %" }] }\n'
        'line.Spur = { from = "T", to = "C", track = [{ left = 900, angle = 20, grade = "-2 %" }] }\n'
    )
    (found,) = judged(text + STOCK, "change of grade")
    assert (found.outcome, found.value) == ("look", 0.0)


@pytest.mark.parametrize(
    ("between", "outcome"),
    [
        ("", "fail"),
        ("{ straight = 299 }, ", "look"),
        ("{ straight = 300 }, ", None),
        ("{ easement = 100 }, ", "look"),
    ],
)
def test_curves_of_opposite_hand(between: str, outcome: str | None) -> None:
    text = (
        'railhead.A = 0\nline.Main = { from = "A", to = "B", track = ['
        f"{{ left = 700, angle = 40 }}, {between}{{ right = 800, angle = 40 }}] }}\n"
    )
    found = judged(text + STOCK, "reverse curve")
    assert [each.outcome for each in found] == ([] if outcome is None else [outcome])


@pytest.mark.parametrize("legs", ['["Main", "Loop"]', '["Loop", "Main"]'])
def test_of_parallel_ways_between_opposite_curves_the_shortest_counts(legs: str) -> None:
    text = (
        f'railhead.A = 0\nturnout.S = {{ toe = "In.to", legs = {legs} }}\n'
        f'turnout.T = {{ toe = "Out.from", legs = {legs} }}\n'
        'line.In = { from = "A", to = "S", track = [{ left = 700, angle = 40 }] }\n'
        'line.Out = { from = "T", to = "B", track = [{ right = 800, angle = 40 }] }\n'
        'line.Main = { from = "S", to = "T", track = [{ straight = 100 }] }\n'
        'line.Loop = { from = "S", to = "T", track = [{ straight = 120 }, { straight = 120 }] }\n'
    )
    (found,) = judged(text + STOCK, "reverse curve")
    assert (found.outcome, found.value) == ("look", pytest.approx(0.1))


def string(cars: int, radius: float, pull: str = "2000 gf") -> str:
    return (
        f'railhead.A = 0\nline.Main = {{ from = "A", to = "B", track = [{{ left = {radius}, length = 12000, '
        'grade = "3 %" }] }\n'
        f'[loco.mule]\nmass = "400 g"\nlength = 200\npull.clean = "{pull}"\n'
        '[car.flat]\nlength = 200\nmass = "80 g"\nrolling = "2 %"\nstarting = "2.5 %"\n'
        f'[route.Up]\nfrom = "A"\nto = "B"\n[train.long]\nroute = "Up"\nconsist = ["mule", "{cars} flat"]\n'
    )


def test_string_lining_by_hand() -> None:
    """30 cars of 80 g at 3 %, 2.5 % and the curve: the first car bears what 30 and what 29 cars ask."""
    radius, height, gauge = 1.0, 10.0, 16.5
    effective = 0.03 + 0.025 + 0.69855 / 87 / radius
    weight = 0.08 * 9.80665
    front, rear = 30 * weight * effective, 29 * weight * effective
    share = (front + rear) * (0.2 / (2 * radius)) * height / (weight * gauge / 2)
    (found,) = judged(string(30, 1000 * radius), "string-lining", Allowances(coupler=height / 1000))
    assert found.value == pytest.approx(share, rel=1e-5)
    assert found.outcome == ("fail" if share >= 1 else "look" if share >= 0.5 else "pass")
    assert "vehicle 2, pulled inward" in found.words


def test_string_lining_on_the_leg_on_which_a_train_is_pushed() -> None:
    """Out on the level, back up the hill in curves: the locomotive pushes then, at the end that does not lead."""
    text = string(30, 1000).replace('line.Main = { from = "A", to = "B",', 'line.Main = { from = "A", to = "S",')
    text = text.replace('[route.Up]\nfrom = "A"\nto = "B"\n', '[route.Up]\nfrom = "B"\nto = "A"\nreversals = 1\n')
    text = text.replace('grade = "3 %" }', 'grade = "-3 %" }')
    text = (
        'turnout.S = { toe = "Tail", legs = ["Main", "Flat"] }\n'
        'line.Flat = { from = "B", to = "S", track = [{ straight = 9000, grade = "0 %" }] }\n'
        'line.Tail = { from = "S", to = "End", track = [{ straight = 9000, grade = "0 %" }] }\n'
    ) + text
    (found,) = judged(text, "string-lining", Allowances(coupler=0.01))
    effective = 0.03 + 0.025 + 0.69855 / 87
    weight = 0.08 * 9.80665
    share = 59 * weight * effective * 0.1 * 10.0 / (weight * 16.5 / 2)
    assert found.value == pytest.approx(share, rel=1e-5)
    assert found.track == "Main:1"
    assert "vehicle 30 from the end that leads, pushed outward" in found.words
    assert 0 < found.at < 12
    assert found.head_at > 9 + 6.2


def test_more_cars_tip_sooner_and_a_helper_at_the_tail_relieves_the_string() -> None:
    shares = [judged(string(cars, 1000), "string-lining")[0].value for cars in (10, 30, 50)]
    assert shares == sorted(shares)
    helped = string(50, 1000).replace('"50 flat"]', '"50 flat", "mule"]')
    assert judged(helped, "string-lining")[0].value < 0.7 * shares[2]
    assert judged(string(50, 2000), "string-lining")[0].value < 0.6 * shares[2]


def test_allowances_out_of_range_and_an_unknown_train() -> None:
    with pytest.raises(DesignError, match="--structure"):
        judged(helix(80), "radius", Allowances(structure=-0.01))
    with pytest.raises(DesignError, match="--coupler"):
        judged(helix(80), "radius", Allowances(coupler=0.0))
    with pytest.raises(RouteError, match="no train of this name"):
        judged(string(3, 900), "radius", Allowances(trains=("lon",)))


@settings(max_examples=12, derandomize=True, deadline=None)
@given(st.floats(400, 1500), st.sampled_from([("H0", 87.0, 46.0), ("TT", 120.0, 34.0), ("N", 160.0, 25.0)]))
def test_track_about_one_center_at_just_the_spacing_passes_and_a_hair_nearer_does_not(
    full: float, size: tuple[str, float, float]
) -> None:
    """NEM 112 in H0, written out again, evenly by curvature between its radii, over the ratio."""
    scale, ratio, straight = size
    printed = {1100: 0, 1000: 1, 900: 2, 800: 4, 700: 6, 600: 9, 500: 13, 450: 15, 400: 18}
    more = float(np.interp(1 / full, [0, *(1 / radius for radius in printed)], [0, *printed.values()]))
    radius, centers = full * 87 / ratio, straight + more * 87 / ratio
    for less in (0.0, 0.12):
        text = HEAD.replace("H0", scale) + turns_about_one_center(radius, centers - less)
        found = [each for each in clearances(Layout(read_plan(text))).findings if each.rule == "side room"]
        assert [each.outcome == "pass" for each in found] == [less == 0]


def test_where_two_parts_of_a_plan_lie_is_not_known_so_that_no_count_of_failures_is_given() -> None:
    apart = """
scale = "HO"
unit = "m"
railhead = { A = 0, C = 0 }
line.One = { from = "A", to = "B", track = [{ straight = 3 }] }
line.Two = { from = "C", to = "D", track = [{ straight = 3 }] }
route.Up = { from = "A", to = "B" }
loco.tank = { mass = "300 g", length = 0.2 }
car.ore = { mass = "100 g", length = 0.15 }
train.up = { route = "Up", consist = ["tank", "4 ore"] }
"""
    layout = gradehaul.Layout(read_plan(apart))
    assert failing_places(layout) is None
    answer = layout.check()
    assert answer.to_dict()["clearance_fails"] is None
    assert "Clearance is NOT CHECKED, at least in part" in check_page(answer, units_of("m")).text()
    joined = Layout(read_plan(apart.replace('"C"', '"B"').replace(", C = 0", "")))
    assert failing_places(joined) == ()
