"""The command line: reads the arguments, calls one function a verb, prints."""

from __future__ import annotations

import errno
import gc
import os
import shutil
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from gradehaul import __version__
from gradehaul.errors import GradehaulError, PlanError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gradehaul.design.clearance import Clearances
    from gradehaul.design.helix_wishes import Look
    from gradehaul.design.hill import Hill
    from gradehaul.design.level import Leveled
    from gradehaul.design.level_risers import Corrections
    from gradehaul.haulage.check import CheckAnswer
    from gradehaul.haulage.plan_view import PlanView
    from gradehaul.haulage.section import LongSection
    from gradehaul.plan.records import Plan
    from gradehaul.show.page import Page
    from gradehaul.show.picture import Format
    from gradehaul.show.reading_units import Grades, Reader, System
    from gradehaul.show.sheet import SizeName
    from gradehaul.treatment.keep_clean import KeepCleanPlan
    from gradehaul.treatment.ways_over import WaysOver

ANSWERED, FAILS, WRONG_INPUT, NO_FILE, INTERRUPTED = 0, 1, 2, 3, 130
"""Exit status: answered; answered, and a judged train fails; the input is wrong; a file cannot be read or written;
stopped from the keyboard."""


_OBJECTS_KEPT = 100_000
"""Objects made before any are looked through for garbage: loading the libraries makes many and leaves none, and the
looking takes a tenth of a short answer's time."""

_MOST_LINES = 50
"""Faults told at the most in one run: whoever mends these sees the rest."""


class _Verbs(click.Group):
    """The verbs; whatever goes wrong in one becomes lines on standard error and an exit status."""

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401 - as click has it
        try:
            return super().invoke(ctx)
        except GradehaulError as error:
            lines = str(error).splitlines()
            for line in lines[:_MOST_LINES]:
                _complain(line)
            if len(lines) > _MOST_LINES:
                _complain(f"and {len(lines) - _MOST_LINES} more")
            ctx.exit(NO_FILE if isinstance(error.__cause__, OSError) else WRONG_INPUT)
        except OSError as error:
            where = f"{error.filename}: " if error.filename else ""
            _complain(f"{where}{error.strerror or error}")
            ctx.exit(NO_FILE)
        except KeyboardInterrupt:
            _complain("stopped")
            ctx.exit(INTERRUPTED)


_STATUS = (
    "Exit status: 0 answered; 1 answered, and with --strict a named train fails; 2 the input is wrong; 3 a file cannot "
    "be read or written."
)


@click.group(cls=_Verbs, context_settings={"help_option_names": ["-h", "--help"]}, epilog=_STATUS)
@click.version_option(__version__, prog_name="gradehaul", message="%(prog)s %(version)s")
def main() -> None:
    """Tell what each hill of a model railway asks of each train, and which trains still climb."""
    gc.set_threshold(_OBJECTS_KEPT)


_open_option = click.option("--open", "open_it", is_flag=True, help="Open what was written in the system's viewer.")


@main.command()
@click.argument("plan", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="One JSON document and nothing else.")
@click.option("--csv", "as_csv", is_flag=True, help="The loads as a table for a spreadsheet.")
@click.option("--strict", is_flag=True, help="Exit with 1 where a named train stalls or runs away.")
@click.option("-o", "--output", type=click.Path(), help="Write this file, whole or not at all; - prints.")
@_open_option
@click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to show.  [default: the plan's]")
@click.option("--grades", type=click.Choice(["percent", "permille", "one-in"]), default="percent", show_default=True)
@click.option("--all-routes", is_flag=True, help="Every route between ends and berths, up to a limit.")
@click.option("--card", is_flag=True, help="Draw a load card for each locomotive, as .pdf, .png or .svg after -o.")
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), default=0, show_default=True, help="Of the draws.")
@click.option("--hours", type=click.FloatRange(0, 1e6), help="The age of every film.  [default: settled]")
def check(
    *,
    plan: str,
    as_json: bool,
    as_csv: bool,
    card: bool,
    open_it: bool,
    strict: bool,
    output: str | None,
    show: System | None,
    grades: Grades,
    all_routes: bool,
    seed: int,
    hours: float | None,
) -> None:
    """Tell what each route asks, the longest trains over it, and which named trains climb."""
    if as_json + as_csv + card > 1:
        raise click.UsageError("--json, --csv and --card exclude one another")
    form = _card_format(output) if card else "json" if as_json else "csv" if as_csv else "text"
    _refuse_opening(output, open_it)
    _refuse_plan(output, plan)
    loaded = _load(plan)
    from gradehaul.haulage.check import check_layout
    from gradehaul.haulage.layout import Layout
    from gradehaul.show.progress import progress_on
    from gradehaul.show.reading_units import balance_unit, reader_of
    from gradehaul.treatment.ways_over import ways_over

    layout = Layout(loaded, all_routes=all_routes, hours=hours)
    with progress_on(sys.stderr, "routes") as progress:
        answer = check_layout(layout, seed=seed, progress=progress)
    reader = reader_of(loaded.unit, show, grades, force_unit=balance_unit(loaded))
    _deliver(
        _written(answer, ways_over(layout, answer), form, reader, to_file=output is not None), output, open_it=open_it
    )
    if strict and not _passes(answer):
        sys.exit(FAILS)


