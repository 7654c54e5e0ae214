"""Slips of the pen that make a text no TOML: the line where each stands, and that line as it should be.

A cure is only told if the parser, given the mended line, gets beyond it.
"""

from __future__ import annotations

import re
from itertools import chain
from typing import TYPE_CHECKING, NamedTuple

import tomli

from gradehaul.errors import PlanError
from gradehaul.plan.names import clean, cut, unseen
from gradehaul.plan.text.cures import KEY, TOKEN, Cure, code_and_comment, cures

if TYPE_CHECKING:
    from collections.abc import Sequence

HEADER = re.compile(rf"^[ \t]*(\[\[?)[ \t]*({KEY}(?:[ \t]*\.[ \t]*{KEY})*)[ \t]*\]\]?[ \t]*(?:\#.*)?\r?$", re.MULTILINE)
"""A table's header, alone on its line."""

_AT = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_TWICE = re.compile(r"Cannot (?:declare|mutate) .*|Cannot overwrite a value|Duplicate inline table key .*")
_ENTRY = re.compile(rf"[ \t]*{KEY}[ \t]*=")
_CUT_OFF = r"Illegal character '\n'"
_UNSEEN = "a control character, which cannot be seen, stands on this line"
_LONGEST_LINE = 110
_LARGEST = 300_000
"""The longest text, in characters, in which cures are tried: each is a reading of all of it."""


class _Fault(NamedTuple):
    """What the parser said of which place."""

    said: str
    number: int
    column: int
    lines: Sequence[str]

    @property
    def line(self) -> str:
        return self.lines[self.number - 1].rstrip("\r") if self.number <= len(self.lines) else ""


def slip(message: str, text: str, file: str) -> PlanError:
    r"""Return the parser's complaint about a text in the builder's words, with the line and the cure where one is sure.

    Examples
    --------
    >>> text = 'unit = "in"\n[loco.mogul]\nlength = 8 in'
    >>> try:
    ...     tomli.loads(text)
    ... except tomli.TOMLDecodeError as error:
    ...     print(slip(str(error), text, "tarn.toml"))
    tarn.toml:3: text, and a figure with its unit, stands in quotes, got length = 8 in; write length = "8 in"
    """
    match = _AT.search(message)
    said = message[: match.start()] if match else message
    lines = text.split("\n")
    end = match is None or match[1] is None
    number, column = (len(lines), len(lines[-1]) + 1) if match is None or end else (int(match[1]), int(match[2]))
    while end and number > 1 and not lines[number - 1].strip():
        number, column = number - 1, len(lines[number - 2]) + 1
    fault = _Fault(said, number, column, lines)
    if error := _never_closed(fault, file, end=end):
        return error
    if _TWICE.fullmatch(said):
        return _twice(fault, file)
    if len(text) <= _LARGEST and (error := _cured(fault, file)):
        return error
    return _uncured(fault, file)


def _cured(fault: _Fault, file: str) -> PlanError | None:
    """Return the error with the first cure that the parser takes, if it takes any."""
    if error := _without_comma(fault, file):
        return error
    got = cut(clean(fault.line))
    lines = {line for _, line in _openers(fault)}
    open_above, open_here = any(line < fault.number for line in lines), fault.number in lines
    unclosed = fault.said == _CUT_OFF
    line, before = (
        "".join(sign for sign in text if not unseen(sign)) for text in (fault.line, fault.line[: fault.column - 1])
    )
    guesses = cures(line, len(before) + 1, open_above=open_above, open_here=open_here, unclosed=unclosed)
    for cure in chain([Cure(_UNSEEN, line)], guesses):
        if cure.line != fault.line and _gets_past(fault, cure.line):
            write = _changed(fault.line, cure.line)
            return PlanError(cure.wrong, file=f"{file}:{fault.number}", found=got, write=write)
    return None


def _uncured(fault: _Fault, file: str) -> PlanError:
    """Return the error for a line of which nobody can tell what it means."""
    where, got = f"{file}:{fault.number}", cut(clean(fault.line))
    if any(map(unseen, fault.line[fault.column - 1 : fault.column])):
        return PlanError(_UNSEEN, file=where, found=got, write="the line without it")
    if fault.said in {_CUT_OFF, "Unterminated string"}:
        return PlanError("the quotes opened on this line are not closed on it", file=where, found=got)
    if re.search(r"=\s*(?:#.*|[,}\]].*)?$", fault.line):
        return PlanError("there is no value after the =", file=where, found=got, write="the value after it")
    if re.match(r"\s*[\]}]", fault.line) and not _openers(fault):
        return PlanError("this bracket closes nothing", file=where, found=got, write="the line without it")
    told = cut(clean(fault.said[:1].lower() + fault.said[1:]))
    write = 'key = value, with text in quotes, as in length = "8 in"'
    return PlanError(
        f"this line cannot be read from column {fault.column} on: {told}", file=where, found=got, write=write
    )


