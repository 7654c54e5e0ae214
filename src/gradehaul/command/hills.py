"""The verbs for a layout as it stands: clearance and level."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import click

from gradehaul.command.arguments import (
    Form,
    form_asked,
    form_of,
    load,
    refuse_ending,
    refuse_idle,
    refuse_opening,
    refuse_plan,
)
from gradehaul.command.completion import names
from gradehaul.command.group import FAILS
from gradehaul.command.options import (
    csv_option,
    grades_option,
    json_option,
    open_option,
    output_option,
    plan_argument,
    show_option,
    size_option,
    trains_option,
)
from gradehaul.command.output import deliver, laid_out

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gradehaul.design.clearance.findings import Clearances
    from gradehaul.design.level.railheads import Leveled
    from gradehaul.design.level.risers import Corrections
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.plan.records import Plan
    from gradehaul.show.base.picture import Format
    from gradehaul.show.base.reading_units import Grades, Reader, System
    from gradehaul.show.base.sheet import SizeName


@click.command()
@plan_argument
@click.option("--deck", help="Deck, roadbed and track of an upper level.  [default: 19 mm, assumed]")
@click.option("--wire", is_flag=True, help="Keep the height under overhead wire.")
@click.option("--overhead", help="Height of the overhead line over its lowest wire.  [default: assumed]")
@click.option("--coupler", help="Height of the couplers.  [default: 34 1/2 in over the ratio]")
@trains_option("A train to judge")
@click.option("--strict", is_flag=True, help="Exit with 1 where a clearance fails or could not be checked.")
@json_option
@csv_option("The places")
@output_option("Write this file; .png, .svg or .pdf marks places on the plan.")
@open_option
@size_option
@show_option
def clearance(
    *,
    plan: str,
    strict: bool,
    as_json: bool,
    as_csv: bool,
    output: str | None,
    open_it: bool,
    size: SizeName,
    show: System | None,
    **asked: Any,  # noqa: ANN401 - see the options
) -> None:
    """Tell where tracks pass over, under or beside one another too near, and which cars a curve would tip."""
    asked_form = form_asked(as_json=as_json, as_csv=as_csv)
    refuse_opening(output, open_it)
    refuse_plan(output, plan)
    loaded = load(plan)
    from gradehaul.design.clearance.findings import clearance_options, clearances
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.show.base.reading_units import reader_of

    layout, reader = Layout(loaded), reader_of(loaded.unit, show)
    form = form_of(output, asked_form)
    if form in get_args(Form):
        refuse_idle("size", needs="a picture after -o")
    refuse_ending(output, form)
    found = clearances(layout, clearance_options(loaded.unit, **asked))
    written = _clearance_written(layout, found, form, reader, size, to_file=output is not None)
    deliver(written, output, open_it=open_it)
    if strict and not (found.passes and found.complete):
        sys.exit(FAILS)


@click.command()
@plan_argument
@trains_option("A train to level for")
@click.option("--at-least", "least", multiple=True, help="A height that a joint must clear, as in 'Bridge = 4 in'.")
@click.option("--at-most", "most", multiple=True, help="A height that a joint must not exceed.")
@click.option("--change", help="Most change of grade between stretches, or that of the even climb.  [default: 2 %]")
@click.option(
    "--survey",
    "surveys",
    multiple=True,
    help="Correct a survey of the plan instead; again for more.",
    shell_complete=names("surveys"),
)
@click.option("--heights", "table", type=click.Path(), help="Correct the survey in a CSV file, distance and height.")
@click.option("--target", help="Of a survey: the grade that was meant.  [default: its own, else even from end to end]")
@click.option("--shim", help="Of a survey: the largest correction.  [default: its own, else 1/4 in or 6 mm]")
@click.option("--step", help="Of a survey: the smallest correction.  [default: its own, else 1/32 in or 0.5 mm]")
@json_option
@csv_option("The heights")
@output_option("Write a copy of the plan with the railheads (.toml), or a picture, too.")
@open_option
@size_option
@show_option
@grades_option
def level(
    *,
    plan: str,
    as_json: bool,
    as_csv: bool,
    output: str | None,
    open_it: bool,
    size: SizeName,
    show: System | None,
    grades: Grades,
    **asked: Any,  # noqa: ANN401 - see the options
) -> None:
    """Find railheads that make the effort even, or the shims that correct a surveyed hill."""
    form = form_asked(as_json=as_json, as_csv=as_csv)
    refuse_opening(output, open_it)
    refuse_plan(output, plan)
    loaded = load(plan)
    from gradehaul.design.level.options import LevelOptions, SurveyOptions, corrected_surveys, leveled_by
    from gradehaul.show.base.reading_units import reader_of

    reader = reader_of(loaded.unit, show, grades)
    shims = SurveyOptions(**{name: asked[name] for name in SurveyOptions._fields})
    if output is None or output == "-" or Path(output).suffix.lower() == ".toml":
        refuse_idle("size", needs="a picture after -o")
    if shims.any:
        refuse_idle("trains", "least", "most", "change", beside="--survey, --heights, --target, --shim and --step")
        found = corrected_surveys(loaded, reader.system, **shims._asdict())
        deliver(_risers_written(loaded, found, form, reader), None)
        if output is not None:
            deliver(_risers_drawn(loaded, found, output, reader, size), output, open_it=open_it)
        return
    leveled = leveled_by(loaded, LevelOptions(**{name: asked[name] for name in LevelOptions._fields}))
    deliver(_level_written(leveled, form, reader), None)
    if output is not None:  # the answer stands, whether or not a copy can be written
        deliver(_level_drawn(leveled, output, reader, size), output, open_it=open_it)


def _clearance_written(
    layout: Layout, found: Clearances, form: Form | Format, reader: Reader, size: SizeName, *, to_file: bool
) -> str | bytes:
    if form == "json":
        from gradehaul.show.clearance.document import clearance_json

        return clearance_json(found)
    if form == "csv":
        from gradehaul.show.clearance.table import clearance_csv

        return clearance_csv(found)
    if form == "text":
        from gradehaul.show.clearance.text import clearance_page

        return laid_out(clearance_page(found, reader), to_file=to_file)
    from gradehaul.haulage.views.plan_view import plan_view
    from gradehaul.show.clearance.picture import clearance_picture

    return clearance_picture(found, plan_view(layout, trains=()), reader, form, size=size)


def _risers_drawn(plan: Plan, found: Sequence[Corrections], output: str, reader: Reader, size: SizeName) -> bytes:
    from gradehaul.show.base.picture import picture_format
    from gradehaul.show.level.risers_picture import risers_picture

    form = picture_format(output)
    if len(found) > 1:
        raise click.UsageError("-o draws one survey: name it by --survey")
    return risers_picture(plan, found[0], reader, form, size=size)


def _risers_written(plan: Plan, found: Sequence[Corrections], form: Form, reader: Reader) -> str:
    if form == "text":
        from gradehaul.show.level.risers_text import risers_page

        return laid_out(risers_page(plan, found, reader), to_file=False)
    from gradehaul.show.level.risers_document import risers_csv, risers_json

    return risers_json(plan, found) if form == "json" else risers_csv(found)


def _level_drawn(found: Leveled, output: str, reader: Reader, size: SizeName) -> str | bytes:
    """Return the copy of the plan, or the picture, as the name of the file asks for."""
    if Path(output).suffix.lower() == ".toml" or output == "-":
        from gradehaul.design.level.plan_copy import leveled_plan

        return leveled_plan(found, None if output == "-" else Path(output).parent)
    from gradehaul.show.base.picture import picture_format
    from gradehaul.show.level.picture import level_picture

    return level_picture(found, reader, picture_format(output), size=size)


def _level_written(found: Leveled, form: Form, reader: Reader) -> str:
    if form == "text":
        from gradehaul.show.level.text import level_page

        return laid_out(level_page(found, reader), to_file=False)
    from gradehaul.show.level.document import level_csv, level_json

    return level_json(found) if form == "json" else level_csv(found)
