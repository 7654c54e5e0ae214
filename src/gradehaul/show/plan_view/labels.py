"""The labels and numbered marks of a plan view: joints, tracks, stacks of turns, and what happens to trains."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np
from matplotlib.lines import Line2D
from scipy.spatial import cKDTree

from gradehaul.haulage.views.plan_view import JointView, PlanView
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.quantities import convert
from gradehaul.show.base.label_placing import Box, crossed
from gradehaul.show.base.labels import spans
from gradehaul.show.base.paper import POINT
from gradehaul.show.base.picture import INK
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.plan_view.styles import FORCED_WORDS, shades_of, steepest_places
from gradehaul.track.piecewise import FloatArray

if TYPE_CHECKING:
    from gradehaul.show.plan_view.canvas import Canvas

_NEAR = 6.0
"""How far from a joint its label lies, points."""

_AROUND = 16
"""Directions in which a label is tried."""

_MOST_HIDDEN = 14
"""Points of track, six dots apart, that a label may hide."""

_CLEAR = 3.4
"""How far a label keeps clear of what is drawn, points."""

_AWAY = 0.1
"""The cost of a dot by which a label lies off its place, and that off the best one, in points of track hidden."""

_ALONG = (0.5, 0.4, 0.6, 0.3, 0.7)
"""Where along its track a label may stand, as shares of the length, the best first."""

_MISTAKEN = 12.0
"""The cost of a label that lies nearer to another joint than to its own, in points of track hidden."""

_LED = 1.6
"""A line leads from a joint to its label where that lies farther than this many times as far as labels do."""

_MOST_TRACKS = 60
"""Tracks that are labeled at the most: beyond, a plan is too full to read any."""


class Lines(NamedTuple):
    """What labels of a plan had better not hide, as points every few dots on the sheet, shape (n, 2).

    So much of the `track` may be hidden; what lies `beside` it, as bands and arrows do, where there is no other place.
    """

    track: FloatArray
    beside: FloatArray

    def around(self, places: FloatArray, wide: float) -> Lines:
        """Return what is drawn no farther than so many dots from some places, shape (k, 2)."""
        low, high = places.min(axis=0) - wide, places.max(axis=0) + wide
        return Lines(*(points[((points > low) & (points < high)).all(axis=1)] for points in self))


def draw_labels(canvas: Canvas, view: PlanView, units: UnitFormat, beside: Sequence[FloatArray]) -> None:
    """Set labels, the most important first; one without room beside what it names is left out.

    What is drawn `beside` the track is given as points on the sheet, each of shape (n, 2).
    """
    courses = [canvas.course(track.xy) for track in view.tracks.values()]
    drawn = Lines(np.concatenate(courses), np.concatenate([np.empty((0, 2)), *beside]))
    turns = stacks(view)
    for key in turns:
        _name_track(canvas, view.tracks[key], units, drawn, turns[key])
    draw_joints(canvas, view, units, drawn)
    tracks = sorted(view.tracks.values(), key=lambda each: (not each.named, -max(each.steepest)))
    for track in [each for each in tracks if each.id not in turns][:_MOST_TRACKS]:
        if track.named or track.length > canvas.meters(40.0):
            _name_track(canvas, track, units, drawn)


def stacks(view: PlanView) -> dict[str, str]:
    """Return how many turns lie over one another where a line climbs over itself, by the track with most of them."""
    found: dict[str, str] = {}
    lines: dict[str, list[TrackView]] = {}
    for track in view.tracks.values():
        lines.setdefault(track.line, []).append(track)
    near = 1.5 * view.plan.scale.gauge
    for tracks in lines.values():
        places = np.concatenate([track.xy for track in tracks])
        begins = np.cumsum([0.0, *(track.heading[-1] - track.heading[0] for track in tracks)])
        turned = np.concatenate([t.heading - t.heading[0] + at for t, at in zip(tracks, begins[:-1], strict=True)])
        pairs = cKDTree(places).query_pairs(near, output_type="ndarray")
        over = pairs[np.abs(turned[pairs[:, 0]] - turned[pairs[:, 1]]) > 1.5 * math.pi] if pairs.size else pairs
        if over.size:
            turns = float(np.ptp(turned[over])) / (2 * math.pi)
            most = max(tracks, key=lambda track: abs(track.heading[-1] - track.heading[0]))
            words = f"{turns:.1f}".removesuffix(".0")
            found[most.id] = f"{words} turn" if words == "1" else f"{words} turns"
    return found


def _name_track(canvas: Canvas, track: TrackView, units: UnitFormat, drawn: Lines, turns: str = "") -> None:
    """Set the name and the grade of a track beside it, clear of what is drawn, cut if need be, or not at all."""
    worst = max(track.steepest)
    grade = units.grade(worst) if worst >= 0.001 else ""
    name = track.name if track.named else ""
    names = [canvas.paper.fitted(name, wide * canvas.paper.font * POINT) for wide in (16, 9, 6)]
    whole, *cut = (", ".join(filter(None, (f"{each} {grade}".strip(), turns))) for each in names)
    if not whole:
        return
    places = [canvas.spot(spot.x, spot.y) for spot in map(track.spot, label_places(track))]
    style: dict[str, Any] = {"scale": 0.92, "color": "#333333"}
    for words in filter(None, (whole, *cut, turns)):
        if set_beside(canvas, words, places, drawn, near=7.0, **style) is not None:
            return
    if turns:  # never left out: a line leads to it where it lies far
        set_beside(canvas, turns, places[:1], drawn, near=7.0, others=(), **style)


def label_places(track: TrackView) -> list[float]:
    """Return where along a track its label may stand, m: on its steepest class, whose grade and color it shows."""
    shades, inner = shades_of(track), track.distance[1:-1]
    along = [share * track.length for share in _ALONG]
    steep = [at for at in along if shades[int(np.searchsorted(inner, at, side="right"))] == max(shades)]
    every = steepest_places(track)
    return steep or every[:: -(-len(every) // len(_ALONG))]


def draw_joints(canvas: Canvas, view: PlanView, units: UnitFormat, drawn: Lines) -> None:
    """Set the names and railheads of joints beside them, as far as there is room, clear of points on the sheet."""
    order = {"end": 0, "turnout": 1, "table": 1, "crossing": 2, "plain": 3}
    spots = {joint.name: canvas.spot(joint.x, joint.y) for joint in view.joints}
    for joint in sorted(view.joints, key=lambda each: order[each.kind]):
        name = canvas.paper.fitted(joint.name, 16 * canvas.paper.font * POINT)
        words = f"{name} {_height(joint, units)}"
        others = [spot for other, spot in spots.items() if other != joint.name]
        box = set_beside(canvas, words, [spots[joint.name]], drawn, near=_NEAR, others=others)
        if box is not None:
            line = _leader(spots[joint.name], box)
            if line.size:
                _lead(canvas, joint.name, line)
        if box is not None or joint.kind != "plain":
            _dot(canvas, joint)


def _lead(canvas: Canvas, name: str, line: FloatArray) -> None:
    """Draw a line from a joint to a label that lies far from it, and keep other labels off it."""
    for x, y in line.tolist():
        canvas.board.take(Box(x, y, x, y))
    canvas.paper.line(*line.T, color="#777777", lw=0.5, gid=f"leads to {name}")


def _leader(at: tuple[float, float], box: Box) -> FloatArray:
    """Return points along the line from a joint to its label, shape (n, 2); none where the label lies near."""
    end = box.nearest(*at)
    far = math.dist(at, end)
    if far <= _LED * _NEAR * POINT:
        return np.empty((0, 2))
    return np.linspace(at, end, math.ceil(far / (2 * POINT)) + 1)


def _height(joint: JointView, units: UnitFormat) -> str:
    height = units.railhead(joint.railhead)
    return height if convert(joint.railhead, units.length_unit) >= 0 else height.replace("-", "\N{MINUS SIGN}")


def _dot(canvas: Canvas, joint: JointView) -> None:
    x, y = canvas.xy(np.array([[joint.x, joint.y]])).T
    filled = "white" if joint.kind in {"end", "plain"} else INK
    canvas.axes.plot(x, y, marker="o", ms=3.6, mfc=filled, mec=INK, mew=0.8, ls="", zorder=6, gid=f"joint {joint.name}")


class Spot(NamedTuple):
    """A place for a label: a point in dots, and how the label is set against it."""

    x: float
    y: float
    ha: Literal["left", "center", "right"] = "center"
    va: Literal["bottom", "center", "top"] = "center"

    def box(self, width: float, height: float) -> Box:
        """Return the box of a label of a size, set there."""
        left = self.x - {"left": 0.0, "center": 0.5, "right": 1.0}[self.ha] * width
        bottom = self.y - {"bottom": 0.0, "center": 0.5, "top": 1.0}[self.va] * height
        return Box(left, bottom, left + width, bottom + height)


def set_beside(
    canvas: Canvas,
    text: str,
    places: Sequence[tuple[float, float]],
    drawn: Lines,
    *,
    near: float,
    others: Sequence[tuple[float, float]] | None = None,
    scale: float = 1.0,
    **style: Any,  # noqa: ANN401 - as of a text
) -> Box | None:
    """Set a label near one of some places where it hides as little as can be; return where, None if there was no room.

    Where `others` are given it keeps away from these, places to which it might seem to belong, and a line may lead to
    it; else it hides nothing.
    """
    close = drawn.around(np.array(places), canvas.paper.extent(text, scale=scale, **style)[0] + 5.0 * near * POINT)
    reaches = [far * near * POINT for far in ((1.0, 1.8, 3.0) if others is None else (1.0, 1.8, 3.0, 4.5))]
    spots = [spot for reach in reaches for at in places for spot in _around(at, reach)]
    far_off = [_AWAY * (reach + math.dist(at, places[0])) for reach in reaches for at in places]

    def cost(box: Box) -> float:
        roomy = box.grown(_CLEAR * POINT)
        lost = crossed(roomy, close.track)
        hides = lost + crossed(roomy, close.beside)
        if lost > _MOST_HIDDEN or (others is None and hides):
            return math.inf
        if others is None:
            return 0.0
        if any(crossed(taken, _leader(places[0], box)) for taken in canvas.board.taken):
            return math.inf
        away = math.dist(places[0], box.nearest(*places[0]))
        return hides + _MISTAKEN * any(math.dist(other, box.nearest(*other)) < away for other in others)

    width, height = canvas.paper.extent(text, scale=scale, **style)
    boxes = [spot.box(width, height) for spot in spots]
    costs = [far + cost(box) for far, box in zip(np.repeat(far_off, _AROUND).tolist(), boxes, strict=True)]
    chosen = canvas.board.place(boxes, costs=costs, room=canvas.room)
    if chosen is None:
        return None
    box, ha = boxes[chosen], spots[chosen].ha
    # held where it is set from, so that it stays in place in a font of other width
    across = {"left": box.left, "center": 0.5 * (box.left + box.right), "right": box.right}[ha]
    canvas.paper.text(across, 0.5 * (box.bottom + box.top), text, ha=ha, va="center", scale=scale, **style)
    return box


def _around(at: tuple[float, float], reach: float) -> Iterator[Spot]:
    """Yield where a label may be set around a place, at so many dots from it."""
    for k in range(_AROUND):
        angle = 2 * math.pi * k / _AROUND
        across, up = math.cos(angle), math.sin(angle)
        ha: Literal["left", "center", "right"] = "left" if across > 0.35 else "right" if across < -0.35 else "center"
        va: Literal["bottom", "center", "top"] = "bottom" if up > 0.35 else "top" if up < -0.35 else "center"
        yield Spot(at[0] + reach * across, at[1] + reach * up, ha, va)


_PAD = 2.2
"""Room around the numbers of a mark, points."""


ROUND, SQUARE = "round,pad=0.25,rounding_size=0.7", "square,pad=0.25"
"""Shapes of the box around the numbers of a mark."""


@dataclass(frozen=True, slots=True)
class Look:
    """How marks of a kind look: the box around the numbers, and what it means."""

    shape: str
    fill: str
    ink: str
    words: str

    def sample(self) -> Line2D:
        """Return a sample for the key."""
        marker = "s" if self.shape == SQUARE else "o"
        return Line2D([], [], ls="", marker=marker, ms=7, mfc=self.fill, mec=INK, mew=0.9)


LOOKS: Mapping[str, Look] = {
    "stall": Look(ROUND, INK, "white", "stalls here first"),
    "runaway": Look(SQUARE, INK, "white", "begins to run away here"),
    "runaway ends": Look(SQUARE, "white", INK, "is held back again from here"),
    "forced": Look(ROUND, "white", INK, FORCED_WORDS),
}
"""The marks of trains: round where one stalls, square where one runs away."""


@dataclass(slots=True)
class Mark:
    """A mark: its kind, where it lies on the plan, m, and the numbers of its rows, rising."""

    kind: str
    x: float
    y: float
    numbers: tuple[int, ...]


def draw_marks(canvas: Canvas, marks: Iterable[Mark]) -> None:
    """Draw marks, the most important kind first, and keep labels off them; those over one another share one."""
    order = list(LOOKS)
    drawn: list[Mark] = []
    for mark in sorted(marks, key=lambda each: order.index(each.kind)):
        _add(canvas, mark, drawn)
    for number, mark in enumerate(reversed(drawn)):
        look = LOOKS[mark.kind]
        across, up = canvas.spot(mark.x, mark.y)
        style: dict[str, Any] = {"boxstyle": look.shape, "fc": look.fill, "ec": INK, "lw": 0.9}
        canvas.paper.text(
            across, up, spans(mark.numbers), scale=0.85, weight="bold", color=look.ink, ha="center", va="center",
            bbox=style, zorder=8 + number / 1000, gid=f"{mark.kind} {spans(mark.numbers)}",
        )  # fmt: skip
        canvas.board.take(_box(canvas, mark))


def _add(canvas: Canvas, mark: Mark, drawn: list[Mark]) -> None:
    """Add a mark, or its numbers to one that lies where it would; that may make it lie over others in turn."""
    while True:
        box = _box(canvas, mark)
        other = next((each for each in drawn if _box(canvas, each).meets(box)), None)
        if other is None:
            drawn.append(mark)
            return
        drawn.remove(other)
        mark = Mark(other.kind, other.x, other.y, tuple(sorted({*other.numbers, *mark.numbers})))


def _box(canvas: Canvas, mark: Mark) -> Box:
    across, up = canvas.spot(mark.x, mark.y)
    text = spans(mark.numbers)
    # figures are all as wide as one another, and the rest no wider
    wide, tall = 0.65 * len(text) * canvas.paper.font * POINT, canvas.paper.font * POINT
    return Box(across - 0.5 * wide, up - 0.5 * tall, across + 0.5 * wide, up + 0.5 * tall).grown(_PAD * POINT)
