"""The verb of the bench: readings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from gradehaul.command.arguments import load, refuse_ending, refuse_plan
from gradehaul.command.options import (
    csv_option,
    json_option,
    output_option,
    plan_argument,
    seed_option,
    show_option,
    table_reader,
)
from gradehaul.command.output import deliver, laid_out

if TYPE_CHECKING:
    from gradehaul.plan.records import Plan
    from gradehaul.show.base.reading_units import Reader, System


@click.command()
@plan_argument
@json_option
@csv_option("The pulls")
@click.option("--sheet", is_flag=True, help="A form to print and fill at the bench, as -o FILE.pdf.")
@output_option("Write this file; .png, .svg or .pdf draws the residuals.")
@show_option
@seed_option
def readings(*, plan: str, output: str | None, seed: int, show: System | None, **asked: bool) -> None:
    """Turn readings at the bench into pulls and coefficients, and tell what to measure next."""
    if sum(asked.values()) > 1:
        raise click.UsageError("--json, --csv and --sheet exclude each other")
    refuse_plan(output, plan)
    from gradehaul.show.base.picture import picture_format
    from gradehaul.show.base.reading_units import balance_unit, reader_of

    printed = output is None or output == "-"
    if asked["sheet"] and (printed or picture_format(output or "") != "pdf"):
        raise click.UsageError("--sheet needs -o FILE.pdf")
    form = "json" if asked["as_json"] else "csv" if asked["as_csv"] else "sheet" if asked["sheet"] else "text"
    refuse_ending(output, form if printed or form != "text" else "")
    loaded = load(plan)
    reader = reader_of(loaded.unit, show, force_unit=balance_unit(loaded))
    drawn = picture_format(output or "") if form == "text" and not printed else None
    deliver(_readings_written(loaded, drawn or form, reader, seed, to_file=output is not None), output)


def _readings_written(plan: Plan, form: str, reader: Reader, seed: int, *, to_file: bool) -> str | bytes:
    if form == "sheet":
        from gradehaul.show.bench.sheet import bench_sheet

        return bench_sheet(plan, reader)
    from gradehaul.haulage.answers.readings import readings as told

    answer = told(plan, seed=seed)
    if form == "json":
        from gradehaul.quantities.document import json_text

        return json_text(answer.to_dict())
    if form == "csv":
        from gradehaul.show.bench.table import readings_csv

        return readings_csv(answer, table_reader(reader))
    if form == "text":
        from gradehaul.show.bench.text import readings_page

        return laid_out(readings_page(answer, reader), to_file=to_file)
    from gradehaul.show.bench.picture import readings_plot

    return readings_plot(answer, reader, form)  # type: ignore[arg-type]
