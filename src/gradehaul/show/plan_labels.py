"""The labels of a plan view: stalls, joints with their railheads, and tracks with their effective grades."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from gradehaul.haulage.plan_view import JointView, PlanView
from gradehaul.quantities import convert
from gradehaul.show.label_placing import Box, crossed
from gradehaul.show.naming import WOULD
from gradehaul.show.plan_uses import FORCED
from gradehaul.show.reading_units import Reader
from gradehaul.show.sheet import INK, Spot
from gradehaul.track.piecewise import FloatArray
from gradehaul.treatment.keep_clean import KeepCleanPlan

if TYPE_CHECKING:
    from gradehaul.show.plan_canvas import Canvas

_NEAR = 6.0
"""How far from a joint its label lies, points."""

_AROUND = 16
"""Directions in which a label is tried."""

_MOST_HIDDEN = 14
"""Points of track, six dots apart, that a label may hide."""

_MISTAKEN = 12.0
"""The cost of a label that lies nearer to another joint than to its own, in points of track hidden."""

_LED = 1.6
"""A line leads from a joint to its label where that lies farther than this many times as far as labels do."""

_MOST_TRACKS = 60
"""Tracks that are labeled at the most: beyond, a plan is too full to read any."""


def draw_labels(canvas: Canvas, view: PlanView, reader: Reader, film: KeepCleanPlan | None = None) -> None:
    """Set labels, the most important first; one without room beside what it tells is left out."""
    hidden = np.concatenate([canvas.line(track.xy) for track in view.tracks.values()])
    for text, (x, y) in _stalls(view).items():
        set_beside(canvas, text, canvas.spot(x, y), hidden, weight="bold", near=9.0)
    if film is not None:
        _draw_forced(canvas, view, film, hidden)
    draw_joints(canvas, view, reader, hidden)
    tracks = sorted(view.tracks.values(), key=lambda each: (not each.named, -max(each.steepest)))
    for track in tracks[:_MOST_TRACKS]:
        middle = track.spot(0.5 * track.length)
        worst = max(track.steepest)
        words = [reader.grade(worst)] if worst >= 0.001 else []
        if track.named:
            words.insert(0, canvas.sheet.fitted(track.name, 16 * canvas.sheet.dots_per_em))
        if words and (track.named or track.length > canvas.meters(40.0)):
            at = canvas.spot(middle.x, middle.y)
            set_beside(canvas, " ".join(words), at, hidden, near=7.0, scale=0.92, color="#333333")


def _draw_forced(canvas: Canvas, view: PlanView, film: KeepCleanPlan, hidden: FloatArray) -> None:
    """Mark where the head of each train is that would fail with more film, and tell what it would do, worst first."""
    for forced in sorted(film.hardest, key=lambda each: -each.short):
        if forced.on.track not in view.tracks:
            continue
        spot = view.tracks[forced.on.track].spot(forced.on.along)
        x, y = canvas.xy(np.array([[spot.x, spot.y]])).T
        canvas.axes.plot(x, y, zorder=7, gid=f"forced {forced.train} {forced.test}", **FORCED)
        words = canvas.sheet.fitted(f"{forced.train} {WOULD[forced.test]}", 28 * canvas.sheet.dots_per_em)
        set_beside(canvas, words, canvas.spot(spot.x, spot.y), hidden, weight="bold", near=9.0)


def draw_joints(canvas: Canvas, view: PlanView, reader: Reader, hidden: FloatArray) -> None:
    """Set the names and railheads of joints beside them, as far as there is room, clear of points on the sheet."""
    order = {"end": 0, "turnout": 1, "table": 1, "crossing": 2, "plain": 3}
    spots = {joint.name: canvas.spot(joint.x, joint.y) for joint in view.joints}
    for joint in sorted(view.joints, key=lambda each: order[each.kind]):
        name = canvas.sheet.fitted(joint.name, 16 * canvas.sheet.dots_per_em)
        words = f"{name} {_height(joint, reader)}"
        others = [spot for other, spot in spots.items() if other != joint.name]
        box = set_beside(canvas, words, spots[joint.name], hidden, near=_NEAR, others=others)
        if box is not None:
            line = _leader(canvas, spots[joint.name], box)
            if line.size:
                _lead(canvas, joint.name, line)
        if box is not None or joint.kind != "plain":
            _dot(canvas, joint)


def _lead(canvas: Canvas, name: str, line: FloatArray) -> None:
    """Draw a line from a joint to a label that lies far from it, and keep other labels off it."""
    sheet = canvas.sheet
    for x, y in line.tolist():
        sheet.board.take(Box(x, y, x, y))
    sheet.line(*line.T, color="#777777", lw=0.5, gid=f"leads to {name}")


def _leader(canvas: Canvas, at: tuple[float, float], box: Box) -> FloatArray:
    """Return points along the line from a joint to its label, shape (n, 2); none where the label lies near."""
    point = canvas.sheet.dots_per_em / canvas.sheet.size.font
    end = box.nearest(*at)
    far = math.dist(at, end)
    if far <= _LED * _NEAR * point:
        return np.empty((0, 2))
    return np.linspace(at, end, math.ceil(far / (2 * point)) + 1)


def _stalls(view: PlanView) -> dict[str, tuple[float, float]]:
    return {
        f"{train.name} stalls ({train.rail})": (train.stall.x, train.stall.y)
        for train in view.trains
        if train.stall is not None
    }


def _height(joint: JointView, reader: Reader) -> str:
    told = reader.length(joint.railhead).rpartition(" ")[0]
    return told if convert(joint.railhead, reader.length_unit) >= 0 else told.replace("-", "\N{MINUS SIGN}")


def _dot(canvas: Canvas, joint: JointView) -> None:
    x, y = canvas.xy(np.array([[joint.x, joint.y]])).T
    filled = "white" if joint.kind in {"end", "plain"} else INK
    canvas.axes.plot(x, y, marker="o", ms=3.6, mfc=filled, mec=INK, mew=0.8, ls="", zorder=6, gid=f"joint {joint.name}")


def set_beside(
    canvas: Canvas,
    text: str,
    at: tuple[float, float],
    hidden: FloatArray,
    *,
    near: float,
    others: Sequence[tuple[float, float]] | None = None,
    scale: float = 1.0,
    **style: Any,  # noqa: ANN401 - as of a text
) -> Box | None:
    """Set a label near a place where it hides as little track as can be; return where, None if there was no room.

    It keeps away from `others`, places to which it might seem to belong; where they are told, a line may lead to it.
    """
    sheet = canvas.sheet
    wide = sheet.extent(text, scale=scale, **style)[0] + 4.0 * near * sheet.dots_per_em / sheet.size.font
    hidden = hidden[np.abs(hidden - at).max(axis=1) < wide]
    spots = []
    for far in (1.0, 1.8, 3.0):
        reach = far * near * sheet.dots_per_em / sheet.size.font
        for k in range(_AROUND):
            angle = 2 * math.pi * k / _AROUND
            across, up = math.cos(angle), math.sin(angle)
            ha = "left" if across > 0.35 else "right" if across < -0.35 else "center"
            va = "bottom" if up > 0.35 else "top" if up < -0.35 else "center"
            spots.append(Spot(at[0] + reach * across, at[1] + reach * up, ha, va))  # type: ignore[arg-type]
    room = sheet.room("plan")

    def cost(box: Box) -> float:
        lost = crossed(box.grown(2.0 * sheet.dots_per_em / sheet.size.font), hidden)
        away = math.dist(at, box.nearest(*at))
        if others is None:
            return math.inf if lost > _MOST_HIDDEN else lost + 0.1 * away
        if any(crossed(taken, _leader(canvas, at, box)) for taken in sheet.board.taken):
            return math.inf
        mistaken = any(math.dist(other, box.nearest(*other)) < away for other in others)
        return math.inf if lost > _MOST_HIDDEN else lost + 0.1 * away + _MISTAKEN * mistaken

    told = sheet.label(text, spots, boxes_cost=cost, room=room, scale=scale, **style)
    return None if told is None else told[1]
