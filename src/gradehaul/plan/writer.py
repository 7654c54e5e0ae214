"""Writing a drawing's network as a plan file, new or over one that a person has gone on with."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

from gradehaul.errors import PlanError, QuantityError
from gradehaul.plan.drawing.heights_along import MISFIT
from gradehaul.plan.drawing.recognition import KnownLine
from gradehaul.plan.drawing.records import Spot
from gradehaul.plan.drawing.tables import joint_table, split_heights
from gradehaul.plan.faults import Entry, Faults, Source, checked
from gradehaul.plan.line_schema import LineTable
from gradehaul.plan.names import key_text, quoted
from gradehaul.plan.toml import KeyPath, header_path, parse
from gradehaul.quantities import convert, describe, length_unit, read_quantity

if TYPE_CHECKING:
    from gradehaul.plan.drawing.drawn import Drawn, DrawnLine

MARK = "# drawn"
"""What follows the header of a table that import wrote and may rewrite."""

_DRAWN = ("line", "turnout", "crossing")
_SHAPE = ("straight", "left", "right", "easement", "piece", "hand", "angle", "length", "ease")
_OF_A_LINE = ("from", "to", "at", "heading", "railhead_at")
_FINE = 1e-7
_ANGLE_DECIMALS = 6
_IN_A_ROW = 5

_TOKEN = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}|' + r"'''.*?'{3,5}|" + r'"(?:[^"\\\n]|\\.)*"|' + r"'[^'\n]*'|#[^\n]*|[\[\]{}]|\n",
    re.DOTALL,
)


@dataclass(slots=True)
class Changes:
    """What became of a plan: names of tables, each as ``line "Main"``, and what is said of heights."""

    added: list[str] = field(default_factory=list)
    removed: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    """Tables without the mark, which the drawing tells otherwise."""
    heights: list[str] = field(default_factory=list)


class Written(NamedTuple):
    """A plan file's text, what changed where there was one before, and what TOML makes of it."""

    text: str
    changes: Changes
    data: dict[str, Any]


def new_plan(drawn: Drawn, *, title: str, scale: str, unit: str) -> Written:
    """Return a plan file of a drawing.

    Parameters
    ----------
    drawn
        The network.
    title
        The plan's title.
    scale
        The scale's name.
    unit
        The unit in which its bare lengths read.
    """
    head = (
        "# The track of a drawing, as gradehaul import read it. Run again over this file it rewrites what is marked\n"
        f"# {quoted(MARK)}; all else is yours and stays. Add locomotives, cars, routes and trains.\n\n"
        f"title = {_text(title)}\nscale = {_text(scale)}\nunit = {_text(unit)}\n"
    )
    heights = ""
    if drawn.heights:
        rows = "".join(f"{key_text(name)} = {_length(height, unit)}\n" for name, height in drawn.heights.items())
        heights = f"\n[railhead]  # heights of joints\n{rows}"
    tables = _tables(drawn, unit)
    text = head + heights + "".join(f"\n{_snippet(section, name, table)}" for (section, name), table in tables.items())
    data = _checked(text, tables, "")
    return Written(text, Changes(added=[_told(*key) for key in tables]), data)


def updated_plan(text: str, drawn: Drawn, *, file: str) -> Written:
    """Return a plan file with a drawing's lines, turnouts and crossings in place of those an earlier one left there.

    Only tables whose header bears the mark are rewritten, and of those only what the drawing tells: a line's `berth`,
    `runs` and `rail` stay, and so do the names, berths and heights on its tracks where their number stays the same.
    Comments stay, those of tables that go too. Heights of joints are added where there are none.

    Parameters
    ----------
    text
        The plan as it is.
    drawn
        The network, read in the plan's unit.
    file
        The plan's name in messages.

    Raises
    ------
    PlanError
        The text is no TOML, has a drawing of its own, or is written so that it cannot be changed in place.
    """
    data = parse(text, file)
    if not all(isinstance(data.get(section, {}), dict) for section in (*_DRAWN, "railhead")):
        raise _cannot(file)
    if "drawing" in data:
        raise PlanError(
            "this plan reads a drawing by itself, and import would give it the same track twice",
            file=file,
            place="[drawing]",
            write="another name after -o",
        )
    unit = unit_of(data, file)
    chunks = _chunks(text)
    changes = Changes()
    tables = _tables(drawn, unit)
    written: dict[tuple[str, str], dict[str, Any]] = {}
    by_key = {chunk.key: chunk for chunk in chunks}
    for key, table in tables.items():
        chunk = by_key.get(key)
        before = data.get(key[0], {}).get(key[1])
        if before is None:
            _insert(chunks, _Chunk(key, f"\n{_snippet(*key, table)}"))
            changes.added.append(_told(*key))
        elif chunk is None or not chunk.marked:
            if not _same(before, table, unit):
                changes.kept.append(_told(*key))
            continue
        elif not _same(before, table, unit):
            chunk.text = _edited(chunk.text, key, table)
            changes.changed.append(_told(*key))
        written[key] = table
    for chunk in chunks:
        if chunk.marked and chunk.key not in tables:
            changes.removed.append(_told(*chunk.key))
            kept = [comment for comment in _comments(chunk.text) if comment.strip() != MARK]
            chunk.text = "".join(f"{comment}\n" for comment in kept)
            chunk.key = ("", "")
    lines = [*data.get("line", {}).values(), *written.values()]
    there = {line.get(end) for line in lines if isinstance(line, dict) for end in ("from", "to")}
    heights = {name: height for name, height in drawn.heights.items() if name in there}
    _add_heights(chunks, data.get("railhead"), heights, unit, changes, file)
    result = "".join(chunk.text for chunk in chunks)
    after = _checked(result, written, file, unit=unit)
    _check_kept(result, after, text, data, file)
    return Written(result, changes, after)


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


