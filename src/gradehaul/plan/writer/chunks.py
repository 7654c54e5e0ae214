"""The text of a plan in pieces, one for each table."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from gradehaul.plan.toml import KeyPath, header_path
from gradehaul.plan.writer.table_text import MARK

DRAWN = ("line", "turnout", "crossing")


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
