"""The verb for the saw: risers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from gradehaul.command.arguments import Form, form_asked, load, refuse_ending, refuse_idle, refuse_opening, refuse_plan
from gradehaul.command.completion import names
from gradehaul.command.options import csv_option, json_option, open_option, output_option, plan_argument, show_option
from gradehaul.command.output import deliver, laid_out

if TYPE_CHECKING:
    from gradehaul.design.risers.risers import Risers
    from gradehaul.show.base.form import PaperName
    from gradehaul.show.base.reading_units import Reader, System


@click.command()
@plan_argument
@click.option("--every", required=True, help='From riser to riser, such as "16 in".')
@click.option("--line", help="Along this line.  [default: the only one]")
@click.option("--route", help="Along this route, from line to line.", shell_complete=names("routes"))
@click.option("--from", "begin", help="Where the first stands.  [default: the start]")
@click.option("--deck", help="Thickness of the deck.  [default: 1/2 in]")
@click.option("--roadbed", help="Thickness of the roadbed.  [default: 1/4 in]")
@click.option("--track", help="Height of rail and ties.  [default: the scale's, assumed]")
@click.option("--datum", help="Height of the plan's 0 over the floor, for heights to saw.")
@click.option("--rule", help="The smallest part your rule shows.  [default: 1/32 in or 0.5 mm]")
@click.option("--level", help="Length of your level.  [default: 24 in or 600 mm]")
@click.option("--strip", help="Print this much of the track at full size, too.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), help="Of the sheets.  [default: the units']")
@json_option
@csv_option("The risers")
@output_option("Write this file: .pdf, .csv, .svg, .png.")
@open_option
@show_option
def risers(
    *,
    plan: str,
    strip: str | None,
    paper: PaperName | None,
    as_json: bool,
    as_csv: bool,
    output: str | None,
    open_it: bool,
    show: System | None,
    **texts: str | None,
) -> None:
    """Show where each riser stands and how high to saw it, as a cut list and a strip to print."""
    form = form_asked(as_json=as_json, as_csv=as_csv or (output or "").lower().endswith(".csv"))
    refuse_opening(output, open_it)
    refuse_plan(output, plan)
    if texts["line"] is not None and texts["route"] is not None:
        raise click.UsageError("--line and --route exclude each other")
    sheet = form == "text" and output is not None and Path(output).suffix.lower() == ".pdf"
    if not sheet:
        refuse_idle("strip", "paper", needs="-o FILE.pdf")
    loaded = load(plan)
    from gradehaul.design.climb.options import read_option
    from gradehaul.design.risers.options import wished_risers
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.show.base.reading_units import reader_of

    reader = reader_of(loaded.unit, show)
    found = wished_risers(Layout(loaded), texts, reader.system)
    if sheet:
        from gradehaul.show.risers.picture import risers_sheet

        length = None if strip is None else read_option("strip", strip, "length", loaded.unit)
        size: PaperName = paper or ("a4" if reader.system == "metric" else "letter")
        deliver(risers_sheet(found, reader, size, strip=length), output, open_it=open_it)
        return
    deliver(_written(found, form, output, reader), output, open_it=open_it)


def _written(found: Risers, form: Form, output: str | None, reader: Reader) -> str | bytes:
    if form == "json":
        from gradehaul.show.risers.document import risers_json

        refuse_ending(output, form)
        return risers_json(found)
    if form == "csv":
        from gradehaul.show.risers.document import risers_csv

        refuse_ending(output, form)
        return risers_csv(found, reader)
    if output is None or output == "-" or output.lower().endswith(".txt"):
        from gradehaul.show.risers.text import risers_page

        return laid_out(risers_page(found, reader), to_file=output is not None)
    from gradehaul.show.base.picture import picture_format
    from gradehaul.show.risers.picture import risers_picture

    return risers_picture(found, reader, picture_format(output))
