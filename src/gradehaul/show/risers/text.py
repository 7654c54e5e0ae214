"""Risers as a page for a person: where each stands, the height to saw, the block under the level."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from gradehaul.design.risers.risers import Riser, Risers
from gradehaul.plan.names import clean
from gradehaul.show.base.page import Page
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.sheets.cautions import CAUTIONS
from gradehaul.show.sheets.rule_reading import on_rule


def risers_page(found: Risers, reader: Reader) -> Page:
    """Return the risers as a page."""
    page = Page()
    page.paragraph((headline(found, reader), "bold"))
    for line in explained(found, reader):
        page.paragraph(line, indent=2)
    heads = ["riser>", "at>", "from joint", "railhead>", f"{top_word(found)}>", "off>", "change>", "block"]
    page.table(heads, [cells(riser, found, reader) for riser in found.risers])
    for words in beside_lines(found, reader):
        page.paragraph(words, indent=2)
    page.heading("Take care")
    for line in CAUTIONS:
        page.paragraph(line, indent=2)
    return page


def beside_lines(found: Risers, reader: Reader) -> list[str]:
    """Return the tracks that run beside, those of risers in a row that have the same in one line."""
    lines: list[str] = []
    if found.below:
        which = ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 1 else f"{run[0]}" for run in _runs(found.below))
        lines.append(
            f"TRACK BELOW risers {which}: a post to the floor would go through it. Cut blocks from deck to "
            "deck there; helix -o FILE.pdf lists them."
        )
    for words, run in groupby(found.risers, key=lambda riser: beside_words(riser, reader)):
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


def headline(found: Risers, reader: Reader) -> str:
    """Return how many risers stand where."""
    count = len(found.risers)
    begin = f" from {reader.length(found.begin)}" if found.begin else ""
    return (
        f"{count} riser{'s' if count > 1 else ''} along {clean(found.walk.name)}, every {reader.length(found.every)}"
        f"{begin}; railhead {on_rule(found.risers[0].railhead, found.build.rule)} to "
        f"{on_rule(found.risers[-1].railhead, found.build.rule)}"
    )


def explained(found: Risers, reader: Reader) -> list[str]:
    """Return what the columns count from, and how the level is read."""
    build = found.build
    layers = ", ".join(
        f"{name} {reader.length(value, fine=True)}"
        for name, value in (("track", build.track), ("roadbed", build.roadbed), ("deck", build.deck))
    )
    over = (
        "heights count from the plan's 0, not from the floor: --datum gives heights to saw"
        if build.datum is None
        else f"heights count from the floor, {reader.length(build.datum)} below the plan's 0"
    )
    return [
        f"Under the railhead: {layers}. {over[0].upper()}{over[1:]}.",
        f"Each height is rounded to {on_rule(build.rule, build.rule)} by itself; off is what rounding adds.",
        f"Block: it makes a level {reader.length(build.level)} long, laid on the rail over the riser, read level.",
    ]


def top_word(found: Risers) -> str:
    """Return the head of the column of heights: to saw where they count from the floor."""
    return "top" if found.build.datum is None else "saw to"


def cells(riser: Riser, found: Risers, reader: Reader) -> list[str]:
    """Return the cells of a riser: number, place, joint before, railhead, height, what rounding adds, change, block."""
    rule = found.build.rule
    change = "" if riser.change is None else f"{'+' if riser.change > 0 else ''}{on_rule(riser.change, rule)}"
    block = ""
    if riser.block is not None:
        block = f"{on_rule(riser.block, rule)} {riser.low_end}".strip() if round(riser.block / rule) else "level"
    return [
        str(riser.number),
        place_words(riser.at, reader),
        f"{clean(riser.joint)} + {place_words(riser.after, reader)}",
        on_rule(riser.railhead, rule),
        on_rule(riser.cut, rule),
        f"{1000 * riser.residual:+.2f} mm" if reader.system == "metric" else f"{riser.residual / 0.0254:+.3f} in",
        change,
        block,
    ]


def place_words(at: float, reader: Reader) -> str:
    """Return a distance along the track, as closely as it is marked on plywood."""
    return reader.length(at, fine=reader.system == "imperial")


def beside_words(riser: Riser, reader: Reader) -> str:
    """Return the tracks that run beside at a riser."""
    return "; ".join(
        f"{clean(each.line)} {reader.length(abs(each.offset), fine=True)} {'left' if each.offset > 0 else 'right'}, "
        f"railhead {reader.length(each.railhead, fine=True)}"
        for each in riser.beside
    )
