"""The verbs that draw: map, export and import."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from gradehaul.command.arguments import (
    Form,
    begins_with,
    form_asked,
    form_of,
    load,
    refuse_ending,
    refuse_opening,
    refuse_plan,
)
from gradehaul.command.film_options import film_asked, treat_options
from gradehaul.command.options import (
    csv_option,
    grades_option,
    json_option,
    open_option,
    output_option,
    plan_argument,
    rails_option,
    show_option,
    size_option,
    table_reader,
    trains_option,
)
from gradehaul.command.output import complain, deliver, laid_out

if TYPE_CHECKING:
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.haulage.views.plan_view import PlanView
    from gradehaul.show.base.picture import Format
    from gradehaul.show.base.reading_units import Grades, Reader, System
    from gradehaul.show.base.sheet import SizeName
    from gradehaul.treatment.keep_clean import KeepCleanPlan


@click.command("map")
@plan_argument
@trains_option("A train to mark")
@rails_option("those judged")
@output_option("Write this file; .png, .svg or .pdf draws the plan view.")
@treat_options
@open_option
@size_option
@json_option
@csv_option("The tracks")
@show_option
@grades_option
def map_(*, output: str | None, as_json: bool, as_csv: bool, open_it: bool, **asked: Any) -> None:  # noqa: ANN401 - see the options
    """Tell where tracks lie and how hard they climb, or draw the plan view, with where trains get stuck."""
    asked_form = form_asked(as_json=as_json, as_csv=as_csv)
    refuse_opening(output, open_it)
    refuse_plan(output, asked["plan"])
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.show.base.reading_units import balance_unit, reader_of

    form = form_of(output, asked_form)
    refuse_ending(output, form)
    plan = load(asked["plan"])
    view, film = _viewed(Layout(plan), asked)
    reader = reader_of(plan.unit, asked["show"], asked["grades"], force_unit=balance_unit(plan))
    written = _map_written(view, form, reader, asked["size"], film, to_file=output is not None)
    deliver(written, output, open_it=open_it)


@click.command()
@plan_argument
@trains_option("A train to mark")
@rails_option("those judged")
@output_option("The drawing to write, .dxf; - prints.", required=True)
@treat_options
@open_option
@click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to draw in.  [default: the plan's]")
@grades_option
def export(*, plan: str, output: str, open_it: bool, show: System | None, grades: Grades, **asked: Any) -> None:  # noqa: ANN401 - see the options
    """Write the plan as a drawing (DXF): tracks by rail and grade, heights, and where trains get stuck, on layers."""
    refuse_opening(output, open_it)
    from gradehaul.show.drawing.dxf import SIGN, drawing_name, plan_dxf

    drawing_name(output)
    if not begins_with(output, SIGN):  # a drawing of ours may be written anew
        refuse_plan(output, plan)
    loaded = load(plan)
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.show.base.reading_units import reader_of

    view, film = _viewed(Layout(loaded), asked)
    deliver(plan_dxf(view, reader_of(loaded.unit, show, grades), film), output, open_it=open_it)
    for note in view.notes:
        complain(str(note))


@click.command("import")
@click.argument("drawing", type=click.Path())
@output_option("The plan to write, or to go on with; - prints.", required=True)
@click.option("--layers", multiple=True, help="A layer with track, or a pattern; again for more.  [default: all]")
@click.option("--height-layers", multiple=True, help="A layer whose texts are heights, or a pattern.")
@click.option("--unit", help="The drawing's unit, where the file does not say it or says it wrong.")
@click.option("--snap", help="How far apart ends may be drawn that meet.  [default: a tenth of the gauge]")
@click.option("--fit", help="How far a fitted curve may lie from what is drawn.  [default: gauge / 20]")
@click.option("--kink", help="The break of direction up to which track goes on.  [default: 5 degrees]")
@click.option("--rails", is_flag=True, help="The two rails of each track are drawn: read the line between them.")
@click.option("--scale", help="The scale, such as HO; a plan that is there has its own.")
def import_(*, drawing: str, output: str, **asked: Any) -> None:  # noqa: ANN401 - the options, by the names in ImportOptions
    """Turn a drawing (DXF) into a plan file, or bring the plan made of it up to date."""
    from gradehaul.plan.edit.importing import ImportOptions, import_drawing
    from gradehaul.show.drawing.import_text import import_page

    printed = output == "-"
    refuse_ending(output, "toml")
    try:
        done = import_drawing(drawing, None if printed else output, ImportOptions(**asked))
    except OSError as error:
        raise OSError(error.errno, f"cannot be read: {error.strerror or error}", error.filename or drawing) from error
    deliver(done.text, output)
    page = import_page(done, "printed" if printed else output)
    if printed:
        complain(laid_out(page, to_file=True).rstrip("\n"))
    else:
        deliver(laid_out(page, to_file=False), None)


def _viewed(layout: Layout, asked: dict[str, Any]) -> tuple[PlanView, KeepCleanPlan | None]:
    """Return the plan view and the keep-clean plan, which has verdicts of its own in place of those by rail."""
    from gradehaul.haulage.views.plan_view import plan_view

    film = film_asked(layout, asked, asked["trains"])
    view = plan_view(layout, asked["trains"] or None, asked["rails"])
    return (replace(view, trains=()) if film is not None and not asked["rails"] else view), film


def _map_written(
    view: PlanView, form: Form | Format, reader: Reader, size: SizeName, film: KeepCleanPlan | None, *, to_file: bool
) -> str | bytes:
    if form == "json":
        from gradehaul.show.plan_view.document import map_json

        return map_json(view, film)
    if form == "csv":
        from gradehaul.show.plan_view.table import map_csv

        return map_csv(view, film, table_reader(reader))
    if form == "text":
        from gradehaul.show.plan_view.text import map_page

        return laid_out(map_page(view, reader, film), to_file=to_file)
    from gradehaul.show.plan_view.picture import plan_picture

    return plan_picture(view, reader, form, size=size, film=film)
