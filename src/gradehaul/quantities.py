"""Quantities as a person writes them, to SI and back; the one place where units are converted.

No text is ever evaluated. A bounded pattern of plain characters splits it into numbers and unit names, the names come
from a short list, and only then does pint tell the factor.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Literal, NamedTuple

from gradehaul.errors import QuantityError

if TYPE_CHECKING:
    from pint import UnitRegistry

__all__ = ["Kind", "Reading", "conversion", "convert", "describe", "length_unit", "read_quantity", "read_reading"]

Kind = Literal["length", "angle", "mass", "force", "grade", "share"]
"""What a quantity is; the SI values are in m, rad, kg, N, and plain ratios for grades and shares."""


@dataclass(frozen=True, slots=True)
class Reading:
    """A measured value and its spread (one standard deviation; None where not told), in SI units.

    `unit` is the one it was written in, so that an answer can be told in the unit of the builder's own balance.

    Examples
    --------
    >>> read_reading("0.62 N", "force")
    Reading(value=0.62, spread=None)
    """

    value: float
    spread: float | None = None
    unit: str | None = field(default=None, repr=False, compare=False)


LONGEST_TEXT = 80
"""Characters in a quantity, at most: ample for a reading in two units with its spread."""

_COMMON = 1e9
"""Bare numbers below this need no closer look in any unit of length."""

TWIN_TOLERANCE = 0.05
"""How far a reading given in two units may disagree with itself, as a share of the larger."""

SIGNIFICANT_DIGITS = 4
"""Digits of a value told in a message, at most."""

_Dimension = Literal["length", "angle", "mass", "force", "ratio"]


class _Unit(NamedTuple):
    """A unit by the short name it is shown with, its name in units.txt, and the words that name it in any case."""

    name: str
    dimension: _Dimension
    definition: str
    words: tuple[str, ...]


_UNITS = (
    _Unit("in", "length", "inch", ("in", "inch", "inches", '"', "''")),
    _Unit("ft", "length", "foot", ("ft", "foot", "feet", "'")),
    _Unit("yd", "length", "yard", ("yd", "yds", "yard", "yards")),
    _Unit("mile", "length", "mile", ("mile", "miles", "mi")),
    # A capital changes the meaning of a metric symbol (Mm, MN), so these symbols are taken as written only.
    _Unit("mm", "length", "millimeter", ("millimeter", "millimeters", "millimetre", "millimetres")),
    _Unit("cm", "length", "centimeter", ("centimeter", "centimeters", "centimetre", "centimetres")),
    _Unit("m", "length", "meter", ("meter", "meters", "metre", "metres")),
    _Unit("km", "length", "kilometer", ("kilometer", "kilometers", "kilometre", "kilometres")),
    _Unit("deg", "angle", "degree", ("deg", "degree", "degrees")),
    _Unit("rad", "angle", "radian", ("rad", "radian", "radians")),
    _Unit("g", "mass", "gram", ("gram", "grams", "gramme", "grammes")),
    _Unit("kg", "mass", "kilogram", ("kilogram", "kilograms", "kilogramme", "kilogrammes")),
    _Unit("oz", "mass", "ounce", ("oz", "ounce", "ounces")),
    _Unit("lb", "mass", "pound", ("lb", "lbs", "pound", "pounds")),
    _Unit("N", "force", "newton", ("newton", "newtons")),
    _Unit("mN", "force", "millinewton", ("millinewton", "millinewtons")),
    _Unit("gf", "force", "gram_force", ("gf", "gram force", "grams force")),
    _Unit("kgf", "force", "kilogram_force", ("kgf", "kilogram force", "kilograms force")),
    _Unit("ozf", "force", "ounce_force", ("ozf", "ounce force", "ounces force")),
    _Unit("lbf", "force", "pound_force", ("lbf", "lbsf", "pound force", "pounds force")),
    _Unit("%", "ratio", "percent", ("percent", "per cent", "pct")),
    _Unit("permille", "ratio", "permille", ("permille", "per mille", "per mil")),
)
_SYMBOLS = {unit.name: unit for unit in _UNITS}
_WORDS = {word: unit for unit in _UNITS for word in unit.words}

_DIMENSION: dict[Kind, _Dimension] = {
    "length": "length",
    "angle": "angle",
    "mass": "mass",
    "force": "force",
    "grade": "ratio",
    "share": "ratio",
}
_BASE: dict[_Dimension, str] = {
    "length": "meter",
    "angle": "radian",
    "mass": "kilogram",
    "force": "newton",
    "ratio": "ratio",
}
_TWINS = {"g": "gf", "kg": "kgf", "oz": "ozf", "lb": "lbf", "gf": "g", "kgf": "kg", "ozf": "oz", "lbf": "lb"}
"""The unit of force that a balance marked in a unit of mass reads, and the other way round."""

_NAMED: dict[Kind, str] = {
    "length": "a length",
    "angle": "an angle",
    "mass": "a mass",
    "force": "a force",
    "grade": "a grade",
    "share": "a share",
}
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


# The units and their factors


@lru_cache(maxsize=1)
def _registry() -> UnitRegistry[float]:
    """Return pint's registry of units.txt and nothing else."""
    from importlib.resources import files

    from pint import UnitRegistry  # a quarter of a second, so only when a unit is first met

    registry: UnitRegistry[float] = UnitRegistry(None)
    registry.load_definitions(files("gradehaul").joinpath("units.txt").read_text("utf-8").splitlines())
    return registry


