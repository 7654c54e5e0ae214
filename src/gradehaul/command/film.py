"""The verb of the film: treat."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gradehaul.command.arguments import Form, form_asked, load, refuse_ending, refuse_plan
from gradehaul.command.film_options import wish_options
from gradehaul.command.options import (
    csv_option,
    json_option,
    output_option,
    plan_argument,
    show_option,
    table_reader,
    trains_option,
)
from gradehaul.command.output import deliver, laid_out

if TYPE_CHECKING:
    from gradehaul.show.base.reading_units import Reader, System
    from gradehaul.treatment.keep_clean import KeepCleanPlan


@click.command()
@plan_argument
@trains_option("A train that must run")
@wish_options
@json_option
@csv_option("The tracks")
@output_option("Write a copy of the plan with the film in it, too.")
@show_option
def treat(*, plan: str, as_json: bool, as_csv: bool, output: str | None, show: System | None, **asked: Any) -> None:  # noqa: ANN401 - see the options
    """Tell where the film may go, which rails stay clean and for which train, and what if the film spreads."""
    form = form_asked(as_json=as_json, as_csv=as_csv)
    refuse_plan(output, plan)
    refuse_ending(output, "toml")
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.show.base.reading_units import balance_unit, reader_of
    from gradehaul.treatment.keep_clean import keep_clean_plan
    from gradehaul.treatment.wishes import asked_for, filmed_plan

    loaded = load(plan)
    found = keep_clean_plan(Layout(loaded), asked_for(loaded.unit, **asked))
    reader = reader_of(loaded.unit, show, force_unit=balance_unit(loaded))
    deliver(_treat_written(found, form, reader), None)
    if output is not None:  # the answer stands, whether or not a copy can be written
        deliver(filmed_plan(found, None if output == "-" else Path(output).parent), output)


def _treat_written(found: KeepCleanPlan, form: Form, reader: Reader) -> str:
    if form == "json":
        from gradehaul.quantities.document import json_text

        return json_text(found.to_dict())
    if form == "csv":
        from gradehaul.show.film.table import treat_csv

        return treat_csv(found, table_reader(reader))
    from gradehaul.show.film.text import treat_page

    return laid_out(treat_page(found, reader), to_file=False)
