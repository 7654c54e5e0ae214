"""Heights along drawn lines: each is marked with the figure that import wrote, and one that a person changed stays."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import accumulate
from typing import TYPE_CHECKING, Any, NamedTuple

from gradehaul.errors import quoted
from gradehaul.plan.drawing.heights import is_flat
from gradehaul.plan.drawing.heights.texts import AT_END, MISFIT
from gradehaul.plan.edit.writer.drawn_tables import height_of, length_in, track_lengths
from gradehaul.plan.edit.writer.text import MARK, TOKEN
from gradehaul.plan.text.toml import written
from gradehaul.quantities import convert, describe

if TYPE_CHECKING:
    from gradehaul.plan.drawing.records import DrawnLine

Slot = tuple[str, int]
"""Where a height stands in the table of a line: in ``track`` or ``railhead_at``, and which item of it."""

_FIGURE = r"(?:-(?![\d.])|-?[\d.][\d.e+-]*)"
MARKS = re.compile(rf"\s*{MARK} ({_FIGURE}(?:, {_FIGURE})*)\s*$")
"""The figures that import wrote in a row of a list, in their order; a dash for what is not the drawing's."""
_FINE = 2e-7
"""Heights that differ by less, m, are one figure."""
_REDRAWN = 1e-4
"""A drawn height that moves by less, m, is as it was: a track drawn anew beside it can do that."""


class Row(NamedTuple):
    """A row of a table's text: where it lies, where its comment begins, or its end, and the items that begin in it."""

    start: int
    comment: int
    stop: int
    items: list[Slot]


def _rows(text: str) -> Iterator[Row]:
    """Yield the rows of a table's text."""
    depth, start, name, comment = 0, 0, "", -1
    counts = {"track": 0, "railhead_at": 0}
    items: list[Slot] = []
    for token in TOKEN.finditer(text):
        sign, at = token[0], token.start()
        if sign == "\n":
            yield Row(start, comment if comment >= 0 else at, at, items)
            start, comment, items = token.end(), -1, []
        elif sign.startswith("#"):
            comment = at
        elif sign in "[{":
            if depth == 0:
                name = text[start:at].partition("=")[0].strip()
            elif depth == 1 and name in counts:
                items.append((name, counts[name]))
                counts[name] += 1
            depth += 1
        elif sign in "]}":
            depth -= 1
    yield Row(start, comment if comment >= 0 else len(text), len(text), items)


def marks_in(text: str) -> dict[Slot, float | None]:
    """Return the figures that import wrote in a table, by where they stand; None for what is not the drawing's."""
    found: dict[Slot, float | None] = {}
    for row in _rows(text):
        if mark := MARKS.search(text[row.comment : row.stop]):
            figures = mark[1].split(", ")
            if len(figures) == len(row.items):
                found |= {slot: _figure(each) for slot, each in zip(row.items, figures, strict=True)}
    return found


def _figure(text: str) -> float | None:
    value = None if text == "-" else float(text)
    return int(value) if value is not None and value.is_integer() else value


def with_marks(text: str, marks: Mapping[Slot, float | None]) -> str:
    """Return the text of a table with these figures as marks, in place of those that it has."""
    if not marks and f"{MARK} " not in text:
        return text
    parts = []
    for row in _rows(text):
        body, comment = text[row.start : row.comment], text[row.comment : row.stop]
        end = "\r" if text[: row.stop].endswith("\r") else ""
        kept = MARKS.sub("", comment.removesuffix(end))
        figures = [marks.get(slot) for slot in row.items]
        if any(figure is not None for figure in figures):
            mark = f"{MARK} {', '.join('-' if figure is None else written(figure) for figure in figures)}"
            body = f"{body.rstrip()}  {kept}  {mark}{end}" if kept else f"{body.rstrip()}  {mark}{end}"
        elif kept != comment.removesuffix(end):
            body = f"{body if kept else body.rstrip()}{kept}{end}"
        else:
            body += comment
        parts.append(body)
    return "\n".join(parts)


class _Height(NamedTuple):
    """A height along a line: where it is, m, where it stands, its value as written, and how high it is, m."""

    where: float
    slot: Slot
    value: Any
    height: float


class Merged(NamedTuple):
    """The marks of a line's heights, and what is said of those that stay though drawn otherwise, and that go."""

    marks: dict[Slot, float | None]
    redrawn: list[str]
    contrary: list[str]
    gone: list[str]


def drawn_marks(table: Mapping[str, Any]) -> dict[Slot, float | None]:
    """Return the marks of the heights in a table as the drawing has it."""
    marks: dict[Slot, float | None] = {
        ("railhead_at", n): pair[1] for n, pair in enumerate(table.get("railhead_at", ()))
    }
    return marks | {("track", n): each["railhead"] for n, each in enumerate(table["track"]) if "railhead" in each}


