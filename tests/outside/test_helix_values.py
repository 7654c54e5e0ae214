"""Published helix arithmetic, the height from level to level, and the usual vertical curve."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from gradehaul.design.climb.given import HelixGiven, helix_of
from gradehaul.design.climb.helix import Helix, HelixBuild, usual_helix_build
from gradehaul.design.climb.hill import coefficient_of, stock_of, usual_vertical_curve
from gradehaul.plan.reader import read_plan

INCH = 0.0254
HO = usual_helix_build(read_plan('scale = "HO"'))


def inches(radius: float | None = None, rise_per_turn: float | None = None, grade: float | None = None) -> Helix:
    scaled = (None if value is None else value * INCH for value in (radius, rise_per_turn))
    return helix_of(HelixGiven(*scaled, turns=4, grade=grade), HO)


def test_a_helix_of_30_in_is_15_ft_8_and_a_half_round_and_lifts_3_77_in_at_2_percent() -> None:
    """Arithmetic: grade = rise / (2 pi R)."""
    helix = inches(30, grade=0.02)
    assert helix.length / 4 == pytest.approx((15 * 12 + 8.5) * INCH, abs=0.05 * INCH)
    assert helix.rise_per_turn / INCH == pytest.approx(3.77, abs=0.005)


def test_4_in_a_turn_on_16_in_is_4_percent_and_at_2_percent_needs_31_8_in() -> None:
    """Arithmetic: grade = rise / (2 pi R)."""
    assert 100 * inches(16, 4).grade == pytest.approx(3.98, abs=0.005)
    assert inches(rise_per_turn=4, grade=0.02).radius / INCH == pytest.approx(31.8, abs=0.05)


def test_ho_at_24_in_with_4_in_a_turn_needs_2_65_and_1_33_percent() -> None:
    """Common practice: 32 over R in inches, per cent, for the curve; full-size practice scaled is within 2 % of it."""
    helix = inches(24, 4)
    whole = helix.effective_grade(coefficient_of(stock_of(None, scale="HO", unit=None)))
    assert 100 * helix.grade == pytest.approx(2.65, abs=0.005)
    assert 100 * (whole - helix.grade) == pytest.approx(1.33, rel=0.02)
    assert 100 * whole == pytest.approx(3.99, abs=0.03)


def test_level_to_level_in_n_is_50_2_mm() -> None:
    """Deck 6.0, roadbed 4.0, track 3.2 and clear height 37.0 mm, from one private page (assumed).

    The last is NEM 102 under the lowest wire (read).
    """
    plan = read_plan('scale = "N"\ndeck = { thickness = "6 mm", roadbed = "4 mm" }')
    build = replace(usual_helix_build(plan), clear=plan.scale.wire_height or 0)
    assert 1000 * (build.structure + build.clear) == pytest.approx(50.2)


def test_a_foot_of_vertical_curve_for_each_percent_in_ho() -> None:
    """About a car length, or a foot, of vertical curve for each 1 % of change (common practice)."""
    assert usual_vertical_curve(0.02, stock_of(None, scale="HO", unit=None)) == pytest.approx(2 * 12 * INCH, rel=0.01)
    own = read_plan('scale = "HO"\nunit = "mm"\n[car.ore]\nlength = 140')
    assert usual_vertical_curve(0.02, own) == pytest.approx(0.28, abs=1e-3)


def test_an_easement_shifts_its_curve_by_a_24th_of_its_length_squared_over_the_radius() -> None:
    """f = L^2 / (24 R) (from memory): by so much on either side an eased helix is wider than one that is not."""
    eased = Helix(0.6, 2, 0.2, HelixBuild(0, 0.3, 0, 0, 0, 0, 0, 0.04))
    assert eased.floor[0] == pytest.approx(2 * (0.6 + 0.3**2 / (24 * 0.6)))
    assert math.isclose(Helix(0.6, 2, 0.2, HelixBuild(0, 0, 0, 0, 0, 0, 0, 0.04)).floor[0], 1.2)
