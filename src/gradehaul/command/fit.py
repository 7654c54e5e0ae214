"""The verb that closes lines: fit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from gradehaul.command.answer import Answer, Output, answers
from gradehaul.command.options import output_option, plan_argument

if TYPE_CHECKING:
    from gradehaul.plan.records import Plan


@click.command()
@plan_argument
@output_option("Write a copy of the plan with numbers (.toml).")
@answers(writes="toml", copies=True)
def fit(*, plan: Plan, out: Output) -> Answer:
    """Show the figures that close each line; -o writes them."""
    from gradehaul.plan.edit.tracks import plan_with_numbers
    from gradehaul.track.fit import fit_notes, fitted

    found = fitted(plan)
    folder = Path(out.path).parent if out.to_file and out.path else None
    notes = [str(note) for note in fit_notes(found)] or ['No figure of this plan is "fit".']
    return Answer("".join(f"{note}\n" for note in notes), lambda: plan_with_numbers(found, folder=folder))
