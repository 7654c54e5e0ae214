"""Lines that are no TOML, and what each might mean: guesses, of which the parser has the last word."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator

KEY = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*')"""
"""A key as TOML has it, bare or in quotes."""
_CURLY = dict.fromkeys(map(ord, "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u00ab\u00bb\u2033"), '"')
_BLANKS = dict.fromkeys(map(ord, "\u00a0\u2002\u2003\u2007\u2009\u200b\u202f\u3000\ufeff"), " ")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_FEET = re.compile(r"""=\s*(\d+\s*'\s*(?:\d[\d ./-]*(?:""?|'')?)?)\s*(?=[,}\]]|$)""")
TOKEN = re.compile(r"""#[^\n]*|\"{3}.*?\"{3}|'{3}.*?'{3}|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'|[\[\]{}\n]""", re.DOTALL)


class Cure(NamedTuple):
    """What is wrong with a line, and the line as it might be meant."""

    wrong: str
    line: str


def code_and_comment(line: str) -> tuple[str, str]:
    """Return a line in two: what counts, and the comment with the blanks before it."""
    for token in TOKEN.finditer(line):
        if token[0].startswith("#"):
            code = line[: token.start()].rstrip()
            return code, line[len(code) :]
    return line, ""


def cures(line: str, column: int, *, open_above: bool, open_here: bool, unclosed: bool) -> Iterator[Cure]:
    """Yield what a line might mean, the likeliest first.

    Parameters
    ----------
    line, column
        The line, and where the parser stopped in it, from 1.
    open_above, open_here
        Whether a bracket is open there that an earlier line opened, or this one.
    unclosed
        Whether the parser stopped since quotes are not closed.
    """
    yield from _signs(line)
    if marks := _FEET.search(line):
        cure = next(_feet_and_inches(marks[1].strip()))
        yield _wrong(
            cure.wrong, f"{line[: marks.start(1)]}{cure.line}{line[marks.start(1) + len(marks[1].rstrip()) :]}"
        )
    code, comment = code_and_comment(line)
    if not open_above and code.lstrip().startswith("["):
        yield from _headers(code.strip(), comment)
    if not open_above:
        yield _wrong("the bracket before this table's name is missing", f"[{code.strip()}{comment}")
        yield from _keys(code, comment)
    yield from _brackets(line)
    yield from _values(code, comment, column, open_here=open_here, unclosed=unclosed)


def _wrong(wrong: str, line: str) -> Cure:
    return Cure(wrong, line)


def _signs(line: str) -> Iterator[Cure]:
    if line.translate(_CURLY) != line:
        yield _wrong("curly quotes are no quotes here", line.translate(_CURLY))
    if line.translate(_BLANKS) != line:
        yield _wrong("a blank on this line is no plain blank", line.translate(_BLANKS))


def _headers(code: str, comment: str) -> Iterator[Cure]:
    """Yield headers of a table."""
    name, _, rest = code.lstrip("[").partition("]")
    left = "[[" if code.startswith("[[") and "." not in name else "["
    right = "]" * len(left)
    name = name.strip(" \t})>")
    after = rest.strip("] \t})")
    trailing = f"  # {after}{comment}" if after else comment
    if after:
        yield _wrong("nothing but a comment may follow a table's name", f"{left}{name}{right}{trailing}")
    yield _wrong("the brackets around this table's name do not match", f"{left}{name}{right}{trailing}")
    name = re.sub(r"\s*=\s*", ".", name)
    yield _wrong("a dot parts the kind of a table from its name", f"{left}{name}{right}{trailing}")
    parts = [part.strip() for part in name.split(".")]
    if all(parts):
        inner = ".".join(part if _BARE.fullmatch(part) else '"' + part.strip("\"'") + '"' for part in parts)
        what = "a blank" if any(" " in part for part in parts) else "other than plain letters, digits, - and _"
        yield _wrong(f"a table name with {what} in it needs quotes", f"{left}{inner}{right}{trailing}")
    else:
        yield _wrong("a table needs its name", f"{left}{'.'.join(part or 'NAME' for part in parts)}{right}{trailing}")


def _keys(code: str, comment: str) -> Iterator[Cure]:
    """Yield statements of a key and a value."""
    if re.fullmatch(r"\s*[^\W\d]+(?:\s+[^\W\d]+){2,}\W?", code):
        yield _wrong("words that are no key and value stand behind a #", f"# {code.strip()}{comment}")
    plain = re.match(rf"\s*({KEY})\s*(:=|=>|==|:|\s)\s*(.+)$", code)
    if plain:
        key, sign, value = plain[1], plain[2].strip(), plain[3].strip().lstrip("=").strip()
        if not sign and "=" not in plain[3]:
            for each in (value, _in_quotes(value)):
                yield _wrong("an = is missing between the key and its value", f"{key} = {each}{comment}")
        elif sign:
            for each in (value, _in_quotes(value)):
                yield _wrong("a key and its value are joined by one =", f"{key} = {each}{comment}")
    key, equals, value = code.partition("=")
    key = key.strip()
    if equals and not _BARE.fullmatch(key) and '"' not in key and "[" not in key and "{" not in key:
        what = "a blank" if " " in key else "other than plain letters, digits, - and _"
        yield _wrong(f"a key with {what} in it needs quotes", f'"{key}" = {value.strip()}{comment}')
    two = re.match(rf"(\s*{KEY}\s*=\s*(?:\"[^\"]*\"|[^,\s\"]+))\s*[,;]?\s+({KEY}\s*=.+)$", code)
    if two:
        yield _wrong("each key stands on a line of its own", f"{two[1].strip()}\n{two[2]}{comment}")


