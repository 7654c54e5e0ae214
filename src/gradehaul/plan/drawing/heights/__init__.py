"""The heights that a drawing shows: of 3D track and of texts beside joints, held against those the plan gives."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import NamedTuple

import numpy as np

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.elements import length_of
from gradehaul.plan.drawing.records import Element, Fault, Label, Spot
from gradehaul.plan.drawing.wording import at_text
from gradehaul.plan.names import quoted
from gradehaul.quantities import describe

MISFIT = 0.002
"""Heights of one place that differ by more than this, m, contradict one another; rises round a loop likewise."""
SAME = 1e-5
"""Heights that differ by less than this, m, are one height, and a height this near to an even climb tells nothing."""
SAME_GRADE, SAME_RISE = 2e-4, 2e-6
"""Grades that differ by less than this are one; rises that differ by less, m, are no grade of their own."""
_LISTED = 6


class Told(NamedTuple):
    """A height, m, and what tells it."""

    height: float
    by: str


@dataclass(frozen=True, slots=True)
class Heights:
    """Heights of joints that the drawing tells and the plan does not, heights along lines, and what is noted."""

    joints: dict[int, float]
    along: list[tuple[tuple[float, float], ...]]
    """For each line, pairs of distance and height, m, between its ends."""
    faults: list[Fault]
    errors: list[DrawingError]


class Ground(NamedTuple):
    """What heights are read for: lines with their two joints, joints with their places and names, and the unit."""

    lines: Sequence[tuple[Sequence[Element], int, int]]
    spots: Sequence[Spot]
    names: Sequence[str]
    line_names: Sequence[str]
    unit: str


def read_heights(
    ground: Ground,
    texts: Sequence[tuple[Label, float]],
    given: Mapping[str, float],
    *,
    near: float,
    edge: float,
) -> Heights:
    """Return the heights of joints and along lines.

    A joint has the height that the plan gives, else that of the text nearest to it, else the mean z of the ends that
    meet there. Heights of one place that differ by up to 2 mm are noted, by more are an error each.

    Parameters
    ----------
    ground
        The network.
    texts
        Texts that are heights, m.
    given
        The plan's heights of joints by name, m.
    near
        How far from its joint a text may stand, m.
    edge
        A height so near to where the curvature changes, m, belongs there: what is fitted is known no better, and a
        change of grade a hair beside it would make a place of its own.
    """
    told = [[Told(given[name], "[railhead]")] if name in given else [] for name in ground.names]
    faults: list[Fault] = []
    _texts_at_joints(ground, texts, told, near, faults)
    conflicts: list[_Conflict] = []
    along = [_inner(ground, number, told, conflicts) for number in range(len(ground.lines))]
    heights = [_settled(ground, number, own, conflicts) for number, own in enumerate(told)]
    joints = {
        number: height
        for number, (name, height) in enumerate(zip(ground.names, heights, strict=True))
        if height is not None and name not in given
    }
    kept = [
        _thinned(_at_edges(pairs, elements, edge), heights[start], heights[finish], length_of(elements))
        for pairs, (elements, start, finish) in zip(along, ground.lines, strict=True)
    ]
    conflicts.sort(key=lambda conflict: -conflict.spread)
    faults += [conflict.fault(ground.unit) for conflict in conflicts if conflict.spread <= MISFIT]
    errors = [conflict.error(ground.unit) for conflict in conflicts if conflict.spread > MISFIT]
    return Heights(joints, kept, faults, errors)


class _Conflict(NamedTuple):
    """Heights of one place that differ: by how much, m, of what, by what they are told, and where it is."""

    spread: float
    subject: str
    heights: str
    spot: Spot

    def error(self, unit: str) -> DrawingError:
        return DrawingError(
            f"heights contradict one another by {describe(self.spread, 'length', unit)}",
            place=f"{self.subject} at {at_text(self.spot, unit)}",
            found=self.heights,
            write="the right one, or none of the others",
        )

    def fault(self, unit: str) -> Fault:
        text = f"{self.subject}: {self.heights} differ by {describe(self.spread, 'length', unit)}"
        return Fault("height-misfit", text, self.spot, weight=self.spread)


def _inner(
    ground: Ground,
    number: int,
    told: list[list[Told]],
    conflicts: list[_Conflict],
) -> list[tuple[float, float]]:
    """Return the heights along a line between its ends; those at its ends go to what is told of its joints."""
    elements, start, finish = ground.lines[number]
    if all(element.start.z is None and element.end.z is None for element in elements):
        return []
    name = ground.line_names[number]
    pairs = heights_along(elements)
    length = sum(element.length for element in elements)
    inner: list[tuple[float, float]] = []
    for distance, group in groupby(pairs, key=lambda pair: pair[0]):
        heights = [height for _, height in group]
        if distance in (0.0, length):
            own = told[finish if distance else start]
            own += [Told(height, f"z of line {quoted(name)}") for height in heights]
            continue
        spread = max(heights) - min(heights)
        if spread > SAME:
            listed = " and ".join(f"z {describe(height, 'length', ground.unit)}" for height in heights)
            conflicts.append(_Conflict(spread, f"line {quoted(name)}", listed, _spot_at(elements, distance)))
        inner.append((distance, math.fsum(heights) / len(heights)))
    return inner


def _settled(ground: Ground, number: int, told: Sequence[Told], conflicts: list[_Conflict]) -> float | None:
    """Return the height of a joint by what is told of it: the plan's or a text's, else the mean z of its lines."""
    if not told:
        return None
    heights = [each.height for each in told]
    spread = max(heights) - min(heights)
    if spread > SAME:
        subject = f"joint {quoted(ground.names[number])}"
        conflicts.append(_Conflict(spread, subject, _list_told(told, ground.unit), ground.spots[number]))
    first = told[0]
    return math.fsum(heights) / len(heights) if first.by.startswith("z ") else first.height


def _list_told(told: Sequence[Told], unit: str) -> str:
    parts = list(dict.fromkeys(f"{describe(each.height, 'length', unit)} ({each.by})" for each in told))
    more = f" and {len(parts) - _LISTED} more" if len(parts) > _LISTED else ""
    return ", ".join(parts[:_LISTED]) + more


def _spot_at(elements: Sequence[Element], distance: float) -> Spot:
    for element in elements:
        if distance <= element.length / 2:
            return element.start
        distance -= element.length
    return elements[-1].end


def _texts_at_joints(
    ground: Ground, texts: Sequence[tuple[Label, float]], told: list[list[Told]], near: float, faults: list[Fault]
) -> None:
    """Give each text that is a height to the joint nearest to it; unit of those that stand near none."""
    if not texts:
        return
    places = np.array([(spot.x, spot.y) for spot in ground.spots])
    found: list[tuple[float, str, int, float]] = []
    for label, height in texts:
        off = np.hypot(places[:, 0] - label.spot.x, places[:, 1] - label.spot.y)
        number = int(np.argmin(off))
        if off[number] <= near:
            found.append((float(off[number]), label.text, number, height))
        else:
            text = f"the height {quoted(label.text)} stands near no joint and is not used"
            faults.append(Fault("height-unused", text, label.spot, label.handle, label.layer, float(off[number])))
    for _, label_text, number, height in sorted(found):
        told[number].append(Told(height, f"the text {quoted(label_text)}"))


# Along a line


def heights_along(elements: Sequence[Element]) -> list[tuple[float, float]]:
    """Return distances and heights along a line, m, as its elements bring them along, rising, at both ends too."""
    found: list[tuple[float, float]] = []
    base = 0.0
    for element in elements:
        after = base + element.length
        if element.start.z is not None and element.end.z is not None:
            found.append((base, element.start.z))
            found += [(base + share * element.length, height) for share, height in element.inner]
            found.append((after, element.end.z))
        base = after
    return found


def _at_edges(
    pairs: Sequence[tuple[float, float]], elements: Sequence[Element], edge: float
) -> list[tuple[float, float]]:
    """Return heights along a line, those near to where two elements meet at that very place."""
    if not pairs:
        return []
    ends = np.cumsum([0.0, *(element.length for element in elements)])
    found: dict[float, list[float]] = {}
    for distance, height in pairs:
        nearest_end = float(ends[int(np.argmin(np.abs(ends - distance)))])
        place_ = nearest_end if abs(nearest_end - distance) <= edge else distance
        found.setdefault(place_, []).append(height)
    return [(distance, math.fsum(heights) / len(heights)) for distance, heights in sorted(found.items())]


def _thinned(
    pairs: Sequence[tuple[float, float]], low: float | None, high: float | None, length: float
) -> tuple[tuple[float, float], ...]:
    """Return the heights along a line without those that an even climb between the others shows as well.

    Each that is left out lies within 0.01 mm of the climb between those kept on both sides of it, and no grade between
    any two of them differs from it by more than `SAME_GRADE`. Where an end of the line has no height of its own, the
    first or last of the heights stays.
    """
    ends = [(0.0, low)] if low is not None else []
    table = np.array([*ends, *pairs, *([(length, high)] if high is not None else [])], dtype=float)
    if len(table) < 3:
        return tuple(pairs)
    keep = np.zeros(len(table), dtype=bool)
    keep[[0, -1]] = True
    stack = [(0, len(table) - 1)]
    while stack:
        first, last = stack.pop()
        if last - first < 2:
            continue
        step, rise = np.diff(table[first : last + 1], axis=0).T
        grade = (table[last, 1] - table[first, 1]) / (table[last, 0] - table[first, 0])
        beyond = rise - grade * step  # of each chord; summed, of each height
        off = np.abs(np.cumsum(beyond)[:-1])
        if off.max() > SAME or (np.abs(beyond) > np.maximum(SAME_GRADE * step, SAME_RISE)).any():
            middle = first + 1 + int(np.argmax(off))
            keep[middle] = True
            stack += [(first, middle), (middle, last)]
    return tuple((s, z) for s, z in table[keep].tolist() if 1e-6 < s < length - 1e-6)
