"""The verbs that answer for a plan: check, try, profile, report, treat and readings."""

from __future__ import annotations

import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gradehaul.command import options
from gradehaul.command.answer import Answer, Output, answers, in_form, refuse_idle
from gradehaul.command.output import progress_on
from gradehaul.command.parameters import ROUTE, ROUTE_OR_PLACES, VEHICLE, Height, Name
from gradehaul.show import CHECK, PROFILE, READINGS, TREAT

if TYPE_CHECKING:
    from gradehaul.plan.records import Plan
    from gradehaul.show.base.picture import Format
    from gradehaul.show.base.unit_format import UnitFormat
    from gradehaul.treatment.keep_clean import KeepCleanOptions

_JUDGED = options.rails_option("as planned where the plan says so, else clean", "A rail condition to judge")


@click.command()
@options.plan_argument
@options.json_option
@options.csv_option("The loads")
@click.option("--csv-trains", is_flag=True, help="The named trains as CSV, for a spreadsheet.")
@options.strict_option
@_JUDGED
@options.output_option("File to write; - prints to the screen.")
@options.open_option
@options.show_option
@options.grades_option
@options.all_routes_option
@click.option("--card", is_flag=True, help="Draw a load card for each locomotive, as .pdf, .png or .svg after -o.")
@options.paper_option
@options.more_option(CHECK)
@options.trains_option("Train to judge")
@options.routes_option("Route to judge")
@options.seed_option
@options.hours_option
@answers()
def check(
    *,
    plan: Plan,
    out: Output,
    all_routes: bool,
    more: tuple[str, ...],
    seed: int,
    hours: float | None,
    rails: tuple[str, ...],
    trains: tuple[str, ...],
    routes: tuple[str, ...],
) -> Answer:
    """Check which trains climb, and how many cars each hill takes."""
    if more and out.form != "text":
        raise click.UsageError("--more adds to the printed answer: leave out --json, --csv and --card")
    if out.form == "card" and not out.to_file:
        raise click.UsageError("--card needs -o with a name that ends in .pdf, .png or .svg")
    card = out.picture() if out.form == "card" else None
    if card is None:
        refuse_idle("paper", needs="--card")
    from gradehaul.haulage.answers.check import check_layout
    from gradehaul.haulage.answers.layout import Layout

    layout = Layout(plan, all_routes=all_routes, hours=hours)
    with progress_on(sys.stderr) as progress:
        answer = check_layout(layout, seed=seed, rails=rails, trains=trains, routes=routes, progress=progress)
    if card is not None:
        from gradehaul.show.check.load_card import load_card_picture

        paper = out.paper_for(out.units(plan))
        return Answer(load_card_picture(answer, card, paper, date=_today()), passes=answer.passes)
    if out.form in ("csv", "csv trains"):
        from gradehaul.show.check.text import check_csv, trains_csv

        written = check_csv if out.form == "csv" else trains_csv
        return Answer(written(answer, None if out.si else out.units(plan)), passes=answer.passes)
    from gradehaul.design.clearance.findings import failing_places
    from gradehaul.show.check.text import check_page
    from gradehaul.treatment.ways_over import ways_over

    ways = ways_over(layout, answer)
    fails = failing_places(layout)
    answer = replace(answer, ways_over=ways, clearance_fails=None if fails is None else len(fails))
    shown = in_form(out, plan, answer.to_dict, lambda units: check_page(answer, units, ways, more))
    return Answer(shown, passes=answer.passes)


@click.command("try")
@options.plan_argument
@click.argument("route", type=ROUTE_OR_PLACES)
@click.argument("vehicles", type=VEHICLE, metavar="[VEHICLE...]", nargs=-1)
@click.option(
    "--set",
    "heights",
    type=Height(),
    multiple=True,
    help='Try another railhead: at a joint, at the end of a track such as "Hill:2", or at LINE@DISTANCE; '
    "repeat for more.",
)
@options.json_option
@options.output_option("File to write; - prints to the screen.")
@options.show_option
@options.seed_option
@options.hours_option
@answers()
def try_(
    *,
    plan: Plan,
    out: Output,
    route: str,
    vehicles: tuple[str, ...],
    heights: tuple[tuple[str, float], ...],
    seed: int,
    hours: float | None,
) -> Answer:
    """Try a train on a route: outcome, risk, most cars.

    ROUTE is a route of the plan, or FROM..TO between two places. A VEHICLE is a locomotive, a lashup
    (locomotives run together, [power.NAME] in the plan) or a car, head first, such as "7 hopper". Write any
    for the locomotive to compare all of them. A train of the plan, by its name alone, can stand in place of the
    vehicles, or of ROUTE and the vehicles.
    """
    from gradehaul.haulage.answers.trial_train import try_train
    from gradehaul.show.check.trial_text import trial_page

    answer = try_train(plan, route, vehicles, heights=dict(heights), hours=hours, seed=seed)
    return Answer(in_form(out, plan, answer.to_dict, lambda units: trial_page(answer, units)))


