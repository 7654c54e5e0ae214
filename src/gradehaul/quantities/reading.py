"""Reading a quantity, or a measured value with its spread, as a person writes it."""

from __future__ import annotations

from dataclasses import replace

from gradehaul.quantities.figures import Reading, figures_of, is_bare, plain_text, reading_of
from gradehaul.quantities.given import Given, bare_value
from gradehaul.quantities.units import NAMED, Kind, length_factor, quoted

_COMMON = 1e9
"""Bare numbers below this need no closer look in any unit of length."""


def read_quantity(value: object, kind: Kind, *, unit: str | None = None) -> float:
    """Return the SI value of a quantity in a plan.

    Parameters
    ----------
    value
        A number, or text such as ``"18 1/2 in"``, ``"3 ft 6 in"``, ``"62 gf"``, ``"2.2 %"`` or ``"1 in 45"``.
    kind
        What it should be.
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
    gradehaul.errors.QuantityError: a force is needed and g is a mass (a spring balance marked in g reads gf),
    got "62 g"; write "62 gf"
    """
    if isinstance(value, (int, float)):
        if kind == "length" and unit is not None and type(value) is not bool and abs(value) < _COMMON:
            times, parts = length_factor(unit)  # as `bare_value` does it, for plans of tens of thousands of lengths
            return value * times / parts
        return bare_value(value, Given(kind, unit, value))
    given = plain_text(value, kind, unit)
    reading, known = reading_of(given)
    if "+/-" in given.text:
        alone = figures_of(given.text)[0].partition("+/-")[0].strip(" ")
        alone = f"{alone} {known.name}" if known is not None and is_bare(alone) else alone
        raise given.error(f"{NAMED[kind]} without a spread is needed here", quoted(alone))
    return reading.value


def read_reading(value: object, kind: Kind, *, unit: str | None = None) -> Reading:
    """Return the SI value of a reading in a plan, and its spread where it has one.

    Parameters
    ----------
    value
        As for `read_quantity`, or with a spread of one standard deviation: ``"62 ± 3 gf"``, ``"62 +/- 3 gf"``.
    kind
        What it should be.
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
        return Reading(bare_value(value, Given(kind, unit, value)))
    reading, written = reading_of(plain_text(value, kind, unit))
    return reading if written is None else replace(reading, unit=written.name)
