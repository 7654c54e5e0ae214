"""Track that lies on or along other track: where that is cut, and which of ways that are one is kept."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from gradehaul.plan.drawing.elements import (
    beyond,
    cut,
    gap,
    heading,
    height,
    in_space,
    length_of,
    level_with,
    micro,
    middle,
    nearest,
    order,
    place,
    reverse,
    turned,
    wrapped,
)
from gradehaul.plan.drawing.linking.ways import CROWD, WayCut, Ways
from gradehaul.plan.drawing.nearness import Foot, Nearness
from gradehaul.plan.drawing.records import Element, Fault, FloatArray, IntArray, Spot, Terms
from gradehaul.plan.drawing.rows import Rows
from gradehaul.plan.drawing.wording import length_text

Source = tuple[str, str]
"""Handle and layer."""

ALIKE = 0.02
"""Curvatures that differ by no more than this share may be the same one fitted twice."""
_SAME = 1.5
"""Places of ways that are one lie no farther apart than this, in snaps."""


class Dropped(NamedTuple):
    """A stretch that was left out because another covers it."""

    source: Source
    kept: Source
    length: float
    spot: Spot


def source(element: Element) -> Source:
    """Return where an element comes from."""
    return element.handle, element.layer


def lengths_drawn(rows: Rows) -> dict[Source, float]:
    """Return the length of what comes from each source, m."""
    lengths: dict[Source, float] = {}
    each = np.bincount(rows.origin, rows.length, len(rows.origins)).tolist()
    for (handle, layer, _), length in zip(rows.origins, each, strict=True):
        lengths[handle, layer] = lengths.get((handle, layer), 0.0) + length
    return lengths


def longest_source(elements: Sequence[Element]) -> Source:
    """Return the source of the longest part of a line."""
    lengths: dict[Source, float] = {}
    for element in elements:
        own = source(element)
        lengths[own] = lengths.get(own, 0.0) + element.length
    return min(lengths, key=lambda own: (-micro(lengths[own]), own))


def alike(one: float, other: float) -> bool:
    """Return whether two curvatures, 1/m, may be the same one drawn or fitted twice."""
    return abs(one - other) <= 1e-6 + ALIKE * max(abs(one), abs(other))


def run_together(one: Element, run: float, other: Element, other_run: float, terms: Terms) -> bool:
    """Return whether two elements that leave one place are one for a stretch worth the name.

    They are one up to where the first of them ends, or not at all: track parts where curvature changes. Near their
    beginning any two lie within `snap`, so curvature decides: the arrows of both, over the length of the shorter,
    must agree within a quarter of `snap`, or the curvatures within 2 %. `run` and `other_run` are how far the track
    goes on with the curvature of each, m.
    """
    snap, kink = terms.snap, terms.kink
    if other.length < one.length:
        one, other = other, one
    if abs(wrapped(one.heading - other.heading)) > kink or one.length <= 4 * snap:
        return False
    arrow = abs(one.curvature - other.curvature) * min(run, other_run) ** 2 / 8
    if arrow > snap / 4 and not alike(one.curvature, other.curvature):
        return False
    along = nearest(other, one.end)
    if along <= 4 * snap or abs(wrapped(heading(one, one.length) - heading(other, along))) > kink:
        return False
    half = place(one, one.length / 2)
    across = place(other, nearest(other, half))
    if gap(one.end, place(other, along)) > _SAME * snap or gap(half, across) > _SAME * snap:
        return False
    return level_with(one.end.z, height(other, along), terms.level)


def once(ways: Ways, drawn: Mapping[Source, float], terms: Terms) -> tuple[Ways, list[Dropped]]:
    """Return ways without those that lie on others between the same two nodes, and what was left out.

    They are cut wherever they run together with others or part from them. Of ways that are one that of the source is
    kept that was `drawn` longer, m.
    """
    low, high = np.sort(ways.nodes, axis=1).T
    _, group, often = np.unique(low * ways.fresh_node + high, return_inverse=True, return_counts=True)
    by_nodes: dict[int, list[int]] = {}
    for number in np.flatnonzero(often[group] > 1).tolist():
        by_nodes.setdefault(int(group[number]), []).append(number)
    kept = np.ones(len(ways), dtype=bool)
    dropped: list[Dropped] = []
    for numbers in by_nodes.values():
        others: list[list[Element]] = []
        start, finish = ways.nodes[numbers[0]].tolist()
        for number, elements in sorted(
            ((number, _run_up(ways, number)) for number in numbers), key=lambda each: _rank(each[1], drawn)
        ):
            same = next((other for other in others if _one(elements, other, terms, closed=start == finish)), None)
            if same is None:
                others.append(elements)
                continue
            kept[number] = False
            of = longest_source(same)
            dropped += [Dropped(source(e), of, e.length, place(e, e.length / 2)) for e in elements]
    return ways.run(2 * np.flatnonzero(kept)), dropped


def _run_up(ways: Ways, number: int) -> list[Element]:
    """Return the elements of a way as run from the lesser of its nodes."""
    elements = ways.rows.row(number)
    return reverse(elements) if ways.nodes[number, 0] > ways.nodes[number, 1] else elements


def _rank(elements: Sequence[Element], drawn: Mapping[Source, float]) -> tuple[object, ...]:
    """Return what decides which of two ways is kept: of the longer source, then by handle and place."""
    own = longest_source(elements)
    return -micro(drawn[own]), own, order(middle(elements)), micro(length_of(elements))


def _one(elements: list[Element], other: list[Element], terms: Terms, *, closed: bool) -> bool:
    """Return whether two ways between the same nodes lie on one another all along."""
    length, long = length_of(elements), length_of(other)
    if abs(length - long) > 6 * terms.snap:
        return False
    shares = [share / 8 for share in range(1, 8)]
    there = [beyond(other, share * long) for share in shares]
    for way in (elements, reverse(elements)) if closed else (elements,):
        here = [beyond(way, share * length) for share in shares]
        pairs = list(zip(here, there, strict=True))
        near = all(gap(*pair) <= 2 * _SAME * terms.snap for pair in pairs)
        if near and all(level_with(a.z, b.z, terms.level) for a, b in pairs):
            return True
    return False


def overlap_faults(dropped: Iterable[Dropped], drawn: Mapping[Source, float], unit: str) -> list[Fault]:
    """Return a fault for every pair of sources of which one covers part of the other, or all of it."""
    by_pair: dict[tuple[Source, Source], list[Dropped]] = {}
    gone: dict[Source, float] = {}
    for one in dropped:
        by_pair.setdefault((one.source, one.kept), []).append(one)
        gone[one.source] = gone.get(one.source, 0.0) + one.length
    faults: list[Fault] = []
    for (own, kept), stretches in by_pair.items():
        length = math.fsum(one.length for one in stretches)
        longest = min(stretches, key=lambda one: (-micro(one.length), order(one.spot)))
        whole = gone[own] >= 0.99 * drawn.get(own, math.inf)
        over = f"handle {kept[0]}" + (f" on layer {kept[1]}" if kept[1] else "") if kept[0] else "another track"
        over = over if own != kept else "itself"
        text = f"{length_text(length, unit)} of track drawn again, over {over}: kept once"
        faults.append(Fault("duplicate" if whole else "overlap", text, longest.spot, *own, weight=length))
    return faults


# Where ways are cut


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


def side_cuts(ways: Ways, terms: Terms) -> tuple[list[WayCut], dict[int, float]]:
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

    elements, headings = rows.elements(), away.tolist()

    def leaving(which: int) -> list[tuple[Element, float]]:
        """Return the elements that leave a place, each with how far its curvature lasts; none at an end that is one."""
        if which >= len(ends):
            number = int(changes[which - len(ends)])
            return [(turned(elements[number]), behind[number]), (elements[number + 1], ahead[number + 1])]
        end = int(ends[which])
        others = at.get(int(nodes[end]), ())
        if all(abs(wrapped(headings[end] - headings[each] + math.pi)) > terms.kink for each in others if each != end):
            return []
        number = int(rows.first[end // 2 + end % 2]) - end % 2
        return [(turned(elements[number]), behind[number]) if end % 2 else (elements[number], ahead[number])]

    fresh = ways.fresh_node - len(ends)
    cuts: list[WayCut] = []
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
            pieces = _pieces(elements[foot.number], foot, ahead, behind)
            if any(run_together(*one, *other, terms) for one in mine for other in pieces):
                cuts += (WayCut(int(way[which]), float(along[which]), node), WayCut(foot.row, foot.along, node))
    for which, found in sides.items():
        best = min(found, key=lambda foot: _misfit(elements[foot.number], foot, terms))
        end = int(ends[which])
        if best.turn > terms.kink:
            askew[end] = best.turn
            continue
        bend = abs(rows.curvature[best.number])
        same = [foot for foot in found if alike(abs(rows.curvature[foot.number]), bend)]
        cuts += [WayCut(foot.row, foot.along, int(nodes[end])) for foot in same if foot.turn <= terms.kink]
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


def mark_cuts(ways: Ways, marks: Sequence[Spot], terms: Terms) -> tuple[list[WayCut], int]:
    """Return cuts at marks that lie on ways, each at a node of its own, and how many marks lie on none.

    A mark without a z marks the track that lies against it best.
    """
    spots = in_space(sorted(marks, key=order))
    best: dict[int, Foot] = {}
    for foot in Nearness(ways.rows).beside(spots, terms.snap, level=terms.level).feet():
        if foot.which not in best or micro(foot.off) < micro(best[foot.which].off):
            best[foot.which] = foot
    fresh = ways.fresh_node
    return [WayCut(foot.row, foot.along, fresh + which) for which, foot in best.items()], len(spots) - len(best)
