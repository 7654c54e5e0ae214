"""The sheets that a builder of a climb takes to the bench: plan, section through the stack, heights and cut list."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from itertools import pairwise, zip_longest
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from gradehaul.design.climb.designs import HelixBench, Spoke
from gradehaul.design.climb.helix import GUARD, HelixBuild
from gradehaul.design.climb.incline import CARE
from gradehaul.design.risers.risers import Risers
from gradehaul.design.risers.strip import section_words
from gradehaul.design.risers.walk import Walk
from gradehaul.show.base.picture import INK
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.risers.sheet import cut_list_figures, risers_figure
from gradehaul.show.risers.text import no_block_fits, rounded_up
from gradehaul.show.sheets import Form, PaperName, as_pages, on_rule

if TYPE_CHECKING:
    from matplotlib.figure import Figure


_MOST_TURNS = 6
"""Turns in one table of heights."""

_PLAN = 2.3
"""How far up the page a plan begins, inches: below it is room for words."""


def incline_figures(found: Risers, units: UnitFormat, paper: PaperName) -> list[Figure]:
    """Return the sheets of an incline as figures; to be called by the `drawing_rules`."""
    form = Form("Incline: plan for the bench", paper, foot="Lengths are on the center line of the track.")
    half, unit = 1.5 * found.walk.layout.plan.scale.gauge, found.walk.layout.plan.unit
    form.words("Take care", [CARE], numbered=False)
    labels = {riser.at: str(riser.number) for riser in found.risers}
    draw_plan(form.panel(_PLAN), found.walk, labels, (half, half), units)
    changes = found.walk.tangent_points
    words = [f"{units.length(at, fine=True)}: {section_words(after, unit)} from here" for at, _, after in changes]
    form.words("Tangent points", words, numbered=False)
    return [*form.finish(), risers_figure(found, units, paper), *cut_list_figures(found, units, paper)]


incline_sheet = as_pages(incline_figures)


def helix_figures(bench: HelixBench, units: UnitFormat, paper: PaperName) -> list[Figure]:
    """Return the sheets of a helix as figures; to be called by the `drawing_rules`."""
    helix, build, found = bench.helix, bench.helix.build, bench.found
    count = "Distances along the track" if build.straight else "Angles"
    form = Form("Helix: sheets for the bench", paper, foot=f"{count} are measured from where the curve begins.")
    short = helix.short_by(_vertical(bench))
    low = f"TOO LOW by {units.length(short, fine=True)}: stock does not clear the deck above."
    form.words("Take care", [low, GUARD] if short else [GUARD], numbered=False)
    labels = {spoke.risers[0].at: f"{spoke.number}\n{_place(bench, spoke, units, 0)}" for spoke in bench.spokes}
    inner = float(build.apart(helix.radius))
    draw_plan(form.panel(_PLAN), found.walk, labels, (inner + build.edge, build.edge), units, second=inner)
    floor, opening = (
        " by ".join(units.length(side, fine=True) for side in sides) for sides in (helix.floor, bench.opening)
    )
    outer = "outer " if inner else ""
    apart = units.length(found.every, fine=True)
    form.words(
        "Sizes",
        [
            f"Radius of the track: {_radii(bench, units)}.",
            *([_sides(build, units)] if build.straight else ()),
            f"Floor needed, without the approaches: {floor}. Opening inside the deck: {opening}.",
            f"{helix.turns:g} turns, {len(bench.spokes)} risers in a turn, {apart} apart along the {outer}track.",
            f"Deck {units.length(build.deck, fine=True)} thick, {units.length(bench.width, fine=True)} wide.",
        ],
        numbered=False,
    )
    form.new_page()
    _section(form, bench, units)
    _heights(form, bench, units)
    return [*form.finish(), *cut_list_figures(found, units, paper)]


helix_sheet = as_pages(helix_figures)


def _radii(bench: HelixBench, units: UnitFormat) -> str:
    inner, outer = (units.length(r, fine=True) for r in (bench.helix.radius, bench.helix.outer_radius))
    return f"inner {inner}, outer {outer}" if bench.helix.build.two else inner


def _sides(build: HelixBuild, units: UnitFormat) -> str:
    side, apart = (units.length(each, fine=True) for each in (build.straight, build.straight + build.ease))
    return f"Straight sides {side} long; centers of the curves {apart} apart."


def _place(bench: HelixBench, spoke: Spoke, units: UnitFormat, decimals: int) -> str:
    """Return where a spoke stands: its angle, or how far along a track that is not round."""
    if bench.helix.build.straight:
        return units.length((spoke.number - 1) * bench.found.every, fine=True)
    return f"{math.degrees(spoke.angle):.{decimals}f}°"


def _section(form: Form, bench: HelixBench, units: UnitFormat) -> None:
    """Draw the section through the stack at the first spoke and half a turn on, with clear heights."""
    helix, build, found = bench.helix, bench.helix.build, bench.found
    form.words("Section through the stack, at the first riser and half a turn on", [], numbered=False)
    axes = form.panel(form.top - 4.6)
    half = len(bench.spokes) // 2
    wide = bench.width
    for spoke, sign in ((bench.spokes[0], 1.0), (bench.spokes[half], -1.0)):
        left = sign * (helix.radius - build.edge)
        right = sign * (helix.outer_radius + build.edge)
        tops = [riser.top for riser in spoke.risers]
        heads = [riser.railhead + (found.build.datum or 0.0) for riser in spoke.risers]
        for top, head in zip(tops, heads, strict=True):
            axes.fill([left, right, right, left], [top, top, top + build.deck, top + build.deck], color="#d8c39a", lw=0)
            for radius in {helix.radius, helix.outer_radius}:
                axes.plot([sign * radius], [head], marker="_", ms=12, mew=1.6, color="#1a1a1a")
        outside = right + sign * 0.08 * wide
        for head, above in zip(heads, tops[1:], strict=False):
            words = f"clear {units.length(above - head, fine=True)}"
            dimension(axes, left - sign * 0.08 * wide, head, above, words, right=sign < 0)
        for one, other in pairwise(tops):
            dimension(axes, outside, one, other, units.length(other - one, fine=True), right=sign > 0)
        axes.text(
            0.5 * (left + right), tops[0] - 0.03 * (tops[-1] - tops[0] + wide), f"riser {spoke.number}", ha="center",
            va="top", fontsize=8,
        )  # fmt: skip
    axes.axvline(0.0, color="#8a8a8a", lw=0.7, ls=(0, (8, 3, 2, 3)))
    axes.margins(0.12)
    form.words(
        "",
        [
            "Heights and widths are drawn to different scales. Clear: from the railhead to the deck above it.",
            f"Wanted: {units.length(build.clear, fine=True)}. The least over any railhead, with its approaches: "
            + (units.length(helix.clear_left(_vertical(bench)), fine=True) if helix.stacked else "nothing lies above")
            + ".",
        ],
        numbered=False,
    )


def _vertical(bench: HelixBench) -> float:
    return bench.found.walk.layout.plan.vertical_curve


def _heights(form: Form, bench: HelixBench, units: UnitFormat) -> None:
    """Add the heights of every spoke, turn by turn, and the blocks between the decks."""
    rule = bench.found.build.rule
    turns = max(len(spoke.risers) for spoke in bench.spokes)
    for first in range(0, turns, _MOST_TURNS):
        shown = range(first, min(first + _MOST_TURNS, turns))
        columns = [
            ("riser", 0.5),
            ("along", 0.8) if bench.helix.build.straight else ("angle", 0.6),
            *((f"turn {turn + 1}", 0.95) for turn in shown),
        ]
        rows = [
            [
                str(spoke.number),
                _place(bench, spoke, units, 1),
                *(on_rule(spoke.risers[n].cut, rule) if n < len(spoke.risers) else "" for n in shown),
            ]
            for spoke in bench.spokes
        ]
        form.table("Under the deck at each riser: nuts on threaded rod, or tops of posts", columns, rows, row=0.22)
    if blocks := list(_blocks(bench, units)):
        form.words("Blocks from deck to deck", blocks, numbered=False)


def _blocks(bench: HelixBench, units: UnitFormat) -> Iterator[str]:
    """Yield how long the blocks of each turn are, and where they stand: beside the track below, never on it."""
    rule = bench.found.build.rule
    if any(map(no_block_fits, bench.found.risers)):
        yield "The cut list names risers where no block fits: move them."
    for turn, risers in enumerate(zip_longest(*(spoke.risers[1:] for spoke in bench.spokes)), 1):
        sizes = [each.below.room for each in risers if each is not None and each.below is not None and each.below.fits]
        if sizes:
            low, high = (on_rule(size, rule, down=True) for size in (min(sizes), max(sizes)))
            words = low if low == high else f"{low} to {high}, see the cut list"
            yield f"On turn {turn}: at {len(sizes)} riser{'s' if len(sizes) > 1 else ''} two blocks of {words}."
    clear = max((riser.below.clear for riser in bench.found.risers if riser.below is not None), default=None)
    if clear is not None:
        yield (
            f"Stand the two at the edges of the deck, their faces at least {rounded_up(clear, units)} from the "
            "center of every track, or trains hit them: make the deck wider there, or use threaded rod outside it."
        )


_POINTS = 1500
"""Points by which a track is drawn."""
_UPRIGHT = 0.4
"""A riser that leans less than this, as a sine, has its label over or under it, else beside it."""
_SAME = 1e-4
"""Centers nearer than this, m, are one."""


def draw_plan(
    axes: Axes,
    walk: Walk,
    risers: Mapping[float, str],
    edges: tuple[float, float],
    units: UnitFormat,
    *,
    second: float = 0.0,
) -> None:
    """Draw a climb in plan, all to one scale.

    Risers stand at places along the walk, m, each with its label; the deck reaches so far to the left and the right, m,
    and a second track lies so far to the left, m.
    """
    axes.set_aspect("equal")
    places, headings, _ = walk.places(np.linspace(0.0, walk.length, _POINTS))
    for left in {0.0, second}:
        line = places + left * 1j * np.exp(1j * headings)
        axes.plot(line.real, line.imag, color=INK, lw=1.1, zorder=3, gid="track")
    for left in edges[0], -edges[1]:
        line = places + left * 1j * np.exp(1j * headings)
        axes.plot(line.real, line.imag, color="#8a8a8a", lw=0.6, ls=(0, (4, 2)), zorder=2, gid="edge")
    labeled: dict[bool, complex] = {}
    for place, label in risers.items():
        (spot,), (heading,), _ = walk.places(place)
        side = 1j * np.exp(1j * heading)
        ends = spot + side * np.array([edges[0], -edges[1]])
        axes.plot(ends.real, ends.imag, color="#8a6d3b", lw=2.2, zorder=4, gid="riser")
        # a label too near to the one before stands on the other side
        right = abs(spot - labeled.get(True, math.inf)) > 0.035 * _span(places)
        labeled[right] = spot
        beyond = 0.03 * _span(places)
        out = spot + side * (-edges[1] - beyond if right else edges[0] + beyond)
        lean = (out - spot).real / abs(out - spot)
        across = "center" if abs(lean) < _UPRIGHT else "left" if lean > 0 else "right"
        axes.text(out.real, out.imag, label, fontsize=8, ha=across, va="center", color=INK, weight="bold")
    _draw_centers(axes, walk, units)
    axes.margins(0.1)


def _span(places: NDArray[np.complex128]) -> float:
    return float(max(np.ptp(places.real), np.ptp(places.imag)))


def _draw_centers(axes: Axes, walk: Walk, units: UnitFormat) -> None:
    """Mark the center of each curve, with its radius along a thin line to the track."""
    drawn: list[complex] = []
    begin = 0.0
    for section in walk.sections:
        if section.first == section.last and abs(section.first) > 1e-9:
            middle = begin + min(0.5 * section.length, 0.4 / abs(section.first))
            (spot,), (heading,), (curvature,) = walk.places(middle)
            center = complex(spot + 1j * np.exp(1j * heading) / curvature)
            if all(abs(center - other) > _SAME for other in drawn):
                drawn.append(center)
                axes.plot(center.real, center.imag, marker="+", ms=11, color="#0057a8", zorder=5, gid="center")
                axes.plot([center.real, spot.real], [center.imag, spot.imag], color="#0057a8", lw=0.7, zorder=1)
                half = 0.5 * (center + spot)
                words = f"R {units.length(1 / abs(curvature), fine=True)}"
                box = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
                axes.text(half.real, half.imag, words, fontsize=8, ha="center", va="center", color="#0057a8", bbox=box)
        begin += section.length


def dimension(axes: Axes, at: float, low: float, high: float, words: str, *, right: bool) -> None:
    """Draw an upright dimension line with arrows, and its words to its right or its left."""
    arrow = {"arrowstyle": "<->", "color": "#0057a8", "lw": 0.8, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (at, low), (at, high), arrowprops=arrow)
    side = "left" if right else "right"
    axes.text(at, 0.5 * (low + high), f" {words} ", fontsize=7.5, va="center", ha=side, color="#0057a8")
