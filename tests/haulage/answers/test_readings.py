"""The bench's answer: odd figures pointed out, trials against the model, and what to measure next."""

from dataclasses import replace

import numpy as np
import pytest

from checked import check
from gradehaul.haulage.answers.check import check_layout
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.answers.readings import readings
from gradehaul.haulage.answers.seen_runs import bounds
from gradehaul.haulage.answers.trial_train import try_train
from gradehaul.plan import load_plan, read_plan
from haulage.bench.tables import GF, reading
from project import PLANS

PLAN = """
scale = "HO"
unit = "mm"
railhead.Wharf = 0
[line.Main]
from = "Wharf"
to = "Summit"
track = [ { straight = 3000, grade = "2 %" }, { left = 600, angle = 60, grade = "2 %" } ]
[loco.goat]
mass = "300 g"
length = 200
[loco.mule]
mass = "300 g"
length = 200
on_tyres = "150 g"
[car.ore]
mass = "100 g"
length = 120
[train.drag]
route = "Up"
consist = ["goat", "9 ore"]
[route.Up]
from = "Wharf"
to = "Summit"
"""


def remarks(more: str) -> str:
    return "\n".join(str(remark) for remark in readings(read_plan(PLAN + more)).remarks)


FIVE = '["65 gf", "66 gf", "67 gf", "66 gf", "65 gf"]'


def test_sound_readings_raise_no_remark():
    assert remarks(reading("goat", FIVE) + reading("goat", '["48 gf", "49 gf", "48 gf"]', 'state = "slipping"')) == ""


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (reading("goat", '["0.1 N", "0.11 N", "0.1 N"]').replace("0.1", "6.6"), "more than 60 %"),
        (reading("goat", '["6.6 gf", "6.5 gf", "6.7 gf"]'), "6.6 gf is 2 % of its weight, less than 3 %"),
        (reading("goat", '["2.3 gf", "2.4 gf", "2.3 gf"]'), "was 2.33 ozf (22 %) meant?"),
        (reading("goat", '["0.065 N", "0.066 N", "0.067 N"]'), "0.066 N is 2 % of its weight"),
        (
            reading("goat", FIVE) + reading("goat", '["70 gf", "71 gf", "70 gf"]', 'state = "slipping"'),
            "which is impossible",
        ),
        (reading("goat", FIVE) + reading("goat", '["70 gf", "71 gf", "70 gf"]', 'rail = "treated"'), "as on no film"),
        (
            reading("goat", '["50 gf", "51 gf", "50 gf"]', 'rail = "treated"\nhours = 1')
            + reading("goat", '["40 gf", "41 gf", "40 gf"]', 'rail = "treated"\nhours = 30'),
            "a rest brings pull back",
        ),
        (reading("goat", '["65 gf", "66 gf", "67 gf", "66 gf", "45 gf"]'), "45 gf is far from the others"),
        (reading("goat", '"66 gf"'), "one reading only: the scatter is assumed"),
        ('[[reading]]\ncar = "ore"\ncars = 1\nforce = ["22 gf", "23 gf"]\n', "22.50 % of its weight"),
        ('[[tilt]]\ncar = "ore"\nover = 1000\nrolls = [22, 21]\nstarts = [18, 17]\n', "are the two swapped?"),
        (
            (
                '[[tilt]]\ncar = "ore"\nover = 1000\nrolls = [22, 21]\nstarts = [18, 17]\n'
                '[[tilt]]\ncar = "ore"\nover = 1000\nrolls = 20\nstarts = [30, 31]\n'
            ),
            "tilt 1: ore rolls on at a steeper tilt than it starts at",
        ),
        (
            (
                '[[tilt]]\ncar = "ore"\nover = 1000\nstarts = [18, 17]\n'
                '[[reading]]\ncar = "ore"\ncars = 10\nforce = ["22 gf", "23 gf"]\n'
            ),
            "ore: it starts at less than it rolls on at",
        ),
        (
            reading("goat", FIVE) + reading("goat", '["50 gf", "51 gf", "50 gf"]'),
            "goat on clean rail: reading 2 and reading 1 contradict, 50.33 gf and 65.8 gf; the lower counts",
        ),
        (
            (
                '[[tilt]]\ncar = "ore"\nover = 1000\nrolls = [21, 22]\n'
                '[[reading]]\ncar = "ore"\ncars = 10\nforce = ["32 gf", "33 gf"]\n'
            ),
            "the rolling resistance of ore: reading 1 and tilt 1 contradict, 3.25 % and 2.15 %; the higher counts",
        ),
        ('[[reading]]\ncar = "ore"\ncars = 10\nforce = "15 gf"\nradius = 600\n', "the coefficient stays as it was"),
        ('[[reading]]\ncar = "ore"\ncars = 10\nforce = "90 gf"\nradius = 600\n', "5.2 times the usual one"),
    ],
)
def test_figures_that_cannot_be_are_pointed_out(more, words):
    assert words in remarks(more)


