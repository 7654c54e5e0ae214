"""Trial changes of a plan, railheads and rail conditions, made to its record and to the text of its file."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from gradehaul.errors import PlanError, quoted
from gradehaul.plan.consistency import freeze_mappings
from gradehaul.plan.edit.copies import elsewhere, put_rails
from gradehaul.plan.given_heights import FigureKey, key_at, without_figures
from gradehaul.plan.rail_condition import CLEAN, conditions
from gradehaul.plan.reader import read_plan
from gradehaul.plan.records import Line, Plan
from gradehaul.quantities import convert

_DIGITS = 6
"""Decimals of a railhead in the plan's unit."""
_SAME = 1e-6


@dataclass(frozen=True, slots=True)
class TrialHeights:
    """Changes to try: railheads, m, by station, and rail conditions by the id of their track; and the age of all film.

    A station is ``joint NAME``, ``track ID`` for the far end of a track with its own railhead, or ``at LINE NUMBER``
    for a pair of `railhead_at`, from 0. `hours` since every film went on, None for fresh and rested, change no plan.
    """

    heights: Mapping[str, float] = field(default_factory=dict)
    rails: Mapping[str, str] = field(default_factory=dict)
    hours: float | None = None

    def __post_init__(self) -> None:
        freeze_mappings(self)

    def __bool__(self) -> bool:
        return bool(self.heights or self.rails or self.hours is not None)


def fixed_railheads(plan: Plan) -> dict[str, float]:
    """Return the railheads that the plan fixes, m, by station."""
    found = {f"joint {name}": height for name, height in plan.railhead.items()}
    for line in plan.lines.values():
        found |= {f"track {track.id}": track.railhead for track in line.tracks if track.railhead is not None}
        found |= {f"at {line.name} {number}": height for number, (_, height) in enumerate(line.railhead_at)}
    return found


def known_part(plan: Plan, trial: TrialHeights) -> tuple[TrialHeights, list[str]]:
    """Return the part of a trial that fits the plan as it is now, and what had to be left out."""
    fixed, films = fixed_railheads(plan), set(conditions(plan.films))
    joints = {f"joint {name}" for name in plan.joints}
    heights = {key: height for key, height in trial.heights.items() if key in fixed or key in joints}
    rails = {key: rail for key, rail in trial.rails.items() if key in plan.tracks and rail in films}
    lost = [key for key in (*trial.heights, *trial.rails) if key not in heights and key not in rails]
    return TrialHeights(heights, rails, trial.hours), lost


def keys_of(plan: Plan, trial: TrialHeights) -> list[FigureKey]:
    """Return the keys of the heights that a trial sets, in the plan with its changes."""
    found: list[FigureKey] = []
    for station in trial.heights:
        kind, _, name = station.partition(" ")
        line, _, number = name.rpartition(" ")
        found.append(key_at(line, plan.lines[line].railhead_at[int(number)][0]) if kind == "at" else (kind, name))
    return found


def tried(plan: Plan, trial: TrialHeights) -> Plan:
    """Return the plan with a trial's changes.

    Raises
    ------
    Problems
        The changes do not hold together with the rest of the plan.
    """
    joints = {name: trial.heights[f"joint {name}"] for name in plan.joints if f"joint {name}" in trial.heights}
    lines = {name: _tried_line(line, trial) for name, line in plan.lines.items()}
    return replace(plan, railhead={**plan.railhead, **joints}, lines=lines)


def _tried_line(line: Line, trial: TrialHeights) -> Line:
    tracks = tuple(
        replace(
            track,
            railhead=trial.heights.get(f"track {track.id}", track.railhead),
            rail=trial.rails.get(track.id, track.rail),
        )
        for track in line.tracks
    )
    pairs = tuple(
        (at, trial.heights.get(f"at {line.name} {number}", height))
        for number, (at, height) in enumerate(line.railhead_at)
    )
    return replace(line, tracks=tracks, railhead_at=pairs)


