"""The network in the making as lines and joints: whole elements, in the order of their coordinates."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Literal

from gradehaul.plan.drawing.elements import gap, heading, micro, order, orders, wrapped
from gradehaul.plan.drawing.linking.canonical_order import Source, canonical, lengths_drawn, source
from gradehaul.plan.drawing.linking.flaws import gap_fault, gaps
from gradehaul.plan.drawing.linking.turnouts import Kind, roles
from gradehaul.plan.drawing.linking.ways import End, Ways, common_spot
from gradehaul.plan.drawing.records import Element, Fault, LinkedJoint, LinkedLine, ReachEnd, Spot

_WRITTEN: dict[Kind, Literal["end", "plain", "turnout", "crossing"]] = {
    "end": "end",
    "plain": "plain",
    "kinked": "plain",
    "turnout": "turnout",
    "crossing": "crossing",
    "toe to toe": "crossing",
}


def written(
    ways: Ways, kinds: dict[int, Kind], snap: float, unit: str, faults: list[Fault]
) -> tuple[tuple[LinkedLine, ...], tuple[LinkedJoint, ...]]:
    """Return the lines and joints, in the order of their coordinates, and unit of the gaps in them in a unit."""
    chains: list[list[Element]] = []
    for way in ways.all.values():
        node = ways.find(way.nodes[0])
        elements = list(way.elements)
        round_it = kinds[node] == "plain" and node == ways.find(way.nodes[1])
        chains.append(_once_round(elements) if round_it else _joined(elements))
    found = canonical(chains)
    numbers = {way: number for number, way in enumerate(ways.all)}
    for elements in found.chains:
        if len(elements) > 1:
            faults.extend(gaps(elements, snap, unit))
    line_of = {number: line for line, number in enumerate(found.numbers)}

    def named(end: End) -> ReachEnd:
        number = numbers[end.way]
        return ReachEnd(line_of[number], "from" if (end.side == 0) != (number in found.turned) else "to")

    nodes = ways.nodes()
    spots: list[Spot] = []
    joints: list[LinkedJoint] = []
    for node, at in nodes:
        kind = kinds[node]
        if len(at) == 1:
            own = named(at[0])
            spots.append(_tip(found.chains[numbers[at[0].way]], own))
            joints.append(LinkedJoint(spots[-1], _WRITTEN[kind], (own,)))
            continue
        ends = sorted((named(end), end) for end in at)
        tips = [_tip(found.chains[numbers[end.way]], own) for own, end in ends]
        spot = common_spot(tips)
        if (off := max(gap(spot, one) for one in tips)) > snap / 10:
            faults.append(gap_fault(spot, off, ways.outward(ends[0][1]), unit))
        role = roles(ways, node, kind)
        spots.append(spot)
        joints.append(
            LinkedJoint(
                spot,
                _WRITTEN[kind],
                tuple(own for own, _ in ends),
                None if role.toe is None else named(role.toe),
                _pairs((named(one), named(other)) for one, other in role.through),
                _pairs((named(one), named(other)) for one, other in role.slips),
            )
        )
    places = orders(spots)
    by_place = sorted(range(len(joints)), key=lambda each: (places[each], joints[each].kind, joints[each].ends))
    joint_of = {nodes[each][0]: number for number, each in enumerate(by_place)}
    every = list(ways.all.values())
    lines = []
    for number in found.numbers:
        start, finish = (joint_of[ways.find(node)] for node in every[number].nodes)
        if number in found.turned:
            start, finish = finish, start
        elements = found.chains[number]
        lines.append(LinkedLine(tuple(elements), start, finish, *_longest(elements)))
    return tuple(lines), tuple(joints[each] for each in by_place)


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


def _whole(before: Element, after: Element) -> bool:
    """Tell whether one element goes on as another without a step, cut from one or drawn as one."""
    if source(before) != source(after) or before.radius_spread != after.radius_spread:
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
    return abs((here - low) / before.length - (high - there) / after.length) < 1e-6 and abs(here - there) < 1e-7


def _joined(elements: Sequence[Element]) -> list[Element]:
    """Return elements with those made one that go on without a step."""
    found = [elements[0]]
    for element in elements[1:]:
        if _whole(found[-1], element):
            found[-1] = replace(found[-1], end=element.end, length=found[-1].length + element.length)
        else:
            found.append(element)
    return [
        element if -math.pi <= element.heading <= math.pi else replace(element, heading=wrapped(element.heading))
        for element in found
    ]


def _once_round(elements: list[Element]) -> list[Element]:
    """Return a closed circuit begun at the first of its changes of curvature, or of its elements in a circle."""
    steps = [number for number, element in enumerate(elements) if not _whole(elements[number - 1], element)]
    start = min(steps or range(len(elements)), key=lambda number: order(elements[number].start))
    return _joined(elements[start:] + elements[:start])
