"""Faults of a plan: gathered in one reading, each with its file and its place in the builder's words."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Generic, TypeVar, get_args

from pydantic import BaseModel, ValidationError

from gradehaul.errors import GradehaulError, PlanError, Problems
from gradehaul.plan.names import clean, cut, key_text, nearest, quoted, shown, unknown
from gradehaul.plan.records import Note
from gradehaul.plan.schema.lines import LineTable, PieceTable
from gradehaul.plan.schema.plan import HEAD
from gradehaul.plan.schema.values import Table
from gradehaul.plan.text.trade_words import KEYS

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping
    from pathlib import Path

    from gradehaul.plan.text.toml import KeyPath

T_co = TypeVar("T_co", covariant=True)
Model = TypeVar("Model", bound=Table)

_GUESSES = 50_000
"""Names compared in looking for near ones, in one reading; each takes some 40 µs."""
_SINGLE = frozenset(
    {"bench", "railhead", "drawing", "import", "map", "vertical_curve", "carry_over", "curve_resistance"}
)
_ITEM = {
    "railhead_at": "pair",
    "heights": "pair",
    "through": "pair",
    "moves": "pair",
    "consist": "entry",
    "legs": "leg",
}
_READINGS = frozenset({"pull", "slipping"})


@dataclass(frozen=True, slots=True)
class Source:
    """One file of a plan: its name in messages, the unit of its bare lengths, its tables and their lines."""

    file: str
    unit: str | None
    data: Mapping[str, Any]
    headers: Mapping[KeyPath, int]
    folder: Path | None = None
    """Where the file stands; None for a plan that is no file."""

    def at(self, path: KeyPath = ()) -> str:
        """Return the file, with the line of the nearest header above a value where there is one."""
        for end in range(len(path), 0, -1):
            if path[:end] in self.headers:
                return f"{self.file}:{self.headers[path[:end]]}"
        return self.file


@dataclass(frozen=True, slots=True)
class Entry(Generic[T_co]):
    """One table of a plan, where it stands and what it says."""

    source: Source
    path: KeyPath
    table: T_co

    @property
    def place(self) -> str:
        """The words that name this table in a message."""
        section = str(self.path[0])
        if section == "scale":
            return section
        if isinstance(self.path[-1], int):
            return f"{section} {self.path[-1] + 1}"
        return f"[{section}]" if section in _SINGLE else f"{section} {quoted(str(self.path[-1]))}"

    @property
    def file(self) -> str:
        """The file, with the line of the table's header where there is one."""
        return self.source.at(self.path)


@dataclass(slots=True)
class Faults:
    """What was found wrong so far, the notes, and those of them to be seen before any answer."""

    errors: list[GradehaulError] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    doubts: list[Note] = field(default_factory=list)
    guesses: int = _GUESSES

    def add(self, error: GradehaulError, *, file: str, place: str = "") -> None:
        """Take an error, or several, and fill in where it stands."""
        for one in error.errors if isinstance(error, Problems) else (error,):
            self.errors.append(PlanError(one.wrong, found=one.found, write=one.write).at(file=file, place=place))

    def at(self, entry: Entry[object], wrong: str, *, found: str = "", write: str = "", inside: str = "") -> None:
        """Take an error of a table, or of a place inside it."""
        place = f"{entry.place}, {inside}" if inside else entry.place
        self.errors.append(PlanError(wrong, file=entry.file, place=place, found=found, write=write))

    def unknown(
        self, entry: Entry[object], what: str, name: str, known: Collection[str], *, declare: str = "", inside: str = ""
    ) -> None:
        """Take the error for a name that nothing bears; the nearest name is looked for a limited number of times."""
        self.guesses -= len(known)
        error = unknown(what, name, known, declare=declare, guess=self.guesses > 0)
        self.add(error, file=entry.file, place=f"{entry.place}, {inside}" if inside else entry.place)

    def note(self, place: str, text: str) -> None:
        """Take a note."""
        self.notes.append(Note(place, text))

    def raise_all(self) -> None:
        """Raise everything found wrong, if anything was, in the order of the lines."""
        if self.errors:
            files = list(dict.fromkeys(_line(error)[0] for error in self.errors))
            raise Problems(sorted(self.errors, key=lambda error: (files.index(_line(error)[0]), _line(error)[1])))