@lru_cache(maxsize=len(_UNITS))
def _factor(unit: _Unit) -> tuple[float, float]:
    """Return what to multiply by and what to divide by to get the SI value.

    Where the factor is a fraction of two whole numbers, these: 24 × 127 / 5000 is the float nearest to 0.6096, and
    24 × 0.0254 is not.
    """
    from fractions import Fraction  # pint has loaded it by now

    factor = float(_registry().convert(1.0, unit.definition, _BASE[unit.dimension]))
    exact = Fraction(repr(factor))
    if max(exact.numerator, exact.denominator) < 2**53:  # both are floats without rounding
        return float(exact.numerator), float(exact.denominator)
    return factor, 1.0


def _find_unit(name: str) -> _Unit | None:
    """Return the unit of this name, however it is spelled, or None."""
    plain = " ".join(name.removesuffix(".").replace("-", " ").split(" "))
    return _SYMBOLS.get(plain) or _WORDS.get(plain.casefold())


def _nearest_unit(name: str, dimension: _Dimension) -> _Unit | None:
    """Return the unit of one dimension that somebody who wrote `name` most likely meant, or None."""
    from difflib import get_close_matches  # only where something is wrong

    units = [unit for unit in _UNITS if unit.dimension == dimension]
    spellings = {word.casefold(): unit for unit in units for word in (unit.name, *unit.words)}
    close = get_close_matches(name.casefold(), spellings, n=1)
    return spellings[close[0]] if close else None


def _listed(dimension: _Dimension, last: str = "or") -> str:
    names = [unit.name for unit in _UNITS if unit.dimension == dimension]
    return f"{', '.join(names[:-1])} {last} {names[-1]}"


@lru_cache(maxsize=128)
def _length(name: str) -> _Unit:
    unit = _find_unit(name)
    if unit is not None and unit.dimension == "length":
        return unit
    nearest = _nearest_unit(name, "length")
    raise QuantityError(
        f"no unit of length is called that (known are {_listed('length', 'and')})",
        found=_quoted(name),
        write=f'"{nearest.name}"' if nearest else 'one of these, such as "in" or "mm"',
    )


@lru_cache(maxsize=128)
def _length_factor(name: str) -> tuple[float, float]:
    return _factor(_length(name))


def length_unit(name: str) -> str:
    """Return the short name of a plan's unit of length.

    Parameters
    ----------
    name
        The unit as the builder wrote it.

    Raises
    ------
    QuantityError
        The name is no unit of length; the message has the nearest one and all of them.

    Examples
    --------
    >>> length_unit("inches"), length_unit("mm")
    ('in', 'mm')
    """
    if not isinstance(name, str):
        raise QuantityError("a unit is a name in quotes", found=_shown(name), write='unit = "in"')
    return _length(name).name


def convert(value: float, unit: str) -> float:
    """Return an SI value in the unit named.

    Parameters
    ----------
    value
        In m, rad, kg, N or as a plain ratio, whichever is the unit's own.
    unit
        A unit a plan may use, such as ``in``, ``deg``, ``oz``, ``gf`` or ``%``.

    Raises
    ------
    QuantityError
        The unit is unknown.

    Examples
    --------
    >>> convert(0.6096, "in")
    24.0
    >>> convert(0.5, "%")
    50.0
    """
    return _in_unit(value, _known(unit))


