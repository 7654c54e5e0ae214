"""The network in the making as lines and joints: whole elements, in an order that follows from where they lie."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.elements import gap, heading, length_of, micro, order, place, turned, wrapped
from gradehaul.plan.drawing.linking.turnouts import Kind, roles
from gradehaul.plan.drawing.linking.ways import End, Ways, common_spot
from gradehaul.plan.drawing.records import Element, Fault, LinkedJoint, LinkedLine, ReachEnd, Spot
from gradehaul.plan.drawing.wording import gap_text

Source = tuple[str, str]
"""Handle and layer."""

_WRITTEN: dict[Kind, Literal["end", "plain", "turnout", "crossing"]] = {
    "end": "end",
    "plain": "plain",
    "kinked": "plain",
    "turnout": "turnout",
    "crossing": "crossing",
    "toe to toe": "crossing",
}


class Canonical(NamedTuple):
    """Which chains run from the later of their ends, their numbers in order, and how many have the ends of each."""

    back: list[bool]
    numbers: list[int]
    often: list[int]


def source(element: Element) -> Source:
    """Return where an element comes from."""
    return element.handle, element.layer


def canonical(chains: Sequence[Sequence[Element]]) -> Canonical:
    """Return how chains lie: by their ends in whole micrometers, then by a third of the way, which tells loops apart.

    Examples
    --------
    >>> def straight(x, heading):
    ...     end = Spot(x + round(math.cos(heading)), 0)
    ...     return [Element(Spot(x, 0), end, heading, 0.0, 1.0, "", "")]
    >>> found = canonical([straight(5, 0.0), straight(3, math.pi)])
    >>> found.back, found.numbers
    ([False, True], [1, 0])
    """
    if not chains:
        return Canonical([], [], [])
    tips = whole([spot for chain in chains for spot in (chain[0].start, chain[-1].end)]).reshape(-1, 2, 3)
    side = np.sign(tips[:, 0] - tips[:, 1]) @ np.array((4, 2, 1))
    for number in np.flatnonzero(side == 0).tolist():
        side[number] = 1 if _third(reverse(chains[number])) < _third(chains[number]) else -1
    later = side > 0
    tips[later] = tips[later, ::-1]
    rows = tips.reshape(-1, 6)
    by_ends = np.lexsort(rows.T[::-1])
    new = np.concatenate(((False,), (np.diff(rows[by_ends], axis=0) != 0).any(axis=1)))
    rank = np.empty(len(rows), dtype=np.int64)
    rank[by_ends] = np.cumsum(new)
    often, back = np.bincount(rank)[rank].tolist(), later.tolist()
    ranks = rank.tolist()

    def key(number: int) -> tuple[object, ...]:
        own = chains[number]
        if often[number] == 1:
            return (ranks[number],)
        own = reverse(own) if back[number] else own
        return ranks[number], _third(own), *source(own[0])

    return Canonical(back, sorted(range(len(chains)), key=key), often)


def whole(spots: Sequence[Spot]) -> NDArray[np.int64]:
    """Return points in whole micrometers, shape (n, 3), 0 for a height that is not known."""
    table = np.array([(x, y, z or 0.0) for x, y, z in spots], dtype=np.float64).reshape(-1, 3)
    return np.rint(table * 1e6).astype(np.int64)


def reverse(elements: Sequence[Element]) -> list[Element]:
    """Return elements as run from their other end."""
    return [turned(element) for element in reversed(elements)]


def _third(elements: Sequence[Element]) -> tuple[int, int, int]:
    return order(beyond(elements, length_of(elements) / 3))


def middle(elements: Sequence[Element]) -> Spot:
    """Return the place halfway along elements."""
    return beyond(elements, length_of(elements) / 2)


def beyond(elements: Iterable[Element], along: float) -> Spot:
    """Return the place at a distance along elements, m."""
    last = None
    for element in elements:
        if along <= element.length:
            return place(element, along)
        along -= element.length
        last = element
    assert last is not None
    return last.end


def lengths_drawn(chains: Iterable[Iterable[Element]]) -> dict[Source, float]:
    """Return the length of what comes from each source, m."""
    lengths: dict[Source, float] = {}
    for chain in chains:
        for element in chain:
            own = element.handle, element.layer
            lengths[own] = lengths.get(own, 0.0) + element.length
    return lengths


def written(
    ways: Ways, kinds: dict[int, Kind], snap: float, unit: str, faults: list[Fault]
) -> tuple[tuple[LinkedLine, ...], tuple[LinkedJoint, ...]]:
    """Return the lines and joints in the order of their coordinates, gaps closed, and add those to the faults."""
    chains: list[list[Element]] = []
    for way in ways.all.values():
        node = ways.find(way.nodes[0])
        elements = list(way.elements)
        round_it = kinds[node] == "plain" and node == ways.find(way.nodes[1])
        chains.append(_once_round(elements) if round_it else _joined(elements))
    found = canonical(chains)
    chains = [reverse(chain) if back else chain for chain, back in zip(chains, found.back, strict=True)]
    numbers = {way: number for number, way in enumerate(ways.all)}
    for elements in chains:
        _close_gaps(elements, snap, unit, faults)
    line_of = {number: line for line, number in enumerate(found.numbers)}

    def named(end: End) -> ReachEnd:
        number = numbers[end.way]
        return ReachEnd(line_of[number], "from" if (end.side == 0) != found.back[number] else "to")

    joints: list[tuple[LinkedJoint, int]] = []
    for node, at in ways.nodes():
        ends = sorted((named(end), end) for end in at)
        tips = [_tip(chains[numbers[end.way]], own) for own, end in ends]
        spot = common_spot(tips) if len(tips) > 1 else tips[0]
        if (off := max(gap(spot, one) for one in tips)) > snap / 10:
            element = ways.outward(ends[0][1])
            faults.append(Fault("gap", gap_text(off, unit), spot, *source(element), weight=off))
        for own, end in ends:
            _reach_out(chains[numbers[end.way]], own, spot)
        kind = kinds[node]
        role = roles(ways, node, kind)
        joint = LinkedJoint(
            spot,
            _WRITTEN[kind],
            tuple(own for own, _ in ends),
            None if role.toe is None else named(role.toe),
            _pairs((named(one), named(other)) for one, other in role.through),
            _pairs((named(one), named(other)) for one, other in role.slips),
        )
        joints.append((joint, node))
    places = whole([joint.spot for joint, _ in joints]).tolist()
    by_place = sorted(range(len(joints)), key=lambda each: (places[each], joints[each][0].kind, joints[each][0].ends))
    joint_of = {joints[each][1]: number for number, each in enumerate(by_place)}
    every = list(ways.all.values())
    lines = []
    for number in found.numbers:
        start, finish = (joint_of[ways.find(node)] for node in every[number].nodes)
        if found.back[number]:
            start, finish = finish, start
        lines.append(LinkedLine(tuple(chains[number]), start, finish, *_longest(chains[number])))
    return tuple(lines), tuple(joints[each][0] for each in by_place)


def _tip(elements: Sequence[Element], end: ReachEnd) -> Spot:
    return elements[0].start if end.end == "from" else elements[-1].end


def _pairs(pairs: Iterable[tuple[ReachEnd, ReachEnd]]) -> tuple[tuple[ReachEnd, ReachEnd], ...]:
    return tuple(sorted((min(pair), max(pair)) for pair in pairs))


def _longest(elements: Sequence[Element]) -> Source:
    """Return the handle and layer of the longest part of a line."""
    if len(elements) == 1:
        return source(elements[0])
    lengths = lengths_drawn([elements])
    return min(lengths, key=lambda own: (-micro(lengths[own]), own))


# Gaps


def _lengthened(element: Element, spot: Spot) -> Element:
    """Return an element with its end moved along itself until abreast of a point near its end, in plan."""
    last = heading(element, element.length)
    end = element.end
    more = (spot.x - end.x) * math.cos(last) + (spot.y - end.y) * math.sin(last)
    if abs(more) < 1e-9 or element.length + more < 1e-6:
        return element
    there = Spot(end.x + more * math.cos(last), end.y + more * math.sin(last), end.z)
    return replace(element, end=there, length=element.length + more)


def _reach_out(elements: list[Element], end: ReachEnd, spot: Spot) -> None:
    """Lengthen or shorten a line at one end to the place of its joint, so that no gap is lost on a route."""
    if _tip(elements, end)[:2] == spot[:2]:
        return
    if end.end == "to":
        elements[-1] = _lengthened(elements[-1], spot)
    else:
        elements[0] = turned(_lengthened(turned(elements[0]), spot))


def _close_gaps(elements: list[Element], snap: float, unit: str, faults: list[Fault]) -> None:
    """Lengthen elements of a line to where the next begins, a straight rather than an arc, and name the wide gaps."""
    for number in range(1, len(elements)):
        before, after = elements[number - 1], elements[number]
        if before.end[:2] == after.start[:2]:
            continue
        off = gap(before.end, after.start)
        if off > snap / 10:
            faults.append(Fault("gap", gap_text(off, unit), before.end, *source(after), weight=off))
        if after.curvature == 0 != before.curvature:
            elements[number] = turned(_lengthened(turned(after), before.end))
        else:
            elements[number - 1] = _lengthened(before, after.start)


# Whole elements


def _goes_on(before: Element, after: Element) -> bool:
    """Tell whether one element goes on as another without a step, cut from one or drawn as one."""
    if before.handle != after.handle or before.layer != after.layer or before.radius_spread != after.radius_spread:
        return False
    bend = abs(before.curvature - after.curvature)
    if bend > 1e-9 * (1 + abs(before.curvature)) or gap(before.end, after.start) > 1e-7:
        return False
    if abs(wrapped(heading(before, before.length) - after.heading)) > 1e-6:
        return False
    heights = before.start.z, before.end.z, after.start.z, after.end.z
    if all(z is None for z in heights):
        return True
    low, here, there, high = heights
    if low is None or here is None or there is None or high is None:
        return False
    even = abs((here - low) / before.length - (high - there) / after.length) < 1e-6
    return (even or bool(before.inner or after.inner)) and abs(here - there) < 1e-7


def _joined(elements: Sequence[Element]) -> list[Element]:
    """Return elements with those made one that go on without a step."""
    found = [elements[0]]
    for element in elements[1:]:
        if _goes_on(found[-1], element):
            found[-1] = _as_one(found[-1], element)
        else:
            found.append(element)
    return [
        element if -math.pi <= element.heading <= math.pi else replace(element, heading=wrapped(element.heading))
        for element in found
    ]


def _as_one(before: Element, after: Element) -> Element:
    length = before.length + after.length
    at = before.length / length
    inner = [(share * at, z) for share, z in before.inner]
    if inner or after.inner:
        inner += [(at, after.start.z or 0.0), *((at + share * (1 - at), z) for share, z in after.inner)]
    return replace(before, end=after.end, length=length, inner=tuple(inner))


def _once_round(elements: list[Element]) -> list[Element]:
    """Return a closed circuit begun at the first of its changes of curvature, or of its elements in a circle."""
    steps = [number for number, element in enumerate(elements) if not _goes_on(elements[number - 1], element)]
    start = min(steps or range(len(elements)), key=lambda number: order(elements[number].start))
    return _joined(elements[start:] + elements[:start])
