"""The mending of one DXF file, run as a program: writes a mended copy, and a report of what would become of it."""

from __future__ import annotations

import json
import re
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from gradehaul.plan.drawing.dxf_library import dxf_library

_NUMBER = re.compile(rb"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_FRAME = {b"SECTION", b"ENDSEC", b"EOF", b"BLOCK", b"ENDBLK", b"SEQEND", b"VIEWPORT"}
_DRAWN = {b"LINE", b"ARC", b"CIRCLE", b"LWPOLYLINE", b"POLYLINE", b"VERTEX", b"INSERT", b"ELLIPSE", b"SPLINE"}
_GEOMETRY = {*range(10, 14), *range(20, 24), *range(30, 34), *range(40, 46), 50, 51, 210, 220, 230}
_OPTIONAL = {b"SPLINE": {42, 43, 44}}
"""Group codes that a writer adds by itself, by type."""
_DEFAULTS = {0.0, 1.0}
"""Values that a writer leaves out or puts in where they say nothing."""


class UnreadableError(ValueError):
    """A tag that cannot be read for certain; the message says where."""


@dataclass(slots=True)
class Found:
    """One entity as it stands in the file: its type, its handle and the numbers of its geometry by group code."""

    kind: bytes
    handle: bytes = b""
    numbers: Counter[tuple[int, float]] = field(default_factory=Counter)

    @property
    def name(self) -> str:
        """The words that name it."""
        return f"{self.kind.decode('ascii', 'replace')} #{self.handle.decode('ascii', 'replace')}".removesuffix(" #")


def tags(path: Path) -> Iterator[tuple[int, bytes, int]]:
    """Give the group codes and values of a text DXF file, with their lines, up to its end, however it ends."""
    with path.open("rb") as stream:
        number = 0
        while code := stream.readline():
            value = stream.readline()
            if not value:
                return
            number += 2
            try:
                yield int(code), value.strip(), number
            except ValueError as error:
                raise UnreadableError(f"no group code in line {number - 1}") from error


def survey(path: Path) -> tuple[list[Found], int]:
    """Return the entities of the sections ENTITIES and BLOCKS, and the code of the drawing's unit, 0 for none.

    Raises
    ------
    UnreadableError
        A number of an entity is none, such as ``1,5``.
    """
    entities: list[Found] = []
    section, variable, unit = b"", b"", 0
    for code, value, line in tags(path):
        if code == 0:
            if value == b"SECTION":
                section = b"?"
            if (value not in _FRAME and section in {b"ENTITIES", b"BLOCKS"}) or (value in _FRAME and entities):
                entities.append(Found(value))
        elif code == 2 and section == b"?":
            section = value
        elif code == 9:
            variable = value
        elif code == 70 and variable == b"$INSUNITS" and section == b"HEADER":
            unit, variable = int(value), b""
        elif section in {b"ENTITIES", b"BLOCKS"} and entities:
            _take(entities[-1], code, value, line)
    return [entity for entity in entities if entity.kind not in _FRAME], unit


def _take(entity: Found, code: int, value: bytes, line: int) -> None:
    if code == 5:
        entity.handle = value.upper()
    elif code in _GEOMETRY and entity.kind in _DRAWN:
        if not _NUMBER.fullmatch(value):
            raise UnreadableError(f"no number in line {line}: {value[:20].decode('ascii', 'replace')}")
        number = float(value)
        if number not in _DEFAULTS and code not in _OPTIONAL.get(entity.kind, ()):
            entity.numbers[code, float(f"{number:.12e}")] += 1


def compare(before: list[Found], after: list[Found]) -> tuple[list[str], list[str]]:
    """Return the names of entities whose numbers changed and of those that are gone, by handle, else by order."""
    by_handle = defaultdict(list)
    for entity in after:
        by_handle[entity.kind, entity.handle].append(entity)
    pairs: list[tuple[Found, Found]] = []
    alone: list[Found] = []
    for entity in before:
        same = by_handle.get((entity.kind, entity.handle)) if entity.handle else None
        if same:
            pairs.append((entity, same.pop(0)))
        else:
            alone.append(entity)
    rest = defaultdict(list)
    for left in by_handle.values():
        for entity in left:
            rest[entity.kind].append(entity)
    lost = []
    for entity in alone:
        if rest[entity.kind]:
            pairs.append((entity, rest[entity.kind].pop(0)))
        else:
            lost.append(entity.name)
    return [old.name for old, new in pairs if old.numbers != new.numbers], lost


def mend(path: Path, copy: Path) -> dict[str, Any]:
    """Write a mended copy of a file and return the report."""
    report: dict[str, Any] = {"trouble": "", "changes": [], "changed": [], "lost": [], "unit": 0}
    dxf_library()
    from ezdxf import recover

    try:
        before, report["unit"] = survey(path)
        document, audit = recover.readfile(path)
        document.saveas(copy)
        after, _ = survey(copy)
    except Exception as error:  # noqa: BLE001 - whatever it is, the answer is that it cannot be mended
        report["trouble"] = str(error) or type(error).__name__
        return report
    report["changed"], report["lost"] = compare(before, after)
    told = Counter(entry.message for entry in (*audit.fixes, *audit.errors))
    report["changes"] = [text if count == 1 else f"{text} ({count} times)" for text, count in told.items()]
    if not report["changes"]:
        report["changes"] = ["the structure of the file was written anew"]
    return report


def _limit(seconds: int, memory: int) -> None:
    try:
        import resource
    except ImportError:  # a system without such limits; the caller still ends it in time
        return
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))


def main(path: str, copy: str, report: str, seconds: str, memory: str) -> None:
    """Mend a file within limits of time, s, and memory, bytes."""
    _limit(int(seconds), int(memory))
    Path(report).write_text(json.dumps(mend(Path(path), Path(copy))), encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
