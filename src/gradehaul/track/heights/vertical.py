"""Vertical curves: the railhead along each track, with its changes of grade rounded by parabolas."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gradehaul.plan.records import LineEnd, Note, Plan
from gradehaul.quantities import describe
from gradehaul.quantities.si import Meters, Ratio
from gradehaul.track.curvature import LineChain
from gradehaul.track.heights.railhead import Railheads
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic

UNCHANGED = 1e-8
"""Grades that differ by no more than this are one grade: rounding, not a kink."""


@dataclass(frozen=True, slots=True)
class VerticalCurve:
    """A parabola centered on a change of grade: center and length, m, and the grades before and after."""

    at: Meters
    length: Meters
    before: Ratio
    after: Ratio


def round_grades(plan: Plan, chains: Sequence[LineChain], railheads: Railheads) -> dict[str, PiecewiseQuadratic]:
    """Return the railhead along every track, by its id, in its line's direction, from 0 to its length.

    A vertical curve is a parabola centered on a change of grade, of the plan's length but at most the shorter of the
    two stretches of unchanged grade that meet there; y = y₀ + g₁ x + (g₂ − g₁) x² / (2 L), the textbook form.
    Turnouts, crossings and turntables have none.
    """
    result: dict[str, PiecewiseQuadratic] = {}
    for chain in chains:
        distance, height = _along(chain, railheads)
        curves = vertical_curves(distance, height, plan.vertical_curve, closed=chain.closed)
        rounded = rounded_polyline(distance, height, curves)
        start = 0.0
        for track, forward in chain.tracks(plan):
            # the ends of tracks are breakpoints, so each track takes whole pieces
            first, last = np.searchsorted(rounded.breaks, [start - 1e-12, start + track.length - 1e-9])
            piece = PiecewiseQuadratic(
                np.concatenate([rounded.breaks[first:last] - start, [track.length]]),
                rounded.values[first:last],
                rounded.slopes[first:last],
                rounded.seconds[first:last],
            )
            result[track.id] = piece if forward else piece.reverse()
            start = float(rounded.breaks[last])
    return result


def _along(chain: LineChain, railheads: Railheads) -> tuple[FloatArray, FloatArray]:
    """Return distances and heights of all stations along a chain."""
    distances: list[FloatArray] = [np.zeros(1)]
    heights: list[FloatArray] = []
    start = 0.0
    for name, forward in chain.lines:
        line = railheads.lines[name]
        length = float(line.distance[-1])
        one_way = line.distance if forward else length - line.distance[::-1]
        height = line.railhead if forward else line.railhead[::-1]
        distances.append(start + one_way[1:])
        heights.append(height if not heights else height[1:])
        start += length
    return np.concatenate(distances), np.concatenate(heights)


def vertical_curves(
    distance: FloatArray, height: FloatArray, length: float, *, closed: bool = False
) -> list[VerticalCurve]:
    """Return the vertical curves of a chain of straight grades between stations along it, m, shape (n,) each.

    Each is of a length, or less where a grade next to it is shorter. On a `closed` chain the last station is the first.
    """
    grade = np.diff(height) / np.diff(distance)
    changes = np.flatnonzero(np.abs(np.diff(grade)) > UNCHANGED) + 1
    total = float(distance[-1] - distance[0])
    at = distance[changes]
    before, after = grade[changes - 1], grade[changes]
    if closed and abs(grade[0] - grade[-1]) > UNCHANGED:
        at, before, after = np.append(distance[0], at), np.append(grade[-1], before), np.append(grade[0], after)
    if not length or not at.size:
        return []
    if closed:
        stretch_after = np.diff(np.append(at, at[0] + total))
        stretch_before = np.roll(stretch_after, 1)
    else:
        stretches = np.diff(np.concatenate([distance[:1], at, distance[-1:]]))
        stretch_before, stretch_after = stretches[:-1], stretches[1:]
    room = np.minimum(length, np.minimum(stretch_before, stretch_after))
    return [VerticalCurve(*map(float, row)) for row in zip(at, room, before, after, strict=True) if row[1] > 0]


def rounded_polyline(distance: FloatArray, height: FloatArray, curves: Sequence[VerticalCurve]) -> PiecewiseQuadratic:
    """Return straight grades between stations with their vertical curves laid in.

    Every station stays a breakpoint. A curve at the start of a closed chain reaches round to its far end.
    """
    total = float(distance[-1] - distance[0])
    placed = sorted((curve.at + turn, curve) for turn in (-total, 0.0, total) for curve in curves)
    placed = [(at, c) for at, c in placed if distance[0] < at + 0.5 * c.length and at - 0.5 * c.length < distance[-1]]
    center = np.array([at for at, _ in placed])
    half = np.array([0.5 * curve.length for _, curve in placed])
    kink = np.array([curve.after - curve.before for _, curve in placed])
    edges = np.concatenate([center - half, center + half])
    breaks = np.concatenate([distance, edges[(edges > distance[0]) & (edges < distance[-1])]])
    breaks.sort()
    # an edge that falls on a station to within rounding would leave a piece of no width
    breaks = breaks[np.concatenate([[True], np.diff(breaks) > 1e-12])]
    breaks[-1] = distance[-1]

    left, middle = breaks[:-1], 0.5 * (breaks[:-1] + breaks[1:])
    station = np.clip(np.searchsorted(distance, middle) - 1, 0, distance.size - 2)
    slopes = (np.diff(height) / np.diff(distance))[station]
    values = height[station] + slopes * (left - distance[station])
    seconds = np.zeros_like(left)
    if center.size:
        # curves do not overlap, so the last to begin before a piece is the only one that can hold it
        near = np.maximum(np.searchsorted(center - half, middle) - 1, 0)
        inside = np.abs(middle - center[near]) < half[near]
        c, h = center[near], half[near]
        second = np.where(inside, kink[near] / (2 * h), 0.0)
        reach = left - np.where(middle < c, c - h, c + h)
        values += 0.5 * second * reach**2
        slopes += second * reach
        seconds = second
    return PiecewiseQuadratic(breaks, values, slopes, seconds)


def notes_on_grades(plan: Plan, chains: Sequence[LineChain], railheads: Railheads) -> list[Note]:
    """Return notes on vertical curves that had to be shortened, and on changes of grade in joints that have none."""
    notes = []
    for chain in chains if plan.vertical_curve else ():
        distance, height = _along(chain, railheads)
        order = [track for track, _ in chain.tracks(plan)]
        ends = np.cumsum([track.length for track in order])
        for curve in vertical_curves(distance, height, plan.vertical_curve, closed=chain.closed):
            if curve.length < plan.vertical_curve * (1 - 1e-9):
                place = order[min(int(np.searchsorted(ends, curve.at + 1e-9)), len(order) - 1)].place
                planned, left = (describe(each, "length", plan.unit) for each in (plan.vertical_curve, curve.length))
                text = f"the vertical curve at or before it is shortened from {planned} to {left}"
                notes.append(Note(place, f"{text}: a grade beside it is no longer"))
    for joint in plan.joints.values():
        if joint.kind not in ("end", "plain"):
            worst = max((abs(_end_grade(railheads, a) + _end_grade(railheads, b)) for a, b in joint.through), default=0)
            if worst > UNCHANGED:
                change = describe(worst, "grade", "%")
                text = f"the grade changes by {change} in it, and it has no vertical curve"
                notes.append(Note(f'{joint.kind} "{joint.name}"', text))
    return notes


def _end_grade(railheads: Railheads, end: LineEnd) -> float:
    """Return the grade met when entering a line through one of its ends."""
    line = railheads.lines[end.line]
    distance, height = line.distance, line.railhead
    if end.end == "from":
        return float((height[1] - height[0]) / (distance[1] - distance[0]))
    return float((height[-2] - height[-1]) / (distance[-1] - distance[-2]))
