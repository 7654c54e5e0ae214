"""The verbs that make a layout fit: fit closes lines, clearance judges gaps, level and risers give heights."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gradehaul.command import options
from gradehaul.command.answer import Answer, Output, answers, in_form, refuse_ending, refuse_idle
from gradehaul.command.parameters import GRADE, LENGTH, ROUTE, THICKNESS, Height
from gradehaul.errors import DesignError
from gradehaul.quantities import describe
from gradehaul.show import CLEARANCE, LEVEL, RISERS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from gradehaul.plan.records import Plan
    from gradehaul.show.base.picture import Format
    from gradehaul.show.base.unit_format import UnitFormat


@click.command()
@options.plan_argument
@options.output_option("Write a copy of the plan with numbers (.toml).")
@answers(writes="toml", copies=True)
def fit(*, plan: Plan, out: Output) -> Answer:
    """Show the lengths and angles found for "fit"; -o writes them."""
    from gradehaul.plan.edit.copies import plan_with_numbers
    from gradehaul.track.fit import fit_notes, fitted

    found = fitted(plan)
    folder = Path(out.path).parent if out.to_file and out.path else None
    notes = [str(note) for note in fit_notes(found)] or ['No figure of this plan is "fit".']
    return Answer("".join(f"{note}\n" for note in notes), lambda: plan_with_numbers(found, folder=folder))


@click.command()
@options.plan_argument
@click.option(
    "--structure", type=LENGTH, help="Deck, roadbed and track together.  [default: the plan's, else as for a helix]"
)
@click.option("--clear", type=LENGTH, help="Clear height you want; less is flagged.  [default: the standard's]")
@click.option("--wire", is_flag=True, help="Allow for the height of overhead wire.")
@click.option("--overhead", type=LENGTH, help="Height of the overhead line above its contact wire.  [default: assumed]")
@click.option("--coupler", type=LENGTH, help="Height of the couplers.  [default: 34 1/2 in scaled down]")
@options.trains_option("A train to judge")
@options.strict_option
@options.json_option
@options.csv_option("The places")
@options.output_option("File to write; - prints to the screen.")
@options.open_option
@options.show_option
@options.more_option(CLEARANCE)
@answers()
def clearance(
    *,
    plan: Plan,
    out: Output,
    structure: float | None,
    clear: float | None,
    wire: bool,
    overhead: float | None,
    coupler: float | None,
    trains: tuple[str, ...],
    more: tuple[str, ...],
) -> Answer:
    """Find tracks too close together, and cars that would tip."""
    from gradehaul.design.clearance.findings import clearances
    from gradehaul.design.clearance.rules import Allowances
    from gradehaul.haulage.answers.layout import Layout

    found = clearances(Layout(plan), Allowances(structure, wire, overhead, coupler, trains, clear))
    from gradehaul.show.clearance import clearance_csv, clearance_page

    shown = in_form(out, plan, found.to_dict, partial(clearance_page, found, more=more), partial(clearance_csv, found))
    return Answer(shown, passes=found.passes and found.complete)


@click.command()
@options.plan_argument
@options.trains_option("A train to level for")
@click.option(
    "--at-least", "least", type=Height(), multiple=True, help="Lowest height for a joint, as 'Bridge = 4 in'."
)
@click.option("--at-most", "most", type=Height(), multiple=True, help="Highest height for a joint.")
@click.option(
    "--change",
    type=GRADE,
    help="Largest change of grade between stretches.  [default: 2 %]",
)
@click.option("--survey", "surveys", metavar="NAME", multiple=True, help="Correct a survey instead; repeat for more.")
@click.option(
    "--target",
    type=GRADE,
    help="With a survey: the intended grade.  [default: its own, else the even grade plus one step]",
)
@click.option(
    "--shim", type=LENGTH, help="With a survey: the largest correction.  [default: its own, else 1/4 in or 6 mm]"
)
@click.option(
    "--step", type=LENGTH, help="With a survey: the smallest correction.  [default: its own, else 1/32 in or 0.5 mm]"
)
@options.strict_option
@options.json_option
@options.csv_option("The heights")
@options.output_option(
    "Write a copy of the plan with the railheads (.toml), or a picture, too; with a survey, this text (.txt)."
)
@options.open_option
@options.size_option
@options.show_option
@options.grades_option
@options.more_option((*LEVEL, *RISERS))
@answers(copies=True)
def level(
    *,
    plan: Plan,
    out: Output,
    trains: tuple[str, ...],
    least: tuple[tuple[str, float], ...],
    most: tuple[tuple[str, float], ...],
    change: float | None,
    surveys: tuple[str, ...],
    target: float | None,
    shim: float | None,
    step: float | None,
    more: tuple[str, ...],
) -> Answer:
    """Find railhead heights that even out the climb, or riser shims."""
    drawn = out.to_file and Path(str(out.path)).suffix.lower() != ".toml"
    if not drawn:
        refuse_idle("size", needs="a picture after -o")
    if surveys or any(each is not None for each in (target, shim, step)):
        refuse_idle("trains", "least", "most", "change", beside="--survey, --target, --shim and --step")
        if Path(out.path or "").suffix.lower() == ".toml":
            raise click.UsageError(
                "corrections are not written into a plan: set them, read the railheads again, and write these into it"
            )
        refuse_ending(out.path, out.form)
        return _shims(plan, out, surveys, more, target=target, shim=shim, step=step)
    if change is not None and change <= 0:
        given = describe(change, "grade", "%")
        raise DesignError("a change of grade must be more than 0", place="--change", found=given)
    from gradehaul.design.level.railheads import MOST_CHANGE, leveled
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.show.level.text import level_csv, level_page, to_change

    change = MOST_CHANGE if change is None else change
    found = leveled(Layout(plan), trains=trains, least=dict(least), most=dict(most), change=change)

    def copy() -> str | bytes | None:
        """Return the copy of the plan, None where no railhead moves, or the picture, as the file's name has it."""
        if drawn:
            from gradehaul.show.level.picture import level_picture

            return level_picture(out.picture(), found, out.units(plan), size=out.size)
        if not any(to_change(found, row) for row in found.rows):
            return None
        from gradehaul.design.level.plan_copy import leveled_plan

        return leveled_plan(found, Path(str(out.path)).parent if out.to_file else None)

    page = partial(level_page, found, more=more)
    return Answer(in_form(out, plan, found.to_dict, page, partial(level_csv, found)), copy, found.passes)


