"""The values that a plan's tables hold: names and quantities, read where pydantic meets them, in the plan's unit."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo
from pydantic.types import AllowInfNan

from gradehaul.errors import PlanError, clean, quoted, shown
from gradehaul.quantities import Kind, Reading, read_quantity, read_reading

if TYPE_CHECKING:
    from collections.abc import Callable


class Table(BaseModel):
    """What all tables share: nothing is guessed, nothing unknown is passed over."""

    model_config = ConfigDict(
        defer_build=True,  # tables that a plan has none of cost nothing
        strict=True,
        extra="forbid",
        allow_inf_nan=False,
        frozen=True,
        arbitrary_types_allowed=True,
    )


def _name(value: str) -> str:
    name = clean(value)
    if not name:
        raise PlanError("a name must not be empty")
    return name


Name = Annotated[str, AfterValidator(_name)]
"""The name of a thing, without control characters; never empty."""


def unit_of(info: ValidationInfo) -> str | None:
    """Return the unit in which the file's bare lengths read, None where it has none."""
    unit: str | None = info.context["unit"] if info.context else None
    return unit


FIT = "fit"
"""What the builder writes for a figure that is found so that its line ends at its joint; read as NaN."""

_USUAL: dict[Kind, tuple[float, float]] = {
    "length": (1e-6, 1e7),
    "angle": (1e-6, 1e4),
    "mass": (1e-9, 1e9),
    "force": (1e-9, 1e10),
    "grade": (0.0, math.inf),
    "share": (0.0, math.inf),
}
"""What no railway of any size has less or more of, in SI units: such a figure is a typo."""


def _as_written(value: object, kind: Kind, info: ValidationInfo) -> str:
    """Return a quantity as the builder wrote it, with the unit in which it reads where it was bare."""
    unit = unit_of(info) if kind == "length" else "degrees" if kind == "angle" else None
    bare = isinstance(value, int | float) and not isinstance(value, bool)
    return f"{shown(value)} {unit}" if bare and unit else shown(value).strip('"')


def _check(
    number: float, kind: Kind, value: object, info: ValidationInfo, bound: str, holds: Callable[[float], bool]
) -> None:
    """Refuse a quantity that is out of bounds, in the words `bound`, or that no railway has."""
    if not holds(number):
        raise PlanError(f"{info.field_name} must be {bound}", found=_as_written(value, kind, info))
    least, most = _USUAL[kind]
    large = abs(number) > most
    if large or (0 < abs(number) < least and bound):
        size = "large" if large else "small"
        wrong = f"{info.field_name} is too {size} for any railroad"
        raise PlanError(wrong, found=_as_written(value, kind, info))


def _quantity(
    kind: Kind, bound: str = "", holds: Callable[[float], bool] = lambda _: True, *, fit: bool = False
) -> BeforeValidator:
    """Read a quantity and refuse what is out of bounds; with `fit`, the word that leaves it to be found is NaN."""
    least, most = _USUAL[kind]

    def read(value: object, info: ValidationInfo) -> float:
        if fit and isinstance(value, str) and value.strip() == FIT:
            return math.nan
        number = read_quantity(value, kind, unit=unit_of(info))
        if not (least <= number <= most and holds(number)):  # a plan has tens of thousands that are
            _check(number, kind, value, info, bound, holds)
        return number

    return BeforeValidator(read)


def _turned(value: object) -> str:
    """Return a negative figure without its sign, as it is written in a plan."""
    return shown(-value) if isinstance(value, int | float) else quoted(str(value).strip().lstrip("-− "))


_read_distance = _quantity("length", fit=True).func


def _radius(value: object, info: ValidationInfo) -> float:
    number: float = _read_distance(value, info)  # type: ignore[call-arg]
    if number > 0 or math.isnan(number):
        if number < _USUAL["length"][0]:
            _check(number, "length", value, info, "more than 0", _above_0)
        return number
    if number < 0:
        hand = "right" if info.field_name == "left" else "left"
        write = f"{hand} = {_turned(value)} for a {hand}-hand curve"
    else:
        write = f"straight = ... for a straight, or {info.field_name} = 24 for a curve"
    raise PlanError("radius must be more than 0", found=_as_written(value, "length", info), write=write)


