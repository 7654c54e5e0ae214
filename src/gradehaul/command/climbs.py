"""The verbs that design a climb: helix and incline."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from gradehaul.command import options
from gradehaul.command.answer import Answer, Output, answers, in_form, refuse_idle
from gradehaul.command.parameters import ANGLE, GRADE, LENGTH, RAIL, THICKNESS, Floor, Name
from gradehaul.errors import DesignError
from gradehaul.show import CLIMB

if TYPE_CHECKING:
    from collections.abc import Callable

    from gradehaul.design.climb.designs import HelixAnswer, HelixSearch, InclineAnswer
    from gradehaul.design.climb.helix import HelixBuild
    from gradehaul.design.climb.hill import Direction
    from gradehaul.haulage.verdict import Need
    from gradehaul.plan.records import Plan
    from gradehaul.show.base.page import Page
    from gradehaul.show.base.unit_format import UnitFormat

_SHEET = ("risers", "every", "datum", "paper")
"""Options of the sheets for the bench."""
_GIVEN = ("radius", "rise_per_turn", "rise", "grade", "floor")
_LENGTH_OPTIONS = {
    "straight": "Length of each of two straight sides.  [default: none, round]",
    "ease": "Easement at each end of a curve.  [default: none]",
    "centers": "Spacing of two tracks, center to center.  [default: what the practice needs on the curve]",
    "deck": "Thickness of the deck.  [default: the plan's, else 1/2 in]",
    "roadbed": "Thickness of the roadbed.  [default: the plan's, else 1/4 in]",
    "clear": "Clear height you want; less is flagged.  [default: the standard's]",
    "vertical-curve": "Length of each vertical curve.  [default: a car length for each 1 % of grade]",
}
_SIDE = 200
"""Radii, and rises per turn, in a sweep."""


def _hill_options(function: options.Verb) -> options.Verb:
    """Add the options that every design of a climb has; those of its stock are read before lengths and names."""
    for option in (
        options.more_option(CLIMB),
        options.strict_option,
        options.grades_option,
        options.show_option,
        options.output_option("Write a plan (.toml), sheets for the bench (.pdf), or a long section (.png, .svg)."),
        options.json_option,
        options.paper_option,
        click.option("--datum", type=LENGTH, help="On the sheets: railhead height at the foot, above floor or joists."),
        options.need_option("Outcome that every train must reach."),
        click.option("--rail", type=RAIL, help="Rail condition to judge.  [default: the first film, at both ages]"),
        click.option(
            "--direction",
            type=click.Choice(["up", "down", "both"]),
            help="Which way trains run.  [default: as in their own plan, else both]",
        ),
        click.option(
            "--train",
            "trains",
            type=Name("train"),
            multiple=True,
            help="A train to judge by; repeat for more.  [default: all; to find, the only one]",
        ),
        click.option(
            "--practice",
            type=click.Choice(["NMRA", "NEM"]),
            is_eager=True,
            help="Whose clearances and weights apply.",
        ),
        click.option(
            "--unit", is_eager=True, help="Unit of lengths written without one.  [default: the plan's, else in]"
        ),
        click.option("--scale", is_eager=True, help="The scale, such as HO, where the plan has none."),
        click.option(
            "--plan", "stock", type=click.Path(), is_eager=True, help="A plan, or a file that holds only stock."
        ),
    ):
        function = option(function)
    return function


def _length_options(*names: str) -> Callable[[options.Verb], options.Verb]:
    def add(function: options.Verb) -> options.Verb:
        for name in reversed(names):
            function = click.option(f"--{name}", type=THICKNESS, help=_LENGTH_OPTIONS[name])(function)
        return function

    return add


@click.command()
@click.option("--radius", type=LENGTH, help="Radius of the (inner) track.")
@click.option("--rise-per-turn", type=LENGTH, help="Rise in one turn.")
@click.option("--rise", type=LENGTH, help="Total rise.")
@click.option("--turns", type=float, help="Number of turns.")
@click.option("--grade", type=GRADE, help='The grade of the (inner) track, such as "2 %".')
@click.option("--floor", type=Floor(), help='Floor space: one side, or two as in "5 ft x 4 ft".')
@_length_options(*_LENGTH_OPTIONS)
@click.option("--risers", type=int, default=8, show_default=True, help="On the sheets: risers per turn.")
@click.option("--tracks", type=click.IntRange(1, 2), default=1, show_default=True, help="One track or two.")
@click.option(
    "--find",
    type=click.Choice(["radius", "grade", "cars"]),
    help="Find the smallest radius, the steepest grade, or the most cars for a floor space.",
)
@click.option(
    "--sweep",
    type=LENGTH,
    nargs=4,
    help="Chart designs: smallest and largest radius, then smallest and largest rise per turn.",
)
@click.option(
    "--power",
    "powers",
    type=Name("power"),
    multiple=True,
    help="Locomotives to chart in a sweep; repeat for more.  [default: all]",
)
@click.option("--car", type=Name("car"), help="Car to count in a sweep.  [default: the first]")
@click.option(
    "--steepest", type=GRADE, default="4 %", show_default=True, help="Mark designs of a sweep that are steeper."
)
@_hill_options
@answers(copies=True)
def helix(
    *,
    stock: Plan,
    out: Output,
    radius: float | None,
    rise_per_turn: float | None,
    rise: float | None,
    turns: float | None,
    grade: float | None,
    floor: tuple[float, float] | None,
    vertical_curve: float | None,
    tracks: int,
    find: HelixSearch | None,
    sweep: tuple[float, float, float, float] | None,
    powers: tuple[str, ...],
    car: str | None,
    steepest: float,
    trains: tuple[str, ...],
    rail: str | None,
    need: Need,
    direction: Direction | None,
    more: tuple[str, ...],
    risers: int,
    datum: float | None,
    **lengths: float | None,
) -> Answer:
    """Design a helix, or find the best one for a train."""
    if tracks == 1:
        refuse_idle("centers", needs="--tracks 2")
    if sweep:
        refuse_idle(*_GIVEN, *_SHEET, "straight", "centers", "find", "need", beside="--sweep")
    else:
        _refuse_sheet_options(out)
        refuse_idle("powers", "car", "steepest", needs="--sweep")
        if find not in ("radius", "grade"):
            refuse_idle("rail", "need", needs="--find radius, --find grade or --sweep")
    from gradehaul.design.climb.designs import build_for, design_helix
    from gradehaul.design.climb.given import HelixGiven
    from gradehaul.show.climb.text import helix_page

    build = build_for(stock, tracks=tracks, vertical=vertical_curve, **lengths)
    if sweep:
        if len(trains) > 1:
            raise click.UsageError("a chart shows where one train climbs: name one --train")
        own = {
            "powers": powers,
            "car": car,
            "train": next(iter(trains), None),
            "direction": direction,
            "steepest": steepest,
        }
        return _sweep(stock, out, build, turns, sweep, rail, **own)
    fixed = HelixGiven(radius, rise_per_turn, rise, turns, grade, floor)
    found = design_helix(fixed, build, stock, find=find, train=trains, rail=rail, need=need, direction=direction)

    def sheet(units: UnitFormat) -> bytes:
        from gradehaul.design.climb.designs import helix_bench
        from gradehaul.show.climb.bench_sheet import helix_sheet

        bench = helix_bench(found.helix, stock, found.hill, units.system, datum, risers)
        return helix_sheet(bench, units, out.paper_for(units))

    return _climb(found, out, partial(helix_page, found, find=find, more=more), sheet)


@click.command()
@click.option("--rise", type=LENGTH, help="Total rise.")
@click.option("--length", type=LENGTH, help="Length along the track, from level to level.")
@click.option("--grade", type=GRADE, help='The grade of its straights, such as "2 %".')
@click.option(
    "--curve",
    "curves",
    type=(LENGTH, ANGLE),
    multiple=True,
    help="A curve on the incline: radius and degrees; repeat for more.",
)
@_length_options("ease", "vertical-curve")
@click.option("--compensate", is_flag=True, help="Ease the grade on curves by what they add.")
@click.option("--every", type=LENGTH, help="On the sheets: riser spacing.  [default: 16 in or 400 mm]")
@click.option("--find", type=click.Choice(["length", "rise"]), help="Find the shortest length or the highest rise.")
@_hill_options
@answers(copies=True)
def incline(
    *,
    stock: Plan,
    out: Output,
    rise: float | None,
    length: float | None,
    grade: float | None,
    curves: tuple[tuple[float, float], ...],
    ease: float | None,
    vertical_curve: float | None,
    compensate: bool,
    find: Literal["length", "rise"] | None,
    trains: tuple[str, ...],
    rail: str | None,
    need: Need,
    direction: Direction | None,
    more: tuple[str, ...],
    every: float | None,
    datum: float | None,
) -> Answer:
    """Design an incline, or find the best one for a train."""
    if find is None:
        refuse_idle("rail", "need", needs="--find length or --find rise")
    if not curves:
        refuse_idle("ease", "compensate", needs="--curve")
    _refuse_sheet_options(out)
    from gradehaul.design.climb.designs import design_incline
    from gradehaul.design.climb.incline import Bend, InclineGiven
    from gradehaul.show.climb.text import incline_page

    bends = tuple(Bend(radius, angle, ease or 0.0) for radius, angle in curves)
    fixed = InclineGiven(rise, length, grade, bends, vertical_curve, compensate)
    found = design_incline(fixed, stock, find=find, train=trains, rail=rail, need=need, direction=direction)

    def sheet(units: UnitFormat) -> bytes:
        from gradehaul.design.climb.designs import incline_bench
        from gradehaul.show.climb.bench_sheet import incline_sheet

        bench = incline_bench(found.hill, every, units.system, datum)
        return incline_sheet(bench, units, out.paper_for(units))

    return _climb(found, out, partial(incline_page, found, find=find, more=more), sheet)


def _is_sheet(out: Output) -> bool:
    return out.to_file and Path(str(out.path)).suffix.lower() == ".pdf"


def _refuse_sheet_options(out: Output) -> None:
    if not _is_sheet(out):
        refuse_idle(*_SHEET, needs="-o FILE.pdf")


def _climb(
    found: HelixAnswer | InclineAnswer,
    out: Output,
    page: Callable[[UnitFormat], Page],
    sheet: Callable[[UnitFormat], bytes],
) -> Answer:
    """Return a designed climb; its file holds the hill as a plan, sheets for the bench, or a long section."""
    units = out.units(found.stock)

    def copy() -> str | bytes:
        if _is_sheet(out):
            return sheet(units)
        if str(out.path).lower().endswith(".toml"):
            return found.hill.text
        from gradehaul.haulage.views.section import long_section
        from gradehaul.show.section.picture import long_section_picture

        layout = found.hill.layout
        return long_section_picture(out.picture(), long_section(layout, layout.routes[0].name), units)

    shown = in_form(out, found.stock, found.to_dict, page)
    return Answer(shown, copy if out.to_file else None, passes=found.passes)


def _sweep(
    stock: Plan,
    out: Output,
    build: HelixBuild,
    turns: float | None,
    bounds: tuple[float, float, float, float],
    rail: str | None,
    **of: Any,  # noqa: ANN401 - by the names in helix_sweep.sweep
) -> Answer:
    """Return a sweep of helices, as a chart or as JSON."""
    if out.form != "json" and not out.to_file:
        raise click.UsageError("--sweep draws a chart: put -o with a name that ends in .png, .svg or .pdf, or --json")
    import numpy as np

    from gradehaul.design.climb.helix import GUARD
    from gradehaul.design.climb.helix_sweep import sweep
    from gradehaul.design.climb.hill import judged_rails
    from gradehaul.quantities.document import json_text

    low, high, least, most = bounds
    if not (0 < low < high and 0 < least < most):
        raise DesignError(
            "a sweep runs from the smaller figure to the larger", place="--sweep", write="--sweep 18 40 3 6"
        )
    if turns is None:
        raise DesignError("the turns are missing", place="--turns", write="--turns 3")
    radii, rises, judged = np.linspace(low, high, _SIDE), np.linspace(least, most, _SIDE), judged_rails(stock, rail)
    rails = () if rail is None else judged
    found = sweep(radii, rises, build, stock, turns=turns, rails=rails, judged=judged, **of)
    if out.form == "json":
        return Answer(json_text(found.to_dict(), indent=None), passes=bool(found.possible.any()))
    from gradehaul.show.climb.sweep_picture import sweep_picture

    chart = sweep_picture(out.picture(), found, out.units(stock))
    return Answer(chart, passes=bool(found.possible.any()), remarks=[GUARD])