def _line(error: GradehaulError) -> tuple[str, int]:
    """Return the file and the line of an error, 0 where the line is not known."""
    file, _, line = error.file.rpartition(":")
    return (file, int(line)) if file and line.isdecimal() else (error.file, 0)


def checked(model: type[Model], entry: Entry[Any], faults: Faults) -> Entry[Model] | None:
    """Return the table as its model has it, or None with everything that is wrong with it added to the faults."""
    try:
        table = model.model_validate(entry.table, context={"unit": entry.source.unit})
    except ValidationError as error:
        found = error.errors(include_url=False)
        misspelled = {
            (*fault["loc"][:-1], nearest(str(fault["loc"][-1]), _keys(_model_at(model, tuple(fault["loc"][:-1])))))
            for fault in found
            if fault["type"] == "extra_forbidden"
        }
        for fault in found:
            if fault["type"] != "missing" or tuple(fault["loc"]) not in misspelled:  # it is there, under a wrong name
                _translate(model, entry, fault, faults)
        return None
    return Entry(entry.source, entry.path, table)


def _translate(model: type[Table], entry: Entry[Any], fault: Any, faults: Faults) -> None:  # noqa: ANN401 - pydantic's
    """Put one of pydantic's errors into the builder's words."""
    path: KeyPath = tuple(fault["loc"])
    file = entry.source.at((*entry.path, *path))
    kind, value = fault["type"], fault["input"]
    cause = fault.get("ctx", {}).get("error")
    if isinstance(cause, GradehaulError):
        for one in cause.errors if isinstance(cause, Problems) else (cause,):
            # What begins with its key, or names a curve's radius, need not have the key in its place as well.
            begins = one.wrong.split(" ", 1)[0]
            inside = path[:-1] if path and begins in {path[-1], "radius"} else path
            example = _example(model, path) if begins in path or one.wrong.endswith("must not be empty") else ""
            error = PlanError(one.wrong, found=one.found, write=one.write or example)
            faults.add(error, file=file, place=_place(model, entry, inside))
        return
    if kind == "extra_forbidden":
        error = _unknown_key(str(path[-1]), _keys(_model_at(model, path[:-1])), value)
        faults.add(error, file=file, place=_place(model, entry, path[:-1]))
        return
    if kind == "missing":
        key = str(path[-1])
        examples = _examples(_model_at(model, path[:-1]), key)
        faults.add(PlanError(f"{key} is missing", write=examples), file=file, place=_place(model, entry, path[:-1]))
        return
    example = _example(model, path) if path else f"{_header(entry)} with its keys below it"
    if kind == "literal_error":
        choices = re.findall(r"'([^']*)'", fault["ctx"]["expected"])
        example = quoted(near) if isinstance(value, str) and (near := nearest(value, choices)) else example
    if path[:1] == ("consist",) and isinstance(value, int):
        example = f'"{value} NAME", the number and the name in one pair of quotes'
    wrong, found = _WRONG.get(kind, ("cannot be read", "{shown}"))
    words = {key: value for key, value in fault.get("ctx", {}).items() if isinstance(value, int | float | str)}
    faults.add(
        PlanError(
            f"must be {wrong.format(**words)}".replace("'", '"').removesuffix(".0"),
            found=found.format(shown=shown(value), **words),
            write=example,
        ),
        file=file,
        place=_place(model, entry, path),
    )


_WRONG = {
    "string_type": ("text in quotes", "{shown}"),
    "int_type": ("a whole number", "{shown}"),
    "int_from_float": ("a whole number", "{shown}"),
    "float_type": ("a number", "{shown}"),
    "finite_number": ("a finite number", "{shown}"),
    "list_type": ("a list in [ ]", "{shown}"),
    "dict_type": ("a table", "{shown}"),
    "model_type": ("a table", "{shown}"),
    "bool_type": ("true or false", "{shown}"),
    "literal_error": ("{expected}", "{shown}"),
    "too_short": ("a list of {min_length} or more", "a list of {actual_length}"),
    "too_long": ("a list of {max_length} at most", "a list of {actual_length}"),
    "greater_than": ("more than {gt}", "{shown}"),
    "greater_than_equal": ("at least {ge}", "{shown}"),
    "less_than_equal": ("at most {le}", "{shown}"),
}
"""What pydantic finds wrong, in our words; a table's check in the tests goes through all that can occur."""


