"""The verb that closes lines: fit."""

from __future__ import annotations

from pathlib import Path

import click

from gradehaul.command.arguments import load, refuse_ending, refuse_plan
from gradehaul.command.options import output_option, plan_argument
from gradehaul.command.output import deliver


@click.command()
@plan_argument
@output_option("Write a copy of the plan with numbers (.toml).")
def fit(*, plan: str, output: str | None) -> None:
    """Show the figures that close each line, and write them into a copy of the plan."""
    refuse_plan(output, plan)
    refuse_ending(output, "toml")
    from gradehaul.plan.edit.fit_numbers import plan_with_numbers
    from gradehaul.track.fit.fitted import fit_notes, fitted

    found = fitted(load(plan))
    copy = plan_with_numbers(found, folder=None if output in (None, "-") else Path(output or "").parent)
    if output is None:
        deliver("".join(f"{note}\n" for note in fit_notes(found)), None)
    else:
        deliver(copy, output)
