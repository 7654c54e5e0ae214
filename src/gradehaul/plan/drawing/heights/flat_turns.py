"""Turns of a helix that may have been drawn flat: circles between tracks at different heights."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from gradehaul.plan.drawing.elements import place
from gradehaul.plan.drawing.heights.levels import LEAST_TURN
from gradehaul.plan.drawing.nearness import pairs, places_of
from gradehaul.plan.drawing.records import DrawnLine, Element, Fault, Linked, Terms
from gradehaul.plan.drawing.rows import Rows
from gradehaul.plan.drawing.wording import FLAT_HELIX, length_text

_ROUND = 0.99 * math.tau
"""Arcs of one circle that turn by more, radians, close it; drawn again by half as much, they are more than one turn."""


class Turns(NamedTuple):
    """Level arcs of one circle that close it: one of them, and by how much all turn, radians."""

    arc: Element
    turn: float


def level_turns(reaches: Rows, snap: float) -> list[Turns]:
    """Return the circles that level arcs close, each with all arcs drawn on it."""
    turns, low, high = np.abs(reaches.curvature) * reaches.length, reaches.start[:, 2], reaches.end[:, 2]
    level = (low == high) | (np.isnan(low) & np.isnan(high))
    level[list(reaches.inner)] = False
    arcs = np.flatnonzero(level & (turns >= LEAST_TURN))
    circle = places_of(reaches.circles(arcs), 2 * snap)
    turn = np.bincount(circle, turns[arcs], len(arcs)).tolist()
    last = dict(zip(circle.tolist(), arcs.tolist(), strict=True))
    return [Turns(reaches.element(arc), turn[each]) for each, arc in last.items() if turn[each] >= _ROUND]


def _rings(circles: Sequence[Turns], linked: Linked, snap: float) -> list[set[int]]:
    """Return for each circle the lines of which all elements lie on it, by their numbers."""
    found: list[set[int]] = [set() for _ in circles]
    rows, drawn = Rows.of(line.elements for line in linked.lines), Rows.of([circle.arc] for circle in circles)
    arcs = np.flatnonzero(np.abs(rows.curvature) >= 1e-9)
    wanted, there = drawn.circles(np.arange(len(circles))), rows.circles(arcs)
    one, other = pairs(wanted[:, :2], 2 * snap, there[:, :2])
    alike = np.abs(wanted[one, 2] - there[other, 2]) <= 2 * snap
    on, often = np.unique(np.column_stack((one, rows.owner[arcs[other]]))[alike], axis=0, return_counts=True)
    for circle, line in on[often == np.diff(rows.first)[on[:, 1]]].tolist():
        found[circle].add(line)
    return found


def flat_helices(
    circles: Sequence[Turns],
    linked: Linked,
    along: Sequence[Sequence[tuple[float, float]]],
    heights: Mapping[int, float],
    terms: Terms,
) -> list[Fault]:
    """Return a fault for each circle that joins tracks at different heights, or is drawn again where none is known.

    The `circles` are those of `level_turns`, `along` the heights along lines, `heights` those of joints by number, m.
    """
    if not circles:
        return []
    faults: list[Fault] = []
    in_space = any(element.start.z is not None for line in linked.lines for element in line.elements)
    for circle, ring in zip(circles, _rings(circles, linked, terms.snap), strict=True):
        joints = {joint for number in ring for joint in (linked.lines[number].start, linked.lines[number].finish)}
        met = [
            _nearest(linked, along, heights, ring, joint, end.line)
            for joint in sorted(joints)
            for end in linked.joints[joint].ends
            if end.line not in ring
        ]
        known = [height for height in met if height is not None]
        if in_space and None in met:
            known.append(terms.zero)  # as it was drawn
        if max(known) - min(known) <= terms.level if known else circle.turn < 1.5 * _ROUND:
            continue
        what = "level turns over one another"
        if known:
            low, high = (length_text(height, terms.plan_unit) for height in (min(known), max(known)))
            what = f"a level circle joins track at {low} and at {high}"
        text = f"{what}: may be a helix drawn flat: give each half turn its height, or write the helix as a line"
        spot = place(circle.arc, 0.0)
        faults.append(Fault(FLAT_HELIX, text, spot, circle.arc.handle, circle.arc.layer, circle.turn))
    return faults


def _nearest(
    linked: Linked,
    along: Sequence[Sequence[tuple[float, float]]],
    heights: Mapping[int, float],
    ring: set[int],
    joint: int,
    line: int,
) -> float | None:
    """Return the first height known from a joint of a ring outward, m, over a line first; None for none."""
    seen, waiting = {*ring}, [(joint, line)]
    while waiting:
        at, number = waiting.pop(0)
        if at in heights:
            return heights[at]
        if number in seen:
            continue
        seen.add(number)
        own: DrawnLine = linked.lines[number]
        if along[number]:
            return along[number][0 if own.start == at else -1][1]
        far = own.finish if own.start == at else own.start
        waiting += [(far, end.line) for end in linked.joints[far].ends]
    return None
