"""Figures: the numbers, units and spread in a text of plain characters, by a bounded pattern."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import NamedTuple

from gradehaul.quantities.given import Given, bare_value, to_si
from gradehaul.quantities.units import (
    NAMED,
    SYMBOLS,
    Kind,
    Unit,
    digits,
    find_unit,
    in_words,
    listed,
    nearest_unit,
    quoted,
)

LONGEST_TEXT = 80
"""Characters in a quantity, at most: ample for a reading in two units with its spread."""

TWIN_TOLERANCE = 0.05
"""How far a reading given in two units may disagree with itself, as a share of the larger."""

_TWINS = {"g": "gf", "kg": "kgf", "oz": "ozf", "lb": "lbf", "gf": "g", "kgf": "kg", "ozf": "oz", "lbf": "lb"}
"""The unit of force that a balance marked in a unit of mass reads, and the other way round."""

# What word processors leave behind, in plain characters. Everything else outside ASCII is refused.
_PLAIN = str.maketrans(
    {
        "\u00a0": " ",  # no-break space
        "\u2009": " ",  # thin space
        "\u202f": " ",  # narrow no-break space
        "−": "-",
        "±": "+/-",
        "°": " deg",
        "º": " deg",
        "‰": " permille",
        "′": "'",
        "’": "'",
        "″": '"',
        "”": '"',
        "⁄": "/",
        "¼": " 1/4 ",
        "½": " 1/2 ",
        "¾": " 3/4 ",
        "⅛": " 1/8 ",
        "⅜": " 3/8 ",
        "⅝": " 5/8 ",
        "⅞": " 7/8 ",
    }
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

    Examples
    --------
    >>> from gradehaul.quantities import read_reading
    >>> read_reading("0.62 N", "force")
    Reading(value=0.62, spread=None)
    """

    value: float
    spread: float | None = None
    unit: str | None = field(default=None, repr=False, compare=False)


class _Side(NamedTuple):
    """A number on one side of a ±: in SI units if it has its unit, else bare."""

    value: float
    unit: Unit | None
    text: str


def plain_text(value: object, kind: Kind, unit: str | None) -> Given:
    """Return a quantity with its text in plain characters and single blanks, or refuse it."""
    given = Given(kind, unit, value)
    if not isinstance(value, str):
        raise given.not_one()
    if len(value) > LONGEST_TEXT:
        raise given.error(f"this is longer than {LONGEST_TEXT} characters and so not {NAMED[kind]}")
    plain = value.translate(_PLAIN)
    for character in plain:
        if not character.isascii():
            seen = f'"{character}" (U+{ord(character):04X})' if character.isprintable() else f"U+{ord(character):04X}"
            raise given.error(f"{seen} is not a plain digit, letter or sign")
    return given._replace(text=" ".join(part for part in plain.split(" ") if part))


def figures_of(text: str) -> tuple[str, ...]:
    """Return the one figure of a text, or the two of a text with the same in two units."""
    two = _TWO_UNITS.fullmatch(text)
    return (text,) if two is None else tuple(part for part in two.groups() if part is not None)


def reading_of(given: Given) -> tuple[Reading, Unit | None]:
    """Return the reading in a text, in one unit or in two that agree, and the unit it is written in."""
    figures = figures_of(given.text)
    if len(figures) == 1:
        return _figure(given, given.text)
    if any(is_bare(figure) for figure in figures):
        raise given.error("where two figures are given, each needs its unit")
    (first, unit), (second, other) = (_figure(given, figure) for figure in figures)
    if unit is None or other is None:
        raise given.not_one()
    if abs(first.value - second.value) > TWIN_TOLERANCE * max(abs(first.value), abs(second.value)):
        raise given.error(
            f"the two figures disagree by more than {digits(100 * TWIN_TOLERANCE)} %"
            f" ({in_words(first.value, unit)} is {in_words(first.value, other)}, not {in_words(second.value, other)})",
            f"the one that was read, {' or '.join(map(quoted, figures))}",
        )
    return Reading(first.value, second.spread if first.spread is None else first.spread), unit


def _figure(given: Given, text: str) -> tuple[Reading, Unit | None]:
    """Return one figure with its spread, and the unit it is written in; either side may lend the other its unit."""
    left, mark, right = text.partition("+/-")
    value = _side(given, left.strip(" "))
    if not mark:
        return Reading(_settled(given, value, None)), value.unit
    spread = _side(given, right.strip(" "))
    unit = value.unit or spread.unit
    reading = Reading(_settled(given, value, unit), _settled(given, spread, unit))
    if math.copysign(1.0, spread.value) < 0.0:
        raise given.error("a spread cannot be negative", quoted(f"{value.text} ± {spread.text.lstrip('- ')}"))
    return reading, unit


