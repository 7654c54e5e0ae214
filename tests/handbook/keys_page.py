"""The keys of each JSON document, out of the types of the records that it is made of, for the handbook.

A key's meaning is the string under the field in the record, that of the property, or what the record says of it.
"""

from __future__ import annotations

import ast
import inspect
import re
import sys
import textwrap
import types
from collections.abc import Iterator, Mapping
from dataclasses import is_dataclass
from functools import cache
from itertools import pairwise
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from gradehaul.design.clearance.findings import Clearances
from gradehaul.design.climb.designs import HelixAnswer, InclineAnswer
from gradehaul.design.climb.helix_sweep import Sweep
from gradehaul.design.level.railheads import Leveled
from gradehaul.design.level.shims import CorrectedSurveys
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.answers.readings import ReadingsAnswer
from gradehaul.haulage.answers.trial_train import TrialAnswer as TrialTrainAnswer
from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.haulage.views.section import LongSection
from gradehaul.quantities.document import Key, keys_of, type_at
from gradehaul.treatment.keep_clean import KeepCleanPlan
from gradehaul.treatment.ways_over import WaysOver

ANSWERS: Mapping[str, type] = {
    "check": CheckAnswer,
    "profile": LongSection,
    "try": TrialTrainAnswer,
    "map": PlanView,
    "readings": ReadingsAnswer,
    "treat": KeepCleanPlan,
    "clearance": Clearances,
    "level": Leveled,
    "level --survey": CorrectedSurveys,
    "helix, under helix": HelixAnswer,
    "helix --sweep, under sweep": Sweep,
    "incline, under incline": InclineAnswer,
}
_LATER = {"ways_over": WaysOver}
"""Records that a room below cannot name."""


def keys() -> str:
    """Return the keys of every answer, each record where it is met first."""
    met: set[type] = set()
    parts: list[str] = []
    for verb, answer in ANSWERS.items():
        parts += [f"## {verb}", _table(answer)]
        met.add(answer)
        for record in _records(answer, met):
            parts += [f"### {record.__name__}", _prose(inspect.getdoc(record) or ""), _table(record)]
    return "\n\n".join(parts)


def _records(kind: type, met: set[type]) -> Iterator[type]:
    for key in keys_of(kind):
        for record in _held(key):
            if record not in met:
                met.add(record)
                yield record
                yield from _records(record, met)


def _table(kind: type) -> str:
    """Return a row for each key: its kind of value, and its meaning where the record says it."""
    head = getattr(kind, "HEAD", "")
    rows = ["| `gradehaul` | text. The version. |"] if head else []
    for key in (*keys_of(kind, head), *keys_of(kind)):
        if key.name != "*":
            null = " or null" if _may_be_missing(kind, key.path) else ""
            words = filter(None, (f"{_value(key)}{null}", _prose(_meaning(kind, key.path))))
            rows.append(f"| `{key.name}` | {'. '.join(words)} |")
    return "\n".join(["| key | value |", "| --- | --- |", *rows])


def _may_be_missing(kind: type, path: tuple[str, ...]) -> bool:
    return any(type(None) in get_args(type_at(kind, path[: count + 1])) for count in range(len(path)))


def _prose(text: str) -> str:
    return text.split("\n\nExamples\n", maxsplit=1)[0].split("\n\nAttributes\n", maxsplit=1)[0].replace("None", "null")


def _held(key: Key) -> list[type]:
    """Return the records in the value of a key."""
    later = _LATER.get(key.name)
    return [later] if later else [each for each in _parts(key.hint) if _is_record(each)]


def _parts(hint: Any) -> list[Any]:
    inner = [part for each in get_args(hint) for part in _parts(each)] if get_origin(hint) is not Literal else []
    return [hint, *inner]


def _is_record(kind: Any) -> bool:
    listed = getattr(kind, "KEYS", None)
    return isinstance(kind, type) and listed != "" and (listed is not None or is_dataclass(kind))


def _value(key: Key) -> str:
    words = _words(_LATER.get(key.name, key.hint))
    return f"list of {words}" if key.name in _LATER else words


def _words(hint: Any) -> str:
    """Return the words for a kind of value."""
    origin, inner = get_origin(hint), get_args(hint)
    if origin is Annotated:
        unit = inner[1].unit
        return f"{_words(inner[0])}{f', {unit}' if unit else ''}"
    if origin in (Union, types.UnionType):
        return " or ".join(dict.fromkeys(_words(each) for each in inner if each is not type(None)))
    if origin is Literal:
        return " or ".join(f'`"{each}"`' for each in inner)
    if _is_record(hint):
        return f"[{hint.__name__}](#{hint.__name__.lower()})"
    plain = {str: "text", bool: "true or false", int: "whole number", float: "number"}
    if hint in plain:
        return plain[hint]
    if isinstance(hint, type) and (hasattr(hint, "_fields") or not issubclass(hint, (tuple, list, Mapping))):
        return "two numbers, m" if hasattr(hint, "_fields") else "text"
    if origin is not None and issubclass(origin, Mapping):
        return f"table of {_words(inner[1])}, by {_words(inner[0])}"
    if origin is tuple:
        words = re.sub(r"^(number|two)\b", lambda word: {"number": "numbers"}.get(word[0], word[0]), _words(inner[0]))
        return f"list of {words}" if inner[-1] is Ellipsis else f"two {words}"
    return "array of true or false" if "bool" in str(hint) else "array of numbers"


def _meaning(kind: type, path: tuple[str, ...]) -> str:
    """Return the string under the last of the names that lead to a value, in the record that has it."""
    *before, name = path
    owner: Any = type_at(kind, tuple(before))
    if name.isdecimal():
        return _meaning(kind, tuple(before))
    for each in _parts(owner):
        for base in getattr(each, "__mro__", ()):
            if name in vars(base) or name in inspect.get_annotations(base):
                return _strings(base).get(name, "")
    return ""


@cache
def _strings(kind: type) -> Mapping[str, str]:
    """Return the string under each field and property of a record, in one line."""
    source = textwrap.dedent(inspect.getsource(kind)) if kind.__module__ in sys.modules else ""
    (tree,) = ast.parse(source).body
    assert isinstance(tree, ast.ClassDef)
    found = {each.name: ast.get_docstring(each) or "" for each in tree.body if isinstance(each, ast.FunctionDef)}
    for one, following in pairwise(tree.body):
        match one, following:
            case ast.AnnAssign(target=ast.Name(id=name)), ast.Expr(value=ast.Constant(value=str(text))):
                found[name] = inspect.cleandoc(text)
    _, _, attributes = (inspect.getdoc(kind) or "").partition("\nAttributes\n----------\n")
    for name, text in re.findall(r"^(\w+)\n((?:    .+\n?)+)", attributes.split("\n\n")[0], re.MULTILINE):
        found.setdefault(name, inspect.cleandoc(text))
    return {name: text.split("\n\n")[0].replace("\n", " ") for name, text in found.items()}
