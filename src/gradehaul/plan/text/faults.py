"""Faults of a plan: gathered in one reading, each with its file and its place in the builder's words."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any, Generic, TypeVar, get_args

from pydantic import BaseModel, ValidationError

from gradehaul.errors import GradehaulError, PlanError, Problems, clean, cut, quoted, shown
from gradehaul.plan.names import header, nearest, unknown
from gradehaul.plan.records import Note
from gradehaul.plan.schema.plan import HEAD, KEYED, LISTED, SINGLE
from gradehaul.plan.schema.values import Table

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping
    from pathlib import Path

    from pydantic.fields import FieldInfo

    from gradehaul.plan.text.toml import KeyPath

T_co = TypeVar("T_co", covariant=True)
Model = TypeVar("Model", bound=Table)

_GUESSES = 50_000
"""Names compared in looking for near ones, in one reading; each takes some 40 µs."""
_ITEM = {
    **dict.fromkeys(("railhead_at", "heights", "through", "moves"), "pair"),
    "consist": "entry",
    "legs": "leg",
}
_TRADE_WORDS = {
    "weight": "mass",
    "tired_wheels": "tyred_wheels",
    **{f"{what}{tires}": "tyred_wheels" for what in ("", "rubber_", "traction_") for tires in ("tyres", "tires")},
    "traction_wheels": "tyred_wheels",
    "wheels": "driven_wheels",
    "drivers": "driven_wheels",
    "gradient": "grade",
    "slope": "grade",
    "height": "railhead",
    "cars": "consist",
}
"""Words of the trade, and the key that a plan has for each."""


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
        """Return the file, with the line of the nearest header above a value, or of a section's first, where one is."""
        for end in range(len(path), 0, -1):
            if path[:end] in self.headers:
                return f"{self.file}:{self.headers[path[:end]]}"
        within = [line for header, line in self.headers.items() if len(path) == 1 and header[:1] == path]
        return f"{self.file}:{min(within)}" if within else self.file


@dataclass(frozen=True, slots=True)
class Entry(Generic[T_co]):
    """One table of a plan, where it stands and what it says."""

    source: Source
    path: KeyPath
    table: T_co

    @property
    def place(self) -> str:
        """The words that name this table in a message."""
        section = str(self.path[0]) if self.path else ""
        if section in {"", "scale"}:
            return section
        if isinstance(self.path[-1], int):
            return f"{section} {self.path[-1] + 1}"
        return (
            f"[{section}]" if section in SINGLE or section == "railhead" else f"{section} {quoted(str(self.path[-1]))}"
        )

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

    def take(self, file: str, place: str, wrong: str, *, found: str = "", write: str = "") -> None:
        """Take an error at a place of a file."""
        self.errors.append(PlanError(wrong, file=file, place=place, found=found, write=write))

    def at(self, entry: Entry[object], wrong: str, *, found: str = "", write: str = "", inside: str = "") -> None:
        """Take an error of a table, or of a place inside it."""
        self.take(entry.file, _within(entry, inside), wrong, found=found, write=write)

    def unknown(
        self, entry: Entry[object], what: str, name: str, known: Collection[str], *, declare: str = "", inside: str = ""
    ) -> None:
        """Take the error for a name that nothing bears; the nearest name is looked for a limited number of times."""
        self.guesses -= len(known)
        error = unknown(what, name, known, declare=declare, guess=self.guesses > 0)
        self.add(error, file=entry.file, place=_within(entry, inside))

    def known(
        self, entry: Entry[object], what: str, name: str, known: Collection[str], *, declare: str = "", inside: str = ""
    ) -> bool:
        """Return whether a name is one of those known; the error for one that is not is taken."""
        if name not in known:
            self.unknown(entry, what, name, known, declare=declare, inside=inside)
        return name in known

    def note(self, place: str, text: str) -> None:
        """Take a note."""
        self.notes.append(Note(place, text))

    def raise_all(self) -> None:
        """Raise everything found wrong, if anything was, in the order of the lines."""
        if self.errors:
            files = list(dict.fromkeys(_line(error)[0] for error in self.errors))
            raise Problems(sorted(self.errors, key=lambda error: (files.index(_line(error)[0]), _line(error)[1])))


def _within(entry: Entry[object], inside: str) -> str:
    return f"{entry.place}, {inside}" if inside else entry.place


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
            (*fault["loc"][:-1], nearest(str(fault["loc"][-1]), _fields(_model_at(model, fault["loc"][:-1]))))
            for fault in found
            if fault["type"] == "extra_forbidden"
        }
        for fault in found:
            if fault["type"] != "missing" or fault["loc"] not in misspelled:  # it is there, under a wrong name
                for place, one in _in_our_words(model, entry, fault):
                    faults.add(
                        one, file=entry.source.at((*entry.path, *fault["loc"])), place=_place(model, entry, place)
                    )
        return None
    return Entry(entry.source, entry.path, table)


