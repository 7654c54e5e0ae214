"""Dead reckoning: where tracks lie, worked out along the rails from where the plan begins."""

from __future__ import annotations

import cmath
import math
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from gradehaul.plan.records import End, Joint, LineEnd, Plan
from gradehaul.track.curvature import Section
from gradehaul.track.map.plane import Leg, Pose, legs_of
from gradehaul.track.map.positions import ClosureError, JointPosition, Positions, Step, TrackPosition

_SIDES: tuple[End, ...] = ("from", "to")


@dataclass(slots=True)
class _Tangent:
    """Line ends at one joint that lie on one tangent; each leaves along it (1) or against it (-1)."""

    joint: str
    ends: list[LineEnd]
    frame: int = -1
    place: complex = 0j
    heading: float = 0.0
    parent: int = -1
    """The tangent from which this one was reached first, -1 where a frame starts."""
    line: str = ""
    """The line over which it was reached, or whose stated place is its own."""
    entered: LineEnd | None = None
    """The end of that line at this tangent."""
    depth: int = 0


class _Survey:
    """The lines of a plan as they are walked: each tangent gets its place when it is first reached.

    Lines with a track that has no leg yet are left out of the walk.
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
        self._walked = {name for name, line in plan.lines.items() if any(track.id not in legs for track in line.tracks)}
        self._line_legs = {name: self._whole(name) for name in plan.lines if name not in self._walked}

    def _find_tangents(self, joint: Joint) -> None:
        """Gather the ends at a joint that continue one another; on a turntable each stands alone."""
        follow: dict[LineEnd, list[LineEnd]] = {end: [] for end in joint.ends}
        for one, other in joint.tangents:
            follow[one].append(other)
            follow[other].append(one)
        for first in joint.ends:
            if first in self.on:
                continue
            tangent = _Tangent(joint.name, [first])
            self.on[first] = (len(self.tangents), 1)
            for end in tangent.ends:  # grows as it is walked
                for other in follow[end]:
                    if other not in self.on:
                        self.on[other] = (len(self.tangents), -self.on[end][1])
                        tangent.ends.append(other)
            tangent.ends.sort(key=joint.ends.index)
            self.tangents.append(tangent)

    def _whole(self, line: str) -> Leg:
        leg = Leg(0j, 0.0)
        for track in self.plan.lines[line].tracks:
            leg = leg.then(self.legs[track.id])
        return leg

    def leaving(self, end: LineEnd) -> float:
        """Return the heading in which a line end leaves its joint."""
        number, way = self.on[end]
        return self.tangents[number].heading + (0.0 if way == 1 else math.pi)

    def _far_end(self, end: LineEnd) -> tuple[LineEnd, complex, float]:
        """Return the other end of a line reached from one, where it comes to lie, and how it leaves there."""
        heading, place = self.leaving(end), self.tangents[self.on[end][0]].place
        leg = self._line_legs[end.line]
        if end.end == "from":
            return LineEnd(end.line, "to"), place + leg.chord * cmath.exp(1j * heading), heading + leg.turn + math.pi
        heading += math.pi - leg.turn
        return LineEnd(end.line, "from"), place - leg.chord * cmath.exp(1j * heading), heading

    def start(self, end: LineEnd, pose: Pose) -> None:
        """Place one line end and all that can be reached from it."""
        root, _ = self.on[end]
        self._place(root, end, complex(pose.x, pose.y), pose.heading)
        self._spread(deque([root]))

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
                place, heading = complex(line.place.x, line.place.y), line.place.heading
                if side == "to":
                    leg = self._line_legs[line.name]
                    place, heading = place + leg.chord * cmath.exp(1j * heading), heading + leg.turn + math.pi
                end = LineEnd(line.name, side)
                number, _ = self.on[end]
                tangent = self.tangents[number]
                if tangent.frame < 0:
                    self._place(number, end, place, heading)
                    tangent.line = line.name
                    continue
                angle = math.remainder(heading - self.leaving(end), math.tau)
                self._record((tangent.line, line.name), number, abs(place - tangent.place), angle, stated=True)
        self._spread(deque(number for number, tangent in enumerate(self.tangents) if tangent.frame == self.frames))

    def _spread(self, queue: deque[int]) -> None:
        """Place what can be reached from tangents that have their place, nearest by count of lines first."""
        while queue:
            here = queue.popleft()
            for near in self.tangents[here].ends:
                if near.line in self._walked:
                    continue
                self._walked.add(near.line)
                far, place, heading = self._far_end(near)
                there, _ = self.on[far]
                tangent = self.tangents[there]
                if tangent.frame == self.frames:
                    angle = math.remainder(heading - self.leaving(far), math.tau)
                    self._close(here, there, abs(place - tangent.place), angle, far)
                    continue
                self._place(there, far, place, heading)
                tangent.parent, tangent.line, tangent.depth = here, near.line, self.tangents[here].depth + 1
                tangent.entered = far
                queue.append(there)

    def next_frame(self) -> None:
        """Begin a frame of its own with what is placed next."""
        self.frames += 1

    def placed(self, end: LineEnd) -> bool:
        """Return whether a line end has its place."""
        return self.tangents[self.on[end][0]].frame >= 0

    def _place(self, number: int, end: LineEnd, place: complex, heading: float) -> None:
        tangent = self.tangents[number]
        tangent.frame, tangent.place = self.frames, place
        tangent.heading = heading if self.on[end][1] == 1 else heading + math.pi

    def _close(self, one: int, other: int, distance: float, angle: float | None, far: LineEnd | None = None) -> None:
        """Record the figure made by a line, or by a crossing, and the ways by which its two ends were reached."""
        up: list[LineEnd] = []
        down: list[LineEnd] = []
        stated: list[str] = []
        at = other
        while one != other:
            first, second = self.tangents[one], self.tangents[other]
            if first.parent < 0 and second.parent < 0:
                stated = [first.line, second.line]
                break
            if first.depth >= second.depth:
                assert first.entered is not None
                up.append(first.entered)
                one = first.parent
            else:
                assert second.entered is not None
                down.append(second.entered)
                other = second.parent
        # from where the ways meet to the one end of the closing line, over it, and back by the other way
        entered = [*reversed(up), *([far] if far else []), *(_far(end) for end in down)]
        steps = () if stated or far is None else tuple(self._steps(one, entered))
        lines = (*stated, *(end.line for end in reversed(entered)))
        self._record(lines, at, distance, angle, steps, stated=bool(stated))

    def _steps(self, root: int, entered: Sequence[LineEnd]) -> Iterator[Step]:
        """Yield the walk over lines by the ends by which each is left, from a tangent and back to it, along it."""
        way = 1
        for end in entered:
            leaves = _far(end)
            yield Step(end.line, leaves.end == "from", self.on[leaves][1] != way)
            way = -self.on[end][1]
        assert self.on[entered[-1]][0] == root
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
                    self._close(other, number, abs(tangent.place - self.tangents[other].place), None)

    def frame(self, end: LineEnd) -> int:
        """Return the frame of a line end."""
        return self.tangents[self.on[end][0]].frame

    def pose(self, end: LineEnd) -> Pose:
        """Return where a line end lies and the heading in which it leaves."""
        place = self.tangents[self.on[end][0]].place
        return Pose(place.real, place.imag, math.remainder(self.leaving(end), math.tau))

    def along(self, line: str) -> Iterator[tuple[str, Pose]]:
        """Yield every track of a line with where it starts."""
        pose = self.plan.lines[line].place or self.pose(LineEnd(line, "from"))
        place, heading = complex(pose.x, pose.y), pose.heading
        for track in self.plan.lines[line].tracks:
            yield track.id, Pose(place.real, place.imag, math.remainder(heading, math.tau))
            leg = self.legs[track.id]
            place += leg.chord * cmath.exp(1j * heading)
            heading += leg.turn


def _far(end: LineEnd) -> LineEnd:
    return LineEnd(end.line, "from" if end.end == "to" else "to")


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

    Parameters
    ----------
    plan
        The plan.
    sections
        The sections of every track, by its id.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> from gradehaul.track.curvature import chains
    >>> from gradehaul.track.curvature import sections
    >>> plan = read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead.A = 0
    ... map = { joint = "A", x = 1, y = 2, heading = 90 }
    ... [line.Main]
    ... from = "A"
    ... to = "B"
    ... track = [{ straight = 3 }, { straight = 1 }]
    ... ''')
    >>> found = map_positions(plan, sections(plan, chains(plan)))
    >>> [round(value, 6) for value in found.tracks["Main:2"].start]
    [1.0, 5.0, 1.570796]
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
        joints[name] = JointPosition(name, survey.frame(end), survey.pose(end))
    return Positions(tracks, joints, tuple(survey.closures))


def end_poses(plan: Plan, legs: Mapping[str, Leg]) -> dict[LineEnd, tuple[int, Pose]]:
    """Return the frame of every line end, where it lies and how it leaves, by the lines whose tracks all have legs.

    A joint that only other lines reach lies in a frame of its own.
    """
    survey = _walked(plan, legs)
    return {end: (survey.frame(end), survey.pose(end)) for end in survey.on}


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
        survey.next_frame()
    for end in (LineEnd(line, side) for side in _SIDES for line in plan.lines):
        if not survey.placed(end):  # a `to` only where its line is left out of the walk
            survey.start(end, Pose(0.0, 0.0, 0.0))
            survey.next_frame()
    survey.close_crossings()
    return survey
