"""Text that is no TOML: the line where reading stops and, for what people often forget, that line as it should be.

A cure is shown only if the parser, given the mended line, gets beyond it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import tomli

from gradehaul.errors import PlanError, clean, cut, unseen
from gradehaul.plan.text.toml import HEADER, KEY

_TOKEN = re.compile(r"""#[^\n]*|\"{3}.*?\"{3}|'{3}.*?'{3}|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'|[\[\]{}\n]""", re.DOTALL)
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_ENTRY = re.compile(rf"[ \t]*({KEY})[ \t]*=")
_CURLY = dict.fromkeys(map(ord, "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u00ab\u00bb\u2033"), '"')
_LENGTH = re.compile(r"""(?:(\d+)\s*')?\s*(?:(\d[\d ./-]*?)\s*(?:""?|''))?""")
"""Feet with their mark, inches with theirs, or both."""
_ITEM_ENDS = re.compile(rf"""\s*(?:[}}\]]|,\s*(?:{KEY}\s*=|[{{"\d]|$))""")
_LIST = re.compile(r"([^=]+=[\s\[]*\[)([^\[\]{}]*)([\]\s]+)")
_LISTED = re.compile(r"""\"[^\"]*\"|'[^']*'|[^,]+""")
"""A list on its line, and one of its items."""
_LONGEST_LINE = 110
"""A longer line is not written again."""
_LARGEST = 300_000
"""The longest text, in characters, in which cures are tried: each is a reading of all of it."""
_NEVER_CLOSED = {"[": ("list", "] after its last item"), "{": ("table", "} after its last value")}
_OPEN_QUOTES = "the quotes opened on this line are not closed on it"


class _Stop(NamedTuple):
    """Where the parser stopped: line and column from 1, the lines, and whether it came to the end of the text."""

    number: int
    column: int
    lines: Sequence[str]
    end: bool

    @property
    def line(self) -> str:
        return self.lines[self.number - 1].rstrip("\r")


class _Cure(NamedTuple):
    """What is wrong, the number of a line, and how that line should be."""

    wrong: str
    number: int
    line: str


def not_toml(error: tomli.TOMLDecodeError, text: str, file: str) -> PlanError:
    """Return what is wrong with a text at the line where the parser stopped, with the cure where it is known."""
    lines = text.split("\n")
    number, column, end = error.lineno, error.colno, error.pos >= len(text)
    while end and number > 1 and not lines[number - 1].strip():
        number, column = number - 1, len(lines[number - 2]) + 1
    stop = _Stop(number, column, lines, end)

    def fault(wrong: str, at: int = number, write: str = "") -> PlanError:
        return PlanError(wrong, file=f"{file}:{at}", found=cut(clean(lines[at - 1])), write=write)

    if any(map(unseen, stop.line)):
        return fault("there is an invisible control character on this line", write="the line without it")
    if opened := _left_open(stop):
        what, write = _NEVER_CLOSED[opened[0]]
        return fault(f"the {what} opened here is never closed", opened[1], write)
    for cure in _cures(stop) if len(text) <= _LARGEST else ():
        old, new = lines[cure.number - 1].strip(), cure.line.strip()
        if new != old and _gets_past(stop, cure):
            return fault(cure.wrong, cure.number, clean(new) if len(new) <= _LONGEST_LINE else "")
    if any(sign in _TOKEN.sub("", stop.line) for sign in "\"'"):
        return fault(_OPEN_QUOTES)
    if re.search(r"=\s*(?:#.*|[,}\]].*)?$", stop.line):
        return fault("there is no value after the =", write="the value after it")
    says = cut(clean(error.msg[:1].lower() + error.msg[1:]))
    write = "" if set(stop.line) & set("=[]{}") else 'key = value, with text in quotes, as in length = "8 in"'
    return fault(f"this line cannot be read from column {column} on: {says}", write=write)


def _cures(stop: _Stop) -> Iterator[_Cure]:
    """Yield what the place might mean, the likeliest first."""
    here = stop.number
    yield _Cure("curly quotes do not work here", here, stop.line.translate(_CURLY))
    code = _code(stop.line)
    if not any(line < here for _, line in _openers(stop)):
        if code.lstrip().startswith("[") or (code.endswith("]") and "=" not in code):
            yield from (_Cure(wrong, here, header) for wrong, header in _headers(code.strip()))
            return
        key, _, value = (part.strip() for part in code.partition("="))
        if value and not _BARE.fullmatch(key) and not set(key) & set('"[{:'):
            yield _Cure(f"a key with {_unusual(key)} in it needs quotes", here, f'"{key}" = {value}')
    yield from _commas(stop)
    yield from _values(stop, code)


def _unusual(name: str) -> str:
    return "a space" if " " in name else "other than plain letters, digits, - and _"


def _commas(stop: _Stop) -> Iterator[_Cure]:
    """Yield the line with a comma before the place, or the line above where the place begins its own."""
    before, behind = stop.line[: stop.column - 1].rstrip(), stop.line[stop.column - 1 :]
    if before and (behind[:1] not in ("'", '"') or not before[-1:].isdigit()):  # a mark of feet or inches
        yield _Cure("a comma is missing", stop.number, f"{before}, {behind}")
    for number in range(stop.number - 1, 0, -1) if not before else ():
        code = _code(stop.lines[number - 1].rstrip("\r"))
        if code.strip():
            yield _Cure("a comma is missing", number, f"{code},")
            return


