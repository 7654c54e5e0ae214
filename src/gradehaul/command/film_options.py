"""What is asked of a keep-clean plan, as options of the verbs that make one or show one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from gradehaul.command.completion import names

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.treatment.keep_clean import KeepCleanPlan

_WISHES = {
    "film": click.option(
        "--film", help="The film to plan for.  [default: the plan's first]", shell_complete=names("films")
    ),
    "need": click.option(
        "--need", type=click.Choice(["climbs", "marginal"]), default="climbs", show_default=True, help="Of every train."
    ),
    "reserve": click.option("--reserve", default="0 %", show_default=True, help="Share of the pull to hold back."),
    "step": click.option("--step", help="Wipe by stretches of at most this length.  [default: whole tracks]"),
    "carry": click.option("--carry", help="How far wheels carry the film, a guess.  [default: 2 m]"),
}


def wish_options(function: Any) -> Any:  # noqa: ANN401 - as click has it
    """Add the options that say what is asked of a keep-clean plan."""
    for option in reversed(_WISHES.values()):
        function = option(function)
    return function


def treat_options(function: Any) -> Any:  # noqa: ANN401 - as click has it
    """Add ``--treat``, which shows the keep-clean plan, and the options that go with it."""
    words = "Show where the film may go, as the verb treat finds it; with its options below."
    return click.option("--treat", is_flag=True, help=words)(wish_options(function))


def film_asked(layout: Layout, asked: dict[str, Any], trains: Sequence[str] = ()) -> KeepCleanPlan | None:
    """Take the film's options out of what is asked, and return the keep-clean plan, None where none is to be shown.

    Parameters
    ----------
    layout
        The layout.
    asked
        The options of a verb with `treat_options`.
    trains
        The trains that must run; all that are named where empty.
    """
    wishes = {name: asked.pop(name) for name in _WISHES}
    if not asked.pop("treat"):
        context = click.get_current_context()
        for name in _WISHES:
            if context.get_parameter_source(name) is ParameterSource.COMMANDLINE:
                raise click.UsageError(f"--{name} goes with --treat")
        return None
    from gradehaul.treatment.keep_clean import keep_clean_plan
    from gradehaul.treatment.options import read_options

    return keep_clean_plan(layout, read_options(layout.plan.unit, trains=trains, **wishes))
