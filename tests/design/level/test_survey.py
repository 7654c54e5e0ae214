"""Surveys: the profile with its error, what is steep, and corrections against every choice there is."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradehaul.design.level.shims import CorrectedSurveys, Surveyed, corrections, steeper_than, surveyed
from gradehaul.errors import DesignError
from gradehaul.plan import read_plan
from gradehaul.plan.records import Survey

BARE = 'scale = "HO"\nunit = "mm"'
STEP = 0.0005


def hill(heights, run=0.3, reading=0.0005) -> Surveyed:
    return Surveyed("hill", run * np.arange(len(heights)), np.array(heights, dtype=float), reading, False)


@settings(max_examples=20, deadline=None, derandomize=True)
@given(
    st.lists(st.integers(-3, 16), min_size=4, max_size=6),
    st.integers(1, 3),
    st.sampled_from([0.0, 0.005, 0.01, 0.015, 0.02]),
)
def test_no_choice_of_shims_is_better(heights: list[int], most: int, target: float) -> None:
    """Every choice of whole steps is tried: grade first, then total."""
    found = hill([STEP * each for each in heights])
    up = 1.0 if heights[-1] >= heights[0] else -1.0
    best = None
    for choice in itertools.product(range(-most, most + 1), repeat=len(heights) - 2):
        rises = up * np.diff(np.array(heights) + np.array([0, *choice, 0]))
        key = (max(0, -rises.min()), max(rises.max(), 0.3 * target / STEP), sum(map(abs, choice)))
        key = (round(key[0], 6), round(key[1], 6), key[2])
        best = key if best is None or key < best else best
    got = corrections(found, target=target, step=STEP, shim=most * STEP)
    assert best is not None
    rises = up * np.diff(np.array(heights) + np.array(got.steps))
    assert max(map(abs, got.steps)) <= most
    assert max(0, -rises.min()) == pytest.approx(best[0])
    assert max(rises.max(), 0.3 * target / STEP) == pytest.approx(best[1], abs=1e-5)
    assert sum(map(abs, got.steps)) == best[2]


def test_a_hill_with_a_known_fault_is_made_even_again() -> None:
    truth = 0.02 * 0.3 * np.arange(12)
    faulty = truth.copy()
    faulty[4] -= 0.003
    faulty[8:10] += 0.002
    got = corrections(hill(faulty), target=0.02, step=STEP, shim=0.006)
    assert got.met
    assert got.total == pytest.approx(0.007)
    assert np.allclose(hill(faulty).height + got.corrections, truth)
    assert not got.after
    assert [(round(each.start, 6), round(each.stop, 6)) for each in got.before] == [(1.2, 1.5), (2.1, 2.4)]


def test_a_shim_too_small_does_the_best_and_says_so() -> None:
    faulty = 0.02 * 0.3 * np.arange(6)
    faulty[3] -= 0.004
    got = corrections(hill(faulty), target=0.02, step=STEP, shim=0.002)
    assert not got.met
    assert got.reached == pytest.approx(0.02 + 0.001 / 0.3)  # 2 mm of the fault is left, shared with the next riser
    assert max(map(abs, got.corrections)) <= 0.002 + 1e-12
    assert not got.step_alone


@settings(max_examples=20, deadline=None, derandomize=True)
@given(st.lists(st.floats(-0.001, 0.001), min_size=3, max_size=6), st.sampled_from([0.001, 0.002, 0.006]))
def test_only_the_step_stands_in_the_way_where_bare_arithmetic_would_meet_the_grade(errors, shim) -> None:
    """Free shims meet a grade on a hill as long as no two readings, each moved by the shim, are further apart."""
    run, target = 0.3, 0.0205
    heights = 0.02 * run * np.arange(len(errors) + 2) + np.array([0.0, *errors, 0.0])
    got = corrections(hill(heights, run), target=target, step=STEP, shim=shim)
    moved = [0.0, *[shim] * len(errors), 0.0]
    pairs = itertools.combinations(range(len(heights)), 2)
    rises = [(b - a, heights[b] - heights[a], moved[a] + moved[b]) for a, b in pairs]
    free = all(-most - 1e-9 <= rise <= target * run * count + most + 1e-9 for count, rise, most in rises)
    assert (got.met or got.step_alone) == free
    assert CorrectedSurveys(read_plan(BARE), (got,)).passes == got.met


def test_falling_hills_are_corrected_alike() -> None:
    heights = [0.0, 0.007, 0.020, 0.030]
    one = corrections(hill(heights), target=0.02, step=STEP, shim=0.006)
    other = corrections(hill([-each for each in heights]), target=-0.02, step=STEP, shim=0.006)
    assert other.steps == tuple(-each for each in one.steps)


def test_the_error_of_grades_is_that_of_drawn_readings() -> None:
    rng = np.random.default_rng(7)
    truth = 0.02 * 0.3 * np.arange(5)
    drawn = np.array([hill(truth + rng.normal(0, 0.0005, 5)).grades for _ in range(4000)])
    assert drawn.std(axis=0) == pytest.approx(hill(truth).spreads, rel=0.05)
    # a stretch that is as meant is called surely steeper in 1 case of 20
    drawn = rng.normal(0, 0.0005, (2000, 2))
    called = [any(each.sure for each in steeper_than(hill([a, 0.006 + b, 0.0065]), 0.02)) for a, b in drawn]
    assert np.mean(called) == pytest.approx(0.05, abs=0.015)


def test_what_is_within_the_error_is_told_as_unsure() -> None:
    (unsure,) = steeper_than(hill([0.0, 0.0065, 0.012]), 0.02)
    (sure,) = steeper_than(hill([0.0, 0.0085, 0.012]), 0.02)
    assert not unsure.sure
    assert sure.sure


@pytest.mark.parametrize(
    ("heights", "words"),
    [
        (((0, 0), (0.6, 0.01), (0.3, 0.02)), "distances must rise"),
        (((0, 0), (0.3, 0.01), (0.3, 0.02)), "each place once"),
        (((0, 0), (0.3, 0), (0.6, 0), (0.9, 0), (3.0, 0.1)), "there is a gap"),
        (((0, 0), (0.3, 0)), "three readings"),
    ],
)
def test_surveys_that_cannot_be_used(heights, words) -> None:
    with pytest.raises(DesignError, match=words):
        surveyed(Survey("hill", heights), file="hill.toml", unit="mm", reading=0.0005)


def test_a_survey_in_a_plan() -> None:
    plan = read_plan(
        'scale = "HO"\nunit = "in"\nrailhead.A = 0\nline.Main = { from = "A", to = "B", track = [{ straight = 60 }] }\n'
        "[survey.Main]\nheights = [[0, 0], [12, 0.25], [24, '1/2 in']]\nreading = '1/32 in'\ngrade = '2 %'\n"
    )
    survey = plan.surveys["Main"]
    assert survey.heights[2] == (pytest.approx(24 * 0.0254), pytest.approx(0.0127))
    assert survey.grade == 0.02
