"""Track drawn over itself on several levels, as a helix is: told apart by the heights beside its ends or its turns."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from gradehaul.plan.drawing.elements import gap, halved, length_of, nearest, place, turned, wrapped
from gradehaul.plan.drawing.elements import heading as heading_at
from gradehaul.plan.drawing.heights import MISFIT
from gradehaul.plan.drawing.linking.lines import beyond
from gradehaul.plan.drawing.nearness import Nearness, dot, near_pairs
from gradehaul.plan.drawing.records import Element, Fault, Label, Reach, Spot

LEAST_TURN = math.radians(60)
"""A part of a turn curves by this much at the least (our own choice); straights over one another are bridges."""
STEEPEST = 0.15
"""Level pieces that differ more in height than this share of their length are no climb (our own choice)."""


# Levels by texts


class Lifted(NamedTuple):
    """Reaches, those drawn over one another with heights of their own, and the texts that are left."""

    reaches: list[Reach]
    texts: list[tuple[Label, float]]


def lifted(
    reaches: Sequence[Reach],
    texts: Sequence[tuple[Label, float]],
    *,
    near: float,
    snap: float,
    kink: float,
    level: float,
) -> Lifted:
    """Return reaches with those lifted to the heights of their ends that lie over one another on several levels.

    A reach is lifted where a text shows the height of both of its ends, and halfway along it lies over another such
    reach, or under it, higher or lower by more than `level` if both climb evenly. All other reaches stay as they are,
    so that a track drawn twice is still one track, and so do the texts that no lifted end takes.

    Parameters
    ----------
    reaches
        What was fitted to the strokes of the drawing.
    texts
        Texts that are heights, m.
    near
        How far from an end its text may stand, m.
    snap, kink
        How far off and at which angle, m and radians, reaches lie over one another still.
    level
        The least difference in height of two tracks, m.
    """
    slopes = _slopes(reaches, texts, near)
    if len(slopes) < 2:
        return Lifted(list(reaches), list(texts))
    apart = _apart(reaches, slopes, snap, kink, level)
    taken = {number for reach in apart for number in slopes[reach].texts}
    return Lifted(
        [
            _raised(reach, slopes[number].low, slopes[number].high) if number in apart else reach
            for number, reach in enumerate(reaches)
        ],
        [text for number, text in enumerate(texts) if number not in taken],
    )


class _Slope(NamedTuple):
    """The heights at the two ends of a reach, m, its length, m, and the texts that show them, by number."""

    low: float
    high: float
    length: float
    texts: tuple[int, int]

    def at(self, along: float) -> float:
        return self.low + (self.high - self.low) * along / self.length


def _slopes(reaches: Sequence[Reach], texts: Sequence[tuple[Label, float]], near: float) -> dict[int, _Slope]:
    """Return the slopes of flat reaches with a text beside each of their ends, by their numbers."""
    flat = [
        number
        for number, reach in enumerate(reaches)
        if not reach.closed and all(element.start.z is None and element.end.z is None for element in reach.elements)
    ]
    if not texts or not flat:
        return {}
    dots = [dot(label.spot) for label, _ in texts]
    ends = [spot for number in flat for spot in (reaches[number].elements[0].start, reaches[number].elements[-1].end)]
    best: dict[int, tuple[float, int]] = {}
    for end, text in Nearness(dots, near).near(ends, near).tolist():
        off = gap(ends[end], texts[text][0].spot)
        if off <= near:
            best[end] = min(best.get(end, (math.inf, 0)), (off, text))
    slopes: dict[int, _Slope] = {}
    for row, number in enumerate(flat):
        if 2 * row in best and 2 * row + 1 in best:
            one, other = best[2 * row][1], best[2 * row + 1][1]
            length = length_of(reaches[number].elements)
            slopes[number] = _Slope(texts[one][1], texts[other][1], length, (one, other))
    return slopes


def _apart(reaches: Sequence[Reach], slopes: dict[int, _Slope], snap: float, kink: float, level: float) -> set[int]:
    """Return the reaches that lie over others on another level, and those others."""
    parts: list[Element] = []
    owners: list[tuple[int, float]] = []
    numbers = list(slopes)
    middles: list[Spot] = []
    headings: list[float] = []
    for number in numbers:
        passed, half = 0.0, slopes[number].length / 2
        middles.append(beyond(reaches[number].elements, half))
        for element in reaches[number].elements:
            if passed <= half <= passed + element.length and len(headings) < len(middles):
                headings.append(heading_at(element, half - passed))
            for part in halved(element):
                parts.append(part)
                owners.append((number, passed))
                passed += part.length
    found: set[int] = set()
    for row, part in Nearness(parts, snap).near(middles, snap).tolist():
        (other, since), number, element = owners[part], numbers[row], parts[part]
        along = nearest(element, middles[row])
        off = gap(place(element, along), middles[row])
        turn = abs(wrapped(2 * (heading_at(element, along) - headings[row]))) / 2
        if other == number or off > snap or turn > kink:
            continue
        if abs(slopes[other].at(since + along) - slopes[number].at(slopes[number].length / 2)) > level:
            found |= {number, other}
    return found


# Turns by their own heights


class _End(NamedTuple):
    reach: int
    side: int

    @property
    def far(self) -> _End:
        return _End(self.reach, 1 - self.side)


def climbing(reaches: Sequence[Reach], *, snap: float, kink: float) -> tuple[list[Reach], list[Fault]]:
    """Return reaches, with the turns of a helix drawn as level arcs made the climb they stand for, and words on it.

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
        return list(reaches), _circles(reaches, snap)
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
    return raised, faults


def _level(reach: Reach) -> float | None:
    """Return the height of a reach that is part of a turn and level throughout, m; without z it lies at 0."""
    if reach.closed or abs(math.fsum(each.curvature * each.length for each in reach.elements)) < LEAST_TURN:
        return None
    heights = {spot.z for element in reach.elements for spot in (element.start, element.end)}
    heights |= {height for element in reach.elements for _, height in element.inner}
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
        tips = element.start._replace(z=start), element.end._replace(z=end)
        elements.append(replace(element, start=tips[0], end=tips[1], inner=()))
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
