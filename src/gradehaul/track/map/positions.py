"""Positions: where tracks and joints lie by dead reckoning, and by how much closed figures miss closing."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, reduce
from itertools import pairwise
from typing import NamedTuple

import networkx as nx

from gradehaul.plan.records import End, Joint, LineEnd, Plan
from gradehaul.quantities.si import Meters, Radians
from gradehaul.track.curvature import Section
from gradehaul.track.map.plane import Leg, Pose, legs_of

USABLE_MISCLOSURE = 0.01
"""A figure that misses closing by more than this share of its length makes its frame unusable: our own limit."""

USABLE_ANGLE = math.radians(15)
"""A figure whose headings miss by more makes its frame unusable: legs of turnouts are drawn straight up to about so."""


class Step(NamedTuple):
    """A line on the walk round a figure: its name, whether it is walked from its `from`, and a reversal before it.

    The last step of a walk has no line where the walk ends as it began, and the reversal there.
    """

    line: str
    forward: bool
    reverses: bool


@dataclass(frozen=True, slots=True)
class TrackPosition:
    """Where a track starts, in its line's direction; poses compare only within one frame."""

    id: str
    frame: int
    start: Pose


@dataclass(frozen=True, slots=True)
class JointPosition:
    """Where a joint lies, with the heading in which the first line that leaves it leaves it.

    Lines that meet at a turntable, or cross without slips, may lie in frames of their own; then this is the place of
    that first line's end.
    """

    name: str
    frame: int
    pose: Pose


@dataclass(frozen=True, slots=True)
class ClosureError:
    """By how much a closed figure of lines misses closing, or lines whose places are stated miss one another.

    `angle` is between -π and π; None where lines cross at an unknown angle, so that only the distance can be judged.
    """

    lines: tuple[str, ...]
    """In the order of the walk round the figure."""
    frame: int
    distance: Meters
    """m"""
    angle: Radians | None
    """rad"""
    length: Meters
    """Length of the figure, m."""
    joint: str = ""
    """Where it shows."""
    steps: tuple[Step, ...] = ()
    """The walk round the figure; none where lines cross, or whose places are stated."""
    stated: bool = False
    """Whether it is between lines whose places are stated."""

    @property
    def share(self) -> float:
        """The distance over the length of the figure."""
        return self.distance / self.length

    @property
    def severity(self) -> float:
        """By how much it misses over the limits of what is usable: above 1 distances between tracks cannot be taken."""
        return max(self.share / USABLE_MISCLOSURE, abs(self.angle or 0.0) / USABLE_ANGLE)


@dataclass(frozen=True)
class Positions:
    """Every track by id and every joint by name with its place, and every closed figure with its misclosure.

    Frame 0 has the place and heading that the plan's map states; each connected piece of the plan that it does not
    reach has a frame of its own, which starts at its first line.
    """

    tracks: Mapping[str, TrackPosition]
    joints: Mapping[str, JointPosition]
    closures: tuple[ClosureError, ...]

    @cached_property
    def worst(self) -> Mapping[int, ClosureError]:
        """The figure of each frame that misses closing worst: by the largest share of its length, or by its angle."""
        found: dict[int, ClosureError] = {}
        for closure in self.closures:
            if closure.frame not in found or closure.severity > found[closure.frame].severity:
                found[closure.frame] = closure
        return found

    def usable(self, frame: int) -> bool:
        """Return whether distances between tracks of a frame can be taken from the positions.

        They cannot where a figure of the frame misses closing by more than 1 % of its length, or by 15 degrees.
        """
        return frame not in self.worst or self.worst[frame].severity <= 1.0


_SIDES: tuple[End, ...] = ("from", "to")
_AHEAD = Leg(0j, 0.0)
_BACK = Leg(0j, math.pi)
_ORIGIN = -1
"""The node of the tree from which the first tangent of every walk is reached."""


@dataclass(slots=True)
class _Tangent:
    """Line ends at one joint that lie on one tangent; each leaves along it (1) or against it (-1)."""

    joint: str
    ends: list[LineEnd]
    frame: int = -1
    pose: Leg = _AHEAD
    """Where it lies and how it heads, as the leg that leads there from the origin."""