@click.command()
@options.plan_argument
@click.argument("route", type=ROUTE, required=False)
@click.option("--train", type=Name("train"), help="A train of the plan.  [default: the first named for this route]")
@options.rails_option("those judged, and each film everywhere, fresh or rested, whichever is worse")
@options.output_option("Write this file; .png, .svg or .pdf draws the long section.")
@options.open_option
@options.size_option
@options.json_option
@options.csv_option("The track")
@options.show_option
@options.grades_option
@options.more_option(PROFILE)
@options.hours_option
@answers(draws=True)
def profile(
    *,
    plan: Plan,
    out: Output,
    route: str | None,
    train: str | None,
    rails: tuple[str, ...],
    more: tuple[str, ...],
    hours: float | None,
) -> Answer:
    """Show the figures along a route, or draw its long section."""
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.haulage.views.section import long_section

    section = long_section(Layout(plan, hours=hours), route, train=train, rails=rails or None)
    from gradehaul.show.section.text import profile_csv, profile_page

    def picture(form: Format, units: UnitFormat) -> bytes:
        from gradehaul.show.section.picture import long_section_picture

        return long_section_picture(form, section, units, size=out.size)

    page = partial(profile_page, section, more=more)
    return Answer(in_form(out, plan, section.to_dict, page, partial(profile_csv, section), picture))


@click.command()
@options.plan_argument
@options.output_option("File to write; - prints to the screen.")
@options.treat_options
@options.open_option
@options.show_option
@options.grades_option
@options.all_routes_option
@options.trains_option("Train to judge")
@options.routes_option("Route to judge")
@_JUDGED
@options.hours_option
@answers(writes="html")
def report(
    *,
    plan: Plan,
    out: Output,
    all_routes: bool,
    trains: tuple[str, ...],
    routes: tuple[str, ...],
    rails: tuple[str, ...],
    hours: float | None,
    film: KeepCleanOptions | None,
) -> Answer:
    """Make a single-file page with everything; it opens anywhere."""
    from gradehaul.design.clearance.findings import failing_places
    from gradehaul.haulage.answers.check import check_layout
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.haulage.answers.readings import odd_readings
    from gradehaul.show.report.page import report_page
    from gradehaul.treatment.keep_clean import keep_clean_plan
    from gradehaul.treatment.ways_over import ways_over

    layout = Layout(plan, all_routes=all_routes, hours=hours)
    with progress_on(sys.stderr) as progress:
        answer = check_layout(layout, rails=rails, trains=trains, routes=routes, progress=progress)
    found = None if film is None else keep_clean_plan(layout, film)
    ways, fails = ways_over(layout, answer), failing_places(layout)
    odd = [note for note in odd_readings(plan) if note not in answer.doubts]
    return Answer(report_page(layout, answer, ways, out.units(plan), found, odd, fails))


def _today() -> str:
    """Return the day as text: that of the clock, or of SOURCE_DATE_EPOCH for whoever wants the same bytes again."""
    import os
    from datetime import UTC, datetime

    fixed = os.environ.get("SOURCE_DATE_EPOCH", "")
    now = datetime.fromtimestamp(int(fixed), UTC) if fixed.isdecimal() else datetime.now().astimezone()
    return now.date().isoformat()


@click.command()
@options.plan_argument
@options.trains_option("A train that must run")
@options.film_options
@options.json_option
@options.csv_option("The tracks")
@options.output_option("Write a copy of the plan with the film in it, too.")
@options.show_option
@options.more_option(TREAT)
@options.hours_option
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
            "-o writes a plan, where each track has one rail condition, and --step divides tracks: leave out --step, "
            "or leave out -o and use --csv or --json, which have every stretch"
        )
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.treatment.keep_clean import keep_clean_plan, treated_plan

    found = keep_clean_plan(Layout(plan, hours=hours), film)

    def copy() -> str | None:
        if found.found and not found.length("film"):
            return None
        return treated_plan(found, Path(out.path).parent if out.to_file and out.path else None)

    from gradehaul.show.film import treat_csv, treat_page

    page = partial(treat_page, found, more=more)
    return Answer(in_form(out, plan, found.to_dict, page, partial(treat_csv, found)), copy)


@click.command()
@options.plan_argument
@options.json_option
@options.csv_option("The pulls")
@click.option("--sheet", is_flag=True, help="A form to print and fill out at the bench, as -o FILE.pdf.")
@options.paper_option
@options.output_option("File to write; - prints to the screen.")
@options.show_option
@options.seed_option
@options.more_option(READINGS)
@answers()
def readings(*, plan: Plan, out: Output, seed: int, more: tuple[str, ...]) -> Answer:
    """Turn bench readings into pulls; what to measure next."""
    if out.form == "sheet":
        if not out.to_file or out.picture() != "pdf":
            raise click.UsageError("--sheet needs -o FILE.pdf")
        from gradehaul.show.sheets import bench_sheet

        return Answer(bench_sheet(plan, out.units(plan), out.paper))
    refuse_idle("paper", needs="--sheet")
    from gradehaul.haulage.answers.readings import readings as answer_of

    answer = answer_of(plan, seed=seed)
    from gradehaul.show.bench import readings_csv, readings_page

    page = partial(readings_page, answer, more=more)
    return Answer(in_form(out, plan, answer.to_dict, page, partial(readings_csv, answer)))