def conversion(unit: str) -> tuple[float, float]:
    """Return the two numbers by which a value in a unit is multiplied and divided to get the SI value.

    Raises
    ------
    QuantityError
        The unit is unknown.

    Examples
    --------
    >>> conversion("in")
    (127.0, 5000.0)
    """
    return _factor(_known(unit))


def describe(value: float, kind: Kind, unit: str) -> str:
    """Return an SI value as short text for a message: at most four digits that count, and the unit.

    Parameters
    ----------
    value
        In the SI unit of its kind.
    kind
        What the value is.
    unit
        The unit to tell it in, which must be one of that kind.

    Raises
    ------
    QuantityError
        The unit is unknown, or not of this kind.

    Examples
    --------
    >>> describe(-0.6096, "length", "in")
    '-24 in'
    >>> describe(1 / 45, "grade", "%")
    '2.222 %'
    """
    known = _known(unit)
    if known.dimension != _DIMENSION[kind]:
        raise QuantityError(
            f"{_NAMED[kind]} is not told in {known.name}", found=_quoted(unit), write=_listed(_DIMENSION[kind])
        )
    return _told(value, known)


@lru_cache(maxsize=128)
def _known(unit: str) -> _Unit:
    known = _find_unit(unit)
    if known is None:
        raise QuantityError(
            "no unit is called that", found=_quoted(unit), write=f"one of {', '.join(unit.name for unit in _UNITS)}"
        )
    return known


def _in_unit(value: float, unit: _Unit) -> float:
    times, parts = _factor(unit)
    return value * parts / times


def _told(value: float, unit: _Unit) -> str:
    return f"{_digits(_in_unit(value, unit))} {unit.name}"


def _digits(number: float) -> str:
    """Return a number with few digits, written out where a person would write it out."""
    if number == 0 or not math.isfinite(number):
        return "0" if number == 0 else str(number)
    rounded = f"{number:.{SIGNIFICANT_DIGITS - 1}e}"
    exponent = int(rounded.partition("e")[2])
    if not -7 <= exponent <= 12:  # beyond these nobody counts the zeros
        return f"{number:.{SIGNIFICANT_DIGITS}g}"
    text = f"{float(rounded):.{max(SIGNIFICANT_DIGITS - 1 - exponent, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


# What the builder wrote, as a message shows it


def _quoted(text: str) -> str:
    """Return text in quotes on one line, cut short, with nothing in it that a terminal would obey."""
    visible = "".join(character if character.isprintable() else "\N{REPLACEMENT CHARACTER}" for character in text[:61])
    if len(visible) > 60:  # a message stays readable
        visible = f"{visible[:57]}..."
    return f"'{visible}'" if '"' in visible else f'"{visible}"'


def _shown(value: object) -> str:
    """Return any value of a plan as a message shows it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return str(value) if value.bit_length() <= 64 else "a number of very many digits"
    if isinstance(value, float):
        return f"{value:.12g}"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, (list, tuple)):
        return "a list"
    return "a table" if isinstance(value, dict) else "nothing" if value is None else f"a {type(value).__name__}"


# Reading


class _Asked(NamedTuple):
    """One quantity asked for: what kind, the plan's unit, and what was found."""

    kind: Kind
    plan_unit: str | None
    value: object
    text: str = ""
    """The text in plain characters, empty for a number."""

    @property
    def dimension(self) -> _Dimension:
        return _DIMENSION[self.kind]

    def error(self, wrong: str, write: str = "") -> QuantityError:
        return QuantityError(wrong, found=_shown(self.value), write=write or _EXAMPLE[self.kind])

    def not_one(self) -> QuantityError:
        return self.error(f"this is not {_NAMED[self.kind]}")

    def too_large(self) -> QuantityError:
        return self.error("the number is too large to reckon with")

    def as_written(self) -> str:
        """Return the number or the text without its quotes."""
        if not isinstance(self.value, str):
            return _shown(self.value)
        return self.text.replace("+/-", "±") if "±" in self.value else self.text

    def with_unit(self, written: str, unit: str) -> str:
        """Return the text in quotes with another unit's name in place of the one written."""
        name = rf"(?<![A-Za-z]){re.escape(written)}(?![A-Za-z])"
        return _quoted(re.sub(name, lambda _: unit, self.as_written()))


