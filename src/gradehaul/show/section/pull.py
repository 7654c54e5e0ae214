"""The pull part of a long section picture: pull against demand by the place of a train's head, and where it fails."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import cycle
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from gradehaul.haulage.verdict import HeadStretch, how_well
from gradehaul.haulage.views.section import Haul, PullGiven
from gradehaul.quantities import convert
from gradehaul.show.base.colors import INK, OUTCOME_COLORS, RAILS, SHORT, SPARE
from gradehaul.show.base.paper import Paper
from gradehaul.show.base.picture import curve_points, curve_points_in
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.section.text import condition_words
from gradehaul.track.piecewise import PiecewiseQuadratic

_SLIPPING: Any = (0, (1, 1.6))

_MARKS: Mapping[str, tuple[dict[str, Any], str]] = {
    "no stopping": ({"hatch": "//////", "facecolor": "white"}, "must not stop: would not start again"),
    "no recovery": ({"hatch": "||||||", "facecolor": "white"}, "would not recover from a slip"),
    "runs away": ({"hatch": "xxxxxx", "facecolor": SHORT}, "runs away: pushes its locomotives"),
    "stalls": ({"facecolor": INK}, "stalls"),
}
"""How a stretch is marked on which the head must not be, and what the mark means."""


def draw_pull(paper: Paper, axes: Axes, haul: Haul, judged: Sequence[PullGiven], units: UnitFormat) -> None:
    """Draw all pulls and the demand, the gap on the worst judged rail, and the holding-back limit of a descent."""
    descends = haul.least.least().value < 0
    tops = [haul.starting, *(each.standing for each in haul.given)]
    unit = units.force(max(each.greatest().value for each in tops)).rsplit(" ", 1)[1]
    key: dict[str, Artist] = {}

    def line(function: PiecewiseQuadratic, words: str, gid: str, **style: Any) -> None:  # noqa: ANN401 - as of a line
        single = function.stop - function.start < 1e-9
        x, y = curve_points_in(function, units.length_unit, unit)
        (drawn,) = axes.plot(x, y, marker="o" if single else None, ms=3.5, gid=gid, **style)
        key.setdefault(words, drawn)

    def gap(pull: PiecewiseQuadratic, need: PiecewiseQuadratic, gid: str, *, below: bool = False) -> None:
        x, spare = curve_points(pull - need)
        foot = need.at(x)
        across, foot, head = (convert(1.0, units.length_unit) * x, convert(1.0, unit) * foot,
                              convert(1.0, unit) * (foot + spare))  # fmt: skip
        style: dict[str, Any] = {"interpolate": True, "lw": 0.0, "zorder": 1.5}
        if not below:
            axes.fill_between(across, foot, head, where=spare >= 0, color=SPARE, gid=f"{gid} to spare", **style)
        red = OUTCOME_COLORS["stalls"]
        axes.fill_between(
            across, foot, head, where=(spare > 0) if below else (spare < 0), facecolor=SHORT, edgecolor=red,
            hatch="xxxx", gid=f"{gid} short", **style,
        )  # fmt: skip

    worst = min(judged, key=lambda each: how_well(each.verdict))
    gap(worst.standing, haul.running, "gap")
    for each, (color, dashes) in zip(haul.given, cycle(RAILS), strict=False):
        words = f"pull, {condition_words(haul, each)}{_steady(each.standing, units)}"
        line(each.standing, words, f"standing {each.rail}", color=color, lw=1.8, ls=dashes, zorder=3)
        line(
            each.slipping,
            f"with slipping wheels{_steady(each.slipping, units) if len(haul.given) == 1 else ''}",
            f"slipping {each.rail}",
            color=color,
            lw=1.0,
            ls=_SLIPPING,
            zorder=3,
        )
    line(haul.running, "demand to run", "demand running", color=INK, lw=2.2, zorder=4)
    line(haul.starting, "demand to start", "demand starting", color="#555555", lw=0.9, zorder=3)
    if descends:
        for each, (color, _) in zip(haul.given, cycle(RAILS), strict=False):
            limit = each.slipping * -1.0
            words = f"holding-back limit{_steady(limit, units) if len(haul.given) == 1 else ''}"
            line(limit, words, f"holding back {each.rail}", color=color, lw=1.6, ls=(0, (4, 1, 1, 1, 1, 1)), zorder=3)
            if each.judged:
                gap(limit, haul.least, f"holding back {each.rail}", below=True)
        line(haul.least, "least demand downhill", "demand least", color=INK, lw=1.2, ls=(0, (5, 1.5)), zorder=4)
    if worst.verdict.outcome != "runs away":
        _mark_least(axes, haul, worst, units, unit, key)
    axes.axhline(0.0, color=INK, lw=0.7, zorder=1)
    axes.margins(y=0.06)
    axes.set_ylabel(f"Pull and demand, {unit}")
    paper.key_above(axes, key)


def _mark_least(axes: Axes, haul: Haul, given: PullGiven, units: UnitFormat, unit: str, key: dict[str, Artist]) -> None:
    """Mark where the margin is least, as high as it is."""
    verdict = given.verdict
    at = min(max(verdict.margin_at, haul.running.start), haul.running.stop)
    need = haul.running(at)
    color = OUTCOME_COLORS["stalls" if verdict.margin < 0 else "climbs"]
    (drawn,) = axes.plot(
        [convert(at, units.length_unit)] * 2,
        [convert(need, unit), convert(need + verdict.margin, unit)],
        color=color,
        lw=1.4,
        marker="_",
        ms=6,
        mew=1.4,
        zorder=5,
        gid="least to spare",
    )
    force = units.force(abs(verdict.margin))
    key[f"{'lacks ' if verdict.margin < 0 else ''}{force}{'' if verdict.margin < 0 else ' to spare'}"] = drawn


def _steady(pull: PiecewiseQuadratic, units: UnitFormat) -> str:
    """Return a pull that is the same all the way; nothing where it changes."""
    least, greatest = pull.least().value, pull.greatest().value
    return f": {units.force(greatest)}" if greatest - least <= 1e-9 * abs(greatest) else ""


def name_care(paper: Paper, axes: Axes, rails: Sequence[str], *, roomy: bool) -> None:
    """Name the bars of the judged rails: at their left, or above them where a sheet is narrow."""
    axes.set_ylim(len(rails), 0.0)
    axes.grid(visible=False)
    axes.spines[:].set_visible(False)
    axes.tick_params(length=0.0)
    axes.set_yticks(np.arange(len(rails)) + 0.5, list(rails) if roomy else [""] * len(rails))
    if not roomy:
        for row, rail in enumerate(rails):
            axes.text(0.0, row + 0.45, rail, va="bottom", fontsize=0.92 * paper.font, parse_math=False)


def draw_care(axes: Axes, haul: Haul, judged: Sequence[PullGiven], troubled: Sequence[PullGiven], unit: str) -> None:
    """Draw a bar for each judged rail with places where the head must not be, and mark these."""
    start, stop = (convert(place, unit) for place in (haul.running.start, haul.running.stop))
    wide = 0.0015 * stop  # so that the shortest is seen
    top = 0.1 if axes.get_yticklabels()[0].get_text() else 0.5
    whole = 0.94 - top
    bars_of = [(each, color) for each, (color, _) in zip(judged, cycle(RAILS), strict=False) if each in troubled]
    for row, (each, color) in enumerate(bars_of):
        axes.broken_barh([(start, max(stop - start, wide))], (row + top, whole), facecolor="white", edgecolor=color)
        for kind, stretches in troubles(each).items():
            low, share = {"no stopping": (0.0, 0.5), "no recovery": (0.5, 0.5)}.get(kind, (0.0, 1.0))
            bars = [
                (a, max(b - a, wide)) for a, b in ((convert(s.start, unit), convert(s.stop, unit)) for s in stretches)
            ]
            if bars:
                place = (row + top + low * whole, share * whole)
                axes.broken_barh(bars, place, edgecolor=INK, lw=0.6, zorder=3, gid=kind, **_MARKS[kind][0])


def care_key(judged: Sequence[PullGiven]) -> dict[str, Artist | tuple[Artist, ...]]:
    """Return what the marks in the bars mean, of those that are there."""
    met = {kind for each in judged for kind, stretches in troubles(each).items() if stretches}
    return {words: Patch(edgecolor=INK, lw=0.6, **style) for kind, (style, words) in _MARKS.items() if kind in met}


def troubles(given: PullGiven) -> dict[str, tuple[HeadStretch, ...]]:
    """Return the stretches on which the head must not be, by kind."""
    verdict = given.verdict
    return {
        "no stopping": verdict.no_stopping,
        "no recovery": verdict.no_recovery,
        "runs away": verdict.running_away,
        "stalls": verdict.stalling,
    }