def _told(section: str, name: str) -> str:
    return f"{section} {quoted(name)}"


def lines_before(text: str, data: Mapping[str, Any], file: str) -> list[KnownLine]:
    """Return the lines of a plan whose places are told, as an earlier import wrote them.

    Parameters
    ----------
    text, data
        The plan, as text and as its tables.
    file
        Its name.
    """
    source = Source(file, unit_of(data, file), {}, {})
    found = []
    for chunk in _chunks(text):
        if chunk.key[0] == "line" and isinstance(data.get("line"), dict):
            name = chunk.key[1]
            entry = checked(LineTable, Entry(source, chunk.key, data["line"].get(name)), Faults())
            if entry is not None and entry.table.at is not None:
                found.append(_known(name, entry.table))
    return found


def heights_before(data: Mapping[str, Any], file: str) -> dict[str, float]:
    """Return the heights of joints in a plan, m; what is no height is told where the plan is read."""
    given = data.get("railhead")
    if not isinstance(given, dict):
        return {}
    unit = unit_of(data, file)
    heights = {name: _height(value, unit) for name, value in given.items()}
    return {name: height for name, height in heights.items() if height is not None}


def _known(name: str, table: LineTable) -> KnownLine:
    """Return a line with its ends, reckoned along its tracks; an easement counts as straight here."""
    assert table.at is not None
    x, y = table.at
    start = heading = table.heading or 0.0
    length = 0.0
    for track in table.track:
        along, turn = track.straight or track.easement or 0.0, 0.0
        if track.left is not None or track.right is not None:
            along = track.length if track.length is not None else track.radius * (track.angle or 0.0)
            turn = along / track.radius * (1 if track.left is not None else -1)
        chord = along * (math.sin(turn / 2) / (turn / 2) if turn else 1.0)
        x += chord * math.cos(heading + turn / 2)
        y += chord * math.sin(heading + turn / 2)
        heading += turn
        length += along
    at = Spot(table.at[0], table.at[1])
    return KnownLine(name, table.from_, table.to, at, start, Spot(x, y), heading + math.pi, length)


# What a drawing tells, as tables in the plan's unit


def _tables(drawn: Drawn, unit: str) -> dict[tuple[str, str], dict[str, Any]]:
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
            tracks.append({"straight": _length(element.length, unit, above_0=True)})
            continue
        hand = "left" if element.curvature > 0 else "right"
        turn = abs(element.curvature) * element.length
        radius = _length(1 / abs(element.curvature), unit, above_0=True)
        tracks.append({hand: radius, "angle": _rounded(math.degrees(turn), _ANGLE_DECIMALS, above_0=True)})
    table: dict[str, Any] = {
        "from": line.start,
        "to": line.finish,
        "at": [_length(first.start.x, unit), _length(first.start.y, unit)],
        "heading": _rounded(math.degrees(first.heading), _ANGLE_DECIMALS),
    }
    ends, between = split_heights(line)
    for number, height in ends.items():
        tracks[number]["railhead"] = _length(height, unit)
    if any(element.start.z is not None for element in line.elements):  # also where an even climb needs none between
        table["railhead_at"] = [[_length(where, unit), _length(height, unit)] for where, height in between]
    table["track"] = tracks
    return table


@cache
def _decimals(unit: str) -> int:
    """Return the decimals with which lengths are written: to a tenth of a micrometer or finer."""
    return max(0, math.ceil(-math.log10(convert(_FINE, unit)) - 1e-9))


def _length(value: float, unit: str, *, above_0: bool = False) -> float | int:
    return _rounded(convert(value, unit), _decimals(unit), above_0=above_0)


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


# Tables as text


