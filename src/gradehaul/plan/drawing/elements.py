"""The geometry of one element: places along it, its cut pieces, and the place on it nearest to a point."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from gradehaul.plan.drawing.records import Element, FloatArray, IntArray, Spot

TURN = 2 * math.pi


def wrapped(angle: float) -> float:
    """Return an angle, radians, brought to -π .. π."""
    return math.remainder(angle, TURN)


def height(element: Element, along: float) -> float | None:
    """Return the height at a distance along an element, m, None where the drawing has none at both of its ends."""
    low, high = element.start.z, element.end.z
    if low is None or high is None:
        return None
    if element.inner:
        shares, heights = zip((0.0, low), *element.inner, (1.0, high), strict=True)
        return float(np.interp(along / element.length, shares, heights))
    return low + (high - low) * along / element.length


def place(element: Element, along: float) -> Spot:
    """Return the point at a distance along an element, m.

    An arc of turn 2h and length s spans a chord of s sin(h)/h in the direction of its middle (plane geometry).

    Examples
    --------
    >>> quarter = Element(Spot(0, 0), Spot(1, 1), 0.0, 1.0, math.pi / 2, "", "")
    >>> spot = place(quarter, math.pi / 4)
    >>> round(spot.x, 6), round(spot.y, 6)
    (0.707107, 0.292893)
    """
    if along <= 0:
        return element.start
    if along >= element.length:
        return element.end
    half = element.curvature * along / 2
    chord = along * math.sin(half) / half if abs(half) > 1e-9 else along
    middle = element.heading + half
    x, y = element.start.x + chord * math.cos(middle), element.start.y + chord * math.sin(middle)
    return Spot(x, y, height(element, along))


def heading(element: Element, along: float) -> float:
    """Return the direction at a distance along an element, radians, -π .. π."""
    return wrapped(element.heading + element.curvature * along)


def turned(element: Element) -> Element:
    """Return the element as run from its other end."""
    back = wrapped(element.heading + element.curvature * element.length + math.pi)
    inner = tuple((1 - share, z) for share, z in reversed(element.inner)) if element.inner else ()
    start, end, _, curvature, length, handle, layer, spread, _ = element
    return Element(end, start, back, -curvature, length, handle, layer, spread, inner)


def cut(element: Element, along: float) -> tuple[Element, Element]:
    """Return the two parts of an element cut at a distance along it, m, between 0 and its length."""
    spot = place(element, along)
    first = element._replace(end=spot, length=along)
    rest = element._replace(start=spot, heading=heading(element, along), length=element.length - along)
    if element.inner:
        at = along / element.length
        first = first._replace(inner=tuple((share / at, z) for share, z in element.inner if share < at))
        rest = rest._replace(inner=tuple(((share - at) / (1 - at), z) for share, z in element.inner if share > at))
    return first, rest


def nearest(element: Element, spot: Spot) -> float:
    """Return how far along an element, m, the place nearest to a point lies, in plan.

    In the element's own frame a point (u, v) lies abreast of the turn atan2(κu, 1 - κv) (plane geometry). The element
    turns by half a circle at most.

    Examples
    --------
    >>> nearest(Element(Spot(0, 0), Spot(1, 1), 0.0, 1.0, math.pi / 2, "", ""), Spot(2, -1)) == math.pi / 4
    True
    """
    right, up = spot.x - element.start.x, spot.y - element.start.y
    cosine, sine = math.cos(element.heading), math.sin(element.heading)
    ahead, aside = right * cosine + up * sine, up * cosine - right * sine
    curvature = element.curvature
    along = math.atan2(curvature * ahead, 1 - curvature * aside) / curvature if curvature else ahead
    if 0 <= along <= element.length:
        return along
    to_start, to_end = gap(spot, element.start), gap(spot, element.end)
    return 0.0 if to_start <= to_end else element.length


def length_of(elements: Iterable[Element]) -> float:
    """Return the length of elements in a row, m."""
    return math.fsum(element.length for element in elements)


def gap(one: Spot, other: Spot) -> float:
    """Return the distance between two points in plan, m."""
    return math.hypot(one.x - other.x, one.y - other.y)


def level_with(one: float | None, other: float | None, level: float) -> bool:
    """Return whether two heights, m, are within `level` of one another; a height that is not known is with any."""
    return one is None or other is None or abs(one - other) <= level


def order(spot: Spot) -> tuple[int, int, int]:
    """Return what sorts points the same way however the drawing was made: coordinates in whole micrometers."""
    x, y, z = spot
    return round(x * 1e6), round(y * 1e6), round(z * 1e6) if z else 0


def whole(points: FloatArray) -> IntArray:
    """Return points in whole micrometers, shape (n, 3), 0 for a height that is nan: `order` of many at once."""
    return np.rint(np.nan_to_num(points) * 1e6).astype(np.int64)


def in_space(spots: Sequence[Spot]) -> FloatArray:
    """Return points as an array, m, shape (n, 3), nan for a height that is not known."""
    return np.array(spots, dtype=np.float64).reshape(-1, 3)


def in_plan(spots: Sequence[Spot]) -> FloatArray:
    """Return points as an array, m, shape (n, 2)."""
    return np.array([spot[:2] for spot in spots], dtype=np.float64).reshape(-1, 2)


def micro(value: float) -> int:
    """Return a figure in whole millionths: what sorts it, or sets it apart, to six decimals."""
    return round(value * 1e6)


def reverse(elements: Sequence[Element]) -> list[Element]:
    """Return elements as run from their other end."""
    return [turned(element) for element in reversed(elements)]


def _at(elements: Sequence[Element], along: float) -> tuple[Element, float]:
    """Return the element that lies at a distance along elements in a row, m, and how far along it that is."""
    for element in elements[:-1]:
        if along <= element.length:
            return element, along
        along -= element.length
    return elements[-1], along


def beyond(elements: Sequence[Element], along: float) -> Spot:
    """Return the place at a distance along elements in a row, m."""
    return place(*_at(elements, along))


def middle(elements: Sequence[Element]) -> Spot:
    """Return the place halfway along elements."""
    return beyond(elements, length_of(elements) / 2)
