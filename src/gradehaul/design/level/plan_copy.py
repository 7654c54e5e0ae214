"""A copy of a plan with the railheads that leveling found, all else as the builder wrote it."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import Any

import numpy as np

from gradehaul.design.level.as_checked import digits_written
from gradehaul.design.level.railheads import Leveled
from gradehaul.design.level.stations import Stations
from gradehaul.errors import PlanError, quoted
from gradehaul.plan.drawing.nearness import components
from gradehaul.plan.edit.copies import copy_of, document_of, elsewhere, items_of
from gradehaul.plan.records import Line
from gradehaul.quantities import convert
from gradehaul.track.fit import fitted
from gradehaul.track.heights.railhead import solve_railheads

_AGREES = 1e-5
"""How far railheads may be from those found when the copy is read back, m: the digits written."""


def leveled_plan(found: Leveled, folder: Path | None = None) -> str:
    """Return the text of the plan's file with a railhead at the free ends of track, comments kept.

    Of ends that rises or grades tie one has it, a joint where there is one, so that the others follow when it is moved.
    """
    import tomlkit

    plan, stations = found.plan, found.stations
    document = document_of(plan)
    tied = _followers(stations)
    for line in plan.lines.values():
        if line.place is None and line.name not in document.get("line", {}):  # those of a drawing have places
            raise elsewhere(plan, f"line {quoted(line.name)}")
        _write_ends(found, line, document, tied)
    heights: Any = document.get("railhead")
    if heights is None:
        heights = document["railhead"] = tomlkit.table()
    for name, station in stations.joints.items():
        if stations.free[station] and station not in tied:
            heights[name] = _in_unit(found, station)
    text, written = copy_of(document, plan, folder)
    again = solve_railheads(fitted(written))
    for name, (numbers, _) in stations.lines.items():
        off = np.abs(again.lines[name].railhead - found.heights[numbers]).max()
        if off > _AGREES:
            raise PlanError(
                "this line is written so that its railheads cannot be changed in place",
                file=plan.file,
                place=f"line {quoted(name)}",
                write="railheads by hand, as the answer lists them",
            )
    return text


def _followers(stations: Stations) -> frozenset[int]:
    """Return the free stations whose height follows from another over stated rises: all but one of each group.

    None of a plan whose rises miss one another a little, which they share out from the heights that are written.
    """
    if solve_railheads(stations.plan).notes:
        return frozenset()
    group = components(stations.free.size, [(one, two) for one, two, _ in stations.ties])
    free, joints = set(np.flatnonzero(stations.free).tolist()), set(stations.joints.values())
    first: dict[int, int] = {}
    for station in sorted(range(group.size), key=lambda each: (each in free, each not in joints)):
        first.setdefault(int(group[station]), station)
    return frozenset(free.difference(first.values()))


def _write_ends(found: Leveled, line: Line, document: Any, tied: Collection[int]) -> None:  # noqa: ANN401 - tomlkit's
    """Write the railheads of free ends of tracks within a line; those that a rise or a grade ties follow.

    Each goes to its track where that is written on the line; ends within a piece, and of lines that are drawn, go to
    ``railhead_at`` by their distance along the line.
    """
    import tomlkit

    stations = found.stations
    numbers, distance = stations.lines[line.name]
    table: Any = document.get("line", {}).get(line.name)
    written = items_of(() if table is None else table.get("track", ()), document.get("piece", {}), lambda _: False)
    items = {numbers[0]: item for item, numbers in written if "piece" not in item}
    pairs: list[list[float]] = []
    end = 0.0
    for track in line.tracks[:-1]:
        end += track.length
        station = int(numbers[int(np.argmin(np.abs(distance - end)))])
        given = track.rise is not None or track.grade is not None or track.railhead is not None
        if given or not stations.free[station] or station in tied:
            continue
        if track.number in items:
            items[track.number]["railhead"] = _in_unit(found, station)
        else:
            pairs.append([_place(end, found.plan.unit), _in_unit(found, station)])
    if not pairs:
        return
    if table is None:
        lines: Any = document.setdefault("line", tomlkit.table(is_super_table=True))
        table = lines[line.name] = tomlkit.table()
    along = table.setdefault("railhead_at", tomlkit.array())
    for pair in pairs:
        along.append(pair)


def _place(at: float, unit: str) -> float:
    """Return a distance in a unit, so near that it is the end of its track."""
    return float(f"{convert(at, unit):.14g}")


def _in_unit(found: Leveled, station: int) -> float:
    unit = found.plan.unit
    return round(convert(float(found.heights[station]), unit), digits_written(unit)) + 0.0