class _Side(NamedTuple):
    """A number on one side of a ±: in SI units if it has its unit, else bare."""

    value: float
    unit: _Unit | None
    text: str


def read_quantity(value: object, kind: Kind, *, unit: str | None = None) -> float:
    """Return the SI value of a quantity in a plan.

    Parameters
    ----------
    value
        A number, or text such as ``"18 1/2 in"``, ``"3 ft 6 in"``, ``"62 gf"``, ``"2.2 %"`` or ``"1 in 45"``.
    kind
        What is asked for.
    unit
        The plan's unit, in which a bare length reads; None if the plan has none.

    Returns
    -------
    float
        In m, rad, kg, N, or as a plain ratio.

    Raises
    ------
    QuantityError
        The value is not such a quantity. The caller adds the file and the place.

    Notes
    -----
    A bare number is a length in the plan's unit, an angle in degrees, or a share between 0 and 1; masses, forces and
    grades need their unit. Grams never pass for gram-force. A quantity in two units, ``"0.62 N (63 gf)"``, must agree
    with itself within 5 %, and the first counts.

    Examples
    --------
    >>> read_quantity("18 1/2", "length", unit="in")
    0.4699
    >>> read_quantity("1 in 50", "grade")
    0.02
    >>> read_quantity("62 g", "force")
    Traceback (most recent call last):
    ...
    gradehaul.errors.QuantityError: a force is asked and g is a mass (a spring balance marked in g reads gf),
    got "62 g"; write "62 gf"
    """
    if isinstance(value, (int, float)):
        if kind == "length" and unit is not None and type(value) is not bool and abs(value) < _COMMON:
            times, parts = _length_factor(unit)  # as `_bare` does it, for plans of tens of thousands of lengths
            return value * times / parts
        return _bare(value, _Asked(kind, unit, value))
    asked = _plain_text(value, kind, unit)
    reading, known = _reading(asked)
    if "+/-" in asked.text:
        alone = _figures(asked.text)[0].partition("+/-")[0].strip(" ")
        alone = f"{alone} {known.name}" if known is not None and _is_bare(alone) else alone
        raise asked.error(f"{_NAMED[kind]} without a spread is asked here", _quoted(alone))
    return reading.value


def read_reading(value: object, kind: Kind, *, unit: str | None = None) -> Reading:
    """Return the SI value of a reading in a plan, and its spread where it has one.

    Parameters
    ----------
    value
        As for `read_quantity`, or with a spread of one standard deviation: ``"62 ± 3 gf"``, ``"62 +/- 3 gf"``.
    kind
        What is asked for.
    unit
        The plan's unit, in which a bare length reads; None if the plan has none.

    Returns
    -------
    Reading
        In m, rad, kg, N, or as plain ratios.

    Raises
    ------
    QuantityError
        The value is not such a reading. The caller adds the file and the place.

    Examples
    --------
    >>> read_reading("2.0 ± 0.5 %", "share")
    Reading(value=0.02, spread=0.005)
    """
    if isinstance(value, (int, float)):
        return Reading(_bare(value, _Asked(kind, unit, value)))
    reading, written = _reading(_plain_text(value, kind, unit))
    return reading if written is None else replace(reading, unit=written.name)


def _bare(number: float, asked: _Asked) -> float:
    """Return the SI value of a number without a unit."""
    if isinstance(number, bool):
        raise asked.not_one()
    try:
        bare = float(number)
    except OverflowError:
        raise asked.too_large() from None
    if not math.isfinite(bare):
        raise asked.error("a number must be finite")
    if asked.kind == "length" and asked.plan_unit is not None:
        return _to_si(bare, _length(asked.plan_unit), asked)
    if asked.kind == "angle":
        return math.radians(bare)
    if asked.kind == "share" and 0.0 <= bare <= 1.0:
        return bare
    raise _needs_unit(bare, asked)


