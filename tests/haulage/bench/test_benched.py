"""A plan with what its bench told: cars and curves, readings taken in, locomotives that were not read."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checked import check
from gradehaul.haulage.adhesion import NominalPulls, Pulls
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.answers.readings import readings
from gradehaul.haulage.bench.adhesion_fit import deviation
from gradehaul.haulage.bench.benched import with_bench, work_out
from gradehaul.haulage.bench.reduction import student
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.plan import read_plan
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.bench import readings_page
from haulage.bench.tables import GF, reading, string

PLAN = """
scale = "HO"
unit = "mm"
railhead.Wharf = 0
[line.Main]
from = "Wharf"
to = "Summit"
track = [ { straight = 3000, grade = "2 %" }, { left = 600, angle = 60, grade = "2 %" } ]
[loco.bare]
mass = "300 g"
length = 200
[loco.tyred]
mass = "300 g"
length = 200
on_tyres = "200 g"
[loco.half]
mass = "400 g"
length = 200
on_tyres = "150 g"
[loco.heavy]
mass = "500 g"
length = 200
[loco.unread]
mass = "350 g"
length = 200
on_tyres = "120 g"
[car.ore]
mass = "100 g"
length = 120
[car.coach]
mass = "150 g"
length = 280
rolling = "1.5 %"
[train.drag]
route = "Up"
consist = ["unread", "6 ore"]
[route.Up]
from = "Wharf"
to = "Summit"
"""


def read(loco: str, pull: float, more: str = "") -> str:
    forces = ", ".join(f'"{pull * (1 + e):.3f} gf"' for e in (-0.02, 0.0, 0.02))
    return reading(loco, f"[{forces}]", more)


FOUR = read("bare", 66) + read("tyred", 100) + read("half", 116) + read("heavy", 108)


def test_a_plan_without_readings_stays_as_it_is():
    plan = read_plan(PLAN)
    assert with_bench(plan) is plan


def test_a_string_on_the_straight_and_round_a_curve():
    """1 kg of cars: 22 gf is 2.2 %; 38 gf round 600 mm is 1.6 % more, a coefficient of 9.6 mm."""
    bench = work_out(
        read_plan(PLAN + string('["21 gf", "22 gf", "23 gf"]') + string('["38 gf", "38 gf"]', "radius = 600"))
    )
    assert bench.cars["ore"].rolling.value == pytest.approx(0.022)
    assert bench.cars["ore"].rolling.error == pytest.approx(0.001 / 3**0.5)
    assert bench.curve.coefficient.value == pytest.approx(9.6e-3)
    assert bench.curve.error >= 0.6 * bench.cars["ore"].rolling.error * (1 - 1e-9)
    assert not bench.curve.assumed_rolling


def test_a_string_on_a_grade_is_corrected():
    bench = work_out(read_plan(PLAN + string('["42 gf", "42 gf"]', 'grade = "2 %"')))
    assert bench.cars["ore"].rolling.value == pytest.approx(0.022)


def test_a_tilt_tells_both_resistances():
    bench = work_out(read_plan(PLAN + '[[tilt]]\ncar = "ore"\nover = 1000\nstarts = [28, 30, 32]\nrolls = [20, 22]\n'))
    told = bench.cars["ore"]
    assert (told.starting.value, told.rolling.value) == pytest.approx((0.030, 0.021))


def test_what_the_bench_told_of_cars_and_curves_goes_into_the_answer():
    tilt = '[[tilt]]\ncar = "ore"\nover = 1000\nrolls = [24, 25, 26]\n'
    plan = read_plan(PLAN + tilt + string('["40 gf", "40 gf"]', "radius = 600"))
    layout = Layout(plan)
    ore = layout.plan.cars["ore"]
    assert (ore.rolling.value, ore.rolling_basis, ore.starting_basis) == (pytest.approx(0.025), "measured", "assumed")
    assert ore.starting.value == pytest.approx(1.25 * 0.025)
    assert layout.coefficient == pytest.approx(0.015 * 0.6)
    assert layout.plan.cars["coach"] == plan.cars["coach"]
    assert RandomTrials(layout.plan, layout.coefficient).curve.std() < 0.1 * layout.coefficient
    assert Layout(layout.plan).plan is layout.plan  # the bench is heard once


def test_readings_of_the_book_are_pulls_of_the_plan():
    plan = read_plan(PLAN + FOUR + read("bare", 50, 'state = "slipping"'))
    told = with_bench(plan)
    bare = told.locos["bare"]
    assert Pulls(told).standing(bare, "clean").value == pytest.approx(66 * GF)
    assert Pulls(told).slipping(bare, "clean").value == pytest.approx(50 * GF)
    assert Pulls(told).standing(bare, "clean").basis == "measured"


def test_a_locomotive_that_was_not_read_pulls_as_the_others_make_it():
    """0.22 on metal and 0.39 on tyres: 230 g and 120 g of the unread engine give 97 gf."""
    plan = with_bench(read_plan(PLAN + FOUR))
    pull = Pulls(plan).standing(plan.locos["unread"], "clean")
    assert (pull.value, pull.basis) == (pytest.approx(97.4 * GF, rel=0.02), "scaled")
    trials = RandomTrials(plan, 0.008).standing(plan.locos["unread"], "clean")
    told = plan.locos["unread"].predicted["clean"]
    # half of all trials lie within Student's t for one half
    half = student(told.freedom, 0.5) * deviation(told)
    assert (np.abs(trials - told.value) < half).mean() == pytest.approx(0.5, abs=0.02)


LOCOS = ("bare", "tyred", "half", "heavy", "unread")
RAILS = {"clean": "", "treated": 'rail = "treated"\nhours = 24', "treated fresh": 'rail = "treated"\nhours = 1'}


ROWS = st.lists(
    st.tuples(st.sampled_from(LOCOS), st.sampled_from([*RAILS]), st.integers(20, 150)),
    max_size=6,
    unique_by=lambda row: row[:2],
)


@given(books=st.tuples(ROWS, ROWS))
@settings(max_examples=25, deadline=None)
def test_readings_of_one_locomotive_change_nothing_of_another_that_was_read(books):
    """Whatever else is in the book, a locomotive's pulls are the means of its own readings, scaled by shares kept.

    But others may show that a film recovered before it was first read, so that a fresh one pulls less; and where it was
    not read on a film at all, that others alike kept less.
    """
    own, more = books

    def pulls(rows):
        plan = with_bench(read_plan(PLAN + "".join(read(loco, pull, RAILS[rail]) for loco, rail, pull in rows)))
        return {
            (name, rail): Pulls(plan).standing(plan.locos[name], rail).value
            for name in {loco for loco, *_ in rows}
            for rail in RAILS
        }

    alone, others = {loco for loco, *_ in own}, [row for row in more if row[0] not in {loco for loco, *_ in own}]
    both = pulls(own + others)
    for key, value in pulls(own).items():
        assert both[key] <= value * (1 + 1e-9)
        name, rail = key
        rails = {rail for loco, rail, _ in own if loco == name}
        if rail == "clean" or rail in rails or (rail == "treated" and "treated fresh" in rails):
            assert both[key] == pytest.approx(value, rel=1e-9)
    for name in alone:
        here = [pull for loco, rail, pull in own if (loco, rail) == (name, "clean")]
        if here:
            assert both[name, "clean"] == pytest.approx(sum(here) / len(here) * GF, rel=1e-9)


@pytest.mark.parametrize("rail", RAILS)
def test_one_locomotive_predicts_nobody(rail):
    plan = with_bench(read_plan(PLAN + read("bare", 66, RAILS[rail])))
    assert all(not loco.predicted for loco in plan.locos.values())
    # and two on a film leave a third with its own clean reading, scaled
    rows = read("bare", 30, RAILS["treated"]) + read("tyred", 40, RAILS["treated"]) + read("half", 116)
    half = (told := with_bench(read_plan(PLAN + rows))).locos["half"]
    share = NominalPulls(told).share(half, "treated")
    assert Pulls(told).standing(half, "treated").value == pytest.approx(116 * GF * share)


def test_a_prediction_keeps_no_more_on_a_film_than_others_alike_and_is_as_unsure_as_it_was():
    text = PLAN.replace('on_tyres = "120 g"\n', "")
    for name, clean, film in (("bare", 60, 50), ("heavy", 110, 66)):
        text += read(name, clean) + read(name, film, RAILS["treated"])
    stated = "[rail.treated]\nmetal = { fresh = 0.75, settled = 0.85 }\ntyred = { fresh = 0.5, settled = 0.65 }\n"
    told, free = (with_bench(read_plan(each)) for each in (text, text + stated))
    own, mean = told.locos["unread"].predicted, free.locos["unread"].predicted["treated"]
    assert own["treated"].value == pytest.approx(own["clean"].value * 66 / 110)  # 0.6, not 0.83
    assert mean.value > 1.1 * own["treated"].value
    assert (own["treated"].own, own["treated"].shared) == (mean.own, mean.shared)
    one, other = (RandomTrials(plan, 0.008).standing(plan.locos["unread"], "treated") for plan in (told, free))
    assert np.median(one) == pytest.approx(own["treated"].value, rel=0.03)
    assert np.median(other) == pytest.approx(mean.value, rel=0.03)
    assert told.locos["unread"].worked_out["treated"].how == (
        "from readings of others on clean x 0.6: it keeps no more than heavy kept (60 %)"
    )
    assert "treated" not in free.locos["unread"].worked_out


def test_predictions_of_one_fit_share_its_errors():
    """The coefficients' errors move all that a fit predicts; what a locomotive has of its own moves it alone."""
    other = '[loco.other]\nmass = "350 g"\nlength = 200\non_tyres = "120 g"\n'
    plan = with_bench(read_plan(PLAN + other + FOUR))
    trials = RandomTrials(plan, 0.008, count=200_000)
    one, two = (trials.standing(plan.locos[name], "clean") for name in ("unread", "other"))
    pull = plan.locos["unread"].predicted["clean"]
    shared = math.hypot(*pull.shared) ** 2
    ranks = np.argsort(np.argsort(np.stack([one, two]), axis=1), axis=1)
    alike = 2 * np.sin(np.pi / 6 * np.corrcoef(ranks)[0, 1])  # of normal trials; those with a common scatter are near
    assert alike == pytest.approx(shared / (shared + pull.own**2), abs=0.06)
    assert shared > 0.3 * pull.own**2


