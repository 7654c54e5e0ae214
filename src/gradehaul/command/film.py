"""The verbs of rail and bench: treat, where a film may go, and readings, what was measured."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gradehaul.command.answer import Answer, Output, answers, in_form, refuse_idle
from gradehaul.command.options import (
    csv_option,
    film_options,
    hours_option,
    json_option,
    more_option,
    output_option,
    paper_option,
    plan_argument,
    seed_option,
    show_option,
    trains_option,
)
from gradehaul.show import sections

if TYPE_CHECKING:
    from gradehaul.plan.records import Plan
    from gradehaul.show.sheets import PaperName
    from gradehaul.treatment.keep_clean import KeepCleanOptions


@click.command()
@plan_argument
@trains_option("A train that must run")
@film_options
@json_option
@csv_option("The tracks")
@output_option("Write a copy of the plan with the film in it, too.")
@show_option
@more_option(sections.TREAT)
@hours_option
@answers(writes="toml", copies=True)
def treat(
    *,
    plan: Plan,
    out: Output,
    more: tuple[str, ...],
    hours: float | None,
    film: KeepCleanOptions,
) -> Answer:
    """Plan where the film may go, and which rails stay clean."""
    if film.step is not None and out.path is not None:
        raise click.UsageError(
            "-o writes a plan, where a track has one rail all along, and --step divides tracks: leave --step out for "
            "whole tracks, or leave -o out, and --csv or --json has each stretch"
        )
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.treatment.keep_clean import filmed_plan, keep_clean_plan

    found = keep_clean_plan(Layout(plan, hours=hours), film)

    def copy() -> str | None:
        if found.found and not found.length("film"):
            return None
        return filmed_plan(found, Path(out.path).parent if out.to_file and out.path else None)

    from gradehaul.show.film.text import treat_csv, treat_page

    page = partial(treat_page, found, more=more)
    return Answer(in_form(out, plan, found.to_dict, page, partial(treat_csv, found)), copy)


@click.command()
@plan_argument
@json_option
@csv_option("The pulls")
@click.option("--sheet", is_flag=True, help="A form to print and fill at the bench, as -o FILE.pdf.")
@paper_option
@output_option("Write to this file; - prints.")
@show_option
@seed_option
@more_option(sections.READINGS)
@answers()
def readings(*, plan: Plan, out: Output, paper: PaperName | None, seed: int, more: tuple[str, ...]) -> Answer:
    """Turn bench readings into pulls; what to measure next."""
    if out.form == "sheet":
        if not out.to_file or out.picture() != "pdf":
            raise click.UsageError("--sheet needs -o FILE.pdf")
        from gradehaul.show.bench.sheet import bench_sheet

        return Answer(bench_sheet(plan, out.units(plan), paper))
    refuse_idle("paper", needs="--sheet")
    from gradehaul.haulage.answers.readings import readings as answer_of

    answer = answer_of(plan, seed=seed)
    from gradehaul.show.bench.text import readings_csv, readings_page

    page = partial(readings_page, answer, more=more)
    return Answer(in_form(out, plan, answer.to_dict, page, partial(readings_csv, answer)))
