"""A plan file of a drawing, new or brought up to date, and what changed in it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from gradehaul.errors import PlanError, clean, quoted
from gradehaul.plan.drawing.heights.texts import MISFIT
from gradehaul.plan.edit.writer.drawn_tables import (
    edited,
    height_of,
    length_in,
    same,
    tables_of,
    unit_of,
)
from gradehaul.plan.edit.writer.line_heights import (
    MARKS,
    Slot,
    is_redrawn,
    marks_in,
    merge_heights,
    stays_text,
    with_marks,
)
from gradehaul.plan.edit.writer.text import (
    DRAWN,
    MARK,
    Chunk,
    chunks_of,
    comments,
    drawn_heights,
    height_rows,
    insert,
    put,
    snippet,
)
from gradehaul.plan.text.toml import parse, table_written, written
from gradehaul.quantities import describe

if TYPE_CHECKING:
    from gradehaul.plan.drawing.records import Drawn


@dataclass(slots=True)
class Changes:
    """What became of a plan: names of tables, each as ``line "Main"``, and what is said of heights."""

    added: list[str] = field(default_factory=list)
    removed: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    """Tables without the mark, which the drawing shows otherwise."""
    heights: list[str] = field(default_factory=list)
    marks: list[str] = field(default_factory=list)
    """Where heights stay and their marks follow the drawing."""
    redrawn: list[str] = field(default_factory=list)
    """Heights of the person's whose drawing is another than at the import before."""
    contrary: list[str] = field(default_factory=list)
    """All others of the person's that the drawing has otherwise."""


class Written(NamedTuple):
    """A plan file's text, what changed where there was one before, and what TOML makes of it."""

    text: str
    changes: Changes
    data: dict[str, Any]


def _cannot(file: str) -> PlanError:
    return PlanError(
        "this plan is written so that it cannot be changed in place",
        file=file,
        write="each line, turnout and crossing as a table of its own, such as [line.Main]",
    )


def new_plan(
    drawn: Drawn,
    options: Mapping[str, Any] | None = None,
    *,
    title: str,
    scale: str,
    unit: str,
    practice: str | None = None,
) -> Written:
    """Return a plan file of a drawing, how it was read, and the unit in which its bare lengths read."""
    head = (
        "# The track of a drawing, as gradehaul import read it. Run again over this file it rewrites what is marked\n"
        f"# {quoted(MARK)}; all else is yours and stays. Add locomotives, cars, routes and trains.\n\n"
        f"title = {written(title)}\nscale = {written(scale)}\nunit = {written(unit)}\n"
    )
    head += f"practice = {written(practice)}\n" if practice else ""
    return updated_plan(head + _unused_comment(drawn, unit), drawn, options, file="")


def _unused_comment(drawn: Drawn, unit: str) -> str:
    """Return a comment on the heights of a drawing that are not used, empty where all are."""
    from gradehaul.plan.drawing.wording import UNUSED, by_code, fault_text, unused_text

    rows = [fault_text(fault, unit) for fault in by_code(drawn.faults).get(UNUSED, ())]
    head = f"As this was first imported, {unused_text(len(rows))}:"
    return "\n" + "".join(f"# {clean(row)}\n" for row in (head, *rows)) if rows else ""


