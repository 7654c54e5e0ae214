"""Tracks from above: where they lie, heights, effective grade for a climbing train, and what passes over what."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.quantities.si import Meters, PerMeter, Radians, Ratio
from gradehaul.track.alignment import AlignedTrack
from gradehaul.track.curvature import Section
from gradehaul.track.map.plane import Pose, points
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic, distinct
from gradehaul.track.proximity.nearness import neighbors

_STRAY = 0.05
"""How far a chord may stray from its track, as a share of the gauge."""

_LONGEST = 8.0
"""The longest chord, in gauges, so that whatever is drawn along a track follows it."""

_CORNERS = 6
"""The least number of chords of a curve."""


@dataclass(frozen=True, slots=True)
class TrackSpot:
    """A place on a track: its id and the distance from its start, m; where it lies, m; and the heading there, rad."""

    KEYS: ClassVar[str] = "track at x y heading"

    track: str
    at: Meters
    x: Meters
    y: Meters
    heading: Radians


@dataclass(frozen=True, slots=True, eq=False)
class TrackView:
    """A track where it lies, as chords between points; between two points the effective grade runs evenly.

    Attributes
    ----------
    Tracks of one `frame` lie truly to one another; frames are laid beside one another with room between them, and
    `start` is shifted as the frame is. Points lie at a `distance` from the start, m, shape (n,), at `xy`, m, shape
    (n, 2), with their `railhead`, m, and `heading`, rad; `profile` is the railhead as it lies, rounded. Each chord has
    the `effective` grade at both its ends for a train that climbs there, shape (n - 1, 2), and `climbs`: 1 onward, -1
    back, 0 level. `named` says whether the builder chose the name.
    """

    KEYS: ClassVar[str] = (
        "id track=name line berth from_x=begins.0 from_y=begins.1 from_heading=start.heading to_x=ends.0 "
        "to_y=ends.1 length hand radius from_railhead to_railhead grade effective=steepest.0 "
        "effective_back=steepest.1 rail"
    )

    id: str
    name: str
    named: bool
    line: str
    berth: str | None
    """The berth it belongs to, None where it belongs to none."""
    rail: str
    """The planned rail condition, clean where nothing is said."""
    frame: int
    start: Pose
    sections: tuple[Section, ...]
    distance: FloatArray
    xy: FloatArray
    railhead: FloatArray
    profile: PiecewiseQuadratic
    heading: FloatArray
    effective: FloatArray
    climbs: NDArray[np.int_]
    steepest: tuple[Ratio, Ratio]
    """The greatest effective grade running onward, and running back."""

    @property
    def length(self) -> Meters:
        """Level length, m."""
        return float(self.distance[-1])

    @property
    def grade(self) -> Ratio:
        """The grade from end to end as a ratio, positive where it climbs onward."""
        return float(self.railhead[-1] - self.railhead[0]) / self.length

    @property
    def sharpest(self) -> PerMeter:
        """The sharpest curvature on it, 1/m, positive for left, 0 where it is straight."""
        return max((k for part in self.sections for k in (part.first, part.last)), key=abs)

    def part(self, start: float, stop: float) -> FloatArray:
        """Return points from one distance to another, m, shape (m, 2), with those at both."""
        inside = (self.distance > start) & (self.distance < stop)
        at = np.concatenate([[start], self.distance[inside], [stop]])
        return np.column_stack([np.interp(at, self.distance, self.xy[:, k]) for k in (0, 1)])

    def spot(self, at: float) -> TrackSpot:
        """Return where a distance along it, m, lies."""
        x, y = (float(np.interp(at, self.distance, self.xy[:, k])) for k in (0, 1))
        return TrackSpot(self.id, at, x, y, float(np.interp(at, self.distance, self.heading)))

    @property
    def begins(self) -> tuple[Meters, Meters]:
        """Where its start lies."""
        return float(self.xy[0, 0]), float(self.xy[0, 1])

    @property
    def ends(self) -> tuple[Meters, Meters]:
        """Where its end lies."""
        return float(self.xy[-1, 0]), float(self.xy[-1, 1])

    @property
    def hand(self) -> Literal["left", "right"] | None:
        """The hand to which it turns where it is sharpest, None where it is straight."""
        return None if self.sharpest == 0 else "left" if self.sharpest > 0 else "right"

    @property
    def radius(self) -> Meters | None:
        """The least radius on it, None where it is straight."""
        return None if self.sharpest == 0 else 1 / abs(self.sharpest)

    @property
    def from_railhead(self) -> Meters:
        """The railhead at its start."""
        return float(self.railhead[0])

    @property
    def to_railhead(self) -> Meters:
        """The railhead at its end."""
        return float(self.railhead[-1])


def track_view(layout: Layout, track: AlignedTrack, frame: int, start: Pose, berth: str | None) -> TrackView:
    """Return a track as it lies from a pose, in a frame; its points lie at every change of grade or curvature."""
    grade, bend = track.railhead.derivative(), track.summed_curvature.derivative()
    turning, t = track.railhead.vertices()
    breaks = (track.railhead.breaks, track.summed_curvature.breaks, track.railhead.breaks[turning] + t)
    cuts = np.concatenate([*breaks, _inside_curves(track.sections)])
    gauge = layout.plan.scale.gauge
    trace = points(cut_sections(track.sections, cuts), start, gauge * _STRAY, longest=gauge * _LONGEST)
    distance, middle = trace.distance, 0.5 * (trace.distance[1:] + trace.distance[:-1])
    half = 0.5 * np.diff(distance)
    # linear from point to point, for every break is a point
    own, own_change = grade.at(middle), grade.derivative().at(middle) * half
    curve, curve_change = (layout.coefficient * each for each in (bend.at(middle), bend.derivative().at(middle) * half))
    ends = np.stack([own - own_change, own + own_change], axis=1)
    resisted = np.stack([curve - curve_change, curve + curve_change], axis=1)
    climbs = np.where(np.abs(own) < 1e-7, 0, np.sign(own)).astype(int)
    return TrackView(
        id=track.id,
        name=track.name,
        named=track.name != track.id,
        line=track.id.rpartition(":")[0],
        berth=berth,
        rail=track.rail or CLEAN,
        frame=frame,
        start=start,
        sections=track.sections,
        distance=distance,
        xy=trace.xy,
        railhead=track.railhead.at(distance),
        profile=track.railhead,
        heading=start.heading + _turned(track.sections, distance),
        effective=np.abs(ends) + resisted,
        climbs=climbs,
        steepest=(float((resisted + ends).max()), float((resisted - ends).max())),
    )


def _inside_curves(sections: Sequence[Section]) -> FloatArray:
    """Return places along every curve, so that the shortest has corners enough to be seen as one."""
    begin, found = 0.0, [np.empty(0)]
    for section in sections:
        if section.first or section.last:
            found.append(begin + section.length * np.arange(1, _CORNERS) / _CORNERS)
        begin += section.length
    return np.concatenate(found)


def cut_sections(sections: Sequence[Section], cuts: FloatArray) -> list[Section]:
    """Return sections cut at distances along them, so that points lie there."""
    found: list[Section] = []
    begin = 0.0
    for section in sections:
        end = begin + section.length
        inside = distinct(cuts[(cuts > begin + 1e-9) & (cuts < end - 1e-9)])
        if inside.size:  # breaks of two functions may be the same but for rounding
            inside = inside[np.concatenate([[True], np.diff(inside) > 1e-9])]
        at = [begin, *inside.tolist(), end]
        slope = (section.last - section.first) / section.length
        found += [
            Section(b - a, section.first + slope * (a - begin), section.first + slope * (b - begin))
            for a, b in pairwise(at)
        ]
        begin = end
    return found


def _turned(sections: Sequence[Section], distance: FloatArray) -> FloatArray:
    """Return by how much a track has turned at distances along it, rad."""
    length, first, last = np.array([(part.length, part.first, part.last) for part in sections]).T
    starts = np.concatenate([[0.0], np.cumsum(length)])
    turns = np.concatenate([[0.0], np.cumsum(0.5 * length * (first + last))])
    piece = np.clip(np.searchsorted(starts, distance, side="right") - 1, 0, length.size - 1)
    t = distance - starts[piece]
    turned: FloatArray = turns[piece] + t * (first[piece] + 0.5 * t * (last - first)[piece] / length[piece])
    return turned


_ALONG = 0.02
"""Tracks that cross at less than this, rad, lie along one another, as the turns of a helix do."""

_ONE_LEVEL = 1e-6
"""Railheads that differ by less than this, m, are one."""

_CROSSINGS_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Overpass:
    """A place where one track passes over another: both, the angle between them, rad, and how much higher, m."""

    KEYS: ClassVar[str] = "over under angle apart=height"

    over: TrackSpot
    under: TrackSpot
    angle: Radians
    height: Meters


def overpasses(views: Sequence[TrackView]) -> Iterator[Overpass]:
    """Yield the places where tracks cross at different heights, found on their chords."""
    count = [view.distance.size - 1 for view in views]
    owner = np.repeat(np.arange(len(views)), count)
    chord = np.concatenate([np.arange(each) for each in count])
    plane = np.concatenate([np.stack([view.xy[:-1], view.xy[1:]], axis=1) for view in views])
    near = neighbors(plane, 0.0)
    seen: set[tuple[float, float, float]] = set()
    for begin in range(0, len(plane), _CROSSINGS_AT_ONCE):
        mine, other = near(begin, min(begin + _CROSSINGS_AT_ONCE, len(plane)))
        mine = mine + begin
        first, second = mine[mine < other], other[mine < other]
        a, b = plane[first], plane[second]
        along, across = a[:, 1] - a[:, 0], b[:, 1] - b[:, 0]
        gap = b[:, 0] - a[:, 0]
        turn = along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            on_first = (gap[:, 0] * across[:, 1] - gap[:, 1] * across[:, 0]) / turn
            on_second = (gap[:, 0] * along[:, 1] - gap[:, 1] * along[:, 0]) / turn
        hit = np.flatnonzero((on_first >= 0) & (on_first <= 1) & (on_second >= 0) & (on_second <= 1))
        for k in hit.tolist():
            i, j = int(first[k]), int(second[k])
            found = _overpass(
                (views[owner[i]], int(chord[i]), float(on_first[k])),
                (views[owner[j]], int(chord[j]), float(on_second[k])),
            )
            if found is None:
                continue
            # a crossing at the meeting of two chords is found on both
            key = round(found.over.x, 6), round(found.over.y, 6), round(found.height, 6)
            if key not in seen:
                seen.add(key)
                yield found


def _overpass(one: tuple[TrackView, int, float], other: tuple[TrackView, int, float]) -> Overpass | None:
    spots, heights = [], []
    for view, chord, share in (one, other):
        at = float(view.distance[chord] + share * (view.distance[chord + 1] - view.distance[chord]))
        spots.append(view.spot(at))
        heights.append(float(np.interp(at, view.distance, view.railhead)))
    angle = abs(math.remainder(spots[0].heading - spots[1].heading, math.pi))
    if angle < _ALONG or abs(heights[0] - heights[1]) < _ONE_LEVEL:
        return None
    upper = 0 if heights[0] > heights[1] else 1
    return Overpass(spots[upper], spots[1 - upper], angle, abs(heights[0] - heights[1]))