def _place(model: type[Table], entry: Entry[Any], path: KeyPath) -> str:
    """Return the words for a place inside a table, e.g. ``line "Main", track 2 "Horseshoe", left``."""
    words = [entry.place]
    steps = list(path)
    while steps:
        step = steps.pop(0)
        if isinstance(step, str) and steps and isinstance(steps[0], int):
            number = steps.pop(0)
            assert isinstance(number, int)
            if step == "track" and model in {LineTable, PieceTable}:
                words.append(f"track {number + 1}{_own_name(entry.table, number)}")
                continue
            item = "reading" if words[-1] in _READINGS else _ITEM.get(step, "item")
            words += [step, f"{item} {number + 1}"]
        elif isinstance(step, int):
            words.append(f"item {step + 1}")
        else:
            words.append(cut(clean(step)))
    return ", ".join(words)


def _own_name(table: Any, number: int) -> str:  # noqa: ANN401 - a table as TOML gave it
    name = track.get("name") if isinstance(track := table["track"][number], dict) else None
    return f" {quoted(name)}" if isinstance(name, str) and clean(name) else ""


def _model_at(model: type[BaseModel], path: KeyPath) -> type[BaseModel]:
    """Return the model of the table that a path leads to."""
    for step in path:
        if isinstance(step, str):
            for name, info in model.model_fields.items():
                if (info.alias or name) == step and (inner := _model_in(info.annotation)):
                    model = inner
    return model


def _model_in(annotation: Any) -> type[BaseModel] | None:  # noqa: ANN401 - any type there is
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((inner for each in get_args(annotation) if (inner := _model_in(each))), None)


def _keys(model: type[BaseModel]) -> list[str]:
    return [info.alias or name for name, info in model.model_fields.items()]


def _examples(model: type[BaseModel], key: str) -> str:
    found = [info.examples for name, info in model.model_fields.items() if (info.alias or name) == key]
    return str(found[0][0]) if found and found[0] else ""


def _example(model: type[BaseModel], path: KeyPath) -> str:
    """Return how the key that a path leads to, or leads through, is written; empty where that is not known."""
    for end in range(len(path), 0, -1):
        inside, key = _model_at(model, path[: end - 1]), path[end - 1]
        if key in _keys(inside):
            return _examples(inside, str(key))
    return ""


def _header(entry: Entry[Any]) -> str:
    """Return the header of a table as it is written."""
    section = str(entry.path[0])
    if len(entry.path) > 1 and isinstance(entry.path[-1], int):
        return f"[[{section}]]"
    return f"[{section}]" if len(entry.path) == 1 else header(section, str(entry.path[-1]))


def _unknown_key(key: str, known: Collection[str], value: object) -> PlanError:
    if key == "radius" and "left" in known:
        radius = cut(clean(shown(value)))
        return PlanError(
            "a curve is written with its hand, not its radius alone",
            found=f"radius = {radius}",
            write=f"left = {radius} or right = {radius}",
        )
    meant = KEYS.get(key.casefold())
    if meant in known:
        return PlanError(f"unknown key {quoted(key)}", write=f"{meant} = {cut(clean(shown(value)))}")
    near = nearest(key, known)
    if near is None and key in HEAD:
        return PlanError(f"{key} belongs above the first table, not in one", write=f"{key} = ... above the first table")
    return PlanError(f"unknown key {quoted(key)}", write=near or f"one of {', '.join(known)}")


def header(section: str, name: str) -> str:
    """Return a table's header as it is written, e.g. ``[line."Up ore"]``."""
    return f"[{section}.{key_text(name)}]"
