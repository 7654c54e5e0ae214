"""Copies of a plan file with other rail conditions or numbers for `"fit"`: comments kept, what they name found."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from gradehaul.errors import PlanError, quoted
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.plan.reader import read_plan
from gradehaul.plan.records import Line, Plan, Track, Unknown
from gradehaul.plan.schema.values import FIT
from gradehaul.plan.text.files import is_beside
from gradehaul.plan.text.toml import read_text
from gradehaul.quantities import convert

_FINE = 7
"""Decimals of a length in m that are written: a tenth of a micron."""
_AGREES = 1e-6
"""By how much a length, m, may differ in the copy."""


def plan_with_rails(
    plan: Plan, rails: Mapping[str, str], *, carry_over: float | None = None, folder: Path | None = None
) -> str:
    """Return the text of a plan file with rail conditions put on tracks, by their id, comments kept.

    `carry_over` is how far wheels carry film, m, where that changes too. The text reads back as the same plan in
    `folder`, that of the plan where None; the names of files lead to them from there.

    Raises
    ------
    PlanError
        Files that the copy would not find; lines that do not stand in this file but in an included one or in a drawing;
        or text that cannot be changed so.
    """
    document = document_of(plan)
    put_rails(document, plan, rails)
    if carry_over is not None:
        document["carry_over"] = {"length": f"{carry_over} m"}
    text, again = copy_of(document, plan, folder)
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
    for line in plan.lines.values():
        wanted = {track.number: rails[track.id] for track in line.tracks if track.id in rails}
        if not wanted:
            continue
        table = _table_of(document, line, plan)
        if len(wanted) == len(line.tracks) and len(set(wanted.values())) == 1:  # on the whole line
            for item in table["track"]:
                item.pop("rail", None)
            table["rail"] = next(iter(wanted.values()))
            continue

        def differs(numbers: range, wanted: Mapping[int, str] = wanted) -> bool:
            return len({wanted.get(number) for number in numbers}) > 1

        for item, numbers in items_of(table["track"], document.get("piece", {}), differs):
            if numbers[0] in wanted:
                item["rail"] = wanted[numbers[0]]


def plan_with_numbers(plan: Plan, *, folder: Path | None = None) -> str:
    """Return the text of a plan file with a number for each figure that was found, comments kept.

    Where a figure stands in a piece, the tracks of the piece take its place in the line.

    Raises
    ------
    PlanError
        No figure was left to be found; files that the copy would not find; or lines that do not stand in this file.
    """
    document = document_of(plan)
    lines = [line for line in plan.lines.values() if any(track.fit for track in line.tracks)]
    if not lines:
        raise PlanError('no figure of this plan is "fit"', file=plan.file, write='straight = "fit" in a line')
    bare = "unit" in document
    for line in lines:
        tracks = dict(enumerate(line.tracks, 1))

        def is_open(numbers: range, tracks: Mapping[int, Track] = tracks) -> bool:
            return any(tracks[number].fit for number in numbers)

        items = _table_of(document, line, plan)["track"]
        for item, numbers in items_of(items, document.get("piece", {}), is_open):
            for unknown in tracks[numbers[0]].fit if "piece" not in item else ():
                keys, value = _written(tracks[numbers[0]], unknown, plan.unit, bare=bare)
                item[next(key for key in keys if item.get(key) == FIT)] = value
    text, again = copy_of(document, plan, folder)
    for key, track in plan.tracks.items():
        if not abs(again.tracks[key].length - track.length) < _AGREES:
            raise PlanError("this track cannot be changed in place", file=plan.file, place=track.place)
    return text


def _written(track: Track, unknown: Unknown, unit: str, *, bare: bool) -> tuple[tuple[str, ...], float | str]:
    """Return the keys under which a figure can stand, and its value as it is written."""
    if unknown == "angle":
        return ("angle",), round(math.degrees(abs(track.curvature) * (track.length - track.ease)), _FINE)
    value = 1 / abs(track.curvature) if unknown == "radius" else track.length
    number = round(convert(value, unit), max(0, _FINE - math.floor(math.log10(convert(1.0, unit)))))
    keys = ("left", "right") if unknown == "radius" else ("straight", "length")
    return keys, number if bare else f"{number} {unit}"


def _table_of(document: Any, line: Line, plan: Plan) -> Any:  # noqa: ANN401 - tomlkit's
    """Return the table in which a line is written."""
    lines = document.get("line", {})
    if line.name not in lines:
        raise elsewhere(plan, f"line {quoted(line.name)}")
    return lines[line.name]


def elsewhere(plan: Plan, place: str) -> PlanError:
    """Return the error of what is written in another file than the plan's."""
    write = "a plan with its track in one file; import makes one of a drawing"
    return PlanError(
        "this is not in this file but in one that it includes or reads", file=plan.file, place=place, write=write
    )


