"""The units of an answer: how lengths, forces, masses and grades are written in an answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from gradehaul.plan.records import Plan
from gradehaul.quantities import ROUNDING, Kind, System, conversion, convert

Grades = Literal["percent", "permille", "one-in"]
"""How grades are written: ``2.22 %``, ``22.2 permille`` or ``1 in 45.0``."""

_IMPERIAL = ("in", "ft", "yd", "mile")
_DECIMALS = {
    "mm": 0,
    "cm": 1,
    "m": 3,
    "km": 6,
    "in": 1,
    "ft": 2,
    "yd": 3,
    "mile": 6,
    "g": 0,
    "kg": 3,
    "oz": 2,
    "lb": 3,
    "gf": 1,
    "kgf": 2,
    "ozf": 2,
    "lbf": 2,
    "N": 3,
    "mN": 0,
    "deg": 1,
    "%": 2,
    "permille": 1,
}
_SMALLEST = 1e-7
"""What is smaller than this in SI units, a tenth of a micron or a hundredth of a milligram-force, is rounding: 0."""

_HEAVY = 100.0
"""Forces from this many N, and masses from this many kg, are written in the larger unit."""


@dataclass(frozen=True, slots=True)
class UnitFormat:
    """The units shown: the plan's unit of length, the system of the other units, and the form of grades.

    Examples
    --------
    >>> units = UnitFormat("in", "imperial")
    >>> units.length(0.6096), units.force(0.41), units.grade(1 / 45)
    ('24.0 in', '1.47 ozf', '2.22 %')
    >>> units.length(0.6096, fine=True), units.small(0.00802)
    ('24.00 in', '0.316 in')
    >>> UnitFormat("mm", "metric", "one-in").grade(1 / 45)
    '1 in 45.0'
    """

    length_unit: str
    system: System
    grades: Grades = "percent"
    force_unit: str | None = None
    """That of the reader's own balance, where it is known."""

    def length(self, value: float, *, fine: bool = False) -> str:
        """Return a length, m, in the unit of length; a fine one with one more decimal."""
        return _written(value, self.length_unit, 1 if fine else 0)

    def number(self, value: float, *, fine: bool = False) -> str:
        """Return a length, m, as `length` does, without its unit."""
        return self.length(value, fine=fine).rpartition(" ")[0]

    def railhead(self, value: float) -> str:
        """Return a railhead, m, as near as a riser is cut: to 1 mm, or a hundredth of an inch; without its unit.

        >>> UnitFormat("in", "imperial").railhead(0.0508), UnitFormat("mm", "metric").railhead(0.0508)
        ('2.00', '51')
        """
        return self.number(value, fine=self.length_unit in _IMPERIAL)

    @property
    def lengths(self) -> str:
        """The unit of length in a sentence."""
        return {"in": "inches", "ft": "feet"}.get(self.length_unit, self.length_unit)

    @property
    def grade_unit(self) -> str:
        """The unit in which grades are drawn."""
        return "permille" if self.grades == "permille" else "%"

    def small(self, value: float) -> str:
        """Return a length, m, of which every part counts, such as a step or a curve coefficient: two more decimals."""
        return _written(value, self.length_unit, 2)

    def force(self, value: float) -> str:
        """Return a force, N: in the unit of the reader's balance, else as gram-force or ounce-force."""
        return self._force(value, 0)

    def _force(self, value: float, more: int) -> str:
        small, large = ("gf", "kgf") if self.system == "metric" else ("ozf", "lbf")
        return _written(value, self.force_unit or (small if abs(value) < _HEAVY else large), more)

    def forces_apart(self, one: float, other: float) -> tuple[str, str]:
        """Return two unequal forces, N, with as many decimals as it takes to tell them apart, up to three more.

        >>> UnitFormat("mm", "metric").forces_apart(0.07257, 0.07256)
        ('7.400 gf', '7.399 gf')
        """
        return _apart(self._force, one, other)

    def lengths_apart(self, one: float, other: float) -> tuple[str, str]:
        """Return two unequal lengths, m, likewise.

        >>> UnitFormat("mm", "metric").lengths_apart(0.9141, 0.914)
        ('914.1 mm', '914.0 mm')
        """
        return _apart(lambda value, more: _written(value, self.length_unit, more), one, other)

    def mass(self, value: float) -> str:
        """Return a mass, kg."""
        small, large = ("g", "kg") if self.system == "metric" else ("oz", "lb")
        return _written(value, small if abs(value) < _HEAVY else large)

    def grade(self, value: float) -> str:
        """Return a grade, a plain ratio, positive when climbing."""
        if self.grades == "one-in":
            if abs(value) < _SMALLEST:
                return "level"
            return f"{'-' if value < 0 else ''}1 in {_number(1 / abs(value), 1)}"
        return _written(value, "%" if self.grades == "percent" else "permille")

    def quantity(self, value: float, kind: Kind) -> str:
        """Return a value in SI units in the unit of its kind; shares and resistances in percent."""
        match kind:
            case "length":
                return self.length(value)
            case "force":
                return self.force(value)
            case "mass":
                return self.mass(value)
            case "grade":
                return self.grade(value)
            case "angle":
                return _written(value, "deg")
            case "share":
                return _written(value, "%")


