"""What a drawing tells, as tables in the plan's unit."""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING, Any

from gradehaul.plan.drawing.tables import joint_table, split_heights
from gradehaul.quantities import convert

if TYPE_CHECKING:
    from gradehaul.plan.drawing.drawn import Drawn, DrawnLine

_FINE = 1e-7


ANGLE_DECIMALS = 6


def tables_of(drawn: Drawn, unit: str) -> dict[tuple[str, str], dict[str, Any]]:
    """Return the tables of lines and joints, by section and name."""
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for name, line in drawn.lines.items():
        found["line", name] = _line(line, unit)
    for name, joint in drawn.joints.items():
        if table := joint_table(joint):
            found[table[0], name] = table[1]
    return found


def _line(line: DrawnLine, unit: str) -> dict[str, Any]:
    first = line.elements[0]
    tracks: list[dict[str, Any]] = []
    for element in line.elements:
        if element.curvature == 0:
            tracks.append({"straight": length_in(element.length, unit, above_0=True)})
            continue
        hand = "left" if element.curvature > 0 else "right"
        turn = abs(element.curvature) * element.length
        radius = length_in(1 / abs(element.curvature), unit, above_0=True)
        tracks.append({hand: radius, "angle": _rounded(math.degrees(turn), ANGLE_DECIMALS, above_0=True)})
    table: dict[str, Any] = {
        "from": line.start,
        "to": line.finish,
        "at": [length_in(first.start.x, unit), length_in(first.start.y, unit)],
        "heading": _rounded(math.degrees(first.heading), ANGLE_DECIMALS),
    }
    ends, between = split_heights(line)
    for number, height in ends.items():
        tracks[number]["railhead"] = length_in(height, unit)
    if any(element.start.z is not None for element in line.elements):  # also where an even climb needs none between
        table["railhead_at"] = [[length_in(where, unit), length_in(height, unit)] for where, height in between]
    table["track"] = tracks
    return table


@cache
def decimals(unit: str) -> int:
    """Return the decimals with which lengths are written: to a tenth of a micrometer or finer."""
    return max(0, math.ceil(-math.log10(convert(_FINE, unit)) - 1e-9))


def length_in(value: float, unit: str, *, above_0: bool = False) -> float | int:
    """Return a length in a unit, to the last digit that is written."""
    return _rounded(convert(value, unit), decimals(unit), above_0=above_0)


def _rounded(value: float, decimals: int, *, above_0: bool = False) -> float | int:
    """Return a number with so many decimals, a whole one without any; one above 0 stays above 0.

    Examples
    --------
    >>> _rounded(24.000000004, 6), _rounded(-1e-9, 6), _rounded(1e-9, 6, above_0=True)
    (24, 0, 1e-09)
    """
    value = float(value)  # a number of numpy's would write its type
    short = round(value, decimals)
    if above_0 and short < 1000 * 10**-decimals:
        short = float(f"{value:.6g}")
    return int(short) if short == int(short) and abs(short) < 2**53 else short
