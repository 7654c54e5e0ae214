"""Reaches of track become a network: what meets is joined, what is drawn twice is kept once, turnouts are found."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.elements import halved, length_of, micro, order
from gradehaul.plan.drawing.linking.canonical_order import Ends, Source, canonical, lengths_drawn, middle, source
from gradehaul.plan.drawing.linking.duplicates import Closing, Dropped, overlap_faults
from gradehaul.plan.drawing.linking.flaws import level_misses, near_misses, strays
from gradehaul.plan.drawing.linking.lines import written
from gradehaul.plan.drawing.linking.meetings import meet
from gradehaul.plan.drawing.linking.projection import Index, indexed
from gradehaul.plan.drawing.linking.sides import Tolerance, apply, cut_at_marks, cuts_at_changes, cuts_at_ends
from gradehaul.plan.drawing.linking.turnouts import askew, settle
from gradehaul.plan.drawing.linking.ways import Ways, continuing, merge, sweep
from gradehaul.plan.drawing.records import Element, Fault, Linked, Reach, Spot
from gradehaul.plan.drawing.wording import length_text


def link(
    reaches: Sequence[Reach],
    *,
    snap: float,
    kink: float,
    level: float,
    unit: str = "mm",
    marks: Sequence[Spot] = (),
) -> Linked:
    """Return the network that reaches of track make.

    Ends within `snap` meet at one joint, at the mean of where they were drawn; the elements keep their own figures, so
    that a radius stays as drawn, and a gap of more than a tenth of `snap` is told. An end on the side of another track,
    tangent to it, cuts it and makes a turnout. Tracks that only cross are not joined. Stretches drawn more than once
    are kept once. Lines run from joint to joint, whole through plain meetings; plain joints are left only where a
    closed circuit closes, where there is a kink, and at marks. The answer is the same in whatever order and
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
    unit
        The unit in which faults unit lengths.
    marks
        Points on the track, m, that are joints.

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
    drawn = lengths_drawn(chain.elements for chain in chains)
    chains, dropped = _unlike(chains)
    ways = _laid(chains, tolerance, unit, faults)
    index, found = _linked_up(ways, tolerance, drawn, dropped)
    faults.extend(found)
    faults.extend(overlap_faults(dropped, drawn, unit))
    kinds, found = settle(ways, kink)
    faults.extend(found)
    merge(ways, [node for node, kind in kinds.items() if kind == "plain"])
    if marks:
        index = indexed(ways, snap)
        nodes, unused = cut_at_marks(index, marks, tolerance)
        kinds |= {node: "plain" for node in map(ways.find, nodes) if node not in kinds}
        if unused:
            what = "1 point with a name lies" if unused == 1 else f"{unused} points with names lie"
            faults.append(Fault("mark-unused", f"{what} on no track and makes no joint", weight=unused))
    free = {end for node, ends in ways.nodes() if kinds[node] == "end" for end in ends}
    faults.extend(level_misses(ways, free, tolerance, unit))
    faults.extend(near_misses(ways, free, tolerance, index, unit))
    faults.extend(strays(ways, unit))
    lines, joints = written(ways, kinds, snap, unit, faults)
    faults.sort(key=lambda fault: (fault.code, -round(fault.weight, 9), order(fault.spot or Spot(0, 0)), fault.text))
    return Linked(lines, joints, tuple(faults))


# Drawing in

_SPECK = 3.0
"""Track from a joint back to itself that is no longer than this, in snaps, is no track."""
_SPECK_TOLD = 2e-5
"""How finely the length of such a piece is told, m."""


class _Chain(NamedTuple):
    elements: list[Element]
    closed: bool
    ends: Ends


def _ordered(reaches: Sequence[Reach]) -> list[_Chain]:
    """Return the reaches as chains whose order and direction follow from where they lie."""
    chains: list[list[Element]] = []
    closed: list[bool] = []
    for reach in reaches:
        for element in reach.elements:
            _check(element)
        elements = [part for element in reach.elements for part in halved(element)]
        if elements:
            chains.append(elements)
            closed.append(reach.closed)
    found = canonical(chains)
    return [_Chain(found.chains[number], closed[number], found.ends[number]) for number in found.numbers]


def _check(element: Element) -> None:
    (x, y, _), (x2, y2, _) = element.start, element.end
    if not math.isfinite(x + y + x2 + y2 + element.heading + element.curvature + element.length):
        raise DrawingError(
            "an element with a figure that is not finite", place=_told(element), write="finite coordinates"
        )
    if element.length <= 0:
        raise DrawingError("an element must be longer than 0", place=_told(element), found=f"{element.length} m")


def _told(element: Element) -> str:
    return f"handle {element.handle}" + (f" on layer {element.layer}" if element.layer else "")


def _unlike(chains: Sequence[_Chain]) -> tuple[list[_Chain], list[Dropped]]:
    """Return the chains without those that are the same figure for figure as another."""
    often = Counter(chain.ends for chain in chains)
    kept: list[_Chain] = []
    first: dict[tuple[object, ...], _Chain] = {}
    dropped: list[Dropped] = []
    for chain in chains:
        if often[chain.ends] > 1:
            places = tuple((order(e.start), order(e.end), micro(e.curvature)) for e in chain.elements)
            same = first.setdefault((chain.closed, places, chain.elements[0].start.z is None), chain)
            if same is not chain:
                length = length_of(chain.elements)
                pair = source(chain.elements[0]), source(same.elements[0])
                dropped.append(Dropped(*pair, length, middle(chain.elements)))
                continue
        kept.append(chain)
    return kept, dropped


def _laid(chains: Sequence[_Chain], tolerance: Tolerance, unit: str, faults: list[Fault]) -> Ways:
    """Return the chains as ways, between nodes where their ends meet."""
    ways = Ways()
    spots = [spot for chain in chains for spot in (chain.elements[0].start, chain.elements[-1].end)]
    groups = meet(spots, snap=tolerance.snap, level=tolerance.level)
    nodes: dict[int, int] = {}
    for number, chain in enumerate(chains):
        start, finish = groups[2 * number : 2 * number + 2]
        if start == finish and (length := length_of(chain.elements)) <= _SPECK * tolerance.snap:
            first = chain.elements[0]
            text = f"a piece of track only {length_text(length, unit, _SPECK_TOLD)} long was left out"
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


def _linked_up(
    ways: Ways, tolerance: Tolerance, drawn: dict[Source, float], dropped: list[Dropped]
) -> tuple[Index, list[Fault]]:
    """Cut ways where others begin on their sides, and close the stretches they share; return the last index of them."""
    cuts, skewed = cuts_at_ends(ways, tolerance)
    apply(ways, cuts, tolerance.snap)
    alone = {end for end in skewed if end.way in ways.all and len(ways.at(ways.node_at(end))) == 1}
    faults = [askew(place_.turn, ways.spot(end), ways.outward(end)) for end, place_ in skewed.items() if end in alone]
    _merge_plain(ways, tolerance.kink)
    closing = Closing(ways, drawn, *tolerance, dropped)
    closed = closing.run()
    if sweep(ways, _SPECK * tolerance.snap) or closed:
        _merge_plain(ways, tolerance.kink)
    index = indexed(ways, tolerance.snap)
    changes = cuts_at_changes(index, tolerance)
    if changes:
        apply(ways, changes, tolerance.snap)
        closing.run()
    sweep(ways, _SPECK * tolerance.snap)
    return index, faults


def _merge_plain(ways: Ways, kink: float) -> None:
    merge(ways, [node for node, ends in ways.nodes() if len(ends) == 2 and continuing(ways, *ends) <= kink])
