"""Units of force and mass against their exact definitions.

Sources
-------
- Pound: 0.45359237 kg exactly, international yard and pound agreement, 1959; the ounce is a sixteenth of it, the inch
  0.0254 m (read second-hand).
- Standard gravity: 9.80665 m/s2 exactly, third General Conference on Weights and Measures, 1901 (read second-hand).
- US tons in full-size practice are short tons of 2,000 lb (US Army subcourse TR0603; read).
"""

from __future__ import annotations

from decimal import Decimal

import pytest

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
