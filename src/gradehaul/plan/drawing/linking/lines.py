"""The network in the making as lines and joints: whole elements, in an order that follows from where they lie."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from gradehaul.plan.drawing.elements import gap, heading, in_space, turned, whole
from gradehaul.plan.drawing.linking.overlaps import longest_source, source
from gradehaul.plan.drawing.linking.turnouts import Kind, joint_of, named
from gradehaul.plan.drawing.linking.ways import Ways, common_spot, cut_at
from gradehaul.plan.drawing.records import BoolArray, DrawnJoint, DrawnLine, Element, Fault, IntArray, Spot, Terms
from gradehaul.plan.drawing.rows import Rows, wrapped
from gradehaul.plan.drawing.wording import gap_text


def in_order(ways: Ways) -> Ways:
    """Return ways from the lesser of their ends, in the order of their coordinates.

    By their ends in whole micrometers, then by a third of the way, which sets loops apart.
    """
    rows, weights = ways.rows, np.array((4, 2, 1))
    tips = whole(rows.tips).reshape(-1, 2, 3)
    third, last = whole(rows.beyond(1 / 3)), whole(rows.beyond(2 / 3))
    side = np.sign(tips[:, 0] - tips[:, 1]) @ weights
    back = np.where(side == 0, np.sign(third - last) @ weights, side) > 0
    tips[back], third[back] = tips[back, ::-1], last[back]
    begin = rows.origin[np.where(back, rows.first[1:] - 1, rows.first[:-1])]
    numbers = _by_place(tips.reshape(-1, 6), lambda each: (third[each].tolist(), rows.origins[begin[each]][:2]))
    return ways.run(2 * np.array(numbers, dtype=np.int64) + back[numbers])


def _by_place(table: IntArray, key: Callable[[int], tuple[object, ...]]) -> list[int]:
    """Return the numbers of rows in the order of their figures, those that are alike by a key."""
    by_place = np.lexsort(table.T[::-1])
    rows = table[by_place]
    starts = np.flatnonzero(np.append(True, (rows[1:] != rows[:-1]).any(axis=1)))
    found: list[int] = by_place.tolist()
    size = np.diff(np.append(starts, len(rows)))
    for start, count in zip(starts[size > 1].tolist(), size[size > 1].tolist(), strict=True):
        found[start : start + count] = sorted(found[start : start + count], key=key)
    return found


def written(
    ways: Ways, kinds: Mapping[int, Kind], terms: Terms
) -> tuple[tuple[DrawnLine, ...], tuple[DrawnJoint, ...], list[Fault]]:
    """Return the lines and joints in the order of their coordinates, gaps closed, with faults for the wide gaps.

    The tracks of a line are tangents of one another, so a plain joint stands wherever the direction breaks.
    """
    ways = _once_round(ways, kinds)
    breaks = np.flatnonzero(_breaks(ways.rows, np.arange(len(ways.rows.length)) - 1) & (ways.rows.before > 0))
    kinds = {**kinds, **dict.fromkeys(range(ways.fresh_node, ways.fresh_node + len(breaks)), "plain")}
    ways = in_order(cut_at(ways, breaks))
    rows = ways.rows
    inner = np.arange(1, len(rows.length))[np.diff(rows.owner) == 0]
    goes_on = np.zeros(len(rows.length), dtype=bool)
    goes_on[inner] = _goes_on(rows, inner - 1, inner)
    rows = rows.fused(goes_on)
    elements, faults = rows.rows(), list[Fault]()
    tips = [spot for own in elements for spot in (own[0].start, own[-1].end)]
    off = np.hypot(*(rows.end[:-1, :2] - rows.start[1:, :2]).T)
    for number in np.unique(rows.owner[1:][(off >= _HAIR) & (np.diff(rows.owner) == 0)]).tolist():
        faults += _close_gaps(elements[number], terms)
    joints: list[DrawnJoint] = []
    at_nodes = ways.ends_at()
    for node, at in at_nodes.items():
        if len(at) == 1:
            joints.append(DrawnJoint(tips[at[0]], "end", (named(at[0]),)))
            continue
        here = common_spot(in_space([tips[end] for end in at]))
        if (apart := max(gap(here, tips[end]) for end in at)) > terms.snap / 10:
            of = source(elements[at[0] // 2][-(at[0] % 2)])
            faults.append(Fault("gap", gap_text(apart, terms.plan_unit), here, *of, weight=apart))
        for end in at:
            _reach_out(elements[end // 2], end % 2, here)
        outward = {end: turned(elements[end // 2][-1]) if end % 2 else elements[end // 2][0] for end in at}
        joints.append(joint_of(outward, kinds.get(node, "end"), here))
    places = whole(in_space([joint.spot for joint in joints]))
    by_place = _by_place(places, lambda each: (joints[each].kind, joints[each].ends))
    nodes = list(at_nodes)
    numbers = {nodes[each]: number for number, each in enumerate(by_place)}
    lines = tuple(
        DrawnLine(tidied(own), numbers[start], numbers[finish], longest_source(own)[1])
        for own, (start, finish) in zip(elements, ways.nodes.tolist(), strict=True)
    )
    return lines, tuple(joints[each] for each in by_place), faults


# Gaps

_HAIR = 1e-9
"""A gap of less, m, is none."""


def _lengthened(element: Element, spot: Spot) -> Element:
    """Return an element with its end moved along itself until abreast of a point near its end, in plan."""
    last = heading(element, element.length)
    end = element.end
    more = (spot.x - end.x) * math.cos(last) + (spot.y - end.y) * math.sin(last)
    if abs(more) < _HAIR or element.length + more < 1e-6:
        return element
    there = Spot(end.x + more * math.cos(last), end.y + more * math.sin(last), end.z)
    return element._replace(end=there, length=element.length + more)


def _reach_out(elements: list[Element], side: int, spot: Spot) -> None:
    """Lengthen or shorten a line at one end to the place of its joint, so that no gap is lost on a route."""
    if side and elements[-1].end[:2] != spot[:2]:
        elements[-1] = _lengthened(elements[-1], spot)
    elif not side and elements[0].start[:2] != spot[:2]:
        elements[0] = turned(_lengthened(turned(elements[0]), spot))


def _close_gaps(elements: list[Element], terms: Terms) -> list[Fault]:
    """Lengthen elements of a line to where the next begins, a straight rather than an arc; name the wide gaps."""
    faults = []
    for number in range(1, len(elements)):
        before, after = elements[number - 1], elements[number]
        off = gap(before.end, after.start)
        if off > terms.snap / 10:
            faults.append(Fault("gap", gap_text(off, terms.plan_unit), before.end, *source(after), weight=off))
        if after.curvature == 0 != before.curvature:
            elements[number] = turned(_lengthened(turned(after), before.end))
        else:
            elements[number - 1] = _lengthened(before, after.start)
    return faults


# Whole elements


def _goes_on(rows: Rows, before: IntArray, after: IntArray) -> BoolArray:
    """Return whether elements go on as others without a step, cut from one or drawn as one."""
    end, start = rows.end[before], rows.start[after]
    bend = np.abs(rows.curvature[before] - rows.curvature[after])
    turn = rows.heading[before] + rows.curvature[before] * rows.length[before] - rows.heading[after]
    rise = (rows.end[:, 2] - rows.start[:, 2]) / rows.length
    even = np.abs(rise[before] - rise[after]) < 1e-6
    for each in (before, after):
        even |= np.isin(each, list(rows.inner))
    flat = np.isnan(np.column_stack([column[each, 2] for column in (rows.start, rows.end) for each in (before, after)]))
    found: BoolArray = rows.origin[before] == rows.origin[after]
    found &= (bend <= 1e-9 * (1 + np.abs(rows.curvature[before]))) & (np.hypot(*(end - start)[:, :2].T) <= 1e-7)
    found &= (np.abs(wrapped(turn)) <= 1e-6) & (flat.all(axis=1) | (even & (np.abs(end[:, 2] - start[:, 2]) < 1e-7)))
    return found


_BREAK = math.radians(1)
"""A greater break of direction, radians, ends a line (our own choice): 18 mm off after 1 m."""


def _breaks(rows: Rows, before: IntArray) -> BoolArray:
    """Return whether the direction breaks where each element begins, from the one before it on, shape (n,)."""
    turn = rows.heading[before] + rows.curvature[before] * rows.length[before] - rows.heading
    found: BoolArray = np.abs(wrapped(turn)) > _BREAK
    return found


def _once_round(ways: Ways, kinds: Mapping[int, Kind]) -> Ways:
    """Return ways of which closed circuits begin at the first break of direction.

    Without one at the first change of curvature, or of the elements of a circle.
    """
    rows, numbers = ways.rows, np.arange(len(ways.rows.length))
    closed = np.flatnonzero(ways.nodes[:, 0] == ways.nodes[:, 1]).tolist()
    closed = [number for number in closed if kinds.get(int(ways.nodes[number, 0])) == "plain"]
    if not closed:
        return ways
    before = numbers - 1
    before[rows.first[:-1]] = rows.first[1:] - 1
    step, breaks = ~_goes_on(rows, before, numbers), _breaks(rows, before)
    places = whole(rows.start)
    for number in closed:
        own = numbers[rows.first[number] : rows.first[number + 1]]
        among = next((own[each[own]] for each in (breaks, step) if each[own].any()), own)
        own[:] = np.roll(own, own[0] - among[np.lexsort(places[among].T[::-1])[0]])
    return Ways(rows.taken(numbers, np.zeros(len(numbers), dtype=bool), rows.first), ways.nodes)


SHORTEST = 1e-5
"""An element shorter than this, m, is no track: what rounding leaves where pieces meet."""
LEAST_TURN = 1e-5
"""A curve that turns by less than this, radians, is a straight: a tenth of a millimeter aside over ten meters."""


def tidied(elements: Sequence[Element]) -> tuple[Element, ...]:
    """Return elements without those too short to be track, and with those that hardly turn as straights.

    What is left out goes to the length of its neighbor. A line that is shorter than any track as a whole stays.

    Examples
    --------
    >>> long = Element(Spot(0, 0), Spot(2, 0), 0.0, 1e-7, 2.0, "", "")
    >>> short = Element(Spot(2, 0), Spot(2.000001, 0), 0.0, 1.0, 1e-6, "", "")
    >>> [[(element.length, element.curvature) for element in tidied(row)] for row in ([long, short], [short, long])]
    [[(2.000001, 0.0)], [(2.000001, 0.0)]]
    """
    if all(e.length >= SHORTEST and (e.curvature == 0 or abs(e.curvature) * e.length >= LEAST_TURN) for e in elements):
        return tuple(elements)
    found: list[Element] = []
    waiting = 0.0
    for element in elements:
        if element.length >= SHORTEST or len(elements) == 1:
            straight = abs(element.curvature) * element.length < LEAST_TURN
            curvature = 0.0 if straight else element.curvature
            found.append(element._replace(length=element.length + waiting, curvature=curvature))
            waiting = 0.0
        elif found:
            found[-1] = found[-1]._replace(length=found[-1].length + element.length, end=element.end)
        else:
            waiting += element.length
    return tuple(found) if found else (elements[0]._replace(length=waiting, end=elements[-1].end),)