def _brackets(line: str) -> Iterator[Cure]:
    """Yield inline tables with the brackets that they need."""
    swapped = re.sub(r"\(([^()]*)\)", r"{\1}", line)
    yield _wrong("a piece of track stands in { }", swapped)
    yield _wrong("a piece of track stands in { }", re.sub(rf"\[(\s*{KEY}\s*=[^\[\]]*)\]", r"{\1}", line))
    yield _wrong("what { opens, } closes", re.sub(r"(\{[^{}\]]*)\]", r"\1}", line, count=1))
    yield _wrong("what [ opens, ] closes", re.sub(r"(\[[^\[\]{}]*)\}", r"\1]", line, count=1))
    yield _wrong("one } too many", line.replace("}}", "}", 1))
    yield _wrong("one ] too many", line.replace("]]", "]", 1))


def _values(code: str, comment: str, column: int, *, open_here: bool, unclosed: bool) -> Iterator[Cure]:
    """Yield lines with the value at which the parser stopped as it might be meant."""
    column = min(column - 1, len(code))
    joined = re.compile(rf"({KEY})[ \t]*(?::|[ \t])[ \t]*(?=[^\s=,}}:])")
    # In { }, a key without its =: the last one before or at the place.
    for match in [m for m in joined.finditer(code) if m.start() <= column][::-1][:2]:
        if _BARE.fullmatch(match[1]) and not match[1][0].isdigit():
            yield _wrong(
                "an = is missing between the key and its value",
                f"{code[: match.start()]}{match[1]} = {code[match.end() :]}{comment}",
            )
    start = max((code.rfind(sign, 0, column + (sign == "=")) for sign in "=[,"), default=-1) + 1
    equals = code.rfind("=", 0, column) + 1
    whole_line = not open_here and not (unclosed and "{" in code)
    for begin in dict.fromkeys((equals, start)):
        if begin <= 0:
            continue
        stop = len(code)
        if not whole_line:
            closing = re.compile(rf"\s*(?:[}}\]]|,\s*(?:{KEY}\s*=|[{{\"\d]|$))").search(
                code, begin if unclosed else max(begin, column)
            )
            stop = closing.start() if closing else stop
        value = code[begin:stop].strip()
        stop = begin + len(code[begin:stop].rstrip())
        if not value or value[0] in "[{":
            continue
        for wrong, meant in _meant(value):
            yield _wrong(wrong, f"{code[:begin].rstrip(' ')} {meant}{code[stop:]}{comment}")


def _meant(value: str) -> Iterator[Cure]:
    """Yield a value as it might be meant."""
    if value in {"True", "TRUE", "Yes", "yes"}:
        yield _wrong("yes and no are written true and false", "true")
    if value in {"False", "FALSE", "No", "no"}:
        yield _wrong("yes and no are written true and false", "false")
    bare = value.rstrip(";,")
    if bare != value:
        yield _wrong("nothing stands after a value but a comment", bare)
    if "//" in value:
        before, _, after = value.partition("//")
        yield _wrong("a comment begins with #", f"{before.rstrip()}  # {after.strip()}")
    yield from _numbers(value)
    yield from _feet_and_inches(value)
    if "\\" in value and value[0] == '"' == value[-1] and "'" not in value:
        yield _wrong("a \\ in double quotes begins a special sign; single quotes keep it", f"'{value[1:-1]}'")
    if "°" in value:
        yield _wrong("text, and a figure with its unit, stands in quotes", f'"{value.replace("°", " deg")}"')
    if value[0] in "\"'" or value[-1] in "\"'":
        yield _wrong("the quotes opened on this line are not closed on it", _in_quotes(value))
    yield _wrong("text, and a figure with its unit, stands in quotes", _in_quotes(value))


def _feet_and_inches(value: str) -> Iterator[Cure]:
    """Yield a length with its marks of feet and inches as units."""
    if marks := re.fullmatch(r"""(?:(\d+)\s*')?\s*(?:([\d ./-]+?)\s*(?:""?|'')?)?""", value.removeprefix('"') or "x"):
        if not (marks[1] or value.endswith(('"', "''"))):
            return
        feet, inches = (f"{marks[1]} ft" if marks[1] else "", f"{marks[2].strip()} in" if marks[2] else "")
        yield _wrong("feet and inches are written ft and in", f'"{" ".join(filter(None, (feet, inches)))}"')


def _numbers(value: str) -> Iterator[Cure]:
    """Yield a bare number as TOML has it."""
    if re.fullmatch(r"[+-]?\d+,\d+", value):
        yield _wrong("a decimal is written with a point", value.replace(",", "."))
    if re.fullmatch(r"[+-]?0+\d+(?:\.\d+)?", value):
        yield _wrong("a number begins with no 0", re.sub(r"^([+-]?)0+(?=\d)", r"\1", value))
    if re.fullmatch(r"[+-]?\.\d+|[+-]?\d+\.", value):
        yield _wrong(
            "a decimal has digits on both sides of its point",
            re.sub(r"\.$", ".0", value.replace(".", "0.", 1) if value.lstrip("+-")[0] == "." else value),
        )


def _in_quotes(value: str) -> str:
    return '"' + value.strip("\"'") + '"'
