"""The picture of a long section: a train's pull against its demand, the railhead, and a band of figures below."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import cycle
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from gradehaul.haulage.verdict import STATES, HeadStretch, rank
from gradehaul.haulage.views.section import Haul, LongSection, PullGiven
from gradehaul.quantities import convert
from gradehaul.show.base.paper import SIZES, Panel, Paper, SizeName
from gradehaul.show.base.picture import (
    FAINT,
    INK,
    OUTCOME_COLORS,
    RAILS,
    SHORT,
    SPARE,
    as_picture,
    curve_points,
    curve_points_in,
)
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.section.text import bracketed, condition_words, outcome_text
from gradehaul.show.section.track import draw_effective, draw_railhead, figures_band
from gradehaul.track.heights.vertical import UNCHANGED
from gradehaul.track.piecewise import PiecewiseQuadratic

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_PULL_SHARE = 0.4
"""The share of the sheet's height that the pull takes, with what happens along the route below it."""


def long_section_figure(section: LongSection, units: UnitFormat, *, size: SizeName = "a4") -> Figure:
    """Return the picture as a figure; to be called by the `drawing_rules`, as is all that is done with it."""
    haul = section.haul
    judged = [] if haul is None else [each for each in haul.given if each.judged]
    unit, roomy = units.length_unit, SIZES[size].height is not None
    paper = Paper(SIZES[size], _headline(section, units, judged), _words(section, units, judged), key=care_key(judged))
    band = figures_band(paper, section, units)
    troubled = [each for each in judged if any(troubles(each).values())]
    care = len(troubled) * (0.14 if roomy else 0.28)
    pull = {"pull": Panel(_PULL_SHARE * paper.figure.get_figheight() - care - 0.3 * bool(troubled) if roomy else 2.6)}
    panels = paper.panels(
        {
            **(pull if haul else {}),
            **({"care": Panel(care)} if troubled else {}),
            "railhead": Panel(0.42, 0.55),
            "grade": Panel(0.36, 0.45),
            "band": Panel(band.height),
        },
        (0.0, convert(section.profile.length, unit)),
    )
    if haul is not None:
        draw_pull(paper, panels["pull"], haul, judged, units)
    if haul is not None and troubled:
        name_care(paper, panels["care"], [condition_words(haul, each) for each in troubled], roomy=roomy)
    times = draw_railhead(paper, panels["railhead"], section, units, draw_effective(panels["grade"], section, units))
    band.prepare(panels["band"])
    paper.settle()
    if haul is not None and troubled:
        draw_care(panels["care"], haul, judged, troubled, unit)
    band.draw(panels["band"])
    times()
    for joint in section.joints:
        for name in panels.keys() & {"pull", "railhead", "grade"}:
            panels[name].axvline(convert(joint.at, unit), color=FAINT, lw=0.6, ls=(0, (1.2, 1.8)), zorder=1)
    return paper.figure


long_section_picture = as_picture(long_section_figure)


def _headline(section: LongSection, units: UnitFormat, judged: list[PullGiven]) -> str:
    """Return the answer: what becomes of the train on the worst of the judged rails, else the ruling grade."""
    if section.haul is None:
        ruling = section.profile.ruling()
        if ruling.effective < UNCHANGED:
            return f"{section.route.name}: nothing to climb"
        where = section.profile.track_at(ruling.start, ahead=True)
        return f"{section.route.name}: ruling grade {units.grade(ruling.effective)} on {where}"
    worst = _worst(judged)
    words = outcome_text(section.haul, worst, units)
    rail = bracketed(section.haul, worst) if len(judged) > 1 or section.haul.hours is not None else ""
    return f"{section.haul.name} {'is ' if words.startswith(('marginal', 'too long')) else ''}{words}{rail}"


def _words(section: LongSection, units: UnitFormat, judged: list[PullGiven]) -> list[str]:
    plan, profile, haul = section.plan, section.profile, section.haul
    length, climb, fall = (units.length(value) for value in (profile.length, profile.climb, profile.fall))
    scale = "" if plan.scale.name.startswith("1:") else f"{plan.scale.name} "
    train = "" if haul is None else f". Train {haul.name}: {units.length(haul.train.length)} long"
    begins = "leg" if section.route.number else "route"
    whole = (
        f"{plan.title}: route {section.route.name}, {length} long, climbs {climb}, falls {fall}, scale {scale}"
        f"1:{plan.scale.ratio:.4g}{train}. Distances are from where the {begins} begins, in {units.lengths}"
    )
    words = [whole]
    if haul is not None:
        rails = [f"{condition_words(haul, each)}: {outcome_text(haul, each, units)}"
                 for each in judged if each is not _worst(judged)]  # fmt: skip
        films = [f"with {condition_words(haul, each)}: {outcome_text(haul, each, units)}"
                 for each in haul.given if not each.judged]  # fmt: skip
        words += [". ".join(each[0].upper() + each[1:] for each in rails + films)]
    return words


def _worst(judged: Sequence[PullGiven]) -> PullGiven:
    return min(judged, key=lambda each: rank(each.verdict))


# Pull and demand


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

    worst = _worst(judged)
    test = worst.verdict.spare_by if worst.verdict.spare_by != "hold" else "slip"
    gap(getattr(worst, STATES[test]), haul.starting if test == "restart" else haul.running, "gap")
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
    _mark_least(axes, haul, worst, units, unit, key)
    axes.axhline(0.0, color=INK, lw=0.7, zorder=1)
    axes.margins(y=0.06)
    axes.set_ylabel(f"Pull and demand, {unit}")
    paper.key_above(axes, key)


def _mark_least(axes: Axes, haul: Haul, given: PullGiven, units: UnitFormat, unit: str, key: dict[str, Artist]) -> None:
    """Mark where the train has least to spare, from the demand as high as that is; downhill from the limit."""
    verdict = given.verdict
    at = min(max(verdict.spare_at, haul.running.start), haul.running.stop)
    demands = {"restart": haul.starting, "hold": haul.least}
    foot = demands.get(verdict.spare_by, haul.running)(at)
    up = -verdict.spare if verdict.spare_by == "hold" else verdict.spare
    color = OUTCOME_COLORS["stalls" if verdict.spare < 0 else "climbs"]
    (drawn,) = axes.plot(
        [convert(at, units.length_unit)] * 2,
        [convert(foot, unit), convert(foot + up, unit)],
        color=color,
        lw=1.4,
        marker="_",
        ms=6,
        mew=1.4,
        zorder=5,
        gid="least to spare",
    )
    force = units.force(abs(verdict.spare))
    key[f"{force} short" if verdict.spare < 0 else f"{force} to spare"] = drawn


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