def updated_plan(text: str, drawn: Drawn, options: Mapping[str, Any] | None = None, *, file: str) -> Written:
    """Return a plan file with a drawing's lines, turnouts and crossings in place of those an earlier one left there.

    Only tables whose header bears the mark are rewritten, and of those only what the drawing shows: a line's `berth`,
    `runs` and `rail` stay, and so do the names, berths and heights on its tracks where their number stays the same.
    Heights along a line without z stay but where a text of the drawing shows one.
    Comments stay, those of tables that go too. Heights of joints are added where there are none, and changed where they
    are as an import wrote them.

    Raises
    ------
    PlanError
        The text is no TOML, has a drawing of its own, or is written so that it cannot be changed in place.
    """
    data = parse(text, file)
    if not all(isinstance(data.get(section, {}), dict) for section in (*DRAWN, "railhead", "import")):
        raise _cannot(file)
    if "drawing" in data:
        raise PlanError(
            "this plan reads a drawing by itself, and import would give it the same track twice",
            file=file,
            place="[drawing]",
            write="another name after -o",
        )
    unit = unit_of(data, file)
    chunks = chunks_of(text)
    changes = Changes()
    tables = tables_of(drawn, unit)
    marks = _merged(chunks, data, tables, drawn, unit, changes)
    rewritten: dict[tuple[str, str], dict[str, Any]] = {}
    by_key = {chunk.key: chunk for chunk in chunks}
    fresh: dict[tuple[str, str], dict[str, Any]] = {}
    for key, table in tables.items():
        chunk = by_key.get(key)
        before = data.get(key[0], {}).get(key[1])
        if before is None:
            fresh[key] = table
            changes.added.append(_titled(*key))
        elif chunk is None or not chunk.marked:
            if not same(before, table, unit):
                changes.kept.append(_titled(*key))
            continue
        elif not same(before, table, unit):
            chunk.text = with_marks(edited(chunk.text, key, table), marks.get(key, {}))
            changes.changed.append(_titled(*key))
        rewritten[key] = table
    _insert_all(chunks, fresh, marks)
    for chunk in chunks:
        if chunk.marked and chunk.key not in tables:
            changes.removed.append(_titled(*chunk.key))
            kept = [comment for comment in comments(chunk.text) if comment.strip() != MARK]
            chunk.text = "".join(f"{comment}\n" for comment in kept)
            chunk.key = ("", "")
    lines = [*data.get("line", {}).values(), *rewritten.values()]
    there = {line.get(end) for line in lines if isinstance(line, dict) for end in ("from", "to")}
    heights = {name: height for name, height in drawn.heights.items() if name in there}
    _keep_options(chunks, data.get("import"), options, file)
    changes.contrary += _drawn_no_more(chunks, data.get("railhead"), drawn, unit)
    followed = _add_heights(chunks, data.get("railhead"), heights, unit, changes, file)
    result = "".join(chunk.text for chunk in chunks)
    after = _checked(result, rewritten, file, unit=unit)
    _check_kept(result, after, text, data, followed, file)
    return Written(result, changes, after)


def _merged(
    chunks: Sequence[Chunk],
    data: Mapping[str, Any],
    tables: Mapping[tuple[str, str], dict[str, Any]],
    drawn: Drawn,
    unit: str,
    changes: Changes,
) -> dict[tuple[str, str], dict[Slot, float | None]]:
    """Put the person's heights into the tables of drawn lines, note what is said of them, and return all marks."""
    by_key = {chunk.key: chunk for chunk in chunks}
    marks = {}
    for name, line in drawn.lines.items():
        key = ("line", name)
        chunk = by_key.get(key)
        own = data.get("line", {}).get(name)
        merged = merge_heights(own, chunk.text if chunk else "", tables[key], line, unit)
        marks[key] = merged.marks
        if chunk and chunk.marked:
            changes.redrawn += merged.redrawn
            changes.contrary += merged.contrary
            changes.heights += merged.gone
            moved = any(merged.marks.get(slot, mark) != mark for slot, mark in marks_in(chunk.text).items())
            if moved and same(own, tables[key], unit):  # else the table is written anew, marks and all
                chunk.text = with_marks(chunk.text, merged.marks)
                changes.marks.append(_titled(*key))
    return marks


def _insert_all(
    chunks: list[Chunk],
    tables: Mapping[tuple[str, str], Mapping[str, Any]],
    marks: Mapping[tuple[str, str], Mapping[Slot, float | None]],
) -> None:
    """Put drawn tables into the text, all of a section at once."""
    sections: dict[str, list[tuple[str, str]]] = {}
    for key in tables:
        sections.setdefault(key[0], []).append(key)
    for keys in sections.values():
        insert(
            chunks,
            Chunk(keys[0], "".join(f"\n{with_marks(snippet(*key, tables[key]), marks.get(key, {}))}" for key in keys)),
        )


def _keep_options(
    chunks: list[Chunk], before: Mapping[str, Any] | None, options: Mapping[str, Any] | None, file: str
) -> None:
    """Write how the drawing was read where the plan does not say so yet."""
    if before is None:
        if options:
            rows = table_written("[import]  # how the drawing was read, and is again", options)
            insert(chunks, Chunk(("import",), "".join(f"{row}\n" for row in rows)))
    elif options and any(before.get(key) != value for key, value in options.items()):
        _put(chunks, "import", options, file)


