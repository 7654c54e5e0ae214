"""The track part of a long section picture: railhead, effective grade, and the engineer's band of figures."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from gradehaul.haulage.stretches import TrackStretch
from gradehaul.haulage.views.section import LongSection
from gradehaul.quantities import convert
from gradehaul.show.base.band import Band, Column, Level, Stretch
from gradehaul.show.base.paper import Paper, grade_axis, words_alone
from gradehaul.show.base.picture import CURVED, EARTH, INK, PALE_CURVED, PALE_EARTH, VERTICAL, curve_points_in
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.track.heights.vertical import UNCHANGED

_FLAT, _LEAST_GRADE = 0.002, 0.02
"""The axis of railheads shows this share of the route's length at the least, that of grades this grade."""


def draw_railhead(
    paper: Paper, axes: Axes, section: LongSection, units: UnitFormat, grades: Mapping[str, Artist]
) -> Callable[[], None]:
    """Draw the railhead, with the key to the panel of grades beside its own.

    Return what says how many times heights are drawn, once the panel is laid out.
    """
    unit, railhead, length = units.length_unit, section.profile.railhead, section.profile.length
    least, greatest = railhead.least().value, railhead.greatest().value
    span = max(greatest - least, _FLAT * length)
    low = convert(least - 0.12 * span, unit)
    axes.set_ylim(low, convert(least + 1.12 * span, unit))
    x, y = curve_points_in(railhead, unit, unit)
    axes.fill_between(x, y, low, color=EARTH, lw=0, zorder=1.5)
    axes.plot(x, y, color=INK, lw=1.6, solid_joinstyle="round", zorder=3, gid="railhead")
    key: dict[str, Artist] = {"Railhead, heights exaggerated 10 times": words_alone()}
    for stretch in section.grades:
        if stretch.vertical_curve:
            part = curve_points_in(railhead.restrict(stretch.start, stretch.stop), unit, unit)
            (drawn,) = axes.plot(*part, color=VERTICAL, lw=4.5, solid_capstyle="butt", zorder=2)
            key["vertical curve"] = drawn
    axes.set_ylabel(unit)
    paper.key_above(axes, key | dict(grades))

    def times() -> None:
        (left, foot), (right, head) = axes.transData.transform([(0.0, 0.0), (1.0, 1.0)])
        (said, *_) = axes.get_legend().get_texts()  # type: ignore[union-attr]
        said.set_text(f"Railhead, heights exaggerated {(head - foot) / (right - left):.3g} times")

    return times


def draw_effective(axes: Axes, section: LongSection, units: UnitFormat) -> dict[str, Artist]:
    """Draw the grade as a plain area and what curves add to it as a hatched one; return what they mean.

    Their sum is the effective grade.
    """
    unit = units.grade_unit
    x, effective = curve_points_in(section.effective, units.length_unit, unit)
    _, grade = curve_points_in(section.profile.railhead.derivative(), units.length_unit, unit)
    axes.fill_between(x, grade, 0.0, color=EARTH, lw=0, zorder=2)
    curves: dict[str, Any] = {"facecolor": "none", "edgecolor": CURVED, "hatch": "//////", "lw": 0.0}
    axes.fill_between(x, effective, grade, zorder=2, **curves)
    axes.plot(x, effective, color=INK, lw=1.5, zorder=3, gid="effective grade")
    key: dict[str, Artist] = {"Grade": Patch(facecolor=EARTH)}
    if section.curves:
        key["with curves"] = Patch(**curves)
    low, high = axes.get_ylim()
    axes.set_ylim(low, max(high, convert(_LEAST_GRADE, unit)))
    ruling = section.profile.ruling()
    if ruling.effective >= UNCHANGED:  # nothing rules where nothing is needed
        ends = [convert(ruling.start, units.length_unit), convert(ruling.stop, units.length_unit)]
        top = convert(ruling.effective, unit)
        (bold,) = axes.plot(
            ends,
            [top, top],
            color=INK,
            lw=3.4,
            marker="o" if ends[0] == ends[1] else None,
            ms=4,
            zorder=4,
            gid="ruling",
        )
        key[f"ruling {units.grade(ruling.effective)}"] = bold
    grade_axis(axes, units)
    return key


def figures_band(paper: Paper, section: LongSection, units: UnitFormat) -> Band:
    """Return the band: joints with their distances and railheads, grades, radii, tracks and berths."""
    unit = units.length_unit
    ends = {section.joints[0].at, section.joints[-1].at} if section.joints else set()
    columns = [
        Column(
            convert(joint.at, unit),
            (joint.name, units.number(joint.at), units.railhead(section.profile.railhead(joint.at))),
            0 if joint.at in ends else 2 if joint.kind == "plain" else 1,
        )
        for joint in section.joints
    ]
    grades = [
        Stretch(
            convert(each.start, unit),
            convert(each.stop, unit),
            "" if each.vertical_curve else "level" if each.first == 0 else units.grade(each.first),
            rank=-abs(each.first),
        )
        for each in section.grades
    ]
    radii = [
        Stretch(
            convert(each.start, unit),
            convert(each.stop, unit),
            "" if each.tapers else f"{each.hand} {units.number(each.radius)}",
            "" if each.tapers else f"{each.hand[0].upper()} {units.number(each.radius)}",
            each.radius,
            {"facecolor": "#eef6fb" if each.tapers else PALE_CURVED, "edgecolor": CURVED},
        )
        for each in section.curves
    ]
    level = {"grade": Level(grades, turns=True)}
    if radii:
        level["radius"] = Level(radii, turns=True)
    level["track"] = Level(list(_tracks(section.tracks, unit)))
    return Band(paper, ("joint", "distance", "railhead"), columns, level)


def _tracks(tracks: Sequence[TrackStretch], unit: str) -> Iterator[Stretch]:
    """Yield a box for each track, then the names of berths, of named tracks outside, and of lines without either."""
    for number, track in enumerate(tracks):
        style = (
            {"facecolor": "white", "hatch": "/////"} if track.berth else {"facecolor": (EARTH, PALE_EARTH)[number % 2]}
        )
        yield Stretch(
            convert(track.start, unit), convert(track.stop, unit), "", "", 0, {"edgecolor": "#b8b8b8", **style}
        )
    for berth, group in groupby(tracks, key=lambda track: track.berth):
        run = list(group)
        names = [(0, berth, run)] if berth is not None else [(1, each.name, [each]) for each in run if each.named]
        if berth is None:
            lines = [(line, list(part)) for line, part in groupby(run, key=lambda track: track.line)]
            names += [(2, line, part) for line, part in lines if not any(track.named for track in part)]
        for rank, name, part in names:
            yield Stretch(
                convert(part[0].start, unit),
                convert(part[-1].stop, unit),
                name,
                "",
                rank,
                {"facecolor": "none", "lw": 0.0},
            )
