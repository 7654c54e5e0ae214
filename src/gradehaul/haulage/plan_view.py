"""What a plan view tells: tracks in their places with their effective grade, what passes over what, and stalls."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import PlanError
from gradehaul.haulage.layout import Layout, judged_rails
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.verdict import Stretch, Verdict
from gradehaul.plan.names import quoted
from gradehaul.plan.records import Note, Plan
from gradehaul.plan.stock import CLEAN
from gradehaul.quantities import describe
from gradehaul.track.alignment import AlignedTrack
from gradehaul.track.curvature import Section
from gradehaul.track.nearness import neighbors
from gradehaul.track.piecewise import FloatArray
from gradehaul.track.plane import Pose, points
from gradehaul.track.positions import USABLE_MISCLOSURE, figure_name

_STRAY = 0.05
"""How far a chord may stray from its track, as a share of the gauge."""

_LONGEST = 8.0
"""The longest chord, in gauges, so that whatever is drawn along a track follows it."""

_ALONG = 0.02
"""Tracks that cross at less than this, rad, lie along one another, as the turns of a helix do."""

_ONE_LEVEL = 1e-6
"""Railheads that differ by less than this, m, are one."""

_BESIDE = 0.15
"""The room between two pieces whose places relative to one another nothing tells, as a share of their extent."""

_CROSSINGS_AT_ONCE = 500

MarkKind = Literal["stalls", "no stopping", "no recovery"]
"""Where a train stalls, would not start again, or would not recover from a slip."""


class OnTrack(NamedTuple):
    """A stretch of one track: its id, and two distances from the start of the track, m, rising."""

    track: str
    start: float
    stop: float


class Spot(NamedTuple):
    """A place on a track: its id and the distance from its start, m; where it lies, m; and the heading there, rad."""

    track: str
    at: float
    x: float
    y: float
    heading: float


@dataclass(frozen=True, slots=True, eq=False)
class TrackView:
    """A track where it lies, as chords between points; between two points the effective grade runs evenly.

    Attributes
    ----------
    id, name, line
        The track; `named` tells whether the builder gave it that name.
    berth
        The berth it belongs to, None where it belongs to none.
    rail
        The planned rail condition, clean where nothing is said.
    frame
        Tracks of one frame lie truly to one another; frames are laid beside one another with room between them.
    start
        The pose of its start, shifted as the frame is, m and rad.
    sections
        Its curvature from its start.
    distance
        Distances of the points from its start, m, shape (n,).
    xy
        Where they lie, m, shape (n, 2).
    railhead
        The railhead there, m, shape (n,).
    heading
        The heading there, rad, shape (n,).
    effective
        The effective grade at both ends of each chord for a train that climbs there, as a ratio, shape (n - 1, 2).
    climbs
        Which way each chord climbs: 1 onward, -1 back, 0 level, shape (n - 1,).
    steepest
        The greatest effective grade running onward, and running back.
    """

    id: str
    name: str
    named: bool
    line: str
    berth: str | None
    rail: str
    frame: int
    start: Pose
    sections: tuple[Section, ...]
    distance: FloatArray
    xy: FloatArray
    railhead: FloatArray
    heading: FloatArray
    effective: FloatArray
    climbs: NDArray[np.int_]
    steepest: tuple[float, float]

    @property
    def length(self) -> float:
        """Level length, m."""
        return float(self.distance[-1])

    @property
    def grade(self) -> float:
        """The grade from end to end as a ratio, positive where it climbs onward."""
        return float(self.railhead[-1] - self.railhead[0]) / self.length

    def part(self, start: float, stop: float) -> FloatArray:
        """Return points from one distance to another, m, shape (m, 2), with those at both."""
        inside = (self.distance > start) & (self.distance < stop)
        at = np.concatenate([[start], self.distance[inside], [stop]])
        return np.column_stack([np.interp(at, self.distance, self.xy[:, k]) for k in (0, 1)])

    def spot(self, at: float) -> Spot:
        """Return where a distance along it, m, lies."""
        x, y = (float(np.interp(at, self.distance, self.xy[:, k])) for k in (0, 1))
        return Spot(self.id, at, x, y, float(np.interp(at, self.distance, self.heading)))


@dataclass(frozen=True, slots=True)
class JointView:
    """A joint where it lies, m, with its railhead, m, and the heading in which its first line leaves it."""

    name: str
    kind: Literal["end", "plain", "turnout", "crossing", "table"]
    frame: int
    x: float
    y: float
    heading: float
    railhead: float


@dataclass(frozen=True, slots=True)
class Overpass:
    """A place where one track passes over another: both, the angle between them, rad, and how much higher, m."""

    over: Spot
    under: Spot
    angle: float
    height: float


@dataclass(frozen=True, slots=True)
class Mark:
    """A stretch on which the head of a train must not be: what happens there, and the tracks it lies on.

    `start` and `stop` are places along the route, m.
    """

    kind: MarkKind
    start: float
    stop: float
    on: tuple[OnTrack, ...]


@dataclass(frozen=True, slots=True)
class TrainView:
    """What becomes of a train on one rail condition, with the stretches to mark and where it stalls first, if at all.

    A stall on track that has no place in the view is None too; its verdict tells it.
    """

    name: str
    route: str
    rail: str
    verdict: Verdict
    marks: tuple[Mark, ...]
    stall: Spot | None


@dataclass(frozen=True, slots=True, eq=False)
class PlanView:
    """A plan from above, all that a drawing of it needs; nothing in it is rounded."""

    plan: Plan
    tracks: Mapping[str, TrackView]
    """By id, in the order of the plan; those of a frame that does not close are left out."""
    joints: tuple[JointView, ...]
    overpasses: tuple[Overpass, ...]
    trains: tuple[TrainView, ...]
    frames: int
    """How many pieces are drawn whose places relative to one another nothing tells."""
    notes: tuple[Note, ...]
    """What is left out, and why."""

    @property
    def box(self) -> tuple[float, float, float, float]:
        """The least and greatest x, then y, m."""
        xy = np.concatenate([track.xy for track in self.tracks.values()])
        (left, bottom), (right, top) = xy.min(axis=0).tolist(), xy.max(axis=0).tolist()
        return left, right, bottom, top


def plan_view(layout: Layout, trains: Sequence[str] | None = None, rails: Sequence[str] | None = None) -> PlanView:
    """Return what the plan view of a layout tells.

    Parameters
    ----------
    layout
        The layout.
    trains
        Named trains to judge; None for all whose route is among the layout's.
    rails
        Rail conditions to judge them on; None for those by which the layout passes: as planned where the plan says
        so, else every film.

    Raises
    ------
    RouteError
        A train or rail condition that the plan does not have.
    PlanError
        No track has a usable place: every frame has a figure that does not close.

    Examples
    --------
    A track that loops over itself, climbing:

    >>> from gradehaul.plan import read_plan
    >>> view = plan_view(Layout(read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead.Foot = 0
    ... [line.Loop]
    ... from = "Foot"
    ... to = "Top"
    ... track = [
    ...   { straight = 2, grade = "2 %" },
    ...   { left = 0.6, angle = 270, grade = "2 %" },
    ...   { straight = 2, grade = "2 %" },
    ... ]
    ... ''')))
    >>> (over,) = view.overpasses
    >>> over.over.track, over.under.track, round(over.height, 4), round(over.under.at, 3)
    ('Loop:3', 'Loop:1', 0.0805, 1.4)
    >>> [round(grade, 4) for grade in view.tracks["Loop:2"].steepest], view.tracks["Loop:1"].climbs.tolist()[:2]
    ([0.0334, -0.0066], [1, 1])
    """
    views = {view.id: view for view in _laid_out(layout)}
    if not views:
        raise _no_places(layout)
    chosen = _judged(layout, trains, rails)
    shifts = _shifts(views.values())
    views = {name: _shifted(view, shifts[view.frame]) for name, view in views.items()}
    return PlanView(
        plan=layout.plan,
        tracks=views,
        joints=tuple(_joints(layout, shifts)),
        overpasses=tuple(_overpasses(list(views.values()))),
        trains=tuple(_train(views, *each) for each in chosen),
        frames=len(shifts),
        notes=tuple(_notes(layout, len(shifts))),
    )


# Tracks


def _laid_out(layout: Layout) -> Iterator[TrackView]:
    positions = layout.alignment.positions
    berths = {track: berth.name for berth in layout.plan.berths.values() for track in berth.tracks}
    for track in layout.alignment.tracks.values():
        place = positions.tracks[track.id]
        if positions.usable(place.frame):
            yield _track(layout, track, place.frame, place.start, berths.get(track.id))


def _track(layout: Layout, track: AlignedTrack, frame: int, start: Pose, berth: str | None) -> TrackView:
    grade, bend = track.railhead.derivative(), track.turning.derivative()
    turning, t = track.railhead.vertices()
    cuts = np.concatenate([track.railhead.breaks, track.turning.breaks, track.railhead.breaks[turning] + t])
    gauge = layout.plan.scale.gauge
    trace = points(_cut(track.sections, cuts), start, gauge * _STRAY, longest=gauge * _LONGEST)
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
        heading=start.heading + _turned(track.sections, distance),
        effective=np.abs(ends) + resisted,
        climbs=climbs,
        steepest=(float((resisted + ends).max()), float((resisted - ends).max())),
    )


def _cut(sections: Sequence[Section], cuts: FloatArray) -> list[Section]:
    """Return sections cut at distances along them, so that points lie there."""
    found: list[Section] = []
    begin = 0.0
    for section in sections:
        end = begin + section.length
        inside = np.unique(cuts[(cuts > begin + 1e-9) & (cuts < end - 1e-9)])
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


# Frames


def _shifts(views: Iterable[TrackView]) -> dict[int, tuple[float, float]]:
    """Return by how much each frame is moved: the one with most track stays, the others lie to its right in a row."""
    boxes: dict[int, list[FloatArray]] = {}
    length: dict[int, float] = {}
    for view in views:
        boxes.setdefault(view.frame, []).append(view.xy)
        length[view.frame] = length.get(view.frame, 0.0) + view.length
    order = sorted(boxes, key=lambda frame: (-length[frame], frame))
    corners = {
        frame: (np.concatenate(boxes[frame]).min(axis=0), np.concatenate(boxes[frame]).max(axis=0)) for frame in order
    }
    room = _BESIDE * max(float((high - low).max()) for low, high in corners.values())
    low, high = corners[order[0]]
    shifts = {order[0]: (0.0, 0.0)}
    right, bottom = float(high[0]), float(low[1])
    for frame in order[1:]:
        own_low, own_high = corners[frame]
        shifts[frame] = (right + room - float(own_low[0]), bottom - float(own_low[1]))
        right += room + float(own_high[0] - own_low[0])
    return shifts


def _shifted(view: TrackView, shift: tuple[float, float]) -> TrackView:
    if shift == (0.0, 0.0):
        return view
    start = Pose(view.start.x + shift[0], view.start.y + shift[1], view.start.heading)
    return replace(view, start=start, xy=view.xy + np.array(shift))


def _joints(layout: Layout, shifts: Mapping[int, tuple[float, float]]) -> Iterator[JointView]:
    for joint in layout.alignment.positions.joints.values():
        if joint.frame in shifts:
            across, up = shifts[joint.frame]
            kind, railhead = layout.plan.joints[joint.name].kind, layout.alignment.railheads[joint.name]
            pose = joint.pose
            yield JointView(joint.name, kind, joint.frame, pose.x + across, pose.y + up, pose.heading, railhead)


def _no_places(layout: Layout) -> PlanError:
    positions = layout.alignment.positions
    worst = max(positions.worst.values(), key=lambda closure: closure.share)
    off = describe(worst.distance, "length", layout.plan.unit)
    return PlanError(
        "nothing can be drawn in its place, since no track has a usable one: a figure of lines must close to "
        f"{USABLE_MISCLOSURE:.0%} of its length",
        file=layout.plan.file,
        place=figure_name(worst),
        found=f"{off} off",
        write="lengths and angles that bring it back to where it starts",
    )


def _notes(layout: Layout, frames: int) -> Iterator[Note]:
    positions = layout.alignment.positions
    for frame, worst in positions.worst.items():
        if not positions.usable(frame):
            share = describe(float(f"{worst.share:.2g}"), "share", "%")
            lost = sorted({layout.plan.tracks[name].line for name, at in positions.tracks.items() if at.frame == frame})
            lines = ", ".join(map(quoted, lost[:6])) + (f" and {len(lost) - 6} more" if len(lost) > 6 else "")
            yield Note("plan view", f"left out: {lines}, since {figure_name(worst)} misses closing by {share}")
    if frames > 1:
        yield Note("plan view", f"{frames} pieces lie beside one another, for nothing tells how they truly lie")


# What passes over what


def _overpasses(views: Sequence[TrackView]) -> Iterator[Overpass]:
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


# Trains


def _judged(
    layout: Layout, trains: Sequence[str] | None, rails: Sequence[str] | None
) -> list[tuple[str, RouteProfile, str, Verdict]]:
    """Return each train asked about with its route and, for each rail condition, its verdict."""
    plan = layout.plan
    routes = {route.name for route in layout.routes}
    names = trains or [name for name, named in plan.trains.items() if named.route in routes]
    asked = rails or judged_rails(layout.rails)
    return [
        (name, layout.profile(plan.trains[name].route), rail, verdict)
        for name in dict.fromkeys(names)
        for rail, verdict in [(rail, layout.verdict(name, rail=rail)) for rail in dict.fromkeys(asked)]
    ]


def _train(views: Mapping[str, TrackView], name: str, profile: RouteProfile, rail: str, verdict: Verdict) -> TrainView:
    route = profile.route
    kinds: tuple[tuple[MarkKind, tuple[Stretch, ...]], ...] = (
        ("no recovery", verdict.no_recovery),
        ("no stopping", verdict.no_stopping),
        ("stalls", verdict.stalling),
    )
    marks = tuple(
        Mark(kind, stretch.start, stretch.stop, tuple(on_tracks(profile, stretch.start, stretch.stop)))
        for kind, stretches in kinds
        for stretch in stretches
    )
    stall = _spot(profile, views, verdict.at) if verdict.outcome == "stalls" else None
    return TrainView(name, route.name, rail, verdict, marks, stall)


def on_tracks(profile: RouteProfile, start: float, stop: float) -> Iterator[OnTrack]:
    """Yield the tracks under a stretch of a route, m, each with the part of it in the track's own direction."""
    route = profile.route
    for way, begin, end in zip(route.ways, profile.starts[:-1].tolist(), profile.starts[1:].tolist(), strict=True):
        low, high = max(start, begin), min(stop, end)
        if low < high or (low == high and start == stop):
            part = (low - begin, high - begin) if way.forward else (end - high, end - low)
            yield OnTrack(way.track, *part)


def _spot(profile: RouteProfile, views: Mapping[str, TrackView], at: float) -> Spot | None:
    """Return where a place on a route lies, headed as the route runs; the track ahead at a joint."""
    number = int(np.searchsorted(profile.starts, at + 1e-9, side="right")) - 1
    number = min(max(number, 0), len(profile.route.ways) - 1)
    way = profile.route.ways[number]
    if way.track not in views:
        return None
    begin, end = float(profile.starts[number]), float(profile.starts[number + 1])
    spot = views[way.track].spot(at - begin if way.forward else end - at)
    return spot if way.forward else spot._replace(heading=spot.heading + math.pi)