def _settled(given: Given, side: _Side, lent: Unit | None) -> float:
    if side.unit is not None:
        return side.value
    return bare_value(side.value, given) if lent is None else to_si(side.value, lent, given)


def is_bare(text: str) -> bool:
    """Whether a text is a number alone, or a number and its spread."""
    sides = [_QUANTITY.fullmatch(side.strip(" ")) for side in text.split("+/-")]
    return all(side is not None and side["name"] is None for side in sides)


def _side(given: Given, text: str) -> _Side:
    """Return one number with its unit, or with none: the part of the text that no ± divides."""
    one_in = _ONE_IN.fullmatch(text)
    if one_in is not None:
        return _one_in(given, one_in)
    written = _QUANTITY.fullmatch(text)
    if written is None:
        raise given.not_one()
    sign = -1.0 if written["sign"] == "-" else 1.0
    number = _number(given, written["number"])
    if written["name"] is None:
        return _Side(sign * number, None, text)
    unit = _unit(given, written["name"])
    value = to_si(number, unit, given)
    if written["more"] is not None:
        value += _remainder(given, written, value, unit)
    return _Side(sign * value, unit, text)


def _one_in(given: Given, written: re.Match[str]) -> _Side:
    """Return a grade written as rise and run."""
    if given.kind != "grade":
        raise given.error(f"{NAMED[given.kind]} is needed and this is written like a grade")
    rise, run = _number(given, written["rise"]), _number(given, written["run"])
    if run == 0.0:
        raise given.error("the run of a grade cannot be 0")
    if rise > run:  # no railway rises by more than it runs
        swapped = f'"{written["sign"]}{written["run"]} in {written["rise"]}"'
        raise given.error("this grade rises by more than it runs", swapped)
    value = (-1.0 if written["sign"] == "-" else 1.0) * rise / run
    if not math.isfinite(value):
        raise given.too_large()
    return _Side(value, SYMBOLS["%"], written[0])


def _remainder(given: Given, written: re.Match[str], value: float, unit: Unit) -> float:
    """Return the SI value of the smaller unit beside a larger one: the inches of 3 ft 6 in."""
    if unit.dimension in ("angle", "ratio"):
        raise given.not_one()
    number, more, name = written["number"], written["more"], written["more_name"]
    if name is None:
        feet = unit.name == "ft"
        raise given.error(
            f"the {more} after {unit.name} needs its unit too",
            f'"{written["sign"]}{number} ft {more} in"' if feet else "",
        )
    smaller = _unit(given, name)
    if unit.dimension == "force":  # a balance is read in one unit; a second one only repeats the reading
        raise given.error(
            "a force is one figure, or the same in two units",
            f'"{number} {unit.name} ({more} {smaller.name})" if both say the same',
        )
    remainder = to_si(_number(given, more), smaller, given)
    if remainder >= to_si(1.0, unit, given):
        raise given.error(
            f"the part after {unit.name} must be less than 1 {unit.name}",
            f'"{written["sign"]}{in_words(value + remainder, unit)}" if both together are meant',
        )
    return remainder


def _number(given: Given, text: str) -> float:
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
    number = float(text.replace(",", "."))
    if not math.isfinite(number):
        raise given.too_large()
    return number


def _unit(given: Given, name: str) -> Unit:
    """Return the unit of this name, which must be of the kind that is needed."""
    unit = find_unit(name)
    named = NAMED[given.kind]
    if unit is None:
        nearest = nearest_unit(name, given.dimension)
        raise given.error(
            f"no unit is called {quoted(name)} ({named} takes {listed(given.dimension)})",
            given.with_unit(name, nearest.name) if nearest else "",
        )
    if unit.dimension == given.dimension:
        return unit
    of = "a ratio" if unit.dimension == "ratio" else NAMED[unit.dimension]
    twin = _TWINS.get(unit.name)
    if twin is None or SYMBOLS[twin].dimension != given.dimension:
        raise given.error(f"{named} is needed and {unit.name} is {of}")
    why = f" (a spring balance marked in {unit.name} reads {twin})" if given.kind == "force" else ""
    raise given.error(f"{named} is needed and {unit.name} is {of}{why}", given.with_unit(name, twin))
