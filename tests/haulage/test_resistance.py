"""Resistance: the three models of what curves cost, and the least a car may resist."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.resistance import curve_coefficient, lowest
from gradehaul.plan import read_plan
from gradehaul.plan.records import CurveResistance
from gradehaul.quantities import Reading
from gradehaul.scales import own_scale, scale_named

RING = """
unit = "m"
railhead = { A = 0, B = 0 }
line.Main = { from = "A", to = "B", track = [{ straight = 1 }, { left = 0.6, length = 1 }, { straight = 1 }] }
"""


@pytest.mark.parametrize(("name", "ratio"), [("HO", 87.1), ("N", 160.0), ("O", 48.0)])
def test_full_size_practice_scaled_down(name: str, ratio: float) -> None:
    # 0.04 % of grade per degree; a curve of one degree has 5,729.578 ft
    scale = scale_named(name)
    assert scale.ratio == ratio
    assert curve_coefficient(CurveResistance(), scale) == pytest.approx(0.0004 * 5729.578 * 0.3048 / ratio)


def test_one_degree_at_full_size_asks_for_a_grade_of_four_hundredths_of_a_percent() -> None:
    full = own_scale(1.0, 1.435)
    radius = 100 * 0.3048 / math.radians(1)  # a hundred feet of track turn through one degree
    assert curve_coefficient(CurveResistance(), full) / radius == pytest.approx(0.0004, rel=1e-6)


def test_by_gauge_and_wheelbase() -> None:
    wanted = CurveResistance("wheelbase", wheelbase=0.024, friction=0.2)
    expected = 0.2 * (0.72 * 0.0165 + 0.47 * 0.024)
    assert curve_coefficient(wanted, scale_named("HO")) == pytest.approx(expected)
    # the ratio does not count, the gauge does
    assert curve_coefficient(wanted, own_scale(22.5, 0.0165)) == pytest.approx(expected)
    assert curve_coefficient(wanted, own_scale(22.5, 0.045)) == pytest.approx(0.2 * (0.72 * 0.045 + 0.47 * 0.024))


def test_a_measured_coefficient_is_taken_as_it_is() -> None:
    assert curve_coefficient(CurveResistance("coefficient", coefficient=0.0081), scale_named("N")) == 0.0081


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        ("", 0.0004 * 5729.578 * 0.3048 / 87.1),
        ('curve_resistance.model = "degree"\n', 0.0004 * 5729.578 * 0.3048 / 87.1),
        (
            'curve_resistance = { model = "wheelbase", wheelbase = "24 mm", friction = 0.2 }\n',
            0.2 * (0.72 * 0.0165 + 0.47 * 0.024),
        ),
        ('curve_resistance = { model = "coefficient", coefficient = "8.1 mm" }\n', 0.0081),
    ],
)
def test_a_curve_asks_for_its_coefficient_over_its_radius(table: str, expected: float) -> None:
    layout = Layout(read_plan('scale = "HO"\n' + table + RING))
    assert layout.coefficient == pytest.approx(expected)
    ruling = layout.profile("A to B").ruling()
    assert (ruling.effective, ruling.grade, ruling.curve) == pytest.approx((expected / 0.6, 0.0, expected / 0.6))
    assert (ruling.start, ruling.stop) == pytest.approx((1.0, 2.0))
    assert ruling.track == "Main:2"


def test_the_lowest_resistance_without_a_spread_is_two_fifths() -> None:
    assert lowest(Reading(0.02)) == pytest.approx(0.008)
    assert lowest(Reading(0.03, None)) == pytest.approx(0.012)


def test_the_lowest_resistance_with_a_spread_is_its_fifth_percentile() -> None:
    draws = np.random.default_rng(3).normal(0.02, 0.003, 200_000)
    assert lowest(Reading(0.02, 0.003)) == pytest.approx(np.percentile(draws, 5), abs=5e-5)


def test_a_spread_of_nothing_leaves_the_reading() -> None:
    assert lowest(Reading(0.02, 0.0)) == 0.02


@given(st.floats(0.001, 1.0), st.none() | st.floats(0.0, 1.0))
def test_the_lowest_resistance_is_never_below_nothing_nor_above_the_reading(value: float, spread: float | None) -> None:
    assert 0.0 <= lowest(Reading(value, spread)) <= value
