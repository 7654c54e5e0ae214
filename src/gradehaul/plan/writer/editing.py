"""Changing a table in place where it tells something else than the drawing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from gradehaul.plan.writer.chunks import comments
from gradehaul.plan.writer.drawn_tables import ANGLE_DECIMALS, decimals
from gradehaul.plan.writer.table_text import item

_SHAPE = ("straight", "left", "right", "easement", "piece", "hand", "angle", "length", "ease")


_OF_A_LINE = ("from", "to", "at", "heading", "railhead_at")


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
        for name, value in after.items():
            if before.get(name) != value:
                before[name] = value
    return True
