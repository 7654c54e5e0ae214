"""Tables as TOML writes them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from gradehaul.plan.names import key_text

MARK = "# drawn"
"""What follows the header of a table that import wrote and may rewrite."""


_IN_A_ROW = 5


def toml_text(value: str) -> str:
    """Return a string as TOML writes it; JSON's escapes are TOML's too, but for one character that JSON leaves bare."""
    if value.isascii() and value.isprintable() and '"' not in value and "\\" not in value:
        return f'"{value}"'
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:  # noqa: ANN401 - a value of TOML
    if isinstance(value, float | int):
        return repr(value)
    if isinstance(value, str):
        return toml_text(value)
    if isinstance(value, list):
        return f"[{', '.join([_value(each) for each in value])}]"
    return "{ " + ", ".join([f"{key} = {_value(each)}" for key, each in value.items()]) + " }"


def item(key: str, value: Any) -> str:  # noqa: ANN401 - a value of TOML
    """Return a key and its value: tracks one to a row, long lists of heights a few to a row."""
    if key == "track":
        return "track = [\n" + "".join([f"  {_value(track)},\n" for track in value]) + "]"
    if key == "railhead_at" and len(value) > _IN_A_ROW:
        rows = [value[first : first + _IN_A_ROW] for first in range(0, len(value), _IN_A_ROW)]
        inner = "".join("  " + ", ".join(_value(pair) for pair in row) + ",\n" for row in rows)
        return f"railhead_at = [\n{inner}]"
    return f"{key} = {_value(value)}"


def snippet(section: str, name: str, table: Mapping[str, Any]) -> str:
    """Return a table with its header, marked as drawn."""
    rows = "".join(f"{item(key, value)}\n" for key, value in table.items() if value != [])
    return f"[{section}.{toml_key(name)}]  {MARK}\n{rows}"


def toml_key(name: str) -> str:
    """Return a name as a key of TOML."""
    bare = key_text(name)
    return bare if bare == name else toml_text(name)