def test_a_prediction_that_says_less_than_weight_is_shown_with_both():
    """Two locomotives that differ by half tell nearly nothing of a third, whose weight tells 0.22 of it."""
    plan = read_plan(PLAN + read("bare", 40) + read("heavy", 160))
    answer = readings(plan)
    (told,) = [each for each in answer.predictions if (each.loco, each.rail) == ("unread", "clean")] or [None]
    assert told is None  # of tyres nothing is known
    bare = read_plan(PLAN.replace('on_tyres = "120 g"\n', "") + read("bare", 40) + read("heavy", 160))
    answer = readings(bare)
    (told,) = [each for each in answer.predictions if each.loco == "unread"]
    assert told.less_sure
    assert (told.by_weight.low, told.by_weight.value) < (told.by_weight.value, told.by_weight.high)
    assert told.by_weight.value == pytest.approx(0.22 * 350 * GF)
    notes = [str(note) for note in check(bare).notes]
    assert any("unread" in note and "its weight" in note for note in notes)
    assert "say little about unread" in readings_page(answer, units_of("mm"), ["estimates"]).text()


def test_the_check_of_a_layout_says_where_its_pulls_are_from():
    answer = check(read_plan(PLAN + FOUR))
    loads = {load.power: load.basis for load in answer.routes[0].loads if load.rail == "clean"}
    assert loads == {
        "bare": "measured",
        "tyred": "measured",
        "half": "measured",
        "heavy": "measured",
        "unread": "scaled",
    }
    before = check(read_plan(PLAN))
    sure, unsure = (
        next(train.trust.margin_high - train.trust.margin_low for train in each.trains if train.rail == "clean")
        for each in (answer, before)
    )
    assert sure < unsure


def test_a_pull_read_on_a_curve_is_as_unsure_as_the_curve_too():
    def error(*more: str) -> float:
        rows = "".join(reading("bare", '["66 gf", "64 gf", "65 gf"]', where) for where in more)
        return work_out(read_plan(PLAN + rows)).row("bare", "clean").error

    # two tables of three readings each, on the straight or round a curve of 600 mm; the coefficient is known to 20 %
    straight = error("", "")
    on_curve = 9.80665 * 0.300 * 0.69855 / 87.1 * 0.20 / 0.6
    assert error("radius = 600", "radius = 600") == pytest.approx(math.hypot(straight, on_curve), rel=0.03)


def test_readings_in_the_table_of_a_locomotive_are_as_sure_as_those_of_the_bench():
    forces = '["66 gf", "64 gf", "65 gf"]'
    own = PLAN.replace("[loco.tyred]", f"pull.clean = {forces}\n[loco.tyred]", 1)
    one, other = (work_out(read_plan(text)).row("bare", "clean") for text in (own, PLAN + reading("bare", forces)))
    assert (one.mean, one.error) == pytest.approx((other.mean, other.error))