def trial(count: int, outcome: str, more: str = "") -> str:
    return f'[[trial]]\nroute = "Up"\nconsist = ["goat", "{count} ore"]\noutcome = "{outcome}"\n{more}\n'


def test_a_trial_bounds_the_pull_from_both_sides():
    plan = read_plan(PLAN + reading("goat", FIVE) + trial(10, "climbs") + trial(16, "stalls"))
    climbed, stalled = readings(plan).trials
    layout = Layout(plan)
    truth = layout.pulls.standing(layout.plan.locos["goat"], "clean").value
    assert climbed.demand < truth < stalled.demand
    assert (climbed.pull, stalled.pull) == pytest.approx((truth, truth))
    assert (climbed.train, climbed.outcome, stalled.outcome) == ("goat, 10 ore", "marginal", "stalls")
    assert climbed.agrees
    assert stalled.agrees
    assert bounds((climbed, stalled)) == {("goat", "clean", None): (climbed.demand, stalled.demand)}


def test_a_trial_against_the_model_stands_above_the_verdict_and_in_what_is_tried():
    plan = read_plan(PLAN + reading("goat", FIVE) + trial(3, "stalls"))
    note = (
        'trial 1: goat, 3 ore stalled on route "Up", as in at most 0.1 % of random trials: a reading, a grade or a '
        "mass is not as in the plan"
    )
    assert note in map(str, check(plan).doubts)
    assert note in map(str, try_train(plan, "Up", ["goat", "5 ore"]).doubts)
    assert try_train(plan, "Up", ["mule", "5 ore"]).doubts == ()
    agrees = read_plan(PLAN + reading("goat", FIVE) + trial(16, "stalls"))
    assert check(agrees).doubts == ()


def test_trials_that_contradict_one_another_are_pointed_out():
    told = remarks(reading("goat", FIVE) + trial(13, "climbs") + trial(12, "stalls"))
    assert "a train climbed that needs more than one that stalled" in told


def test_a_train_that_both_climbed_and_stalled_is_pointed_out():
    assert "needs as much as one that stalled" in remarks(
        reading("goat", FIVE) + trial(12, "climbs") + trial(12, "stalls")
    )


def test_rows_that_agree_or_lie_apart_in_age_do_not_contradict_one_another():
    fresh = reading("goat", '["50 gf", "51 gf", "50 gf"]', 'rail = "treated"\nhours = 1')
    later = reading("goat", '["58 gf", "59 gf", "58 gf"]', 'rail = "treated"\nhours = 8')
    assert "contradict" not in remarks(reading("goat", FIVE) + reading("goat", '["66 gf", "65 gf"]') + fresh + later)


def test_a_trial_over_a_route_that_cannot_be_answered_is_said():
    plan = read_plan(PLAN + reading("goat", FIVE) + trial(3, "climbs"))
    (told,) = plan.book.trials
    plan = replace(plan, book=replace(plan.book, trials=(replace(told, route="Off"),)))
    answer = readings(plan)
    assert answer.trials == ()
    assert "trial 1: not judged" in str(answer.remarks[-1])
    assert answer.remarks[-1] in check(plan).doubts
    assert answer.remarks[-1] in try_train(plan, "Up", ["goat", "5 ore"]).doubts
    assert try_train(plan, "Up", ["mule", "5 ore"]).doubts == ()


@pytest.mark.parametrize(("count", "outcome"), [(2, "stalls"), (40, "climbs")])
def test_a_trial_that_the_model_does_not_allow_for_is_said(count, outcome):
    answer = readings(read_plan(PLAN + reading("goat", FIVE) + trial(count, outcome)))
    assert not answer.trials[0].agrees
    assert f'{"climbed" if outcome == "climbs" else "stalled"} on route "Up", as in at most 0.1 %' in str(
        answer.remarks[-1]
    )