def _text(value: str) -> str:
    """Return a string as TOML writes it; JSON's escapes are TOML's too, but for one character that JSON leaves bare."""
    if value.isascii() and value.isprintable() and '"' not in value and "\\" not in value:
        return f'"{value}"'
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:  # noqa: ANN401 - a value of TOML
    if isinstance(value, float | int):
        return repr(value)
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list):
        return f"[{', '.join([_value(each) for each in value])}]"
    return "{ " + ", ".join([f"{key} = {_value(each)}" for key, each in value.items()]) + " }"


def _item(key: str, value: Any) -> str:  # noqa: ANN401 - a value of TOML
    """Return a key and its value: tracks one to a row, long lists of heights a few to a row."""
    if key == "track":
        return "track = [\n" + "".join([f"  {_value(track)},\n" for track in value]) + "]"
    if key == "railhead_at" and len(value) > _IN_A_ROW:
        rows = [value[first : first + _IN_A_ROW] for first in range(0, len(value), _IN_A_ROW)]
        inner = "".join("  " + ", ".join(_value(pair) for pair in row) + ",\n" for row in rows)
        return f"railhead_at = [\n{inner}]"
    return f"{key} = {_value(value)}"


def _snippet(section: str, name: str, table: Mapping[str, Any]) -> str:
    rows = "".join(f"{_item(key, value)}\n" for key, value in table.items() if value != [])
    return f"[{section}.{_key(name)}]  {MARK}\n{rows}"


def _key(name: str) -> str:
    bare = key_text(name)
    return bare if bare == name else _text(name)


# The old text in pieces


@dataclass(slots=True)
class _Chunk:
    """A table as it stands in the text, from its header up to the next one's; the head of the file has no key."""

    key: tuple[str, ...]
    text: str

    @property
    def marked(self) -> bool:
        """Whether import wrote it and it was left to import."""
        return self.key[0] in _DRAWN and self.text.lstrip("\n").partition("\n")[0].rstrip().endswith(MARK)


def _chunks(text: str) -> list[_Chunk]:
    """Return the text in pieces, one for each table; tables within a table stay with it."""
    found = [_Chunk(("",), "")]
    start = 0
    for at, path in _headers(text):
        found[-1].text += text[start:at]
        start = at
        key = tuple(str(step) for step in path[:2])
        if not (len(path) > 2 and found[-1].key == key):
            found.append(_Chunk(key, ""))
    found[-1].text += text[start:]
    return found


def _headers(text: str) -> Iterator[tuple[int, KeyPath]]:
    """Yield where each header begins, and the keys that lead to its table."""
    depth, line = 0, 0
    for token in _TOKEN.finditer(text):
        sign = token[0]
        if sign == "\n":
            line = token.end()
        elif sign == "[" and depth == 0 and not text[line : token.start()].strip():
            end = text.find("\n", line)
            path = header_path(text[line : end if end >= 0 else len(text)])
            if path:
                yield line, path
            depth += 1
        elif sign in "[{":
            depth += 1
        elif sign in "]}":
            depth -= 1


def _comments(text: str) -> list[str]:
    return [token[0].rstrip() for token in _TOKEN.finditer(text) if token[0].startswith("#")]


def _insert(chunks: list[_Chunk], chunk: _Chunk) -> None:
    """Put a new table behind the last of its section, else behind the last line, else at the end."""
    for section in (chunk.key[0], "line"):
        places = [number for number, other in enumerate(chunks) if other.key[0] == section]
        if places:
            before = chunks[places[-1]]
            if not before.text.endswith("\n"):
                before.text += "\n"
            # blank lines and comments at its end belong to what comes next
            body, tail = _without_tail(before.text)
            before.text = body
            chunk.text += tail
            chunks.insert(places[-1] + 1, chunk)
            return
    if not chunks[-1].text.endswith("\n"):
        chunks[-1].text += "\n"
    chunks.append(chunk)


def _without_tail(text: str) -> tuple[str, str]:
    """Return a table's text and, apart from it, the blank lines and comments at its end behind a blank line."""
    rows = text.splitlines(keepends=True)
    last = len(rows)
    while last > 0 and (not rows[last - 1].strip() or rows[last - 1].lstrip().startswith("#")):
        last -= 1
    while last < len(rows) and rows[last].strip():
        last += 1
    return "".join(rows[:last]), "".join(rows[last:])


# Changing a table in place


def _same(before: object, table: Mapping[str, Any], unit: str) -> bool:
    """Return whether a table tells what the drawing tells, to the last digit that is written."""
    if before == table:
        return True
    if not isinstance(before, dict):
        return False
    fine = 1.5 * 10 ** -_decimals(unit)
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
    shapes = [{name: old[name] for name in _drawn_keys(table) if name in old} for old in before]
    return all(
        old.keys() == new.keys() and all(_alike(old[name], new[name], name, fine) for name in new)
        for old, new in zip(shapes, after, strict=True)
    )