def items_of(items: Any, pieces: Any, apart: Callable[[range], bool]) -> Iterator[tuple[Any, range]]:  # noqa: ANN401 - tomlkit's
    """Yield each item of a list of tracks with the numbers of its tracks, from 1.

    The tracks of a piece take its place, and are looked at in turn, where they must stay `apart`.
    """
    first = at = 0
    while at < len(items):
        numbers = range(first + 1, first + 1 + _size(items[at], pieces))
        if "piece" in items[at] and apart(numbers):
            inner = _unfolded(items[at], pieces)
            del items[at]
            for each in reversed(inner):
                items.insert(at, each)
        else:
            yield items[at], numbers
            first += len(numbers)
            at += 1


def _size(item: Mapping[str, Any], pieces: Mapping[str, Any]) -> int:
    """Return how many tracks an item of a list comes to."""
    return 1 if "piece" not in item else sum(_size(inner, pieces) for inner in pieces[item["piece"]]["track"])


def _unfolded(item: Mapping[str, Any], pieces: Mapping[str, Any]) -> Sequence[Any]:
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


# The files that a plan names


def document_of(plan: Plan) -> Any:  # noqa: ANN401 - tomlkit's
    """Return the tables of a plan's file, as they are written."""
    import tomlkit

    return tomlkit.parse(read_text(Path(plan.file), plan.file))


def copy_of(document: Any, plan: Plan, folder: Path | None) -> tuple[str, Plan]:  # noqa: ANN401 - tomlkit's
    """Return the text of a plan file whose tables were changed, for a folder, and what it reads as there.

    Raises
    ------
    PlanError
        Files that a copy in another folder than the plan's would not find.
    Problems
        The changed text is no plan.
    """
    import tomlkit

    path = Path(plan.file)
    lead_from(document, path, folder or path.parent, file=plan.file)
    text = tomlkit.dumps(document)
    return text, read_plan(text, file=plan.file, folder=folder or path.parent)


def lead_from(document: Any, plan: Path, folder: Path, *, file: str) -> None:  # noqa: ANN401 - tomlkit's
    """Change the names of files in a plan's tables so that they lead to the same files from another folder.

    The tables are changed in place; `folder` is that of the copy, and `file` the name of the plan file in messages.

    Raises
    ------
    PlanError
        Files that do not stand in the folder of the copy or below it, where a plan may name no others.
    """
    here, there = plan.parent.resolve(), folder.resolve()
    if here == there:
        return
    lost: list[str] = []

    def led(name: str) -> str:
        if _same(here / name, there / name):
            return name
        way = Path(os.path.relpath(here / name, there)).as_posix()
        if not is_beside(way):
            lost.append(name)
        return way

    for holder, key in ((document, "include"), (document.get("bench", {}), "csv")):
        names = holder.get(key, ())
        for number, name in enumerate(list(names)):
            names[number] = led(str(name))
    drawing = document.get("drawing", {})
    if "file" in drawing:
        drawing["file"] = led(str(drawing["file"]))
    if lost:
        raise PlanError(
            "a copy in another folder would not find the files that the plan names: they must be beside it or below it",
            file=file,
            found=", ".join(map(quoted, lost)),
            write=f"-o with a name in the folder of the plan, {plan.parent}, or copy these files to {folder} first",
        )


def _same(one: Path, other: Path) -> bool:
    """Return whether two files are there and hold the same."""
    try:
        return other.is_file() and one.read_bytes() == other.read_bytes()
    except OSError:
        return False
