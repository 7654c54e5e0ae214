"""The track part of a long section picture: railhead, tracks, curves and effective grade."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes

from gradehaul.haulage.stretches import CurveStretch, GradeStretch
from gradehaul.haulage.views.section import LongSection
from gradehaul.quantities import convert
from gradehaul.show.base.axis_numbers import convert_all, nice, numbers
from gradehaul.show.base.curve_points import curve_points
from gradehaul.show.base.label_placing import Box, crossed
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.sheet import INK, Row, Sheet, Size, Spot
from gradehaul.show.section.strip import EARTH, MOST_LABELS, draw_strip
from gradehaul.track.heights.vertical import UNCHANGED
from gradehaul.track.piecewise import FloatArray

SOFT = "#56b4e9"
"""Vertical curves, and the side of the curves that a train leans to."""

CURVED = "#0072b2"
"""What curves add. These blues, and the colors of the rails, are told apart by any eye (Okabe and Ito's palette)."""

_FLATTEST = 0.004
"""A railhead that keeps within this share of the route's length is not stretched to the height of its panel."""


def track_rows(size: Size, section: LongSection) -> list[Row]:
    """Return the rows of the track part from the top."""
    line = 1.6 * size.font / 72
    # names are about as wide as so many capitals; where they fill half of the line they no longer keep clear of another
    crowd = sum(0.6 * (len(joint.name) + 2) for joint in section.joints) * size.font / 72 / size.width
    levels = 1 if crowd < 0.6 else 2 if crowd < 1.0 else 3
    return [
        Row("railhead words", 1.25 * line),
        Row("joints", (0.3 + 0.8 * levels) * line),
        Row("railhead", 1.05, grows=True),
        Row("tracks", 2.2 * line),
        Row("curves words", 1.25 * line),
        Row("curves", 0.62, grows=True),
        Row("effective words", 1.25 * line),
        Row("effective", 0.9, grows=True),
    ]


def draw_track(sheet: Sheet, section: LongSection, reader: Reader) -> list[Axes]:
    """Draw the track part and return its panels, the strip of tracks apart."""
    railhead = _draw_railhead(sheet, section, reader)
    draw_strip(sheet, section)
    return [
        railhead,
        _draw_curves(sheet, section, reader),
        _draw_effective(sheet, section, reader),
    ]


def _draw_railhead(sheet: Sheet, section: LongSection, reader: Reader) -> Axes:
    railhead = section.profile.railhead
    least, greatest = railhead.least().value, railhead.greatest().value
    span = max(greatest - least, _FLATTEST * section.profile.length)
    low, high = (convert(value, sheet.unit) for value in (least - 0.16 * span, greatest + 0.34 * span))
    axes = sheet.panel("railhead", low, high)
    x, y = (convert_all(values, sheet.unit) for values in curve_points(railhead))
    axes.fill_between(x, y, low, color=EARTH, lw=0, zorder=1.5)
    vertical = [stretch for stretch in section.grades if stretch.vertical_curve]
    for stretch in vertical:
        part = railhead.restrict(stretch.start, stretch.stop)
        axes.plot(
            *(convert_all(values, sheet.unit) for values in curve_points(part)),
            color=SOFT,
            lw=4.5,
            solid_capstyle="butt",
            zorder=2,
        )
    axes.plot(x, y, color=INK, lw=1.6, solid_joinstyle="round", zorder=3, gid="railhead")
    note = "; blue: vertical curve" if vertical else ""
    sheet.heading("railhead words", [f"Railhead, {sheet.unit}, and grades{note}"], weight="bold")
    sheet.scale(axes, nice(low, convert(greatest + 0.2 * span, sheet.unit), 4))
    line = sheet.line_dots(axes, x, y)
    straight = [stretch for stretch in section.grades if not stretch.vertical_curve]
    for stretch in sorted(straight, key=lambda stretch: -stretch.length)[:MOST_LABELS]:
        _tell_grade(sheet, axes, section, stretch, line, reader)
    return axes


def _tell_grade(
    sheet: Sheet, axes: Axes, section: LongSection, stretch: GradeStretch, line: FloatArray, reader: Reader
) -> None:
    """Write a grade over its stretch, further up where it is crowded, under the rail if need be."""
    text = "level" if stretch.first == 0 else reader.grade(stretch.first)
    wide, tall = sheet.extent(text)

    def foot(place: float) -> tuple[float, float]:
        return sheet.dots(axes, convert(place, sheet.unit), convert(section.profile.railhead(place), sheet.unit))

    left, right = foot(stretch.start)[0], foot(stretch.stop)[0]
    shares = (0.5, 0.35, 0.65, 0.2, 0.8) if right - left > wide else (0.5,)
    spots = [
        Spot(x, y + side * (0.55 * tall + 0.45 * rise * tall), "center", "bottom" if side > 0 else "top")
        for rise in (0, 1, 2, 4)
        for side in ((1, -1) if rise < 2 else (1,))
        for x, y in (foot(stretch.start + share * stretch.length) for share in shares)
    ]
    room = sheet.room("railhead")
    room = Box(sheet.sheet.left, room.bottom, sheet.sheet.right, room.top)
    placed = sheet.label(text, spots, room=room, boxes_cost=lambda box: crossed(box.grown(0.1 * tall), line))
    if placed is not None and right - left <= wide:
        x, y = foot(0.5 * (stretch.start + stretch.stop))
        up = placed[1].bottom > y
        sheet.lead((x, y), (x, placed[1].bottom if up else placed[1].top))


def _draw_curves(sheet: Sheet, section: LongSection, reader: Reader) -> Axes:
    """Draw the curvature, left-hand above the line and right-hand below it."""
    axes = sheet.panel("curves", -1.15, 1.15)
    sharpest = max((1.0 / curve.radius for curve in section.curves), default=1.0)
    for curve in section.curves:
        x, y = _outline(curve, sharpest, sheet.unit)
        axes.fill(x, y, facecolor="#cfe6f5", edgecolor=CURVED, lw=0.9, joinstyle="round", zorder=2, gid="curve")
    axes.axhline(0.0, color=INK, lw=0.9, zorder=3)
    words = "up: left-hand, down: right-hand"
    wordings = [f"Curves ({words}; height is 1/radius)", f"Curves ({words})"]
    sheet.heading("curves words", wordings if section.curves else ["Curves: none"], weight="bold")
    drawn = [sheet.line_dots(axes, *_outline(curve, sharpest, sheet.unit)) for curve in section.curves]
    outlines = np.concatenate(drawn) if drawn else np.empty((0, 2))
    told = [curve for curve in section.curves if not curve.tapers]
    for curve in sorted(told, key=lambda curve: (curve.radius, curve.start - curve.stop))[:MOST_LABELS]:
        _tell_curve(sheet, axes, curve, outlines, reader)
    return axes


def _outline(curve: CurveStretch, sharpest: float, unit: str) -> tuple[FloatArray, FloatArray]:
    x = np.array([convert(place, unit) for place in (curve.start, curve.start, curve.stop, curve.stop)])
    return x, np.array([0.0, curve.first, curve.last, 0.0]) / sharpest


def _tell_curve(sheet: Sheet, axes: Axes, curve: CurveStretch, outlines: FloatArray, reader: Reader) -> None:
    """Write hand and radius across the line from the curve, where it hides no other; the radius alone, or nothing."""
    side = 1.0 if curve.hand == "left" else -1.0
    x = convert(0.5 * (curve.start + curve.stop), sheet.unit)
    radius = reader.length(curve.radius)
    room = sheet.room("curves")
    room = Box(sheet.sheet.left, room.bottom, sheet.sheet.right, room.top)
    across, zero = sheet.dots(axes, x, 0.0)
    for text in (f"{curve.hand} {radius}", radius.split(" ", maxsplit=1)[0]):
        wide, tall = sheet.extent(text)
        levels = [zero - side * (0.8 + step) * tall for step in (0.0, 1.15, 2.3)]
        shifts = (0.0, 0.15, -0.15, 0.3, -0.3, 0.45, -0.45)
        spots = [Spot(across + shift * wide, y) for y in levels for shift in shifts]
        placed = sheet.label(text, spots, room=room, boxes_cost=lambda box: math.inf if crossed(box, outlines) else 0.0)
        if placed is not None:
            if abs(placed[0].y - zero) > 1.2 * tall:
                sheet.lead((across, zero), (across, placed[1].top if side > 0 else placed[1].bottom))
            return


def _draw_effective(sheet: Sheet, section: LongSection, reader: Reader) -> Axes:
    """Draw the grade as a plain area and what curves add to it as a hatched one; their sum is the effective grade."""
    unit = "permille" if reader.grades == "permille" else "%"
    x, effective = curve_points(section.effective)
    _, grade = curve_points(section.profile.railhead.derivative())
    x, effective, grade = convert_all(x, sheet.unit), convert_all(effective, unit), convert_all(grade, unit)
    least, greatest = min(0.0, float(grade.min())), max(float(effective.max()), 0.0)
    span = max(greatest - least, convert(0.002, unit))
    axes = sheet.panel("effective", least - 0.06 * span, least + 1.38 * span)
    axes.fill_between(x, grade, 0.0, color=EARTH, lw=0, zorder=2)
    axes.fill_between(x, effective, grade, facecolor="none", edgecolor=CURVED, hatch="//////", lw=0.0, zorder=2)
    axes.axhline(0.0, color=INK, lw=0.7, zorder=2.5)
    axes.plot(x, effective, color=INK, lw=1.5, zorder=3, gid="effective grade")
    ticks = nice(least, greatest + 0.25 * span, 4)
    one_in = [reader.grade(tick / convert(1.0, unit)) for tick in ticks]
    told_unit = "" if reader.grades == "one-in" else f", {unit}"
    wordings = [
        f"Effective grade{told_unit}: the grade, and hatched what curves add to it",
        f"Effective grade{told_unit} (hatched: by curves)",
    ]
    sheet.heading("effective words", wordings, weight="bold")
    sheet.scale(axes, ticks, [_short_one_in(text) for text in one_in] if reader.grades == "one-in" else numbers(ticks))
    _tell_ruling(sheet, section, reader, axes, sheet.line_dots(axes, x, effective))
    return axes


def _tell_ruling(sheet: Sheet, section: LongSection, reader: Reader, axes: Axes, line: FloatArray) -> None:
    ruling = section.profile.ruling()
    if ruling.effective < UNCHANGED:  # nothing rules where nothing is asked
        return
    whole, grade, curve = (reader.grade(value) for value in (ruling.effective, ruling.grade, ruling.curve))
    unit = "permille" if reader.grades == "permille" else "%"
    middle = convert(0.5 * (ruling.start + ruling.stop), sheet.unit)
    top = convert(ruling.effective, unit)
    ends = [convert(ruling.start, sheet.unit), convert(ruling.stop, sheet.unit)]
    axes.plot(
        ends, [top, top], color=INK, lw=3.4, marker="o" if ends[0] == ends[1] else None, ms=4, zorder=4, gid="ruling"
    )
    x, y = sheet.dots(axes, middle, top)
    edge = sheet.sheet
    parts = f": grade {grade}, curve {curve}"
    if abs(ruling.grade) < UNCHANGED or ruling.curve < UNCHANGED:
        parts = ", all of it grade" if ruling.curve < UNCHANGED else ", all of it curve"
    for text in (f"ruling {whole}{parts}", f"ruling {whole}"):
        wide, tall = sheet.extent(text)
        pulled_in = min(max(x, edge.left + 0.5 * wide), edge.right - 0.5 * wide)
        spots = [Spot(across, y + 0.75 * tall) for across in (pulled_in, x + 0.45 * wide, x - 0.45 * wide)]
        if sheet.label(text, spots, backed=True, boxes_cost=lambda box: crossed(box, line)):
            return


def _short_one_in(grade: str) -> str:
    return grade.removesuffix(".0")
