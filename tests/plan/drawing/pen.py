"""A pen that draws reaches of track from straights and arcs with exact tangents."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from gradehaul.plan.drawing.elements import cut, turned
from gradehaul.plan.drawing.records import Element, Linked, Reach, Spot
from gradehaul.plan.drawing.rows import Rows

Track = tuple[float, float]
"""Length, m, and curvature, 1/m, left positive."""


def arc(radius, degrees):
    """Return an arc by its radius, m, negative to the right, and the angle it turns by."""
    return abs(radius) * math.radians(degrees), 1 / radius


def straight(length):
    return length, 0.0


def draw(start: tuple[float, float, float], tracks: Iterable[Track], handle="", *, heights=None) -> list[Element]:
    """Return elements from a place and heading; `heights` are z at the start and the grade."""
    x, y, heading = start
    z, grade = heights or (None, 0.0)
    elements = []
    for length, curvature in tracks:
        if curvature:
            turn = heading + curvature * length
            end_x = x + (math.sin(turn) - math.sin(heading)) / curvature
            end_y = y - (math.cos(turn) - math.cos(heading)) / curvature
        else:
            turn, end_x, end_y = heading, x + length * math.cos(heading), y + length * math.sin(heading)
        top = None if z is None else z + grade * length
        elements.append(Element(Spot(x, y, z), Spot(end_x, end_y, top), heading, curvature, length, handle, "TRACK"))
        x, y, heading, z = end_x, end_y, turn, top
    return elements


def after(elements: Sequence[Element]) -> tuple[float, float, float]:
    """Return the place and heading where elements end."""
    last = elements[-1]
    return last.end.x, last.end.y, last.heading + last.curvature * last.length


def before(elements: Sequence[Element]) -> tuple[float, float, float]:
    """Return the place and heading of a train that runs out of where elements begin."""
    return after(back(elements))


def back(elements: Sequence[Element]) -> list[Element]:
    return [turned(element) for element in reversed(elements)]


def reach(elements: Sequence[Element], *, closed=False) -> Reach:
    return Reach(tuple(elements), closed)


def line(start, tracks, handle="", *, closed=False, heights=None) -> Reach:
    return reach(draw(start, tracks, handle, heights=heights), closed=closed)


def rows_of(reaches: Iterable[Reach]) -> Rows:
    reaches = list(reaches)
    return Rows.of([one.elements for one in reaches], [one.closed for one in reaches])


def shifted(elements: Sequence[Element], dx: float, dy: float) -> list[Element]:
    def move(spot):
        return Spot(spot.x + dx, spot.y + dy, spot.z)

    return [element._replace(start=move(element.start), end=move(element.end)) for element in elements]


def parts(elements: Sequence[Element], places: Iterable[float]) -> list[list[Element]]:
    """Return elements cut at distances along them."""
    found, own, passed = [], [], 0.0
    waiting = sorted(places)
    for element in elements:
        left = element
        while waiting and waiting[0] < passed + left.length:
            first, left = cut(left, waiting[0] - passed)
            passed = waiting.pop(0)
            found.append([*own, first])
            own = []
        own.append(left)
        passed += left.length
    return [*found, own]


def length_of(elements: Iterable[Element]) -> float:
    return math.fsum(element.length for element in elements)


def kinds(linked: Linked) -> dict[str, int]:
    """Return how many joints there are of each kind."""
    count: dict[str, int] = {}
    for joint in linked.joints:
        count[joint.kind] = count.get(joint.kind, 0) + 1
    return count


def codes(linked: Linked) -> list[str]:
    return [fault.code for fault in linked.faults]


def lengths(linked: Linked) -> list[float]:
    return sorted(round(length_of(one.elements), 6) for one in linked.lines)