def _put(
    chunks: list[Chunk], section: str, values: Mapping[str, Any], file: str, marks: Mapping[str, Any] | None = None
) -> None:
    """Put values and marks into a table that stands under its own header, or dotted at the head of the file."""
    if not any(put(chunk, section, values, marks or {}) for chunk in chunks if chunk.key in {(section,), ("",)}):
        raise _cannot(file)


def _titled(section: str, name: str) -> str:
    return f"{section} {quoted(name)}"


def _checked(
    text: str, tables: Mapping[tuple[str, str], Mapping[str, Any]], file: str, *, unit: str = "mm"
) -> dict[str, Any]:
    """Return what TOML makes of the text, and make sure that it is what was meant."""
    data = parse(text, file)
    if not all(same(data.get(section, {}).get(name), table, unit) for (section, name), table in tables.items()):
        raise _cannot(file)
    return data


def _check_kept(
    text: str, data: Mapping[str, Any], before: str, old: Mapping[str, Any], followed: Collection[str], file: str
) -> None:
    """Make sure that a plan has lost no comment, no table that is not drawn and no height but those of the drawing."""
    lost = Counter(_said(comments(before)))
    lost.subtract(_said(comments(text)))
    heights = data.get("railhead", {})
    if (
        any(count > 0 for count in lost.values())
        or any(heights.get(name) != height for name, height in old.get("railhead", {}).items() if name not in followed)
        or any(data.get(own) != value for own, value in old.items() if own not in (*DRAWN, "railhead", "import"))
    ):
        raise _cannot(file)


def _said(comments: Sequence[str]) -> list[str]:
    """Return comments without import's marks."""
    bare = (MARKS.sub("", comment).strip() for comment in comments)
    return [comment for comment in bare if comment not in ("", MARK)]


def _drawn_no_more(chunks: Sequence[Chunk], given: object, drawn: Drawn, unit: str) -> list[str]:
    """Return what is said of heights of joints as an import wrote them, which the drawing shows no more: they stay."""
    before = given if isinstance(given, dict) else {}
    return [
        f"{quoted(name)} stays at {describe(own, 'length', unit)}, which is no longer drawn: take it out of "
        "[railhead] to follow the drawing"
        for name, figure in drawn_heights(chunks).items()
        if name in drawn.joints and name not in drawn.heights and before.get(name) == figure
        if (own := height_of(figure, unit)) is not None
    ]


def _add_heights(
    chunks: list[Chunk], given: object, drawn: Mapping[str, float], unit: str, changes: Changes, file: str
) -> Collection[str]:
    """Add heights of joints that have none, change those that an import wrote, and name those that differ otherwise."""
    before = given if isinstance(given, dict) else {}
    ours = drawn_heights(chunks)
    off: list[float] = []
    contrary: list[str] = []
    values: dict[str, float | int] = {}
    marks: dict[str, float | int] = {}
    for name, height in drawn.items():
        there, value = describe(height, "length", unit), length_in(height, unit)
        if name not in before:
            values[name] = value
            changes.heights.append(f"{quoted(name)} is new, {there}")
            continue
        own = height_of(before[name], unit)
        if own is None or before[name] == value:
            continue
        if before[name] == ours.get(name):
            values[name] = value
            changes.heights.append(f"{quoted(name)} was {describe(own, 'length', unit)} and is {there}")
            continue
        was = height_of(ours.get(name), unit)
        if is_redrawn(was, height):
            marks[name] = value
            changes.marks.append(quoted(name))
        if abs(own - height) > MISFIT:
            off.append(own - height)
            said = changes.redrawn if name in marks else contrary
            said.append(stays_text(quoted(name), own, height, unit, was=was, where="[railhead]"))
    if len(off) > 1 and max(off) - min(off) <= MISFIT:
        by = max(off)
        lie = f"{len(off)} joints lie {describe(abs(by), 'length', unit)} {'above' if by > 0 else 'below'} the drawing"
        changes.contrary.append(f"{lie}: if that counts from another 0 than the plan, say so with --raise")
    changes.contrary += contrary
    if values and given is None:
        insert(chunks, Chunk(("railhead",), f"\n[railhead]  # heights of joints\n{height_rows(values)}"))
    elif values or marks:
        _put(chunks, "railhead", values, file, values | marks)
    return values
