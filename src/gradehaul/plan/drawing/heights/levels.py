"""Flat track drawn over itself on several levels, as a helix is in plan: told apart by the heights beside its ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from gradehaul.plan.drawing.elements import gap, halved, length_of, nearest, place, wrapped
from gradehaul.plan.drawing.elements import heading as heading_at
from gradehaul.plan.drawing.linking.canonical_order import beyond
from gradehaul.plan.drawing.nearness import Nearness, dot
from gradehaul.plan.drawing.records import Element, Label, Reach, Spot


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

    A reach is lifted where a text tells the height of both of its ends, and halfway along it lies over another such
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
        [_raised(reach, slopes[number]) if number in apart else reach for number, reach in enumerate(reaches)],
        [text for number, text in enumerate(texts) if number not in taken],
    )


class _Slope(NamedTuple):
    """The heights at the two ends of a reach, m, its length, m, and the texts that unit them, by number."""

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


def _raised(reach: Reach, slope: _Slope) -> Reach:
    elements: list[Element] = []
    passed = 0.0
    for element in reach.elements:
        low = slope.at(passed)
        passed += element.length
        elements.append(
            replace(element, start=element.start._replace(z=low), end=element.end._replace(z=slope.at(passed)))
        )
    return replace(reach, elements=tuple(elements))
