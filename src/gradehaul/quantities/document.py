"""Records as documents: one function makes of any record its JSON, another its row in a table.

A record is its own document, because its fields have the names and the units already: there is no second description of
an answer to keep in step with the first. The keys are the fields in order, each with the suffix of the unit in its type
(`quantities.si`). A record whose document differs lists it in ``KEYS``, words with blanks between them:

- ``margin``: the field, property or method without arguments of this name;
- ``ruling.effective``: one of a record it has, under its own name, ``effective_pct``;
- ``from=start``: under another name, which gets the suffix unless it ends in it: ``from_m``;
- ``*verdict``: all keys of a record it has;
- ``grade.0``: the first of a pair.

A record with ``KEYS = ""`` is written as its text; a NamedTuple without ``KEYS`` is a list.
"""

from __future__ import annotations

import functools
import inspect
import json
import sys
import types
from collections.abc import Hashable, Mapping
from dataclasses import fields, is_dataclass
from typing import Annotated, Any, ClassVar, NamedTuple, Union, cast, get_args, get_origin, get_type_hints

from gradehaul.quantities.si import SI

DIGITS = 6
"""Digits of a number that count: beyond what any bench shows, and few enough to be the same on every machine."""


class Key(NamedTuple):
    """A key of a document: its name, the names that lead to its value, its type and the unit in that."""

    name: str
    path: tuple[str, ...]
    hint: object
    unit: SI | None


class Documented:
    """A record that a caller is given, with its document."""

    __slots__ = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the record as the JSON of an answer has it: plain dicts, lists, text and numbers, no arrays."""
        return document(self)


class AnswerRecord(Documented):
    """An answer, which has a document of its own: the version, what its plan is, and its ``KEYS``."""

    __slots__ = ()
    HEAD: ClassVar[str] = "plan=plan.title file=plan.file"

    def to_dict(self) -> dict[str, Any]:
        """Return the answer as ``--json`` prints it: plain dicts, lists, text and numbers, no arrays.

        Keys are lower case with their SI unit as suffix; ``_pct`` is percent. They are stable: others may be added.
        """
        from gradehaul import __version__

        return {"gradehaul": __version__, **_values(self, keys_of(type(self), self.HEAD)), **document(self)}


def document(record: object) -> dict[str, Any]:
    """Return a record as a document, its numbers rounded to six digits that count."""
    return _values(record, keys_of(type(record)))


def json_text(document: Mapping[str, Any], *, indent: int | None = 1) -> str:
    """Return a document as JSON text that ends with a line break."""
    return json.dumps(document, indent=indent, allow_nan=False) + "\n"


def rounded(value: float) -> float:
    """Return a number to six digits that count, and what is only rounding as 0."""
    return 0.0 if abs(value) < 1e-12 else float(f"{value:.{DIGITS}g}")


def value_at(record: object, path: tuple[str, ...]) -> Any:  # noqa: ANN401 - of the type that the record says
    """Return the value that names lead to from a record, None where one on the way is None."""
    value: Any = record
    for name in path:
        if value is None:
            return None
        value = value[int(name)] if name.isdecimal() else getattr(value, name)
        value = value() if isinstance(value, types.MethodType) else value
    return value


def keys_of(kind: type, listed: str | None = None) -> tuple[Key, ...]:
    """Return the keys of a kind of record: those listed, else its ``KEYS``, else its fields."""
    return _keys(cast("Hashable", kind), listed)


@functools.cache
def _keys(kind: Any, listed: str | None) -> tuple[Key, ...]:  # noqa: ANN401 - a class, which mypy holds not hashable
    listed = getattr(kind, "KEYS", None) if listed is None else listed
    if listed is None:
        listed = " ".join(field.name for field in fields(kind))
    found: list[Key] = []
    for word in listed.split():
        name, dotted = word.split("=") if "=" in word else (word.split(".")[-1], word)
        path = tuple(dotted.removeprefix("*").split("."))
        hint = type_at(kind, path)
        unit = _unit_in(hint)
        if dotted.startswith("*"):
            name = "*"
        elif unit is not None and unit.suffix and not name.endswith(f"_{unit.suffix}"):
            name = f"{name}_{unit.suffix}"
        found.append(Key(name, path, hint, unit))
    return tuple(found)


def type_at(kind: object, path: tuple[str, ...]) -> object:
    """Return the type of the value that names lead to from a kind of record."""
    hint = kind
    for name in path:
        if name.isdecimal():
            items: tuple[object, ...] = get_args(*_choices(hint))
            hint = items[0] if items[-1] is Ellipsis else items[int(name)]
        else:
            found = [inner for each in _choices(hint) if (inner := _hint_of(each, name)) is not None]
            if not found:
                raise AttributeError(f"{hint} has no {name}")
            hint = found[0]
    return hint


def _values(record: object, keys: tuple[Key, ...]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key in keys:
        value = value_at(record, key.path)
        if key.name == "*":
            found |= plain(value) or {}
        else:
            found[key.name] = plain(value, key.unit)
    return found


def plain(value: Any, unit: SI | None = None) -> Any:  # noqa: ANN401 - whatever a record holds
    """Return a value as a document holds it."""
    if value is None or isinstance(value, (bool, str)) or (isinstance(value, int) and unit is None):
        return value
    if isinstance(value, (int, float)):  # a sum of no lengths is the whole number 0
        return rounded(value if unit is None else value * unit.times)
    if hasattr(value, "tolist"):
        if value.dtype.kind != "f":
            return value.tolist()
        if unit is None or unit.places is None:
            return plain(value.tolist(), unit)
        return (value * unit.times).round(unit.places).tolist()
    if isinstance(value, Mapping):
        return {key: plain(each, unit) for key, each in value.items()}
    listed = getattr(value, "KEYS", None)
    if listed == "":
        return str(value)
    if listed is not None or is_dataclass(value):
        return document(value)
    return [plain(each, unit) for each in value]


def _choices(hint: object) -> tuple[object, ...]:
    """Return the types that a type stands for, without what is annotated to it, and without None."""
    if get_origin(hint) is Annotated:
        return _choices(get_args(hint)[0])
    if get_origin(hint) in (Union, types.UnionType):
        return tuple(inner for each in get_args(hint) if each is not type(None) for inner in _choices(each))
    return (hint,)


def _hint_of(kind: object, name: str) -> object:
    """Return the type of a field, or of what a property or a method returns; None where there is none of this name."""
    for base in kind.__mro__ if isinstance(kind, type) else ():
        hint = inspect.get_annotations(base).get(name)
        names = vars(sys.modules[base.__module__])
        if hint is None and name in vars(base):
            made = vars(base)[name]
            function = getattr(made, "fget", None) or getattr(made, "func", None) or made
            hint, names = function.__annotations__["return"], function.__globals__
        if hint is not None:
            text = getattr(hint, "__forward_arg__", hint)
            of_one = types.SimpleNamespace(__annotations__={name: text})
            return get_type_hints(of_one, names, include_extras=True)[name]
    return None


def _unit_in(hint: object) -> SI | None:
    """Return the unit in a type: of a number, of each number of a list or a table of them."""
    if isinstance(hint, SI):
        return hint
    inner: tuple[object, ...] = get_args(hint)
    if isinstance(hint, type) and issubclass(hint, tuple) and hasattr(hint, "_fields") and not hasattr(hint, "KEYS"):
        inner = tuple(_hint_of(hint, name) for name in hint._fields)
    return next((unit for each in inner if (unit := _unit_in(each)) is not None), None)