def _alike(before: Any, after: Any, key: str, fine: float) -> bool:  # noqa: ANN401 - values of TOML
    if isinstance(before, list) and isinstance(after, list):
        return len(before) == len(after) and all(
            _alike(old, new, key, fine) for old, new in zip(before, after, strict=True)
        )
    if isinstance(before, int | float) and isinstance(after, int | float):
        return abs(before - after) <= (1.5 * 10**-_ANGLE_DECIMALS if key in {"angle", "heading"} else fine)
    return bool(before == after)


def _edited(text: str, key: tuple[str, str], table: Mapping[str, Any]) -> str:
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
        kept = "".join(f"  {comment}\n" for comment in _comments(old))
        item = _item(name, value).partition(" = ")[2]
        if kept:
            inner = item[1:-1] if item.startswith("[\n") else f"\n  {item[1:-1]},\n"
            item = f"[\n{kept}{inner.removeprefix(chr(10))}]"
        own[name] = tomlkit.value(item)
    return tomlkit.dumps(document)


def _remove(table: Any, name: str) -> None:  # noqa: ANN401 - a table of tomlkit
    """Take a key out of a table and leave its comments there."""
    import tomlkit

    gone = table[name]
    del table[name]
    for comment in _comments(f"{gone.as_string()} {gone.trivia.comment}"):
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
        for name, value in after.items():
            if before.get(name) != value:
                before[name] = value
    return True


def _add_heights(
    chunks: list[_Chunk], given: object, drawn: Mapping[str, float], unit: str, changes: Changes, file: str
) -> None:
    """Add heights of joints that have none, and tell of those that the drawing has otherwise."""
    before = given if isinstance(given, dict) else {}
    missing: dict[str, float | int] = {}
    for name, height in drawn.items():
        there = describe(height, "length", unit)
        if name not in before:
            missing[name] = _length(height, unit)
            changes.heights.append(f"{quoted(name)} is new, {there}")
        elif (own := _height(before[name], unit)) is not None and abs(own - height) > MISFIT:
            changes.heights.append(f"{quoted(name)} stays at {describe(own, 'length', unit)}; the drawing has {there}")
    if missing and given is None:
        rows = "".join(f"{_key(name)} = {height!r}\n" for name, height in missing.items())
        first = next((n for n, chunk in enumerate(chunks) if chunk.key[0] in _DRAWN), len(chunks))
        if first and not chunks[first - 1].text.endswith("\n"):
            chunks[first - 1].text += "\n"
        chunks.insert(first, _Chunk(("railhead",), f"\n[railhead]\n{rows}"))
    elif missing and not any(_with_heights(chunk, missing) for chunk in chunks):
        raise _cannot(file)


def _height(value: object, unit: str) -> float | None:
    try:
        return read_quantity(value, "length", unit=unit)
    except QuantityError:
        return None


def _with_heights(chunk: _Chunk, missing: Mapping[str, float | int]) -> bool:
    """Add heights to a piece of the text that has some; return whether it has."""
    import tomlkit

    if chunk.key not in {("railhead",), ("",)}:
        return False
    body, tail = _without_tail(chunk.text)
    document = tomlkit.parse(body)
    table: Any = document.get("railhead")
    if table is None:
        return False
    for name, height in missing.items():
        table[name] = height
    chunk.text = tomlkit.dumps(document) + tail
    return True


def _cannot(file: str) -> PlanError:
    return PlanError(
        "this plan is written so that it cannot be changed in place",
        file=file,
        write="each line, turnout and crossing as a table of its own, such as [line.Main]",
    )


def _checked(
    text: str, tables: Mapping[tuple[str, str], Mapping[str, Any]], file: str, *, unit: str = "mm"
) -> dict[str, Any]:
    """Return what TOML makes of the text, and make sure that it is what was meant."""
    data = parse(text, file)
    if not all(_same(data.get(section, {}).get(name), table, unit) for (section, name), table in tables.items()):
        raise _cannot(file)
    return data


def _check_kept(text: str, data: Mapping[str, Any], before: str, old: Mapping[str, Any], file: str) -> None:
    """Make sure that a plan has lost no comment, no table that is not drawn and no height."""
    lost = Counter(_comments(before))
    lost.subtract(_comments(text))
    heights = data.get("railhead", {})
    if (
        any(count > 0 and comment.strip() != MARK for comment, count in lost.items())
        or any(heights.get(name) != height for name, height in old.get("railhead", {}).items())
        or any(data.get(own) != value for own, value in old.items() if own not in (*_DRAWN, "railhead"))
    ):
        raise _cannot(file)
