"""Where ways are cut: where track begins on the side of another, or parts from another that it ran along."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from gradehaul.plan.drawing.elements import cut, micro, order, turned, wrapped
from gradehaul.plan.drawing.linking.duplicates import ALIKE, alike, run_together
from gradehaul.plan.drawing.linking.ways import CROWD, Cut, Way, ends_at, fresh_node, headings, outward, spot
from gradehaul.plan.drawing.nearness import Foot, IntArray, Nearness
from gradehaul.plan.drawing.records import Element, FloatArray, Spot, Terms


def _runs(index: Nearness) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return how far the curvature of each element lasts within its way, and after which elements it changes there.

    As distances from its start on and from its end back, m, shape (n,), and as numbers of elements.
    """
    curvature, length = index.table[:, 3:5].T
    one, other = curvature[:-1], curvature[1:]
    within = index.owner[1:] == index.owner[:-1]
    lasts = within & (np.abs(one - other) <= 1e-6 + ALIKE * np.maximum(np.abs(one), np.abs(other)))
    stops, end = np.append(~lasts, True), np.cumsum(length)
    run = np.cumsum(stops) - stops
    until = end[stops]
    return until[run] - end + length, end - np.append(0.0, until)[run], np.flatnonzero(within & ~lasts)


def side_cuts(ways: Sequence[Way], terms: Terms) -> tuple[list[Cut], dict[int, float]]:
    """Return the cuts of ways, and at which angle ends lie on the sides of others askew, radians, by end.

    An end from which no other track goes on cuts the track against which it lies best as a tangent, and what runs along
    this. All other ends and changes of curvature cut what runs along with the track there: so begin and end the
    stretches that two routes share.
    """
    index = Nearness([way.elements for way in ways])
    at = ends_at(ways, 2)
    crowds = {end for node in at.values() if len(node) > CROWD for end in node}
    ends = [end for end in range(2 * len(ways)) if end not in crowds]
    ahead, behind, changes = _runs(index)
    starts = [index.elements[number + 1] for number in changes.tolist()]
    spots = [*(spot(ways, end) for end in ends), *(element.start for element in starts)]
    away = headings(ways).tolist()
    onward = [*(away[end] for end in ends), *(element.heading for element in starts)]
    of = np.array(ends, dtype=np.int64)
    way = np.concatenate((of // 2, index.owner[changes]))
    along = np.concatenate((index.length[of // 2] * (of % 2), index.before[changes + 1]))
    near = index.beside(spots, terms.snap, onward, terms.level)
    apart = np.abs(near.along - along[near.which]) > 3 * terms.snap
    near = near.only((near.row != way[near.which]) | apart)
    first = np.searchsorted(index.owner, np.arange(len(ways) + 1))

    def leaving(which: int) -> list[tuple[Element, float]]:
        """Return the elements that leave a place, each with how far its curvature lasts; none at an end that is one."""
        if which >= len(ends):
            number = int(changes[which - len(ends)])
            return [(turned(index.elements[number]), behind[number]), (index.elements[number + 1], ahead[number + 1])]
        end = ends[which]
        others = at.get(ways[end // 2].node(end), ())
        if all(abs(wrapped(away[end] - away[other] + math.pi)) > terms.kink for other in others if other != end):
            return []
        return [(outward(ways, end), behind[first[end // 2 + 1] - 1] if end % 2 else ahead[first[end // 2]])]

    fresh = fresh_node(ways) - len(ends)
    cuts: list[Cut] = []
    askew: dict[int, float] = {}
    sides: dict[int, list[Foot]] = {}
    for foot in near.feet():
        which = foot.which
        node = ways[ends[which] // 2].node(ends[which]) if which < len(ends) else fresh + which
        mine = leaving(which)
        if not mine and not _at_end(ways[foot.row], float(index.length[foot.row]), foot, node, terms.snap):
            sides.setdefault(which, []).append(foot)
        elif mine and foot.turn <= terms.kink:
            pieces = _pieces(index.elements[foot.number], foot, ahead, behind)
            if any(run_together(*one, *other, terms) for one in mine for other in pieces):
                cuts += (Cut(int(way[which]), float(along[which]), node), Cut(foot.row, foot.along, node))
    for which, found in sides.items():
        best = min(found, key=lambda foot: _misfit(index.elements[foot.number], foot, terms))
        if best.turn > terms.kink:
            askew[ends[which]] = best.turn
            continue
        node, bend = ways[ends[which] // 2].node(ends[which]), abs(index.elements[best.number].curvature)
        same = [foot for foot in found if alike(abs(index.elements[foot.number].curvature), bend)]
        cuts += [Cut(foot.row, foot.along, node) for foot in same if foot.turn <= terms.kink]
    return cuts, askew


def _misfit(element: Element, foot: Foot, terms: Terms) -> tuple[object, ...]:
    worth = foot.off / terms.snap + 2 * foot.turn / terms.kink
    return micro(worth), element.handle, element.layer, order(element.start), order(element.end)


def _at_end(way: Way, length: float, foot: Foot, node: int, snap: float) -> bool:
    """Return whether a place is no side but the end of a way, that meets this one or just misses it."""
    ends = (way.start, foot.along), (way.finish, length - foot.along)
    return any(distance <= (3 if node == there else 1) * snap for there, distance in ends)


def _pieces(element: Element, foot: Foot, ahead: FloatArray, behind: FloatArray) -> list[tuple[Element, float]]:
    """Return the parts of an element that leave a place on it, each with how far its curvature lasts, m."""
    on, back = ahead[foot.number], behind[foot.number]
    if foot.on <= 0:
        return [(element, on)]
    if foot.on >= element.length:
        return [(turned(element), back)]
    first, rest = cut(element, foot.on)
    return [(turned(first), back - rest.length), (rest, on - first.length)]


def mark_cuts(ways: Sequence[Way], marks: Sequence[Spot], terms: Terms) -> tuple[list[Cut], int]:
    """Return cuts at marks that lie on ways, each at a node of its own, and how many marks lie on none.

    A mark without a z marks the track that lies against it best.
    """
    spots = sorted(marks, key=order)
    best: dict[int, Foot] = {}
    for foot in Nearness([way.elements for way in ways]).beside(spots, terms.snap, level=terms.level).feet():
        if foot.which not in best or micro(foot.off) < micro(best[foot.which].off):
            best[foot.which] = foot
    fresh = fresh_node(ways)
    return [Cut(foot.row, foot.along, fresh + which) for which, foot in best.items()], len(spots) - len(best)
