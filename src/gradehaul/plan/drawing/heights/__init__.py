"""The heights that a drawing shows: of 3D track and of texts beside it, held against those the plan gives."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import NamedTuple

import numpy as np

from gradehaul.errors import DrawingError, quoted
from gradehaul.plan.drawing.elements import beyond, length_of
from gradehaul.plan.drawing.heights.texts import MISFIT, Stand, along_lines, at_joints
from gradehaul.plan.drawing.records import DrawnLine, Element, Fault, FloatArray, Label, Linked, Source, Spot, Terms
from gradehaul.plan.drawing.wording import at_text, bare
from gradehaul.quantities import describe

SAME = 1e-5
"""Heights that differ by less than this, m, are one height, and one this near to an even climb is no news."""
SAME_GRADE, SAME_RISE = 2e-4, 2e-6
"""Grades that differ by less than this are one; rises that differ by less, m, are no grade of their own."""
_LISTED = 6


@dataclass(frozen=True, slots=True)
class Heights:
    """Heights of joints that the drawing shows and the plan does not, heights along lines, and what is noted."""

    joints: dict[int, float]
    along: list[tuple[tuple[float, float], ...]]
    """For each line, pairs of distance and height, m, between its ends."""
    faults: list[Fault]
    errors: list[DrawingError]


class _Conflict(NamedTuple):
    """Heights of one place that differ: by how much, m, of what, what shows them, and where it is."""

    spread: float
    subject: str
    listed: str
    spot: Spot
    above: float = math.nan
    """How much higher than all that is drawn there the plan has it, m; nan where that is no one figure."""


def read_heights(
    linked: Linked,
    joint_names: Sequence[str],
    line_names: Sequence[str],
    texts: Sequence[tuple[Label, float]],
    given: Mapping[str, float],
    stand: Stand,
    meetings: FloatArray,
    terms: Terms,
) -> Heights:
    """Return the heights of joints and along lines, from texts with their heights, m, and the z of track.

    A joint has the height that the plan gives, else that of the text nearest to it, else the mean z of the ends that
    meet there. A text beside no joint is a height along its line, as `along_lines` has it.
    Heights of one place that differ by up to 2 mm are noted, by more are an error each. A height along a line within
    `fit` of where the curvature changes belongs there: what is fitted is known no better, and a change of grade a hair
    beside it would make a place of its own.
    """
    if not texts and not given and all(map(is_flat, linked.lines)):
        return Heights({}, [()] * len(linked.lines), [], [])
    edge, unit = terms.fit, terms.plan_unit
    shown = [[Source(given[name], "[railhead]")] if name in given else [] for name in joint_names]
    others = at_joints(linked, texts, shown, terms.near)
    conflicts: list[_Conflict] = []
    along = [_inner(line, name, shown, conflicts, unit) for line, name in zip(linked.lines, line_names, strict=True)]
    by_text, faults = along_lines(linked, line_names, stand, others, meetings, terms)
    along = [sorted([*drawn, *written]) for drawn, written in zip(along, by_text, strict=True)]
    heights: list[float | None] = []
    for own, name, joint in zip(shown, joint_names, linked.joints, strict=True):
        every = [each.height for each in own]
        if every and max(every) - min(every) > SAME:
            parts = list(dict.fromkeys(f"{describe(each.height, 'length', unit)} ({each.by})" for each in own))
            more = f" and {len(parts) - _LISTED} more" if len(parts) > _LISTED else ""
            listed = ", ".join(parts[:_LISTED]) + more
            drawn = every[1:] if name in given else []
            above = every[0] - drawn[0] if drawn and max(drawn) - min(drawn) <= MISFIT else math.nan
            conflicts.append(_Conflict(max(every) - min(every), f"joint {quoted(name)}", listed, joint.spot, above))
        by_lines = own and own[0].by.startswith("z ")
        heights.append(math.fsum(every) / len(every) if by_lines else every[0] if every else None)
    kept = [
        _thinned(_at_edges(pairs, line.elements, edge), line.elements, heights[line.start], heights[line.finish])
        for pairs, line in zip(along, linked.lines, strict=True)
    ]
    errors: list[DrawingError] = []
    write = f"the right one, or none of the others{_or_raised(conflicts, terms)}"
    for spread, subject, listed, spot, _ in sorted(conflicts, key=lambda conflict: -conflict.spread):
        size = describe(spread, "length", unit)
        if spread <= MISFIT:
            faults.append(Fault("height-misfit", f"{subject}: {listed} differ by {size}", spot, weight=spread))
            continue
        wrong, place = f"heights contradict one another by {size}", f"{subject} at {at_text(spot, unit)}"
        errors.append(DrawingError(wrong, place=place, found=listed, write=write))
    pairs = enumerate(zip(joint_names, heights, strict=True))
    joints = {number: height for number, (name, height) in pairs if height is not None and name not in given}
    return Heights(joints, kept, faults, errors)


def _or_raised(conflicts: Sequence[_Conflict], terms: Terms) -> str:
    """Return the cure where the plan is everywhere higher than the drawing by the same, or lower; empty elsewhere."""
    above = [conflict.above for conflict in conflicts if conflict.spread > MISFIT]
    if not above or not max(above) - min(above) <= MISFIT:  # nan is no figure
        return ""
    if len(above) == 1 and abs(above[0]) <= terms.level:  # more likely a slip
        return ""
    figure = quoted(f"{bare(terms.zero + above[0], terms.plan_unit)} {terms.plan_unit}")
    return f"; or raise = {figure} under [drawing], if its heights count from another 0 than the plan's"


def _inner(
    line: DrawnLine, name: str, shown: list[list[Source]], conflicts: list[_Conflict], unit: str
) -> list[tuple[float, float]]:
    """Return the heights along a line between its ends; those at its ends go to what shows those of its joints."""
    if is_flat(line):
        return []
    pairs: list[tuple[float, float]] = []
    length = 0.0
    for element in line.elements:
        base, length = length, length + element.length
        if element.start.z is not None and element.end.z is not None:
            middle = [(base + share * element.length, height) for share, height in element.inner]
            pairs += [(base, element.start.z), *middle, (length, element.end.z)]
    inner: list[tuple[float, float]] = []
    for distance, group in groupby(pairs, key=lambda pair: pair[0]):
        heights = [height for _, height in group]
        if distance in (0.0, length):
            own = shown[line.finish if distance else line.start]
            own += [Source(height, f"z of line {quoted(name)}") for height in heights]
            continue
        spread = max(heights) - min(heights)
        if spread > SAME:
            listed = " and ".join(f"z {describe(height, 'length', unit)}" for height in heights)
            conflicts.append(_Conflict(spread, f"line {quoted(name)}", listed, beyond(line.elements, distance)))
        inner.append((distance, math.fsum(heights) / len(heights)))
    return inner


def is_flat(line: DrawnLine) -> bool:
    """Return whether a line has no height at all."""
    return all(element.start[2] is None and element.end[2] is None for element in line.elements)


# Along a line


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
        place = nearest_end if abs(nearest_end - distance) <= edge else distance
        found.setdefault(place, []).append(height)
    return [(distance, math.fsum(heights) / len(heights)) for distance, heights in sorted(found.items())]


def _thinned(
    pairs: Sequence[tuple[float, float]], elements: Sequence[Element], low: float | None, high: float | None
) -> tuple[tuple[float, float], ...]:
    """Return the heights along a line without those that an even climb between the others shows as well.

    Each that is left out lies within 0.01 mm of the climb between those kept on both sides of it, and no grade between
    any two of them differs from it by more than `SAME_GRADE`. Where an end of the line has no height of its own, the
    first or last of the heights stays.
    """
    if not pairs:
        return ()
    length = length_of(elements)
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
