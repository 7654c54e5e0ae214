"""A walk along a line or a route: railhead, curvature and joints by the distance from where it starts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradehaul.errors import RouteError, quoted
from gradehaul.haulage.answers.layout import Layout
from gradehaul.network.graph import Way
from gradehaul.plan.names import look_up
from gradehaul.plan.records import Track
from gradehaul.quantities.si import METER, Meters
from gradehaul.track.curvature import Section
from gradehaul.track.map.plane import LaidTracks, Pose, lay_out
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic, join

_NAMED = 6
"""Lines that are named where one must be."""


@dataclass(frozen=True, eq=False)
class Walk:
    """A line or a route in its direction, as `check` has it: vertical curves and easements included.

    `starts` has for each way where it starts, m, and the whole length behind the last, shape (ways + 1,).
    """

    layout: Layout
    name: str
    ways: tuple[Way, ...]
    starts: Annotated[FloatArray, METER]
    railhead: PiecewiseQuadratic
    sections: tuple[Section, ...]

    @property
    def length(self) -> Meters:
        """Length of the walk, m."""
        return float(self.starts[-1])

    @cached_property
    def joints(self) -> tuple[tuple[float, str], ...]:
        """Where it passes joints, m, and their names, in order."""
        met = self.layout.movements.joints_met(self.ways)
        return tuple((at, name) for at, name in zip(self.starts.tolist(), met, strict=True) if name is not None)

    @cached_property
    def again(self) -> tuple[tuple[float, float, float], ...]:
        """Where it runs over a track that it has run over before: from where to where, and where it first began, m."""
        first: dict[str, float] = {}
        ends = zip(self.ways, pairwise(self.starts.tolist()), strict=True)
        found = [(start, stop, first.setdefault(way.track, start)) for way, (start, stop) in ends]
        return tuple(each for each in found if each[2] < each[0])

    def track_at(self, at: float) -> Track:
        """Return the track at a place, the one before where two meet."""
        number = int(np.clip(np.searchsorted(self.starts, at - 1e-9) - 1, 0, len(self.ways) - 1))
        return self.layout.plan.tracks[self.ways[number].track]

    def joint_before(self, at: float) -> tuple[float, str]:
        """Return the last joint before a place: where it is, m, and its name."""
        passed = [joint for joint in self.joints if joint[0] <= at + 1e-6]
        return passed[-1] if passed else (0.0, "the start")

    @cached_property
    def _laid(self) -> LaidTracks:
        """The walk on the map, its headings as they turn on, and all distances from where it starts."""
        plan = self.layout.plan
        stated = [plan.lines[plan.tracks[way.track].line].place is not None for way in self.ways]
        stretches: list[list[Section]] = []
        starts: list[Pose] = []
        at: list[float] = []
        heading = 0.0
        for number, way in enumerate(self.ways):
            sections = _sections(self.layout, way)
            if not number or (stated[number] and stated[number - 1]):
                pose = self._pose(way)
                heading += math.remainder(pose.heading - heading, math.tau)
                stretches.append([])
                starts.append(pose._replace(heading=heading))
                at.append(float(self.starts[number]))
            stretches[-1] += sections
            heading += sum(0.5 * part.length * (part.first + part.last) for part in sections)
        laid = lay_out(stretches, starts)
        return laid._replace(distance=laid.distance + np.array(at)[laid.track])

    def _pose(self, way: Way) -> Pose:
        """Return where a way starts on the map; one that is run backward starts at the end of its track."""
        pose = self.layout.alignment.positions.tracks[way.track].start
        if way.forward:
            return pose
        laid = lay_out([self.layout.alignment.tracks[way.track].sections], [pose])
        end = laid.place[-1] + laid.leads[-1]
        heading = laid.heading[-1] + 0.5 * laid.parts.length[-1] * (laid.parts.first[-1] + laid.parts.last[-1])
        return Pose(end.real, end.imag, float(heading) + math.pi)

    def places(self, at: ArrayLike) -> tuple[NDArray[np.complex128], FloatArray, FloatArray]:
        """Return where places along the walk lie on the map, m, x + iy, the headings there, rad, and curvatures, 1/m.

        The walk is laid out from its own start, so that a loop that misses closing breaks nothing; lines of a drawing
        lie where they were drawn, so that it turns where they part at an angle.
        """
        where = np.atleast_1d(np.asarray(at, dtype=float))
        laid = self._laid
        part = np.clip(np.searchsorted(laid.distance, where, side="right") - 1, 0, laid.distance.size - 1)
        along = where - laid.distance[part]
        length, first, last = (column[part] for column in laid.parts)
        curvature = first + (last - first) * (along / length)
        heading = laid.heading[part] + 0.5 * along * (first + curvature)
        return laid.at(part, along), heading, curvature

    @cached_property
    def tangent_points(self) -> tuple[tuple[float, Section, Section], ...]:
        """Where the curvature changes from one section to the next: the place, m, and both sections."""
        ends = np.cumsum([section.length for section in self.sections])
        pairs = zip(ends.tolist(), pairwise(self.sections), strict=False)
        return tuple(
            (at, before, after)
            for at, (before, after) in pairs
            if abs(before.first - after.first) > 1e-9 or abs(before.last - after.last) > 1e-9
        )


def walk_along(layout: Layout, *, line: str | None = None, route: str | None = None) -> Walk:
    """Return the walk along a line, from its `from`, or along a route.

    The name of one of them is given; neither where the plan has only one line.
    """
    if route is not None:
        found = layout.route(route)
        if found.legs:
            legs = " or ".join(quoted(leg.name) for leg in found.legs)
            raise RouteError("this route is reversed on the way", place="--route", found=quoted(route), write=legs)
        return _walk(layout, found.name, found.ways)
    lines = layout.plan.lines
    if line is None and len(lines) == 1:
        line = next(iter(lines))
    if line is None:
        write = " or ".join(f"--line {quoted(name)}" for name in list(lines)[:_NAMED])
        raise RouteError("the plan has several lines", file=layout.plan.file, write=f"{write}, or --route")
    look_up(line, lines, "line", file=layout.plan.file, place="--line")
    return _along(layout, line)


def _along(layout: Layout, line: str) -> Walk:
    return _walk(layout, line, [Way(track.id, forward=True) for track in layout.plan.lines[line].tracks])


def _walk(layout: Layout, name: str, ways: Sequence[Way]) -> Walk:
    tracks = [layout.alignment.tracks[way.track] for way in ways]
    heights = [
        track.railhead if way.forward else track.railhead.reverse() for way, track in zip(ways, tracks, strict=True)
    ]
    sections = [section for way in ways for section in _sections(layout, way)]
    starts = np.concatenate([[0.0], np.cumsum([track.length for track in tracks])])
    return Walk(layout, name, tuple(ways), starts, join(heights), tuple(sections))


def _sections(layout: Layout, way: Way) -> Sequence[Section]:
    """Return the sections of a way in the direction in which it is run."""
    sections = layout.alignment.tracks[way.track].sections
    return sections if way.forward else [part.reversed() for part in reversed(sections)]
