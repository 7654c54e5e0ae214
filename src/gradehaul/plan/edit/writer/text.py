"""The text of a plan: its tables in pieces, and tables as TOML writes them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gradehaul.plan.text.toml import KeyPath, header_path, key_written, written

MARK = "# drawn"
"""What follows the header of a table that import wrote and may rewrite; behind a height, with the figure it wrote."""
OURS = re.compile(rf"{MARK}(?: (-?[\d.e-]+))?")


_IN_A_ROW = 5


def item(key: str, value: Any) -> str:  # noqa: ANN401 - a value of TOML
    """Return a key and its value: tracks one to a row, long lists of heights a few to a row."""
    if key == "track":
        return "track = [\n" + "".join([f"  {written(track)},\n" for track in value]) + "]"
    if key == "railhead_at" and len(value) > _IN_A_ROW:
        rows = [value[first : first + _IN_A_ROW] for first in range(0, len(value), _IN_A_ROW)]
        inner = "".join("  " + ", ".join(map(written, row)) + ",\n" for row in rows)
        return f"railhead_at = [\n{inner}]"
    return f"{key} = {written(value)}"


def snippet(section: str, name: str, table: Mapping[str, Any]) -> str:
    """Return a table with its header, marked as drawn."""
    rows = "".join(f"{item(key, value)}\n" for key, value in table.items() if value != [])
    return f"[{section}.{key_written(name)}]  {MARK}\n{rows}"


DRAWN = ("line", "turnout", "crossing", "table")


TOKEN = re.compile(
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
    for token in TOKEN.finditer(text):
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
    return [token[0].rstrip() for token in TOKEN.finditer(text) if token[0].startswith("#")]


def insert(chunks: list[Chunk], chunk: Chunk) -> None:
    """Put a drawn table behind the last of its section, else of all drawn, else at the end; another before them."""
    behind = ((chunk.key[0],), DRAWN) if chunk.key[0] in DRAWN else ()
    places = [[at for at, other in enumerate(chunks, 1) if other.key[0] in sections] for sections in behind]
    place = next((each[-1] for each in places if each), len(chunks))
    if not behind:
        place = next((at for at, other in enumerate(chunks) if other.key[0] in DRAWN), len(chunks))
    if place and not chunks[place - 1].text.endswith("\n"):
        chunks[place - 1].text += "\n"
    if any(places):  # blank lines and comments at its end belong to what comes next
        chunks[place - 1].text, tail = without_tail(chunks[place - 1].text)
        chunk.text += tail
    chunks.insert(place, chunk)


def put(chunk: Chunk, section: str, values: Mapping[str, Any], marks: Mapping[str, Any]) -> bool:
    """Put values, and marks behind some, into a table of a piece of the text; return whether it has that table."""
    import tomlkit

    body, tail = without_tail(chunk.text)
    document = tomlkit.parse(body)
    table: Any = document.get(section)
    if table is None:
        return False
    table.update(values)
    for name, mark in marks.items():
        table[name].comment(f"{MARK[2:]} {written(mark)}")
        table[name].trivia.comment_ws = "  "
    chunk.text = tomlkit.dumps(document) + tail
    return True


def height_rows(heights: Mapping[str, float | int]) -> str:
    """Return heights of joints as rows of a table, each with the mark that it was drawn so."""
    return "".join(
        f"{key_written(name)} = {written(value)}  {MARK} {written(value)}\n" for name, value in heights.items()
    )


def drawn_heights(chunks: Sequence[Chunk]) -> dict[str, float]:
    """Return the heights of joints that import wrote under their own header, by name, whatever stands there now."""
    import tomlkit

    found: dict[str, float] = {}
    for chunk in chunks:
        if chunk.key == ("railhead",) and MARK in chunk.text:
            rows: Any = tomlkit.parse(chunk.text)["railhead"]
            marks = {name: OURS.fullmatch(row.trivia.comment.strip()) for name, row in rows.items()}
            found |= {name: float(mark[1]) for name, mark in marks.items() if mark and mark[1]}
    return found


def without_tail(text: str) -> tuple[str, str]:
    """Return a table's text and, apart from it, the blank lines and comments at its end behind a blank line."""
    rows = text.splitlines(keepends=True)
    last = len(rows)
    while last > 0 and (not rows[last - 1].strip() or rows[last - 1].lstrip().startswith("#")):
        last -= 1
    while last < len(rows) and rows[last].strip():
        last += 1
    return "".join(rows[:last]), "".join(rows[last:])
