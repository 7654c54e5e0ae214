"""The verbs that design a climb: helix and incline."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from gradehaul.command.arguments import form_asked, refuse_idle, refuse_plan
from gradehaul.command.completion import names
from gradehaul.command.options import csv_option, json_option, output_option, table_reader
from gradehaul.command.output import deliver, laid_out
from gradehaul.errors import PlanError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from gradehaul.design.climb.hill import Hill
    from gradehaul.design.climb.options import Look
    from gradehaul.plan.records import Plan
    from gradehaul.show.base.reading_units import Reader


_WISHES = ("radius", "rise_per_turn", "rise", "grade", "floor")
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
        click.option("--unit", help="What a bare length means.  [default: the plan's, else in]"),
        click.option("--practice", type=click.Choice(["NMRA", "NEM"]), help="Whose clearances and weights apply."),
        click.option("--train", help="A train of the plan.  [default: the only one]", shell_complete=names("trains")),
        click.option(
            "--rail",
            help="The rail it is judged on.  [default: the first film, settled and fresh]",
            shell_complete=names("rails"),
        ),
        click.option("--need", type=click.Choice(["climbs", "marginal"]), default="climbs", show_default=True),
        json_option,
        output_option("Write a plan (.toml) or draw it (.png, .svg, .pdf)."),
        click.option("--show", type=click.Choice(["metric", "imperial"]), help="Units to show."),
        click.option("--grades", type=click.Choice(["percent", "permille", "one-in"]), default="percent"),
    ):
        function = option(function)
    return function


def _length_options(function: Any) -> Any:  # noqa: ANN401 - as click has it
    for name, words in reversed(_LENGTH_OPTIONS.items()):
        function = click.option(f"--{name}", help=words)(function)
    return function


@click.command()
@_length_options
@click.option("--turns", type=float, help="How many turns.")
@click.option("--grade", help='The grade of the (inner) track, such as "2 %".')
@click.option("--tracks", type=click.IntRange(1, 2), default=1, show_default=True, help="One track or two.")
@click.option("--find", type=click.Choice(["radius", "grade", "cars"]), help="Least radius, steepest grade, most cars.")
@click.option("--sweep", nargs=4, help="Chart designs: least and greatest radius, least and greatest rise per turn.")
@click.option(
    "--power",
    "powers",
    multiple=True,
    help="Whose cars a sweep counts; again for more.  [default: all]",
    shell_complete=names("powers"),
)
@click.option("--car", help="Which cars a sweep counts.  [default: the first]", shell_complete=names("cars"))
@csv_option("Of a sweep: every design")
@click.option("--steepest", default="4 %", show_default=True, help="The grade beyond which a sweep marks designs.")
@_hill_options
def helix(*, tracks: int, turns: float | None, find: Look | None, output: str | None, **asked: Any) -> None:  # noqa: ANN401 - see the options
    """Design a helix from what is settled of it, or backwards from the train that must climb it."""
    if tracks == 1:
        refuse_idle("centers", needs="--tracks 2")
    if asked["sweep"]:
        refuse_idle(*_WISHES, "straight", "find", "need", beside="--sweep")
        _sweep(asked, tracks, turns, output)
        return
    refuse_idle("powers", "car", "steepest", "as_csv", needs="--sweep")
    if find not in ("radius", "grade"):
        refuse_idle("train", "rail", "need", needs="--find radius, --find grade or --sweep")
    from gradehaul.design.climb.designs import HelixAnswer
    from gradehaul.design.climb.hill import stock_of
    from gradehaul.design.climb.options import designed, read_build, read_wishes
    from gradehaul.quantities.document import json_text
    from gradehaul.show.climb.helix_text import helix_page

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
    hill = found.design.hill(stock)
    answer, reader = hill.check(), _hill_reader(stock, asked)
    _write_hill(hill, reader, output)
    if asked["as_json"]:
        deliver(json_text(HelixAnswer(found.design, found.stops, stock, answer).to_dict()), None)
    else:
        deliver(laid_out(helix_page(found, stock, answer, reader, find=find), to_file=False), None)


@click.command()
@click.option("--rise", help="The whole rise.")
@click.option("--length", help="From level to level.")
@click.option("--grade", help='The grade of its straights, such as "2 %".')
@click.option(
    "--curve", "curves", nargs=2, multiple=True, help="A curve on the way: radius and degrees; again for more."
)
@click.option("--ease", help="Easement at each end of every curve.  [default: none]")
@click.option("--vertical-curve", help=_LENGTH_OPTIONS["vertical-curve"])
@click.option("--compensate", is_flag=True, help="Ease the grade on curves by what they add.")
@click.option("--find", type=click.Choice(["length", "rise"]), help="The shortest length, or the highest rise.")
@_hill_options
def incline(*, find: Literal["length", "rise"] | None, output: str | None, **asked: Any) -> None:  # noqa: ANN401 - see the options
    """Design an incline, or find the length that a train needs, or the rise it gets up."""
    from gradehaul.design.climb.designs import InclineAnswer
    from gradehaul.design.climb.hill import stock_of
    from gradehaul.design.climb.incline import InclineGiven
    from gradehaul.design.climb.options import designed_incline, read_bends, read_option
    from gradehaul.quantities import Kind
    from gradehaul.quantities.document import json_text
    from gradehaul.show.climb.incline_text import incline_page

    if find is None:
        refuse_idle("train", "rail", "need", needs="--find length or --find rise")
    if not asked["curves"]:
        refuse_idle("ease", "compensate", needs="--curve")
    stock = stock_of(asked["stock"], scale=asked["scale"], unit=asked["unit"], practice=asked["practice"])

    def read(name: str, kind: Kind = "length") -> float | None:
        text = asked[name]
        return None if text is None else read_option(name.replace("_", "-"), text, kind, stock.unit)

    wishes = InclineGiven(
        read("rise"),
        read("length"),
        read("grade", "grade"),
        read_bends(asked["curves"], stock.unit, read("ease") or 0.0),
        read("vertical_curve"),
        asked["compensate"],
    )
    found = designed_incline(wishes, stock, find=find, train=asked["train"], rail=asked["rail"], need=asked["need"])
    hill = found.design.hill(stock)
    answer, reader = hill.check(), _hill_reader(stock, asked)
    _write_hill(hill, reader, output)
    if asked["as_json"]:
        deliver(json_text(InclineAnswer(found.design, found.stops, stock, answer).to_dict()), None)
    else:
        deliver(laid_out(incline_page(found, stock, answer, reader, find=find), to_file=False), None)


def _sweep(asked: Mapping[str, Any], tracks: int, turns: float | None, output: str | None) -> None:
    """Draw a sweep of helices, or tell it as a table, as JSON or as CSV."""
    form = form_asked(as_json=asked["as_json"], as_csv=asked["as_csv"])
    if asked["stock"] is not None:
        refuse_plan(output, asked["stock"])
    from gradehaul.design.climb.hill import stock_of
    from gradehaul.design.climb.options import read_build, swept
    from gradehaul.show.climb.helix_sweep_text import sweep_page

    stock = stock_of(asked["stock"], scale=asked["scale"], unit=asked["unit"], practice=asked["practice"])
    found = swept(read_build(stock, asked, tracks), stock, asked, turns)
    reader = _hill_reader(stock, asked)
    if form != "text":
        from gradehaul.quantities.document import json_text
        from gradehaul.show.climb.helix_sweep_table import sweep_csv

        json = form == "json"
        deliver(json_text(found.to_dict(), indent=None) if json else sweep_csv(found, table_reader(reader)), output)
        return
    if output is None or output == "-":
        deliver(laid_out(sweep_page(found, reader), to_file=False), None)
        return
    from gradehaul.show.base.picture import picture_format
    from gradehaul.show.climb.helix_sweep_picture import sweep_picture

    deliver(sweep_picture(found, reader, picture_format(output)), output)


def _hill_reader(stock: Plan, asked: Mapping[str, Any]) -> Reader:
    from gradehaul.show.base.reading_units import balance_unit, reader_of

    return reader_of(stock.unit, asked["show"], asked["grades"], force_unit=balance_unit(stock))


def _write_hill(hill: Hill, reader: Reader, output: str | None) -> None:
    """Write a hill as a plan, or draw the long section of its first route, where a file was asked for."""
    if output is None or output == "-":
        return
    if Path(output).suffix.lower() == ".toml":
        if Path(output).exists():
            raise PlanError("an answer is not written over a plan", file=output, write="another name after -o")
        deliver(hill.text, output)
        return
    from gradehaul.haulage.views.section import long_section
    from gradehaul.show.base.picture import picture_format
    from gradehaul.show.section.picture import long_section_picture

    form = picture_format(output)
    layout = hill.layout
    deliver(long_section_picture(long_section(layout, layout.routes[0].name), reader, form), output)
