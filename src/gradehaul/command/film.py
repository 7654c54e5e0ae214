"""The verb of the film: treat."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gradehaul.command.delivering import deliver, laid_out
from gradehaul.command.film_options import wish_options
from gradehaul.command.taking import Form, load, refuse_ending, refuse_plan

if TYPE_CHECKING:
    from gradehaul.show.reading_units import Reader, System
    from gradehaul.treatment.keep_clean import KeepCleanPlan


@click.command()
@click.argument("plan", type=click.Path())
@click.option("--train", "trains", multiple=True, help="A train that must run; again for more.  [default: all named]")
@wish_options
@click.option("--json", "as_json", is_flag=True, help="One JSON document and nothing else.")
@click.option("--csv", "as_csv", is_flag=True, help="The tracks as a table for a spreadsheet.")
@click.option("-o", "--output", type=click.Path(), help="Write a copy of the plan with the film in it, too.")
@click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to show.  [default: the plan's]")
def treat(*, plan: str, as_json: bool, as_csv: bool, output: str | None, show: System | None, **asked: Any) -> None:  # noqa: ANN401 - see the options
    """Tell where the film may go, which rails stay clean and for which train, and what if the film spreads."""
    if as_json and as_csv:
        raise click.UsageError("--json and --csv exclude each other")
    refuse_plan(output, plan)
    refuse_ending(output, (".toml",), "a copy of the plan")
    from gradehaul.haulage.layout import Layout
    from gradehaul.show.reading_units import balance_unit, reader_of
    from gradehaul.treatment.keep_clean import keep_clean_plan
    from gradehaul.treatment.wishes import asked_for, filmed_plan

    loaded = load(plan)
    found = keep_clean_plan(Layout(loaded), asked_for(loaded.unit, **asked))
    form: Form = "json" if as_json else "csv" if as_csv else "text"
    reader = reader_of(loaded.unit, show, force_unit=balance_unit(loaded))
    deliver(_treat_written(found, form, reader), None)
    if output is not None:  # the answer stands, whether or not a copy can be written
        deliver(filmed_plan(found, None if output == "-" else Path(output).parent), output)


def _treat_written(found: KeepCleanPlan, form: Form, reader: Reader) -> str:
    if form == "json":
        from gradehaul.show.treat_json import treat_json

        return treat_json(found)
    if form == "csv":
        from gradehaul.show.treat_csv import treat_csv

        return treat_csv(found)
    from gradehaul.show.treat_text import treat_page

    return laid_out(treat_page(found, reader), to_file=False)
