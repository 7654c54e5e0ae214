"""Units of force and mass against their exact definitions.

Sources
-------
- Pound: 0.45359237 kg exactly, international yard and pound agreement, 1959; the ounce is a sixteenth of it, the inch
  0.0254 m (read second-hand).
- Standard gravity: 9.80665 m/s2 exactly, third General Conference on Weights and Measures, 1901 (read second-hand).
- The tables of scipy.constants, which derive the same units from the grain and from standard gravity (read).
- US tons in full-size practice are short tons of 2,000 lb (US Army subcourse TR0603; read).
"""

from __future__ import annotations

from decimal import Decimal

import pytest
import scipy.constants

from gradehaul.quantities import Kind, read_quantity

STANDARD_GRAVITY = Decimal("9.80665")
POUND = Decimal("0.45359237")


@pytest.mark.parametrize(
    ("text", "kind", "exact", "printed"),
    [
        ("1 kgf", "force", STANDARD_GRAVITY, "9.80665"),
        ("1 gf", "force", STANDARD_GRAVITY / 1000, "0.00980665"),
        ("1 lb", "mass", POUND, "0.45359237"),
        ("1 oz", "mass", POUND / 16, "0.028349523125"),
        ("1 lbf", "force", POUND * STANDARD_GRAVITY, "4.4482216152605"),
        ("1 ozf", "force", POUND * STANDARD_GRAVITY / 16, "0.27801385095378125"),
        ("1 in", "length", Decimal("0.0254"), "0.0254"),
        ("1 ft", "length", 12 * Decimal("0.0254"), "0.3048"),
        ("1 yd", "length", 36 * Decimal("0.0254"), "0.9144"),
        ("1 mile", "length", 63360 * Decimal("0.0254"), "1609.344"),
    ],
)
def test_exact_factors(text: str, kind: Kind, exact: Decimal, printed: str) -> None:
    """The printed factor is the product of the definitions, and the text reads as the float nearest to it."""
    assert exact == Decimal(printed)
    assert read_quantity(text, kind) == float(exact)


@pytest.mark.parametrize(
    ("text", "kind", "constant"),
    [
        ("1 kgf", "force", scipy.constants.kgf),
        ("1 lbf", "force", scipy.constants.lbf),
        ("1 lb", "mass", scipy.constants.lb),
        ("1 oz", "mass", scipy.constants.oz),
        ("1 in", "length", scipy.constants.inch),
        ("1 ft", "length", scipy.constants.foot),
        ("1 yd", "length", scipy.constants.yard),
        ("1 mile", "length", scipy.constants.mile),
        ("1 deg", "angle", scipy.constants.degree),
        ("2000 lb", "mass", scipy.constants.short_ton),
    ],
)
def test_factors_of_another_table(text: str, kind: Kind, constant: float) -> None:
    assert read_quantity(text, kind) == pytest.approx(constant, rel=4e-16)


def test_a_tenth_of_a_newton_is_ten_grams_force_and_not_a_hundred() -> None:
    assert read_quantity("10.2 gf", "force") == pytest.approx(0.1, rel=3e-4)
