"""The verb for the saw: risers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from gradehaul.command.answer import Answer, Output, answers, refuse_idle
from gradehaul.command.options import (
    csv_option,
    json_option,
    open_option,
    output_option,
    paper_option,
    plan_argument,
    show_option,
)
from gradehaul.command.parameters import LENGTH, THICKNESS, Name

if TYPE_CHECKING:
    from gradehaul.plan.records import Plan
    from gradehaul.show.sheets import PaperName


@click.command()
@plan_argument
@click.option("--every", type=LENGTH, required=True, help='Riser spacing, such as "16 in".')
@click.option("--line", type=Name("lines", "line"), help="Line to follow.  [default: the only one]")
@click.option("--route", type=Name("routes"), help="Route to follow, from line to line.")
@click.option("--from", "begin", type=LENGTH, default="0", help="Where the first riser stands.  [default: the start]")
@click.option(
    "--deck-joint", "deck_joints", type=LENGTH, multiple=True, help="Where the deck is joined; repeat for more."
)
@click.option("--deck", type=THICKNESS, help="Thickness of the deck.  [default: the plan's, else 1/2 in]")
@click.option("--roadbed", type=THICKNESS, help="Thickness of the roadbed.  [default: the plan's, else 1/4 in]")
@click.option("--track", type=THICKNESS, help="Height of rail and ties.  [default: the plan's, else the scale's]")
@click.option("--datum", type=LENGTH, help="Height of the plan's 0 above the floor, for heights to saw.")
@click.option("--rule", type=LENGTH, help="Smallest division of your rule.  [default: 1/32 in or 0.5 mm]")
@click.option("--level", type=LENGTH, help="Length of your level.  [default: 24 in or 600 mm]")
@click.option("--strip", type=LENGTH, help="Print this much of the track at full size, too.")
@paper_option
@json_option
@csv_option("The risers")
@output_option("Write this file: .pdf, .csv, .svg, .png.")
@open_option
@show_option
@answers(draws=True)
def risers(
    *,
    plan: Plan,
    out: Output,
    line: str | None,
    route: str | None,
    begin: float,
    deck_joints: tuple[float, ...],
    every: float,
    strip: float | None,
    paper: PaperName | None,
    **lengths: float | None,
) -> Answer:
    """Show where each riser stands and how high to saw it."""
    if line is not None and route is not None:
        raise click.UsageError("--line and --route exclude each other")
    if out.form != "pdf":
        refuse_idle("strip", "paper", needs="-o FILE.pdf")
    from gradehaul.design.risers.risers import risers_along, usual_riser_build
    from gradehaul.design.risers.walk import walk_along
    from gradehaul.haulage.answers.layout import Layout

    units = out.units(plan)
    walk = walk_along(Layout(plan), line=line, route=route)
    build = usual_riser_build(plan, units.system, **lengths)
    found = risers_along(walk, build, every=every, begin=begin, deck_joints=deck_joints)
    match out.form:
        case "json":
            return Answer(found.to_dict())
        case "csv":
            from gradehaul.show.risers.text import risers_csv

            return Answer(risers_csv(found, out.table_reader(plan)))
        case "pdf":
            from gradehaul.show.risers.sheet import risers_sheet
            from gradehaul.show.sheets import PAPER_OF

            return Answer(risers_sheet(found, units, paper or PAPER_OF[units.system], strip=strip))
        case "png" | "svg" as picture:
            from gradehaul.show.risers.sheet import risers_picture

            return Answer(risers_picture(picture, found, units))
    from gradehaul.show.risers.text import risers_page

    return Answer(risers_page(found, units))
