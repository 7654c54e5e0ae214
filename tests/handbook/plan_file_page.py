"""The tables of the plan file, out of the schema that reads them, for the handbook.

A key's meaning is the string under it in the schema; behind "Left out:" it says what holds where the key is left out.
"""

from __future__ import annotations

import ast
import inspect
import types
from functools import cache
from itertools import pairwise
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from gradehaul.plan.schema import lines as line_schema
from gradehaul.plan.schema import plan as schema
from gradehaul.plan.schema import stock as stock_schema
from gradehaul.plan.schema import values
from gradehaul.quantities.units import listed

_LEFT_OUT = "Left out: "
_WORDS = {
    "Name": "name",
    "Length": "length",
    "Distance": "length above 0",
    "Room": "length, 0 or more",
    "FitDistance": 'length above 0, or `"fit"`',
    "FitRadius": 'length above 0, or `"fit"`',
    "FitTurn": 'angle above 0, or `"fit"`',
    "FrogNumber": "number from 2 to 30",
    "Angle": "angle",
    "Turn": "angle above 0",
    "Grade": "grade",
    "Mass": "mass above 0",
    "PartMass": "mass, 0 or more",
    "Fraction": "share above 0",
    "Weight": "number above 0",
    "Resistance": "share",
    "Readings": "force, or a list of forces",
    "ByCondition": "table of forces, or of lists of forces, by rail condition",
    "Force": "force",
    "Pair": "pair of names",
    "Station": "pair of lengths",
    "Rises": "length, or a list of lengths",
}
"""What the builder writes for each kind of value; a kind without words stops the page."""
_KINDS = vars(values)
_HEADERS = {section: f"[{section}.NAME]" for section in schema.KEYED}
_HEADERS |= {section: f"[[{section}]]" for section in schema.LISTED}
_HEADERS |= {section: f"[{section}]" for section in schema.SINGLE}
_GROUPS = {
    "Track": ("line", "piece", "turnout", "crossing", "table", "map", "vertical_curve", "deck", "curve_resistance"),
    "From a drawing": ("drawing", "joint", "import"),
    "Stock, trains and routes": ("rail", "carry_over", "loco", "power", "car", "train", "route"),
    "Measured": ("bench", "reading", "tilt", "trial", "survey"),
}
_INNER = {
    "line": (("track", line_schema.TrackTable), ("parallel", line_schema.ParallelTable)),
    "rail": (("metal and tyred", stock_schema.ShareTable),),
}


def tables() -> str:
    """Return every table with its keys: what stands for each, what holds where it is left out, and what it means."""
    models = {**schema.KEYED, **schema.LISTED, **schema.SINGLE}
    assert sorted(models) == sorted(section for group in _GROUPS.values() for section in group)
    parts = ["## Above the first table", _rows(_head())]
    parts += ["### scale, of its own", "A scale that no table has.", _rows(_keys(schema.OwnScaleTable))]
    parts += ["## [railhead]", "The name of a joint, and its height: a length. Heights that are not given follow."]
    for group, sections in _GROUPS.items():
        parts.append(f"## {group}")
        for section in sections:
            parts += [f"### {_HEADERS[section]}", *_table(models[section])]
            for key, inner in _INNER.get(section, ()):
                parts += [f"#### {key}, {'as a table' if key == 'parallel' else 'each'}", *_table(inner)]
    return "\n\n".join(parts)


def units() -> str:
    """Return the units that a plan may be written in."""
    kinds = {"lengths": "length", "angles": "angle", "masses": "mass", "forces": "force", "grades and shares": "ratio"}
    rows = [f"| {kind} | {listed(dimension, 'and')} |" for kind, dimension in kinds.items()]
    return "\n".join(["| for | units |", "| --- | --- |", *rows])


def _table(model: Any) -> list[str]:
    return [
        *(each.replace("\n", " ") for each in inspect.cleandoc(model.__doc__).split("\n\n")[:2]),
        _rows(_keys(model)),
    ]


def _head() -> list[tuple[str, str, str, str]]:
    kinds = {"scale": "name, or a table", "include": "list of names"}
    return [(key, kinds.get(key, "name"), *_parted(key, said)) for key, said in schema.HEAD.items()]


def _keys(model: Any) -> list[tuple[str, str, str, str]]:
    """Return each key of a table, the words for its value, what holds where it is left out, and what it means."""
    hints = get_type_hints(model, include_extras=True)
    meanings = _meanings(model)
    found = []
    own_first = sorted(model.model_fields.items(), key=lambda each: each[0] not in model.__annotations__)
    for name, info in own_first:
        meaning, left_out = meanings.get(name, ""), "needed"
        assert meaning, f"{model.__name__}.{name} has no meaning in the schema"
        if not info.is_required():
            default = info.get_default(call_default_factory=True)
            if default is None or default in ([], {}):
                left_out, meaning = _parted(f"{model.__name__}.{name}", meaning)
                assert left_out != "needed", f"{model.__name__}.{name} does not say what holds where it is left out"
            else:
                left_out = _written(default)
        found.append((info.alias or name, _words(hints[name]), left_out, meaning))
    return found


def _parted(key: str, meaning: str) -> tuple[str, str]:
    """Return what holds where a key is left out, and what it means."""
    meaning, said, left_out = meaning.partition(_LEFT_OUT)
    assert meaning, key
    return (left_out.rstrip(".") if said else "needed"), meaning.strip()


def _written(default: object) -> str:
    if isinstance(default, bool):
        return f"`{str(default).lower()}`"
    return f"`{default:g}`" if isinstance(default, float | int) else f'`"{default}"`'


def _words(hint: Any) -> str:
    """Return the words for a kind of value."""
    for name, words in _WORDS.items():
        if hint == _KINDS[name]:
            return words
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return " or ".join(_words(each) for each in inner if each is not type(None))
    if origin is Annotated:
        return _words(inner[0])
    if origin is Literal:
        return " or ".join(f'`"{each}"`' for each in inner)
    if origin is list:
        if inner[0] is line_schema.TrackTable:
            return "list of tracks"
        return (
            f"list of {_words(inner[0]).replace('name', 'names').replace('pair', 'pairs').replace('namess', 'names')}"
        )
    plain = {bool: "`true` or `false`", int: "whole number", float: "number", stock_schema.ShareTable: "table"}
    plain[line_schema.ParallelTable] = "length above 0, or a table"
    return plain[hint]


@cache
def _meanings(model: Any) -> dict[str, str]:
    """Return the string under each key of a table, those of the tables it is made from too."""
    bases = [base for base in model.__mro__ if base.__module__.startswith("gradehaul.") and base.__name__ != "Table"]
    return {
        key.target.id: " ".join(said.value.value.split())
        for base in bases
        for key, said in pairwise(ast.parse(inspect.getsource(base)).body[0].body)  # type: ignore[attr-defined]
        if isinstance(key, ast.AnnAssign)
        and isinstance(key.target, ast.Name)
        and isinstance(said, ast.Expr)
        and isinstance(said.value, ast.Constant)
    }


def _rows(rows: list[tuple[str, str, str, str]]) -> str:
    lines = [f"| `{key}` | {kind} | {left_out} | {meaning} |" for key, kind, left_out, meaning in rows]
    return "\n".join(["| key | value | left out | meaning |", "| --- | --- | --- | --- |", *lines])
