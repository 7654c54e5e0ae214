"""Heights of joints: added where a plan has none."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gradehaul.plan.drawing.heights.along import MISFIT
from gradehaul.plan.names import quoted
from gradehaul.plan.writer.before import height_of
from gradehaul.plan.writer.changes import Changes, cannot
from gradehaul.plan.writer.chunks import DRAWN, Chunk, without_tail
from gradehaul.plan.writer.drawn_tables import length_in
from gradehaul.plan.writer.table_text import toml_key
from gradehaul.quantities import describe


def add_heights(
    chunks: list[Chunk], given: object, drawn: Mapping[str, float], unit: str, changes: Changes, file: str
) -> None:
    """Add heights of joints that have none, and tell of those that the drawing has otherwise."""
    before = given if isinstance(given, dict) else {}
    missing: dict[str, float | int] = {}
    for name, height in drawn.items():
        there = describe(height, "length", unit)
        if name not in before:
            missing[name] = length_in(height, unit)
            changes.heights.append(f"{quoted(name)} is new, {there}")
        elif (own := height_of(before[name], unit)) is not None and abs(own - height) > MISFIT:
            changes.heights.append(f"{quoted(name)} stays at {describe(own, 'length', unit)}; the drawing has {there}")
    if missing and given is None:
        rows = "".join(f"{toml_key(name)} = {height!r}\n" for name, height in missing.items())
        first = next((n for n, chunk in enumerate(chunks) if chunk.key[0] in DRAWN), len(chunks))
        if first and not chunks[first - 1].text.endswith("\n"):
            chunks[first - 1].text += "\n"
        chunks.insert(first, Chunk(("railhead",), f"\n[railhead]\n{rows}"))
    elif missing and not any(_with_heights(chunk, missing) for chunk in chunks):
        raise cannot(file)


def _with_heights(chunk: Chunk, missing: Mapping[str, float | int]) -> bool:
    """Add heights to a piece of the text that has some; return whether it has."""
    import tomlkit

    if chunk.key not in {("railhead",), ("",)}:
        return False
    body, tail = without_tail(chunk.text)
    document = tomlkit.parse(body)
    table: Any = document.get("railhead")
    if table is None:
        return False
    for name, height in missing.items():
        table[name] = height
    chunk.text = tomlkit.dumps(document) + tail
    return True
