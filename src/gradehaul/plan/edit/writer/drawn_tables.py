"""The tables of a drawing, in the plan's unit, and what of a plan they change."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

from gradehaul.plan.drawing.tables import add_berths, joint_table, split_heights
from gradehaul.plan.edit.writer.text import comments, item
from gradehaul.quantities import convert

if TYPE_CHECKING:
    from gradehaul.plan.drawing.records import Drawn, DrawnLine

_FINE = 1e-7


ANGLE_DECIMALS = 6

_SHAPE = ("straight", "left", "right", "easement", "piece", "hand", "angle", "length", "ease")


_OF_A_LINE = ("from", "to", "at", "heading", "railhead_at")


def tables_of(drawn: Drawn, unit: str) -> dict[tuple[str, str], dict[str, Any]]:
    """Return the tables of lines and joints, by section and name."""
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for name, line in drawn.lines.items():
        found["line", name] = _line(line, unit)
    for name, joint in drawn.joints.items():
        if table := joint_table(joint):
            found[table[0], name] = table[1]
            if joint.length is not None:
                table[1]["length"] = length_in(joint.length, unit)
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
    add_berths(table, line)
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


def same(before: object, table: Mapping[str, Any], unit: str) -> bool:
    """Return whether a table tells what the drawing tells, to the last digit that is written."""
    if before == table:
        return True
    if not isinstance(before, dict):
        return False
    fine = 1.5 * 10 ** -decimals(unit)
    if "track" not in table:
        return all(_alike(before.get(key), value, key, fine) for key, value in table.items())
    if not _same_tracks(before.get("track"), table, fine):
        return False
    keys = [key for key in _OF_A_LINE if key != "railhead_at" or _has_heights(table)]
    return all(_alike(before.get(key) or None, table.get(key) or None, key, fine) for key in keys)


def _has_heights(table: Mapping[str, Any]) -> bool:
    """Return whether a drawn line has heights of its own; else those that are written along it are the person's."""
    return "railhead_at" in table


def _drawn_keys(table: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the keys of a line's tracks that the drawing tells."""
    return (*_SHAPE, "railhead") if _has_heights(table) else _SHAPE


def _same_tracks(before: object, table: Mapping[str, Any], fine: float) -> bool:
    after = table["track"]
    if not isinstance(before, list) or len(before) != len(after) or not all(isinstance(old, dict) for old in before):
        return False
    keys = _drawn_keys(table)
    return all(
        _alike(old.get(name), new.get(name), name, fine)
        for old, new in zip(before, after, strict=True)
        for name in keys
    )


def _alike(before: Any, after: Any, key: str, fine: float) -> bool:  # noqa: ANN401 - values of TOML
    if isinstance(before, list) and isinstance(after, list):
        return len(before) == len(after) and all(
            _alike(old, new, key, fine) for old, new in zip(before, after, strict=True)
        )
    if isinstance(before, int | float) and isinstance(after, int | float):
        return abs(before - after) <= (1.5 * 10**-ANGLE_DECIMALS if key in {"angle", "heading"} else fine)
    return bool(before == after)


def edited(text: str, key: tuple[str, str], table: Mapping[str, Any]) -> str:
    """Return the text of one table with what the drawing tells in place of what stood there."""
    import tomlkit

    document = tomlkit.parse(text)
    section: Any = document[key[0]]
    own: Any = section[key[1]]
    for name, value in table.items():
        if name == "track" and _edit_tracks(own.get("track"), value, _drawn_keys(table)):
            continue
        if (own[name] == value) if name in own else value == []:
            continue
        if value == []:
            _remove(own, name)
            continue
        old = own[name].as_string() if name in own else ""
        kept = "".join(f"  {comment}\n" for comment in comments(old))
        inside = item(name, value).partition(" = ")[2]
        if kept:
            inner = inside[1:-1] if inside.startswith("[\n") else f"\n  {inside[1:-1]},\n"
            inside = f"[\n{kept}{inner.removeprefix(chr(10))}]"
        own[name] = tomlkit.value(inside)
    return tomlkit.dumps(document)


def _remove(table: Any, name: str) -> None:  # noqa: ANN401 - a table of tomlkit
    """Take a key out of a table and leave its comments there."""
    import tomlkit

    gone = table[name]
    del table[name]
    for comment in comments(f"{gone.as_string()} {gone.trivia.comment}"):
        table.add(tomlkit.comment(comment.lstrip("# ")))


def _edit_tracks(old: Any, new: Sequence[Mapping[str, Any]], keys: Sequence[str]) -> bool:  # noqa: ANN401 - tomlkit's
    """Change the tracks of a list in place where their number and kinds stay, so that what else they bear does too."""
    if not isinstance(old, list) or len(old) != len(new):
        return False
    for before, after in zip(old, new, strict=True):
        if not isinstance(before, dict) or next(iter(after)) not in before:
            return False
    for before, after in zip(old, new, strict=True):
        for name in keys:
            if name in before and name not in after:
                del before[name]
        for name in keys:  # a berth is the person's from the first import on
            if name in after and before.get(name) != after[name]:
                before[name] = after[name]
    return True
