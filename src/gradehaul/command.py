"""The command line: reads the arguments, calls one function a verb, prints."""

from __future__ import annotations

import errno
import os
import shutil
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from gradehaul import __version__
from gradehaul.errors import GradehaulError, PlanError

if TYPE_CHECKING:
    from gradehaul.haulage.check import CheckAnswer
    from gradehaul.plan.records import Plan
    from gradehaul.show.reading_units import Grades, Reader, System

ANSWERED, FAILS, WRONG_INPUT, NO_FILE, INTERRUPTED = 0, 1, 2, 3, 130
"""Exit status: answered; answered, and a judged train fails; the input is wrong; a file cannot be read or written;
stopped from the keyboard."""


class _Verbs(click.Group):
    """The verbs; whatever goes wrong in one becomes lines on standard error and an exit status."""

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - as click has it
        try:
            return super().invoke(ctx)
        except GradehaulError as error:
            _complain(str(error))
            ctx.exit(NO_FILE if isinstance(error.__cause__, OSError) else WRONG_INPUT)
        except OSError as error:
            where = f"{error.filename}: " if error.filename else ""
            _complain(f"{where}{error.strerror or error}")
            ctx.exit(NO_FILE)
        except KeyboardInterrupt:
            _complain("stopped")
            ctx.exit(INTERRUPTED)


@click.group(cls=_Verbs, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="gradehaul", message="%(prog)s %(version)s")
def main() -> None:
    r"""Tell what each hill of a model railway asks of each train, and which trains still climb.

    \b
    Exit status: 0 answered; 1 answered, and with --strict a named train fails;
    2 the input is wrong; 3 a file cannot be read or written.
    """


@main.command()
@click.argument("plan", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="One JSON document and nothing else.")
@click.option("--csv", "as_csv", is_flag=True, help="The loads as a table for a spreadsheet.")
@click.option("--strict", is_flag=True, help="Exit with 1 where a named train stalls or runs away.")
@click.option("-o", "--output", type=click.Path(), help="Write this file, whole or not at all; - prints.")
@click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to show.  [default: the plan's]")
@click.option("--grades", type=click.Choice(["percent", "permille", "one-in"]), default="percent", show_default=True)
@click.option("--all-routes", is_flag=True, help="Every route between ends and berths, up to a limit.")
def check(
    *,
    plan: str,
    as_json: bool,
    as_csv: bool,
    strict: bool,
    output: str | None,
    show: System | None,
    grades: Grades,
    all_routes: bool,
) -> None:
    """Tell what each route asks, the longest trains over it, and which named trains climb."""
    if as_json and as_csv:
        raise click.UsageError("--json and --csv exclude each other")
    _refuse_plan(output, plan)
    loaded = _load(plan)
    from gradehaul.haulage.check import check as checked
    from gradehaul.show.progress import progress_on
    from gradehaul.show.reading_units import balance_unit, reader_of

    with progress_on(sys.stderr, "routes") as progress:
        answer = checked(loaded, all_routes=all_routes, progress=progress)
    form: _Form = "json" if as_json else "csv" if as_csv else "text"
    reader = reader_of(loaded.unit, show, grades, force_unit=balance_unit(loaded))
    _deliver(_written(answer, form, reader, to_file=output is not None), output)
    if strict and not _passes(answer):
        sys.exit(FAILS)


_Form = Literal["json", "csv", "text"]


def _load(path: str) -> Plan:
    from gradehaul.plan import load_plan

    try:
        if Path(path).is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        return load_plan(path)
    except OSError as error:
        raise OSError(error.errno, f"cannot be read: {error.strerror or error}", error.filename or path) from error


def _refuse_plan(output: str | None, plan: str) -> None:
    """Keep an answer from being written over a plan: this one, or one it may include."""
    if output is None or not Path(output).exists():
        return
    if Path(output).suffix.lower() == ".toml" or (Path(plan).exists() and Path(output).samefile(plan)):
        raise PlanError("an answer is not written over a plan", file=output, write="another name after -o")


def _written(answer: CheckAnswer, form: _Form, reader: Reader, *, to_file: bool) -> str:
    if form == "json":
        from gradehaul.show.check_json import check_json

        return check_json(answer)
    if form == "csv":
        from gradehaul.show.check_csv import check_csv

        return check_csv(answer)
    from gradehaul.show.check_text import check_page

    terminal = not to_file and sys.stdout is not None and sys.stdout.isatty()
    color = terminal and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    return check_page(answer, reader).text(width=shutil.get_terminal_size().columns if terminal else None, color=color)


def _passes(answer: CheckAnswer) -> bool:
    """Return whether every named train passes; one without a verdict does not."""
    from gradehaul.show.naming import unjudged

    missing = unjudged(answer)
    for name in missing:
        _complain(f'train "{name}": not judged, since its route is not among those answered')
    return answer.passes and not missing


# Delivering


def _deliver(text: str, output: str | None) -> None:
    """Print an answer, or write it to a file whole or not at all."""
    if output is not None and output != "-":
        from gradehaul.show.whole_file import write_whole

        write_whole(output, text.encode("utf-8"))
        return
    if sys.stdout is None:  # closed by whoever started us: nobody listens
        return
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    try:
        click.echo(text.encode(encoding, "replace"), nl=False)
    except BrokenPipeError:  # the reader has seen enough, as `| head` has
        _silence_output()
    except OSError as error:
        _silence_output()
        raise OSError(error.errno, f"cannot be written: {error.strerror or error}", "standard output") from error


def _silence_output() -> None:
    """Send what is still held for standard output nowhere, so that the interpreter does not fail on it at its end."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _complain(lines: str) -> None:
    """Print lines on standard error, with nothing in them that a terminal would obey."""
    plain = "".join(sign if sign.isprintable() or sign == "\n" else "\N{REPLACEMENT CHARACTER}" for sign in lines)
    with suppress(OSError):
        click.echo(plain, err=True)
