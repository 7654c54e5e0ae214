"""Risers for a person, where each stands, how tall to cut it, the block under the level; and for a spreadsheet."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from itertools import groupby
from typing import NamedTuple

from gradehaul.design.risers.below import BLOCK_WIDTH
from gradehaul.design.risers.risers import Riser, Risers
from gradehaul.errors import clean
from gradehaul.quantities import INCH, convert
from gradehaul.show.base.labels import listed, spans
from gradehaul.show.base.page import Page
from gradehaul.show.base.spreadsheet import table
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.sheets import CAUTIONS, on_rule

_FROM_JOINT, _PAST = "from joint>", " + "
"""The column of places from a joint, and what stands between the joint and how far past it."""

_SAME = 5e-5
"""Places no farther apart are the same, m."""


def risers_page(found: Risers, units: UnitFormat) -> Page:
    """Return the risers as a page."""
    page = Page()
    page.line((headline(found, units), "bold"))
    columns = riser_columns(found, units)
    if found.below:  # no room beside what to cut over track
        columns = [column for column in columns if column.head != "off>"]
    for line in explained(found, units, off=not found.below):
        page.line(line, indent=2)
    page.table([column.head for column in columns], list(_below_joints(columns)))
    for words in beside_lines(found, units):
        page.line(words, indent=2)
    page.heading("Take care")
    for line in CAUTIONS:
        page.line(line, indent=2)
    return page


def _below_joints(columns: Sequence[RiserColumn]) -> Iterator[tuple[str, ...]]:
    """Yield a row for each riser, below the joint that its place is counted from where a column shows that."""
    rows = zip(*(column.cells for column in columns), strict=True)
    heads = [column.head for column in columns]
    if _FROM_JOINT not in heads:
        yield from rows
        return
    at = heads.index(_FROM_JOINT)
    for joint, risers in groupby(rows, key=lambda row: row[at].rpartition(_PAST)[0]):
        yield (f"From {joint}:",)
        for row in risers:
            yield (*row[:at], row[at].rpartition(_PAST)[2], *row[at + 1 :])


def beside_lines(found: Risers, units: UnitFormat) -> list[str]:
    """Return the tracks that run beside, those of risers in a row that have the same in one line."""
    lines: list[str] = []
    if found.below:
        lines += [track_below(found), *_supports(found, units)]
    for words, run in groupby(found.risers, key=lambda riser: _beside_words(riser, units)):
        if words:
            lines.append(f"Beside {_numbered([riser.number for riser in run])}: {words}.")
    return lines


def _numbered(numbers: Sequence[int]) -> str:
    return f"riser{'s' if len(numbers) > 1 else ''} {spans(numbers)}"


def track_below(found: Risers) -> str:
    """Return which risers stand over track."""
    return f"TRACK BELOW {_numbered(found.below)}: a post to the floor would go through it, or hit what runs on it."


def no_block_fits(riser: Riser) -> bool:
    """Return whether nothing that is cut for a riser can stand there: what runs on track below would hit it."""
    return riser.below is not None and not riser.below.fits


def _supports(found: Risers, units: UnitFormat) -> Iterator[str]:
    """Yield what can hold the risers that stand over track: nothing, one block, or two beside the track."""

    def words(riser: Riser) -> str:
        below = riser.below
        if below is None:
            return ""
        clear = f"faces at least {rounded_up(below.clear, units)} from the center of every track there"
        if below.beside:
            return (
                f'{clean(below.track)} lies right under it: cut two blocks to "on deck" and stand one on each side, '
                f"{clear}, never on that track"
            )
        passes = f"{clean(below.track)} passes {units.length(below.apart, fine=True)} from its center"
        return (
            f'{passes}: cut one block to "on deck", {clear}'
            if below.fits
            else f"{passes}: no block fits; move the riser"
        )

    for said, run in groupby(found.risers, key=words):
        if said:
            numbers = _numbered([riser.number for riser in run])
            yield f"{numbers[0].upper()}{numbers[1:]}: {said}."
    yield (
        f"A block counts as a 1x2 laid flat, {units.length(BLOCK_WIDTH, fine=True)} wide; beside it room is kept for "
        "half the width of stock, what that overhangs on a curve, and the room that is usual."
    )


def rounded_up(length: float, units: UnitFormat) -> str:
    """Return a length as text, never less than it is."""
    part = 0.001 if units.system == "metric" else INCH / 16
    return units.length(math.ceil(length / part - 1e-6) * part, fine=True)


def headline(found: Risers, units: UnitFormat) -> str:
    """Return how many risers stand where."""
    count = len(found.risers)
    begin = f" from {units.length(found.begin)}" if found.begin else ""
    return (
        f"{count} riser{'s' if count > 1 else ''} along {clean(found.walk.name)}, every {units.length(found.every)}"
        f"{begin}; railhead {on_rule(found.risers[0].railhead, found.build.rule)} to "
        f"{on_rule(found.risers[-1].railhead, found.build.rule)}"
    )


def explained(found: Risers, units: UnitFormat, *, off: bool = True) -> list[str]:
    """Return what the columns count from, and how the level is read; `off` is whether there is that column."""
    build = found.build
    layers = ", ".join(
        f"{name} {units.length(value, fine=True)}"
        for name, value in (
            ("track", build.track),
            ("roadbed", build.roadbed),
            ("deck (plywood subroadbed)", build.deck),
        )
    )
    assumed = f"; {listed(build.assumed)} assumed: write [deck]" if build.assumed else ""
    counted = (
        "Railhead and top are measured from the plan's 0. Top is the height of the riser's top, which may be below 0, "
        "not a length to cut: for that, add --datum."
        if build.datum is None
        else "Railhead is measured from the plan's 0. Cut to is measured from what the risers stand on, "
        f"{units.length(abs(build.datum))} {'higher' if build.datum < 0 else 'lower'}."
    )
    more = (
        ". On deck: a block from the top of the deck below to the underside of this one, rounded down; where none "
        "fits, move the riser, and cut nothing for it here"
        if found.below
        else ""
    )
    rounding = "; off is what rounding adds" if off else ""
    unit = _rule_of(found)[1]
    places = "" if units.length_unit == unit else f", places in {units.lengths}"
    block = (
        f"Block: center a {units.length(build.level)} level on the riser, both ends on the track (near an end of the "
        "line, slide it inward), and put this block under its low end: the bubble then reads level. Behind: the low "
        "end is the one toward the start; ahead: the other. On a summit, rest the level on the high point. Change: "
        "from the riser before, both rounded."
    )
    if (longest := found.longest_level) is not None:
        part = 0.01 if units.system == "metric" else 0.0127
        fits = units.length(math.floor(longest / part) * part)
        block += (
            f" At –, the level is too long to lie on the track: --level {fits!r} is the longest that works everywhere."
        )
    return [
        f"Columns are in {'inches' if unit == 'in' else unit}{places}.",
        counted,
        f"Under the railhead: {layers}{assumed}.",
        f"Each height is rounded to {on_rule(build.rule, build.rule)} by itself{rounding}{more}.",
        "Risers also stand at ends and joints, and where the grade begins or stops changing."
        + " Track that the route runs over again has those of the first time." * bool(found.walk.again),
        block,
    ]


class RiserColumn(NamedTuple):
    """A column of the list of risers: its head, ``>`` at its end for figures, its width on paper, inches, its cells."""

    head: str
    width: float
    cells: Sequence[str]


def riser_columns(found: Risers, units: UnitFormat) -> list[RiserColumn]:
    """Return the columns of the list of risers: by turns, or from joints where the track turns round less than once."""
    risers, (rule, unit) = found.risers, _rule_of(found)

    def height(length: float, *, down: bool = False) -> str:
        return on_rule(length, rule, down=down).removesuffix(f" {unit}")

    def change(length: float | None) -> str:
        return "" if length is None else f"{'+' if length > 0 else ''}{height(length)}"

    def at(length: float) -> str:
        return place_words(length, units).removesuffix(f" {units.length_unit}")

    joints = [f"{clean(riser.joint)}{_PAST}{at(riser.after)}" for riser in risers]
    on_deck = ["" if riser.on_deck is None else height(riser.on_deck, down=True) for riser in risers]
    on_deck = ["move" if no_block_fits(riser) else cell for riser, cell in zip(risers, on_deck, strict=True)]
    cuts = ["–" if found.build.datum is not None and no_block_fits(riser) else height(riser.cut) for riser in risers]
    off = [f"{convert(riser.residual, unit):+.{2 if unit == 'mm' else 3}f}" for riser in risers]
    labels = [f"{riser.number}" if riser.reason == "spacing" else f"{riser.reason} {riser.number}" for riser in risers]
    turns = any(riser.per_turn is not None for riser in risers)
    columns = [
        RiserColumn("riser>", 0.72, labels),
        RiserColumn("at>", 0.62, [at(riser.at) for riser in risers]),
        RiserColumn(_FROM_JOINT, 1.35, joints),
        RiserColumn("railhead>", 0.72, [height(riser.railhead) for riser in risers]),
        RiserColumn("top>" if found.build.datum is None else "cut to>", 0.75, cuts),
        RiserColumn("on deck>", 0.68, on_deck),
        RiserColumn("off>", 0.6, off),
        RiserColumn("change>", 0.65, [change(riser.change) for riser in risers]),
        RiserColumn("turn>", 0.62, [_turn(riser.turned) for riser in risers]),
        RiserColumn("block", 0.95, [_block(riser, height) for riser in risers]),
    ]
    left_out = [_FROM_JOINT if turns else "turn>"]
    if not found.below:
        left_out.append("on deck>")
    if len({riser.joint for riser in risers}) == 1 and all(abs(riser.after - riser.at) < _SAME for riser in risers):
        left_out.append(_FROM_JOINT)
    return [column for column in columns if column.head not in left_out]


def _rule_of(found: Risers) -> tuple[float, str]:
    """Return the smallest division of the rule, m, and the unit in which it shows lengths."""
    rule = found.build.rule
    return rule, on_rule(rule, rule).rpartition(" ")[2]


def _turn(turned: float) -> str:
    """Return which turn a place is on, and how far round, in whole degrees."""
    turns, degrees = divmod(round(math.degrees(abs(turned))), 360)
    return f"{turns + 1}: {degrees}°"


def _block(riser: Riser, height: Callable[[float], str]) -> str:
    if riser.block is None:
        return "–"
    block = height(riser.block)
    return "level" if block == "0" else f"{block} {riser.low_end}".strip()


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
    columns = Riser.KEYS.replace("number", "riser=number").removesuffix(" beside")
    return table(Riser, columns, found.risers, units)
