"""An incline: its figures against the plan it writes, compensation, practice, and the way backwards."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checked import check
from command_line import run
from gradehaul.design.climb.hill import car_length, directions_of, steps_of, stock_of
from gradehaul.design.climb.incline import Bend, Incline, InclineGiven, incline_of
from gradehaul.design.climb.search import TrainTest, search_incline
from gradehaul.errors import DesignError
from gradehaul.haulage.verdict import Need
from gradehaul.plan.reader import read_plan
from gradehaul.plan.records import Plan
from gradehaul.quantities import read_quantity
from gradehaul.show.base.unit_format import units_of

STOCK = """
scale = "HO"
unit = "{unit}"
railhead.Foot = 0
line.Way = {{ from = "Foot", to = "Top", track = [{{ straight = 90 }}] }}
route.Up = {{ from = "Foot", to = "Top" }}
loco.tank = {{ mass = "260 g", length = "6.5 in", tyred_wheels = 2, driven_wheels = 4, pull.clean = "80 gf" }}
car.boxcar = {{ length = "6 in" }}
train.local = {{ route = "Up", consist = ["tank", "5 boxcar"] }}
"""
BENDS = (Bend(0.6, math.pi / 2), Bend(0.75, -math.pi / 3))


@pytest.fixture(scope="module")
def stock() -> Plan:
    return stock_of("plans/first-hill.toml", scale=None, unit=None)


bends = st.lists(
    st.builds(
        Bend, st.floats(0.4, 1.5), st.floats(0.5, 2.5) | st.floats(-2.5, -0.5), st.sampled_from([0.0, 0.05, 0.2])
    ),
    max_size=3,
).map(tuple)


@given(st.floats(0.02, 0.2), st.floats(1.5, 6.0), bends, st.booleans(), st.sampled_from([None, 0.0, 0.2]))
@settings(max_examples=30)
def test_its_figures_are_those_of_the_plan_it_writes(
    rise: float, room: float, bends: tuple[Bend, ...], compensated: bool, vertical: float | None
) -> None:
    stock = stock_of("plans/first-hill.toml", scale=None, unit=None)
    length = room + sum(bend.length for bend in bends)
    try:
        incline = incline_of(InclineGiven(rise, length, None, bends, vertical, compensated), stock)
    except DesignError:
        return
    layout = incline.hill(stock).layout
    profile = layout.profile("Up")
    assert profile.climb == pytest.approx(rise, rel=1e-9)
    # level to level: half of each vertical curve lies on the level track, which is a whole curve long
    assert profile.length == pytest.approx(length + incline.vertical, rel=1e-9)
    tracks = [layout.alignment.tracks[t.id] for t in layout.plan.lines["Incline"].tracks if t.rise is None]
    assert tracks[0].length == pytest.approx(incline.straight)
    assert [track.length for track in tracks[1::2]] == pytest.approx([bend.length for bend in bends])
    grades = [
        (track.railhead(track.length / 2 + 1e-6) - track.railhead(track.length / 2 - 1e-6)) / 2e-6 for track in tracks
    ]
    if not incline.vertical:
        assert grades[0] == pytest.approx(incline.grade, abs=1e-7)
        assert grades[1::2] == pytest.approx([incline.grade_in(bend) for bend in bends], abs=1e-7)
        assert profile.ruling().effective == pytest.approx(incline.effective_grade, rel=1e-6)
    output = [curve.length for curve in incline.curves]
    placed = profile.railhead.seconds
    assert (placed != 0).any() == bool(output)


def test_compensation_makes_the_effective_grade_the_same_all_the_way(stock: Plan) -> None:
    plain = incline_of(InclineGiven(0.1, 6.0, None, BENDS, 0.0), stock)
    eased = replace(plain, compensated=True)
    effective = eased.hill(stock).layout.profile("Up").effective_grade()
    assert effective.values == pytest.approx([eased.effective_grade] * effective.values.size, abs=1e-8)
    assert eased.effective_grade < plain.effective_grade
    assert eased.effective_grade > plain.grade


def test_on_easements_a_compensated_grade_asks_no_more_than_elsewhere(stock: Plan) -> None:
    bends = tuple(bend._replace(ease=0.2) for bend in BENDS)
    eased = incline_of(InclineGiven(0.1, 6.0, None, bends, 0.0, compensated=True), stock)
    effective = eased.hill(stock).layout.profile("Up").effective_grade()
    assert effective.greatest().value == pytest.approx(eased.effective_grade, abs=1e-8)
    # an arc of the same angle begins with all of its curvature
    assert [bend.length for bend in bends] == pytest.approx([bend.length + 0.2 for bend in BENDS])
    sections = eased.hill(stock).layout.alignment.tracks["Incline:2"].sections
    assert [part.length for part in sections] == pytest.approx([0.2, bends[0].length - 0.4, 0.2])
    assert [part.first for part in sections] == pytest.approx([0.0, 1 / 0.6, 1 / 0.6])


def test_usual_vertical_curves_hold_practice_and_no_shorter_ones_do(stock: Plan) -> None:
    incline = incline_of(InclineGiven(0.1, 6.0), stock)
    car = car_length(stock)
    assert incline.vertical >= 100 * incline.grade * car - 1e-8
    assert incline.vertical < 100 * incline.grade * car + 1e-3
    assert incline.change_per_car(car) <= 0.01 * (1 + 1e-6)
    assert incline_of(InclineGiven(0.1, 6.0, vertical=incline.vertical - 2e-3), stock).change_per_car(car) > 0.01
    assert incline_of(InclineGiven(0.1, 6.0, vertical=0.0), stock).change_per_car(car) == pytest.approx(0.1 / 6)


def test_any_two_of_rise_length_and_grade_settle_it(stock: Plan) -> None:
    whole = incline_of(InclineGiven(0.1, 6.0, None, BENDS, None, compensated=True), stock)
    for fixed in (
        InclineGiven(0.1, None, whole.grade, BENDS, None, compensated=True),
        InclineGiven(None, 6.0, whole.grade, BENDS, None, compensated=True),
        InclineGiven(0.1, 6.0, whole.grade, BENDS, None, compensated=True),
    ):
        again = incline_of(fixed, stock)
        assert (again.rise, again.length, again.grade) == pytest.approx((whole.rise, whole.length, whole.grade))


def test_a_compensated_length_is_found_between_too_steep_and_falling_on_a_curve(stock: Plan) -> None:
    # longer than the found one by a little, and the grade on the curve would turn downward
    for rise in (0.02, 0.03, 0.05):
        bends = (Bend(0.5, math.pi),)
        test = TrainTest(stock, ("local",), ("clean",), "climbs", directions_of(stock))
        found, _ = search_incline("length", InclineGiven(rise, None, None, bends, None, compensated=True), test)
        assert found.grade_in(bends[0]) >= 0


def test_what_cannot_be_is_refused(stock: Plan) -> None:
    def refused(fixed: InclineGiven, words: str) -> None:
        with pytest.raises(DesignError, match=words):
            incline_of(fixed, stock)

    refused(InclineGiven(0.1), "one more of --grade, --length")
    refused(InclineGiven(), "two of --rise, --length, --grade")
    refused(InclineGiven(0.1, 6.0, 0.03), "rise 3.937 in, length 236.2 in, grade 3 % contradict one another")
    refused(InclineGiven(0.1, 1.0), "no room for the vertical curves")
    refused(InclineGiven(0.02, 1.5, bends=BENDS), "no room for its curves")
    refused(InclineGiven(0.01, 6.0, bends=(Bend(0.3, 3.0),), compensated=True), "turn the grade downward")
    refused(InclineGiven(-0.1, 6.0), "rise must be more than 0")
    refused(InclineGiven(0.1, 6.0, bends=(Bend(-0.3, 3.0),)), "radius above 0")
    refused(
        InclineGiven(0.1, 9.0, bends=(Bend(0.6, 1.0, 0.7),)), "easements are longer than the curve .* at most 23.62 in"
    )
    refused(InclineGiven(0.1, 6.0, bends=(Bend(0.6, 1.0, -0.1),)), "easement must be 0 or longer")
    refused(InclineGiven(0.1, 6.0, bends=(Bend(0.3, 1e6),)), "ten full turns .* write gradehaul helix for more")


def outcome(incline: Incline, stock: Plan, rail: str) -> str:
    (answer,) = [train for train in check(read_plan(incline.hill(stock).text)).trains if train.rail == rail]
    return answer.verdict.outcome


@pytest.mark.parametrize(
    ("rail", "need", "compensated"),
    [
        ("treated", "climbs", False),
        ("treated", "marginal", False),
        ("treated", "marginal", True),
        ("clean", "climbs", False),
        ("clean", "climbs", True),
    ],
)
def test_backwards_is_tight(stock: Plan, rail: str, need: Need, compensated: bool) -> None:
    passing = ("climbs",) if need == "climbs" else ("climbs", "marginal")
    fixed = InclineGiven(0.12, None, None, BENDS, None, compensated)
    test = TrainTest(stock, ("local",), (rail,), need, directions_of(stock))
    short, _ = search_incline("length", fixed, test)
    assert outcome(short, stock, rail) in passing
    shorter = incline_of(replace(fixed, length=short.length - steps_of(stock.unit).length), stock)
    assert outcome(shorter, stock, rail) not in passing

    fixed = InclineGiven(None, 7.0, None, BENDS, None, compensated)
    high, _ = search_incline("rise", fixed, test)
    assert outcome(high, stock, rail) in passing
    higher = incline_of(replace(fixed, rise=high.rise + steps_of(stock.unit).rise), stock)
    assert outcome(higher, stock, rail) not in passing


@pytest.mark.parametrize("unit", ["in", "mm", "ft", "yd"])
@pytest.mark.parametrize("find", ["length", "rise"])
def test_what_is_told_can_be_asked_for_and_written_and_climbs_still(tmp_path: Path, unit: str, find: str) -> None:
    """The answer's own figures, typed as it tells them, make a hill that keeps what the answer promised."""
    plan = tmp_path / "stock.toml"
    plan.write_text(STOCK.format(unit=unit), encoding="utf-8")
    common = ["incline", "--plan", str(plan), "--curve", "600 mm", "90", "--ease", "100 mm"]
    settled = ["--rise", "100 mm"] if find == "length" else ["--length", "7 m"]
    page = run(*common, *settled, "--find", find, "--train", "local").stdout
    output = next(row.split("  ")[-1].strip() for row in page.splitlines() if row.strip().startswith(find))
    assert output.endswith(unit)
    hill = tmp_path / "hill.toml"
    again = run(*common, *settled, f"--{find}", output, "-o", str(hill))
    assert again.exit_code == 0, again.output
    assert f'unit = "{unit}"' in hill.read_text()
    assert not any(
        sign in line for line in hill.read_text().split("[loco")[0].splitlines() for sign in (' mm"', ' in"')
    )
    outcomes = {train.rail: train.verdict.outcome for train in check(read_plan(hill.read_text())).trains}
    assert outcomes["treated"] == outcomes["treated fresh"] == "climbs"


