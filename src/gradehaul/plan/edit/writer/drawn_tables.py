"""The tables of a drawing, in the plan's unit, what a plan has already, and what of it they change."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

from gradehaul.errors import PlanError, QuantityError
from gradehaul.plan.drawing.elements import place
from gradehaul.plan.drawing.naming import KnownLine
from gradehaul.plan.drawing.records import Element, Spot
from gradehaul.plan.drawing.tables import joint_table, line_table
from gradehaul.plan.edit.writer.text import chunks_of, comments, drawn_heights, item
from gradehaul.plan.schema.lines import LineTable
from gradehaul.plan.text.faults import Entry, Faults, Source, checked
from gradehaul.quantities import convert, length_unit, read_quantity

if TYPE_CHECKING:
    from gradehaul.plan.drawing.records import Drawn

_FINE = 1e-7


ANGLE_DECIMALS = 6

_SHAPE = ("straight", "left", "right", "easement", "piece", "hand", "angle", "length", "ease")
_OF_A_LINE = ("from", "to", "at", "heading", "railhead_at")


def tables_of(drawn: Drawn, unit: str) -> dict[tuple[str, str], dict[str, Any]]:
    """Return the tables of lines and joints, by section and name."""

    def figure(value: float, kind: str) -> float | int:
        if kind in {"angle", "turn"}:
            return _rounded(value, ANGLE_DECIMALS, above_0=kind == "turn")
        return _rounded(convert(value, unit), decimals(unit), above_0=kind == "size")

    lines, joints = list(drawn.lines), list(drawn.joints)
    found: dict[tuple[str, str], dict[str, Any]] = {}
    for name, line in drawn.lines.items():
        found["line", name] = line_table(line, joints, figure)
    for name, joint in drawn.joints.items():
        if table := joint_table(joint, lines):
            found[table[0], name] = table[1]
            if joint.length is not None:
                table[1]["length"] = length_in(joint.length, unit)
    return found


@cache
def decimals(unit: str) -> int:
    """Return the decimals with which lengths are written: to a tenth of a micrometer or finer."""
    return max(0, math.ceil(-math.log10(convert(_FINE, unit)) - 1e-9))


def length_in(value: float, unit: str) -> float | int:
    """Return a length in a unit, to the last digit that is written."""
    return _rounded(convert(value, unit), decimals(unit))


def _rounded(value: float, decimals: int, *, above_0: bool = False) -> float | int:
    """Return a number with so many decimals, a whole one without any; one above 0 stays above 0."""
    value = float(value)  # a number of numpy's would write its type
    short = round(value, decimals)
    if above_0 and short < 1000 * 10**-decimals:
        short = float(f"{value:.6g}")
    return int(short) if short == int(short) and abs(short) < 2**53 else short


def same(before: object, table: Mapping[str, Any], unit: str) -> bool:
    """Return whether a table shows what the drawing shows, to the last digit that is written."""
    fine = 1.5 * 10 ** -decimals(unit)
    tracks = _drawn_keys(table)

    def alike(old: Any, new: Any, key: str) -> bool:  # noqa: ANN401 - values of TOML
        if isinstance(old, list) and isinstance(new, list):
            return len(old) == len(new) and all(alike(*pair, key) for pair in zip(old, new, strict=True))
        if isinstance(old, dict) and isinstance(new, dict):  # a track
            return all(alike(old.get(name), new.get(name), name) for name in tracks)
        if isinstance(old, int | float) and isinstance(new, int | float):
            return bool(abs(old - new) <= (1.5 * 10**-ANGLE_DECIMALS if key in {"angle", "heading"} else fine))
        return bool(old == new)

    keys = [key for key in table if "track" not in table or key in {*_OF_A_LINE, "track"}]
    return before == table or (
        isinstance(before, dict) and all(alike(before.get(key) or None, table[key] or None, key) for key in keys)
    )


def _drawn_keys(table: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the keys of a line's tracks that are the drawing's.

    Where it has no heights those that are written along the line are the person's.
    """
    return (*_SHAPE, "railhead") if "railhead_at" in table else _SHAPE


def edited(text: str, key: tuple[str, str], table: Mapping[str, Any]) -> str:
    """Return the text of one table with what the drawing shows in place of what stood there."""
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


# What a plan has already


def unit_of(data: Mapping[str, Any], file: str) -> str:
    """Return the unit of a plan's bare lengths.

    Raises
    ------
    PlanError
        The unit is none.
    """
    if "unit" not in data:
        return "mm" if data.get("practice") == "NEM" else "in"
    try:
        return length_unit(data["unit"])
    except QuantityError as error:
        raise PlanError(error.wrong, file=file, place="unit", found=error.found, write=error.write) from error


def lines_before(text: str, data: Mapping[str, Any], file: str) -> list[KnownLine]:
    """Return the lines of a plan whose places are given, as an earlier import wrote them."""
    source = Source(file, unit_of(data, file), {}, {})
    found = []
    for chunk in chunks_of(text):
        if chunk.key[0] == "line" and isinstance(data.get("line"), dict):
            name = chunk.key[1]
            entry = checked(LineTable, Entry(source, chunk.key, data["line"].get(name)), Faults())
            if entry is not None and entry.table.at is not None:
                found.append(_known(name, entry.table))
    return found


def heights_before(text: str, data: Mapping[str, Any], file: str) -> dict[str, float]:
    """Return the heights of joints in a plan that are the person's own, m, not as an import wrote them.

    What is no height is an error where the plan is read.
    """
    given = data.get("railhead")
    if not isinstance(given, dict):
        return {}
    ours = drawn_heights(chunks_of(text))
    own = ((name, value) for name, value in given.items() if name not in ours or value != ours[name])
    heights = ((name, height_of(value, unit_of(data, file))) for name, value in own)
    return {name: height for name, height in heights if height is not None}


def _known(name: str, table: LineTable) -> KnownLine:
    """Return a line with its ends, calculated along its tracks; an easement counts as straight here."""
    assert table.at is not None
    here = at = Spot(*table.at)
    start = heading = table.heading or 0.0
    length = 0.0
    for along, curvature in _pieces(table):
        here = place(Element(here, here, heading, curvature, math.inf, "", ""), along)
        heading += curvature * along
        length += along
    return KnownLine(name, table.from_, table.to, at, start, here, heading + math.pi, length)


def _pieces(table: LineTable) -> Iterator[tuple[float, float]]:
    """Yield the length, m, and the curvature, 1/m, of each track of a line."""
    for track in table.track:
        along, curvature = track.straight or track.easement or 0.0, 0.0
        if track.radius is not None:
            along = track.length if track.length is not None else track.radius * (track.angle or 0.0)
            curvature = (1 if track.left is not None else -1) / track.radius
        yield along, curvature


def track_lengths(line: Mapping[str, Any], unit: str) -> list[float]:
    """Return the lengths of the tracks of a line's table, m; none where something is wrong with it."""
    entry = checked(LineTable, Entry(Source("", unit, {}, {}), ("line", ""), line), Faults())
    return [] if entry is None else [along for along, _ in _pieces(entry.table)]


def height_of(value: object, unit: str) -> float | None:
    """Return a height of a plan, m, None where it is none."""
    try:
        return read_quantity(value, "length", unit=unit)
    except QuantityError:
        return None
