"""A quantity as it is written, and the SI value of a bare number or one with its unit."""

from __future__ import annotations

import math
import re
from typing import NamedTuple

from gradehaul.errors import QuantityError
from gradehaul.quantities.units import (
    DIMENSION,
    NAMED,
    Dimension,
    Kind,
    Unit,
    digits,
    factor,
    length,
    listed,
    quoted,
    shown,
)

_EXAMPLE: dict[Kind, str] = {
    "length": 'a length such as "24 in", "3 ft 6 in" or "610 mm"',
    "angle": 'an angle such as 90 or "22.5 deg"',
    "mass": 'a mass such as "480 g" or "4.0 oz"',
    "force": 'a force such as "62 gf" or "0.62 N"',
    "grade": 'a grade such as "2.2 %" or "1 in 45"',
    "share": 'a share such as 0.75 or "75 %"',
}


class Given(NamedTuple):
    """A quantity as it is given: what kind it should be, the plan's unit, and what was found."""

    kind: Kind
    plan_unit: str | None
    value: object
    text: str = ""
    """The text in plain characters, empty for a number."""

    @property
    def dimension(self) -> Dimension:
        """What the unit must be of."""
        return DIMENSION[self.kind]

    def error(self, wrong: str, write: str = "") -> QuantityError:
        """Return the error with what is wrong and what to write instead."""
        return QuantityError(wrong, found=shown(self.value), write=write or _EXAMPLE[self.kind])

    def not_one(self) -> QuantityError:
        """Return the error for what is no such quantity at all."""
        return self.error(f"this is not {NAMED[self.kind]}")

    def too_large(self) -> QuantityError:
        """Return the error for a number beyond floats."""
        return self.error("the number is too large")

    def as_written(self) -> str:
        """Return the number or the text without its quotes."""
        if not isinstance(self.value, str):
            return shown(self.value)
        return self.text.replace("+/-", "±") if "±" in self.value else self.text

    def with_unit(self, written: str, unit: str) -> str:
        """Return the text in quotes with another unit's name in place of the one written."""
        name = rf"(?<![A-Za-z]){re.escape(written)}(?![A-Za-z])"
        return quoted(re.sub(name, lambda _: unit, self.as_written()))


def bare_value(number: float, given: Given) -> float:
    """Return the SI value of a number without a unit."""
    if isinstance(number, bool):
        raise given.not_one()
    try:
        bare = float(number)
    except OverflowError:
        raise given.too_large() from None
    if not math.isfinite(bare):
        raise given.error("a number must be finite")
    if given.kind == "length" and given.plan_unit is not None:
        return to_si(bare, length(given.plan_unit), given)
    if given.kind == "angle":
        return math.radians(bare)
    if given.kind == "share" and 0.0 <= bare <= 1.0:
        return bare
    raise _needs_unit(bare, given)


def _needs_unit(bare: float, given: Given) -> QuantityError:
    """Return the error for a bare number where a unit is needed, with the number as it might be meant."""
    written = given.as_written()
    units = listed(given.dimension)
    if given.kind == "length":
        return given.error(
            "a length needs its unit",
            f'"{written} mm" or "{written} in", or unit = "mm" or unit = "in" at the top for all bare lengths',
        )
    if given.kind == "mass":
        imperial = given.plan_unit in ("in", "ft")
        usual, other = ("oz", "g") if imperial else ("g", "oz")
        return given.error(f"a mass needs its unit ({units})", f'"{written} {usual}" or "{written} {other}"')
    if given.kind == "force":
        return given.error(
            f"a force needs its unit ({units})", f'"{written} gf" if it was read from a balance marked in grams'
        )
    if given.kind == "share":
        likely = 1.0 < bare <= 100.0  # it reads as a percentage
        return given.error("a share without a unit lies between 0 and 1", f'"{written} %"' if likely else "")
    rise, slash, run = written.partition("/")
    if slash and rise.isdecimal():
        return given.error("a grade needs its unit", f'"{rise} in {run}"')
    if 0.0 < abs(bare) < 0.1:  # as a percentage no hill, as rise over run a usual one
        percent = f'"{digits(100.0 * bare)} %"'
        return given.error("a grade needs its unit", f'{percent} if this is rise over run, "{written} %" if per cent')
    return given.error("a grade needs its unit", f'"{written} %"')


def to_si(number: float, unit: Unit, given: Given) -> float:
    """Return the SI value of a number in a unit."""
    times, parts = factor(unit)
    value = number * times / parts
    if not math.isfinite(value):
        raise given.too_large()
    return value