def _gets_past(fault: _Fault, mended: str, *, number: int = 0) -> bool:
    """Tell whether the parser gets beyond a line that is mended so."""
    number = number or fault.number
    lines = [*fault.lines[: number - 1], mended, *fault.lines[number:]]
    try:
        tomli.loads("\n".join(lines))
    except tomli.TOMLDecodeError as error:
        match = _AT.search(str(error))
        beyond = fault.number + mended.count("\n")
        return match is not None and (match[1] is None or int(match[1]) > beyond) and '"""' not in mended
    except (RecursionError, ValueError):
        return False
    return True


def _changed(old: str, new: str) -> str:
    """Return a mended line, or of a long one what has changed and what stands around it."""
    old, new = old.strip(), new.strip()
    if len(new) <= _LONGEST_LINE:
        return (
            clean(new).replace("\n", " and below it ")
            if "\n" not in new
            else " and below it ".join(clean(part) for part in new.split("\n"))
        )
    same = next((i for i, (a, b) in enumerate(zip(old, new, strict=False)) if a != b), min(len(old), len(new)))
    begin = max(0, new.rfind(",", 0, same) + 1, same - 40)
    return clean(new[begin : same + 40])


def _openers(fault: _Fault) -> list[tuple[str, int]]:
    """Return the brackets that are open where the parser stopped, and their lines."""
    stack: list[tuple[str, int]] = []
    line = 1
    text = "\n".join([*fault.lines[: fault.number - 1], fault.line[: fault.column - 1]])
    for token in TOKEN.finditer(text):
        sign = token[0]
        if sign in "[{":
            stack.append((sign, line))
        elif sign in "]}" and stack:
            stack.pop()
        line += sign.count("\n")
    return stack


def _never_closed(fault: _Fault, file: str, *, end: bool) -> PlanError | None:
    """Return the error for a list or an inline table that a line above opened and nothing closes."""
    earlier = [(sign, line) for sign, line in _openers(fault) if end or line < fault.number]
    if not earlier or (end and fault.said == "Unterminated string"):
        return None
    sign, opened = earlier[-1]
    begins = fault.line.lstrip()
    header = HEADER.match(fault.line) is not None
    breaks_off = end or header or (begins[:1] in "{]" if sign == "{" else _ENTRY.match(begins) is not None)
    if not breaks_off:
        return None
    last = fault.number if end else fault.number - 1
    while last > opened and not fault.lines[last - 1].split("#")[0].strip():
        last -= 1
    close = "]" if sign == "[" else "}"
    line = fault.lines[last - 1].rstrip("\r")
    code, comment = code_and_comment(line)
    whole = code.rstrip()
    bare = whole.removesuffix(",")
    mended = f"{bare.rstrip()} {close}{',' if whole != bare or begins[:1] == '{' else ''}{comment}"
    wrong = "the list opened here is never closed" if sign == "[" else "the table opened here is never closed"
    got = cut(clean(fault.lines[opened - 1]))
    write = _changed(line, mended) if last == opened else f"{close} on a line of its own after line {last}"
    return PlanError(wrong, file=f"{file}:{opened}", found=got, write=write)


def _twice(fault: _Fault, file: str) -> PlanError:
    """Return the error for a key or a table that stands twice, with the line where it stood first."""
    header = HEADER.match(fault.line)
    before = 0
    if header:
        same = (number for number, line in enumerate(fault.lines[: fault.number - 1], 1) if HEADER.match(line))
        name = re.sub(r"[\s\"']", "", header[2])
        before = next((n for n in same if re.sub(r"[\s\"']", "", HEADER.match(fault.lines[n - 1])[2]) == name), 0)  # type: ignore[index]
    elif key := _ENTRY.match(fault.line):
        name = key[0].rstrip("= \t").strip()
        for number in range(fault.number - 1, 0, -1):
            line = fault.lines[number - 1]
            if HEADER.match(line):
                break
            if re.match(rf"\s*{re.escape(name)}\s*=", line):
                before = number
    what = f"at line {before}" if before else "above" if "inline" not in fault.said else "in the same { }"
    write = "both in one table, under one header" if header else "the one that counts"
    return PlanError(
        f"this table or key is already given {what}",
        file=f"{file}:{fault.number}",
        found=cut(clean(fault.line)),
        write=write,
    )


def _without_comma(fault: _Fault, file: str) -> PlanError | None:
    """Return the error for a comma that is missing between two items, on the line after which it is missing."""
    if fault.said not in ("Unclosed array", "Unclosed inline table"):
        return None
    line, column = fault.line, fault.column
    if line[column - 1 : column] in {"'", '"'} and line[: column - 1].rstrip()[-1:].isdigit():
        return None  # a mark of feet or inches
    if not _gets_past(fault, f"{line[: column - 1].rstrip()}, {line[column - 1 :]}"):
        return None
    number = fault.number
    mended = f"{line[: column - 1].rstrip()}, {line[column - 1 :]}"
    if not line[: column - 1].strip():
        number = next(n for n in range(number - 1, 0, -1) if code_and_comment(fault.lines[n - 1])[0].strip())
        line = fault.lines[number - 1].rstrip("\r")
        code, comment = code_and_comment(line)
        mended = f"{code.rstrip()},{comment}"
    write = _changed(line, mended)
    return PlanError("a comma is missing", file=f"{file}:{number}", found=cut(clean(line)), write=write)