def _needs_unit(bare: float, asked: _Asked) -> QuantityError:
    """Return the error for a bare number where a unit is needed, with the number as it might be meant."""
    written = asked.as_written()
    units = _listed(asked.dimension)
    if asked.kind == "length":
        return asked.error(
            "a length needs its unit", f'"{written} in", or unit = "in" at the top of the plan for all bare lengths'
        )
    if asked.kind == "mass":
        return asked.error(f"a mass needs its unit ({units})", f'"{written} g" if it is in grams')
    if asked.kind == "force":
        return asked.error(
            f"a force needs its unit ({units})", f'"{written} gf" if it was read from a balance marked in grams'
        )
    if asked.kind == "share":
        likely = 1.0 < bare <= 100.0  # it reads as a percentage
        return asked.error("a share without a unit lies between 0 and 1", f'"{written} %"' if likely else "")
    rise, slash, run = written.partition("/")
    if slash and rise.isdecimal():
        return asked.error("a grade needs its unit", f'"{rise} in {run}"')
    if 0.0 < abs(bare) < 0.1:  # as a percentage no hill, as rise over run a usual one
        percent = f'"{_digits(100.0 * bare)} %"'
        return asked.error("a grade needs its unit", f'{percent} if this is rise over run, "{written} %" if per cent')
    return asked.error("a grade needs its unit", f'"{written} %"')


def _to_si(number: float, unit: _Unit, asked: _Asked) -> float:
    times, parts = _factor(unit)
    value = number * times / parts
    if not math.isfinite(value):
        raise asked.too_large()
    return value


def _plain_text(value: object, kind: Kind, unit: str | None) -> _Asked:
    """Return what was asked with its text in plain characters and single blanks, or refuse it."""
    asked = _Asked(kind, unit, value)
    if not isinstance(value, str):
        raise asked.not_one()
    if len(value) > LONGEST_TEXT:
        raise asked.error(f"this is longer than {LONGEST_TEXT} characters and so not {_NAMED[kind]}")
    plain = value.translate(_PLAIN)
    for character in plain:
        if not character.isascii():
            seen = f'"{character}" (U+{ord(character):04X})' if character.isprintable() else f"U+{ord(character):04X}"
            raise asked.error(f"{seen} is not a plain digit, letter or sign")
    return asked._replace(text=" ".join(part for part in plain.split(" ") if part))


def _figures(text: str) -> tuple[str, ...]:
    """Return the one figure of a text, or the two of a text that tells the same in two units."""
    two = _TWO_UNITS.fullmatch(text)
    return (text,) if two is None else tuple(part for part in two.groups() if part is not None)


def _reading(asked: _Asked) -> tuple[Reading, _Unit | None]:
    """Return the reading in a text, in one unit or in two that agree, and the unit it is written in."""
    figures = _figures(asked.text)
    if len(figures) == 1:
        return _figure(asked, asked.text)
    if any(_is_bare(figure) for figure in figures):
        raise asked.error("where two figures are given, each needs its unit")
    (first, unit), (second, other) = (_figure(asked, figure) for figure in figures)
    if unit is None or other is None:
        raise asked.not_one()
    if abs(first.value - second.value) > TWIN_TOLERANCE * max(abs(first.value), abs(second.value)):
        raise asked.error(
            f"the two figures disagree by more than {_digits(100 * TWIN_TOLERANCE)} %"
            f" ({_told(first.value, unit)} is {_told(first.value, other)}, not {_told(second.value, other)})",
            f"the one that was read, {' or '.join(map(_quoted, figures))}",
        )
    return Reading(first.value, second.spread if first.spread is None else first.spread), unit


def _figure(asked: _Asked, text: str) -> tuple[Reading, _Unit | None]:
    """Return one figure with its spread, and the unit it is written in; either side may lend the other its unit."""
    left, mark, right = text.partition("+/-")
    value = _side(asked, left.strip(" "))
    if not mark:
        return Reading(_settled(asked, value, None)), value.unit
    spread = _side(asked, right.strip(" "))
    unit = value.unit or spread.unit
    reading = Reading(_settled(asked, value, unit), _settled(asked, spread, unit))
    if math.copysign(1.0, spread.value) < 0.0:
        raise asked.error("a spread cannot be negative", _quoted(f"{value.text} ± {spread.text.lstrip('- ')}"))
    return reading, unit


def _settled(asked: _Asked, side: _Side, lent: _Unit | None) -> float:
    if side.unit is not None:
        return side.value
    return _bare(side.value, asked) if lent is None else _to_si(side.value, lent, asked)


def _is_bare(text: str) -> bool:
    """Whether a text is a number alone, or a number and its spread."""
    sides = [_QUANTITY.fullmatch(side.strip(" ")) for side in text.split("+/-")]
    return all(side is not None and side["name"] is None for side in sides)


