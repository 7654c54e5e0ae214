"""What of a linked drawing may be a slip of the hand: near misses, gaps closed, stray pieces."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from gradehaul.plan.drawing.elements import gap, level_with, micro, orders, place
from gradehaul.plan.drawing.linking.canonical_order import middle
from gradehaul.plan.drawing.linking.projection import Index, indexed
from gradehaul.plan.drawing.linking.sides import Tolerance
from gradehaul.plan.drawing.linking.ways import End, Ways, common_spot, continuing
from gradehaul.plan.drawing.nearness import Nearness, dot, near_pairs
from gradehaul.plan.drawing.records import Element, Fault, Linked, Spot
from gradehaul.plan.drawing.wording import gap_text, length_text
from gradehaul.quantities import describe

NEAR = 5.0
"""An end this many snaps from other track is a near miss."""
SMALL = 0.05
"""A part of the drawing is stray where it is shorter than this share of the largest."""


class _Miss(NamedTuple):
    """How far off the nearest other track is, m, where it is, and its end, None for its side."""

    off: float
    spot: Spot
    end: End | None


def near_misses(ways: Ways, free: Collection[End], tolerance: Tolerance, index: Index, unit: str) -> list[Fault]:
    """Return a fault for every free end that just misses other track, told once where two ends miss one another.

    `index` is the last one made of the ways, `unit` that of lengths.
    """
    at: dict[tuple[int, int, int], list[End]] = {}
    every = list(free)
    for end, place_ in zip(every, orders([ways.spot(end) for end in every]), strict=True):
        at.setdefault(place_, []).append(end)
    # Ends left unjoined at one spot are told already.
    ends = [one[0] for _, one in sorted(at.items()) if len(one) == 1]
    nearest = _nearest(ways, ends, tolerance, index)
    faults: list[Fault] = []
    told: set[End] = set()
    for end in ends:
        miss = nearest.get(end)
        if miss is None or miss.off <= tolerance.snap or end in told:
            continue
        spot, what = ways.spot(end), "another track"
        if miss.end is not None:
            what = "the end of another"
            spot = common_spot([spot, miss.spot])
            if nearest[miss.end].end == end:
                told.add(miss.end)
        element = ways.outward(end)
        text = f"track ends {length_text(miss.off, unit)} from {what}"
        faults.append(Fault("near-miss", text, spot, element.handle, element.layer, weight=tolerance.snap / miss.off))
    return faults


def level_misses(ways: Ways, free: Collection[End], tolerance: Tolerance, unit: str) -> list[Fault]:
    """Return a fault for free ends that meet in plan and as tangents, but not in height."""
    ends = sorted(free)
    spots = [ways.spot(end) for end in ends]
    faults: list[Fault] = []
    for one, other in near_pairs(spots, tolerance.snap).tolist():
        low, high = sorted((spots[one].z or 0.0, spots[other].z or 0.0))
        known = spots[one].z is not None and spots[other].z is not None
        if (
            not known
            or ends[one].way == ends[other].way
            or level_with(low, high, tolerance.level)
            or continuing(ways, ends[one], ends[other]) > tolerance.kink
        ):
            continue
        heights = f"{length_text(low, unit)} and {length_text(high, unit)}"
        text = f"ends meet in plan, but at heights of {heights}: left unjoined"
        element = ways.outward(ends[one])
        faults.append(Fault("level-miss", text, spots[one], element.handle, element.layer, weight=high - low))
    return faults


def _nearest(ways: Ways, ends: Sequence[End], tolerance: Tolerance, index: Index) -> dict[End, _Miss]:
    """Return for every end the nearest other track within reach, an end rather than a side that is as near."""
    spots = [ways.spot(end) for end in ends]
    reach = NEAR * tolerance.snap
    nearest: dict[End, _Miss] = {}

    def take(end: End, miss: _Miss) -> None:
        if end not in nearest or miss.off < nearest[end].off - 1e-6:
            nearest[end] = miss

    for one, other in near_pairs(spots, reach).tolist():
        if level_with(spots[one].z, spots[other].z, tolerance.level):
            off = gap(spots[one], spots[other])
            take(ends[one], _Miss(off, spots[other], ends[other]))
            take(ends[other], _Miss(off, spots[one], ends[one]))
    index = indexed(ways, tolerance.snap, index)
    near = index.near(spots, reach)
    own = np.array(ends, dtype=np.int64).reshape(-1, 2)[near.which]
    passed = np.where(own[:, 1] == 0, near.along, near.length - near.along)
    near = near.only((near.way != own[:, 0]) | (passed > 3 * reach))
    headings = [0.0] * len(spots)
    for which, one in index.project(near, spots, headings, reach, tolerance.level):
        end = ends[which]
        since = one.along if end.side == 0 else index.length[one.way] - one.along
        if one.way != end.way or since > 4 * reach:
            take(end, _Miss(one.off, place(one.element, one.on_element), None))
    return nearest


def strays(ways: Ways, unit: str) -> list[Fault]:
    """Return a fault for every part of the drawing that meets nothing and is small against the largest part."""
    group: dict[int, int] = {}

    def find(node: int) -> int:
        while group.setdefault(node, node) != node:
            group[node] = group[group[node]]
            node = group[node]
        return node

    for way in ways.all.values():
        one, other = (find(ways.find(node)) for node in way.nodes)
        group[other] = one
    parts: dict[int, list[int]] = {}
    for number, way in ways.all.items():
        parts.setdefault(find(ways.find(way.nodes[0])), []).append(number)
    lengths = {part: sum(ways.all[number].length for number in numbers) for part, numbers in parts.items()}
    largest = max(lengths.values(), default=0.0)
    faults: list[Fault] = []
    for part, numbers in parts.items():
        if lengths[part] >= SMALL * largest:
            continue
        longest = max((ways.all[number] for number in numbers), key=lambda way: micro(way.length))
        spot = middle(longest.elements)
        first = longest.elements[0]
        text = f"{length_text(lengths[part], unit)} of track meets no other"
        faults.append(Fault("stray", text, spot, first.handle, first.layer, weight=lengths[part]))
    return faults


def gap_fault(spot: Spot, off: float, element: Element, unit: str) -> Fault:
    """Return the fault of ends that were drawn apart and meet at one spot all the same."""
    return Fault("gap", gap_text(off, unit), spot, element.handle, element.layer, weight=off)


def gaps(elements: Sequence[Element], snap: float, unit: str) -> list[Fault]:
    """Return the faults of elements in order that are drawn apart by more than a tenth of `snap`."""
    found: list[Fault] = []
    for before, after in pairwise(elements):
        off = gap(before.end, after.start)
        if off > snap / 10:
            found.append(gap_fault(before.end, off, after, unit))
    return found


UNCERTAIN = 0.01
"""A fitted radius whose standard deviation is more than this share of it is told."""


def kinks_left(faults: Sequence[Fault], linked: Linked, snap: float) -> list[Fault]:
    """Return faults of the fitting without the kinks where linking found a turnout or a crossing.

    A loop drawn in one stroke comes back to its beginning from the other side: that is a turnout, whose ends linking
    has judged by their tangents.
    """
    kinks = [number for number, fault in enumerate(faults) if fault.code == "kink" and fault.spot is not None]
    joints = [joint.spot for joint in linked.joints if joint.kind in {"turnout", "crossing"}]
    if not kinks or not joints:
        return list(faults)
    spots = [spot for number in kinks if (spot := faults[number].spot) is not None]
    near = Nearness([dot(joint) for joint in joints], snap / 10).near(spots, 2 * snap).tolist()
    gone = {kinks[row] for row, joint in near if gap(spots[row], joints[joint]) <= 2 * snap}
    return [fault for number, fault in enumerate(faults) if number not in gone]


def uncertain_radii(linked: Linked, unit: str) -> list[Fault]:
    """Return a fault for every radius that was fitted to so short an arc that it is not well known.

    Parameters
    ----------
    linked
        The network.
    unit
        The unit of lengths.
    """
    found: list[Fault] = []
    for line in linked.lines:
        for element in line.elements:
            spread = element.radius_spread
            if spread is None or element.curvature == 0:
                continue
            radius = 1 / abs(element.curvature)
            if spread <= UNCERTAIN * radius:
                continue
            told = describe(radius, "length", unit)
            turn = math.degrees(abs(element.curvature) * element.length)
            if math.isfinite(spread):
                off = describe(spread, "length", unit)
                text = f"an arc of {turn:.0f}° drawn as chords has a radius of {told}, give or take {off}"
            else:
                text = f"an arc of {turn:.0f}° drawn as chords has a radius of {told}, by three points alone"
            share = min(spread / radius, 1e3)
            found.append(
                Fault("radius", text, place(element, element.length / 2), element.handle, element.layer, weight=share)
            )
    return found
