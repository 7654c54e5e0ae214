"""Reaches of track become a network: what meets is joined, what is drawn twice is kept once, turnouts are found."""

from __future__ import annotations

import math
from collections.abc import Sequence

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.elements import halved, length_of, middle, order
from gradehaul.plan.drawing.linking.duplicates import lengths_drawn, once, overlap_faults, source
from gradehaul.plan.drawing.linking.flaws import level_misses, near_misses, strays
from gradehaul.plan.drawing.linking.lines import in_order, written
from gradehaul.plan.drawing.linking.sides import Index, mark_cuts, side_cuts
from gradehaul.plan.drawing.linking.turnouts import askew, judged
from gradehaul.plan.drawing.linking.ways import (
    Tolerance,
    Way,
    cut_ways,
    ends_at,
    meet,
    merged,
    outward,
    spot,
    without_specks,
)
from gradehaul.plan.drawing.records import Element, Fault, Linked, Reach, Spot
from gradehaul.plan.drawing.wording import length_text

_SPECK_FINE = 2e-5
"""How finely the length of a piece that is left out is named, m."""


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
    named. An end on the side of another track, tangent to it, cuts it and makes a turnout. Tracks that only cross are
    not joined. Track is cut wherever another begins or ends to run along with it; of the stretches that lie on one
    another then between the same two joints one is kept. Lines run from joint to joint, whole through plain meetings;
    plain joints are left only where a closed circuit closes, where there is a kink, and at marks. The answer is the
    same in whatever order and direction the reaches were drawn.

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
    every = [element for reach in reaches for element in reach.elements]
    for element in every:
        _check(element)
    drawn = lengths_drawn(every)
    chains = [[part for e in reach.elements for part in halved(e)] for reach in reaches if reach.elements]
    nodes = iter(meet([spot for chain in chains for spot in (chain[0].start, chain[-1].end)], snap=snap, level=level))
    ways, specks = without_specks([Way(chain, next(nodes), next(nodes)) for chain in chains], snap)
    faults = [_speck(way.elements, unit) for way in specks]
    if not ways:
        return Linked((), (), tuple(faults))
    ways = in_order(merged(ways, kink))
    cuts, skewed = side_cuts(ways, tolerance)
    loose = {ways[end // 2].node(end): (turn, spot(ways, end), outward(ways, end)) for end, turn in skewed.items()}
    ways, _ = without_specks(cut_ways(ways, cuts, snap), snap)
    faults += [askew(*loose[node]) for node, at in ends_at(ways).items() if len(at) == 1 and node in loose]
    ways, dropped = once(ways, drawn, tolerance)
    faults += overlap_faults(dropped, drawn, unit)
    ways, kinds, found = judged(merged(ways, kink), kink)
    faults += found
    ways = merged(ways, plain=[node for node, kind in kinds.items() if kind == "plain"])
    index = Index(ways, snap)
    if marks:
        cuts, unused = mark_cuts(index, marks, tolerance)
        ways = cut_ways(ways, cuts, snap)
        kinds |= {node: "plain" for way in ways for node in way[1:] if node not in kinds}
        index = Index(ways, snap)
        if unused:
            what = "1 point with a name lies" if unused == 1 else f"{unused} points with names lie"
            faults.append(Fault("mark-unused", f"{what} on no track and makes no joint", weight=unused))
    free = [end for node, at in ends_at(ways).items() if kinds[node] == "end" for end in at]
    faults += [*level_misses(ways, free, tolerance, unit), *near_misses(index, free, tolerance, unit)]
    faults += strays(index, unit)
    lines, joints, gaps = written(ways, kinds, snap, unit)
    faults += gaps
    faults.sort(key=lambda fault: (fault.code, -round(fault.weight, 9), order(fault.spot or Spot(0, 0)), fault.text))
    return Linked(lines, joints, tuple(faults))


def _check(element: Element) -> None:
    (x, y, _), (x2, y2, _) = element.start, element.end
    place = f"handle {element.handle}" + (f" on layer {element.layer}" if element.layer else "")
    if not math.isfinite(x + y + x2 + y2 + element.heading + element.curvature + element.length):
        raise DrawingError("an element with a figure that is not finite", place=place, write="finite coordinates")
    if element.length <= 0:
        raise DrawingError("an element must be longer than 0", place=place, found=f"{element.length} m")


def _speck(elements: Sequence[Element], unit: str) -> Fault:
    length = length_of(elements)
    text = f"a piece of track only {length_text(length, unit, _SPECK_FINE)} long was left out"
    return Fault("stray", text, middle(elements), *source(elements[0]), weight=length)
