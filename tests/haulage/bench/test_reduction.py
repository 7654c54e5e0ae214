"""Reduction of readings: means and their intervals, outliers, and corrections for where they were taken."""

from itertools import chain, takewhile

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy import stats

from gradehaul.errors import PlanError
from gradehaul.haulage.bench.benched import work_out
from gradehaul.haulage.bench.reduction import counted, mean_of, outliers, pool, student
from gradehaul.plan import read_plan
from gradehaul.quantities import Reading
from haulage.bench.tables import GF, HILL

TRIALS = 2_000

PLAN = """
scale = "HO"
unit = "mm"
curve_resistance = { model = "coefficient", coefficient = 8 }
[line.Main]
from = "Wharf"
to = "Summit"
track = [ { straight = 900 } ]
[loco.goat]
mass = "260 g"
length = 200
[loco.mule]
mass = "300 g"
length = 200
"""


def rows(more: str):
    return {(row.loco, row.rail, row.state): row for row in work_out(read_plan(PLAN + more)).rows}


def reading(force: str, more: str = "", loco: str = "goat") -> str:
    return f'[[reading]]\nloco = "{loco}"\nforce = {force}\n{more}\n'


@pytest.mark.parametrize("count", [3, 5, 9])
def test_the_interval_of_a_reduced_pull_holds_the_truth_in_19_cases_of_20(count):
    """A pull of 84 gf read to 1 gf with a scatter of 3 %: the balance rounds, and the interval still holds."""
    noise = np.random.default_rng(20260 + count)
    read = np.round(84.3 * (1 + 0.03 * noise.standard_normal((TRIALS, count))))
    held = 0
    for row in read:
        found = mean_of(row.tolist(), step=1.0)
        held += abs(found.value - 84.3) <= found.half
    assert 0.93 <= held / TRIALS <= 0.97


def test_a_coarse_balance_is_not_taken_for_sure():
    """Steps of 5 gf and hardly any scatter: all readings alike, and the truth up to half a step away."""
    truth = np.random.default_rng(7).uniform(60, 90, 500)
    read = 5 * np.round(truth / 5)
    found = [mean_of([value] * 5, step=5.0) for value in read]
    assert np.mean([abs(one.value - t) <= one.half for one, t in zip(found, truth, strict=True)]) > 0.95
    assert all(one.error >= 5 / np.sqrt(12) * (1 - 1e-12) for one in found)
    assert mean_of([1.0, 1.0, 1.0, 2.0], step=1.0).error == 0.25  # a scatter of half a step is one that shows


@pytest.mark.parametrize("values", [[79.0, 82.0, 81.0], [50.0, 52.0], [66.1, 66.4, 65.2, 67.0, 66.6]])
def test_the_interval_is_that_of_scipy(values):
    found = mean_of(values)
    low, high = stats.t.interval(0.95, len(values) - 1, np.mean(values), stats.sem(values))
    assert (found.value - found.half, found.value + found.half) == pytest.approx((low, high), rel=1e-9)
    assert student(4, 0.9) == pytest.approx(stats.t.ppf(0.95, 4))


def test_all_readings_of_one_thing_are_taken_together():
    found = rows('[loco.goat.pull]\nclean = ["80 gf", "82 gf"]\n' + reading('["81 gf", "84 gf"]') + reading('"83 gf"'))
    row = found["goat", "clean", "standing"]
    assert (row.count, row.mean) == (5, pytest.approx(82 * GF))
    assert [taken.place for taken in row.taken] == ['loco "goat"', "reading 1", "reading 2"]
    assert not row.borrowed
    pooled = pool([[Reading(0.8)]])
    assert pooled.of([Reading(0.80, 0.05), Reading(0.82, 0.01)]).value == pytest.approx(
        np.sqrt((0.05**2 + 0.01**2) / 2)
    )


def test_a_single_reading_is_used_with_a_spread_that_is_labeled():
    one = rows(reading('"80 gf"'))["goat", "clean", "standing"]
    assert one.borrowed
    assert one.scatter == pytest.approx(0.04 * 80 * GF)
    assert one.low < 80 * GF < one.high
    helped = rows(reading('"80 gf"') + reading(str([f"{70 + 0.2 * k} gf" for k in range(9)]), loco="mule"))
    assert helped["goat", "clean", "standing"].scatter < one.scatter


def test_a_stated_spread_counts():
    row = rows(reading('["80 ± 5 gf", "80 ± 5 gf"]'))["goat", "clean", "standing"]
    assert row.error == pytest.approx(5 * GF / np.sqrt(2))
    assert not row.borrowed


@pytest.mark.parametrize(("odd", "counts"), [(61, 5), (101, 4)])
def test_readings_far_off_are_shown_and_count_where_the_mean_is_lower_with_them(odd, counts):
    row = rows(reading(f'["80 gf", "81 gf", "82 gf", "80 gf", "{odd} gf"]'))["goat", "clean", "standing"]
    assert row.outliers == (pytest.approx(odd * GF),)
    assert (row.count, row.counted) == (5, counts)
    assert row.mean == pytest.approx(np.mean([80, 81, 82, 80, odd][:counts]) * GF)
    both = f"the mean is {np.mean([80, 81, 82, 80, odd]):.4g} gf with it, 80.75 gf without it"
    assert str(row.doubts[0]) == f"{odd} gf is far from the others: {both}; the lower counts"


