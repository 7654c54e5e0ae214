"""The command line: each verb reads its arguments, calls one function, and prints; exit status, and how faults look."""

from __future__ import annotations

from typing import Any

import click

from gradehaul import __version__
from gradehaul.command.answers import check, profile, readings, report, treat, try_
from gradehaul.command.climbs import helix, incline
from gradehaul.command.hills import clearance, fit, level, risers
from gradehaul.command.output import complain
from gradehaul.command.plans import export, import_, live, map_, new
from gradehaul.errors import GradehaulError

__all__ = ["main"]

WRONG_INPUT, NO_FILE, INTERRUPTED = 2, 3, 130
"""Exit status: the input is wrong; a file cannot be read or written; stopped from the keyboard."""


_MOST_LINES = 50
"""Faults shown in one run at the most: whoever mends these sees the rest."""


class Verbs(click.Group):
    """The verbs; whatever goes wrong in one becomes lines on standard error and an exit status."""

    def make_context(self, *args: Any, **extra: Any) -> click.Context:  # noqa: ANN401 - as click has it
        """Read what stands before the verb."""
        try:
            return super().make_context(*args, **extra)
        except click.exceptions.NoArgsIsHelpError:
            raise
        except click.UsageError as error:
            if error.ctx is None:
                raise
            complain(_usage_line(error, error.ctx))
            raise click.exceptions.Exit(WRONG_INPUT) from error

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the verbs in the order of the work."""
        del ctx
        return list(self.commands)

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - as click has it
        """Run a verb."""
        try:
            return super().invoke(ctx)
        except click.exceptions.NoArgsIsHelpError:
            raise
        except click.UsageError as error:
            complain(_usage_line(error, ctx))
            ctx.exit(WRONG_INPUT)
        except GradehaulError as error:
            lines = str(error).splitlines()
            for line in lines[:_MOST_LINES]:
                complain(line)
            if len(lines) > _MOST_LINES:
                complain(f"and {len(lines) - _MOST_LINES} more")
            ctx.exit(NO_FILE if isinstance(error.__cause__, OSError) else WRONG_INPUT)
        except OSError as error:
            where = f"{error.filename}: " if error.filename else ""
            complain(f"{where}{error.strerror or error}")
            ctx.exit(NO_FILE)
        except KeyboardInterrupt:
            complain("stopped")
            ctx.exit(INTERRUPTED)


def _usage_line(error: click.UsageError, ctx: click.Context) -> str:
    """Return what is wrong with a command line behind its verb, which a fault in reading options does not know."""
    inner = error.ctx if error.ctx not in (None, ctx) else None
    place = inner.command_path if inner else " ".join(filter(None, (ctx.command_path, ctx.invoked_subcommand)))
    message = " ".join(error.format_message().split()).rstrip(".")
    return f"{place}: {message[:1].lower()}{message[1:]}"


_STATUS = (
    "Exit status: 0 answered; 1 answered, but --strict found something that fails or was not checked; 2 the input "
    "is wrong; 3 a file cannot be read or written."
)


@click.group(cls=Verbs, context_settings={"help_option_names": ["-h", "--help"]}, epilog=_STATUS)
@click.version_option(__version__, prog_name="gradehaul", message="%(prog)s %(version)s")
def main() -> None:
    """Find what each hill of a model railroad demands of each train, and which trains climb."""


for verb in (
    *(new, check, try_, profile, map_, live, report),
    *(readings, treat),
    *(fit, level, risers, clearance, helix, incline),
    *(import_, export),
):
    main.add_command(verb)
