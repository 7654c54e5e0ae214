"""The values that a plan's tables hold: names and quantities, read where pydantic meets them, in the plan's unit."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo
from pydantic.types import AllowInfNan

from gradehaul.errors import PlanError
from gradehaul.plan.names import clean, quoted, shown
from gradehaul.quantities import Kind, Reading, read_quantity, read_reading

if TYPE_CHECKING:
    from collections.abc import Callable

_STEEPEST = 1.0


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


def _bare(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def as_written(value: object, unit: str | None) -> str:
    """Return a quantity as the builder wrote it, with the plan's unit where it was bare."""
    return f"{shown(value)} {unit}" if _bare(value) and unit else shown(value).strip('"')


_LEAST: dict[Kind, float] = {"length": 1e-6, "angle": 1e-6, "mass": 1e-9, "force": 1e-9}
_MOST: dict[Kind, float] = {"length": 1e7, "angle": 1e4, "mass": 1e9, "force": 1e10}
"""What no railway of any size has less or more of, in SI units: such a figure is a typo."""


def _sane(number: float, kind: Kind, value: object, info: ValidationInfo, *, may_be_tiny: bool = False) -> float:
    large = abs(number) > _MOST.get(kind, math.inf)
    if large or (0 < abs(number) < _LEAST.get(kind, 0.0) and not may_be_tiny):
        size = "large" if large else "small"
        wrong = f"{info.field_name} is too {size} for any railway"
        raise PlanError(wrong, found=as_written(value, _bare_unit(kind, info)))
    return number


def _bare_unit(kind: Kind, info: ValidationInfo) -> str | None:
    """Return the unit in which a bare number reads."""
    return unit_of(info) if kind == "length" else "degrees" if kind == "angle" else None


def _read(value: object, kind: Kind, info: ValidationInfo) -> float:
    return read_quantity(value, kind, unit=unit_of(info))


def _quantity(kind: Kind, bound: str = "", holds: Callable[[float], bool] = lambda _: True) -> BeforeValidator:
    """Read a quantity and refuse what is out of bounds, in the words `bound`."""

    def read(value: object, info: ValidationInfo) -> float:
        number = _read(value, kind, info)
        if not holds(number):
            found = as_written(value, _bare_unit(kind, info))
            write = f"{info.field_name} = {_turned(value)}" if holds(-number) else ""
            raise PlanError(f"{info.field_name} must be {bound}", found=found, write=write)
        return _sane(number, kind, value, info, may_be_tiny=not bound)

    return BeforeValidator(read)


def _turned(value: object) -> str:
    """Return a negative figure without its sign, as it is written in a plan."""
    return shown(-value) if isinstance(value, int | float) else quoted(str(value).strip().lstrip("-− "))


def _radius(value: object, info: ValidationInfo) -> float:
    number = _read(value, "length", info)
    if number > 0:
        return _sane(number, "length", value, info)
    unit = unit_of(info)
    if number < 0:
        hand = "right" if info.field_name == "left" else "left"
        write = f"{hand} = {_turned(value)} for a {hand}-hand curve"
    else:
        write = f"straight = ... for a straight, or {info.field_name} = 24 for a curve"
    raise PlanError("radius must be longer than 0", found=as_written(value, unit), write=write)


Length = Annotated[float, _quantity("length")]
"""A length or a height, m."""
Distance = Annotated[float, _quantity("length", "longer than 0", lambda number: number > 0)]
"""A length above 0, m."""
Room = Annotated[float, _quantity("length", "0 or longer", lambda number: number >= 0)]
"""A length of 0 or more, m."""
Radius = Annotated[float, BeforeValidator(_radius)]
"""A radius above 0, m."""

FIT = "fit"
"""What the builder writes for a figure that is found so that its line ends at its joint; read as NaN."""


