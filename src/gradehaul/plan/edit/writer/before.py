"""What a plan has already: its unit, its drawn lines and the heights of its joints."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from gradehaul.errors import PlanError, QuantityError
from gradehaul.plan.drawing.naming.recognition import KnownLine
from gradehaul.plan.drawing.records import Spot
from gradehaul.plan.edit.writer.text import chunks_of
from gradehaul.plan.schema.lines import LineTable
from gradehaul.plan.text.faults import Entry, Faults, Source, checked
from gradehaul.quantities import length_unit, read_quantity


def unit_of(data: Mapping[str, Any], file: str) -> str:
    """Return the unit of a plan's bare lengths.

    Raises
    ------
    PlanError
        The unit is none.

    Examples
    --------
    >>> unit_of({"practice": "NEM"}, "tarn.toml")
    'mm'
    """
    if "unit" not in data:
        return "mm" if data.get("practice") == "NEM" else "in"
    try:
        return length_unit(data["unit"])
    except QuantityError as error:
        raise PlanError(error.wrong, file=file, place="unit", found=error.found, write=error.write) from error


def lines_before(text: str, data: Mapping[str, Any], file: str) -> list[KnownLine]:
    """Return the lines of a plan whose places are given, as an earlier import wrote them.

    Parameters
    ----------
    text, data
        The plan, as text and as its tables.
    file
        Its name.
    """
    source = Source(file, unit_of(data, file), {}, {})
    found = []
    for chunk in chunks_of(text):
        if chunk.key[0] == "line" and isinstance(data.get("line"), dict):
            name = chunk.key[1]
            entry = checked(LineTable, Entry(source, chunk.key, data["line"].get(name)), Faults())
            if entry is not None and entry.table.at is not None:
                found.append(_known(name, entry.table))
    return found


def heights_before(data: Mapping[str, Any], file: str) -> dict[str, float]:
    """Return the heights of joints in a plan, m; what is no height is an error where the plan is read."""
    given = data.get("railhead")
    if not isinstance(given, dict):
        return {}
    unit = unit_of(data, file)
    heights = {name: height_of(value, unit) for name, value in given.items()}
    return {name: height for name, height in heights.items() if height is not None}


def _known(name: str, table: LineTable) -> KnownLine:
    """Return a line with its ends, calculated along its tracks; an easement counts as straight here."""
    assert table.at is not None
    x, y = table.at
    start = heading = table.heading or 0.0
    length = 0.0
    for track in table.track:
        along, turn = track.straight or track.easement or 0.0, 0.0
        if track.radius is not None:
            along = track.length if track.length is not None else track.radius * (track.angle or 0.0)
            turn = along / track.radius * (1 if track.left is not None else -1)
        chord = along * (math.sin(turn / 2) / (turn / 2) if turn else 1.0)
        x += chord * math.cos(heading + turn / 2)
        y += chord * math.sin(heading + turn / 2)
        heading += turn
        length += along
    at = Spot(table.at[0], table.at[1])
    return KnownLine(name, table.from_, table.to, at, start, Spot(x, y), heading + math.pi, length)


def height_of(value: object, unit: str) -> float | None:
    """Return a height of a plan, m, None where it is none."""
    try:
        return read_quantity(value, "length", unit=unit)
    except QuantityError:
        return None