def merge_heights(own: Any, text: str, table: dict[str, Any], line: DrawnLine, unit: str) -> Merged:  # noqa: ANN401 - a table of TOML
    """Put the person's heights along a line into its drawn table: those that were changed, and those of no drawing.

    `own` is the line's table in the plan, of that `text`. What import wrote and nobody changed follows the drawing,
    also where it shows none any more. Of track in space whose heights bear no mark all are the drawing's.
    """
    marks, found = drawn_marks(table), Merged({}, [], [], [])
    found.marks.update(marks)
    if not isinstance(own, dict):
        return found
    known = marks_in(text)
    per_unit = convert(1.0, unit)
    drawn = _heights(table, [element.length for element in line.elements], unit)
    mine = _heights(own, _lengths(own, table, line, unit), unit)
    partner = _partners(mine, drawn)
    flat = is_flat(line)
    for number, height in enumerate(mine):
        there, mark = partner.get(number), known.get(height.slot)
        was = None if mark is None else mark / per_unit
        unchanged = was is not None and abs(height.height - was) <= _FINE
        place = f"line {quoted(line.name)} at {describe(height.where, 'length', unit)}"
        if unchanged and there is None and flat:
            found.gone.append(f"{place}: {describe(height.height, 'length', unit)} is no longer drawn")
        if unchanged:
            continue
        if not (flat or known):
            found.contrary.extend(_overwritten(place, height, there, unit))
        elif there is None:
            _keep(table, own, height, unit)
        else:
            _put(table, there.slot, height.value)
            differs = abs(there.height - height.height)
            moved = differs > _FINE and is_redrawn(was, there.height)
            if not moved and (differs > _FINE or mark is not None):
                found.marks[there.slot] = mark
            if differs > MISFIT:
                said = stays_text(place, height.height, there.height, unit, was=was, where="the line")
                (found.redrawn if moved else found.contrary).append(said)
    return found


def _overwritten(place: str, own: _Height, there: _Height | None, unit: str) -> list[str]:
    """Return what is said of a height of the person's in whose place the drawing's is put."""
    if there is None or abs(there.height - own.height) <= MISFIT:
        return []
    was, drawn_at = (describe(each, "length", unit) for each in (own.height, there.height))
    return [f"{place} was at {was} and is now at {drawn_at}, as the drawing has it"]


def is_redrawn(was: float | None, now: float) -> bool:
    """Return whether the drawing has another height, m, than at the import before; None where it had none."""
    return was is not None and abs(now - was) > _REDRAWN


def stays_text(place: str, own: float, now: float, unit: str, *, was: float | None, where: str) -> str:
    """Return what is said of a height of the person's that the drawing has otherwise, m; `where` it is written."""
    mine, there = (describe(each, "length", unit) for each in (own, now))
    stays = f"{place} stays at {mine}, and the drawing has {there}"
    if was is not None and is_redrawn(was, now):
        stays = f"{place}: the drawing went from {describe(was, 'length', unit)} to {there}, and yours stays at {mine}"
    return f"{stays}: take it out of {where} to follow the drawing"


def _heights(table: Mapping[str, Any], lengths: Sequence[float], unit: str) -> list[_Height]:
    """Return the heights in a line's table, whose tracks have these lengths, m."""
    pairs, tracks = table.get("railhead_at"), table.get("track")
    found = []
    for number, pair in enumerate(pairs if isinstance(pairs, list) else ()):
        if isinstance(pair, list) and len(pair) == 2:
            found.append((height_of(pair[0], unit), ("railhead_at", number), pair[1]))
    listed = tracks if isinstance(tracks, list) else ()
    for number, (stop, track) in enumerate(zip(accumulate(lengths), listed, strict=False)):
        if isinstance(track, dict) and "railhead" in track:
            found.append((stop, ("track", number), track["railhead"]))
    rows = ((where, slot, value, height_of(value, unit)) for where, slot, value in found)
    return [_Height(where, slot, value, h) for where, slot, value, h in rows if where is not None and h is not None]


def _lengths(own: Mapping[str, Any], table: Mapping[str, Any], line: DrawnLine, unit: str) -> list[float]:
    """Return the lengths of a person's tracks, m: those of the drawn ones where there are as many."""
    tracks = own.get("track")
    if isinstance(tracks, list) and len(tracks) == len(table["track"]):
        return [element.length for element in line.elements]
    return track_lengths(own, unit)


def _partners(mine: Sequence[_Height], drawn: Sequence[_Height]) -> dict[int, _Height]:
    """Return which drawn height each of the person's is, by number: within `AT_END`, the nearest first."""
    pairs = sorted(
        (abs(one.where - other.where), number, there)
        for number, one in enumerate(mine)
        for there, other in enumerate(drawn)
        if abs(one.where - other.where) <= AT_END
    )
    found: dict[int, _Height] = {}
    taken: set[int] = set()
    for _, number, there in pairs:
        if number not in found and there not in taken:
            found[number] = drawn[there]
            taken.add(there)
    return found


def _put(table: dict[str, Any], slot: Slot, value: Any) -> None:  # noqa: ANN401 - a value of TOML
    name, number = slot
    if name == "track":
        table["track"][number]["railhead"] = value
    else:
        table["railhead_at"][number] = [table["railhead_at"][number][0], value]


def _keep(table: dict[str, Any], own: Mapping[str, Any], height: _Height, unit: str) -> None:
    """Add a height of the person's to a drawn table where it stood."""
    name, number = height.slot
    if name == "railhead_at":
        table.setdefault("railhead_at", []).append(own["railhead_at"][number])
    elif len(own["track"]) == len(table["track"]):
        table["track"][number].setdefault("railhead", height.value)
        table.setdefault("railhead_at", [])
    else:
        table.setdefault("railhead_at", []).append([length_in(height.where, unit), height.value])
