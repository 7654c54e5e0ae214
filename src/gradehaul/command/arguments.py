"""What verbs take: the plan, the form of the answer, and where it may not go."""

from __future__ import annotations

import errno
import os
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click
from click.core import ParameterSource

from gradehaul.errors import PlanError

if TYPE_CHECKING:
    from gradehaul.plan.records import Plan
    from gradehaul.show.base.picture import Format


Form = Literal["json", "csv", "text"]


def form_asked(*, as_json: bool, as_csv: bool) -> Form:
    """Return the form that is asked for, text where none is."""
    if as_json and as_csv:
        raise click.UsageError("--json and --csv exclude each other")
    return "json" if as_json else "csv" if as_csv else "text"


def form_of(output: str | None, asked: Form) -> Form | Format:
    """Return the form of an answer: a picture, as its ending tells, where a file and no other form is asked for."""
    if asked != "text" or output is None or output == "-":
        return asked
    from gradehaul.show.base.picture import picture_format

    return picture_format(output)


def load(path: str) -> Plan:
    """Return the plan in a file."""
    from gradehaul.plan import load_plan

    try:
        if Path(path).is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        return load_plan(path)
    except OSError as error:
        raise OSError(error.errno, f"cannot be read: {error.strerror or error}", error.filename or path) from error


def refuse_plan(output: str | None, plan: str) -> None:
    """Keep an answer from being written over a plan, this one or one it may include, or over its drawing."""
    if output is None:
        return
    if not output:
        raise PlanError("the name of the file to write is empty", file="-o", write="a name after -o, or - to print")
    if not Path(output).exists():
        return
    if Path(output).suffix.lower() == ".dxf":
        raise PlanError("an answer is not written over a drawing", file=output, write="another name after -o")
    if Path(output).suffix.lower() == ".toml" or (Path(plan).exists() and Path(output).samefile(plan)):
        raise PlanError("an answer is not written over a plan", file=output, write="another name after -o")


def refuse_idle(*names: str, needs: str = "", beside: str = "") -> None:
    """Refuse options that were given and would do nothing: without what they need, or beside what leaves them out."""
    context = click.get_current_context()
    for option in context.command.params:
        given = context.get_parameter_source(option.name or "") == ParameterSource.COMMANDLINE
        if option.name in names and given:
            told = max(option.opts, key=len)
            raise click.UsageError(
                f"{told} does nothing without {needs}" if needs else f"{told} does nothing beside {beside}"
            )


_ENDINGS: dict[str, tuple[str, ...]] = {
    "text": (".txt",),
    "json": (".json",),
    "csv": (".csv",),
    "html": (".html", ".htm"),
    "toml": (".toml",),
    "drawing": (".dxf",),
    "picture": (".png", ".svg", ".pdf"),
}
_NAMES = {"text": "text", "json": "JSON", "csv": "a table", "html": "a page", "toml": "a plan"}


def refuse_ending(output: str | None, form: str) -> None:
    """Keep an answer from a file whose ending tells of something else; a page and a plan have just their own."""
    if output is None or output == "-" or form not in _NAMES:
        return
    ending = Path(output).suffix.lower()
    others = {each for kind, endings in _ENDINGS.items() if kind != form for each in endings}
    if ending not in _ENDINGS[form] and (form in ("html", "toml") or ending in others):
        raise PlanError(
            f"{_NAMES[form]} is written as {' or '.join(_ENDINGS[form])}",
            file=output,
            found=ending or "a name without an ending",
            write=" or ".join(f"-o {Path(output).stem or 'NAME'}{each}" for each in _ENDINGS[form]),
        )


def begins_with(path: str, sign: bytes) -> bool:
    """Tell whether there is a file that begins with a sign."""
    if not Path(path).is_file():
        return False
    with Path(path).open("rb") as file:
        return file.read(len(sign)) == sign


def refuse_opening(output: str | None, open_it: bool) -> None:
    """Refuse to open what is not written to a file."""
    if open_it and (output is None or output == "-"):
        raise click.UsageError("--open opens what -o writes: put -o with a name beside it")
