"""Track at z = 0 in a drawing with heights: whether it lies at 0, or was drawn flat and has no height."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from gradehaul.plan.drawing.elements import gap, halved, nearest, place
from gradehaul.plan.drawing.heights.along import MISFIT
from gradehaul.plan.drawing.nearness import Nearness, dot
from gradehaul.plan.drawing.records import Element, Label, Linked, Reach, Spot, Stroke


def at_zero_elevation(
    reaches: Sequence[Reach], texts: Sequence[tuple[Label, float]], *, near: float, snap: float
) -> list[Reach]:
    """Return reaches with those set to height 0 that lie there.

    Where any track of a drawing has a z other than 0 the drawing is one in space, and track at z = 0 lies at 0. Arcs
    are often drawn flat in such a drawing, though, between track that climbs: where track at z = 0 runs on into track
    at another height, or a text beside an end of it tells one, neither it nor the track at z = 0 that it meets has a
    height; `raised_by_plan` does the same for heights of the plan. Track meets where one ends on the end or the side of
    another; what only crosses does not meet.

    Parameters
    ----------
    reaches
        What was fitted to the strokes of the drawing; a reach at z = 0 throughout has no z in it.
    texts
        Texts that are heights, m, and are not yet used.
    near
        How far from an end its text may stand, m.
    snap
        How far apart ends that meet may be, m.

    Examples
    --------
    >>> def straight(start, end, z):
    ...     return Reach((Element(Spot(start, 0, z), Spot(end, 0, z), 0.0, 0.0, end - start, "", ""),), False, "", "")
    >>> found = at_zero_elevation([straight(0, 1, 0.05), straight(3, 4, None)], [], near=0.1, snap=0.01)
    >>> found[1].elements[0].start.z
    0.0
    >>> found = at_zero_elevation([straight(0, 1, 0.05), straight(1, 2, None)], [], near=0.1, snap=0.01)
    >>> found[1].elements[0].start.z is None
    True
    """
    flat = [number for number, reach in enumerate(reaches) if _is_flat(reach)]
    if not flat or len(flat) == len(reaches):
        return list(reaches)
    group = {number: number for number in flat}

    def find(number: int) -> int:
        while group[number] != number:
            group[number] = group[group[number]]
            number = group[number]
        return number

    elsewhere: set[int] = set()
    higher: list[tuple[int, Spot]] = []
    level: dict[int, list[Spot]] = {}
    for one, other, spot, height in _meetings(reaches, set(flat), snap):
        if other in group and one in group:
            group[find(other)] = find(one)
        elif height is not None and abs(height) > MISFIT:
            higher.append((one if one in group else other, spot))
        elif height is not None:
            level.setdefault(one if one in group else other, []).append(spot)
    # where it meets track at 0 too, as below the turns of a helix, what is higher only lies above it
    elsewhere.update(own for own, spot in higher if all(gap(spot, each) > 2 * snap for each in level.get(own, ())))
    elsewhere.update(_told(reaches, flat, texts, near))
    drawn_flat = {find(number) for number in elsewhere}
    return [
        reach if number not in group or find(number) in drawn_flat else _at_zero(reach)
        for number, reach in enumerate(reaches)
    ]


def raised_by_plan(
    linked: Linked, strokes: Sequence[Stroke], names: Sequence[str], given: Mapping[str, float]
) -> Linked:
    """Return a network without the heights of track at z = 0 that meets a joint to which the plan gives another height.

    Parameters
    ----------
    linked
        The network.
    strokes
        The strokes of which it was made.
    names
        The names of its joints by number.
    given
        The plan's heights of joints, m.
    """
    high = [number for number, name in enumerate(names) if abs(given.get(name, 0.0)) > MISFIT]
    if not high:
        return linked
    in_space = {stroke.handle for stroke in strokes if stroke.heights is not None}

    def is_grounded(element: Element) -> bool:
        return element.start.z == element.end.z == 0.0 and element.handle not in in_space

    elements = [list(line.elements) for line in linked.lines]
    waiting = [(end.line, end.end) for number in high for end in linked.joints[number].ends]
    seen = set(waiting)
    while waiting:
        line, end = waiting.pop()
        order = range(len(elements[line])) if end == "from" else range(len(elements[line]) - 1, -1, -1)
        for number in order:
            if not is_grounded(elements[line][number]):
                break
            elements[line][number] = _without(elements[line][number])
        else:
            joint = linked.lines[line].finish if end == "from" else linked.lines[line].start
            further = [(each.line, each.end) for each in linked.joints[joint].ends if (each.line, each.end) not in seen]
            seen.update(further)
            waiting += further
    lines = tuple(replace(line, elements=tuple(own)) for line, own in zip(linked.lines, elements, strict=True))
    return replace(linked, lines=lines)


def _without(element: Element) -> Element:
    return replace(element, start=element.start._replace(z=None), end=element.end._replace(z=None))


def _is_flat(reach: Reach) -> bool:
    return all(element.start.z is None and element.end.z is None for element in reach.elements)


def _at_zero(reach: Reach) -> Reach:
    return replace(
        reach,
        elements=tuple(
            replace(element, start=element.start._replace(z=0.0), end=element.end._replace(z=0.0))
            for element in reach.elements
        ),
    )


def _ends(reach: Reach) -> list[Spot]:
    return [] if reach.closed else [reach.elements[0].start, reach.elements[-1].end]


def _meetings(reaches: Sequence[Reach], flat: set[int], snap: float) -> Iterator[tuple[int, int, Spot, float | None]]:
    """Yield reaches of which the first ends on the second, one of them flat, where, and the other height there."""
    parts: list[Element] = []
    owners: list[int] = []
    for number, reach in enumerate(reaches):
        for element in reach.elements:
            for part in halved(element):
                parts.append(part)
                owners.append(number)
    ends = [(number, spot) for number, reach in enumerate(reaches) for spot in _ends(reach)]
    for row, column in Nearness(parts, snap).near([spot for _, spot in ends], snap).tolist():
        (one, spot), other, part = ends[row], owners[column], parts[column]
        if one == other or not (one in flat or other in flat):
            continue
        there = place(part, nearest(part, spot))
        if gap(there, spot) <= snap:
            yield one, other, spot, there.z if one in flat else spot.z


def _told(
    reaches: Sequence[Reach], flat: Sequence[int], texts: Sequence[tuple[Label, float]], near: float
) -> Iterator[int]:
    """Yield flat reaches beside whose ends a text tells a height other than 0."""
    ends = [(number, spot) for number in flat for spot in _ends(reaches[number])]
    if not texts or not ends:
        return
    for row, text in Nearness([dot(label.spot) for label, _ in texts], near).near([s for _, s in ends], near).tolist():
        number, spot = ends[row]
        label, height = texts[text]
        if gap(spot, label.spot) <= near and abs(height) > MISFIT:
            yield number