@pytest.mark.parametrize("more", ["", '[bench]\nstep = "0.5 gf"\n'])
def test_readings_of_which_most_are_equal_have_the_spread_that_the_balance_can_show(more):
    """By hand: the mean of five, and Student's t of 2.776 times their standard deviation over the root of five."""
    row = rows(more + reading('["13 gf", "13.5 gf", "13 gf", "14 gf", "13 gf"]'))["goat", "clean", "standing"]
    assert (row.outliers, row.counted) == ((), 5)
    half = 2.776 * np.std([13, 13.5, 13, 14, 13], ddof=1) / np.sqrt(5)
    assert [row.low, row.mean, row.high] == pytest.approx([(13.3 + k * half) * GF for k in (-1, 0, 1)], rel=1e-4)
    odd = rows(more + reading('["13 gf", "13.5 gf", "13 gf", "19 gf", "13 gf"]'))["goat", "clean", "standing"]
    assert odd.outliers == (pytest.approx(19 * GF),)


def test_which_readings_lie_far_off():
    assert outliers([80, 81, 82, 80, 79, 83]) == ()
    assert outliers([80.0, 80.0, 80.0, 81.0], step=1.0) == ()


some_sets = st.lists(st.lists(st.integers(40, 99), min_size=1, max_size=5), min_size=1, max_size=4)


def count_of(sets, *, highest: bool = False):
    named = [(f"set {k}", [Reading(float(value)) for value in values]) for k, values in enumerate(sets)]
    return counted(named, 0.03, "{:g}".format, step=1.0, highest=highest)


def brute_mean(sets) -> float:
    """The least mean of the sets below the first to contradict one, with any of the far and of the other readings."""

    def contradicts(one, other):
        scatter = max(0.03 * np.mean([*one, *other]), 1 / np.sqrt(12))
        return np.mean(other) - np.mean(one) > 3.5 * scatter * np.sqrt(1 / len(one) + 1 / len(other))

    ordered = sorted(sets, key=np.mean)
    alike = takewhile(lambda n: not any(contradicts(one, ordered[n]) for one in ordered[:n]), range(len(ordered)))
    below = [ordered[n] for n in alike]
    values = [value for each in below for value in each]
    far = outliers(values, step=1.0)
    kept = [value for value in values if value not in far]
    others = sorted(chain((value for value in values if value in far), *ordered[len(below) :]))
    return min(np.mean([*kept, *others[:count]]) for count in range(len(others) + 1))


@given(some_sets)
@example([[66, 68, 67, 65, 67], [79, 81, 80, 78, 80]])
@example([[104, 107, 105, 150, 106]])
@example([[60], [72], [72, 72, 72, 72, 72]])
@example([[40], [40, 40], [41, 48]])
@example([[40, 47, 49, 49, 49]])
def test_the_lower_of_readings_that_contradict_counts(sets):
    found = count_of(sets)
    assert found.mean == pytest.approx(brute_mean(sets))
    assert bool(found.doubts) or len(found.readings) == sum(map(len, sets))
    # a load's the other way round: mirrored at a figure of the same size, so that shares are those of the mirror's
    assert count_of([[-value for value in each] for each in sets], highest=True).mean == pytest.approx(-found.mean)


@given(some_sets, st.lists(st.integers(200, 240), min_size=1, max_size=5))
def test_a_set_above_that_contradicts_changes_nothing(sets, above):
    assert count_of([*sets, above]).readings == count_of(sets).readings
    assert any("contradict" in str(doubt) for doubt in count_of([*sets, above]).doubts)


def test_where_it_was_taken_is_corrected_for():
    """On 2 % and 400 mm of radius the engine of 260 g lifts itself and bends: 260 g x (0.02 + 8 / 400) = 10.4 gf."""
    found = rows(reading('"70 gf"', 'grade = "2 %"\nradius = 400') + reading('"70 gf"', 'grade = "-2 %"', "mule"))
    assert found["goat", "clean", "standing"].mean == pytest.approx(80.4 * GF)
    assert found["mule", "clean", "standing"].mean == pytest.approx(64 * GF)
    flat = rows(reading('"80.4 gf"'))
    assert found["goat", "clean", "standing"].error > flat["goat", "clean", "standing"].error


def test_ages_make_fresh_and_settled():
    found = rows(
        reading('"42 gf"', 'rail = "treated"\nhours = 1')
        + reading('"50 gf"', 'rail = "treated"\nhours = 24')
        + reading('"52 gf"', 'rail = "treated"')
    )
    assert found["goat", "treated fresh", "standing"].count == 1
    assert found["goat", "treated", "standing"].mean == pytest.approx(50 * GF)  # at the age at which it pulls least


def test_a_pull_that_comes_to_nothing_on_the_level_is_refused_where_it_was_read():
    """20 gf down a grade of 9 %, on which 300 g alone pull 27 gf."""
    plan = read_plan(HILL + 'loco.goat = { mass = "300 g", length = 200 }\n' + reading('"20 gf"', 'grade = "-9 %"'))
    words = "reading 1: on level straight track it comes to no pull at all, got -7 gf; write its grade"
    with pytest.raises(PlanError, match=words):
        work_out(plan)