def _in_our_words(model: type[Table], entry: Entry[Any], fault: Any) -> Iterator[tuple[KeyPath, PlanError]]:  # noqa: ANN401 - pydantic's
    """Yield one of pydantic's errors, or those of a validator of our own, with the place of each in the table."""
    path: KeyPath = fault["loc"]
    kind, value, context = fault["type"], fault["input"], fault.get("ctx", {})
    cause = context.get("error")
    if isinstance(cause, GradehaulError):
        for one in cause.errors if isinstance(cause, Problems) else (cause,):
            # What begins with its key, or names a curve's radius, need not have the key in its place as well.
            begins = one.wrong.split(" ", 1)[0]
            example = _example(model, path) if begins in path or one.wrong.endswith("must not be empty") else ""
            inside = path[:-1] if path and begins in {path[-1], "radius"} else path
            yield inside, PlanError(one.wrong, found=one.found, write=one.write or example)
        return
    if kind == "extra_forbidden":
        yield path[:-1], _unknown_key(str(path[-1]), _fields(_model_at(model, path[:-1])), value)
        return
    if kind == "missing":
        yield path[:-1], PlanError(f"{path[-1]} is missing", write=_example(model, path))
        return
    write = _example(model, path) if path else f"{table_header(str(entry.path[0]))} with its keys below it"
    if kind == "literal_error" and isinstance(value, str):
        near = nearest(value, re.findall(r"'([^']*)'", context["expected"]))
        write = quoted(near) if near else write
    wrong = _WRONG.get(kind, "what can be read").format(**context).replace("'", '"').removesuffix(".0")
    found = f"a list of {context['actual_length']}" if "actual_length" in context else shown(value)
    yield path, PlanError(f"must be {wrong}", found=found, write=write)


_WRONG = {
    "string_type": "text in quotes",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "finite_number": "a finite number",
    "list_type": "a list in [ ]",
    "dict_type": "a table",
    "model_type": "a table",
    "bool_type": "true or false",
    "literal_error": "{expected}",
    "too_short": "a list of {min_length} or more",
    "too_long": "a list of {max_length} at most",
    "greater_than": "more than {gt}",
    "greater_than_equal": "at least {ge}",
    "less_than_equal": "at most {le}",
}
"""What pydantic finds wrong, in our words."""


def _place(model: type[Table], entry: Entry[Any], path: KeyPath) -> str:
    """Return the words for a place inside a table, e.g. ``line "Main", track 2 "Horseshoe", left``."""
    words = [entry.place] if entry.place else []
    for before, step in zip((None, *path), path, strict=False):
        if not isinstance(step, int):
            words.append(cut(clean(step)))
        elif before == "track" and "track" in _fields(model):
            words[-1] = f"track {step + 1}{_own_name(entry.table, step)}"
        elif isinstance(before, str):
            reading = path[0] in {"pull", "slipping"} and len(path) == 3
            words.append(f"{'reading' if reading else _ITEM.get(before, 'item')} {step + 1}")
        else:
            words.append(f"item {step + 1}")
    return ", ".join(words)


def _own_name(table: Any, number: int) -> str:  # noqa: ANN401 - a table as TOML gave it
    name = track.get("name") if isinstance(track := table["track"][number], dict) else None
    return f" {quoted(name)}" if isinstance(name, str) and clean(name) else ""


@cache
def _fields(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Return the fields of a model by the keys that a plan has for them."""
    return {info.alias or name: info for name, info in model.model_fields.items()}


def _model_at(model: type[BaseModel], path: KeyPath) -> type[BaseModel]:
    """Return the model of the table that a path leads to."""
    for step in path:
        info = _fields(model).get(str(step))
        model = (info and _model_in(info.annotation)) or model
    return model


def _model_in(annotation: Any) -> type[BaseModel] | None:  # noqa: ANN401 - any type there is
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((inner for each in get_args(annotation) if (inner := _model_in(each))), None)


def _example(model: type[BaseModel], path: KeyPath) -> str:
    """Return how the key that a path leads to, or leads through, is written; empty where that is not known."""
    for end in range(len(path), 0, -1):
        info = _fields(_model_at(model, path[: end - 1])).get(str(path[end - 1]))
        if info is not None:
            return str(info.examples[0]) if info.examples else ""
    return ""


def table_header(section: str, name: str = "NAME") -> str:
    """Return the header of a table as it is written."""
    if section in LISTED:
        return f"[[{section}]]"
    return header(section, name) if section in KEYED else f"[{section}]"


def _unknown_key(key: str, known: Collection[str], value: object) -> PlanError:
    found = cut(clean(shown(value)))
    if key == "radius" and "left" in known:
        wrong = "a curve is written with its hand, not its radius alone"
        return PlanError(wrong, found=f"radius = {found}", write=f"left = {found} or right = {found}")
    meant = _TRADE_WORDS.get(key.casefold())
    if meant in known:
        return PlanError(f"unknown key {quoted(key)}", write=f"{meant} = {found}")
    near = nearest(key, known)
    if near is None and key in HEAD:
        return PlanError(
            f'"{key}" belongs above the first table, not in one', write=f"{key} = ... above the first table"
        )
    return PlanError(f"unknown key {quoted(key)}", write=near or f"one of {', '.join(known)}")