def _or_fit(kind: Any) -> BeforeValidator:  # noqa: ANN401 - an annotated type
    """Read a quantity as another kind does, but for the word that leaves it to be found."""
    read = kind.__metadata__[0].func

    def read_or_leave(value: object, info: ValidationInfo) -> object:
        return math.nan if isinstance(value, str) and value.strip() == FIT else read(value, info)

    return BeforeValidator(read_or_leave)


FitDistance = Annotated[float, AllowInfNan(allow_inf_nan=True), _or_fit(Distance)]
"""A length above 0, m, or `"fit"`."""
FitRadius = Annotated[float, AllowInfNan(allow_inf_nan=True), _or_fit(Radius)]
"""A radius above 0, m, or `"fit"`."""
Angle = Annotated[float, _quantity("angle")]
"""An angle, radians."""
Turn = Annotated[float, _quantity("angle", "more than 0", lambda number: number > 0)]
"""The angle of a curve, radians, above 0."""
FitTurn = Annotated[float, AllowInfNan(allow_inf_nan=True), _or_fit(Turn)]
"""The angle of a curve, radians, above 0, or `"fit"`."""
Grade = Annotated[float, _quantity("grade", "under 100 % up or down", lambda number: abs(number) < _STEEPEST)]
"""Rise over run."""
Mass = Annotated[float, _quantity("mass", "more than 0", lambda number: number > 0)]
"""A mass above 0, kg."""
PartMass = Annotated[float, _quantity("mass", "0 or more", lambda number: number >= 0)]
"""A mass of 0 or more, kg."""
Fraction = Annotated[float, _quantity("share", "above 0 and at most 1", lambda number: 0 < number <= 1)]
"""A share above 0, at most 1."""


def _plain(bound: str, holds: Callable[[float], bool], usual: str) -> BeforeValidator:
    """Read a bare number and refuse what is out of bounds, in the words `bound`; `usual` is one to write."""

    def read(value: object, info: ValidationInfo) -> float:
        if not isinstance(value, int | float) or isinstance(value, bool):
            write = f"{info.field_name} = {usual}"
            raise PlanError(f"{info.field_name} must be a bare number", found=shown(value), write=write)
        if not holds(value):
            raise PlanError(f"{info.field_name} must be {bound}", found=shown(value))
        return float(value)

    return BeforeValidator(read)


Weight = Annotated[float, _plain("more than 0 and at most 1000", lambda number: 0 < number <= 1000, "3")]
"""How much a thing counts beside others, 1 where nothing is said."""
StartingFactor = Annotated[float, _plain("from 1 to 10", lambda number: 1 <= number <= 10, "1")]
"""Resistance when starting over that when running."""
FrogNumber = Annotated[float, _plain("from 2 to 30", lambda number: 2 <= number <= 30, "6")]
"""The number of a frog: its length over its spread, both along and across its middle line."""
Tension = Annotated[float, _plain("from 0 to 0.1", lambda number: 0 <= number <= 0.1, "0.03")]
"""Effective friction of flanges that coupler tension presses against the rail."""


def _measured(kind: Kind, bound: str, holds: Callable[[float], bool]) -> BeforeValidator:
    def read(value: object, info: ValidationInfo) -> Reading:
        reading = read_reading(value, kind, unit=unit_of(info))
        if not holds(reading.value):
            write = _turned(value) if holds(-reading.value) else ""
            raise PlanError(f"{info.field_name} must be {bound}", found=as_written(value, None), write=write)
        _sane(reading.value, kind, value, info)
        return reading

    return BeforeValidator(read)


Force = Annotated[Reading, _measured("force", "more than 0", lambda number: number > 0)]
"""A reading of the balance, N."""
Resistance = Annotated[Reading, _measured("share", "from 0 to 1", lambda number: 0 <= number <= 1)]
"""Pull per unit of weight."""
Readings = Annotated[
    list[Force], BeforeValidator(lambda value: value if isinstance(value, list) else [value]), Field(min_length=1)
]
"""One reading, or a list of them."""


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
