"""Resistance: the three models of what curves cost, and the least a car may resist."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.resistance import lowest
from gradehaul.plan import read_plan
from gradehaul.quantities import Reading

RING = """
unit = "m"
railhead = { A = 0, B = 0 }
line.Main = { from = "A", to = "B", track = [{ straight = 1 }, { left = 0.6, length = 1 }, { straight = 1 }] }
"""


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