def _left_open(stop: _Stop) -> tuple[str, int] | None:
    """Return the bracket that a line above opened and nothing closes, and that line."""
    earlier = [(sign, line) for sign, line in _openers(stop) if stop.end or line < stop.number]
    if not earlier:
        return None
    begins = stop.line.lstrip()
    breaks_off = begins[:1] in "{]" if earlier[-1][0] == "{" else _ENTRY.match(begins) is not None
    return earlier[-1] if stop.end or HEADER.match(stop.line) or breaks_off else None


def _headers(code: str) -> Iterator[tuple[str, str]]:
    """Yield headers of a table with the brackets and the quotes that they need."""
    double = code.startswith("[[") and code.endswith("]]")
    left, right = ("[[", "]]") if double else ("[", "]")
    name = code.strip("[] \t")
    yield "the brackets around this table's name do not match", f"{left}{name}{right}"
    parts = [part.strip() for part in name.split(".")]
    if all(parts) and not set(name) & set('"[]{}#=,'):
        inner = ".".join(part if _BARE.fullmatch(part) else f'"{part}"' for part in parts)
        yield f"a table name with {_unusual(name)} in it needs quotes", f"{left}{inner}{right}"


def _values(stop: _Stop, code: str) -> Iterator[_Cure]:
    """Yield the line with the value at which the parser stopped as it should be."""
    column, unclosed = min(stop.column - 1, len(code)), any(sign in _TOKEN.sub("", code) for sign in "\"'")
    inside = any(line == stop.number for _, line in _openers(stop)) or (unclosed and "{" in code)
    if not unclosed and (listed := _LIST.fullmatch(code)):
        items = [item.strip() for item in _LISTED.findall(listed[2]) if item.strip()]
        meant = ", ".join(next((text for _, text in _meant(item)), item) for item in items)
        yield _Cure("text, and a figure with its unit, needs quotes", stop.number, f"{listed[1]}{meant}{listed[3]}")
    start = max((code.rfind(sign, 0, column + (sign == "=")) for sign in "=[,"), default=-1) + 1
    for begin in dict.fromkeys((code.rfind("=", 0, column) + 1, start)):
        stops = _ITEM_ENDS.search(code, begin if unclosed else max(begin, column)) if inside else None
        value = code[begin : stops.start() if stops else len(code)].strip()
        if begin > 0 and value and value[0] not in "[{":
            rest = code[begin + code[begin:].index(value) + len(value) :]
            for wrong, meant in _meant(value):
                yield _Cure(wrong, stop.number, f"{code[:begin].rstrip(' ')} {meant}{rest}")


def _meant(value: str) -> Iterator[tuple[str, str]]:
    """Yield a value as it should be."""
    if re.fullmatch(r"[+-]?\d+,\d+", value):
        yield "a decimal is written with a point", value.replace(",", ".")
    marks = _LENGTH.fullmatch(value)
    if marks and (marks[1] or marks[2]):
        parts = [f"{marks[1]} ft" if marks[1] else "", f"{marks[2].strip()} in" if marks[2] else ""]
        yield "feet and inches are written ft and in", f'"{" ".join(filter(None, parts))}"'
    elif value[0] in "\"'" or value[-1] in "\"'":
        text = value.strip("\"'")
        yield _OPEN_QUOTES, f'"{text}"'
    elif (
        not set(value) & set('"#=[]{}\\;:')
        and "//" not in value
        and any(sign.isalpha() or sign in "%°/" for sign in value)
        and value.casefold() not in ("true", "false", "yes", "no")
    ):  # it can be nothing but text, or a figure with its unit
        yield "text, and a figure with its unit, needs quotes", f'"{value}"'


def _code(line: str) -> str:
    """Return a line without its comment."""
    comment = next((token.start() for token in _TOKEN.finditer(line) if token[0].startswith("#")), len(line))
    return line[:comment].rstrip()


def _openers(stop: _Stop) -> list[tuple[str, int]]:
    """Return the brackets that are open where the parser stopped, and their lines."""
    stack: list[tuple[str, int]] = []
    line = 1
    for token in _TOKEN.finditer("\n".join([*stop.lines[: stop.number - 1], stop.line[: stop.column - 1]])):
        sign = token[0]
        if sign in "[{":
            stack.append((sign, line))
        elif sign in "]}" and stack:
            stack.pop()
        line += sign.count("\n")
    return stack


def _gets_past(stop: _Stop, cure: _Cure) -> bool:
    """Return whether the parser gets beyond the place once a line is mended."""
    lines = [*stop.lines[: cure.number - 1], cure.line, *stop.lines[cure.number :]]
    beyond = cure.number if stop.end else stop.number - (HEADER.match(stop.line) is not None)
    try:
        tomli.loads("\n".join(lines))
    except tomli.TOMLDecodeError as error:
        return error.lineno > beyond and '"""' not in cure.line
    except (RecursionError, ValueError):
        return False
    return True
