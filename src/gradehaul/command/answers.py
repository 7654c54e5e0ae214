"""The verbs that answer for a plan: check, profile and report."""

from __future__ import annotations

import math
import sys
from typing import TYPE_CHECKING, Any

import click

from gradehaul.command.arguments import Form, form_asked, form_of, load, refuse_ending, refuse_opening, refuse_plan
from gradehaul.command.completion import names
from gradehaul.command.film_options import film_asked, treat_options
from gradehaul.command.group import FAILS
from gradehaul.command.options import (
    all_routes_option,
    csv_option,
    grades_option,
    json_option,
    open_option,
    output_option,
    plan_argument,
    rails_option,
    seed_option,
    show_option,
    size_option,
)
from gradehaul.command.output import deliver, laid_out

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gradehaul.haulage.answers.check import CheckAnswer
    from gradehaul.haulage.views.section import LongSection
    from gradehaul.show.base.paper import SizeName
    from gradehaul.show.base.picture import Format
    from gradehaul.show.base.reading_units import Grades, Reader, System
    from gradehaul.treatment.ways_over import WaysOver


@click.command()
@plan_argument
@json_option
@csv_option("The loads")
@click.option("--csv-trains", is_flag=True, help="The named trains as a table for a spreadsheet.")
@click.option("--strict", is_flag=True, help="Exit with 1 where a named train fails or goes unchecked.")
@rails_option("as planned where the plan says so, else clean", "A rail condition to judge")
@output_option("Write this file, whole or not at all; - prints.")
@open_option
@show_option
@grades_option
@all_routes_option
@click.option("--card", is_flag=True, help="Draw a load card for each locomotive, as .pdf, .png or .svg after -o.")
@click.option("--verbose", is_flag=True, help="Tell of every figure, trains' too, where it comes from.")
@seed_option
@click.option("--hours", type=click.FloatRange(0, 1e6), help="The age of every film.  [default: settled]")
def check(
    *,
    plan: str,
    as_json: bool,
    as_csv: bool,
    csv_trains: bool,
    card: bool,
    open_it: bool,
    strict: bool,
    output: str | None,
    show: System | None,
    grades: Grades,
    all_routes: bool,
    verbose: bool,
    seed: int,
    hours: float | None,
    rails: tuple[str, ...],
) -> None:
    """Tell what each route asks, the longest trains over it, and which named trains climb."""
    if as_json + as_csv + csv_trains + card > 1:
        raise click.UsageError("--json, --csv, --csv-trains and --card exclude one another")
    if verbose and as_json + as_csv + csv_trains + card:
        raise click.UsageError("--verbose tells more in the printed answer: leave out --json, --csv and --card")
    if hours is not None and math.isnan(hours):
        raise click.UsageError("--hours asks for a number of hours")
    form = _card_format(output) if card else "json" if as_json else "csv" if as_csv or csv_trains else "text"
    refuse_opening(output, open_it)
    refuse_plan(output, plan)
    refuse_ending(output, form)
    loaded = load(plan)
    from gradehaul.haulage.answers.check import check_layout
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.show.base.progress import progress_on
    from gradehaul.show.base.reading_units import balance_unit, reader_of
    from gradehaul.treatment.ways_over import ways_over

    layout = Layout(loaded, all_routes=all_routes, hours=hours)
    with progress_on(sys.stderr, "routes") as progress:
        answer = check_layout(layout, seed=seed, rails=rails, progress=progress)
    reader = reader_of(loaded.unit, show, grades, force_unit=balance_unit(loaded))
    deliver(
        _trains_written(answer)
        if csv_trains
        else _written(answer, ways_over(layout, answer), form, reader, to_file=output is not None, verbose=verbose),
        output,
        open_it=open_it,
    )
    if strict and not answer.passes:
        sys.exit(FAILS)


