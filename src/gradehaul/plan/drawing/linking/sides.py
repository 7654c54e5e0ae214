"""Where ways are cut: where track begins on the side of another, or parts from another that it ran along."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.elements import cut, micro, order, turned
from gradehaul.plan.drawing.linking.duplicates import ALIKE, alike, run_together
from gradehaul.plan.drawing.linking.ways import (
    CROWD,
    Cut,
    Tolerance,
    Way,
    continuing,
    ends_at,
    fresh_node,
    heading,
    outward,
    spot,
)
from gradehaul.plan.drawing.nearness import Beside, Nearness
from gradehaul.plan.drawing.records import Element, FloatArray, Spot


class Index:
    """Every element of the ways with the way it is of, how far along that it begins, m, and where it lies.

    `length` has the length of each way, m; `ahead` and `behind` how far the curvature of each element lasts within its
    way, m, from its start on and from its end back.
    """

    def __init__(self, ways: Sequence[Way], reach: float) -> None:
        self.ways = ways
        self.elements = [element for way in ways for element in way.elements]
        sizes = [len(way.elements) for way in ways]
        self.owner = np.repeat(np.arange(len(ways)), sizes)
        lengths = np.array([element.length for element in self.elements])
        passed = np.cumsum(lengths)
        first = np.cumsum(sizes) - sizes
        self.before: FloatArray = passed - lengths - (passed - lengths)[first][self.owner]
        self.length: FloatArray = (self.before + lengths)[first + sizes - 1] if len(ways) else np.empty(0)
        self.nearness = Nearness(self.elements, reach)

    def runs(self) -> tuple[list[float], list[float]]:
        """Return `ahead` and `behind`."""
        ahead = [element.length for element in self.elements]
        behind = list(ahead)
        lasts = [
            one == other and alike(self.elements[number].curvature, self.elements[number + 1].curvature)
            for number, (one, other) in enumerate(zip(self.owner[:-1].tolist(), self.owner[1:].tolist(), strict=True))
        ]
        for number, last in enumerate(lasts):
            behind[number + 1] += behind[number] if last else 0.0
        for number in range(len(lasts) - 1, -1, -1):
            ahead[number] += ahead[number + 1] if lasts[number] else 0.0
        return ahead, behind


class Foot(NamedTuple):
    """A place on the side of a way: the element, how far along it and along the way, how far off, m, and the angle."""

    number: int
    on_element: float
    way: int
    along: float
    off: float
    turn: float


def feet(index: Index, near: Beside) -> Iterator[tuple[int, Foot]]:
    """Yield the number of a point and a place on the side of a way beside it."""
    since = index.before[near.number] + near.along
    columns = (near.which, near.number, near.along, index.owner[near.number], since, near.off, near.turn)
    for which, *foot in zip(*(column.tolist() for column in columns), strict=True):
        yield which, Foot(*foot)


def side_cuts(ways: Sequence[Way], tolerance: Tolerance) -> tuple[list[Cut], dict[int, float]]:
    """Return the cuts of ways, and at which angle ends lie on the sides of others askew, radians, by end.

    An end from which no other track goes on cuts the track against which it lies best as a tangent, and what runs along
    this. All other ends and changes of curvature cut what runs along with the track there: so begin and end the
    stretches that two routes share.
    """
    index = Index(ways, tolerance.snap)
    at = ends_at(ways)
    ends = [end for node in at.values() if len(node) <= CROWD for end in node]
    changes = _changes(index)
    starts = [index.elements[number + 1] for number in changes.tolist()]
    spots = [*(spot(ways, end) for end in ends), *(element.start for element in starts)]
    headings = [*(heading(ways, end) for end in ends), *(element.heading for element in starts)]
    of = np.array(ends, dtype=np.int64)
    way = np.concatenate((of // 2, index.owner[changes]))
    along = np.concatenate((index.length[of // 2] * (of % 2), index.before[changes + 1]))
    near = index.nearness.beside(spots, tolerance.snap, headings, tolerance.level)
    there = index.before[near.number] + near.along
    apart = np.abs(there - along[near.which]) > 3 * tolerance.snap
    near = near.only((index.owner[near.number] != way[near.which]) | apart)
    ahead, behind = index.runs() if len(near.which) else ([], [])
    last = np.cumsum([len(way.elements) for way in ways]) - 1

    def leaving(which: int) -> list[tuple[Element, float]]:
        """Return the elements that leave a place, each with how far its curvature lasts; none at an end that is one."""
        if which >= len(ends):
            number = int(changes[which - len(ends)])
            return [(turned(index.elements[number]), behind[number]), (index.elements[number + 1], ahead[number + 1])]
        end = ends[which]
        if all(continuing(ways, end, other) > tolerance.kink for other in at[ways[end // 2].node(end)] if other != end):
            return []
        run = behind[last[end // 2]] if end % 2 else ahead[last[end // 2] + 1 - len(ways[end // 2].elements)]
        return [(outward(ways, end), run)]

    fresh = fresh_node(ways) - len(ends)
    cuts: list[Cut] = []
    askew: dict[int, float] = {}
    sides: dict[int, list[Foot]] = {}
    for which, foot in feet(index, near):
        node = ways[ends[which] // 2].node(ends[which]) if which < len(ends) else fresh + which
        mine = leaving(which)
        if not mine and not _at_end(index, foot, node, tolerance.snap):
            sides.setdefault(which, []).append(foot)
        elif mine and foot.turn <= tolerance.kink:
            pieces = _pieces(index.elements[foot.number], foot, ahead, behind)
            if any(run_together(*one, *other, tolerance) for one in mine for other in pieces):
                cuts += (Cut(int(way[which]), float(along[which]), node), Cut(foot.way, foot.along, node))
    for which, found in sides.items():
        best = min(found, key=lambda foot: _misfit(index.elements[foot.number], foot, tolerance))
        if best.turn > tolerance.kink:
            askew[ends[which]] = best.turn
            continue
        node, bend = ways[ends[which] // 2].node(ends[which]), abs(index.elements[best.number].curvature)
        same = [foot for foot in found if alike(abs(index.elements[foot.number].curvature), bend)]
        cuts += [Cut(foot.way, foot.along, node) for foot in same if foot.turn <= tolerance.kink]
    return cuts, askew


def _changes(index: Index) -> NDArray[np.intp]:
    """Return the elements in whose way another one of another curvature follows."""
    curvature = index.nearness.rows[:, 3]
    one, other = curvature[:-1], curvature[1:]
    unlike = np.abs(one - other) > 1e-6 + ALIKE * np.maximum(np.abs(one), np.abs(other))
    return np.flatnonzero(unlike & (index.owner[1:] == index.owner[:-1]))


def _misfit(element: Element, foot: Foot, tolerance: Tolerance) -> tuple[object, ...]:
    worth = foot.off / tolerance.snap + 2 * foot.turn / tolerance.kink
    return micro(worth), element.handle, element.layer, order(element.start), order(element.end)


def _at_end(index: Index, foot: Foot, node: int, snap: float) -> bool:
    """Return whether a place is no side but the end of a way, that meets this one or just misses it."""
    way = index.ways[foot.way]
    ends = (way.start, foot.along), (way.finish, float(index.length[foot.way]) - foot.along)
    return any(distance <= (3 if node == there else 1) * snap for there, distance in ends)


def _pieces(
    element: Element, foot: Foot, ahead: Sequence[float], behind: Sequence[float]
) -> list[tuple[Element, float]]:
    """Return the parts of an element that leave a place on it, each with how far its curvature lasts, m."""
    on, back = ahead[foot.number], behind[foot.number]
    if foot.on_element <= 0:
        return [(element, on)]
    if foot.on_element >= element.length:
        return [(turned(element), back)]
    first, rest = cut(element, foot.on_element)
    return [(turned(first), back - rest.length), (rest, on - first.length)]


def mark_cuts(index: Index, marks: Sequence[Spot], tolerance: Tolerance) -> tuple[list[Cut], int]:
    """Return cuts at marks that lie on ways, each at a node of its own, and how many marks lie on none.

    A mark without a z marks the track that lies against it best.
    """
    spots = sorted(marks, key=order)
    best: dict[int, Foot] = {}
    for which, foot in feet(index, index.nearness.beside(spots, tolerance.snap, level=tolerance.level)):
        if which not in best or micro(foot.off) < micro(best[which].off):
            best[which] = foot
    fresh = fresh_node(index.ways)
    return [Cut(foot.way, foot.along, fresh + which) for which, foot in best.items()], len(spots) - len(best)