def test_a_trial_on_film_is_judged_at_its_age():
    ages = "".join(
        reading("goat", f'["{p} gf", "{p + 1} gf", "{p} gf"]', f'rail = "treated"\nhours = {h}')
        for h, p in ((1, 40), (24, 52))
    )
    plan = read_plan(
        PLAN
        + ages
        + trial(9, "stalls", 'rail = "treated"\nhours = 2')
        + trial(9, "climbs", 'rail = "treated"\nhours = 40')
    )
    young, old = readings(plan).trials
    assert (young.pull / GF, old.pull / GF) == pytest.approx((40.33, 52.33), abs=0.05)


def test_what_to_measure_next_begins_with_what_would_tell_most_of_the_trains():
    advice = readings(read_plan(PLAN + reading("goat", FIVE))).measure_next
    assert "makes the verdict for drag on" in advice[0]
    assert len(advice) <= 6
    assert sum("along level straight track" in words for words in advice) <= 1
    assert any("read the pull of mule on clean rail" in words for words in advice)


def test_a_plan_without_any_reading_is_told_where_to_begin():
    plan = read_plan(PLAN.replace("[train.drag]", "[train.x]").replace('["goat", "9 ore"]', '["goat"]'))
    advice = " ".join(readings(plan).measure_next)
    assert "read the pull of goat" in advice
    assert "spare length of track" in advice


def test_what_is_to_be_read_of_two_locomotives_coupled_together_can_be_written():
    """As `together`, after which it is not named again."""
    text = """
scale = "HO"
unit = "in"
railhead = { Foot = 0, Top = 6 }
line.Hill = { from = "Foot", to = "Top", track = [{ straight = 250 }] }
loco.goat = { mass = "300 g", length = 8, pull.clean = ["70 gf", "71 gf"], slipping.clean = ["60 gf", "61 gf"] }
car.ore = { mass = "100 g", length = 5, rolling = "2 ± 0.01 %", starting = "2 ± 0.01 %" }
route.Up = { from = "Foot", to = "Top" }
train.double = { route = "Up", consist = ["goat", "goat", "20 ore"] }
"""
    wanted = "read the pull of 2 goat coupled together, for its `together`"
    assert check(read_plan(text)).measure_next.what == wanted
    stated = text.replace('"20 ore"]', '"20 ore"], together = "88 %"')
    assert not [each for each in readings(read_plan(stated)).measure_next if "coupled" in each]


@pytest.mark.parametrize("name", ["first-hill", "two-levels", "bench", "switchback", "yard", "landing"])
def test_check_and_readings_name_the_same_measurement(name):
    plan = load_plan(f"plans/{name}.toml")
    assert str(check(plan).measure_next) == readings(plan).measure_next[0]


@pytest.mark.parametrize(
    ("hours", "wanted"),
    [
        ([], ["wipe the film (treated) on a spare length of track"]),
        ([30], ["rail on the day you apply the film"]),
        ([0], ["rail after a day"]),
        ([0, 30], []),
    ],
)
def test_what_was_not_read_on_a_film_is_asked_for(hours, wanted):
    rows = "".join(reading(loco, FIVE) for loco in ("goat", "mule"))
    film = 'rail = "treated"\nhours = '
    rows += "".join(reading(loco, '["50 gf", "51 gf"]', f"{film}{age}") for age in hours for loco in ("goat", "mule"))
    # without a train nothing else is asked for first
    before, _, after = PLAN.partition("[train.drag]")
    plan = read_plan(before + after[after.index("[route.Up]") :] + rows)
    advice = " ".join(readings(plan).measure_next)
    every = (
        "wipe the film (treated) on a spare length of track",
        "rail on the day you apply the film",
        "rail after a day",
    )
    assert [words for words in every if words in advice] == wanted


def test_locomotives_that_lack_ages_of_a_film_are_named():
    ages = {"goat": (0.5, 6, 24), "mule": (6, 24)}
    film = 'rail = "treated"\nhours = '
    rows = "".join(reading(loco, FIVE, f"{film}{age}") for loco, own in ages.items() for age in own)
    before, _, after = PLAN.partition("[train.drag]")
    advice = readings(read_plan(before + after[after.index("[route.Up]") :] + rows)).measure_next
    assert "read the pull of mule on treated rail within an hour of wiping it" in advice
    assert "read the pull of mule on treated rail at three ages or more, to show how it recovers" in advice