def _side(asked: _Asked, text: str) -> _Side:
    """Return one number with its unit, or with none: the part of the text that no ± divides."""
    one_in = _ONE_IN.fullmatch(text)
    if one_in is not None:
        return _one_in(asked, one_in)
    written = _QUANTITY.fullmatch(text)
    if written is None:
        raise asked.not_one()
    sign = -1.0 if written["sign"] == "-" else 1.0
    number = _number(asked, written["number"])
    if written["name"] is None:
        return _Side(sign * number, None, text)
    unit = _unit(asked, written["name"])
    value = _to_si(number, unit, asked)
    if written["more"] is not None:
        value += _remainder(asked, written, value, unit)
    return _Side(sign * value, unit, text)


def _one_in(asked: _Asked, written: re.Match[str]) -> _Side:
    """Return a grade written as rise and run."""
    if asked.kind != "grade":
        raise asked.error(f"{_NAMED[asked.kind]} is asked and this is written like a grade")
    rise, run = _number(asked, written["rise"]), _number(asked, written["run"])
    if run == 0.0:
        raise asked.error("the run of a grade cannot be 0")
    value = (-1.0 if written["sign"] == "-" else 1.0) * rise / run
    if not math.isfinite(value):
        raise asked.too_large()
    return _Side(value, _SYMBOLS["%"], written[0])


def _remainder(asked: _Asked, written: re.Match[str], value: float, unit: _Unit) -> float:
    """Return the SI value of the smaller unit beside a larger one: the inches of 3 ft 6 in."""
    if unit.dimension in ("angle", "ratio"):
        raise asked.not_one()
    number, more, name = written["number"], written["more"], written["more_name"]
    if name is None:
        feet = unit.name == "ft"
        raise asked.error(
            f"the {more} after {unit.name} needs its unit too",
            f'"{written["sign"]}{number} ft {more} in"' if feet else "",
        )
    smaller = _unit(asked, name)
    if unit.dimension == "force":  # a balance is read in one unit; a second one only repeats the reading
        raise asked.error(
            "a force is one figure, or the same told in two units",
            f'"{number} {unit.name} ({more} {smaller.name})" if both say the same',
        )
    remainder = _to_si(_number(asked, more), smaller, asked)
    if remainder >= _to_si(1.0, unit, asked):
        raise asked.error(
            f"the part after {unit.name} must be less than 1 {unit.name}",
            f'"{written["sign"]}{_told(value + remainder, unit)}" if both together are meant',
        )
    return remainder


def _number(asked: _Asked, text: str) -> float:
    """Return a number without sign: a decimal, a fraction, or a whole number and a fraction."""
    if "/" in text:
        *whole, fraction = re.split("[ -]", text)
        top, bottom = fraction.split("/")
        if int(bottom) == 0:
            raise asked.error("a fraction cannot be over 0")
        return float(sum(map(int, whole))) + int(top) / int(bottom)
    if _THOUSANDS.match(text):
        point, plain = (asked.text.replace(text, text.replace(",", sign)) for sign in (".", ""))
        raise asked.error("the comma may be a decimal point or thousands", f"{_quoted(point)} or {_quoted(plain)}")
    number = float(text.replace(",", "."))
    if not math.isfinite(number):
        raise asked.too_large()
    return number


def _unit(asked: _Asked, name: str) -> _Unit:
    """Return the unit of this name, which must be one of what is asked."""
    unit = _find_unit(name)
    named = _NAMED[asked.kind]
    if unit is None:
        nearest = _nearest_unit(name, asked.dimension)
        raise asked.error(
            f"no unit is called {_quoted(name)} ({named} takes {_listed(asked.dimension)})",
            asked.with_unit(name, nearest.name) if nearest else "",
        )
    if unit.dimension == asked.dimension:
        return unit
    of = "a ratio" if unit.dimension == "ratio" else _NAMED[unit.dimension]
    twin = _TWINS.get(unit.name)
    if twin is None or _SYMBOLS[twin].dimension != asked.dimension:
        raise asked.error(f"{named} is asked and {unit.name} is {of}")
    why = f" (a spring balance marked in {unit.name} reads {twin})" if asked.kind == "force" else ""
    raise asked.error(f"{named} is asked and {unit.name} is {of}{why}", asked.with_unit(name, twin))