@pytest.mark.parametrize("unit", ["mm", "cm", "m", "in", "ft", "yd"])
def test_designs_go_in_steps_of_a_millimeter_at_most_that_are_shown_exactly(unit: str) -> None:
    for step in steps_of(unit):
        assert 0 < step <= 0.001
        for count in (1, 7):
            shown = units_of(unit).length(count * step, fine=True)
            assert read_quantity(shown, "length") == pytest.approx(count * step, rel=1e-9)


def test_check_of_the_plan_it_writes_says_the_same(tmp_path: Path) -> None:
    hill = tmp_path / "hill.toml"
    words = ["incline", "--plan", "plans/first-hill.toml", "--rise", "4", "--length", "20 ft", "--curve", "30", "-90"]
    output = run(*words, "--compensate", "--json", "-o", str(hill))
    assert output.exit_code == 0, output.output
    document, checked = json.loads(output.stdout), json.loads(run("check", str(hill), "--json").stdout)
    assert document["routes"] == checked["routes"]
    assert document["trains"] == checked["trains"]
    page = " ".join(run(*words, "--vertical-curve", "3").stdout.split())
    for part in ("SHARPER", "right 30.0 in, 90 deg", "qualified person", "children"):
        assert part in page
    found = run("incline", "--plan", "plans/first-hill.toml", "--rise", "4", "--find", "length")
    assert 'A length 0.01 in shorter does not work: train "local" is marginal on treated fresh rail.' in " ".join(
        found.stdout.split()
    )
    assert run("incline", "--scale", "HO", "--rise", "4").exit_code == 2
