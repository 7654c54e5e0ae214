"""Turns of a helix drawn level, one over another: arcs are read as one climb, circles are named."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from gradehaul.plan.drawing.elements import length_of, turned, wrapped
from gradehaul.plan.drawing.heights.along import MISFIT
from gradehaul.plan.drawing.nearness import near_pairs
from gradehaul.plan.drawing.records import Element, Fault, Reach

LEAST_TURN = math.radians(60)
"""A part of a turn curves by this much at the least (our own choice); straights over one another are bridges."""
STEEPEST = 0.15
"""Level pieces that differ more in height than this share of their length are no climb (our own choice)."""


class _End(NamedTuple):
    reach: int
    side: int

    @property
    def far(self) -> _End:
        return _End(self.reach, 1 - self.side)


class Climbs(NamedTuple):
    """Reaches, with level ones that follow one another at rising heights joined by even climbs, and words on them.

    `handles` are those of the climbs, which no longer lie at the heights of their strokes.
    """

    reaches: list[Reach]
    faults: list[Fault]
    handles: frozenset[str]


def climbing(reaches: Sequence[Reach], *, snap: float, kink: float) -> Climbs:
    """Return reaches with arcs at rising heights, as turns of a helix are drawn, as the climb that they stand for.

    A reach that is level throughout ends in plan where another one begins, as its tangent and higher or lower: both are
    brought to the height in the middle. From track that meets such reaches at their own height the climb is followed
    from each to the nearest in height. Circles over one another have no end to climb from, and are named.

    Parameters
    ----------
    reaches
        What was fitted to the strokes of the drawing; a reach at z = 0 throughout has no z in it.
    snap, kink
        How far apart ends that meet may be, m, and how much their directions may differ, radians.
    """
    level = {number: height for number, reach in enumerate(reaches) if (height := _level(reach)) is not None}
    if not any(level.values()):
        return Climbs(list(reaches), _circles(reaches, snap), frozenset())
    met, steps = _meetings(reaches, level, snap, kink)
    joints = _followed(level, met, steps)
    heights: dict[int, list[float]] = {}
    for one, other in joints:
        middle = (level[one.reach] + level[other.reach]) / 2
        for end in (one, other):
            heights.setdefault(end.reach, [level[end.reach]] * 2)[end.side] = middle
    raised = [_raised(reach, *heights[n]) if n in heights else reach for n, reach in enumerate(reaches)]
    faults = _circles(reaches, snap)
    if heights:
        number = min(heights, key=lambda each: level[each])
        first = reaches[number]
        text = f"{len(heights)} level pieces at rising heights, as turns of a helix, are read as one climb"
        faults.append(Fault("climb", text, first.elements[0].start, first.handle, first.layer, weight=len(heights)))
    return Climbs(raised, faults, frozenset(each.handle for n in heights for each in reaches[n].elements))


def _level(reach: Reach) -> float | None:
    """Return the height of a reach that is part of a turn and level throughout, m; without z it lies at 0."""
    if reach.closed or abs(math.fsum(each.curvature * each.length for each in reach.elements)) < LEAST_TURN:
        return None
    heights = {spot.z for element in reach.elements for spot in (element.start, element.end)}
    low, high = (bound(height or 0.0 for height in heights) for bound in (min, max))
    return low if high - low <= MISFIT / 10 else None


def _meetings(
    reaches: Sequence[Reach], level: dict[int, float], snap: float, kink: float
) -> tuple[set[_End], dict[_End, list[_End]]]:
    """Return the ends that meet track at their own height, and for each other the level ends higher or lower there."""
    ends = [_End(number, side) for number, reach in enumerate(reaches) if not reach.closed for side in (0, 1)]
    first = [
        reaches[end.reach].elements[0] if end.side == 0 else turned(reaches[end.reach].elements[-1]) for end in ends
    ]
    met: set[_End] = set()
    steps: dict[_End, list[_End]] = {}
    for one, other in near_pairs([element.start for element in first], snap).tolist():
        mine, theirs = ends[one], ends[other]
        if mine.reach == theirs.reach or abs(wrapped(first[one].heading - first[other].heading + math.pi)) > kink:
            continue
        rise = abs((first[one].start.z or 0.0) - (first[other].start.z or 0.0))
        if rise <= MISFIT:
            met |= {mine, theirs}
        elif mine.reach in level and theirs.reach in level:
            length = min(length_of(reaches[end.reach].elements) for end in (mine, theirs))
            if rise <= STEEPEST * length:
                steps.setdefault(mine, []).append(theirs)
                steps.setdefault(theirs, []).append(mine)
    return met, steps


def _outward(reach: Reach, side: int) -> Element:
    return reach.elements[0] if side == 0 else turned(reach.elements[-1])


def _followed(level: dict[int, float], met: set[_End], steps: dict[_End, list[_End]]) -> list[tuple[_End, _End]]:
    """Return the pairs of ends that one climb joins, followed from where it meets other track, else from its foot."""
    by_height = sorted(steps, key=lambda end: (level[end.reach], end))
    used: set[int] = set()
    joints: list[tuple[_End, _End]] = []
    for start in (*(end for end in by_height if end.far in met and end not in met), *by_height):
        if start.reach in used or start in met:
            continue
        end, rising = start, 0.0
        used.add(end.reach)
        while end not in met:
            here = level[end.reach]
            onward = [each for each in steps.get(end, ()) if each.reach not in used and each not in met]
            onward = [each for each in onward if (level[each.reach] - here) * rising >= 0]
            if not onward:
                break
            following = min(onward, key=lambda each: (abs(level[each.reach] - here), -level[each.reach], each))
            rising = level[following.reach] - here
            joints.append((end, following))
            used.add(following.reach)
            end = following.far
    return joints


def _raised(reach: Reach, low: float, high: float) -> Reach:
    total, passed, elements = length_of(reach.elements), 0.0, []
    for element in reach.elements:
        start = low + (high - low) * passed / total
        passed += element.length
        end = low + (high - low) * passed / total
        elements.append(replace(element, start=element.start._replace(z=start), end=element.end._replace(z=end)))
    return replace(reach, elements=tuple(elements))


def _circles(reaches: Sequence[Reach], snap: float) -> list[Fault]:
    """Return a fault for each place where circles lie over one another."""
    rings: dict[tuple[int, int, int], list[Reach]] = {}
    for reach in reaches:
        first = reach.elements[0]
        if reach.closed and first.curvature and all(each.curvature == first.curvature for each in reach.elements):
            radius = 1 / first.curvature
            x = first.start.x - radius * math.sin(first.heading)
            y = first.start.y + radius * math.cos(first.heading)
            rings.setdefault((round(x / snap), round(y / snap), round(abs(radius) / snap)), []).append(reach)
    cure = "draw the turns of a helix as a HELIX, as a 3D polyline, or as half-turn arcs at rising heights"
    return [
        Fault(
            "turns",
            f"{1 + len(more)} circles lie over one another: {cure}",
            ring.elements[0].start,
            ring.handle,
            ring.layer,
        )
        for ring, *more in rings.values()
        if more
    ]
