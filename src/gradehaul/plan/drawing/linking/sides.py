"""Track that begins or parts on the side of another: where the other is cut."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from gradehaul.plan.drawing.elements import cut, micro, order, orders, turned
from gradehaul.plan.drawing.linking.duplicates import alike, shared
from gradehaul.plan.drawing.linking.projection import Index, Projection, indexed
from gradehaul.plan.drawing.linking.ways import CROWD, End, Ways, continuing
from gradehaul.plan.drawing.records import Element, Spot


class Tolerance(NamedTuple):
    """What still counts as one: places within `snap`, m; directions within `kink`, radians; heights, m."""

    snap: float
    kink: float
    level: float


class Cut(NamedTuple):
    """A cut of a way at a distance along it, m, at a node."""

    way: int
    along: float
    node: int


def lone_ends(ways: Ways, kink: float) -> list[End]:
    """Return the ends from which no other track goes on, in order."""
    found: list[End] = []
    for _, ends in ways.nodes():
        if len(ends) == 1:
            found.append(ends[0])
        elif len(ends) == 2:
            if continuing(ways, ends[0], ends[1]) > kink:
                found.extend(ends)
        elif len(ends) <= CROWD:
            found.extend(end for end in ends if not any(continuing(ways, end, o) <= kink for o in ends if o != end))
    places = orders([ways.spot(end) for end in found])
    return [end for _, end in sorted(zip(places, found, strict=True))]


def cuts_at_ends(ways: Ways, tolerance: Tolerance) -> tuple[list[Cut], dict[End, Projection]]:
    """Return the cuts where lone ends lie on the side of other track as tangents, and the ends that lie there askew.

    Of several tracks that an end touches it takes the one it lies against best.
    """
    index = indexed(ways, tolerance.snap)
    ends = lone_ends(ways, tolerance.kink)
    spots, headings = [ways.spot(end) for end in ends], [ways.heading(end) for end in ends]
    near = index.near(spots, tolerance.snap)
    near = near.only(near.from_end() > tolerance.snap / 2)  # most are the ends' own tracks
    found: dict[int, list[Projection]] = {}
    for which, one in index.project(near, spots, headings, tolerance.snap, tolerance.level):
        end = ends[which]
        if not _at_end(index, one, end, ways.node_at(end), tolerance.snap):
            found.setdefault(which, []).append(one)
    cuts: list[Cut] = []
    askew: dict[End, Projection] = {}
    for which, sides in sorted(found.items()):
        end = ends[which]
        node = ways.node_at(end)
        best = min(sides, key=lambda one: _misfit(one, tolerance))
        if best.turn <= tolerance.kink:
            cuts.append(Cut(best.way, best.along, node))
        else:
            askew[end] = best
    return cuts, askew


def _misfit(one: Projection, tolerance: Tolerance) -> tuple[int, object]:
    worth = one.off / tolerance.snap + 2 * one.turn / tolerance.kink
    return micro(worth), (one.element.handle, one.element.layer, order(one.element.start), order(one.element.end))


def _at_end(index: Index, one: Projection, end: End, node: int, snap: float) -> bool:
    """Tell whether a place is no side: the end itself, or the end of a way, that meets this one or just misses it."""
    way = index.ways.all[one.way]
    for side, distance in ((0, one.along), (1, index.length[one.way] - one.along)):
        same = index.ways.find(way.nodes[side]) == node or (one.way, side) == end
        if distance <= (3 if same else 1) * snap:
            return True
    return False


def apply(ways: Ways, cuts: Iterable[Cut], snap: float) -> None:
    """Cut ways; cuts within `snap` along one way, or of a joint of its elements, are one, and their nodes too."""
    wanted: dict[int, list[tuple[float, int]]] = {}
    for way, along, node in cuts:
        wanted.setdefault(way, []).append((along, node))
    for way, places in wanted.items():
        inner, passed = [], 0.0
        for element in ways.all[way].elements:
            passed += element.length
            inner.append(passed)
        total = inner.pop()
        done: list[tuple[float, int]] = []
        number = 0
        for raw, node in sorted(places):
            along = raw
            while number < len(inner) and inner[number] < along - snap:
                number += 1
            beside_it = [joint for joint in inner[number : number + 2] if abs(joint - along) <= snap]
            if beside_it:
                along = min(beside_it, key=lambda joint: abs(joint - raw))
            if done and along - done[-1][0] <= snap:
                ways.join(done[-1][1], node)
            elif along <= snap or total - along <= snap:
                ways.join(ways.all[way].nodes[0 if along <= snap else 1], node)
            else:
                done.append((along, node))
        if done:
            ways.split(way, done)


def cuts_at_changes(index: Index, tolerance: Tolerance) -> list[Cut]:
    """Return the cuts where one track changes its curvature on the side of another and runs on along it.

    So begin and end the stretches that two routes share where neither has an end.
    """
    ways = index.ways
    steps = [
        number
        for number in range(1, len(index.elements))
        if index.owner[number] == index.owner[number - 1]
        and not alike(index.elements[number].curvature, index.elements[number - 1].curvature)
    ]
    starts = [index.elements[number] for number in steps]
    spots, headings = [element.start for element in starts], [element.heading for element in starts]
    near = index.near(spots, tolerance.snap)
    of_step = np.array(steps, dtype=np.int64)[near.which]
    own_way, own_at = np.array(index.owner, dtype=np.int64)[of_step], np.array(index.before)[of_step]
    near = near.only((near.way != own_way) | (np.abs(near.along - own_at) > 2 * tolerance.snap))
    if not len(near.which):
        return []
    ahead, behind = _runs(index)
    cuts: list[Cut] = []
    for which, one in index.project(near, spots, headings, tolerance.snap, tolerance.level):
        number = steps[which]
        way, at = index.owner[number], index.before[number]
        if one.turn > tolerance.kink or (one.way == way and abs(one.along - at) <= 3 * tolerance.snap):
            continue
        own = (turned(index.elements[number - 1]), behind[number - 1]), (index.elements[number], ahead[number])
        pieces = _pieces(one, ahead[one.number], behind[one.number])
        if any(_runs_along(mine, theirs, tolerance) for mine in own for theirs in pieces):
            node = ways.node()
            cuts.extend((Cut(way, at, node), Cut(one.way, one.along, node)))
    return cuts


def _runs(index: Index) -> tuple[list[float], list[float]]:
    """Return how far the curvature of every element lasts, m, from its start on and from its end back."""
    count = len(index.elements)
    ahead = [element.length for element in index.elements]
    behind = list(ahead)

    def lasts(one: int, other: int) -> bool:
        same = index.owner[one] == index.owner[other]
        return same and alike(index.elements[one].curvature, index.elements[other].curvature)

    for number in range(1, count):
        if lasts(number, number - 1):
            behind[number] += behind[number - 1]
    for number in range(count - 2, -1, -1):
        if lasts(number, number + 1):
            ahead[number] += ahead[number + 1]
    return ahead, behind


def _pieces(one: Projection, ahead: float, behind: float) -> list[tuple[Element, float]]:
    """Return the parts of an element that leave a place on it, each with how far its curvature lasts, m."""
    if one.on_element <= 0:
        return [(one.element, ahead)]
    if one.on_element >= one.element.length:
        return [(turned(one.element), behind)]
    first, rest = cut(one.element, one.on_element)
    return [(turned(first), behind - rest.length), (rest, ahead - first.length)]


def _runs_along(mine: tuple[Element, float], theirs: tuple[Element, float], tolerance: Tolerance) -> bool:
    """Tell whether two elements that leave one place are one for a stretch worth the name."""
    found = shared(mine[0], theirs[0], mine[1], theirs[1], *tolerance)
    return found is not None and min(found) > 4 * tolerance.snap


def cut_at_marks(index: Index, marks: Sequence[Spot], tolerance: Tolerance) -> tuple[list[int], int]:
    """Cut the ways of an index at marks that lie on them, at a plain joint each.

    Parameters
    ----------
    index
        The ways as they are now.
    marks
        The points, m; one without a z marks the track that lies against it best.
    tolerance
        How far off the track a mark may lie, and how much higher or lower.

    Returns
    -------
        The nodes of the joints, and how many marks lie on no track. A mark at an end of a way needs no joint.
    """
    spots = sorted(marks, key=order)
    best: dict[int, tuple[int, Projection]] = {}
    near = index.near(spots, tolerance.snap)
    for which, one in index.project(near, spots, [0.0] * len(spots), tolerance.snap, tolerance.level):
        worth = micro(one.off)
        if which not in best or worth < best[which][0]:
            best[which] = worth, one
    cuts = [Cut(one.way, one.along, index.ways.node()) for _, (_, one) in sorted(best.items())]
    apply(index.ways, cuts, tolerance.snap)
    return [cut.node for cut in cuts], len(spots) - len(best)
