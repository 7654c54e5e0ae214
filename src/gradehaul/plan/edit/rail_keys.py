"""A copy of a plan with other rail conditions on its tracks, all else as the builder wrote it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from gradehaul.errors import PlanError
from gradehaul.plan.edit.copied import lead_from
from gradehaul.plan.names import quoted
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.plan.reader import read_plan
from gradehaul.plan.records import Plan
from gradehaul.plan.text.toml import read_text


def plan_with_rails(
    plan: Plan, rails: Mapping[str, str], *, carry_over: float | None = None, folder: Path | None = None
) -> str:
    """Return the text of a plan file with rail conditions put on some of its tracks, comments kept.

    Parameters
    ----------
    plan
        The plan, as it was loaded from its file.
    rails
        The condition to put on tracks, by their id; other tracks keep theirs.
    carry_over
        How far wheels carry film, m, where that is to be changed; None where it stays.
    folder
        The folder of the copy, for which the text must read back as the same plan; that of the plan where None. The
        names of files that the plan includes lead to them from there.

    Raises
    ------
    PlanError
        Files that the copy would not find; lines that do not stand in this file but in an included one or in a drawing;
        or text that cannot be changed so.
    """
    import tomlkit

    path = Path(plan.file)
    document: Any = tomlkit.parse(read_text(path, plan.file))
    put_rails(document, plan, rails)
    if carry_over is not None:
        document["carry_over"] = {"length": f"{carry_over} m"}
    lead_from(document, path, folder or path.parent, file=plan.file)
    text = tomlkit.dumps(document)
    again = read_plan(text, file=plan.file, folder=folder or path.parent)
    for key, track in plan.tracks.items():
        if (again.tracks[key].rail or CLEAN) != rails.get(key, track.rail or CLEAN):
            raise PlanError(
                "this track is written so that its rail cannot be changed in place",
                file=plan.file,
                place=track.place,
                write="the track itself in place of the piece that it comes from",
            )
    return text


def put_rails(document: Any, plan: Plan, rails: Mapping[str, str]) -> None:  # noqa: ANN401 - tomlkit's
    """Put rail conditions, by the id of their track, on the tables of a plan file.

    Raises
    ------
    PlanError
        Lines that do not stand in this file.
    """
    lines: Any = document.get("line", {})
    pieces: Any = document.get("piece", {})
    for name, line in plan.lines.items():
        wanted = {track.number: rails[track.id] for track in line.tracks if track.id in rails}
        if not wanted:
            continue
        if name not in lines:
            raise PlanError(
                "its tracks do not stand in this file",
                file=plan.file,
                place=f"line {quoted(name)}",
                write="a plan with its lines in one file; import makes one of a drawing",
            )
        _rewrite(lines[name], wanted, len(line.tracks), pieces)


def _rewrite(table: Any, wanted: Mapping[int, str], count: int, pieces: Any) -> None:  # noqa: ANN401 - tomlkit's
    """Put rail keys on a line: on the whole of it where one condition will do, else track by track."""
    tracks = table["track"]
    if len(wanted) == count and len(set(wanted.values())) == 1:
        for item in tracks:
            item.pop("rail", None)
        table["rail"] = next(iter(wanted.values()))
        return
    first = 1
    item_number = 0
    while item_number < len(tracks):
        item = tracks[item_number]
        size = item_size(item, pieces)
        own = [wanted.get(number) for number in range(first, first + size)]
        if len(set(own)) == 1:
            if own[0] is not None:
                item["rail"] = own[0]
            first += size
            item_number += 1
        else:  # a piece in part: its tracks take its place, and are looked at in turn
            del tracks[item_number]
            for inner in reversed(unfolded(item, pieces)):
                tracks.insert(item_number, inner)


def item_size(item: Mapping[str, Any], pieces: Mapping[str, Any]) -> int:
    """Return how many tracks an item of a list comes to."""
    if "piece" not in item:
        return 1
    return sum(item_size(inner, pieces) for inner in pieces[item["piece"]]["track"])


def unfolded(item: Mapping[str, Any], pieces: Mapping[str, Any]) -> Sequence[Any]:
    """Return the items of a piece as they would stand in its place."""
    import tomlkit

    turned = {"left": "right", "right": "left"}
    mirrored = item.get("hand") == "right"
    found = []
    for inner in pieces[item["piece"]]["track"]:
        copy = tomlkit.inline_table()
        for key, value in inner.items():
            if mirrored and key == "hand":
                copy[key] = turned[value]
            else:
                copy[turned.get(key, key) if mirrored else key] = value
        if mirrored and "piece" in inner and "hand" not in inner:
            copy["hand"] = "right"
        for key in ("rail", "pickup", "berth", "clear"):
            if key in item and key not in copy:
                copy[key] = item[key]
        found.append(copy)
    return found
