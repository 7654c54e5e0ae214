"""The plan file as TOML: from bytes to tables, with the line on which each table begins."""

from __future__ import annotations

import re
import stat
from typing import TYPE_CHECKING, Any

import tomli

from gradehaul.errors import PlanError
from gradehaul.plan.names import clean, cut

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

_LEAST = 'at least scale = "HO" and a [line.NAME] table'
LARGEST = 20_000_000
"""The most bytes a plan file may have."""

KeyPath = tuple[str | int, ...]
"""The keys and list places that lead to a value, from the top of the file."""

_KEY = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*')"""
_HEADER = re.compile(
    rf"^[ \t]*(\[\[?)[ \t]*({_KEY}(?:[ \t]*\.[ \t]*{_KEY})*)[ \t]*\]\]?[ \t]*(?:\#.*)?\r?$", re.MULTILINE
)
_PART = re.compile(_KEY)
_AT = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_TWICE = re.compile(r"Cannot (?:declare|mutate) .*|Cannot overwrite a value")
_CURLY = tuple("\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u00ab\u00bb")
_ITEM = re.compile(r"""[{\["'0-9+-][^\s,\]}]*""")
_ENTRY = re.compile(rf"{_KEY}[ \t]*=")
_BLANK_HEADER = re.compile(r"^\s*(\[\[?)([^\[\]=]{1,200})(\]\]?)\s*(?:#.*)?$")
_BLANK_KEY = re.compile(r"^\s*([^\s\"'=\[\]#.{},]+(?:[ \t]+[^\s\"'=\[\]#.{},]+)+)\s*=")


def read_text(path: Path, file: str) -> str:
    """Return the text of a plan file.

    Raises
    ------
    PlanError
        The file is missing, a folder, empty, longer than 20 MB, or no UTF-8 text.
    OSError
        The file cannot be read for another reason.
    """
    data = _read_bytes(path, file)
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


def _read_bytes(path: Path, file: str) -> bytes:
    try:
        about = path.stat()
    except (FileNotFoundError, NotADirectoryError, ValueError) as error:  # ValueError: a NUL in the path
        raise PlanError("there is no such file", file=file.replace("\0", "")) from error
    if stat.S_ISDIR(about.st_mode):
        raise PlanError("this is a folder, not a plan file", file=file)
    if stat.S_ISFIFO(about.st_mode) and path.resolve().is_fifo():  # the shell's own pipes have no name and do end
        raise PlanError("this is a named pipe, not a plan file", file=file)
    if about.st_size > LARGEST:
        raise PlanError("a plan file has at most 20 MB", file=file, found=f"{about.st_size / 1e6:.1f} MB")
    with path.open("rb") as stream:
        data = stream.read(LARGEST + 1)
    if len(data) > LARGEST:  # a stream tells no size
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
        raise _fault(str(error), text, file) from error
    except RecursionError as error:
        raise PlanError("this is no TOML: lists or tables are nested too deeply", file=file) from error
    except ValueError as error:  # e.g. a whole number of thousands of digits
        raise PlanError("this is no TOML: a number has thousands of digits", file=file) from error
    if not data:
        raise PlanError("the plan is empty", file=file, write=_LEAST)
    return data


