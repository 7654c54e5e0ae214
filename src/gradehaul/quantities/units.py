"""Units: the short list that a plan may use, their factors, and SI values written in them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Literal, NamedTuple

from gradehaul.errors import QuantityError, quoted, shown

if TYPE_CHECKING:
    from pint import UnitRegistry

Kind = Literal["length", "angle", "mass", "force", "grade", "share"]
"""What a quantity is; the SI values are in m, rad, kg, N, and plain ratios for grades and shares."""

System = Literal["metric", "imperial"]
"""Of units."""
INCH = 0.0254
"""In m, exactly."""
ON_RULER: Mapping[System, float] = {"metric": 0.0005, "imperial": INCH / 32}
"""The smallest part that a ruler shows, m: half a millimeter, or a thirty-second of an inch."""

Dimension = Literal["length", "angle", "mass", "force", "ratio"]

ROUNDING = 1e-9
"""By what share figures are raised before their last digit is cut, so that a half goes up in whatever way it came
about: the same figure reads the same in every answer."""


class KnownUnit(NamedTuple):
    """A unit by the short name it is shown with, its name in units.txt, and the words that name it in any case."""

    name: str
    dimension: Dimension
    definition: str
    words: tuple[str, ...]


UNITS = (
    KnownUnit("in", "length", "inch", ("in", "inch", "inches", '"', "''")),
    KnownUnit("ft", "length", "foot", ("ft", "foot", "feet", "'")),
    KnownUnit("yd", "length", "yard", ("yd", "yds", "yard", "yards")),
    KnownUnit("mile", "length", "mile", ("mile", "miles", "mi")),
    # A capital changes the meaning of a metric symbol (Mm, MN), so these symbols are taken as written only.
    KnownUnit("mm", "length", "millimeter", ("millimeter", "millimeters", "millimetre", "millimetres")),
    KnownUnit("cm", "length", "centimeter", ("centimeter", "centimeters", "centimetre", "centimetres")),
    KnownUnit("m", "length", "meter", ("meter", "meters", "metre", "metres")),
    KnownUnit("km", "length", "kilometer", ("kilometer", "kilometers", "kilometre", "kilometres")),
    KnownUnit("deg", "angle", "degree", ("deg", "degree", "degrees")),
    KnownUnit("rad", "angle", "radian", ("rad", "radian", "radians")),
    KnownUnit("g", "mass", "gram", ("gram", "grams", "gramme", "grammes")),
    KnownUnit("kg", "mass", "kilogram", ("kilogram", "kilograms", "kilogramme", "kilogrammes")),
    KnownUnit("oz", "mass", "ounce", ("oz", "ounce", "ounces")),
    KnownUnit("lb", "mass", "pound", ("lb", "lbs", "pound", "pounds")),
    KnownUnit("N", "force", "newton", ("newton", "newtons")),
    KnownUnit("mN", "force", "millinewton", ("millinewton", "millinewtons")),
    KnownUnit("gf", "force", "gram_force", ("gf", "gram force", "grams force")),
    KnownUnit("kgf", "force", "kilogram_force", ("kgf", "kilogram force", "kilograms force")),
    KnownUnit("ozf", "force", "ounce_force", ("ozf", "ounce force", "ounces force")),
    KnownUnit("lbf", "force", "pound_force", ("lbf", "lbsf", "pound force", "pounds force")),
    KnownUnit("%", "ratio", "percent", ("percent", "per cent", "pct")),
    KnownUnit("permille", "ratio", "permille", ("permille", "per mille", "per mil")),
)
SYMBOLS = {unit.name: unit for unit in UNITS}
_WORDS = {word: unit for unit in UNITS for word in unit.words}

_BASE: dict[Dimension, str] = {
    "length": "meter",
    "angle": "radian",
    "mass": "kilogram",
    "force": "newton",
    "ratio": "ratio",
}

NAMED: dict[Kind, str] = {
    "length": "a length",
    "angle": "an angle",
    "mass": "a mass",
    "force": "a force",
    "grade": "a grade",
    "share": "a share",
}

USUAL_FACTORS: dict[str, tuple[float, float]] = {
    "in": (127.0, 5000.0),
    "ft": (381.0, 1250.0),
    "mm": (1.0, 1000.0),
    "cm": (1.0, 100.0),
    "m": (1.0, 1.0),
    "deg": (0.017453292519943295, 1.0),
    "g": (1.0, 1000.0),
    "kg": (1.0, 1.0),
    "oz": (45359237.0, 1600000000.0),
    "lb": (45359237.0, 100000000.0),
    "N": (1.0, 1.0),
    "gf": (196133.0, 20000000.0),
    "ozf": (695034627384453.0, 2500000000000000.0),
    "%": (1.0, 100.0),
}
"""The factors of the commonest units as pint has them, for which pint need not be loaded."""


def dimension_of(kind: Kind) -> Dimension:
    """Return what the unit of a quantity must be of."""
    match kind:
        case "grade" | "share":
            return "ratio"
    return kind


@lru_cache(maxsize=1)
def _registry() -> UnitRegistry[float]:
    """Return pint's registry of units.txt and nothing else."""
    from importlib.resources import files

    from pint import UnitRegistry  # a quarter of a second, so only when a unit is first met

    registry: UnitRegistry[float] = UnitRegistry(None)
    registry.load_definitions(files("gradehaul").joinpath("units.txt").read_text("utf-8").splitlines())
    return registry


