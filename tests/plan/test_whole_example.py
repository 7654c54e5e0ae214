"""The whole example plan loads word for word, and each thing it shows comes out as it says."""

import math

import pytest

from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.records import (
    CurveResistance,
    LineEnd,
    MapStart,
    Reading,
)
from gradehaul.scales import car_mass, scale_named
from plan.example import TEXT

INCH = 0.0254
GRAM_FORCE = 0.00980665
OUNCE = 0.028349523125


@pytest.fixture(scope="module")
def plan():
    return read_plan(TEXT, file="plans/tarn.toml")


def test_head(plan):
    assert (plan.file, plan.title, plan.unit, plan.practice) == ("plans/tarn.toml", "Tarn branch", "in", "NMRA")
    assert plan.scale == scale_named("HO")


def test_it_loads_from_a_file_too(plan, tmp_path):
    path = tmp_path / "tarn.toml"
    path.write_text(TEXT, "utf-8")
    loaded = load_plan(path)
    assert loaded.lines == plan.lines
    assert loaded.file == str(path)
    assert load_plan(str(path)) == loaded


def test_railheads(plan):
    assert plan.railhead == {"Wharf": 0.0, "Summit": pytest.approx(4.5 * INCH)}


def test_lines_keep_the_order_of_the_file(plan):
    assert list(plan.lines) == ["Main", "Hill", "Spur"]
    assert [(line.start, line.finish, line.runs) for line in plan.lines.values()] == [
        ("Wharf", "Junction", "both"),
        ("Junction", "Summit", "both"),
        ("Junction", "Quarry", "both"),
    ]


def test_main_line(plan):
    first, horseshoe, third, last = plan.lines["Main"].tracks
    assert (first.id, first.name, first.number, first.kind) == ("Main:1", "Main:1", 1, "straight")
    assert first.length == pytest.approx(30 * INCH)
    assert (horseshoe.id, horseshoe.name, horseshoe.kind) == ("Main:2", "Horseshoe", "curve")
    assert horseshoe.place == 'line "Main", track 2 "Horseshoe"'
    assert horseshoe.curvature == pytest.approx(1 / (24 * INCH))
    assert horseshoe.ease == pytest.approx(8 * INCH)
    assert horseshoe.length == pytest.approx((24 * math.pi + 8) * INCH)
    assert third.grade == pytest.approx(0.022)
    assert (third.rise, third.railhead) == (None, None)
    assert last.curvature == pytest.approx(-1 / 0.7)
    assert last.length == pytest.approx(20 * INCH)
    assert [track.rail for track in plan.lines["Main"].tracks] == [None, None, None, "treated"]


def test_hill(plan):
    hill = plan.lines["Hill"]
    assert [track.kind for track in hill.tracks] == ["straight", "curve", "easement", "curve", "straight"]
    assert [math.copysign(1, hill.tracks[number].curvature) for number in (1, 3)] == [1, -1]
    assert hill.tracks[2].length == pytest.approx(8 * INCH)
    assert hill.tracks[2].curvature == 0
    assert hill.railhead_at == (
        (pytest.approx(20 * INCH), pytest.approx(1.9 * INCH)),
        (pytest.approx(60 * INCH), pytest.approx(3.2 * INCH)),
    )


def test_tables_that_stand_once(plan):
    assert plan.map == MapStart("Wharf", 0.0, 0.0, 0.0)
    assert plan.vertical_curve == pytest.approx(12 * INCH)
    assert plan.curve_resistance == CurveResistance("degree")


def test_locomotive(plan):
    (loco,) = plan.locos.values()
    assert (loco.name, loco.title) == ("articulated", "2-6-6-2")
    assert (loco.mass, loco.on_drivers) == (pytest.approx(0.48), pytest.approx(0.4))
    assert loco.length == pytest.approx(11.5 * INCH)
    assert loco.on_tyres == pytest.approx(0.4 * 2 / 12)
    assert {rail: [reading.value for reading in readings] for rail, readings in loco.pull.items()} == {
        "clean": pytest.approx([84 * GRAM_FORCE, 88 * GRAM_FORCE, 85 * GRAM_FORCE]),
        "treated": pytest.approx([61 * GRAM_FORCE, 60 * GRAM_FORCE]),
    }
    assert loco.slipping == {"clean": (Reading(pytest.approx(66 * GRAM_FORCE)),)}


def test_cars(plan):
    ore, caboose = plan.cars["ore"], plan.cars["caboose"]
    assert (ore.mass, ore.mass_basis) == (pytest.approx(3.5 * OUNCE), "stated")
    assert ore.length == pytest.approx(5.5 * INCH)
    assert (ore.rolling.value, ore.starting.value) == (pytest.approx(0.022), pytest.approx(0.03))
    assert (ore.rolling_basis, ore.starting_basis) == ("stated", "stated")
    assert caboose.mass == car_mass(plan.scale, 5 * INCH, "NMRA")
    assert (caboose.rolling, caboose.starting) == (Reading(0.02), Reading(pytest.approx(0.025)))
    assert {caboose.mass_basis, caboose.rolling_basis, caboose.starting_basis} == {"assumed"}


def test_what_else_a_layout_may_have():
    lines = "".join(
        f'[line.{name}]\nfrom = "{start}"\nto = "{end}"\ntrack = [ {{ straight = 20 }} ]\n{more}'
        for name, start, end, more in (
            ("A", "Diamond", "a", ""),
            ("B", "Diamond", "b", ""),
            ("C", "Diamond", "c", ""),
            ("D", "Diamond", "d", ""),
            ("S1", "Shed", "s1", ""),
            ("S2", "Shed", "s2", ""),
            ("S3", "Shed", "s3", ""),
            ("East", "Loop", "Loop", 'runs = "forward"\n'),
        )
    )
    plan = read_plan(
        'scale = "HO"\nunit = "in"\n'
        + lines
        + """
[crossing.Diamond]
through = [["A", "B"], ["C", "D"]]
moves   = [["A", "D"]]
[table.Shed]
lines = ["S1", "S2", "S3"]
length = "12 in"
[route.Lap]
lap = ["East"]
[route."Quarry turn"]
from = "a"
to   = "b"
reversals = 1
"""
    )
    a, b, c, d = (LineEnd(name, "from") for name in "ABCD")
    assert plan.joints["Diamond"].through == ((a, b), (c, d), (a, d))
    s1, s2, s3 = (LineEnd(name, "from") for name in ("S1", "S2", "S3"))
    assert plan.joints["Shed"].through == ((s1, s2), (s1, s3), (s2, s3))
    assert plan.joints["Shed"].length == pytest.approx(12 * INCH)
    assert plan.joints["Loop"].kind == "plain"
    assert plan.lines["East"].runs == "forward"
    assert plan.routes["Lap"].lap == ("East",)
    assert plan.routes["Quarry turn"].reversals == 1
