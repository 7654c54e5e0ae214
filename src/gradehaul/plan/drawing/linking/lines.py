"""The network in the making as lines and joints: whole elements, in an order that follows from where they lie."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.elements import beyond, gap, heading, length_of, order, reverse, turned, whole, wrapped
from gradehaul.plan.drawing.linking.duplicates import longest_source, source
from gradehaul.plan.drawing.linking.turnouts import Kind, joint_of
from gradehaul.plan.drawing.linking.ways import Way, common_spot, ends_at, spot
from gradehaul.plan.drawing.records import DrawnJoint, DrawnLine, Element, Fault, Spot, Terms
from gradehaul.plan.drawing.wording import gap_text


def in_order(ways: Sequence[Way]) -> list[Way]:
    """Return ways from the lesser of their ends, in the order of their coordinates.

    By their ends in whole micrometers, then by a third of the way, which sets loops apart.
    """

    def third(elements: Sequence[Element]) -> tuple[int, int, int]:
        return order(beyond(elements, length_of(elements) / 3))

    tips = whole([spot for way in ways for spot in (way.elements[0].start, way.elements[-1].end)]).reshape(-1, 2, 3)
    side = np.sign(tips[:, 0] - tips[:, 1]) @ np.array((4, 2, 1))
    for number in np.flatnonzero(side == 0).tolist():
        elements = ways[number].elements
        side[number] = 1 if third(reverse(elements)) < third(elements) else -1
    tips[side > 0] = tips[side > 0, ::-1]
    found = [
        Way(reverse(way.elements), way.finish, way.start) if back else way
        for way, back in zip(ways, (side > 0).tolist(), strict=True)
    ]

    def key(number: int) -> tuple[object, ...]:
        return third(found[number].elements), source(found[number].elements[0])

    return [found[number] for number in _by_place(tips.reshape(-1, 6), key)]


def _by_place(table: NDArray[np.int64], key: Callable[[int], tuple[object, ...]]) -> list[int]:
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
    ways: Sequence[Way], kinds: Mapping[int, Kind], terms: Terms
) -> tuple[tuple[DrawnLine, ...], tuple[DrawnJoint, ...], list[Fault]]:
    """Return the lines and joints in the order of their coordinates, gaps closed, with faults for the wide gaps."""
    faults: list[Fault] = []
    ways = in_order(
        [
            way._replace(
                elements=_once_round(way.elements)
                if way.start == way.finish and kinds.get(way.start) == "plain"
                else _joined(way.elements)
            )
            for way in ways
        ]
    )
    for way in ways:
        _close_gaps(way.elements, terms, faults)
    joints: list[tuple[DrawnJoint, int]] = []
    for node, at in ends_at(ways).items():
        if len(at) == 1:
            joints.append((joint_of(ways, at, "end", spot(ways, at[0])), node))
            continue
        tips = [spot(ways, end) for end in at]
        here = common_spot(tips)
        if (off := max(gap(here, tip) for tip in tips)) > terms.snap / 10:
            of = source(ways[at[0] // 2].elements[-(at[0] % 2)])
            faults.append(Fault("gap", gap_text(off, terms.plan_unit), here, *of, weight=off))
        for end in at:
            _reach_out(ways[end // 2].elements, end % 2, here)
        joints.append((joint_of(ways, at, kinds.get(node, "end"), here), node))
    places = whole([joint.spot for joint, _ in joints])
    by_place = _by_place(places, lambda each: (joints[each][0].kind, joints[each][0].ends))
    numbers = {joints[each][1]: number for number, each in enumerate(by_place)}
    lines = tuple(
        DrawnLine(tuple(way.elements), numbers[way.start], numbers[way.finish], longest_source(way.elements)[1])
        for way in ways
    )
    return lines, tuple(joints[each][0] for each in by_place), faults


# Gaps


def _lengthened(element: Element, spot: Spot) -> Element:
    """Return an element with its end moved along itself until abreast of a point near its end, in plan."""
    last = heading(element, element.length)
    end = element.end
    more = (spot.x - end.x) * math.cos(last) + (spot.y - end.y) * math.sin(last)
    if abs(more) < 1e-9 or element.length + more < 1e-6:
        return element
    there = Spot(end.x + more * math.cos(last), end.y + more * math.sin(last), end.z)
    return element._replace(end=there, length=element.length + more)


def _reach_out(elements: list[Element], side: int, spot: Spot) -> None:
    """Lengthen or shorten a line at one end to the place of its joint, so that no gap is lost on a route."""
    if side and elements[-1].end[:2] != spot[:2]:
        elements[-1] = _lengthened(elements[-1], spot)
    elif not side and elements[0].start[:2] != spot[:2]:
        elements[0] = turned(_lengthened(turned(elements[0]), spot))


def _close_gaps(elements: list[Element], terms: Terms, faults: list[Fault]) -> None:
    """Lengthen elements of a line to where the next begins, a straight rather than an arc, and name the wide gaps."""
    for number in range(1, len(elements)):
        before, after = elements[number - 1], elements[number]
        if before.end[:2] == after.start[:2]:
            continue
        off = gap(before.end, after.start)
        if off > terms.snap / 10:
            faults.append(Fault("gap", gap_text(off, terms.plan_unit), before.end, *source(after), weight=off))
        if after.curvature == 0 != before.curvature:
            elements[number] = turned(_lengthened(turned(after), before.end))
        else:
            elements[number - 1] = _lengthened(before, after.start)


# Whole elements


def _goes_on(before: Element, after: Element) -> bool:
    """Return whether one element goes on as another without a step, cut from one or drawn as one."""
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
        element if -math.pi <= element.heading <= math.pi else element._replace(heading=wrapped(element.heading))
        for element in found
    ]


def _as_one(before: Element, after: Element) -> Element:
    length = before.length + after.length
    at = before.length / length
    inner = [(share * at, z) for share, z in before.inner]
    if inner or after.inner:
        inner += [(at, after.start.z or 0.0), *((at + share * (1 - at), z) for share, z in after.inner)]
    return before._replace(end=after.end, length=length, inner=tuple(inner))


def _once_round(elements: list[Element]) -> list[Element]:
    """Return a closed circuit begun at the first of its changes of curvature, or of its elements in a circle."""
    steps = [number for number, element in enumerate(elements) if not _goes_on(elements[number - 1], element)]
    start = min(steps or range(len(elements)), key=lambda number: order(elements[number].start))
    return _joined(elements[start:] + elements[:start])
