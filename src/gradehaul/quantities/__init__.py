"""Quantities as a person writes them, to SI and back; the one place where units are converted.

No text is ever evaluated. A bounded pattern of plain characters splits it into numbers and unit names, the names come
from a short list, and only then does pint tell the factor.
"""

from gradehaul.quantities.reading import Reading, read_quantity, read_reading
from gradehaul.quantities.units import (
    INCH,
    ON_RULER,
    ROUNDING,
    Kind,
    System,
    conversion,
    convert,
    describe,
    length_unit,
)

__all__ = [
    "INCH",
    "ON_RULER",
    "ROUNDING",
    "Kind",
    "Reading",
    "System",
    "conversion",
    "convert",
    "describe",
    "length_unit",
    "read_quantity",
    "read_reading",
]
