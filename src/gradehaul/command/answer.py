"""What every verb does around its answer: options are checked, and the answer is printed or written in its form."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal
from zlib import crc32

import click
from click.core import ParameterSource

from gradehaul.command.output import complain, deliver, laid_out
from gradehaul.command.parameters import option_of, plan_of
from gradehaul.errors import PlanError

if TYPE_CHECKING:
    from gradehaul.plan.records import Plan
    from gradehaul.quantities import System
    from gradehaul.show.base.page import Page
    from gradehaul.show.base.paper import SizeName
    from gradehaul.show.base.picture import Format
    from gradehaul.show.base.unit_format import Grades, UnitFormat
    from gradehaul.show.sheets import PaperName

FAILS = 1
"""Exit status where, with ``--strict``, a named train fails or something went unchecked."""

Form = Literal["text", "json", "csv", "csv trains", "card", "sheet", "html", "toml", "drawing", "png", "svg", "pdf"]
_FLAGS: dict[str, Form] = {
    "as_json": "json",
    "as_csv": "csv",
    "csv_trains": "csv trains",
    "card": "card",
    "sheet": "sheet",
}
_ENDINGS: dict[str, tuple[str, ...]] = {
    "text": (".txt",),
    "json": (".json",),
    "csv": (".csv",),
    "html": (".html", ".htm"),
    "toml": (".toml",),
    "drawing": (".dxf",),
    "picture": (".png", ".svg", ".pdf"),
}
_NAMES = {"text": "text", "json": "JSON", "csv": "a table", "html": "a page", "toml": "a plan", "drawing": "a drawing"}


@dataclass(frozen=True, slots=True)
class Output:
    """How an answer is wanted: its form, the file it goes to, and the units of whoever reads it."""

    form: Form | Format
    path: str | None
    """The file; None and ``-`` print."""
    size: SizeName
    show: System | None
    grades: Grades
    si: bool = False
    """Whether tables are in SI units."""
    paper: PaperName | None = None

    @property
    def to_file(self) -> bool:
        """Whether a file is named."""
        return self.path is not None and self.path != "-"

    def units(self, plan: Plan) -> UnitFormat:
        """Return the units in which lengths, forces and grades are written."""
        from gradehaul.show.base.unit_format import units_for

        return units_for(plan, self.show, self.grades)

    def paper_for(self, units: UnitFormat) -> PaperName:
        """Return the paper of sheets: the one wanted, else that at hand where the units are used."""
        from gradehaul.show.sheets import PAPER_OF

        return self.paper or PAPER_OF[units.system]

    def picture(self) -> Format:
        """Return the format of the picture that the name of the file stands for."""
        from gradehaul.show.base.picture import picture_format

        return picture_format(self.path or "")


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer as it goes out."""

    shown: Page | str | bytes | Mapping[str, Any]
    """A document is printed as JSON."""
    copy: Callable[[], str | bytes | None] | None = None
    """What the file after ``-o`` holds where the answer is printed in any case; None where nothing changes."""
    passes: bool = True
    """Whether ``--strict`` is content with it."""
    remarks: Sequence[str] = ()
    """Lines for standard error."""


def in_form(
    out: Output,
    plan: Plan,
    document: Callable[[], Mapping[str, Any]],
    page: Callable[[UnitFormat], Page],
    csv: Callable[[UnitFormat | None], str] | None = None,
    picture: Callable[[Format, UnitFormat], bytes] | None = None,
) -> Page | str | bytes | Mapping[str, Any]:
    """Return an answer in the form that is wanted; a table in SI units gets no units."""
    units = out.units(plan)
    match out.form:
        case "json":
            return document()
        case "csv" if csv is not None:
            return csv(None if out.si else units)
        case "png" | "svg" | "pdf" as form if picture is not None:
            return picture(form, units)
    return page(units)


def answers(
    *, writes: Literal["html", "toml", "drawing"] | None = None, draws: bool = False, copies: bool = False
) -> Callable[[Callable[..., Answer]], Callable[..., None]]:
    """Return a decorator that makes a verb of a function which returns its answer.

    The function is called with an `Output` as ``out`` in the place of the options that concern it. The verb `writes` a
    file of one form, where there is no other; a file with the ending of a picture `draws` the answer; or the answer is
    printed in any case, and the file `copies` what goes with it.
    """

    def decorate(function: Callable[..., Answer]) -> Callable[..., None]:
        @wraps(function)
        def verb(**given: Any) -> None:  # noqa: ANN401 - as click has it
            path, open_it, strict = given.pop("output", None), given.pop("open_it", False), given.pop("strict", False)
            form: Form | Format = writes if writes is not None and not copies else _form(given, path)
            _refuse_opening(path, open_it)
            if writes == "html" and path is None and sys.stdout is not None and sys.stdout.isatty():
                raise click.UsageError("the answer is a page for a browser: put -o with a name that ends in .html")
            if "stock" in given:  # what a design is for, named by four options
                given["stock"] = plan_of(click.get_current_context())
                given = {name: value for name, value in given.items() if name not in ("scale", "unit", "practice")}
            plan = given.get("plan") or given.get("stock")
            _refuse_plan(None if copies else path, plan)
            grades: Grades = given.pop("grades", None) or "percent"
            out = Output(
                form,
                path,
                given.pop("size", "a4"),
                given.pop("show", None),
                grades,
                given.pop("si", False),
                given.pop("paper", None),
            )
            if out.si and form not in ("csv", "csv trains"):
                raise click.UsageError("--si needs --csv as well: add that, or leave --si out")
            if draws and form == "text" and out.to_file:
                out = replace(out, form=out.picture())
            refuse_ending(path, writes or ("" if copies else out.form))
            answer = function(out=out, **given)
            shown, to_file = answer.shown, path is not None and answer.copy is None
            deliver(_written(shown, to_file=to_file), path if to_file else None, open_it=open_it and to_file)
            if path is not None and answer.copy is not None:  # the answer stands, whether or not this can be written
                _refuse_plan(path, plan)
                _deliver_copy(answer.copy(), path, open_it=open_it)
            for remark in answer.remarks:
                complain(remark)
            if strict and not answer.passes:
                sys.exit(FAILS)

        return verb

    return decorate