def _above_0(number: float) -> bool:
    return number > 0


def _not_below_0(number: float) -> bool:
    return number >= 0


Length = Annotated[float, _quantity("length")]
"""A length or a height, m."""
Distance = Annotated[float, _quantity("length", "more than 0", _above_0)]
"""A length above 0, m."""
Room = Annotated[float, _quantity("length", "0 or longer", _not_below_0)]
"""A length of 0 or more, m."""
FitDistance = Annotated[float, AllowInfNan(allow_inf_nan=True), _quantity("length", "more than 0", _above_0, fit=True)]
"""A length above 0, m, or `"fit"`."""
FitRadius = Annotated[float, AllowInfNan(allow_inf_nan=True), BeforeValidator(_radius)]
"""A radius above 0, m, or `"fit"`."""
Angle = Annotated[float, _quantity("angle")]
"""An angle, radians."""
Turn = Annotated[float, _quantity("angle", "more than 0", _above_0)]
"""An angle above 0, radians."""
FitTurn = Annotated[float, AllowInfNan(allow_inf_nan=True), _quantity("angle", "more than 0", _above_0, fit=True)]
"""The angle of a curve, radians, above 0, or `"fit"`."""
Grade = Annotated[float, _quantity("grade", "under 100 % up or down", lambda number: abs(number) < 1)]
"""Rise over run."""
Mass = Annotated[float, _quantity("mass", "more than 0", _above_0)]
"""A mass above 0, kg."""
PartMass = Annotated[float, _quantity("mass", "0 or more", _not_below_0)]
"""A mass of 0 or more, kg."""
Fraction = Annotated[float, _quantity("share", "above 0 and at most 1", lambda number: 0 < number <= 1)]
"""A share above 0, at most 1."""
Weight = Annotated[float, Field(gt=0, le=1000)]
"""How much a thing counts beside others, 1 where nothing is said."""
StartingFactor = Annotated[float, Field(ge=1, le=10)]
"""Resistance when starting over that when running."""
FrogNumber = Annotated[float, Field(ge=2, le=30)]
"""The number of a frog: its length over its spread, both along and across its middle line."""
Tension = Annotated[float, Field(ge=0, le=0.1)]
"""Effective friction of flanges that coupler tension presses against the rail."""


def _measured(kind: Kind, bound: str, holds: Callable[[float], bool]) -> BeforeValidator:
    def read(value: object, info: ValidationInfo) -> Reading:
        reading = read_reading(value, kind, unit=unit_of(info))
        _check(reading.value, kind, value, info, bound, holds)
        return reading

    return BeforeValidator(read)


def _as_list(value: object) -> object:
    return value if isinstance(value, list) else [value]


Force = Annotated[Reading, _measured("force", "more than 0", _above_0)]
"""A reading of the balance, N."""
Resistance = Annotated[Reading, _measured("share", "from 0 to 1", lambda number: 0 <= number <= 1)]
"""Pull per unit of weight."""
Readings = Annotated[list[Force], BeforeValidator(_as_list), Field(min_length=1)]
"""One reading, or a list of them."""
Rises = Annotated[list[Room], BeforeValidator(_as_list), Field(min_length=1)]
"""One rise, or a list of them, m."""


def _conditions(value: object) -> object:
    """Clean the names of rail conditions before pydantic takes them as keys."""
    if not isinstance(value, dict):
        return value
    named: dict[str, object] = {}
    for key, readings in value.items():
        name = _name(str(key))
        if name in named:
            raise PlanError(f"rail condition {quoted(name)} is given twice")
        named[name] = readings
    return named


ByCondition = Annotated[dict[str, Readings], BeforeValidator(_conditions)]
"""Readings by rail condition: ``clean``, ``FILM`` or ``FILM fresh``."""

Pair = Annotated[list[Name], Field(min_length=2, max_length=2)]
"""Two names."""
Station = Annotated[list[Length], Field(min_length=2, max_length=2)]
"""A distance along a line and the height there, m."""