def _shims(plan: Plan, out: Output, surveys: Sequence[str], more: Sequence[str], **of: float | None) -> Answer:
    from gradehaul.design.level.shims import corrected_surveys
    from gradehaul.show.level.shims_text import shims_csv, shims_page

    found = corrected_surveys(plan, out.units(plan).system, surveys=surveys, **of)
    page = partial(shims_page, found, more=more)
    return Answer(in_form(out, plan, found.to_dict, page, partial(shims_csv, found)), passes=found.passes)


@click.command()
@options.plan_argument
@click.option("--every", type=LENGTH, required=True, help='Riser spacing, such as "16 in".')
@click.option("--line", metavar="NAME", help="Line to follow.  [default: the only one]")
@click.option("--route", type=ROUTE, help="Route to follow, from line to line.")
@click.option("--from", "begin", type=LENGTH, default="0", help="Where the first riser stands.  [default: the start]")
@click.option(
    "--deck-joint", "deck_joints", type=LENGTH, multiple=True, help="Where the deck is joined; repeat for more."
)
@click.option("--deck", type=THICKNESS, help="Thickness of the deck.  [default: the plan's, else 1/2 in]")
@click.option("--roadbed", type=THICKNESS, help="Thickness of the roadbed.  [default: the plan's, else 1/4 in]")
@click.option("--track", type=THICKNESS, help="Height of rail and ties.  [default: the plan's, else the scale's]")
@click.option("--datum", type=LENGTH, help="Height of the plan's 0 above what risers stand on; negative: below.")
@click.option("--rule", type=LENGTH, help="Smallest division of your rule.  [default: 1/32 in or 0.5 mm]")
@click.option("--level", type=LENGTH, help="Length of your level.  [default: 24 in or 600 mm]")
@click.option("--strip", type=LENGTH, help="Print this much of the track at full size, too.")
@options.paper_option
@options.json_option
@options.csv_option("The risers")
@options.output_option("Write this file: .pdf, .csv, .svg, .png.")
@options.open_option
@options.show_option
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
    **lengths: float | None,
) -> Answer:
    """Show where each riser stands and how tall to cut it."""
    if line is not None and route is not None:
        raise click.UsageError("--line and --route exclude each other")
    if out.form != "pdf":
        refuse_idle("strip", "paper", needs="-o FILE.pdf")
    from gradehaul.design.risers.risers import risers_along, usual_riser_build
    from gradehaul.design.risers.walk import walk_along
    from gradehaul.haulage.answers.layout import Layout

    walk = walk_along(Layout(plan), line=line, route=route)
    build = usual_riser_build(plan, out.units(plan).system, **lengths)
    found = risers_along(walk, build, every=every, begin=begin, deck_joints=deck_joints)
    from gradehaul.show.risers.text import risers_csv, risers_page

    def picture(form: Format, units: UnitFormat) -> bytes:
        from gradehaul.show.risers.sheet import risers_picture, risers_sheet

        if form == "pdf":
            return risers_sheet(found, units, out.paper_for(units), strip=strip)
        return risers_picture(form, found, units)

    return Answer(in_form(out, plan, found.to_dict, partial(risers_page, found), partial(risers_csv, found), picture))
