"""What the trade knows of models at the bench (common practice), against what is assumed and how far it is trusted."""

from __future__ import annotations

import numpy as np
import pytest

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.plan import read_plan

PLAN = """
scale = "HO"
unit = "in"
railhead.Foot = 0
[line.Hill]
from = "Foot"
to = "Top"
track = [{ left = 24, angle = 90, grade = "2 %" }]
[loco.bare]
mass = "300 g"
length = 8
[loco.tyred]
mass = "300 g"
length = 8
driven_wheels = 4
tyred_wheels = 4
[car.box]
length = 6
"""
WEIGHT = 0.3 * 9.80665


@pytest.fixture(scope="module")
def trials() -> RandomTrials:
    layout = Layout(read_plan(PLAN))
    return RandomTrials(layout.plan, layout.coefficient)


def test_model_cars_roll_at_0_8_to_3_per_cent_of_weight(trials: RandomTrials) -> None:
    """Common practice: 0.8 to 3 %, and 2 % as the usual working figure."""
    rolling = trials.rolling(trials.plan.cars["box"])
    assert np.quantile(rolling, [0.05, 0.5, 0.95]) == pytest.approx([0.008, 0.02, 0.03], rel=0.03)


def test_metal_wheels_pull_about_20_to_25_per_cent_of_the_weight_on_them(trials: RandomTrials) -> None:
    """Common practice: 20 to 25 %, more with tyres; most of the trials lie about there."""
    share = trials.standing(trials.plan.locos["bare"], "clean") / WEIGHT
    low, high = np.quantile(share, [0.16, 0.84])
    assert (low, high) == pytest.approx((0.19, 0.25), abs=0.005)
    tyred = trials.standing(trials.plan.locos["tyred"], "clean") / WEIGHT
    assert (tyred > share).mean() > 0.9


def test_a_film_halves_a_tyred_pull_and_a_rest_gives_some_back_but_never_all(trials: RandomTrials) -> None:
    """Common practice: up to about half, most with tyres, least with bare metal; a day's rest gives part of it back.

    That is the middle of the trials. Their tails go lower: a rig at 1/5 scale kept 0.35 of its adhesion with a friction
    modifier, graphite at full size 0.1 of 0.22 (both read second-hand).
    """
    for name, half in (("bare", 0.75), ("tyred", 0.50)):
        loco = trials.plan.locos[name]
        fresh, settled = (
            trials.standing(loco, rail) / trials.standing(loco, "clean") for rail in ("treated fresh", "treated")
        )
        assert np.median(fresh) == pytest.approx(half, abs=0.01)
        assert np.quantile(settled, 0.02) < 0.35
        assert np.quantile(settled, 0.05) < 0.1 / 0.22
        assert (fresh <= settled).all()
        assert (settled < 1).mean() > 0.95
    bare, tyred = (
        trials.standing(trials.plan.locos[n], "treated") / trials.standing(trials.plan.locos[n], "clean")
        for n in ("bare", "tyred")
    )
    assert (tyred <= bare).all()
    assert (tyred < bare).mean() > 0.99


def test_the_curve_coefficient_spans_what_is_published(trials: RandomTrials) -> None:
    """At HO and 24 in the published forms span 0.9 % (gauge and wheelbase) to 1.3 % (degree of curve): the assumed
    1.32 % with its spread of a fifth reaches 0.9 % at the 5th percentile."""
    asks = trials.curve / 0.6096
    assert np.median(asks) == pytest.approx(0.0132, rel=0.02)
    assert np.quantile(asks, 0.05) == pytest.approx(0.009, abs=0.0005)
