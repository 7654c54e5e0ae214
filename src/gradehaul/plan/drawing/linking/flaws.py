"""What of a linked drawing may be a slip of the hand: near misses, gaps closed, stray pieces."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise, takewhile

import numpy as np

from gradehaul.plan.components import components
from gradehaul.plan.drawing.elements import in_plan, level_with, middle, place, whole
from gradehaul.plan.drawing.linking.overlaps import source
from gradehaul.plan.drawing.linking.ways import Ways, common_spot, continuing
from gradehaul.plan.drawing.nearness import Nearness, pairs
from gradehaul.plan.drawing.records import Element, Fault, FloatArray, IntArray, Linked, Terms
from gradehaul.plan.drawing.wording import length_text
from gradehaul.quantities import describe

NEAR = 5.0
"""An end this many snaps from other track is a near miss."""
SMALL = 0.05
"""A part of the drawing is stray where it is shorter than this share of the largest."""
UNCERTAIN = 0.01
"""A fitted radius whose standard deviation is more than this share of it is named."""
EASED = math.radians(15)
"""An arc of an easement turns by no more, radians (our own choice); curves of several radii are drawn with more."""
SLIGHT = math.radians(1)
"""The radius of an arc that turns by less, radians, is not: next to nothing depends on it."""


def near_misses(ways: Ways, index: Nearness, free: IntArray, terms: Terms) -> list[Fault]:
    """Return a fault for every free end that just misses other track, one where two ends miss one another."""
    tips = ways.rows.tips
    places = whole(tips[free])
    _, own, often = np.unique(places, axis=0, return_inverse=True, return_counts=True)
    by_place = np.lexsort((free, *places.T[::-1]))
    # Ends left unjoined at one spot are named already.
    ends = free[by_place][often[own.ravel()][by_place] == 1]
    nearest = _nearest(tips, index, ends, terms)
    faults: list[Fault] = []
    named: set[int] = set()
    for end in (end for end in ends.tolist() if end in nearest):
        off, other = nearest[end]
        if off <= terms.snap or end in named:
            continue
        here, what = common_spot(tips[[end]]), "another track"
        if other >= 0:
            what = "the end of another"
            here = common_spot(tips[[end, other]])
            if nearest[other][1] == end:
                named.add(other)
        text = f"track ends {length_text(off, terms.plan_unit)} from {what}"
        faults.append(Fault("near-miss", text, here, *source(ways.outward(end)), weight=terms.snap / off))
    return faults


def _nearest(tips: FloatArray, index: Nearness, ends: IntArray, terms: Terms) -> dict[int, tuple[float, int]]:
    """Return for ends how far off the nearest other track is, m, and which of the ends is there, -1 for a side."""
    reach = NEAR * terms.snap
    near = index.beside(tips[ends], reach, level=terms.level)
    own = ends[near.which]
    since = np.where(own % 2 == 0, near.along, index.total[near.row] - near.along)
    near = near.only((near.row != own // 2) | (since > 4 * reach))
    rest = index.total[near.row] - near.along
    tip = 2 * near.row + (rest < near.along)
    tip = np.where((np.minimum(rest, near.along) < 1e-9) & np.isin(tip, ends), tip, -1)
    # the nearest comes last, an end after a side that is as near
    by_worth = np.lexsort((tip, -np.round(near.off, 6)))
    rows = (column[by_worth].tolist() for column in (ends[near.which], near.off, tip))
    return {end: (off, other) for end, off, other in zip(*rows, strict=True)}


def level_misses(ways: Ways, free: IntArray, terms: Terms) -> list[Fault]:
    """Return a fault for free ends that meet in plan and as tangents, but not in height."""
    tips = ways.rows.tips
    ends = free[~np.isnan(tips[free, 2])]
    faults: list[Fault] = []
    for one, other in zip(*(ends[each].tolist() for each in pairs(tips[ends, :2], terms.snap)), strict=True):
        low, high = sorted(tips[[one, other], 2].tolist())
        if one // 2 == other // 2 or level_with(low, high, terms.level):
            continue
        mine = ways.outward(one)
        if continuing(mine, ways.outward(other)) <= terms.kink:
            heights = f"{length_text(low, terms.plan_unit)} and {length_text(high, terms.plan_unit)}"
            text = f"ends meet in plan, but at heights of {heights}: left unjoined"
            faults.append(Fault("level-miss", text, mine.start, *source(mine), weight=high - low))
    return faults


def strays(ways: Ways, unit: str) -> list[Fault]:
    """Return a fault for every part of the drawing that meets nothing and is small against the largest part."""
    part, own = components(ways.fresh_node, ways.nodes)[ways.nodes[:, 0]], ways.rows.total
    length = np.bincount(part, own)
    longest_first = np.lexsort((-np.rint(own * 1e6), part))
    longest = longest_first[np.append(True, np.diff(part[longest_first]) > 0)]
    faults: list[Fault] = []
    for number in longest[length[part[longest]] < SMALL * length.max()].tolist():
        elements, size = ways.rows.row(number), float(length[part[number]])
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
    gone = {*np.array([*kinks], dtype=np.int64)[near].tolist()}
    return [fault for number, fault in enumerate(faults) if number not in gone]


def unsure_curves(linked: Linked, unit: str) -> list[Fault]:
    """Return a fault for each easement that was read as arcs, and for every other radius that is not well known."""
    eased = list(_easements(linked))
    arcs = {id(arc) for arcs, _ in eased for arc in arcs}
    found = [
        _uncertain_radius(element, unit)
        for line in linked.lines
        for element in line.elements
        if id(element) not in arcs
    ]
    return [*filter(None, found), *(_easement(arcs, curve, unit) for arcs, curve in eased)]


def _easements(linked: Linked) -> Iterator[tuple[list[Element], Element]]:
    """Yield each row of slight fitted arcs that lead, ever sharper, from a straight into a curve, and that curve."""
    for row in (way for line in linked.lines for way in (line.elements, line.elements[::-1])):
        for number, straight in enumerate(row):
            if straight.curvature:
                continue
            arcs = list(takewhile(lambda each: each.curvature and each.radius_spread is not None, row[number + 1 :]))
            bends = [each.curvature for each in arcs]
            last = next((n for n, (one, other) in enumerate(pairwise(bends)) if not 0 < one / other < 1), len(arcs) - 1)
            if last >= 1 and all(abs(each.curvature) * each.length <= EASED for each in arcs[:last]):
                yield arcs[:last], arcs[last]


def _easement(arcs: Sequence[Element], curve: Element, unit: str) -> Fault:
    radius, *others = (describe(1 / abs(each.curvature), "length", unit) for each in (curve, *arcs))
    text = f"an easement into a curve of {radius} is read as arcs of {' and '.join(others)}"
    spot = place(arcs[0], arcs[0].length / 2)
    return Fault("easement", text, spot, *source(arcs[0]), weight=abs(curve.curvature))


def _uncertain_radius(element: Element, unit: str) -> Fault | None:
    """Return a fault for a radius that was fitted to so short an arc that it is not well known."""
    turn, spread = abs(element.curvature) * element.length, element.radius_spread
    if spread is None or turn < SLIGHT or spread * abs(element.curvature) <= UNCERTAIN:
        return None
    radius = 1 / abs(element.curvature)
    known = f"give or take {describe(spread, 'length', unit)}" if math.isfinite(spread) else "by three points alone"
    text = f"an arc of {math.degrees(turn):.0f}° drawn as chords has a radius of {describe(radius, 'length', unit)}"
    spot = place(element, element.length / 2)
    return Fault("radius", f"{text}, {known}", spot, *source(element), weight=min(spread / radius, 1e3))