def tried_text(
    plan: Plan, text: str, trial: TrialHeights, folder: Path | None = None, aside: Collection[FigureKey] = ()
) -> str:
    """Return the text of the plan's file with a trial's changes and without some figures, comments and layout kept.

    Raises
    ------
    PlanError
        What changes stands in an included file, a drawing or a piece, or is written so that it cannot be changed.
    """
    import tomlkit

    document: Any = tomlkit.parse(text)
    try:
        for key, height in trial.heights.items():
            _put_height(document, plan, key, _number(height, plan.unit))
        for figure in aside:
            _take_away(document, plan, figure)
        put_rails(document, plan, trial.rails)
    except (KeyError, IndexError, TypeError) as error:  # a drawn line, or a piece from an included file
        raise elsewhere(plan, "a line or piece of track") from error
    changed: str = tomlkit.dumps(document)
    again = read_plan(changed, file=plan.file, folder=folder or Path(plan.file).parent)
    wanted = without_figures(tried(plan, trial), aside)
    heights = fixed_railheads(again)
    right = _tracks(again) == _tracks(wanted) and all(
        abs(heights.pop(key, 1e9) - height) < _SAME for key, height in fixed_railheads(wanted).items()
    )
    if heights or not right:
        raise PlanError("the file is written so that this cannot be changed in place", file=plan.file)
    return changed


def _tracks(plan: Plan) -> dict[str, tuple[str, float | None, float | None]]:
    return {key: (track.rail or CLEAN, track.rise, track.grade) for key, track in plan.tracks.items()}


def _number(height: float, unit: str) -> float | int:
    value = round(convert(height, unit), _DIGITS) + 0.0
    return int(value) if value.is_integer() else value


def _put_height(document: Any, plan: Plan, key: str, value: float) -> None:  # noqa: ANN401 - tomlkit's
    import tomlkit

    kind, _, name = key.partition(" ")
    if kind == "joint":
        table: Any = document.get("railhead")
        if name in plan.railhead and (table is None or name not in table):
            raise elsewhere(plan, f"railhead {quoted(name)}")
        if table is None:
            table = document["railhead"] = tomlkit.table()
        table[name] = value
        return
    line, _, number = name.rpartition(" " if kind == "at" else ":")
    written: Any = document.get("line", {}).get(line)
    if written is None:
        raise elsewhere(plan, f"line {quoted(line)}")
    if kind == "at":
        written["railhead_at"][int(number)][1] = value
        return
    _item(written, plan, line, int(number))["railhead"] = value


def _item(written: Any, plan: Plan, line: str, number: int) -> Any:  # noqa: ANN401 - tomlkit's
    """Return the table of a track where it is written on its line."""
    tracks = written["track"]
    if any("piece" in item for item in tracks[:number]):
        raise PlanError(
            "a height that comes after a piece cannot be changed here: edit the text of the plan",
            file=plan.file,
            place=f"line {quoted(line)}",
        )
    return tracks[number - 1]


def _take_away(document: Any, plan: Plan, key: FigureKey) -> None:  # noqa: ANN401 - tomlkit's
    """Take a figure out of the tables of a plan's file."""
    kind, name = key[:2]
    if kind == "joint":
        table: Any = document.get("railhead")
        if table is None or name not in table:
            raise elsewhere(plan, f"railhead {quoted(name)}")
        del table[name]
        return
    line = name if kind == "at" else plan.tracks[name].line
    written: Any = document.get("line", {}).get(line)
    if written is None:
        raise elsewhere(plan, f"line {quoted(line)}")
    if kind == "at":
        places = [key_at(line, at) for at, _ in plan.lines[line].railhead_at]
        del written["railhead_at"][places.index(key)]
        if not written["railhead_at"]:
            del written["railhead_at"]
        return
    item = _item(written, plan, line, plan.tracks[name].number)
    for each in ("railhead",) if kind == "track" else ("rise", "grade"):
        item.pop(each, None)
