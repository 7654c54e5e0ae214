"""The verbs that make a plan, draw one or follow it: new, import, map, export and live."""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gradehaul.command import options
from gradehaul.command.answer import Answer, Output, answers, in_form, refuse_ending
from gradehaul.command.output import complain, deliver, laid_out
from gradehaul.errors import PlanError
from gradehaul.show import IMPORT, MAP

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.haulage.views.plan_view import PlanView
    from gradehaul.plan.records import Plan
    from gradehaul.show.base.picture import Format
    from gradehaul.show.base.unit_format import UnitFormat
    from gradehaul.treatment.keep_clean import KeepCleanOptions, KeepCleanPlan


@click.command()
@click.argument("name")
@click.option(
    "--layout", default="hill", show_default=True, help="What to start from: hill, helix, branch, siding, wye, loop."
)
@click.option("--scale", default="HO", show_default=True, help="The scale.")
@click.option(
    "--unit", default="in", show_default=True, help="Unit of lengths written without one: in, ft, mm, cm or m."
)
def new(*, name: str, layout: str, scale: str, unit: str) -> None:
    """Write a small plan to start from; - prints it."""
    from gradehaul.design.starter import starter

    if not name.lower().removesuffix(".toml").strip():
        raise PlanError("the name is empty", place="NAME", write="gradehaul new my-layout")
    path = Path(name if name.lower().endswith(".toml") or name == "-" else f"{name}.toml")
    if name != "-" and path.exists():
        raise PlanError("this file already exists", file=str(path), write="another name")
    title = "My layout" if name == "-" else path.stem.replace("-", " ").replace("_", " ").strip().capitalize()
    deliver(starter(layout, scale=scale, unit=unit, title=title), str(path), said=True)
    if name != "-":
        file = f'"{path}"' if " " in str(path) else str(path)
        deliver(f"{path} is written. Change it to match your layout, then run: gradehaul check {file}\n", None)


@click.command("import")
@click.argument("drawing", type=click.Path())
@options.output_option("The plan to write, or an existing one to update; - prints.", required=True)
@click.option(
    "--layers", multiple=True, help="A layer with track, or a pattern; repeat for more.  [default: all but benchwork]"
)
@click.option("--height-layers", multiple=True, help="A layer whose texts are heights, or a pattern; repeat for more.")
@click.option("--unit", help="Unit of the drawing, if the file does not say or is wrong.")
@click.option("--snap", help="Largest gap between ends that meet.  [default: a tenth of the gauge]")
@click.option("--fit", help="Largest error of a fitted curve.  [default: gauge / 20]")
@click.option("--kink", help="Largest kink at which track continues.  [default: 5 degrees]")
@click.option("--rails", is_flag=True, help="Both rails are drawn: read the center line between them.")
@click.option("--raise", "raise_", help="How far the drawing's 0 lies above the plan's 0; negative: below.")
@click.option("--scale", help="Scale, such as HO; an existing plan has its own.")
@click.option("--practice", type=click.Choice(["NMRA", "NEM"]), help="Practice of a new plan.  [default: NMRA]")
@options.more_option(IMPORT)
def import_(*, drawing: str, output: str, more: tuple[str, ...], **given: Any) -> None:  # noqa: ANN401 - by the names in ImportOptions
    """Turn a drawing (DXF) into a plan, or update its plan."""
    from gradehaul.plan.edit.importing import ImportOptions, import_drawing
    from gradehaul.show.drawing.import_text import import_page
    from gradehaul.track.alignment import first_look

    printed = output == "-"
    refuse_ending(output, "toml")
    try:
        done = import_drawing(drawing, None if printed else output, ImportOptions(**given))
    except OSError as error:
        raise OSError(error.errno, f"cannot be read: {error.strerror or error}", error.filename or drawing) from error
    deliver(done.text, output, said=True)
    page = import_page(done, "" if printed else output, more, look=first_look(done.plan))
    if printed:
        complain(laid_out(page, to_file=True).rstrip("\n"))
    else:
        deliver(laid_out(page, to_file=False), None)