def _written(shown: Page | str | bytes | Mapping[str, Any], *, to_file: bool) -> str | bytes:
    if isinstance(shown, str | bytes):
        return shown
    if isinstance(shown, Mapping):
        from gradehaul.quantities.document import json_text

        return json_text(shown)
    return laid_out(shown, to_file=to_file)


def _form(given: dict[str, Any], path: str | None) -> Form:
    """Take the flags of forms out of what is given, and return the form that one of them names, or else the file."""
    ending = Path(path or "").suffix.lower()
    flags = {name: given.pop(name) for name in _FLAGS if name in given}
    wanted = [name for name, flag in flags.items() if flag]
    if len(wanted) > 1:
        options = [option_of(param) for param in click.get_current_context().command.params if param.name in flags]
        each_other = "one another" if len(options) > 2 else "each other"
        raise click.UsageError(f"{', '.join(options[:-1])} and {options[-1]} exclude {each_other}")
    if not wanted and ending in (".csv", ".json") and f"as_{ending[1:]}" in flags:
        return "csv" if ending == ".csv" else "json"
    return _FLAGS[wanted[0]] if wanted else "text"


def _refuse_opening(output: str | None, open_it: bool) -> None:
    if open_it and (output is None or output == "-"):
        raise click.UsageError("--open opens what -o writes: put -o with a name beside it")


def _refuse_plan(output: str | None, plan: Plan | None) -> None:
    """Keep an answer from being written over a plan, this one or one it may include, or over its drawing."""
    if output is None:
        return
    if not output:
        raise PlanError("the name of the file to write is empty", file="-o", write="a name after -o, or - to print")
    if not Path(output).exists():
        return
    if Path(output).suffix.lower() == ".dxf" and not _own_drawing(output):
        raise PlanError("an answer may not replace a drawing", file=output, write="another name after -o")
    file = "" if plan is None else plan.file
    this = bool(file) and Path(file).exists() and Path(output).samefile(file)
    if this or (Path(output).suffix.lower() == ".toml" and not _own_plan(output)):
        raise PlanError("an answer may not replace a plan", file=output, write="another name after -o")


def _deliver_copy(copy: str | bytes | None, path: str, *, open_it: bool) -> None:
    if copy is None:
        complain(f"{path}: not written, since nothing would change in the plan")
        return
    if isinstance(copy, str) and path != "-":
        body = copy[: _signed_from(copy)]
        copy = f"{body}{_signature(body)}\n"
    deliver(copy, path, open_it=open_it)


def _signature(body: str) -> str:
    """Return the line below a plan that this verb writes, by which it knows that nobody has changed it since."""
    verb = click.get_current_context().command.name
    return f"# gradehaul {verb} wrote this, and writes it anew while it is unchanged: {crc32(body.encode()):08x}"


def _signed_from(text: str) -> int:
    """Return where the line of a signature begins in a plan, its length where there is none."""
    last = text.rstrip().rfind("\n") + 1
    return last if text.startswith("# gradehaul ", last) else len(text)


def _own_plan(path: str) -> bool:
    """Return whether a plan is one that this verb has written and may write again: nobody has changed it."""
    text = Path(path).read_bytes().decode("utf-8", "replace")
    body = text[: _signed_from(text)]
    return text == f"{body}{_signature(body)}\n"


def _own_drawing(path: str) -> bool:
    """Return whether a drawing is one that this command has written and may write again."""
    from gradehaul.show.drawing.dxf import SIGN

    if not Path(path).is_file():
        return False
    with Path(path).open("rb") as file:
        return file.read(len(SIGN)) == SIGN


def refuse_ending(output: str | None, form: str) -> None:
    """Keep an answer from a file whose ending is that of another form; pages, plans and drawings have one."""
    kind = form.partition(" ")[0]
    if output is None or output == "-" or kind not in _NAMES:
        return
    ending = Path(output).suffix.lower()
    others = {each for other, endings in _ENDINGS.items() if other != kind for each in endings}
    if ending not in _ENDINGS[kind] and (kind in ("html", "toml", "drawing") or ending in others):
        raise PlanError(
            f"{_NAMES[kind]} is written as {' or '.join(_ENDINGS[kind])}",
            file=output,
            found=ending or "a name without an ending",
            write=" or ".join(f"-o {Path(output).stem or 'NAME'}{each}" for each in _ENDINGS[kind]),
        )


def refuse_idle(*names: str, needs: str = "", beside: str = "") -> None:
    """Refuse options that were given and would do nothing: without what they need, or beside what leaves them out."""
    context = click.get_current_context()
    for option in context.command.params:
        given = context.get_parameter_source(option.name or "") == ParameterSource.COMMANDLINE
        if option.name in names and given:
            own = option_of(option)
            if needs:
                raise click.UsageError(f"{own} needs {needs} as well: add that, or leave {own} out")
            raise click.UsageError(f"{own} has no effect beside {beside}: leave one of them out")