@main.command()
@click.argument("plan", type=click.Path())
@click.argument("route", required=False)
@click.option("--train", help="A train of the plan.  [default: the first named for this route]")
@click.option("--rail", "rails", multiple=True, help="A rail condition; again for more.  [default: clean and judged]")
@click.option("-o", "--output", type=click.Path(), help="Write this file; .png, .svg or .pdf draws the long section.")
@_open_option
@click.option("--size", type=click.Choice(["a4", "phone"]), default="a4", show_default=True, help="Of the picture.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document and nothing else.")
@click.option("--csv", "as_csv", is_flag=True, help="The track as a table for a spreadsheet.")
@click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to show.  [default: the plan's]")
@click.option("--grades", type=click.Choice(["percent", "permille", "one-in"]), default="percent", show_default=True)
def profile(*, output: str | None, as_json: bool, as_csv: bool, open_it: bool, **asked: Any) -> None:  # noqa: ANN401 - see the options
    """Tell the numbers along a route, or draw its long section, with the pull of a train."""
    if as_json and as_csv:
        raise click.UsageError("--json and --csv exclude each other")
    _refuse_opening(output, open_it)
    _refuse_plan(output, asked["plan"])
    from gradehaul.haulage.layout import Layout
    from gradehaul.haulage.section import long_section
    from gradehaul.show.picture import picture_format
    from gradehaul.show.reading_units import balance_unit, reader_of

    printed = output is None or output == "-"
    form = "json" if as_json else "csv" if as_csv else "text" if printed else picture_format(output or "")
    plan = _load(asked["plan"])
    section = long_section(Layout(plan), asked["route"], train=asked["train"], rails=asked["rails"] or None)
    reader = reader_of(plan.unit, asked["show"], asked["grades"], force_unit=balance_unit(plan))
    _deliver(
        _profile_written(section, form, reader, asked["size"], to_file=output is not None), output, open_it=open_it
    )


@main.command()
@click.argument("plan", type=click.Path())
@click.option("-o", "--output", type=click.Path(), help="Write this file, whole or not at all; - prints.")
@_open_option
@click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to show.  [default: the plan's]")
@click.option("--grades", type=click.Choice(["percent", "permille", "one-in"]), default="percent", show_default=True)
@click.option("--all-routes", is_flag=True, help="Every route between ends and berths, up to a limit.")
def report(
    *, plan: str, output: str | None, open_it: bool, show: System | None, grades: Grades, all_routes: bool
) -> None:
    """Make one page with everything, that opens anywhere without a network."""
    _refuse_opening(output, open_it)
    _refuse_plan(output, plan)
    loaded = _load(plan)
    from gradehaul.haulage.check import check_layout
    from gradehaul.haulage.layout import Layout
    from gradehaul.show.progress import progress_on
    from gradehaul.show.reading_units import balance_unit, reader_of
    from gradehaul.show.report_page import report_page
    from gradehaul.treatment.ways_over import ways_over

    layout = Layout(loaded, all_routes=all_routes)
    with progress_on(sys.stderr, "routes") as progress:
        answer = check_layout(layout, progress=progress)
    reader = reader_of(loaded.unit, show, grades, force_unit=balance_unit(loaded))
    page = report_page(layout, answer, ways_over(layout, answer), reader)
    _deliver(page, output, open_it=open_it)


@main.command("map")
@click.argument("plan", type=click.Path())
@click.option("--train", "trains", multiple=True, help="A train to mark; again for more.  [default: all named]")
@click.option("--rail", "rails", multiple=True, help="A rail condition; again for more.  [default: those judged]")
@click.option("-o", "--output", type=click.Path(), help="Write this file; .png, .svg or .pdf draws the plan view.")
@_open_option
@click.option("--size", type=click.Choice(["a4", "phone"]), default="a4", show_default=True, help="Of the picture.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document and nothing else.")
@click.option("--csv", "as_csv", is_flag=True, help="The tracks as a table for a spreadsheet.")
@click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to show.  [default: the plan's]")
@click.option("--grades", type=click.Choice(["percent", "permille", "one-in"]), default="percent", show_default=True)
def map_(*, output: str | None, as_json: bool, as_csv: bool, open_it: bool, **asked: Any) -> None:  # noqa: ANN401 - see the options
    """Tell where tracks lie and how hard they climb, or draw the plan view, with where trains get stuck."""
    if as_json and as_csv:
        raise click.UsageError("--json and --csv exclude each other")
    _refuse_opening(output, open_it)
    _refuse_plan(output, asked["plan"])
    from gradehaul.haulage.layout import Layout
    from gradehaul.haulage.plan_view import plan_view
    from gradehaul.show.picture import picture_format
    from gradehaul.show.reading_units import balance_unit, reader_of

    printed = output is None or output == "-"
    form = "json" if as_json else "csv" if as_csv else "text" if printed else picture_format(output or "")
    plan = _load(asked["plan"])
    view = plan_view(Layout(plan), asked["trains"], asked["rails"])
    reader = reader_of(plan.unit, asked["show"], asked["grades"], force_unit=balance_unit(plan))
    _deliver(_map_written(view, form, reader, asked["size"], to_file=output is not None), output, open_it=open_it)


@main.command()
@click.argument("plan", type=click.Path())
@click.option("--train", "trains", multiple=True, help="A train to mark; again for more.  [default: all named]")
@click.option("--rail", "rails", multiple=True, help="A rail condition; again for more.  [default: those judged]")
@click.option("-o", "--output", type=click.Path(), required=True, help="The drawing to write, .dxf; - prints.")
@_open_option
@click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to draw in.  [default: the plan's]")
@click.option("--grades", type=click.Choice(["percent", "permille", "one-in"]), default="percent", show_default=True)
def export(*, plan: str, output: str, open_it: bool, show: System | None, grades: Grades, **asked: Any) -> None:  # noqa: ANN401 - see the options
    """Write the plan as a drawing (DXF): tracks by rail and grade, heights, and where trains get stuck, on layers."""
    _refuse_opening(output, open_it)
    from gradehaul.show.plan_dxf import SIGN, drawing_name, plan_dxf

    drawing_name(output)
    if not _begins_with(output, SIGN):  # a drawing of ours may be written anew
        _refuse_plan(output, plan)
    loaded = _load(plan)
    from gradehaul.haulage.layout import Layout
    from gradehaul.haulage.plan_view import plan_view
    from gradehaul.show.reading_units import reader_of

    view = plan_view(Layout(loaded), asked["trains"], asked["rails"])
    _deliver(plan_dxf(view, reader_of(loaded.unit, show, grades)), output, open_it=open_it)
    for note in view.notes:
        _complain(str(note))


@main.command()
@click.argument("plan", type=click.Path())
@click.option("--json", "as_json", is_flag=True, help="One JSON document and nothing else.")
@click.option("--csv", "as_csv", is_flag=True, help="The pulls as a table for a spreadsheet.")
@click.option("--sheet", is_flag=True, help="A form to print and fill at the bench, as -o FILE.pdf.")
@click.option("-o", "--output", type=click.Path(), help="Write this file; .png, .svg or .pdf draws the residuals.")
@click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to show.  [default: the plan's]")
@click.option("--seed", type=click.IntRange(0, 2**32 - 1), default=0, show_default=True, help="Of the draws.")
def readings(*, plan: str, output: str | None, seed: int, show: System | None, **asked: bool) -> None:
    """Turn readings at the bench into pulls and coefficients, and tell what to measure next."""
    if sum(asked.values()) > 1:
        raise click.UsageError("--json, --csv and --sheet exclude each other")
    _refuse_plan(output, plan)
    from gradehaul.show.picture import picture_format
    from gradehaul.show.reading_units import balance_unit, reader_of

    printed = output is None or output == "-"
    if asked["sheet"] and (printed or picture_format(output or "") != "pdf"):
        raise click.UsageError("--sheet needs -o FILE.pdf")
    form = "json" if asked["as_json"] else "csv" if asked["as_csv"] else "sheet" if asked["sheet"] else "text"
    loaded = _load(plan)
    reader = reader_of(loaded.unit, show, force_unit=balance_unit(loaded))
    drawn = picture_format(output or "") if form == "text" and not printed else None
    _deliver(_readings_written(loaded, drawn or form, reader, seed, to_file=output is not None), output)


@main.command("import")
@click.argument("drawing", type=click.Path())
@click.option("-o", "--output", type=click.Path(), required=True, help="The plan to write, or to go on with; - prints.")
@click.option("--layers", multiple=True, help="A layer with track, or a pattern; again for more.  [default: all]")
@click.option("--height-layers", multiple=True, help="A layer whose texts are heights, or a pattern.")
@click.option("--unit", help="The drawing's unit, where the file does not say it or says it wrong.")
@click.option("--snap", help="How far apart ends may be drawn that meet.  [default: a tenth of the gauge]")
@click.option("--fit", help="How far a fitted curve may lie from what is drawn.  [default: gauge / 20]")
@click.option("--kink", help="The break of direction up to which track goes on.  [default: 5 degrees]")
@click.option("--repair", is_flag=True, help="Mend a damaged file, as long as no number in it changes.")
@click.option("--scale", help="The scale, such as HO; a plan that is there has its own.")
def import_(*, drawing: str, output: str, **asked: Any) -> None:  # noqa: ANN401 - the options, by the names in Asked
    """Turn a drawing (DXF) into a plan file, or bring the plan made of it up to date."""
    from gradehaul.plan.importing import Asked, import_drawing
    from gradehaul.show.import_text import import_page

    printed = output == "-"
    try:
        done = import_drawing(drawing, None if printed else output, Asked(**asked))
    except OSError as error:
        raise OSError(error.errno, f"cannot be read: {error.strerror or error}", error.filename or drawing) from error
    _deliver(done.text, output)
    page = import_page(done, "printed" if printed else output)
    if printed:
        _complain(_laid_out(page, to_file=True).rstrip("\n"))
    else:
        _deliver(_laid_out(page, to_file=False), None)


@main.command()
@click.argument("plan", type=click.Path())
@click.option("--train", "trains", multiple=True, help="A train that must run; again for more.  [default: all named]")
@click.option("--film", help="The film to plan for.  [default: the plan's first]")
@click.option(
    "--need", type=click.Choice(["climbs", "marginal"]), default="climbs", show_default=True, help="Of every train."
)
@click.option("--reserve", default="0 %", show_default=True, help="Share of the pull to hold back.")
@click.option("--step", help="Wipe by stretches of at most this length.  [default: whole tracks]")
@click.option("--carry", help="How far wheels carry the film, a guess.  [default: 2 m]")
@click.option("--json", "as_json", is_flag=True, help="One JSON document and nothing else.")
@click.option("--csv", "as_csv", is_flag=True, help="The tracks as a table for a spreadsheet.")
@click.option("-o", "--output", type=click.Path(), help="Write a copy of the plan with the film in it, too.")
@click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to show.  [default: the plan's]")
def treat(*, plan: str, as_json: bool, as_csv: bool, output: str | None, show: System | None, **asked: Any) -> None:  # noqa: ANN401 - see the options
    """Tell where the film may go, which rails stay clean and for which train, and what if the film spreads."""
    if as_json and as_csv:
        raise click.UsageError("--json and --csv exclude each other")
    from gradehaul.haulage.layout import Layout
    from gradehaul.show.reading_units import balance_unit, reader_of
    from gradehaul.treatment.keep_clean import keep_clean_plan
    from gradehaul.treatment.wishes import asked_for, filmed_plan

    loaded = _load(plan)
    found = keep_clean_plan(Layout(loaded), asked_for(loaded.unit, **asked))
    if output is not None:
        _refuse_plan(output, plan)
        _deliver(filmed_plan(found, Path(output).parent), output)
    form: _Form = "json" if as_json else "csv" if as_csv else "text"
    reader = reader_of(loaded.unit, show, force_unit=balance_unit(loaded))
    _deliver(_treat_written(found, form, reader), None)


_LENGTH_OPTIONS = {
    "radius": "Of the (inner) track.",
    "rise-per-turn": "Rise in one turn.",
    "rise": "Total rise.",
    "floor": 'Floor there is: one side, or two as in "5 ft x 4 ft".',
    "straight": "Each of two straight sides.  [default: none, round]",
    "ease": "Easement at each end of a curve.  [default: none]",
    "centers": "Between two tracks.  [default: the scale's]",
    "deck": "Thickness of the deck.  [default: 1/2 in]",
    "roadbed": "Thickness of the roadbed.  [default: 1/4 in]",
    "clear": "Clear height wanted above the railhead.  [default: the practice's]",
    "vertical-curve": "Length.  [default: a car length for each 1 % of grade]",
}


def _hill_options(function: Any) -> Any:  # noqa: ANN401 - as click has it
    """Add the options that every design of a climb has."""
    for option in (
        click.option("--plan", "stock", type=click.Path(), help="A plan, or a file with stock alone."),
        click.option("--scale", help="The scale, such as HO, where the plan has none."),
        click.option("--unit", help="What a bare length means.  [default: the plan's]"),
        click.option("--practice", type=click.Choice(["NMRA", "NEM"]), help="Whose clearances and weights apply."),
        click.option("--train", help="A train of the plan.  [default: the only one]"),
        click.option("--rail", help="The rail it is judged on.  [default: the first film]"),
        click.option("--need", type=click.Choice(["climbs", "marginal"]), default="climbs", show_default=True),
        click.option("--json", "as_json", is_flag=True, help="One JSON document and nothing else."),
        click.option("-o", "--output", type=click.Path(), help="Write a plan (.toml) or draw it (.png, .svg, .pdf)."),
        click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to show."),
        click.option("--grades", type=click.Choice(["percent", "permille", "one-in"]), default="percent"),
    ):
        function = option(function)
    return function


def _length_options(function: Any) -> Any:  # noqa: ANN401 - as click has it
    for name, words in reversed(_LENGTH_OPTIONS.items()):
        function = click.option(f"--{name}", help=words)(function)
    return function


@main.command()
@_length_options
@click.option("--turns", type=float, help="How many turns.")
@click.option("--grade", help='The grade of the (inner) track, such as "2 %".')
@click.option("--tracks", type=click.IntRange(1, 2), default=1, show_default=True, help="One track or two.")
@click.option("--find", type=click.Choice(["radius", "grade", "cars"]), help="Least radius, steepest grade, most cars.")
@click.option("--sweep", nargs=4, help="Chart designs: least and greatest radius, least and greatest rise per turn.")
@click.option("--power", "powers", multiple=True, help="Whose cars a sweep counts; again for more.  [default: all]")
@click.option("--car", help="Which cars a sweep counts.  [default: the first]")
@click.option("--steepest", default="4 %", show_default=True, help="The grade beyond which a sweep marks designs.")
@_hill_options
def helix(*, tracks: int, turns: float | None, find: Look | None, output: str | None, **asked: Any) -> None:  # noqa: ANN401 - see the options
    """Design a helix from what is settled of it, or backwards from the train that must climb it."""
    if asked["sweep"]:
        if find or asked["as_json"]:
            raise click.UsageError("--sweep stands without --find and --json")
        _sweep(asked, tracks, turns, output)
        return
    from gradehaul.design.helix_wishes import designed, read_build, read_wishes
    from gradehaul.design.hill import stock_of
    from gradehaul.show.helix_text import helix_json, helix_page

    stock = stock_of(asked["stock"], scale=asked["scale"], unit=asked["unit"], practice=asked["practice"])
    found = designed(
        read_wishes(stock.unit, asked, turns),
        read_build(stock, asked, tracks),
        stock,
        find=find,
        train=asked["train"],
        rail=asked["rail"],
        need=asked["need"],
    )
    hill = found.helix.hill(stock)
    answer, reader = hill.check(), _hill_reader(stock, asked)
    _write_hill(hill, reader, output)
    page = helix_json(found, stock, answer) if asked["as_json"] else helix_page(found, stock, answer, reader, find=find)
    _deliver(page if isinstance(page, str) else _laid_out(page, to_file=False), None)


@main.command()
@click.option("--rise", help="The whole rise.")
@click.option("--length", help="From level to level.")
@click.option("--grade", help='The grade of its straights, such as "2 %".')
@click.option(
    "--curve", "curves", nargs=2, multiple=True, help="A curve on the way: radius and degrees; again for more."
)
@click.option("--vertical-curve", help=_LENGTH_OPTIONS["vertical-curve"])
@click.option("--compensate", is_flag=True, help="Ease the grade on curves by what they add.")
@click.option("--find", type=click.Choice(["length", "rise"]), help="The shortest length, or the highest rise.")
@_hill_options
def incline(*, find: Literal["length", "rise"] | None, output: str | None, **asked: Any) -> None:  # noqa: ANN401 - see the options
    """Design an incline, or find the length that a train needs, or the rise it gets up."""
    from gradehaul.design.helix_wishes import read_option
    from gradehaul.design.hill import stock_of
    from gradehaul.design.incline import Asked, designed_incline, read_bends
    from gradehaul.quantities import Kind
    from gradehaul.show.incline_text import incline_json, incline_page

    stock = stock_of(asked["stock"], scale=asked["scale"], unit=asked["unit"], practice=asked["practice"])

    def read(name: str, kind: Kind = "length") -> float | None:
        text = asked[name]
        return None if text is None else read_option(name.replace("_", "-"), text, kind, stock.unit)

    wishes = Asked(
        read("rise"),
        read("length"),
        read("grade", "grade"),
        read_bends(asked["curves"], stock.unit),
        read("vertical_curve"),
        asked["compensate"],
    )
    found = designed_incline(wishes, stock, find=find, train=asked["train"], rail=asked["rail"], need=asked["need"])
    hill = found.incline.hill(stock)
    answer, reader = hill.check(), _hill_reader(stock, asked)
    _write_hill(hill, reader, output)
    if asked["as_json"]:
        _deliver(incline_json(found, stock, answer), None)
    else:
        _deliver(_laid_out(incline_page(found, stock, answer, reader, find=find), to_file=False), None)


@main.command()
@click.argument("plan", type=click.Path())
@click.option("--deck", help="Deck, roadbed and track of an upper level.  [default: 19 mm, assumed]")
@click.option("--wire", is_flag=True, help="Keep the height under overhead wire.")
@click.option("--coupler", help="Height of the couplers.  [default: 34 1/2 in over the ratio]")
@click.option("--train", "trains", multiple=True, help="A train to judge; again for more.  [default: all named]")
@click.option("--strict", is_flag=True, help="Exit with 1 where a clearance fails.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document and nothing else.")
@click.option("--csv", "as_csv", is_flag=True, help="The places as a table for a spreadsheet.")
@click.option("-o", "--output", type=click.Path(), help="Write this file, whole or not at all; - prints.")
@click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to show.  [default: the plan's]")
def clearance(
    *,
    plan: str,
    strict: bool,
    as_json: bool,
    as_csv: bool,
    output: str | None,
    show: System | None,
    **asked: Any,  # noqa: ANN401 - see the options
) -> None:
    """Tell where tracks pass over, under or beside one another too near, and which cars a curve would tip."""
    if as_json and as_csv:
        raise click.UsageError("--json and --csv exclude each other")
    _refuse_plan(output, plan)
    loaded = _load(plan)
    from gradehaul.design.clearance import clearance_asked, clearances
    from gradehaul.haulage.layout import Layout
    from gradehaul.show.reading_units import reader_of

    found = clearances(Layout(loaded), clearance_asked(loaded.unit, **asked))
    form: _Form = "json" if as_json else "csv" if as_csv else "text"
    _deliver(_clearance_written(found, form, reader_of(loaded.unit, show), to_file=output is not None), output)
    if strict and not found.passes:
        sys.exit(FAILS)


@main.command()
@click.argument("plan", type=click.Path())
@click.option("--train", "trains", multiple=True, help="A train to level for; again for more.  [default: all named]")
@click.option("--at-least", "least", multiple=True, help="A height that a joint must clear, as in 'Bridge = 4 in'.")
@click.option("--at-most", "most", multiple=True, help="A height that a joint must not exceed.")
@click.option("--change", help="Change of grade from one stretch to the next.  [default: 2 %]")
@click.option("--survey", "surveys", multiple=True, help="Correct a survey of the plan instead; again for more.")
@click.option("--heights", "table", type=click.Path(), help="Correct the survey in a CSV file, distance and height.")
@click.option("--target", help="Of a survey: the grade that was meant.  [default: its own, else even from end to end]")
@click.option("--shim", help="Of a survey: the largest correction.  [default: its own, else 1/4 in or 6 mm]")
@click.option("--step", help="Of a survey: the smallest correction.  [default: its own, else 1/32 in or 0.5 mm]")
@click.option("--json", "as_json", is_flag=True, help="One JSON document and nothing else.")
@click.option("--csv", "as_csv", is_flag=True, help="The heights as a table for a spreadsheet.")
@click.option("-o", "--output", type=click.Path(), help="Write a copy of the plan with the railheads in it, too.")
@click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to show.  [default: the plan's]")
@click.option("--grades", type=click.Choice(["percent", "permille", "one-in"]), default="percent", show_default=True)
def level(
    *,
    plan: str,
    as_json: bool,
    as_csv: bool,
    output: str | None,
    show: System | None,
    grades: Grades,
    **asked: Any,  # noqa: ANN401 - see the options
) -> None:
    """Find railheads that make the effort even, or the shims that correct a surveyed hill."""
    if as_json and as_csv:
        raise click.UsageError("--json and --csv exclude each other")
    _refuse_plan(output, plan)
    loaded = _load(plan)
    from gradehaul.design.level_wishes import Heights, Shims, corrected_surveys, leveled_as_asked
    from gradehaul.show.reading_units import reader_of

    reader = reader_of(loaded.unit, show, grades)
    form: _Form = "json" if as_json else "csv" if as_csv else "text"
    shims = Shims(**{name: asked[name] for name in Shims._fields})
    if shims.any:
        if output is not None:
            raise click.UsageError("-o writes leveled railheads; corrections of a survey are printed")
        found = corrected_surveys(loaded, reader.system, **shims._asdict())
        _deliver(_risers_written(loaded, found, form, reader), None)
        return
    leveled = leveled_as_asked(loaded, Heights(**{name: asked[name] for name in Heights._fields}))
    if output is not None:
        from gradehaul.design.level_plan import leveled_plan

        _deliver(leveled_plan(leveled, Path(output).parent), output)
    _deliver(_level_written(leveled, form, reader), None)


_Form = Literal["json", "csv", "text"]


def _load(path: str) -> Plan:
    from gradehaul.plan import load_plan

    try:
        if Path(path).is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        return load_plan(path)
    except OSError as error:
        raise OSError(error.errno, f"cannot be read: {error.strerror or error}", error.filename or path) from error


def _refuse_plan(output: str | None, plan: str) -> None:
    """Keep an answer from being written over a plan, this one or one it may include, or over its drawing."""
    if output is None:
        return
    if not output:
        raise PlanError("the name of the file to write is empty", file="-o", write="a name after -o, or - to print")
    if not Path(output).exists():
        return
    if Path(output).suffix.lower() == ".dxf":
        raise PlanError("an answer is not written over a drawing", file=output, write="another name after -o")
    if Path(output).suffix.lower() == ".toml" or (Path(plan).exists() and Path(output).samefile(plan)):
        raise PlanError("an answer is not written over a plan", file=output, write="another name after -o")


def _begins_with(path: str, sign: bytes) -> bool:
    if not Path(path).is_file():
        return False
    with Path(path).open("rb") as file:
        return file.read(len(sign)) == sign


def _refuse_opening(output: str | None, open_it: bool) -> None:
    if open_it and (output is None or output == "-"):
        raise click.UsageError("--open opens what -o writes: put -o with a name beside it")


def _card_format(output: str | None) -> Format:
    """Return the format of the load cards, which are drawn and not printed."""
    from gradehaul.show.picture import picture_format

    if output is None or output == "-":
        raise click.UsageError("--card is drawn to a file: put -o with a name that ends in .pdf, .png or .svg")
    return picture_format(output)


def _written(
    answer: CheckAnswer, ways: Sequence[WaysOver], form: _Form | Format, reader: Reader, *, to_file: bool
) -> str | bytes:
    if form == "json":
        from gradehaul.show.check_json import check_json

        return check_json(answer, ways)
    if form == "csv":
        from gradehaul.show.check_csv import check_csv

        return check_csv(answer)
    if form != "text":
        from gradehaul.show.load_card import load_card_picture

        return load_card_picture(answer, form)
    from gradehaul.show.check_text import check_page

    return _laid_out(check_page(answer, reader, ways), to_file=to_file)


def _laid_out(page: Page, *, to_file: bool) -> str:
    """Return a page as text: as wide as the terminal and in color where it is shown on one."""
    terminal = not to_file and sys.stdout is not None and sys.stdout.isatty()
    color = terminal and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    return page.text(width=shutil.get_terminal_size().columns if terminal else None, color=color)


def _profile_written(
    section: LongSection, form: _Form | Format, reader: Reader, size: SizeName, *, to_file: bool
) -> str | bytes:
    if form == "json":
        from gradehaul.show.profile_json import profile_json

        return profile_json(section)
    if form == "csv":
        from gradehaul.show.profile_csv import profile_csv

        return profile_csv(section)
    if form == "text":
        from gradehaul.show.profile_text import profile_page

        return _laid_out(profile_page(section, reader), to_file=to_file)
    from gradehaul.show.long_section import long_section_picture

    return long_section_picture(section, reader, form, size=size)


def _sweep(asked: Mapping[str, Any], tracks: int, turns: float | None, output: str | None) -> None:
    """Draw a sweep of helices, or print it as a table."""
    from gradehaul.design.helix_wishes import read_build, swept
    from gradehaul.design.hill import stock_of
    from gradehaul.show.helix_sweep_text import sweep_page

    stock = stock_of(asked["stock"], scale=asked["scale"], unit=asked["unit"], practice=asked["practice"])
    found = swept(read_build(stock, asked, tracks), stock, asked, turns)
    reader = _hill_reader(stock, asked)
    if output is None or output == "-":
        _deliver(_laid_out(sweep_page(found, reader), to_file=False), None)
        return
    from gradehaul.show.helix_sweep_picture import sweep_picture
    from gradehaul.show.picture import picture_format

    _deliver(sweep_picture(found, reader, picture_format(output)), output)


def _map_written(view: PlanView, form: _Form | Format, reader: Reader, size: SizeName, *, to_file: bool) -> str | bytes:
    if form == "json":
        from gradehaul.show.map_json import map_json

        return map_json(view)
    if form == "csv":
        from gradehaul.show.map_csv import map_csv

        return map_csv(view)
    if form == "text":
        from gradehaul.show.map_text import map_page

        return _laid_out(map_page(view, reader), to_file=to_file)
    from gradehaul.show.plan_picture import plan_picture

    return plan_picture(view, reader, form, size=size)


def _hill_reader(stock: Plan, asked: Mapping[str, Any]) -> Reader:
    from gradehaul.show.reading_units import balance_unit, reader_of

    return reader_of(stock.unit, asked["show"], asked["grades"], force_unit=balance_unit(stock))


def _write_hill(hill: Hill, reader: Reader, output: str | None) -> None:
    """Write a hill as a plan, or draw the long section of its first route, where a file was asked for."""
    if output is None or output == "-":
        return
    if Path(output).suffix.lower() == ".toml":
        if Path(output).exists():
            raise PlanError("an answer is not written over a plan", file=output, write="another name after -o")
        _deliver(hill.text, output)
        return
    from gradehaul.haulage.section import long_section
    from gradehaul.show.long_section import long_section_picture
    from gradehaul.show.picture import picture_format

    form = picture_format(output)
    layout = hill.layout
    _deliver(long_section_picture(long_section(layout, layout.routes[0].name), reader, form), output)


def _treat_written(found: KeepCleanPlan, form: _Form, reader: Reader) -> str:
    if form == "json":
        from gradehaul.show.treat_json import treat_json

        return treat_json(found)
    if form == "csv":
        from gradehaul.show.treat_csv import treat_csv

        return treat_csv(found)
    from gradehaul.show.treat_text import treat_page

    return _laid_out(treat_page(found, reader), to_file=False)


def _readings_written(plan: Plan, form: str, reader: Reader, seed: int, *, to_file: bool) -> str | bytes:
    if form == "sheet":
        from gradehaul.show.bench_sheet import bench_sheet

        return bench_sheet(plan, reader)
    from gradehaul.haulage.readings import readings as told

    answer = told(plan, seed=seed)
    if form == "json":
        from gradehaul.show.readings_json import readings_json

        return readings_json(answer)
    if form == "csv":
        from gradehaul.show.readings_csv import readings_csv

        return readings_csv(answer)
    if form == "text":
        from gradehaul.show.readings_text import readings_page

        return _laid_out(readings_page(answer, reader), to_file=to_file)
    from gradehaul.show.readings_plot import readings_plot

    return readings_plot(answer, reader, form)  # type: ignore[arg-type]


def _clearance_written(found: Clearances, form: _Form, reader: Reader, *, to_file: bool) -> str:
    if form == "json":
        from gradehaul.show.clearance_json import clearance_json

        return clearance_json(found)
    if form == "csv":
        from gradehaul.show.clearance_csv import clearance_csv

        return clearance_csv(found)
    from gradehaul.show.clearance_text import clearance_page

    return _laid_out(clearance_page(found, reader), to_file=to_file)


def _risers_written(plan: Plan, found: Sequence[Corrections], form: _Form, reader: Reader) -> str:
    if form == "text":
        from gradehaul.show.level_risers_text import risers_page

        return _laid_out(risers_page(plan, found, reader), to_file=False)
    from gradehaul.show.level_risers_json import risers_csv, risers_json

    return risers_json(plan, found) if form == "json" else risers_csv(found)


def _level_written(found: Leveled, form: _Form, reader: Reader) -> str:
    if form == "text":
        from gradehaul.show.level_text import level_page

        return _laid_out(level_page(found, reader), to_file=False)
    from gradehaul.show.level_json import level_csv, level_json

    return level_json(found) if form == "json" else level_csv(found)


def _passes(answer: CheckAnswer) -> bool:
    """Return whether every named train passes; one without a verdict does not."""
    for name in answer.unjudged:
        _complain(f'train "{name}": not judged, since its route is not among those answered')
    return answer.passes


# Delivering


def _deliver(answer: str | bytes, output: str | None, *, open_it: bool = False) -> None:
    """Print an answer, or write it to a file whole or not at all, and open that in the system's viewer if asked."""
    if output is not None and output != "-":
        from gradehaul.show.whole_file import write_whole

        write_whole(output, answer.encode("utf-8") if isinstance(answer, str) else answer)
        if open_it and click.launch(str(Path(output).absolute())) != 0:
            _complain(f"{output}: written, but no viewer could be started for it")
        return
    if sys.stdout is None:  # closed by whoever started us: nobody listens
        return
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    try:
        click.echo(answer.encode(encoding, "replace") if isinstance(answer, str) else answer, nl=False)
    except BrokenPipeError:  # the reader has seen enough, as `| head` has
        _silence_output()
    except OSError as error:
        _silence_output()
        raise OSError(error.errno, f"cannot be written: {error.strerror or error}", "standard output") from error


def _silence_output() -> None:
    """Send what is still held for standard output nowhere, so that the interpreter does not fail on it at its end."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _complain(lines: str) -> None:
    """Print lines on standard error, with nothing in them that a terminal would obey."""
    plain = "".join(sign if sign.isprintable() or sign == "\n" else "\N{REPLACEMENT CHARACTER}" for sign in lines)
    with suppress(OSError):
        click.echo(plain, err=True)