@click.command()
@plan_argument
@click.argument("route", required=False, shell_complete=names("routes"))
@click.option(
    "--train", help="A train of the plan.  [default: the first named for this route]", shell_complete=names("trains")
)
@rails_option("judged, and each film everywhere at its worse age")
@output_option("Write this file; .png, .svg or .pdf draws the long section.")
@open_option
@size_option
@json_option
@csv_option("The track")
@show_option
@grades_option
def profile(*, output: str | None, as_json: bool, as_csv: bool, open_it: bool, **asked: Any) -> None:  # noqa: ANN401 - see the options
    """Tell the numbers along a route, or draw its long section, with the pull of a train."""
    asked_form = form_asked(as_json=as_json, as_csv=as_csv)
    refuse_opening(output, open_it)
    refuse_plan(output, asked["plan"])
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.haulage.views.section import long_section
    from gradehaul.show.base.reading_units import balance_unit, reader_of

    form = form_of(output, asked_form)
    refuse_ending(output, form)
    plan = load(asked["plan"])
    section = long_section(Layout(plan), asked["route"], train=asked["train"], rails=asked["rails"] or None)
    reader = reader_of(plan.unit, asked["show"], asked["grades"], force_unit=balance_unit(plan))
    deliver(_profile_written(section, form, reader, asked["size"], to_file=output is not None), output, open_it=open_it)


@click.command()
@plan_argument
@output_option("Write this file, whole or not at all; - prints.")
@treat_options
@open_option
@show_option
@grades_option
@all_routes_option
@rails_option("as planned where the plan says so, else clean", "A rail condition to judge")
def report(
    *,
    plan: str,
    output: str | None,
    open_it: bool,
    show: System | None,
    grades: Grades,
    all_routes: bool,
    rails: tuple[str, ...],
    **asked: Any,  # noqa: ANN401 - see the options
) -> None:
    """Make one page with everything, that opens anywhere without a network."""
    refuse_opening(output, open_it)
    refuse_plan(output, plan)
    refuse_ending(output, "html")
    loaded = load(plan)
    from gradehaul.haulage.answers.check import check_layout
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.show.base.progress import progress_on
    from gradehaul.show.base.reading_units import balance_unit, reader_of
    from gradehaul.show.report.page import report_page
    from gradehaul.treatment.ways_over import ways_over

    layout = Layout(loaded, all_routes=all_routes)
    with progress_on(sys.stderr, "routes") as progress:
        answer = check_layout(layout, rails=rails, progress=progress)
    reader = reader_of(loaded.unit, show, grades, force_unit=balance_unit(loaded))
    page = report_page(layout, answer, ways_over(layout, answer), reader, film_asked(layout, asked))
    deliver(page, output, open_it=open_it)


def _card_format(output: str | None) -> Format:
    """Return the format of the load cards, which are drawn and not printed."""
    from gradehaul.show.base.picture import picture_format

    if output is None or output == "-":
        raise click.UsageError("--card is drawn to a file: put -o with a name that ends in .pdf, .png or .svg")
    return picture_format(output)


def _today() -> str:
    """Return the day as text: that of the clock, or of SOURCE_DATE_EPOCH for whoever wants the same bytes again."""
    import os
    from datetime import UTC, datetime

    fixed = os.environ.get("SOURCE_DATE_EPOCH", "")
    now = datetime.fromtimestamp(int(fixed), UTC) if fixed.isdecimal() else datetime.now().astimezone()
    return now.date().isoformat()


def _trains_written(answer: CheckAnswer) -> str:
    from gradehaul.show.check.table import trains_csv

    return trains_csv(answer)


def _written(
    answer: CheckAnswer, ways: Sequence[WaysOver], form: Form | Format, reader: Reader, *, to_file: bool, verbose: bool
) -> str | bytes:
    if form == "json":
        from gradehaul.show.check.document import check_json

        return check_json(answer, ways)
    if form == "csv":
        from gradehaul.show.check.table import check_csv

        return check_csv(answer)
    if form != "text":
        from gradehaul.show.check.load_card import load_card_picture

        return load_card_picture(answer, form, date=_today())
    from gradehaul.show.check.text import check_page

    return laid_out(check_page(answer, reader, ways, verbose=verbose), to_file=to_file)


def _profile_written(
    section: LongSection, form: Form | Format, reader: Reader, size: SizeName, *, to_file: bool
) -> str | bytes:
    if form == "json":
        from gradehaul.show.section.document import profile_json

        return profile_json(section)
    if form == "csv":
        from gradehaul.show.section.table import profile_csv

        return profile_csv(section)
    if form == "text":
        from gradehaul.show.section.text import profile_page

        return laid_out(profile_page(section, reader), to_file=to_file)
    from gradehaul.show.section.picture import long_section_picture

    return long_section_picture(section, reader, form, size=size)