def units_of(
    unit: str, system: System | None = None, grades: Grades = "percent", *, force_unit: str | None = None
) -> UnitFormat:
    """Return how figures are written for a plan's unit of length, in its own system of units or another.

    Forces are written in `force_unit`, that of the plan's readings, unless another system is wanted.

    Examples
    --------
    >>> units_of("in").length_unit, units_of("in", "metric").length_unit, units_of("cm", "metric").length_unit
    ('in', 'mm', 'cm')
    """
    own: System = "imperial" if unit in _IMPERIAL else "metric"
    force_unit = force_unit if system is None else None
    system = system or own
    return UnitFormat(unit if system == own else "mm" if system == "metric" else "in", system, grades, force_unit)


def unit_rules(units: UnitFormat) -> dict[str, Any]:
    """Return the rules by which figures are written, for a page that writes them itself.

    A unit is its name, the decimals of its figures, and the ``parts`` and ``times`` of `conversion`. There are two
    units of force: for less than ``heavy`` N, and for more. ``grade`` is None for grades of one in so many.
    """
    small, large = ("gf", "kgf") if units.system == "metric" else ("ozf", "lbf")
    grade = {"percent": "%", "permille": "permille"}.get(units.grades)
    return {
        "length": _unit_rule(units.length_unit),
        "force": [_unit_rule(units.force_unit or small), _unit_rule(units.force_unit or large)],
        "heavy": _HEAVY,
        "grade": None if grade is None else _unit_rule(grade),
    }


def _unit_rule(unit: str) -> dict[str, Any]:
    times, parts = conversion(unit)
    return {"name": unit, "decimals": _DECIMALS[unit], "times": times, "parts": parts}


def units_for(plan: Plan, system: System | None = None, grades: Grades = "percent") -> UnitFormat:
    """Return how figures of a plan are written, as `units_of` has it, with forces in the unit of its balance."""
    return units_of(plan.unit, system, grades, force_unit=_balance_unit(plan))


def _balance_unit(plan: Plan) -> str | None:
    """Return the unit in which most of a plan's pulls were read, None where it has no readings."""
    units = Counter(
        reading.unit
        for loco in plan.locos.values()
        for table in (loco.pull, loco.slipping)
        for readings in table.values()
        for reading in readings
        if reading.unit is not None
    )
    units.update(force.unit for row in plan.book.pulls for force in row.forces if force.unit is not None)
    return units.most_common(1)[0][0] if units else None


def _apart(written: Callable[[float, int], str], one: float, other: float) -> tuple[str, str]:
    for more in range(4):
        both = written(one, more), written(other, more)
        if both[0] != both[1]:
            break
    return both


def _written(value: float, unit: str, more: int = 0) -> str:
    return f"{_number(convert(0.0 if abs(value) < _SMALLEST else value, unit), _DECIMALS[unit] + more)} {unit}"


def _number(value: float, decimals: int) -> str:
    """Return a number with its decimals, and more where it would read as nothing; halves go away from 0.

    Examples
    --------
    >>> _number(-0.004, 2), _number(-0.0, 1), _number(12.25, 1), _number(3.75 - 1e-12, 1)
    ('-0.004', '0.0', '12.3', '3.8')
    """
    up = value * (1 + ROUNDING)
    text = f"{up:.{decimals}f}"
    while value != 0 and float(text) == 0 and decimals < 9:
        decimals += 1
        text = f"{up:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text
