"""Reaches of track become a network: what meets is joined, what is drawn twice is kept once, turnouts are found."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Literal, NamedTuple

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.duplicates import Closing, Dropped, Source, source, told
from gradehaul.plan.drawing.elements import gap, halved, heading, micro, order, turned, wrapped
from gradehaul.plan.drawing.flaws import gap_fault, gaps, near_misses, strays
from gradehaul.plan.drawing.meetings import meet
from gradehaul.plan.drawing.records import (
    Element,
    Fault,
    Linked,
    LinkedJoint,
    LinkedLine,
    Reach,
    ReachEnd,
    Spot,
)
from gradehaul.plan.drawing.sides import Tolerance, apply, cuts_at_changes, cuts_at_ends, lone_ends
from gradehaul.plan.drawing.turnouts import Kind, askew, roles, settle
from gradehaul.plan.drawing.ways import End, Ways, beyond, common_spot, continuing, merge, middle, sweep


def link(reaches: Sequence[Reach], *, snap: float, kink: float, level: float) -> Linked:
    """Return the network that reaches of track make.

    Ends within `snap` meet at one joint, at the mean of where they were drawn; the elements keep their own figures, so
    that a radius stays as drawn, and a gap of more than a tenth of `snap` is told. An end on the side of another track,
    tangent to it, cuts it and makes a turnout. Tracks that only cross are not joined. Stretches drawn more than once
    are kept once. Lines run from joint to joint, whole through plain meetings; plain joints are left only where a
    closed circuit closes and where there is a kink. The answer is the same in whatever order and
    direction the reaches were drawn.

    Parameters
    ----------
    reaches
        What was fitted to the strokes of the drawing.
    snap
        How far apart, m, ends may be drawn that meet, in plan.
    kink
        How much directions may differ, radians, that go on as tangents.
    level
        How much heights may differ, m, of ends that meet, where both are known.

    Returns
    -------
    Linked
        Lines and joints in the order of their coordinates; faults by code, worst first.

    Raises
    ------
    DrawingError
        For an element without a length or with a figure that is not finite.

    Examples
    --------
    >>> def straight(x, end, handle):
    ...     return Reach((Element(Spot(x, 0), Spot(end, 0), 0.0, 0.0, end - x, handle, ""),), False, handle, "")
    >>> linked = link([straight(0, 2, "A"), straight(2.001, 3, "B")], snap=0.002, kink=0.03, level=0.01)
    >>> [(line.handle, round(sum(element.length for element in line.elements), 3)) for line in linked.lines]
    [('A', 2.999)]
    >>> [(fault.code, fault.text) for fault in linked.faults]
    [('gap', 'ends drawn 1.00 mm apart are one joint')]
    """
    tolerance = Tolerance(snap, kink, level)
    faults: list[Fault] = []
    chains = _ordered(reaches)
    drawn = _drawn(chain.elements for chain in chains)
    chains, dropped = _unlike(chains)
    ways = _laid(chains, tolerance, faults)
    faults.extend(_linked_up(ways, tolerance, drawn, dropped))
    faults.extend(told(dropped, drawn))
    kinds, found = settle(ways, kink)
    faults.extend(found)
    merge(ways, [node for node, kind in kinds.items() if kind == "plain"])
    free = {end for node in ways.nodes() if kinds[node] == "end" for end in ways.at(node)}
    faults.extend(near_misses(ways, free, tolerance))
    faults.extend(strays(ways))
    lines, joints = _written(ways, kinds, snap, faults)
    faults.sort(key=lambda fault: (fault.code, -round(fault.weight, 9), order(fault.spot or Spot(0, 0)), fault.text))
    return Linked(lines, joints, tuple(faults))


# Drawing in

_SPECK = 3.0
"""Track from a joint back to itself that is no longer than this, in snaps, is no track."""


class _Chain(NamedTuple):
    elements: tuple[Element, ...]
    closed: bool


def _ordered(reaches: Sequence[Reach]) -> list[_Chain]:
    """Return the reaches as chains whose order and direction follow from where they lie."""
    chains = []
    for reach in reaches:
        for element in reach.elements:
            _check(element)
        elements = [part for element in reach.elements for part in halved(element)]
        if elements:
            chains.append(_Chain(tuple(_faced(elements)), reach.closed))
    return sorted(chains, key=lambda chain: (*_lie(chain.elements), chain.elements[0].handle, chain.elements[0].layer))


def _check(element: Element) -> None:
    figures = (*element.start[:2], *element.end[:2], element.heading, element.curvature, element.length)
    place_ = f"handle {element.handle}" + (f" on layer {element.layer}" if element.layer else "")
    if not all(math.isfinite(figure) for figure in figures):
        raise DrawingError("an element with a figure that is not finite", place=place_, write="finite coordinates")
    if element.length <= 0:
        raise DrawingError("an element must be longer than 0", place=place_, found=f"{element.length} m")


def _lie(elements: Sequence[Element]) -> tuple[object, ...]:
    """Return where a chain lies: its ends, and a third of the way, which tells the two directions of a loop apart."""
    length = math.fsum(element.length for element in elements)
    return (
        order(elements[0].start),
        order(elements[-1].end),
        order(beyond(elements, length / 3)),
    )


def _faced(elements: Sequence[Element]) -> list[Element]:
    """Return a chain run from whichever of its ends comes first."""
    start, end = order(elements[0].start), order(elements[-1].end)
    if start < end:
        return list(elements)
    back = [turned(element) for element in reversed(elements)]
    return back if start > end or _lie(back) < _lie(elements) else list(elements)


def _drawn(chains: Iterable[Iterable[Element]]) -> dict[Source, float]:
    lengths: dict[Source, list[float]] = {}
    for chain in chains:
        for element in chain:
            lengths.setdefault(source(element), []).append(element.length)
    return {own: math.fsum(found) for own, found in lengths.items()}


def _unlike(chains: Sequence[_Chain]) -> tuple[list[_Chain], list[Dropped]]:
    """Return the chains without those that are the same figure for figure as another."""
    kept: dict[tuple[object, ...], _Chain] = {}
    dropped: list[Dropped] = []
    for chain in chains:
        places = tuple((order(e.start), order(e.end), micro(e.curvature)) for e in chain.elements)
        first = kept.setdefault((chain.closed, places, chain.elements[0].start.z is None), chain)
        if first is not chain:
            length = math.fsum(element.length for element in chain.elements)
            pair = source(chain.elements[0]), source(first.elements[0])
            dropped.append(Dropped(*pair, length, middle(chain.elements)))
    return list(kept.values()), dropped


def _laid(chains: Sequence[_Chain], tolerance: Tolerance, faults: list[Fault]) -> Ways:
    """Return the chains as ways, between nodes where their ends meet."""
    ways = Ways()
    spots = [spot for chain in chains for spot in (chain.elements[0].start, chain.elements[-1].end)]
    groups = meet(spots, snap=tolerance.snap, level=tolerance.level)
    nodes: dict[int, int] = {}
    for number, chain in enumerate(chains):
        start, finish = groups[2 * number : 2 * number + 2]
        length = math.fsum(element.length for element in chain.elements)
        if start == finish and length <= _SPECK * tolerance.snap:
            first = chain.elements[0]
            text = f"a piece of track only {length * 1000:.2f} mm long was left out"
            faults.append(Fault("stray", text, middle(chain.elements), first.handle, first.layer, weight=length))
            continue
        for group in (start, finish):
            if group not in nodes:
                nodes[group] = ways.node()
        if chain.closed:
            ways.join(nodes[start], nodes[finish])
        ways.add(chain.elements, nodes[start], nodes[finish])
    return ways


# Linking


def _linked_up(ways: Ways, tolerance: Tolerance, drawn: dict[Source, float], dropped: list[Dropped]) -> list[Fault]:
    """Cut ways where others begin on their sides, and close the stretches they share."""
    cuts, skewed = cuts_at_ends(ways, tolerance)
    apply(ways, cuts, tolerance.snap)
    alone = {end for end in lone_ends(ways, tolerance.kink) if len(ways.at(ways.node_at(end))) == 1}
    faults = [askew(place_.turn, ways.spot(end), ways.outward(end)) for end, place_ in skewed.items() if end in alone]
    _merge_plain(ways, tolerance.kink)
    closing = Closing(ways, drawn, *tolerance, dropped)
    closing.run()
    sweep(ways, _SPECK * tolerance.snap)
    _merge_plain(ways, tolerance.kink)
    changes = cuts_at_changes(ways, tolerance)
    if changes:
        apply(ways, changes, tolerance.snap)
        closing.run()
    sweep(ways, _SPECK * tolerance.snap)
    return faults


def _merge_plain(ways: Ways, kink: float) -> None:
    pairs = [(node, ways.at(node)) for node in ways.nodes() if len(ways.at(node)) == 2]
    merge(ways, [node for node, ends in pairs if continuing(ways, *ends) <= kink])


# Drawing out

_WRITTEN: dict[Kind, Literal["end", "plain", "turnout", "crossing"]] = {
    "end": "end",
    "plain": "plain",
    "kinked": "plain",
    "turnout": "turnout",
    "crossing": "crossing",
    "toe to toe": "crossing",
}


def _written(
    ways: Ways, kinds: dict[int, Kind], snap: float, faults: list[Fault]
) -> tuple[tuple[LinkedLine, ...], tuple[LinkedJoint, ...]]:
    """Return the lines and joints, in the order of their coordinates."""
    chains: dict[int, list[Element]] = {}
    back: set[int] = set()
    for number, way in ways.all.items():
        node = ways.find(way.nodes[0])
        if kinds[node] == "plain" and node == ways.find(way.nodes[1]):
            chains[number] = _once_round(list(way.elements))
        else:
            chains[number] = _joined(list(way.elements))
        facing = _faced(chains[number])
        if facing[0] is not chains[number][0]:
            back.add(number)
        chains[number] = facing
        faults.extend(gaps(facing, snap))
    numbers = sorted(chains, key=lambda number: (_lie(chains[number]), source(chains[number][0])))
    line_of = {number: line for line, number in enumerate(numbers)}

    def named(end: End) -> ReachEnd:
        return ReachEnd(line_of[end.way], "from" if (end.side == 0) != (end.way in back) else "to")

    joints: list[tuple[int, LinkedJoint]] = []
    for node in ways.nodes():
        kind, ends = kinds[node], sorted(ways.at(node), key=named)
        spots = [_tip(chains, named(end), numbers) for end in ends]
        spot = common_spot(spots)
        off = max(gap(spot, one) for one in spots)
        if off > snap / 10:
            faults.append(gap_fault(spot, off, ways.outward(ends[0])))
        role = roles(ways, node, kind)
        joint = LinkedJoint(
            spot,
            _WRITTEN[kind],
            tuple(named(end) for end in ends),
            None if role.toe is None else named(role.toe),
            _pairs((named(one), named(other)) for one, other in role.through),
            _pairs((named(one), named(other)) for one, other in role.slips),
        )
        joints.append((node, joint))
    joints.sort(key=lambda pair: (order(pair[1].spot), pair[1].kind, pair[1].ends))
    joint_of = {node: number for number, (node, _) in enumerate(joints)}
    lines = []
    for number in numbers:
        nodes = [joint_of[ways.find(node)] for node in ways.all[number].nodes]
        if number in back:
            nodes.reverse()
        lines.append(LinkedLine(tuple(chains[number]), nodes[0], nodes[1], *_longest(chains[number])))
    return tuple(lines), tuple(joint for _, joint in joints)


def _tip(chains: dict[int, list[Element]], end: ReachEnd, numbers: Sequence[int]) -> Spot:
    elements = chains[numbers[end.line]]
    return elements[0].start if end.end == "from" else elements[-1].end


def _pairs(pairs: Iterable[tuple[ReachEnd, ReachEnd]]) -> tuple[tuple[ReachEnd, ReachEnd], ...]:
    return tuple(sorted((min(pair), max(pair)) for pair in pairs))


def _longest(elements: Sequence[Element]) -> Source:
    """Return the handle and layer of the longest part of a line."""
    lengths = _drawn([elements])
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
    return [replace(element, heading=wrapped(element.heading)) for element in found]


def _once_round(elements: list[Element]) -> list[Element]:
    """Return a closed circuit begun at the first of its changes of curvature, or of its elements in a circle."""
    steps = [number for number, element in enumerate(elements) if not _whole(elements[number - 1], element)]
    start = min(steps or range(len(elements)), key=lambda number: order(elements[number].start))
    return _joined(elements[start:] + elements[:start])
