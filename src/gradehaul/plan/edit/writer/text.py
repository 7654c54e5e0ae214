"""The text of a plan: its tables in pieces, and tables as TOML writes them."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from gradehaul.plan.names import key_text
from gradehaul.plan.text.toml import KeyPath, header_path

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


DRAWN = ("line", "turnout", "crossing", "table")


_TOKEN = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}|' + r"'''.*?'{3,5}|" + r'"(?:[^"\\\n]|\\.)*"|' + r"'[^'\n]*'|#[^\n]*|[\[\]{}]|\n",
    re.DOTALL,
)


@dataclass(slots=True)
class Chunk:
    """A table as it stands in the text, from its header up to the next one's; the head of the file has no key."""

    key: tuple[str, ...]
    text: str

    @property
    def marked(self) -> bool:
        """Whether import wrote it and it was left to import."""
        return self.key[0] in DRAWN and self.text.lstrip("\n").partition("\n")[0].rstrip().endswith(MARK)


def chunks_of(text: str) -> list[Chunk]:
    """Return the text in pieces, one for each table; tables within a table stay with it."""
    found = [Chunk(("",), "")]
    start = 0
    for at, path in _headers(text):
        found[-1].text += text[start:at]
        start = at
        key = tuple(str(step) for step in path[:2])
        if not (len(path) > 2 and found[-1].key == key):
            found.append(Chunk(key, ""))
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


def comments(text: str) -> list[str]:
    """Return the comments in a text."""
    return [token[0].rstrip() for token in _TOKEN.finditer(text) if token[0].startswith("#")]


def insert(chunks: list[Chunk], chunk: Chunk) -> None:
    """Put a new table behind the last of its section, else behind the last line, else at the end."""
    for section in (chunk.key[0], "line"):
        places = [number for number, other in enumerate(chunks) if other.key[0] == section]
        if places:
            before = chunks[places[-1]]
            if not before.text.endswith("\n"):
                before.text += "\n"
            # blank lines and comments at its end belong to what comes next
            body, tail = without_tail(before.text)
            before.text = body
            chunk.text += tail
            chunks.insert(places[-1] + 1, chunk)
            return
    if not chunks[-1].text.endswith("\n"):
        chunks[-1].text += "\n"
    chunks.append(chunk)


def without_tail(text: str) -> tuple[str, str]:
    """Return a table's text and, apart from it, the blank lines and comments at its end behind a blank line."""
    rows = text.splitlines(keepends=True)
    last = len(rows)
    while last > 0 and (not rows[last - 1].strip() or rows[last - 1].lstrip().startswith("#")):
        last -= 1
    while last < len(rows) and rows[last].strip():
        last += 1
    return "".join(rows[:last]), "".join(rows[last:])