@click.command("map")
@options.plan_argument
@options.trains_option("A train to mark")
@options.routes_option("A route to show alone")
@options.rails_option("those judged")
@options.output_option("Write this file; .png, .svg or .pdf draws the plan view.")
@options.treat_options
@options.open_option
@options.size_option
@options.json_option
@options.csv_option("The tracks")
@options.show_option
@options.grades_option
@options.more_option(MAP)
@options.hours_option
@answers(draws=True)
def map_(
    *,
    plan: Plan,
    out: Output,
    trains: tuple[str, ...],
    routes: tuple[str, ...],
    rails: tuple[str, ...],
    more: tuple[str, ...],
    hours: float | None,
    film: KeepCleanOptions | None,
) -> Answer:
    """Show how hard each track climbs, or draw the plan view."""
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.treatment.keep_clean import keep_clean_plan

    if film is not None and out.form not in ("png", "svg", "pdf"):
        raise click.UsageError("--treat draws where the film may go: put -o with a name in .png, .svg or .pdf")
    layout = Layout(plan, hours=hours)
    kept_clean = None if film is None else keep_clean_plan(layout, film)
    view = _view(layout, trains, rails, kept_clean, routes)
    from gradehaul.show.plan_view.text import map_csv, map_page

    def picture(form: Format, units: UnitFormat) -> bytes:
        from gradehaul.show.plan_view.picture import plan_picture

        return plan_picture(form, view, units, size=out.size, film=kept_clean)

    page, table = partial(map_page, view, more=more), partial(map_csv, view)
    return Answer(in_form(out, plan, view.to_dict, page, table, picture))


@click.command()
@options.plan_argument
@options.trains_option("A train to mark")
@options.rails_option("those judged")
@options.output_option("The drawing to write, .dxf; - prints.", required=True)
@options.treat_options
@options.open_option
@click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to draw in.  [default: the plan's]")
@options.grades_option
@options.hours_option
@answers(writes="drawing")
def export(
    *,
    plan: Plan,
    out: Output,
    trains: tuple[str, ...],
    rails: tuple[str, ...],
    hours: float | None,
    film: KeepCleanOptions | None,
) -> Answer:
    """Write the plan as a drawing (DXF), with grades on layers."""
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.show.base.unit_format import units_of
    from gradehaul.show.drawing.dxf import plan_dxf
    from gradehaul.treatment.keep_clean import keep_clean_plan

    layout = Layout(plan, hours=hours)
    kept_clean = None if film is None else keep_clean_plan(layout, film)
    view = _view(layout, trains, rails, kept_clean)
    drawing = plan_dxf(view, units_of(plan.unit, out.show, out.grades), kept_clean)
    return Answer(drawing, remarks=[str(note) for note in view.notes])


def _view(
    layout: Layout, trains: Sequence[str], rails: Sequence[str], film: KeepCleanPlan | None, routes: Sequence[str] = ()
) -> PlanView:
    """Return the plan view; a keep-clean plan has verdicts of its own in place of those by rail."""
    from gradehaul.haulage.views.plan_view import plan_view

    view = plan_view(layout, trains or None, rails, routes)
    return replace(view, trains=()) if film is not None and not rails else view


_LOOPBACK = frozenset({"127.0.0.1", "localhost", "::1"})


@click.command()
@click.argument("plan", type=click.Path(), required=False)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on; 0.0.0.0 for a phone.")
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port to listen on.  [default: a free one]")
@click.option("--no-open", is_flag=True, help="Print the link and open no browser.")
@click.option("--stay", is_flag=True, help="Keep running after the last page is closed.")
def live(*, plan: str | None, host: str, port: int, no_open: bool, stay: bool) -> None:
    """Open a local page that answers while you edit a plan.

    Without PLAN it lists the plans of this folder, starts new ones, and reads drawings.
    """
    from gradehaul.live.app import Shown
    from gradehaul.live.serving import Service, as_picture, open_in_browser

    path = Path(plan or ".").absolute()
    if not path.exists():
        cure = "gradehaul live, for the plans of this folder"
        raise PlanError("there is no such file", file=plan or "", write=cure) from FileNotFoundError(plan)
    shown = Shown(path) if path.is_dir() else Shown(path.parent, path.name)
    try:
        service = Service(shown, host=host, port=port, stay=stay)
    except OSError as error:
        raise OSError(error.errno, f"cannot listen: {error.strerror or error}", f"{host}:{port}") from error

    def started() -> None:
        click.echo(f"{plan or 'The plans of this folder'} live at {service.url} (Ctrl-C ends it)")
        if host not in _LOOPBACK:
            click.echo("Whoever is on this network and has this link can see the plan and change it.")
            click.echo(as_picture(service.url))
        if not no_open and not open_in_browser(service.url):
            complain("no browser could be started: open the link yourself")

    service.run(started)
    complain("stopped")
    sys.stdout.flush()
    sys.stderr.flush()
    # an answer may still be worked out, in compiled code that aborts where the interpreter ends around it
    os._exit(0)


def run() -> None:
    """Start with the plans in the reader's own folder, without a terminal."""
    if sys.stdout is None or sys.stderr is None:  # started by a double click, where nobody reads
        quiet = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - for as long as the program runs
        sys.stdout, sys.stderr = sys.stdout or quiet, sys.stderr or quiet
    folder = Path.home() / "Documents"
    os.chdir(folder if folder.is_dir() else Path.home())
    live(args=sys.argv[1:], prog_name="gradehaul-live")
