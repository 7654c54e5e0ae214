"""Reaches of track become a network: what meets is joined, what is drawn twice is kept once, turnouts are found."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.elements import middle, order
from gradehaul.plan.drawing.linking.flaws import level_misses, near_misses, strays
from gradehaul.plan.drawing.linking.lines import in_order, written
from gradehaul.plan.drawing.linking.overlaps import lengths_drawn, mark_cuts, once, overlap_faults, side_cuts, source
from gradehaul.plan.drawing.linking.turnouts import askew, judged
from gradehaul.plan.drawing.linking.ways import Ways, common_spot, cut_ways, meet, merged, specks, without_specks
from gradehaul.plan.drawing.nearness import Nearness
from gradehaul.plan.drawing.records import Element, Fault, Linked, Spot, Terms
from gradehaul.plan.drawing.rows import Rows
from gradehaul.plan.drawing.wording import length_text

_SPECK_FINE = 2e-5
"""How finely the length of a piece that is left out is named, m."""


def link(reaches: Rows, terms: Terms, marks: Sequence[Spot] = ()) -> Linked:
    """Return the network that reaches of track make, with joints at `marks` too; faults by code, worst first.

    Ends within `snap` meet at one joint, at the mean of where they were drawn. Lines reach from joint to joint: the
    elements at gaps are longer or shorter by them, radii stay as drawn, and a gap of more than a tenth of `snap` is
    named. An end on the side of another track, tangent to it, cuts it and makes a turnout. Tracks that only cross are
    not joined. Track is cut wherever another begins or ends to run along with it; of the stretches that lie on one
    another then between the same two joints one is kept. Lines run from joint to joint, whole through plain meetings;
    plain joints are left only where a closed circuit closes, where the direction breaks, and at marks. The answer is
    the same in whatever order and direction the reaches were drawn.

    Raises
    ------
    DrawingError
        For an element without a length or with a figure that is not finite.

    Examples
    --------
    >>> from gradehaul.plan.drawing.records import Element, terms
    >>> straights = [[Element(Spot(x, 0), Spot(end, 0), 0, 0, end - x, "", "")] for x, end in ((0, 2), (2.001, 3))]
    >>> linked = link(Rows.of(straights), terms(0.0165, "mm", ["*"]))
    >>> [round(line.length, 3) for line in linked.lines]
    [3.0]
    >>> [(fault.code, fault.text) for fault in linked.faults]
    [('gap', 'ends drawn 1.00 mm apart are one joint')]
    """
    snap, kink, unit = terms.snap, terms.kink, terms.plan_unit
    _check(reaches)
    drawn = lengths_drawn(reaches)
    rows = reaches.halved()
    ways = Ways(rows, meet(rows.tips, snap=snap, level=terms.level).reshape(-1, 2))
    left_out = ways.rows.only(np.flatnonzero(specks(ways, snap)))
    faults = [_speck(*each, unit) for each in zip(left_out.rows(), left_out.total.tolist(), strict=True)]
    ways = without_specks(ways, snap)
    if not len(ways):
        return Linked((), (), tuple(faults))
    ways = in_order(merged(ways, kink))
    cuts, skewed = side_cuts(ways, terms)
    nodes, tips = ways.nodes.ravel(), ways.rows.tips
    loose = {int(nodes[end]): (turn, common_spot(tips[[end]]), ways.outward(end)) for end, turn in skewed.items()}
    ways = without_specks(cut_ways(ways, cuts, snap), snap)
    often = np.bincount(ways.nodes.ravel(), minlength=max(loose, default=0) + 1)
    faults += [askew(*found) for node, found in loose.items() if often[node] == 1]
    ways, dropped = once(ways, drawn, terms)
    faults += overlap_faults(dropped, drawn, unit)
    ways, kinds, found = judged(merged(ways, kink), kink)
    faults += found
    ways = merged(ways, plain=[node for node, kind in kinds.items() if kind == "plain"])
    if marks:
        cuts, unused = mark_cuts(ways, marks, terms)
        ways = cut_ways(ways, cuts, snap)
        kinds |= {cut.node: "plain" for cut in cuts}  # those that are joined to others keep the kind of these
        if unused:
            what = "1 point with a name lies" if unused == 1 else f"{unused} points with names lie"
            faults.append(Fault("mark-unused", f"{what} on no track and makes no joint", weight=unused))
    met = [node for node, kind in kinds.items() if kind != "end"]
    free = np.flatnonzero(~np.isin(ways.nodes.ravel(), met))
    faults += [
        *level_misses(ways, free, terms),
        *near_misses(ways, Nearness(ways.rows), free, terms),
        *strays(ways, unit),
    ]
    lines, joints, gaps = written(ways, kinds, terms)
    faults += gaps
    faults.sort(key=lambda fault: (fault.code, -round(fault.weight, 9), order(fault.spot or Spot(0, 0)), fault.text))
    return Linked(lines, joints, tuple(faults))


def _check(rows: Rows) -> None:
    figures = rows.start[:, :2].sum(axis=1) + rows.end[:, :2].sum(axis=1) + rows.heading + rows.curvature + rows.length
    finite = np.isfinite(figures)
    for number in np.flatnonzero(~finite | (rows.length <= 0)).tolist()[:1]:
        element = rows.element(number)
        place = f"handle {element.handle}" + (f" on layer {element.layer}" if element.layer else "")
        if not finite[number]:
            raise DrawingError("an element with a figure that is not finite", place=place, write="finite coordinates")
        raise DrawingError("an element must be longer than 0", place=place, found=f"{element.length} m")


def _speck(elements: Sequence[Element], length: float, unit: str) -> Fault:
    text = f"a piece of track only {length_text(length, unit, _SPECK_FINE)} long was left out"
    return Fault("stray", text, middle(elements), *source(elements[0]), weight=length)
