"""Numbers of a record with their units in their types, such as `Meters` and `Newtons`.

A field of type `Meters` is a float in m everywhere in the package. `quantities.document` reads the unit from the type:
it is the suffix of the key in JSON, and what a table for a spreadsheet converts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

from gradehaul.quantities.units import Kind


@dataclass(frozen=True, slots=True)
class SI:
    """The unit of a number, as its type names it.

    Attributes
    ----------
    unit
        The unit in a document.
    suffix
        What the number's key ends in, behind an underscore.
    kind
        What the number is, None where no reader has a unit of his own for it.
    times
        What the value in SI units is multiplied by in a document: 100 for what is shown in percent.
    places
        Decimals of an array in a document, None for six digits that count.
    """

    unit: str
    suffix: str
    kind: Kind | None = None
    times: float = 1.0
    places: int | None = None


METER = SI("m", "m", "length")
NEWTON = SI("N", "n", "force")
PERCENT = SI("%", "pct", "grade", 100.0)

Meters = Annotated[float, METER]
PerMeter = Annotated[float, SI("1/m", "per_m")]
"""Curvature, positive for left."""
Newtons = Annotated[float, NEWTON]
Kilograms = Annotated[float, SI("kg", "kg", "mass")]
Radians = Annotated[float, SI("degrees", "deg", None, math.degrees(1.0))]
"""In rad; documents have it in degrees."""
Ratio = Annotated[float, PERCENT]
"""A plain ratio, such as a grade; documents have it in percent."""
Share = Annotated[float, SI("", "")]
"""A plain ratio that documents have as it is, such as a chance or a share of a weight."""
Hours = Annotated[float, SI("h", "")]
