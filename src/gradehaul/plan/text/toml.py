"""The plan file as TOML: from bytes to tables, with the line on which each table begins."""

from __future__ import annotations

import json
import re
import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomli

from gradehaul.errors import PlanError
from gradehaul.plan.names import near_file

_LEAST = 'at least scale = "HO" and a [line.NAME] table'
LARGEST = 20_000_000
"""The most bytes a plan file may have."""

KeyPath = tuple[str | int, ...]
"""The keys and list places that lead to a value, from the top of the file."""

KEY = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*')"""
"""A key as TOML has it, bare or in quotes."""
HEADER = re.compile(rf"^[ \t]*(\[\[?)[ \t]*({KEY}(?:[ \t]*\.[ \t]*{KEY})*)[ \t]*\]\]?[ \t]*(?:\#.*)?\r?$", re.MULTILINE)
"""A table's header, alone on its line."""
_PART = re.compile(KEY)
_JSON = json.JSONEncoder(ensure_ascii=False)
_BARE = re.compile(r"[A-Za-z0-9_-]+")


def read_text(path: Path, file: str) -> str:
    """Return the text of a plan file.

    Raises
    ------
    PlanError
        The file is missing, a folder, empty, longer than 20 MB, or no UTF-8 text.
    OSError
        The file cannot be read for another reason.
    """
    return decoded(read_bytes(path, file), file)


def decoded(data: bytes, file: str) -> str:
    """Return the bytes of a plan file as text.

    Raises
    ------
    PlanError
        They are empty or no UTF-8 text.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise PlanError("a plan file is UTF-8 text", file=file, found="UTF-16", write="it again, saved as UTF-8")
    if b"\0" in data:
        raise PlanError("a plan file is text", file=file, found="binary data")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise PlanError(
            "a plan file is UTF-8 text",
            file=f"{file}:{line}",
            found=f"the byte 0x{data[error.start]:02x}",
            write="it again, saved as UTF-8",
        ) from error
    if not text.strip():
        raise PlanError("the file is empty", file=file, write=_LEAST)
    return text


def read_bytes(path: Path, file: str) -> bytes:
    """Return the bytes of a plan file, refused as by `read_text` where it is missing, a folder or too long."""
    try:
        about = path.stat()
    except (FileNotFoundError, NotADirectoryError, ValueError) as error:  # ValueError: a NUL in the path
        near = near_file(path, ".csv" if path.suffix.lower() == ".csv" else ".toml")
        write = str(Path(file).with_name(near)) if near else ""
        raise PlanError("there is no such file", file=file.replace("\0", ""), write=write) from error
    if stat.S_ISDIR(about.st_mode):
        raise PlanError("this is a folder, not a plan file", file=file)
    if stat.S_ISFIFO(about.st_mode) and path.resolve().is_fifo():  # the shell's own pipes have no name and do end
        raise PlanError("this is a named pipe, not a plan file", file=file)
    if about.st_size > LARGEST:
        raise PlanError("a plan file has at most 20 MB", file=file, found=f"{about.st_size / 1e6:.1f} MB")
    with path.open("rb") as stream:
        data = stream.read(LARGEST + 1)
    if len(data) > LARGEST:  # a stream has no size
        raise PlanError("a plan file has at most 20 MB", file=file, found="more")
    return data


def parse(text: str, file: str) -> dict[str, Any]:
    """Return the tables of a plan's text.

    Raises
    ------
    PlanError
        The text is empty or no TOML; the message has the line and the column.
    """
    try:
        data = tomli.loads(text)
    except tomli.TOMLDecodeError as error:
        from gradehaul.plan.text.broken import not_toml

        raise not_toml(error, text, file) from error
    except RecursionError as error:
        raise PlanError("this cannot be read: lists or tables are nested too deep", file=file) from error
    except ValueError as error:  # e.g. a whole number of thousands of digits
        raise PlanError("this cannot be read: a number has thousands of digits", file=file) from error
    if not data:
        raise PlanError("the plan is empty", file=file, write=_LEAST)
    return data


def headers(text: str) -> dict[KeyPath, int]:
    r"""Return the line on which each table's header stands, by the keys that lead to it.

    Each table of a list (``[[line.Main.track]]``) has its place in the list as its last key, from 0. A header
    seen twice is left out: TOML allows it once, so one of the two is text inside a string or a list.
    """
    found: dict[KeyPath, int] = {}
    twice: set[KeyPath] = set()
    counts: dict[KeyPath, int] = {}
    line, start = 1, 0
    for match in HEADER.finditer(text):
        line += text.count("\n", start, match.start())
        start = match.start()
        path = _path(match)
        if match[1] == "[[":
            counts[path] = counts.get(path, -1) + 1
            path = (*path, counts[path])
        if path in found:
            twice.add(path)
        found[path] = line
    return {path: number for path, number in found.items() if path not in twice}


def header_path(line: str) -> KeyPath:
    """Return the keys that lead to the table whose header a line is, none where it is no header."""
    match = HEADER.match(line)
    return () if match is None else _path(match)


def key_written(name: str) -> str:
    """Return a name as a key of TOML: bare where it can be, else in quotes, whole."""
    return name if _BARE.fullmatch(name) else written(name)


def written(value: object) -> str:
    """Return a value as TOML has it: text, a number, a list of them or a table in braces, without what is None."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, str):  # the escapes of JSON are TOML's too, but for one character that JSON leaves bare
        return _JSON.encode(value).replace("\x7f", "\\u007f")
    if isinstance(value, Mapping):
        return f"{{ {', '.join(table_written('', value)[2:])} }}"
    assert isinstance(value, (list, tuple))
    return f"[{', '.join(map(written, value))}]"


def table_written(header: str, values: Mapping[str, object]) -> list[str]:
    """Return the lines of a table behind an empty one, without values that are None."""
    return [
        "",
        header,
        *(f"{key_written(key)} = {written(value)}" for key, value in values.items() if value is not None),
    ]


def _path(header: re.Match[str]) -> KeyPath:
    return tuple(_part(part) for part in _PART.findall(header[2]))


def _part(part: str) -> str:
    if "\\" not in part or part[0] == "'":
        return part[1:-1] if part[0] in "'\"" else part
    try:
        return str(tomli.loads(f"k = {part}")["k"])
    except tomli.TOMLDecodeError:
        return part[1:-1]
