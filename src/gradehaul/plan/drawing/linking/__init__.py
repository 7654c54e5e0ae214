"""Reaches of track become a network: what meets is joined, what is drawn twice is kept once, turnouts are found."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.elements import halved, length_of, micro, order
from gradehaul.plan.drawing.linking.duplicates import Closing, Dropped, overlap_faults
from gradehaul.plan.drawing.linking.flaws import level_misses, near_misses, strays
from gradehaul.plan.drawing.linking.lines import (
    Source,
    canonical,
    lengths_drawn,
    middle,
    reverse,
    source,
    written,
)
from gradehaul.plan.drawing.linking.sides import (
    Index,
    Tolerance,
    apply,
    cut_at_marks,
    cuts_at_changes,
    cuts_at_ends,
    indexed,
)
from gradehaul.plan.drawing.linking.turnouts import askew, settle
from gradehaul.plan.drawing.linking.ways import Ways, continuing, meet, merge, sweep
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

    Ends within `snap` meet at one joint, at the mean of where they were drawn. Lines reach from joint to joint: the
    elements at gaps are longer or shorter by them, radii stay as drawn, and a gap of more than a tenth of `snap` is
    named. An end on the side of another track,
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
        The unit in which faults name lengths.
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
    [('A', 3.0)]
    >>> [(fault.code, fault.text) for fault in linked.faults]
    [('gap', 'ends drawn 1.00 mm apart are one joint')]
    """
    tolerance = Tolerance(snap, kink, level)
    faults: list[Fault] = []
    drawn = lengths_drawn(reach.elements for reach in reaches)
    chains, dropped = _in_order(reaches)
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


def _in_order(reaches: Sequence[Reach]) -> tuple[list[list[Element]], list[Dropped]]:
    """Return the elements of reaches in an order that follows from where they lie, those drawn alike once."""
    chains: list[list[Element]] = []
    for reach in reaches:
        for element in reach.elements:
            _check(element)
        if reach.elements:
            chains.append([part for element in reach.elements for part in halved(element)])
    found = canonical(chains)
    kept: list[list[Element]] = []
    first: dict[tuple[object, ...], list[Element]] = {}
    dropped: list[Dropped] = []
    for number in found.numbers:
        chain = chains[number]
        if found.often[number] > 1:
            own = reverse(chain) if found.back[number] else chain
            places = tuple((order(e.start), order(e.end), micro(e.curvature)) for e in own)
            same = first.setdefault((places, own[0].start.z is None), own)
            if same is not own:
                dropped.append(Dropped(source(own[0]), source(same[0]), length_of(own), middle(own)))
                continue
        kept.append(chain)
    return kept, dropped


def _laid(chains: Sequence[list[Element]], tolerance: Tolerance, unit: str, faults: list[Fault]) -> Ways:
    """Return the chains as ways between nodes where their ends meet, each as far as track goes on plainly."""
    spots = [spot for chain in chains for spot in (chain[0].start, chain[-1].end)]
    group = np.array(meet(spots, snap=tolerance.snap, level=tolerance.level), dtype=np.int64)
    round_it = group[0::2] == group[1::2]
    left_out = np.zeros(len(chains), dtype=bool)
    for number in np.flatnonzero(round_it).tolist():
        chain = chains[number]
        if (length := length_of(chain)) <= _SPECK * tolerance.snap:
            text = f"a piece of track only {length_text(length, unit, _SPECK_TOLD)} long was left out"
            faults.append(Fault("stray", text, middle(chain), *source(chain[0]), weight=length))
            left_out[number] = True
    partner = _partners(chains, group, np.repeat(round_it, 2), np.repeat(left_out, 2), tolerance.kink)
    ways = Ways()
    nodes: dict[int, int] = {}
    seen = left_out.tolist()
    # Runs of chains begin where no other goes on; what is left then are rings.
    for start in (*(end for end, other in enumerate(partner) if other < 0), *range(len(partner))):
        if seen[start // 2]:
            continue
        elements: list[Element] = []
        end = start
        while end >= 0 and not seen[end // 2]:
            seen[end // 2] = True
            elements += chains[end // 2] if end % 2 == 0 else reverse(chains[end // 2])
            last = end ^ 1
            end = partner[last]
        first, final = (int(group[each]) for each in (start, last))
        for each in (first, final):
            if each not in nodes:
                nodes[each] = ways.node()
        ways.add(elements, nodes[first], nodes[final])
    return ways


def _partners(
    chains: Sequence[list[Element]],
    group: NDArray[np.int64],
    round_it: NDArray[np.bool_],
    left_out: NDArray[np.bool_],
    kink: float,
) -> list[int]:
    """Return for every end of chains the one that goes on from it where no third end meets the two, else -1."""
    partner = np.full(len(group), -1, dtype=np.int64)
    ends = np.flatnonzero(~left_out)
    by_group = ends[np.argsort(group[ends], kind="stable")]
    _, first, often = np.unique(group[by_group], return_index=True, return_counts=True)
    one, other = by_group[first[often == 2]], by_group[first[often == 2] + 1]
    tips = ((chain[0], chain[-1]) for chain in chains)
    out = np.array(
        [(a.heading, b.heading + b.curvature * b.length + math.pi) for a, b in tips], dtype=np.float64
    ).ravel()
    turn = np.abs(np.remainder(out[one] - out[other], math.tau) - math.pi)
    plain = (turn <= kink) & ~round_it[one]
    partner[one[plain]], partner[other[plain]] = other[plain], one[plain]
    found: list[int] = partner.tolist()
    return found


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
