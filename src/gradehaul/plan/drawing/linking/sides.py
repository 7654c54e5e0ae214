"""Where ways are cut: where track begins on the side of another, or parts from another that it ran along."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from gradehaul.plan.drawing.elements import cut, micro, order, orders, turned
from gradehaul.plan.drawing.linking.duplicates import alike, run_together
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


class _Place(NamedTuple):
    """A place where another way may have to be cut: an end, or a change of curvature within a way."""

    spot: Spot
    heading: float
    way: int
    along: float
    node: int
    leaving: tuple[tuple[Element, float], ...]
    """The elements that leave it, each with how far its curvature lasts, m; none for an end that goes on nowhere."""


def side_cuts(ways: Sequence[Way], tolerance: Tolerance) -> tuple[list[Cut], dict[int, float]]:
    """Return the cuts of ways, and at which angle ends lie on the sides of others askew, radians, by end.

    An end from which no other track goes on cuts the track against which it lies best as a tangent, and what runs along
    this. All other ends and changes of curvature cut what runs along with the track there: so begin and end the
    stretches that two routes share.
    """
    index = Index(ways, tolerance.snap)
    ahead, behind = index.runs()
    places = _places(index, ahead, behind, tolerance.kink)
    near = index.nearness.beside(
        [place.spot for place in places], tolerance.snap, [place.heading for place in places], tolerance.level
    )
    own = np.array([(place.way, place.along) for place in places]).reshape(-1, 2)[near.which]
    along, way = index.before[near.number] + near.along, index.owner[near.number]
    far = (way != own[:, 0]) | (np.abs(along - own[:, 1]) > 3 * tolerance.snap)
    cuts: list[Cut] = []
    askew: dict[int, float] = {}
    sides: dict[int, list[Foot]] = {}
    for which, foot in feet(index, near.only(far)):
        place = places[which]
        if not place.leaving:
            if not _at_end(index, foot, place.node, tolerance.snap):
                sides.setdefault(which, []).append(foot)
        elif foot.turn <= tolerance.kink:
            pieces = _pieces(index.elements[foot.number], foot, ahead, behind)
            if any(run_together(*mine, *theirs, tolerance) for mine in place.leaving for theirs in pieces):
                cuts += (Cut(place.way, place.along, place.node), Cut(foot.way, foot.along, place.node))
    for which, found in sides.items():
        place = places[which]
        best = min(found, key=lambda foot: _misfit(index.elements[foot.number], foot, tolerance))
        if best.turn > tolerance.kink:
            askew[2 * place.way + (place.along > 0)] = best.turn
            continue
        bend = abs(index.elements[best.number].curvature)
        same = [foot for foot in found if alike(abs(index.elements[foot.number].curvature), bend)]
        cuts += [Cut(foot.way, foot.along, place.node) for foot in same if foot.turn <= tolerance.kink]
    return cuts, askew


def _places(index: Index, ahead: Sequence[float], behind: Sequence[float], kink: float) -> list[_Place]:
    """Return the ends of ways, those where not too many come together, and the changes of curvature within ways."""
    ways, found = index.ways, list[_Place]()
    last = np.cumsum([len(way.elements) for way in ways]) - 1
    for node, at in ends_at(ways).items():
        for end in at if len(at) <= CROWD else ():
            way = end // 2
            run = behind[last[way]] if end % 2 else ahead[last[way] + 1 - len(ways[way].elements)]
            lone = not any(continuing(ways, end, other) <= kink for other in at if other != end)
            leaving: tuple[tuple[Element, float], ...] = () if lone else ((outward(ways, end), run),)
            along = float(index.length[way]) if end % 2 else 0.0
            found.append(_Place(spot(ways, end), heading(ways, end), way, along, node, leaving))
    fresh = fresh_node(ways)
    for number in np.flatnonzero(index.owner[1:] == index.owner[:-1]).tolist():
        one, other = index.elements[number], index.elements[number + 1]
        if not alike(one.curvature, other.curvature):
            leaving = (turned(one), behind[number]), (other, ahead[number + 1])
            way, along = int(index.owner[number]), float(index.before[number + 1])
            found.append(_Place(other.start, other.heading, way, along, fresh, leaving))
            fresh += 1
    places = orders([place.spot for place in found])
    return [found[number] for number in sorted(range(len(found)), key=lambda each: places[each])]


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