@pytest.mark.parametrize(
    ("change", "asked"),
    [
        (("", ""), True),
        (("{ left = 600, angle = 60,", "{ straight = 900,"), False),  # no curve
        (("[loco.goat]", '[curve_resistance]\nmodel = "coefficient"\ncoefficient = 8\n[loco.goat]'), False),
    ],
)
def test_a_string_round_a_curve_is_asked_for_where_curves_matter_and_are_not_known(change, asked):
    before, _, after = PLAN.partition("[train.drag]")
    text = before + after[after.index("[route.Up]") :]
    advice = " ".join(readings(read_plan(text.replace(*change))).measure_next)
    assert ("round a curve of known radius" in advice) is asked


def test_a_plan_without_locomotives_is_asked_for_no_pull():
    text = PLAN[: PLAN.index("[loco.goat]")] + PLAN[PLAN.index("[car.ore]") : PLAN.index("[train.drag]")]
    advice = " ".join(readings(read_plan(text)).measure_next)
    assert "pull a string of ore" in advice
    assert "spare length" not in advice


def test_common_practice_on_the_demo_bench():
    """Tyred locomotives lose more on the film than bare ones, up to about half; none gets all of it back."""
    answer = readings(load_plan(PLANS / "bench.toml"))
    fits = answer.bench.fits
    kept = {
        wheels: getattr(fits["treated fresh"], wheels) / getattr(fits["clean"], wheels) for wheels in ("metal", "tyred")
    }
    assert 0.4 < kept["tyred"] < kept["metal"] < 1
    assert fits["treated fresh"].tyred < fits["treated"].tyred < fits["clean"].tyred
    assert all(film.fresh <= film.settled < film.clean for film in answer.bench.films if film.clean)
    assert 0.18 < fits["clean"].metal < 0.26
    for told in answer.predictions:
        assert told.pull.low < told.pull.value < told.pull.high
    assert {told.loco for told in answer.predictions if told.rail == "clean"} == {"mogul"}


def test_the_truth_of_a_made_up_bench_is_found_again():
    """Six locomotives with 8 % between them, read to 3 %: the seventh lies within what is predicted."""
    noise = np.random.default_rng(77)
    locos, rows = "", ""
    for k, (mass, tyres) in enumerate([(300, 0), (250, 120), (420, 160), (380, 0), (280, 140), (330, 60), (310, 100)]):
        locos += f'[loco.L{k}]\nmass = "{mass} g"\nlength = 200\non_tyres = "{tyres} g"\n'
        pull = (0.22 * (mass - tyres) + 0.4 * tyres) * (1 + 0.08 * noise.standard_normal())
        if k < 6:
            forces = ", ".join(f'"{pull * (1 + 0.03 * e):.1f} gf"' for e in noise.standard_normal(5))
            rows += reading(f"L{k}", f"[{forces}]")
        else:
            truth = pull
    answer = readings(read_plan(PLAN + locos + rows))
    (told,) = [one.pull for one in answer.predictions if (one.loco, one.rail) == ("L6", "clean")]
    assert told.low < truth * GF < told.high
    assert answer.bench.fits["clean"].metal == pytest.approx(0.22, rel=0.15)


def test_the_seed_of_check_is_that_of_the_trials_seen():
    plan = read_plan(PLAN + reading("goat", FIVE) + "".join(trial(n, "stalls") for n in range(4, 11)))
    for seed in (0, 1, 5):
        seen = [note for note in readings(plan, seed=seed).remarks if note.place.startswith("trial")]
        assert seen == [note for note in check_layout(Layout(plan), seed=seed).doubts if note.place.startswith("trial")]
    told = {str(check_layout(Layout(plan), seed=seed).doubts) for seed in range(4)}
    assert len(told) > 1


def test_nothing_is_advised_twice():
    text = """
scale = "HO"
unit = "m"
railhead = { A = 0, B = 0.12 }
line.Hill = { from = "A", to = "B", track = [{ straight = 4 }] }
loco.tank = { mass = "400 g", length = 0.2 }
loco.mogul = { mass = "400 g", length = 0.2 }
car.ore = { mass = "100 g", length = 0.14 }
route.Up = { from = "A", to = "B" }
train.up = { route = "Up", consist = ["tank", "9 ore"] }
"""
    advice = readings(read_plan(text)).measure_next
    assert sum("the pull of tank on clean" in each for each in advice) == 1
    assert "read the pull of mogul on clean rail, five times" in advice  # of which no train has need
