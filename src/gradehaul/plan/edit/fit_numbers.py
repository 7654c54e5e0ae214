"""A copy of a plan with numbers in place of its `"fit"`, all else as the builder wrote it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from gradehaul.errors import PlanError
from gradehaul.plan.edit.copied import lead_from
from gradehaul.plan.edit.rail_keys import unfolded
from gradehaul.plan.names import quoted
from gradehaul.plan.reader import read_plan
from gradehaul.plan.records import Plan, Track, Unknown
from gradehaul.plan.schema.values import FIT
from gradehaul.plan.text.toml import read_text
from gradehaul.quantities import convert

_FINE = 7
"""Decimals of a length in m that are written: a tenth of a micron."""
_AGREES = 1e-6
"""By how much a length, m, may differ in the copy."""


def plan_with_numbers(plan: Plan, *, folder: Path | None = None) -> str:
    """Return the text of a plan file with a number for each figure that was found, comments kept.

    Where a figure stands in a piece, the tracks of the piece take its place in the line.

    Parameters
    ----------
    plan
        The plan with its figures found.
    folder
        The folder of the copy, as for `lead_from`; that of the plan where None.

    Raises
    ------
    PlanError
        No figure was left to be found; files that the copy would not find; or lines that do not stand in this file.
    """
    import tomlkit

    path = Path(plan.file)
    document: Any = tomlkit.parse(read_text(path, plan.file))
    pieces: Any = document.get("piece", {})
    unit = None if "unit" in document else plan.unit
    lines = [line for line in plan.lines.values() if any(track.fit for track in line.tracks)]
    if not lines:
        raise PlanError("no figure of this plan is to be found", file=plan.file, write='straight = "fit" in a line')
    for line in lines:
        if line.name not in document.get("line", {}):
            raise PlanError(
                "its tracks do not stand in this file",
                file=plan.file,
                place=f"line {quoted(line.name)}",
                write="a plan with its lines in one file",
            )
        items = document["line"][line.name]["track"]
        _unfold(items, pieces)
        for item, track in zip(_tracks(items, pieces), line.tracks, strict=True):
            for unknown in track.fit:
                keys, value = _written(track, unknown, plan.unit, bare=unit is None)
                item[next(key for key in keys if item.get(key) == FIT)] = value
    lead_from(document, path, folder or path.parent, file=plan.file)
    text = tomlkit.dumps(document)
    again = read_plan(text, file=plan.file, folder=folder or path.parent)
    for key, track in plan.tracks.items():
        if not abs(again.tracks[key].length - track.length) < _AGREES:
            raise PlanError("this track cannot be changed in place", file=plan.file, place=track.place)
    return text


def _unfold(items: Any, pieces: Any) -> None:  # noqa: ANN401 - tomlkit's
    """Put the tracks of a piece in its place where one of them is to be found."""
    number = 0
    while number < len(items):
        item = items[number]
        if "piece" in item and _is_open(item, pieces):
            del items[number]
            for inner in reversed(unfolded(item, pieces)):
                items.insert(number, inner)
        else:
            number += 1


def _is_open(item: Any, pieces: Any) -> bool:  # noqa: ANN401 - tomlkit's
    if "piece" in item:
        return any(_is_open(inner, pieces) for inner in pieces[item["piece"]]["track"])
    return FIT in item.values()


def _tracks(items: Any, pieces: Any) -> Iterator[Any]:  # noqa: ANN401 - tomlkit's
    """Yield the item that writes each track of a line."""
    for item in items:
        if "piece" in item:
            yield from _tracks(pieces[item["piece"]]["track"], pieces)
        else:
            yield item


def _written(track: Track, unknown: Unknown, unit: str, *, bare: bool) -> tuple[tuple[str, ...], float | str]:
    """Return the keys under which a figure can stand, and its value as it is written."""
    if unknown == "angle":
        return ("angle",), round(math.degrees(abs(track.curvature) * (track.length - track.ease)), _FINE)
    value = 1 / abs(track.curvature) if unknown == "radius" else track.length
    number = round(convert(value, unit), max(0, _FINE - math.floor(math.log10(convert(1.0, unit)))))
    keys = ("left", "right") if unknown == "radius" else ("straight", "length")
    return keys, number if bare else f"{number} {unit}"
