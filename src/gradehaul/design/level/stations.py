"""Stations of a plan: the ends of its tracks with their heights, and which of these are free."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray

from gradehaul.network.route import Route
from gradehaul.plan.drawing.nearness import components
from gradehaul.plan.records import Plan
from gradehaul.quantities import describe
from gradehaul.quantities.si import METER, Meters
from gradehaul.track.heights.railhead import solve_railheads
from gradehaul.track.piecewise import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Stations:
    """Every place where a height may be given: a joint, or an end of track within a line; n of them.

    `lines` has for each line its stations and their distances from its `from`, m; `even` the heights without leveling,
    m, even between those that are given; `free` which stations have no height given; `ties` pairs of stations whose
    rise is fixed, with the rise.
    """

    joints: Mapping[str, int]
    lines: Mapping[str, tuple[NDArray[np.intp], FloatArray]]
    even: Annotated[FloatArray, METER]
    free: NDArray[np.bool_]
    ties: tuple[tuple[int, int, Meters], ...]
    plan: Plan

    @property
    def names(self) -> dict[int, str]:
        """What each station is called: its joint, or its line and its distance along that in the plan's unit."""
        found = {
            int(number): f"{line} at {describe(float(at), 'length', self.plan.unit)}"
            for line, (numbers, distance) in self.lines.items()
            for number, at in zip(numbers, distance, strict=True)
        }
        return {**found, **{number: name for name, number in self.joints.items()}}

    @property
    def hills(self) -> NDArray[np.intp]:
        """Which stations hang together through free ones, as the least number of them; a fixed one is on its own."""
        pairs = np.concatenate([np.array([numbers[:-1], numbers[1:]]) for numbers, _ in self.lines.values()], axis=1)
        return components(self.even.size, pairs[:, self.free[pairs].all(axis=0)].T)

    def along(self, route: Route) -> tuple[Any, FloatArray]:
        """Return the stations along a route in running order, and where they are on it, m."""
        tracks = self.plan.tracks
        order: list[int] = []
        places: list[float] = []
        gone = 0.0
        for way in route.ways:
            track = tracks[way.track]
            line = self.plan.lines[track.line]
            begin = sum(each.length for each in line.tracks[: track.number - 1])
            numbers, distance = self.lines[track.line]
            inside = (distance >= begin - 1e-9) & (distance <= begin + track.length + 1e-9)
            own, at = numbers[inside], np.clip(distance[inside] - begin, 0.0, track.length)
            if not way.forward:
                own, at = own[::-1], track.length - at[::-1]
            skip = 1 if order else 0
            order += own[skip:].tolist()
            places += (gone + at[skip:]).tolist()
            gone += track.length
        return np.array(order, dtype=np.intp), np.array(places)


def stations_of(plan: Plan) -> Stations:
    """Return the stations of a plan.

    Raises
    ------
    Problems
        Heights that contradict each other, or a piece of the network without any.
    """
    railheads = solve_railheads(plan)
    joints = {name: number for number, name in enumerate(plan.joints)}
    heights = [railheads.joints[name] for name in plan.joints]
    fixed = {joints[name] for name in plan.railhead}
    lines: dict[str, tuple[NDArray[np.intp], FloatArray]] = {}
    ties: list[tuple[int, int, float]] = []
    for line in plan.lines.values():
        found = railheads.lines[line.name]
        inner = np.arange(len(heights), len(heights) + found.distance.size - 2)
        numbers = np.concatenate([[joints[line.start]], inner, [joints[line.finish]]]).astype(np.intp)
        heights += found.railhead[1:-1].tolist()
        lines[line.name] = numbers, found.distance
        given = [where for where, _ in line.railhead_at]
        fixed |= {int(n) for n, at in zip(numbers, found.distance, strict=True) if np.isclose(given, at).any()}
        begin = 0.0
        for track in line.tracks:
            end = begin + track.length
            inside = np.flatnonzero((found.distance >= begin - 1e-9) & (found.distance <= end + 1e-9))
            if track.railhead is not None:
                fixed.add(int(numbers[inside[-1]]))
            if track.rise is not None or track.grade is not None:
                for one, two in pairwise(inside.tolist()):
                    rise = float(found.railhead[two] - found.railhead[one])
                    ties.append((int(numbers[one]), int(numbers[two]), rise))
            begin = end
    free = np.ones(len(heights), dtype=bool)
    free[sorted(fixed)] = False
    return Stations(joints, lines, np.array(heights), free, tuple(ties), plan)
