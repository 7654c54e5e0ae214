"""Reading a quantity, or a measured value with its spread, as a person writes it: by a bounded pattern alone."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import NamedTuple

from gradehaul.errors import QuantityError, quoted, shown
from gradehaul.quantities.units import (
    NAMED,
    SYMBOLS,
    Kind,
    KnownUnit,
    conversion,
    describe,
    dimension_of,
    factor,
    find_unit,
    listed,
    nearest_unit,
)

_LONGEST = 80
"""Characters in a quantity, at most: ample for a reading in two units with its spread."""
_TWIN_TOLERANCE = 0.05
"""How far a reading given in two units may disagree with itself, as a share of the larger."""
_TWINS = {"g": "gf", "kg": "kgf", "oz": "ozf", "lb": "lbf", "gf": "g", "kgf": "kg", "ozf": "oz", "lbf": "lb"}
"""The unit of force that a balance marked in a unit of mass reads, and the other way round."""
_EXAMPLE: dict[Kind, str] = {
    "length": 'a length such as "24 in", "3 ft 6 in" or "610 mm"',
    "angle": 'an angle such as 90 or "22.5 deg"',
    "mass": 'a mass such as "480 g" or "4.0 oz"',
    "force": 'a force such as "62 gf" or "0.62 N"',
    "grade": 'a grade such as "2.2 %" or "1 in 45"',
    "share": 'a share such as 0.75 or "75 %"',
}

# What word processors leave behind, in plain characters. Everything else outside ASCII is refused.
_PLAIN = str.maketrans(
    dict(zip("\u00a0\u2009\u202f−′’″”⁄", "   -''\"\"/", strict=True))
    | {"±": "+/-", "°": " deg", "º": " deg", "‰": " permille"}
    | {"¼": " 1/4 ", "½": " 1/2 ", "¾": " 3/4 ", "⅛": " 1/8 ", "⅜": " 3/8 ", "⅝": " 5/8 ", "⅞": " 7/8 "}
)

_DECIMAL = r"(?:[0-9]+(?:\.[0-9]*|,[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_NUMBER = rf"(?:(?:[0-9]+[ -])?[0-9]+/[0-9]+|{_DECIMAL})"
_NAME = r"""(?:[A-Za-z]+(?:[ -][A-Za-z]+)*\.?|%|"|'{1,2})"""
_QUANTITY = re.compile(
    rf"(?P<sign>[+-]?) ?(?P<number>{_NUMBER})(?: ?(?P<name>{_NAME})"
    rf"(?:(?:, ?| |-)?(?P<more>{_NUMBER})(?: ?(?P<more_name>{_NAME}))?)?)?"
)
_ONE_IN = re.compile(rf"(?P<sign>[+-]?) ?(?P<rise>{_DECIMAL}) ?(?::|in) ?(?P<run>{_DECIMAL})")
_THOUSANDS = re.compile(r"(?<![0-9.,])[1-9][0-9]{0,2},[0-9]{3}(?![0-9])")
_TWO_UNITS = re.compile(
    r"(?P<first>[^()=]+?) ?\( ?(?P<bracketed>[^()=]+?) ?\)"
    r"|(?P<left>[^()=]+?) ?= ?(?P<right>[^()=]+)"
    r"""|(?P<over>[^()=]*[A-Za-z%"'.]) ?/ ?(?P<under>[^()=/]+)"""
)


@dataclass(frozen=True, slots=True)
class Reading:
    """A measured value and its spread (one standard deviation; None where not stated), in SI units.

    `unit` is the one it was written in, so that an answer can use the unit of the builder's own balance.
    """

    value: float
    spread: float | None = None
    unit: str | None = field(default=None, repr=False, compare=False)


def read_quantity(value: object, kind: Kind, *, unit: str | None = None) -> float:
    """Return the SI value of a quantity in a plan.

    `value` is a number, or text such as ``"18 1/2 in"``, ``"3 ft 6 in"``, ``"62 gf"``, ``"2.2 %"`` or ``"1 in 45"``;
    `unit` the plan's unit. The value is in m, rad, kg, N, or a plain ratio. Whoever catches the error adds the file and
    the place.

    A bare number is a length in the plan's unit, an angle in degrees, or a share between 0 and 1; masses, forces and
    grades need their unit. Grams never pass for gram-force. A quantity in two units, ``"0.62 N (63 gf)"``, must agree
    with itself within 5 %, and the first counts.

    >>> read_quantity("18 1/2", "length", unit="in")
    0.4699
    >>> read_quantity("1 in 50", "grade")
    0.02
    >>> read_quantity("62 g", "force")
    Traceback (most recent call last):
    ...
    gradehaul.errors.QuantityError: a force is needed, but g is a mass (a spring balance marked in g reads gf),
    got "62 g"; write "62 gf"
    """
    if isinstance(value, (int, float)):
        return _bare(value, _Given(kind, unit, value))
    given = _plain_text(value, kind, unit)
    reading, _ = _reading(given)
    if reading.spread is not None:
        raise given.error(f"{NAMED[kind]} without a spread is needed here")
    return reading.value


def read_reading(value: object, kind: Kind, *, unit: str | None = None) -> Reading:
    """Return the SI value of a reading in a plan, and its spread where it has one.

    It is as for `read_quantity`, or with a spread of one standard deviation: ``"62 ± 3 gf"``, ``"62 +/- 3 gf"``.
    """
    if isinstance(value, (int, float)):
        return Reading(_bare(value, _Given(kind, unit, value)))
    reading, known = _reading(_plain_text(value, kind, unit))
    return Reading(reading.value, reading.spread, None if known is None else known.name)


class _Given(NamedTuple):
    """A quantity as it is given: what kind it should be, the plan's unit, and what was found."""

    kind: Kind
    plan_unit: str | None
    value: object
    text: str = ""
    """The text in plain characters, empty for a number."""

    def error(self, wrong: str, write: str = "") -> QuantityError:
        """Return the error with what is wrong and what to write instead."""
        return QuantityError(wrong, found=shown(self.value), write=write or _EXAMPLE[self.kind])

    def not_one(self) -> QuantityError:
        """Return the error for what is no such quantity at all."""
        return self.error(f"this is not {NAMED[self.kind]}")

    def finite(self, number: float) -> float:
        """Return a number that is one, or refuse what is beyond floats."""
        if not math.isfinite(number):
            raise self.error("the number is too large")
        return number

    def as_written(self) -> str:
        """Return the number or the text without its quotes."""
        if not isinstance(self.value, str):
            return shown(self.value)
        return self.text.replace("+/-", "±") if "±" in self.value else self.text

    def with_unit(self, written: str, unit: str) -> str:
        """Return the text in quotes with another unit's name in place of the one written."""
        name = rf"(?<![A-Za-z]){re.escape(written)}(?![A-Za-z])"
        return quoted(re.sub(name, lambda _: unit, self.as_written()))


def _plain_text(value: object, kind: Kind, unit: str | None) -> _Given:
    """Return a quantity with its text in plain characters and single blanks, or refuse it."""
    given = _Given(kind, unit, value)
    if not isinstance(value, str):
        raise given.not_one()
    if len(value) > _LONGEST:
        raise given.error(f"this is longer than {_LONGEST} characters and so not {NAMED[kind]}")
    plain = value.translate(_PLAIN)
    for character in plain:
        if not character.isascii():
            seen = f'"{character}" (U+{ord(character):04X})' if character.isprintable() else f"U+{ord(character):04X}"
            raise given.error(f"{seen} is not a plain digit, letter or sign")
    return given._replace(text=" ".join(part for part in plain.split(" ") if part))


def _figures(text: str) -> tuple[str, ...]:
    """Return the one figure of a text, or the two of a text with the same in two units."""
    two = _TWO_UNITS.fullmatch(text)
    return (text,) if two is None else tuple(part for part in two.groups() if part is not None)


def _reading(given: _Given) -> tuple[Reading, KnownUnit | None]:
    """Return the reading in a text, in one unit or in two that agree, and the unit it is written in."""
    figures = _figures(given.text)
    if len(figures) == 1:
        return _figure(given, given.text)
    if given.kind != "grade" and any(figure[-1].isdigit() for figure in figures):
        raise given.error("where two figures are given, each needs its unit")
    (first, unit), (second, other) = (_figure(given, figure) for figure in figures)
    if unit is None or other is None:
        raise given.not_one()
    if abs(first.value - second.value) > _TWIN_TOLERANCE * max(abs(first.value), abs(second.value)):
        one, also, not_this = (
            describe(value, given.kind, in_unit.name)
            for value, in_unit in ((first.value, unit), (first.value, other), (second.value, other))
        )
        raise given.error(
            f"the two figures disagree by more than 5 % ({one} is {also}, not {not_this})",
            f"the one that was read, {' or '.join(map(quoted, figures))}",
        )
    return Reading(first.value, second.spread if first.spread is None else first.spread), unit


def _figure(given: _Given, text: str) -> tuple[Reading, KnownUnit | None]:
    """Return one figure with its spread, and the unit it is written in; either side may lend the other its unit."""
    left, mark, right = (part.strip(" ") for part in text.partition("+/-"))
    number, own = _side(given, left)
    if not mark:
        return Reading(number if own else _bare(number, given)), own
    spread, other = _side(given, right)
    unit = own or other
    values = [
        value if has_unit else _bare(value, given) if unit is None else _to_si(value, unit, given)
        for value, has_unit in ((number, own), (spread, other))
    ]
    if math.copysign(1.0, spread) < 0.0:
        raise given.error("a spread cannot be negative", quoted(f"{left} ± {right.lstrip('- ')}"))
    return Reading(values[0], values[1]), unit


def _side(given: _Given, text: str) -> tuple[float, KnownUnit | None]:
    """Return one number, in SI units if it has its unit, and that unit: the part of a text that no ± divides."""
    if one_in := _ONE_IN.fullmatch(text):
        return _one_in(given, one_in), SYMBOLS["%"]
    written = _QUANTITY.fullmatch(text)
    if written is None:
        raise given.not_one()
    sign = -1.0 if written["sign"] == "-" else 1.0
    number = _number(given, written["number"])
    if written["name"] is None:
        return sign * number, None
    unit = _unit(given, written["name"])
    value = _to_si(number, unit, given)
    if written["more"] is not None:
        value += _remainder(given, written, unit)
    return sign * value, unit


def _one_in(given: _Given, written: re.Match[str]) -> float:
    """Return a grade written as rise and run."""
    if given.kind != "grade":
        raise given.error(f"{NAMED[given.kind]} is needed, but this is written like a grade")
    rise, run = _number(given, written["rise"]), _number(given, written["run"])
    if run == 0.0:
        raise given.error("the run of a grade cannot be 0")
    if rise > run:  # no railway rises by more than it runs
        swapped = f'"{written["sign"]}{written["run"]} in {written["rise"]}"'
        raise given.error("this grade rises by more than it runs", swapped)
    return given.finite((-1.0 if written["sign"] == "-" else 1.0) * rise / run)


def _remainder(given: _Given, written: re.Match[str], unit: KnownUnit) -> float:
    """Return the SI value of the smaller unit beside a larger one: the inches of 3 ft 6 in."""
    if unit.dimension not in ("length", "mass"):  # of forces a second one only repeats the reading
        raise given.not_one()
    if written["more_name"] is None:
        raise given.error(f"the {written['more']} after {unit.name} needs its unit too")
    remainder = _to_si(_number(given, written["more"]), _unit(given, written["more_name"]), given)
    if remainder >= _to_si(1.0, unit, given):
        raise given.error(f"the part after {unit.name} must be less than 1 {unit.name}")
    return remainder


def _number(given: _Given, text: str) -> float:
    """Return a number without sign: a decimal, a fraction, or a whole number and a fraction."""
    if "/" in text:
        *whole, fraction = re.split("[ -]", text)
        top, bottom = fraction.split("/")
        if int(bottom) == 0:
            raise given.error("a fraction cannot be over 0")
        return float(sum(map(int, whole))) + int(top) / int(bottom)
    if _THOUSANDS.match(text):
        point, plain = (given.text.replace(text, text.replace(",", sign)) for sign in (".", ""))
        raise given.error("the comma may be a decimal point or thousands", f"{quoted(point)} or {quoted(plain)}")
    return given.finite(float(text.replace(",", ".")))


def _unit(given: _Given, name: str) -> KnownUnit:
    """Return the unit of this name, which must be of the kind that is needed."""
    unit, dimension, named = find_unit(name), dimension_of(given.kind), NAMED[given.kind]
    if unit is None:
        nearest = nearest_unit(name, dimension)
        wrong = f"no unit is called {quoted(name)} (units: {listed(dimension)})"
        raise given.error(wrong, given.with_unit(name, nearest.name) if nearest else "")
    if unit.dimension == dimension:
        return unit
    of = "a ratio" if unit.dimension == "ratio" else NAMED[unit.dimension]
    wrong, twin = f"{named} is needed, but {unit.name} is {of}", _TWINS.get(unit.name)
    if twin is None or SYMBOLS[twin].dimension != dimension:
        raise given.error(wrong)
    why = f" (a spring balance marked in {unit.name} reads {twin})" if given.kind == "force" else ""
    raise given.error(wrong + why, given.with_unit(name, twin))


def _to_si(number: float, unit: KnownUnit, given: _Given) -> float:
    times, parts = factor(unit)
    return given.finite(number * times / parts)


def _bare(number: float, given: _Given) -> float:
    """Return the SI value of a number without a unit."""
    if isinstance(number, bool):
        raise given.not_one()
    try:
        bare = float(number)
    except OverflowError:
        bare = given.finite(math.inf)
    if not math.isfinite(bare):
        raise given.error("a number must be finite")
    if given.kind == "length" and given.plan_unit is not None:
        times, parts = conversion(given.plan_unit)
        return given.finite(bare * times / parts)
    if given.kind == "angle":
        return math.radians(bare)
    if given.kind == "share" and 0.0 <= bare <= 1.0:
        return bare
    raise given.error(*_needs_unit(bare, given))


def _needs_unit(bare: float, given: _Given) -> tuple[str, str]:
    """Return what is wrong with a bare number where a unit is needed, and the number as it might be meant."""
    written, units = given.as_written(), listed(dimension_of(given.kind))
    if given.kind == "length":
        top = 'or unit = "mm" or unit = "in" at the top for all bare lengths'
        return "a length needs its unit", f'"{written} mm" or "{written} in", {top}'
    if given.kind == "mass":
        usual, other = ("oz", "g") if given.plan_unit in ("in", "ft") else ("g", "oz")
        return f"a mass needs its unit ({units})", f'"{written} {usual}" or "{written} {other}"'
    if given.kind == "force":
        return f"a force needs its unit ({units})", f'"{written} gf" if it was read from a balance marked in grams'
    if given.kind == "share":  # above 1 it reads as a percentage
        return "a share without a unit lies between 0 and 1", f'"{written} %"' if 1.0 < bare <= 100.0 else ""
    return "a grade needs its unit", ""
