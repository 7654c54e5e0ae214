"""Risers for a person, where each stands, the height to saw, the block under the level; and for a spreadsheet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import groupby
from typing import NamedTuple

from gradehaul.design.risers.risers import Riser, Risers
from gradehaul.plan.names import clean
from gradehaul.show.base.page import Page
from gradehaul.show.base.spreadsheet import table
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.sheets import CAUTIONS, on_rule


def risers_page(found: Risers, units: UnitFormat) -> Page:
    """Return the risers as a page."""
    page = Page()
    page.paragraph((headline(found, units), "bold"))
    for line in explained(found, units):
        page.paragraph(line, indent=2)
    columns = riser_columns(found, units)
    page.table([column.head for column in columns], list(zip(*(column.cells for column in columns), strict=True)))
    for words in beside_lines(found, units):
        page.paragraph(words, indent=2)
    page.heading("Take care")
    for line in CAUTIONS:
        page.paragraph(line, indent=2)
    return page


def beside_lines(found: Risers, units: UnitFormat) -> list[str]:
    """Return the tracks that run beside, those of risers in a row that have the same in one line."""
    lines: list[str] = []
    if found.below:
        which = ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 1 else f"{run[0]}" for run in _runs(found.below))
        lines.append(
            f"TRACK BELOW risers {which}: a post to the floor would go through it. Cut blocks from deck to "
            "deck there; helix -o FILE.pdf lists them."
        )
    for words, run in groupby(found.risers, key=lambda riser: _beside_words(riser, units)):
        numbers = [riser.number for riser in run]
        if words:
            which = f"riser {numbers[0]}" if len(numbers) == 1 else f"risers {numbers[0]} to {numbers[-1]}"
            lines.append(f"Beside {which}: {words}.")
    return lines


def _runs(numbers: Sequence[int]) -> list[list[int]]:
    """Return numbers in runs without a gap."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return runs


def headline(found: Risers, units: UnitFormat) -> str:
    """Return how many risers stand where."""
    count = len(found.risers)
    begin = f" from {units.length(found.begin)}" if found.begin else ""
    return (
        f"{count} riser{'s' if count > 1 else ''} along {clean(found.walk.name)}, every {units.length(found.every)}"
        f"{begin}; railhead {on_rule(found.risers[0].railhead, found.build.rule)} to "
        f"{on_rule(found.risers[-1].railhead, found.build.rule)}"
    )


def explained(found: Risers, units: UnitFormat) -> list[str]:
    """Return what the columns count from, and how the level is read."""
    build = found.build
    layers = ", ".join(
        f"{name} {units.length(value, fine=True)}"
        for name, value in (("track", build.track), ("roadbed", build.roadbed), ("deck", build.deck))
    )
    over = (
        "heights count from the plan's 0, not from the floor: --datum gives heights to saw"
        if build.datum is None
        else f"heights count from the floor, {units.length(build.datum)} below the plan's 0"
    )
    turns = any(riser.per_turn is not None for riser in found.risers)
    more = ". Per turn: how much higher than one whole turn before" if turns else ""
    return [
        f"Under the railhead: {layers}. {over[0].upper()}{over[1:]}.",
        f"Each height is rounded to {on_rule(build.rule, build.rule)} by itself; off is what rounding adds{more}.",
        "Risers also stand at ends and joints, and where the grade begins or ceases to change.",
        f"Block: it makes a level {units.length(build.level)} long, laid on the rail over the riser, read level.",
    ]


def top_word(found: Risers) -> str:
    """Return the head of the column of heights: to saw where they count from the floor."""
    return "top" if found.build.datum is None else "saw to"


class RiserColumn(NamedTuple):
    """A column of the list of risers: its head, ``>`` at its end for figures, its width on paper, inches, its cells."""

    head: str
    width: float
    cells: Sequence[str]


def riser_columns(found: Risers, units: UnitFormat) -> list[RiserColumn]:
    """Return the columns of the list of risers: by turns, or from joints where the track turns round less than once."""
    rule, risers = found.build.rule, found.risers
    millimeters = units.system == "metric"
    joints = [f"{clean(riser.joint)} + {place_words(riser.after, units)}" for riser in risers]
    off = [f"{1000 * r.residual:+.2f} mm" if millimeters else f"{r.residual / 0.0254:+.3f} in" for r in risers]
    turns = any(riser.per_turn is not None for riser in risers)
    columns = [
        RiserColumn("riser>", 0.75, [_label(riser) for riser in risers]),
        RiserColumn("at>", 0.72, [place_words(riser.at, units) for riser in risers]),
        RiserColumn("from joint", 1.75, joints),
        RiserColumn("railhead>", 0.82, [on_rule(riser.railhead, rule) for riser in risers]),
        RiserColumn(f"{top_word(found)}>", 0.92, [on_rule(riser.cut, rule) for riser in risers]),
        RiserColumn("off>", 0.72, off),
        RiserColumn("change>", 0.78, [_signed(riser.change, rule) for riser in risers]),
        RiserColumn("turn>", 0.62, [_turn(riser.turned) for riser in risers]),
        RiserColumn("per turn>", 0.82, [_signed(riser.per_turn, rule) for riser in risers]),
        RiserColumn("block", 1.0, [_block(riser, rule) for riser in risers]),
    ]
    left_out = ("from joint",) if turns else ("turn>", "per turn>")
    return [column for column in columns if column.head not in left_out]


def _label(riser: Riser) -> str:
    """Return the number of a riser, and why it stands there where that is not its spacing."""
    return f"{riser.number}" if riser.reason == "spacing" else f"{riser.reason} {riser.number}"


def _signed(length: float | None, rule: float) -> str:
    return "" if length is None else f"{'+' if length > 0 else ''}{on_rule(length, rule)}"


def _turn(turned: float) -> str:
    """Return which turn a place is on, and how far round, in whole degrees."""
    turns, degrees = divmod(round(math.degrees(abs(turned))), 360)
    return f"{turns + 1}: {degrees}°"


def _block(riser: Riser, rule: float) -> str:
    if riser.block is None:
        return ""
    return f"{on_rule(riser.block, rule)} {riser.low_end}".strip() if round(riser.block / rule) else "level"


def place_words(at: float, units: UnitFormat) -> str:
    """Return a distance along the track, as closely as it is marked on plywood."""
    return units.length(at, fine=units.system == "imperial")


def _beside_words(riser: Riser, units: UnitFormat) -> str:
    """Return the tracks that run beside at a riser."""
    return "; ".join(
        f"{clean(each.line)} {units.length(abs(each.offset), fine=True)} {'left' if each.offset > 0 else 'right'}, "
        f"railhead {units.length(each.railhead, fine=True)}"
        for each in riser.beside
    )


def risers_csv(found: Risers, units: UnitFormat | None) -> str:
    """Return the risers as CSV (RFC 4180), lengths in the units shown, or in m."""
    columns = "riser=number reason joint track at after railhead top cut residual change turned per_turn block low_end"
    return table(Riser, columns, found.risers, units)
