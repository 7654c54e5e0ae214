"""The film in time: the curve that readings at several ages follow, and what it may not do."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from checked import check
from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.answers.judged import judged_trains
from gradehaul.haulage.answers.layout import Layout, film_rails
from gradehaul.haulage.bench.film_age import EARLY, _levels, pull_at, recovery
from gradehaul.plan import read_plan
from gradehaul.plan.rail_condition import SETTLED_HOURS
from haulage.bench.tables import GF


def curve(hours, fresh, settled, time):
    return settled - (settled - fresh) * np.exp(-np.asarray(hours) / time)


@pytest.mark.parametrize("seed", range(5))
def test_the_fit_is_that_of_scipy_on_the_same_data(seed):
    ages = np.array([0.5, 3, 8, 24, 72, 200])
    pulls = curve(ages, 0.42, 0.52, 12.0) * (1 + 0.01 * np.random.default_rng(seed).standard_normal(6))
    found = recovery("goat", "treated", list(zip(ages, pulls, strict=True)), 0.8)
    best, _ = curve_fit(curve, ages, pulls, p0=(pulls[0], pulls[-1], 10.0), bounds=([0, 0, 0.1], [0.8, 0.8, 4000]))
    misses = ((curve(ages, *best) - pulls) ** 2).sum()
    assert 6 * found.misfit**2 <= misses * (1 + 1e-4)
    assert (found.fresh, found.settled) == pytest.approx(best[:2], rel=0.01)


@given(
    pulls=st.lists(st.floats(0.1, 2.0), min_size=3, max_size=6),
    clean=st.floats(0.3, 1.5),
    hours=st.floats(0, 1e4),
)
def test_a_film_never_gives_back_more_than_the_clean_pull(pulls, clean, hours):
    ages = [(24.0 * k, pull) for k, pull in enumerate(pulls)]
    found = recovery("goat", "treated", ages, clean)
    assert 0 <= found.fresh <= found.settled * (1 + 1e-12)
    assert found.settled <= clean
    assert found.at(hours) <= clean * (1 + 1e-12)
    after = [pull for age, pull in ages if age >= hours]
    assert found.at(hours) <= (after[0] if after else pulls[-1])


@pytest.mark.parametrize("time", [25.0, 100.0])
def test_a_slow_recovery_that_the_last_reading_alone_shows_gives_no_more_than_it_has_before(time):
    found = recovery("goat", "treated", [(age, curve(age, 0.4, 0.5, time)) for age in (0.0, 0.5, 1.0, 72.0)], 0.8)
    assert (found.fresh, found.settled) == pytest.approx((0.4, 0.5), rel=1e-4)
    for hours in (10.0, 30.0, 60.0):
        assert found.at(hours) == pytest.approx(curve(hours, 0.4, 0.5, time), rel=1e-4)


def test_fewer_than_three_ages_are_taken_stepwise():
    found = recovery("goat", "treated", [(24, 0.5), (0.5, 0.42)], 0.8)
    assert found.form == "stepwise"
    assert [found.at(hours) for hours in (0, 1, 23, 24, 500)] == [0.42, 0.42, 0.42, 0.5, 0.5]
    assert [found.kept_since(0, later) for later in (0.5, 12, 24)] == pytest.approx([1.0, 0.84, 0.84])


PLAN = """
scale = "HO"
unit = "in"
railhead.Wharf = 0
[line.Main]
from = "Wharf"
to = "Summit"
track = [ { straight = 300, grade = "2 %" } ]
[loco.goat]
mass = "300 g"
length = 8
pull.clean = "80 gf"
[loco.mule]
mass = "300 g"
length = 8
pull.clean = "70 gf"
[car.ore]
length = 5
[train.drag]
route = "Up"
consist = ["goat", "4 ore"]
[route.Up]
from = "Wharf"
to = "Summit"
"""


def with_readings(ages):
    return read_plan(
        PLAN
        + "".join(
            f'[[reading]]\nloco = "goat"\nrail = "treated"\nhours = {age}\nforce = "{pull} gf"\n' for age, pull in ages
        )
    )


def pulls_at(hours, ages, loco="goat"):
    """Return the pull on the film, gf: at an age, else the least of its conditions."""
    layout = Layout(with_readings(ages), hours=hours)
    return min(layout.pulls.standing(layout.plan.locos[loco], rail).value / GF for rail in film_rails(layout.rails))


def test_any_age_can_be_asked_for():
    ages = [(0.5, 42), (8, 46), (24, 50), (96, 51)]
    asked = [pulls_at(hours, ages) for hours in (0, 4, 12, 48, 1000)]
    assert asked == sorted(asked)
    assert asked[0] == pytest.approx(42, abs=1.5)
    assert asked[-1] == pytest.approx(51, abs=1)
    two = [(0.5, 42), (24, 50)]
    assert [pulls_at(hours, two) for hours in (3, 30)] == [pytest.approx(42), pytest.approx(50)]


@pytest.mark.parametrize(("hours", "rail"), [(0.3, "treated fresh"), (0.7, "treated fresh"), (30, "treated")])
def test_an_age_that_was_read_is_as_sure_as_its_readings(hours, rail):
    """The same film, readings and draws as for fresh or rested film: the same risk."""
    sets = {0.7: ["38 gf", "41 gf", "44 gf"], 24: ["39 gf", "43 gf", "46 gf", "48 gf"]}
    text = "".join(
        f'[[reading]]\nloco = "goat"\nrail = "treated"\nhours = {age}\nforce = {forces}\n'
        for age, forces in sets.items()
    )
    plan = read_plan(PLAN.replace("4 ore", "7 ore") + text.replace("'", '"'))
    (by_age,) = judged_trains(Layout(plan, hours=hours), [rail])
    (as_such,) = judged_trains(Layout(plan), [rail])
    assert 0.02 < as_such.risk < 0.98
    assert by_age.verdict.spare == pytest.approx(as_such.verdict.spare)
    assert (by_age.risk, by_age.trust.causes) == (as_such.risk, as_such.trust.causes)


AGES = st.lists(
    st.tuples(st.sampled_from([0, 0.5, 3, 11, 12, 20, 24, 90]), st.integers(20, 80)),
    min_size=1,
    unique_by=lambda row: row[0],
)


@given(ages=AGES, hours=st.sampled_from([0, 1, 6, 12, 18, 24, 60, 500]))
@settings(max_examples=25, deadline=None)
def test_no_age_pulls_less_than_the_worse_one_and_none_more_than_was_read(ages, hours):
    means = {age: pull + 1 for age, pull in sorted(ages)}
    twice = [(age, pull + more) for age, pull in ages for more in (0, 2)]
    worse, there = pulls_at(None, twice), pulls_at(hours, twice)
    assert worse <= min(means.values()) * (1 + 1e-9)
    assert worse <= there * (1 + 1e-9)
    later = [mean for age, mean in means.items() if age >= hours] or [list(means.values())[-1]]
    assert there <= min(later) + 1e-9


def test_the_worse_age_is_what_check_judges():
    ages = [(0.5, 38), (8, 46), (24, 50), (96, 51)]
    worse, *others = (
        min(train.verdict.margin for train in answer.trains if train.rail in answer.film_rails)
        for answer in (check(with_readings(ages), hours=hours) for hours in (None, 0, 0.5, 8, 30))
    )
    assert worse == pytest.approx(min(others))
    assert min(others) < max(others)


def test_a_film_that_was_read_rested_alone_pulls_less_while_it_is_fresh():
    """By the shares that the built-in film leaves metal wheels: 0.75 fresh, 0.85 after a rest."""
    assert pulls_at(1, [(30, 51)]) == pytest.approx(51 * 0.75 / 0.85)


@given(
    books=st.lists(
        st.sets(st.sampled_from([0.5, 3.0, 6.0, 11.0, 24.0, 72.0]), min_size=1, max_size=4), min_size=1, max_size=3
    ),
    fresh=st.floats(0.4, 0.8),
    time=st.floats(12.0, 40.0),
    hours=st.sampled_from([0.5, 2.0, 5.0, 6.0, 11.5, 15.0, 30.0]),
)
@settings(max_examples=25, deadline=None)
def test_no_age_pulls_more_than_the_truth_where_any_locomotive_was_read_by_then(books, fresh, time, hours):
    """Locomotives that all recover alike, each read at ages of its own."""

    def truth(loco, age):
        return (1 + loco) * curve(age, fresh, 0.9, time)

    films = [
        recovery(str(loco), "treated", [(age, float(truth(loco, age))) for age in ages], 1.0 + loco)
        for loco, ages in enumerate(books)
    ]
    for loco, own in enumerate(films):
        value, source = pull_at(own, films, hours)
        first = min(books[loco])
        if hours >= first or any(min(ages) <= hours and max(ages) >= first for ages in books):
            assert value <= truth(loco, hours) * 1.005
        assert (source.basis == "measured") <= (own.first_age <= max(hours, EARLY))


SIX_HOURS = '[[reading]]\nloco = "mule"\nrail = "treated"\nhours = 6\nforce = "50 gf"\n'


def test_a_reading_at_six_hours_does_not_stand_for_a_fresh_film():
    """The other had 42 of 48 gf; alone, a fresh film leaves metal wheels 0.75 of the clean 70 gf."""

    def fresh(text, hours):
        plan = Layout(read_plan(PLAN + text), hours=hours).plan
        pull = Pulls(plan).standing(plan.locos["mule"], "treated fresh")
        return pull.value / GF, pull.basis

    other = '[[reading]]\nloco = "goat"\nrail = "treated"\nhours = {}\nforce = "{} gf"\n'
    both = SIX_HOURS + other.format(0.5, 42) + other.format(6, 48)
    for hours in (None, 0, 0.5):
        assert fresh(both, hours) == (pytest.approx(50 * 42 / 48), "scaled")
        assert fresh(SIX_HOURS, hours) == (pytest.approx(50), "assumed")
        assert fresh(SIX_HOURS.replace("50 gf", "60 gf"), hours) == (pytest.approx(0.75 * 70), "scaled")
    assert fresh(both, 6) == (pytest.approx(50), "measured")


def test_a_locomotive_that_was_not_read_on_film_is_fresh_before_it_is_settled():
    young, old = (pulls_at(hours, [(0.5, 42), (24, 50)], "mule") for hours in (3, 30))
    assert young < old < 70


@pytest.mark.parametrize("time", [3.0, 11.0, 40.0])
def test_between_ages_that_were_read_the_pull_is_that_of_the_curve(time):
    def pull(hours: float) -> float:
        return 0.60 - 0.20 * math.exp(-hours / time)

    found = recovery("goat", "treated", [(age, pull(age)) for age in (0.0, 4.0, 12.0, 30.0, 90.0)], 0.9)
    assert found.form == "exponential"
    for hours in (1.0, 7.0, 20.0, 50.0):
        assert found.at(hours) == pytest.approx(pull(hours), rel=2e-3)
    assert found.at(200.0) == pytest.approx(pull(90.0), rel=2e-3)  # beyond the last age, what was read there


@pytest.mark.parametrize("seed", range(8))
def test_the_levels_are_the_best_of_all_that_are_allowed(seed):
    """Against a grid over all levels 0 ≤ fresh ≤ settled ≤ most; from pulls that begin at hardly anything, too."""
    chance = np.random.default_rng(seed)
    left = np.exp(-np.array([0.0, 2.0, 6.0, 20.0, 60.0]) / chance.uniform(2, 20))
    fresh, most = chance.choice([-0.2, 0.0, 0.3]), chance.choice([0.5, math.inf])
    pulls = np.maximum(fresh * left + 0.5 * (1 - left) + chance.normal(0, 0.05, 5), 0.01)
    misses, low, high = _levels(left, pulls, most)
    assert 0 <= low <= high <= most
    assert misses == pytest.approx(((low * left + high * (1 - left) - pulls) ** 2).sum(), abs=1e-12)
    levels = np.linspace(0, min(most, 1.0), 201)
    f, s = np.meshgrid(levels, levels, indexing="ij")
    every = ((f[..., None] * left + s[..., None] * (1 - left) - pulls) ** 2).sum(axis=-1)[f <= s]
    assert misses <= every.min() + 1e-12
    assert misses >= every.min() - 1e-4


@pytest.mark.parametrize(("hours", "most"), [(0.5, 40), (6, 40), (30, 44)])
def test_readings_without_hours_that_are_lower_count_at_any_age(hours, most):
    """Of a fresh film what was read of it rested counts too: a film gives pull back, it takes none."""
    table = 'pull = {{ clean = "80 gf", treated = "44 gf"{} }}'
    text = SIX_HOURS.replace("50 gf", "60 gf") + SIX_HOURS.replace("hours = 6", "hours = 30").replace("50 gf", "64 gf")

    def pull(fresh):
        plan = PLAN.replace('pull.clean = "70 gf"', table.format(fresh))
        layout = Layout(read_plan(plan + text), hours=hours)
        rail = "treated fresh" if hours < SETTLED_HOURS else "treated"
        return layout.pulls.standing(layout.plan.locos["mule"], rail).value / GF

    assert pull(', "treated fresh" = "40 gf"') <= most * (1 + 1e-9)
    assert pull("") <= 44 * (1 + 1e-9)
