"""The heights that a drawing tells: of 3D track, and of texts beside joints, held against those the plan gives."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.elements import gap, halved, nearest, place
from gradehaul.plan.drawing.records import Element, Fault, FloatArray, Label, Spot, Stroke
from gradehaul.plan.drawing.told import at_text
from gradehaul.plan.names import quoted
from gradehaul.quantities import describe

MISFIT = 0.002
"""Heights of one place that differ by more than this, m, contradict one another; rises round a loop likewise."""
SAME = 1e-5
"""Heights that differ by less than this, m, are one height, and a height this near to an even climb tells nothing."""

_ENDS = 1e-6
_LISTED = 6


class Told(NamedTuple):
    """A height, m, and what tells it."""

    height: float
    by: str


@dataclass(frozen=True, slots=True)
class Heights:
    """Heights of joints that the drawing tells and the plan does not, heights along lines, and what is noted."""

    joints: dict[int, float]
    along: list[tuple[tuple[float, float], ...]]
    """For each line, pairs of distance and height, m, between its ends."""
    faults: list[Fault]
    errors: list[DrawingError]


class Ground(NamedTuple):
    """What heights are read for: lines with their two joints, joints with their places and names, and the unit."""

    lines: Sequence[tuple[Sequence[Element], int, int]]
    spots: Sequence[Spot]
    names: Sequence[str]
    line_names: Sequence[str]
    tell: str


def read_heights(
    ground: Ground,
    strokes: Sequence[Stroke],
    texts: Sequence[tuple[Label, float]],
    given: Mapping[str, float],
    *,
    near: float,
    reach: float,
    edge: float,
) -> Heights:
    """Return the heights of joints and along lines.

    A joint has the height that the plan gives, else that of the text nearest to it, else the mean z of the ends that
    meet there. Heights of one place that differ by up to 2 mm are noted, by more are an error each.

    Parameters
    ----------
    ground
        The network.
    strokes
        The drawing's strokes: z of their vertices is read along the lines that were made of them.
    texts
        Texts that are heights, m.
    given
        The plan's heights of joints by name, m.
    near
        How far from its joint a text may stand, m.
    reach
        How far lines may lie from the strokes they were made of, m.
    edge
        A height so near to where the curvature changes, m, belongs there: what is fitted is known no better, and a
        change of grade a hair beside it would make a place of its own.
    """
    told = [[Told(given[name], "[railhead]")] if name in given else [] for name in ground.names]
    faults: list[Fault] = []
    _texts_at_joints(ground, texts, told, near, faults)
    courses: dict[str, list[_Course]] = {}
    for stroke in strokes:
        if stroke.heights is not None:
            courses.setdefault(stroke.handle, []).append(_course(stroke))
    conflicts: list[_Conflict] = []
    along = [_inner(ground, number, told, courses, reach, conflicts) for number in range(len(ground.lines))]
    heights = [_settled(ground, number, own, conflicts) for number, own in enumerate(told)]
    joints = {
        number: height
        for number, (name, height) in enumerate(zip(ground.names, heights, strict=True))
        if height is not None and name not in given
    }
    thinned = [
        _thinned(_at_edges(pairs, elements, edge), heights[start], heights[finish], _length(elements))
        for pairs, (elements, start, finish) in zip(along, ground.lines, strict=True)
    ]
    conflicts.sort(key=lambda conflict: -conflict.spread)
    faults += [conflict.fault(ground.tell) for conflict in conflicts if conflict.spread <= MISFIT]
    errors = [conflict.error(ground.tell) for conflict in conflicts if conflict.spread > MISFIT]
    return Heights(joints, thinned, faults, errors)


class _Conflict(NamedTuple):
    """Heights of one place that differ: by how much, m, of what, by what they are told, and where it is."""

    spread: float
    subject: str
    heights: str
    spot: Spot

    def error(self, tell: str) -> DrawingError:
        return DrawingError(
            f"heights contradict one another by {describe(self.spread, 'length', tell)}",
            place=f"{self.subject} at {at_text(self.spot, tell)}",
            found=self.heights,
            write="the right one, or none of the others",
        )

    def fault(self, tell: str) -> Fault:
        text = f"{self.subject}: {self.heights} differ by {describe(self.spread, 'length', tell)}"
        return Fault("height-misfit", text, self.spot, weight=self.spread)


def _inner(
    ground: Ground,
    number: int,
    told: list[list[Told]],
    courses: Mapping[str, Sequence[_Course]],
    reach: float,
    conflicts: list[_Conflict],
) -> list[tuple[float, float]]:
    """Return the heights along a line between its ends; those at its ends go to what is told of its joints."""
    elements, start, finish = ground.lines[number]
    if all(element.start.z is None and element.end.z is None for element in elements):
        return []
    name = ground.line_names[number]
    pairs, length = _along(elements, courses, reach)
    inner: list[tuple[float, float]] = []
    for distance, group in groupby(pairs, key=lambda pair: pair[0]):
        heights = [height for _, height in group]
        if distance <= _ENDS or distance >= length - _ENDS:
            own = told[start if distance <= _ENDS else finish]
            own += [Told(height, f"z of line {quoted(name)}") for height in heights]
            continue
        spread = max(heights) - min(heights)
        if spread > SAME:
            listed = " and ".join(f"z {describe(height, 'length', ground.tell)}" for height in heights)
            conflicts.append(_Conflict(spread, f"line {quoted(name)}", listed, _spot_at(elements, distance)))
        inner.append((distance, math.fsum(heights) / len(heights)))
    return inner


def _settled(ground: Ground, number: int, told: Sequence[Told], conflicts: list[_Conflict]) -> float | None:
    """Return the height of a joint by what is told of it: the plan's or a text's, else the mean z of its lines."""
    if not told:
        return None
    heights = [each.height for each in told]
    spread = max(heights) - min(heights)
    if spread > SAME:
        subject = f"joint {quoted(ground.names[number])}"
        conflicts.append(_Conflict(spread, subject, _list_told(told, ground.tell), ground.spots[number]))
    first = told[0]
    return math.fsum(heights) / len(heights) if first.by.startswith("z ") else first.height


def _list_told(told: Sequence[Told], tell: str) -> str:
    parts = list(dict.fromkeys(f"{describe(each.height, 'length', tell)} ({each.by})" for each in told))
    more = f" and {len(parts) - _LISTED} more" if len(parts) > _LISTED else ""
    return ", ".join(parts[:_LISTED]) + more


def _spot_at(elements: Sequence[Element], distance: float) -> Spot:
    for element in elements:
        if distance <= element.length / 2:
            return element.start
        distance -= element.length
    return elements[-1].end


def _texts_at_joints(
    ground: Ground, texts: Sequence[tuple[Label, float]], told: list[list[Told]], near: float, faults: list[Fault]
) -> None:
    """Give each text that is a height to the joint nearest to it; tell of those that stand near none."""
    if not texts:
        return
    places = np.array([(spot.x, spot.y) for spot in ground.spots])
    found: list[tuple[float, str, int, float]] = []
    for label, height in texts:
        off = np.hypot(places[:, 0] - label.spot.x, places[:, 1] - label.spot.y)
        number = int(np.argmin(off))
        if off[number] <= near:
            found.append((float(off[number]), label.text, number, height))
        else:
            text = f"the height {quoted(label.text)} stands near no joint and is not used"
            faults.append(Fault("height-unused", text, label.spot, label.handle, label.layer, float(off[number])))
    for _, label_text, number, height in sorted(found):
        told[number].append(Told(height, f"the text {quoted(label_text)}"))


# Along lines


class _Course(NamedTuple):
    """A stroke with heights: its vertices, shape (n, 2), their distances along it, m, and heights, m, shape (n,)."""

    points: FloatArray
    bulges: FloatArray
    distance: FloatArray
    heights: FloatArray
    closed: bool

    def height(self, distance: float) -> float:
        """Return the height at a distance along the stroke, which may lie a lap before or after."""
        return float(np.interp(self.wrapped(distance), self.distance, self.heights))

    def wrapped(self, distance: float) -> float:
        total = float(self.distance[-1])
        return distance % total if self.closed and not 0 <= distance <= total else distance


def _course(stroke: Stroke) -> _Course:
    chord = np.hypot(*np.diff(stroke.points, axis=0).T)
    turn = 4 * np.arctan(stroke.bulges)
    length = chord / np.sinc(turn / (2 * math.pi))
    distance = np.concatenate(([0.0], np.cumsum(length)))
    assert stroke.heights is not None
    level = abs(stroke.heights[-1] - stroke.heights[0]) < MISFIT  # a helix comes back to its place on another level
    closed = bool(level and np.hypot(*(stroke.points[-1] - stroke.points[0])) < _ENDS)
    return _Course(stroke.points, stroke.bulges, distance, stroke.heights, closed)


def _along(
    elements: Sequence[Element], courses: Mapping[str, Sequence[_Course]], reach: float
) -> tuple[list[tuple[float, float]], float]:
    """Return distances and heights along a line, rising, those at its ends too, and its length, m.

    Elements in a row that come from one stroke are held against that stroke; its vertices between their ends bring
    their heights along.
    """
    found: list[tuple[float, float]] = []
    base = 0.0
    for handle, group in groupby(elements, key=lambda element: element.handle):
        run = list(group)
        length = math.fsum(element.length for element in run)
        own: list[tuple[float, float]] | None = None
        for course in courses.get(handle, ()):
            own = own or _vertices(run, length, course, reach)
        if own is None:
            own = list(_element_ends(run))
        found += [(base + length if at >= length - _ENDS else base + max(at, 0.0), height) for at, height in own]
        base += length
    return found, base


def _element_ends(run: Sequence[Element]) -> Iterator[tuple[float, float]]:
    """Yield the heights at the ends of elements, where they have any."""
    at = 0.0
    for element in run:
        if element.start.z is not None and element.end.z is not None:
            if at == 0.0:
                yield at, element.start.z
            yield at + element.length, element.end.z
        at += element.length


def _vertices(run: Sequence[Element], length: float, course: _Course, reach: float) -> list[tuple[float, float]] | None:
    """Return the heights of a stroke's vertices along elements made of it, with those at both ends.

    Where the stroke passes a place more than once, as a helix does, the stretch of it is the one whose length and
    heights are those of the elements.
    """
    first, last = run[0].start, run[-1].end
    if first.z is None or last.z is None:
        return None
    total = float(course.distance[-1])
    laps = (-total, 0.0, total) if course.closed else (0.0,)
    best, stretch = math.inf, (0.0, 0.0)
    for since in _feet(course, first, reach):
        for foot in _feet(course, last, reach):
            for until in (foot + lap for lap in laps):
                off = abs(abs(until - since) - length)
                off += abs(course.height(since) - first.z) + abs(course.height(until) - last.z)
                if off < best:
                    best, stretch = off, (since, until)
    since, until = stretch
    if since == until or best > 0.02 * length + 4 * reach:
        return None
    low, high = min(stretch), max(stretch)
    places = np.concatenate([course.distance + lap for lap in laps])
    heights = np.tile(course.heights, len(laps))
    inside = (places > low + _ENDS) & (places < high - _ENDS)
    share = (places[inside] - since) / (until - since)
    order = np.argsort(share, kind="stable")
    inner = list(zip((share[order] * length).tolist(), heights[inside][order].tolist(), strict=True))
    # the seam of a closed stroke stands twice
    inner = [pair for before, pair in pairwise([(-1.0, 0.0), *inner]) if pair[0] > before[0] + _ENDS]
    return [(0.0, course.height(since)), *inner, (length, course.height(until))]


def _feet(course: _Course, spot: Spot, reach: float) -> list[float]:
    """Return where a stroke passes within reach of a point: distances along it, m, one for each time it passes."""
    start, step = course.points[:-1], np.diff(course.points, axis=0)
    size = np.maximum((step**2).sum(axis=1), 1e-30)
    offset = np.array((spot.x, spot.y)) - start
    share = np.clip((offset * step).sum(axis=1) / size, 0.0, 1.0)
    off = np.hypot(*(offset - share[:, None] * step).T)
    at = course.distance[:-1] + share * np.diff(course.distance)
    for number in np.flatnonzero(course.bulges):
        at[number], off[number] = _foot_on_arc(course, int(number), spot)
    near: NDArray[np.int_] = np.flatnonzero(off <= reach)
    passes = np.split(near, np.flatnonzero(np.diff(near) > 1) + 1)
    return [float(at[group[int(np.argmin(off[group]))]]) for group in passes if len(group)]


def _foot_on_arc(course: _Course, number: int, spot: Spot) -> tuple[float, float]:
    (x, y), (x2, y2) = course.points[number], course.points[number + 1]
    turn = 4 * math.atan(course.bulges[number])
    length = float(course.distance[number + 1] - course.distance[number])
    heading = math.atan2(y2 - y, x2 - x) - turn / 2
    arc = Element(Spot(x, y), Spot(x2, y2), heading, turn / length, length, "", "")
    best, at, passed = math.inf, 0.0, 0.0
    for part in halved(arc):
        here = nearest(part, spot)
        off = gap(place(part, here), spot)
        if off < best:
            best, at = off, passed + here
        passed += part.length
    return float(course.distance[number]) + at, best


def _length(elements: Sequence[Element]) -> float:
    return math.fsum(element.length for element in elements)


def _at_edges(
    pairs: Sequence[tuple[float, float]], elements: Sequence[Element], edge: float
) -> list[tuple[float, float]]:
    """Return heights along a line, those near to where two elements meet at that very place."""
    if not pairs:
        return []
    ends = np.cumsum([0.0, *(element.length for element in elements)])
    found: dict[float, list[float]] = {}
    for distance, height in pairs:
        nearest_end = float(ends[int(np.argmin(np.abs(ends - distance)))])
        place_ = nearest_end if abs(nearest_end - distance) <= edge else distance
        found.setdefault(place_, []).append(height)
    return [(distance, math.fsum(heights) / len(heights)) for distance, heights in sorted(found.items())]


def _thinned(
    pairs: Sequence[tuple[float, float]], low: float | None, high: float | None, length: float
) -> tuple[tuple[float, float], ...]:
    """Return the heights along a line without those that an even climb between the others tells as well.

    Each that is left out lies within 0.01 mm of the climb between those kept on both sides of it. Where an end of the
    line has no height of its own, the first or last of the heights stays.
    """
    ends = [(0.0, low)] if low is not None else []
    every = [*ends, *pairs, *([(length, high)] if high is not None else [])]
    if len(every) < 3:
        return tuple(pairs)
    table = np.array(every, dtype=float)
    keep = np.zeros(len(table), dtype=bool)
    keep[[0, -1]] = True
    stack = [(0, len(table) - 1)]
    while stack:
        first, last = stack.pop()
        if last - first < 2:
            continue
        (s0, z0), (s1, z1) = table[first], table[last]
        inner = table[first + 1 : last]
        off = np.abs(inner[:, 1] - (z0 + (z1 - z0) * (inner[:, 0] - s0) / (s1 - s0)))
        worst = int(np.argmax(off))
        if off[worst] > SAME:
            middle = first + 1 + worst
            keep[middle] = True
            stack += [(first, middle), (middle, last)]
    kept = table[keep]
    return tuple((s, z) for s, z in kept.tolist() if _ENDS < s < length - _ENDS)
