"""A copy of a plan with the railheads that leveling found, all else as the builder wrote it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from gradehaul.design.level import Leveled
from gradehaul.errors import PlanError
from gradehaul.plan.copied import lead_from
from gradehaul.plan.names import quoted
from gradehaul.plan.reader import read_plan
from gradehaul.plan.records import Line
from gradehaul.plan.toml import read_text
from gradehaul.quantities import convert
from gradehaul.track.railhead import solve_railheads

_DIGITS = 5
_AGREES = 1e-5
"""How far railheads may be from those found when the copy is read back, m: the digits written."""


def leveled_plan(found: Leveled, folder: Path | None = None) -> str:
    """Return the text of the plan's file with a railhead at every free end of track, comments kept.

    Parameters
    ----------
    found
        The railheads.
    folder
        The folder of the copy; that of the plan where None.

    Raises
    ------
    PlanError
        Files that the copy would not find, lines that do not stand in this file, tracks
        that come from a piece, or text that cannot be changed so.
    """
    import tomlkit

    plan, stations = found.plan, found.stations
    path = Path(plan.file)
    document: Any = tomlkit.parse(read_text(path, plan.file))
    tables: Any = document.get("line", {})
    for name, line in plan.lines.items():
        if name not in tables:
            raise PlanError(
                "its tracks do not stand in this file",
                file=plan.file,
                place=f"line {quoted(name)}",
                write="a plan with its lines in one file; import makes one of a drawing",
            )
        _write_ends(found, line, tables[name]["track"])
    heights: Any = document.get("railhead")
    if heights is None:
        heights = document["railhead"] = tomlkit.table()
    for name, station in stations.joints.items():
        if stations.free[station]:
            heights[name] = _told(found, station)
    lead_from(document, path, folder or path.parent, file=plan.file)
    text = tomlkit.dumps(document)
    again = solve_railheads(read_plan(text, file=plan.file, folder=folder or path.parent))
    for name, (numbers, _) in stations.lines.items():
        off = np.abs(again.lines[name].railhead - found.heights[numbers]).max()
        if off > _AGREES:
            raise PlanError(
                "this line is written so that its railheads cannot be changed in place",
                file=plan.file,
                place=f"line {quoted(name)}",
                write="railheads by hand, as the answer tells them",
            )
    return text


def _write_ends(found: Leveled, line: Line, items: Any) -> None:  # noqa: ANN401 - tomlkit's
    """Give the free ends of tracks within a line their railheads; what a rise or a grade ties follows from it."""
    stations = found.stations
    numbers, distance = stations.lines[line.name]
    end = 0.0
    for track in line.tracks[:-1]:
        end += track.length
        station = int(numbers[int(np.argmin(np.abs(distance - end)))])
        given = track.rise is not None or track.grade is not None or track.railhead is not None
        if given or not stations.free[station]:
            continue
        if len(items) != len(line.tracks):
            raise PlanError(
                "a track of a piece cannot be given a railhead of its own",
                file=found.plan.file,
                place=track.place,
                write="the tracks themselves in place of the piece",
            )
        items[track.number - 1]["railhead"] = _told(found, station)


def _told(found: Leveled, station: int) -> float:
    return round(convert(float(found.heights[station]), found.plan.unit), _DIGITS) + 0.0
