"""What of a linked drawing may be a slip of the hand: near misses, gaps closed, stray pieces."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Sequence

import numpy as np

from gradehaul.plan.drawing.elements import in_plan, level_with, micro, middle, order, place
from gradehaul.plan.drawing.linking.duplicates import source
from gradehaul.plan.drawing.linking.ways import Way, common_spot, continuing, fresh_node, outward, spot
from gradehaul.plan.drawing.nearness import Nearness, components, pairs
from gradehaul.plan.drawing.records import Fault, Linked, Terms
from gradehaul.plan.drawing.wording import length_text
from gradehaul.quantities import describe

NEAR = 5.0
"""An end this many snaps from other track is a near miss."""
SMALL = 0.05
"""A part of the drawing is stray where it is shorter than this share of the largest."""
UNCERTAIN = 0.01
"""A fitted radius whose standard deviation is more than this share of it is named."""
SLIGHT = math.radians(1)
"""The radius of an arc that turns by less, radians, is not: next to nothing depends on it."""


def near_misses(ways: Sequence[Way], index: Nearness, free: Collection[int], terms: Terms) -> list[Fault]:
    """Return a fault for every free end that just misses other track, one where two ends miss one another."""
    places = [order(spot(ways, end)) for end in free]
    often = Counter(places)
    # Ends left unjoined at one spot are named already.
    ends = [end for place_, end in sorted(zip(places, free, strict=True)) if often[place_] == 1]
    nearest = _nearest(ways, index, ends, terms)
    faults: list[Fault] = []
    named: set[int] = set()
    for end in ends:
        off, other = nearest.get(end, (0.0, -1))
        if off <= terms.snap or end in named:
            continue
        here, what = spot(ways, end), "another track"
        if other >= 0:
            what = "the end of another"
            here = common_spot([here, spot(ways, other)])
            if nearest[other][1] == end:
                named.add(other)
        text = f"track ends {length_text(off, terms.plan_unit)} from {what}"
        faults.append(Fault("near-miss", text, here, *source(outward(ways, end)), weight=terms.snap / off))
    return faults


def _nearest(ways: Sequence[Way], index: Nearness, ends: Sequence[int], terms: Terms) -> dict[int, tuple[float, int]]:
    """Return for ends how far off the nearest other track is, m, and which of the ends is there, -1 for a side."""
    reach, numbers = NEAR * terms.snap, np.array(ends, dtype=np.int64)
    near = index.beside([spot(ways, end) for end in ends], reach, level=terms.level)
    own = numbers[near.which]
    since = np.where(own % 2 == 0, near.along, index.length[near.row] - near.along)
    near = near.only((near.row != own // 2) | (since > 4 * reach))
    rest = index.length[near.row] - near.along
    tip = 2 * near.row + (rest < near.along)
    tip = np.where((np.minimum(rest, near.along) < 1e-9) & np.isin(tip, numbers), tip, -1)
    # the nearest comes last, an end after a side that is as near
    by_worth = np.lexsort((tip, -np.round(near.off, 6)))
    rows = (column[by_worth].tolist() for column in (numbers[near.which], near.off, tip))
    return {end: (off, other) for end, off, other in zip(*rows, strict=True)}


def level_misses(ways: Sequence[Way], free: Collection[int], terms: Terms) -> list[Fault]:
    """Return a fault for free ends that meet in plan and as tangents, but not in height."""
    ends = [end for end in sorted(free) if spot(ways, end).z is not None]
    spots = [spot(ways, end) for end in ends]
    faults: list[Fault] = []
    for one, other in zip(*(each.tolist() for each in pairs(in_plan(spots), terms.snap)), strict=True):
        low, high = sorted((spots[one].z or 0.0, spots[other].z or 0.0))
        apart = ends[one] // 2 != ends[other] // 2 and not level_with(low, high, terms.level)
        if apart and continuing(ways, ends[one], ends[other]) <= terms.kink:
            heights = f"{length_text(low, terms.plan_unit)} and {length_text(high, terms.plan_unit)}"
            text = f"ends meet in plan, but at heights of {heights}: left unjoined"
            own = source(outward(ways, ends[one]))
            faults.append(Fault("level-miss", text, spots[one], *own, weight=high - low))
    return faults


def strays(ways: Sequence[Way], index: Nearness, unit: str) -> list[Fault]:
    """Return a fault for every part of the drawing that meets nothing and is small against the largest part."""
    part = components(fresh_node(ways), [way[1:] for way in ways])[[way.start for way in ways]]
    length = np.bincount(part, index.length)
    faults: list[Fault] = []
    for each in np.flatnonzero((length > 0) & (length < SMALL * length.max())).tolist():
        longest = max(np.flatnonzero(part == each).tolist(), key=lambda number: micro(float(index.length[number])))
        elements, size = ways[longest].elements, float(length[each])
        text = f"{length_text(size, unit)} of track meets no other"
        faults.append(Fault("stray", text, middle(elements), *source(elements[0]), weight=size))
    return faults


def kinks_left(faults: Sequence[Fault], linked: Linked, snap: float) -> list[Fault]:
    """Return faults of the fitting without the kinks where linking found a turnout or a crossing.

    A loop drawn in one stroke comes back to its beginning from the other side: that is a turnout, whose ends linking
    has judged by their tangents.
    """
    kinks = {number: fault.spot for number, fault in enumerate(faults) if fault.code == "kink" and fault.spot}
    joints = [joint.spot for joint in linked.joints if joint.kind in {"turnout", "crossing"}]
    near, _ = pairs(in_plan(list(kinks.values())), 2 * snap, in_plan(joints))
    gone = {list(kinks)[row] for row in near.tolist()}
    return [fault for number, fault in enumerate(faults) if number not in gone]


def uncertain_radii(linked: Linked, unit: str) -> list[Fault]:
    """Return a fault for every radius that was fitted to so short an arc that it is not well known."""
    found: list[Fault] = []
    for element in (element for line in linked.lines for element in line.elements):
        turn, spread = abs(element.curvature) * element.length, element.radius_spread
        if spread is None or turn < SLIGHT or spread * abs(element.curvature) <= UNCERTAIN:
            continue
        radius = 1 / abs(element.curvature)
        known = f"give or take {describe(spread, 'length', unit)}" if math.isfinite(spread) else "by three points alone"
        text = f"an arc of {math.degrees(turn):.0f}° drawn as chords has a radius of {describe(radius, 'length', unit)}"
        spot = place(element, element.length / 2)
        found.append(Fault("radius", f"{text}, {known}", spot, *source(element), weight=min(spread / radius, 1e3)))
    return found