class _Survey:
    """The lines of a plan as they are walked: each tangent gets its place when it is first reached.

    Lines with a track that has no leg yet are left out of the walk. `tree` has the tangents and the lines over which
    each was first reached, with the end of the line at either.
    """

    def __init__(self, plan: Plan, legs: Mapping[str, Leg]) -> None:
        self.plan = plan
        self.legs = legs
        self.tangents: list[_Tangent] = []
        self.on: dict[LineEnd, tuple[int, int]] = {}
        """The tangent of each line end, and 1 or -1: how it leaves along it."""
        for joint in plan.joints.values():
            self._find_tangents(joint)
        self.closures: list[ClosureError] = []
        self.frames = 0
        self._tree: nx.Graph[int] = nx.Graph()
        self._rank = {_ORIGIN: 0}
        self._walked = {name for name, line in plan.lines.items() if any(track.id not in legs for track in line.tracks)}
        self._line_legs = {
            name: reduce(Leg.then, (legs[track.id] for track in line.tracks))
            for name, line in plan.lines.items()
            if name not in self._walked
        }

    def _find_tangents(self, joint: Joint) -> None:
        """Gather the ends at a joint that continue one another; on a turntable each stands alone."""
        follow: nx.Graph[LineEnd] = nx.Graph(joint.tangents)
        follow.add_nodes_from(joint.ends)
        for first in joint.ends:
            if first not in self.on:
                moves = nx.single_source_shortest_path_length(follow, first)
                self.on |= {end: (len(self.tangents), -1 if count % 2 else 1) for end, count in moves.items()}
                self.tangents.append(_Tangent(joint.name, sorted(moves, key=joint.ends.index)))

    def leaving(self, end: LineEnd) -> Leg:
        """Return where a line end lies and how it leaves its joint."""
        number, way = self.on[end]
        pose = self.tangents[number].pose
        return pose if way == 1 else pose.then(_BACK)

    def _across(self, end: LineEnd, leaving: Leg) -> Leg:
        """Return where the far end of a line comes to lie, left by one end as it leaves, and how it leaves there."""
        leg = self._line_legs[end.line]
        return leaving.then(leg if end.end == "from" else leg.reversed()).then(_BACK)

    def start(self, end: LineEnd, pose: Pose) -> None:
        """Place one line end and all that can be reached from it."""
        self._place(end, pose.leg, _ORIGIN, LineEnd("", "from"))
        self._spread(deque([self.on[end][0]]))

    def start_as_stated(self) -> None:
        """Place the lines whose places are stated, and all that can be reached from them.

        Each begins where it is stated, so that small breaks between lines of a drawing do not add up; where two of them
        meet, the second is compared with the first.
        """
        stated = [line for line in self.plan.lines.values() if line.place is not None and line.name in self._line_legs]
        self._walked.update(line.name for line in stated)
        for side in _SIDES:
            for line in stated:
                assert line.place is not None
                end, pose = LineEnd(line.name, side), Pose(*line.place).leg
                if side == "to":
                    pose = self._across(end.far, pose)
                number, _ = self.on[end]
                if self.placed(end):
                    first = self._tree.edges[_ORIGIN, number]["ends"][number].line
                    self._record((first, line.name), number, *pose.apart(self.leaving(end)), stated=True)
                else:
                    self._place(end, pose, _ORIGIN, end)
        self._spread(deque(number for number, tangent in enumerate(self.tangents) if tangent.frame == self.frames))

    def _spread(self, queue: deque[int]) -> None:
        """Place what can be reached from tangents that have their place, nearest by count of lines first."""
        while queue:
            here = queue.popleft()
            for near in self.tangents[here].ends:
                if near.line in self._walked:
                    continue
                self._walked.add(near.line)
                pose, there = self._across(near, self.leaving(near)), self.on[near.far][0]
                if self.tangents[there].frame == self.frames:
                    self._close(here, there, *pose.apart(self.leaving(near.far)), near.far)
                else:
                    self._place(near.far, pose, here, near)
                    queue.append(there)

    def placed(self, end: LineEnd) -> bool:
        """Return whether a line end has its place."""
        return self.frame(end) >= 0

    def _place(self, end: LineEnd, pose: Leg, before: int, near: LineEnd) -> None:
        """Place a line end and its tangent, reached from the tangent before over the line that leaves it by an end."""
        number, way = self.on[end]
        tangent = self.tangents[number]
        tangent.frame, tangent.pose = self.frames, pose if way == 1 else pose.then(_BACK)
        self._tree.add_edge(before, number, ends={before: near, number: near if before == _ORIGIN else end})
        self._rank[number] = len(self._rank)

    def _close(self, one: int, other: int, distance: float, angle: float | None, far: LineEnd | None = None) -> None:
        """Record the figure made by a line, or by a crossing, and the ways by which its two ends were reached."""
        path = nx.shortest_path(self._tree, one, other)
        top = path.index(min(path, key=self._rank.__getitem__))
        left = [self._tree.edges[pair]["ends"][pair[0]] for pair in pairwise(path)]
        # from where the ways meet to the one end of the closing line, over it, and back by the other way
        entered = [*reversed(left[:top]), *([far] if far else []), *reversed(left[top:])]
        stated = path[top] == _ORIGIN
        steps = () if stated or far is None else tuple(self._steps(entered))
        self._record([end.line for end in reversed(entered)], other, distance, angle, steps, stated=stated)

    def _steps(self, entered: Sequence[LineEnd]) -> Iterator[Step]:
        """Yield the walk over lines by the ends by which each is left, from a tangent and back to it, along it."""
        way = 1
        for end in entered:
            yield Step(end.line, end.end == "to", self.on[end.far][1] != way)
            way = -self.on[end][1]
        yield Step("", forward=True, reverses=way != 1)

    def _record(
        self,
        lines: Sequence[str],
        number: int,
        distance: float,
        angle: float | None,
        steps: tuple[Step, ...] = (),
        *,
        stated: bool = False,
    ) -> None:
        names = tuple(dict.fromkeys(name for name in lines if name))
        tangent = self.tangents[number]
        length = sum(self.plan.lines[name].length for name in names)
        if names:
            self.closures.append(
                ClosureError(names, tangent.frame, distance, angle, length, tangent.joint, steps, stated)
            )

    def close_crossings(self) -> None:
        """Compare the places of lines that cross: their angle is unknown, and they meet in one point."""
        first: dict[tuple[str, int], int] = {}
        for number, tangent in enumerate(self.tangents):
            if self.plan.joints[tangent.joint].kind == "crossing":
                other = first.setdefault((tangent.joint, tangent.frame), number)
                if other != number:
                    self._close(other, number, tangent.pose.apart(self.tangents[other].pose)[0], None)

    def frame(self, end: LineEnd) -> int:
        """Return the frame of a line end."""
        return self.tangents[self.on[end][0]].frame

    def along(self, line: str) -> Iterator[tuple[str, Pose]]:
        """Yield every track of a line with where it starts."""
        place = self.plan.lines[line].place
        pose = self.leaving(LineEnd(line, "from")) if place is None else Pose(*place).leg
        for track in self.plan.lines[line].tracks:
            yield track.id, Pose.of(pose)
            pose = pose.then(self.legs[track.id])