@lru_cache(maxsize=len(UNITS))
def factor(unit: KnownUnit) -> tuple[float, float]:
    """Return what to multiply by and what to divide by to get the SI value.

    Where the factor is a fraction of two whole numbers, these: 24 × 127 / 5000 is the float nearest to 0.6096, and
    24 × 0.0254 is not.
    """
    return USUAL_FACTORS.get(unit.name) or exact_factor(unit)


def exact_factor(unit: KnownUnit) -> tuple[float, float]:
    """Return the factor of a unit from pint, as `factor` has it."""
    from fractions import Fraction  # pint has loaded it by now

    number = float(_registry().convert(1.0, unit.definition, _BASE[unit.dimension]))
    exact = Fraction(repr(number))
    if max(exact.numerator, exact.denominator) < 2**53:  # both are floats without rounding
        return float(exact.numerator), float(exact.denominator)
    return number, 1.0


def find_unit(name: str) -> KnownUnit | None:
    """Return the unit of this name, however it is spelled, or None."""
    plain = " ".join(name.removesuffix(".").replace("-", " ").split(" "))
    return SYMBOLS.get(plain) or _WORDS.get(plain.casefold())


def nearest_unit(name: str, dimension: Dimension) -> KnownUnit | None:
    """Return the unit of one dimension that somebody who wrote `name` most likely meant, or None."""
    from difflib import get_close_matches  # only where something is wrong

    units = [unit for unit in UNITS if unit.dimension == dimension]
    spellings = {word.casefold(): unit for unit in units for word in (unit.name, *unit.words)}
    close = get_close_matches(name.casefold(), spellings, n=1)
    return spellings[close[0]] if close else None


def listed(dimension: Dimension, last: str = "or") -> str:
    """Return the units of one dimension as a message lists them."""
    names = [unit.name for unit in UNITS if unit.dimension == dimension]
    return f"{', '.join(names[:-1])} {last} {names[-1]}"


def length_unit(name: str) -> str:
    """Return the short name of a plan's unit of length; the error has the nearest one and all of them."""
    if not isinstance(name, str):
        raise QuantityError("a unit is a name in quotes", found=shown(name), write='unit = "in"')
    unit = find_unit(name)
    if unit is not None and unit.dimension == "length":
        return unit.name
    nearest = nearest_unit(name, "length")
    raise QuantityError(
        f"no unit of length is called that (known are {listed('length', 'and')})",
        found=quoted(name),
        write=f'"{nearest.name}"' if nearest else 'one of these, such as "in" or "mm"',
    )


@lru_cache(maxsize=128)
def conversion(unit: str) -> tuple[float, float]:
    """Return the two numbers by which a value in a unit is multiplied and divided to get the SI value."""
    known = find_unit(unit)
    if known is None:
        raise QuantityError("no unit is called that", found=quoted(unit), write=f"one of {', '.join(SYMBOLS)}")
    return factor(known)


def convert(value: float, unit: str) -> float:
    """Return a value in m, rad, kg, N or as a plain ratio in the unit named, such as ``in``, ``deg`` or ``%``."""
    times, parts = conversion(unit)
    return value * parts / times


def describe(value: float, kind: Kind, unit: str, count: int = 4) -> str:
    """Return an SI value as short text in a unit of its kind: so many digits that count at most, and the unit."""
    number, known, dimension = convert(value, unit), find_unit(unit), dimension_of(kind)
    if known is None or known.dimension != dimension:
        raise QuantityError(f"{NAMED[kind]} is not shown in {unit}", found=quoted(unit), write=listed(dimension))
    return f"{digits(number, count)} {known.name}"


def digits(number: float, count: int = 4) -> str:
    """Return a number with few digits, written out where a person would write it out."""
    if number == 0 or not math.isfinite(number):
        return "0" if number == 0 else str(number)
    number *= 1 + ROUNDING
    rounded = f"{number:.{count - 1}e}"
    exponent = int(rounded.partition("e")[2])
    if not -7 <= exponent <= 12:  # beyond these nobody counts the zeros
        return f"{number:.{count}g}"
    text = f"{float(rounded):.{max(count - 1 - exponent, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