def _fault(message: str, text: str, file: str) -> PlanError:
    """Put the parser's complaint into the builder's words."""
    match = _AT.search(message)
    said = message[: match.start()] if match else message
    if match is None or match[1] is None:
        return PlanError(f"this is no TOML: {_lowered(said)}", file=file, found="the end of the file")
    number, column = int(match[1]), int(match[2])
    lines = text.split("\n")
    line = lines[number - 1] if number <= len(lines) else ""
    where = f"{file}:{number}"
    header = _BLANK_HEADER.match(line)
    if header and (form := _quoted_header(clean(header[2]))):
        return PlanError(
            "a table name with a blank in it needs quotes",
            file=where,
            found=cut(clean(line)),
            write=cut(f"{header[1]}{form}{header[3]}"),
        )
    if key := _BLANK_KEY.match(line):
        return PlanError(
            "a key with a blank in it needs quotes",
            file=where,
            found=cut(clean(key[1])),
            write=f'"{cut(clean(key[1]))}" = ...',
        )
    if line[column - 1 : column] in _CURLY:
        straight = "".join('"' if letter in _CURLY else letter for letter in line)
        return PlanError(
            "curly quotes are no quotes here", file=where, found=cut(clean(line)), write=cut(clean(straight))
        )
    if pair := _without_comma(said, lines, number, column):
        return PlanError(
            f"a comma is missing before column {column}", file=where, found=cut(clean(line)), write=cut(clean(pair))
        )
    if _TWICE.fullmatch(said):
        return PlanError("this table or key is already given above", file=where, found=cut(clean(line)))
    if said == r"Illegal character '\n'":
        return PlanError("the quotes opened on this line are not closed on it", file=where, found=cut(clean(line)))
    return PlanError(f"this is no TOML at column {column}: {_lowered(said)}", file=where, found=cut(clean(line)))


def _without_comma(said: str, lines: Sequence[str], number: int, column: int) -> str:
    """Return two neighbors in a list or an inline table with the comma that is missing between them, or nothing."""
    if said not in ("Unclosed array", "Unclosed inline table"):
        return ""
    here = lines[number - 1][column - 1 :]
    begins_item = _ITEM.match(here) if said == "Unclosed array" else _ENTRY.match(here)
    if begins_item is None or _HEADER.match(lines[number - 1]) or (said == "Unclosed array" and _ENTRY.match(here)):
        return ""
    before = " ".join([*lines[max(0, number - 3) : number - 1], lines[number - 1][: column - 1]]).split()
    return f"{before[-1]}, {begins_item[0].split()[0]}" if before else ""


def _lowered(said: str) -> str:
    return cut(clean(said[:1].lower() + said[1:]))


def _quoted_header(inside: str) -> str:
    """Return a header's dotted name with quotes where they are needed, or nothing where they do not help."""
    if '"' in inside or "'" in inside:
        return ""
    parts = [part.strip() for part in inside.split(".")]
    if not all(parts) or all(re.fullmatch(r"[A-Za-z0-9_-]+", part) for part in parts):
        return ""
    return ".".join(part if re.fullmatch(r"[A-Za-z0-9_-]+", part) else f'"{part}"' for part in parts)


def headers(text: str) -> dict[KeyPath, int]:
    r"""Return the line on which each table's header stands, by the keys that lead to it.

    Each table of a list (``[[line.Main.track]]``) has its place in the list as its last key, from 0. A header
    seen twice is left out: TOML allows it once, so one of the two is text inside a string or a list.

    Examples
    --------
    >>> headers('[line.Main]\nfrom = "A"\n[map]\n')
    {('line', 'Main'): 1, ('map',): 3}
    """
    found: dict[KeyPath, int] = {}
    twice: set[KeyPath] = set()
    counts: dict[KeyPath, int] = {}
    line, start = 1, 0
    for match in _HEADER.finditer(text):
        line += text.count("\n", start, match.start())
        start = match.start()
        path: KeyPath = tuple(_part(part) for part in _PART.findall(match[2]))
        if match[1] == "[[":
            counts[path] = counts.get(path, -1) + 1
            path = (*path, counts[path])
        if path in found:
            twice.add(path)
        found[path] = line
    return {path: number for path, number in found.items() if path not in twice}


def header_path(line: str) -> KeyPath:
    """Return the keys that lead to the table whose header a line is, none where it is no header.

    Examples
    --------
    >>> header_path('[line."Up ore"]  # by hand'), header_path("[1, 2],")
    (('line', 'Up ore'), ())
    """
    match = _HEADER.match(line)
    return () if match is None else tuple(_part(part) for part in _PART.findall(match[2]))


def _part(part: str) -> str:
    if part[0] == "'":
        return part[1:-1]
    if part[0] != '"':
        return part
    if "\\" not in part:
        return part[1:-1]
    try:
        return str(tomli.loads(f"k = {part}")["k"])
    except tomli.TOMLDecodeError:
        return part[1:-1]