def _first_to_leave(joint: Joint) -> LineEnd:
    return next((end for end in joint.ends if end.end == "from"), joint.ends[0])


def map_positions(plan: Plan, sections: Mapping[str, Sequence[Section]]) -> Positions:
    """Work out where every track lies, from the map's start along the rails.

    The map's heading is that of the first line that leaves its joint: the first in the order of the file whose `from`
    is there, or, where lines only end there, the first of these, taken out of the joint, against its own direction.
    Without a map the first line's `from` lies at (0, 0) and heads along x. Positions go on through plain joints,
    turnouts and the lines and slips of crossings, all of which continue as tangents; not across a turntable, nor from
    one line of a crossing to the other where no slip joins them, since their angle is unknown. A line whose place is
    stated, as one from a drawing, lies there, in the map's frame. What cannot be reached starts a frame of its own, at
    (0, 0) along x with its first line.
    """
    survey = _walked(plan, legs_of(sections))
    tracks = {
        track: TrackPosition(track, survey.frame(LineEnd(line, "from")), pose)
        for line in plan.lines
        for track, pose in survey.along(line)
    }
    joints = {}
    for name, joint in plan.joints.items():
        end = _first_to_leave(joint)
        joints[name] = JointPosition(name, survey.frame(end), Pose.of(survey.leaving(end)))
    return Positions(tracks, joints, tuple(survey.closures))


def end_poses(plan: Plan, legs: Mapping[str, Leg]) -> dict[LineEnd, tuple[int, Leg]]:
    """Return the frame of every line end, where it lies and how it leaves, by the lines whose tracks all have legs.

    A joint that only other lines reach lies in a frame of its own.
    """
    survey = _walked(plan, legs)
    return {end: (survey.frame(end), survey.leaving(end)) for end in survey.on}


def _walked(plan: Plan, legs: Mapping[str, Leg]) -> _Survey:
    """Return the lines of a plan walked from where they begin."""
    survey = _Survey(plan, legs)
    survey.start_as_stated()
    if plan.map is not None:
        start = Pose(plan.map.x, plan.map.y, plan.map.heading)
        end = _first_to_leave(plan.joints[plan.map.joint])
        if not survey.placed(end):
            survey.start(end, start)
    if any(line.place is not None for line in plan.lines.values()) or plan.map is not None:
        survey.frames += 1
    for end in (LineEnd(line, side) for side in _SIDES for line in plan.lines):
        if not survey.placed(end):  # a `to` only where its line is left out of the walk
            survey.start(end, Pose(0.0, 0.0, 0.0))
            survey.frames += 1
    survey.close_crossings()
    return survey
