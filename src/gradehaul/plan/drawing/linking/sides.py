"""Where ways are cut: where track begins on the side of another, or parts from another that it ran along."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from gradehaul.plan.drawing.elements import cut, in_space, micro, order, turned, wrapped
from gradehaul.plan.drawing.linking.duplicates import ALIKE, alike, run_together
from gradehaul.plan.drawing.linking.ways import CROWD, Cut, Ways
from gradehaul.plan.drawing.nearness import Foot, Nearness
from gradehaul.plan.drawing.records import Element, FloatArray, IntArray, Spot, Terms


def _runs(index: Nearness) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return how far the curvature of each element lasts within its way, and after which elements it changes there.

    As distances from its start on and from its end back, m, shape (n,), and as numbers of elements.
    """
    curvature, length = index.rows.curvature, index.rows.length
    one, other = curvature[:-1], curvature[1:]
    within = index.owner[1:] == index.owner[:-1]
    lasts = within & (np.abs(one - other) <= 1e-6 + ALIKE * np.maximum(np.abs(one), np.abs(other)))
    stops, end = np.append(~lasts, True), np.cumsum(length)
    run = np.cumsum(stops) - stops
    until = end[stops]
    return until[run] - end + length, end - np.append(0.0, until)[run], np.flatnonzero(within & ~lasts)


def side_cuts(ways: Ways, terms: Terms) -> tuple[list[Cut], dict[int, float]]:
    """Return the cuts of ways, and at which angle ends lie on the sides of others askew, radians, by end.

    An end from which no other track goes on cuts the track against which it lies best as a tangent, and what runs along
    this. All other ends and changes of curvature cut what runs along with the track there: so begin and end the
    stretches that two routes share.
    """
    index = Nearness(ways.rows)
    rows = index.rows
    at, nodes, away = ways.ends_at(2), ways.nodes.ravel(), ways.rows.away
    crowds = [end for node in at.values() if len(node) > CROWD for end in node]
    ends = np.setdiff1d(np.arange(2 * len(ways)), crowds)
    ahead, behind, changes = _runs(index)
    spots = np.concatenate((ways.rows.tips[ends], rows.start[changes + 1]))
    way = np.concatenate((ends // 2, index.owner[changes]))
    along = np.concatenate((index.total[ends // 2] * (ends % 2), index.before[changes + 1]))
    onward = np.concatenate((away[ends], rows.heading[changes + 1]))
    near = index.beside(spots, terms.snap, onward, terms.level)
    apart = np.abs(near.along - along[near.which]) > 3 * terms.snap
    near = near.only((near.row != way[near.which]) | apart)

    def leaving(which: int) -> list[tuple[Element, float]]:
        """Return the elements that leave a place, each with how far its curvature lasts; none at an end that is one."""
        if which >= len(ends):
            number = int(changes[which - len(ends)])
            before, after = rows.element(number), rows.element(number + 1)
            return [(turned(before), behind[number]), (after, ahead[number + 1])]
        end = int(ends[which])
        others = at.get(int(nodes[end]), ())
        if all(abs(wrapped(away[end] - away[other] + math.pi)) > terms.kink for other in others if other != end):
            return []
        return [(ways.outward(end), behind[rows.first[end // 2 + 1] - 1] if end % 2 else ahead[rows.first[end // 2]])]

    fresh = ways.fresh_node - len(ends)
    cuts: list[Cut] = []
    askew: dict[int, float] = {}
    sides: dict[int, list[Foot]] = {}
    for foot in near.feet():
        which = foot.which
        node = int(nodes[ends[which]]) if which < len(ends) else fresh + which
        mine = leaving(which)
        if not mine and not _at_end(
            ways.nodes[foot.row].tolist(), float(index.total[foot.row]), foot, node, terms.snap
        ):
            sides.setdefault(which, []).append(foot)
        elif mine and foot.turn <= terms.kink:
            pieces = _pieces(rows.element(foot.number), foot, ahead, behind)
            if any(run_together(*one, *other, terms) for one in mine for other in pieces):
                cuts += (Cut(int(way[which]), float(along[which]), node), Cut(foot.row, foot.along, node))
    for which, found in sides.items():
        best = min(found, key=lambda foot: _misfit(rows.element(foot.number), foot, terms))
        end = int(ends[which])
        if best.turn > terms.kink:
            askew[end] = best.turn
            continue
        bend = abs(rows.curvature[best.number])
        same = [foot for foot in found if alike(abs(rows.curvature[foot.number]), bend)]
        cuts += [Cut(foot.row, foot.along, int(nodes[end])) for foot in same if foot.turn <= terms.kink]
    return cuts, askew


def _misfit(element: Element, foot: Foot, terms: Terms) -> tuple[object, ...]:
    worth = foot.off / terms.snap + 2 * foot.turn / terms.kink
    return micro(worth), element.handle, element.layer, order(element.start), order(element.end)


def _at_end(nodes: Sequence[int], length: float, foot: Foot, node: int, snap: float) -> bool:
    """Return whether a place is no side but the end of a way, that meets this one or just misses it."""
    ends = zip(nodes, (foot.along, length - foot.along), strict=True)
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


def mark_cuts(ways: Ways, marks: Sequence[Spot], terms: Terms) -> tuple[list[Cut], int]:
    """Return cuts at marks that lie on ways, each at a node of its own, and how many marks lie on none.

    A mark without a z marks the track that lies against it best.
    """
    spots = in_space(sorted(marks, key=order))
    best: dict[int, Foot] = {}
    for foot in Nearness(ways.rows).beside(spots, terms.snap, level=terms.level).feet():
        if foot.which not in best or micro(foot.off) < micro(best[foot.which].off):
            best[foot.which] = foot
    fresh = ways.fresh_node
    return [Cut(foot.row, foot.along, fresh + which) for which, foot in best.items()], len(spots) - len(best)
