"""On which level reaches lie: drawn over one another, as turns of a helix are, and at z = 0 among others in space."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.elements import gap, in_plan, length_of, place, turned, wrapped
from gradehaul.plan.drawing.heights import ends_of, is_flat
from gradehaul.plan.drawing.heights.texts import MISFIT
from gradehaul.plan.drawing.nearness import Nearness, beside_texts, components, pairs
from gradehaul.plan.drawing.records import Element, Fault, Label, Linked, Reach, Spot, Stroke, Terms
from gradehaul.plan.drawing.wording import length_text

LEAST_TURN = math.radians(60)
"""A part of a turn curves by this much at the least (our own choice); straights over one another are bridges."""
STEEPEST = 0.15
"""Level pieces that differ more in height than this share of their length are no climb (our own choice)."""


# Turns by their own heights


class _End(NamedTuple):
    reach: int
    side: int

    @property
    def far(self) -> _End:
        return _End(self.reach, 1 - self.side)


def climbing(reaches: Sequence[Reach], terms: Terms) -> tuple[list[Reach], list[Fault]]:
    """Return reaches, with the turns of a helix drawn as level arcs made the climb they stand for, and words on it.

    A reach that is level throughout ends in plan where another one begins, as its tangent and higher or lower: both are
    brought to the height in the middle. Track that leads in or on at another height keeps its own, and the turn is
    brought to that. The climb is followed from each to the nearest in height, each end once. Circles over one another
    have no end to climb from, and are named.
    """
    if all(map(is_flat, reaches)):
        return list(reaches), _circles(reaches, terms.snap)
    level = {number: height for number, reach in enumerate(reaches) if (height := _level(reach)) is not None}
    tips, met, steps = _meetings(reaches, level, terms)
    joints = _followed(level, tips, met, steps)
    heights: dict[int, list[float]] = {}
    for pair in joints:
        leads = [end for end in pair if end.reach not in level] or pair
        for end in (each for each in pair if each.reach in level):
            here = math.fsum(tips[lead] for lead in leads) / len(leads)
            heights.setdefault(end.reach, [level[end.reach]] * 2)[end.side] = here
    raised = [_raised(reach, *heights[n]) if n in heights else reach for n, reach in enumerate(reaches)]
    faults = [
        *_circles(reaches, terms.snap),
        *_left_over(reaches, tips, met, steps, joints, terms),
    ]
    if heights:
        first = reaches[min(heights, key=lambda each: level[each])].elements[0]
        text = f"{len(heights)} level pieces at rising heights, as turns of a helix, are read as one climb"
        faults.append(Fault("climb", text, first.start, first.handle, first.layer, weight=len(heights)))
    return raised, faults


def _raised(reach: Reach, low: float, high: float) -> Reach:
    """Return a reach that climbs evenly between two heights, m."""
    ends = np.cumsum([0.0, *(element.length for element in reach.elements)])
    heights = (low + (high - low) * ends / ends[-1]).tolist()
    elements = [
        element._replace(start=element.start._replace(z=start), end=element.end._replace(z=end), inner=())
        for element, start, end in zip(reach.elements, heights[:-1], heights[1:], strict=True)
    ]
    return reach._replace(elements=tuple(elements))


def _level(reach: Reach) -> float | None:
    """Return the height of a reach that is part of a turn and level throughout, m; without z it lies at 0."""
    if reach.closed or abs(math.fsum(each.curvature * each.length for each in reach.elements)) < LEAST_TURN:
        return None
    heights = [spot.z or 0.0 for element in reach.elements for spot in (element.start, element.end)]
    heights += [height for element in reach.elements for _, height in element.inner]
    return min(heights) if max(heights) - min(heights) <= MISFIT / 10 else None


def _meetings(
    reaches: Sequence[Reach], level: Collection[int], terms: Terms
) -> tuple[dict[_End, float], set[_End], dict[_End, list[_End]]]:
    """Return the heights of ends, m, those that meet track at their own, and for each those higher or lower there.

    Of these at least one is the end of a level turn.
    """
    ends = [_End(number, side) for number, reach in enumerate(reaches) if not reach.closed for side in (0, 1)]
    first = [turned(reaches[end.reach].elements[-1]) if end.side else reaches[end.reach].elements[0] for end in ends]
    tips = {end: element.start.z or 0.0 for end, element in zip(ends, first, strict=True)}
    met: set[_End] = set()
    steps: dict[_End, list[_End]] = {}
    near = pairs(in_plan([element.start for element in first]), terms.snap)
    for one, other in zip(*(each.tolist() for each in near), strict=True):
        mine, theirs = ends[one], ends[other]
        if mine.reach == theirs.reach or abs(wrapped(first[one].heading - first[other].heading + math.pi)) > terms.kink:
            continue
        rise = abs(tips[mine] - tips[theirs])
        turns = [length_of(reaches[end.reach].elements) for end in (mine, theirs) if end.reach in level]
        if rise <= MISFIT:
            met |= {mine, theirs}
        elif turns and rise <= STEEPEST * min(turns):
            steps.setdefault(mine, []).append(theirs)
            steps.setdefault(theirs, []).append(mine)
    return tips, met, steps


def _followed(
    level: Collection[int], tips: dict[_End, float], met: set[_End], steps: dict[_End, list[_End]]
) -> list[tuple[_End, _End]]:
    """Return the pairs of ends that one climb joins, each end once.

    Climbs are followed from where they meet other track, then from track that leads in, else from their foot.
    """
    least = {end: min(abs(tips[other] - tips[end]) for other in steps[end]) for end in steps}
    by_height = sorted(steps, key=lambda end: (tips[end], least[end], end))
    turns = [end for end in by_height if end.reach in level]
    leads = sorted((end for end in by_height if end.reach not in level), key=lambda end: least[end])
    used = set(met)
    joints: list[tuple[_End, _End]] = []
    for start in (*(end for end in turns if end.far in met), *leads, *turns):
        if start in used:
            continue
        end, rising = start, 0.0
        own = {start, start.far} if start.reach in level else {start}
        climb: list[tuple[_End, _End]] = []
        while end not in met:
            onward = [each for each in steps.get(end, ()) if each not in used | own]
            onward = [each for each in onward if each.reach not in level or (tips[each] - tips[end]) * rising >= 0]
            if not onward:
                break
            following = min(onward, key=lambda each: (abs(tips[each] - tips[end]), -tips[each], each))
            climb.append((end, following))
            own.add(following)
            if following.reach not in level:
                break
            if end.reach in level:
                rising = tips[following] - tips[end]
            end = following.far
            own.add(end)
        # one turn that track meets at another height is no climb but a slip of the pen
        if len(climb) > 1 or all(each.reach in level for pair in climb for each in pair):
            joints += climb
            used |= own
    return joints


def _left_over(
    reaches: Sequence[Reach],
    tips: dict[_End, float],
    met: set[_End],
    steps: dict[_End, list[_End]],
    joints: Sequence[tuple[_End, _End]],
    terms: Terms,
) -> list[Fault]:
    """Return a fault for each end that only meets ends joined to others; linking names those that meet free ones.

    The foot and the top of a climb that goes no further are none.
    """
    climb = components(len(reaches), [(one.reach, other.reach) for one, other in joints])
    joined = set[_End]().union(*joints)
    faults: list[Fault] = []
    for end in sorted(steps.keys() - met - joined):
        around = [tips[each] for other in steps[end] for each in (other, *steps[other])]
        inner = _level(reaches[end.reach]) is None or min(around) < tips[end] < max(around)
        others = [other for other in steps[end] if other in joined]
        if inner and others and all(climb[each.reach] == climb[end.reach] for each in {*steps[end]} - met - joined):
            there = min((tips[other] for other in others), key=lambda height: abs(height - tips[end]))
            mine, theirs = (length_text(height, terms.plan_unit) for height in (tips[end], there))
            text = f"track ends at a height of {mine}, where the nearest, at {theirs}, meets other track: left unjoined"
            spot, first = ends_of(reaches[end.reach])[end.side], reaches[end.reach].elements[-end.side]
            faults.append(Fault("level-miss", text, spot, first.handle, first.layer, abs(there - tips[end])))
    return faults


def _circles(reaches: Sequence[Reach], snap: float) -> list[Fault]:
    """Return a fault for each place where circles lie over one another."""
    rings: dict[tuple[int, int, int], list[Element]] = {}
    for reach in reaches:
        first = reach.elements[0]
        if reach.closed and first.curvature and all(each.curvature == first.curvature for each in reach.elements):
            radius = 1 / first.curvature
            x = first.start.x - radius * math.sin(first.heading)
            y = first.start.y + radius * math.cos(first.heading)
            rings.setdefault((round(x / snap), round(y / snap), round(abs(radius) / snap)), []).append(first)
    cure = "draw the turns of a helix as a HELIX, as a 3D polyline, or as half-turn arcs at rising heights"
    return [
        Fault("turns", f"{1 + len(more)} circles lie over one another: {cure}", ring.start, ring.handle, ring.layer)
        for ring, *more in rings.values()
        if more
    ]


# Track at z = 0


def at_zero_elevation(reaches: Sequence[Reach], texts: Sequence[tuple[Label, float]], terms: Terms) -> list[Reach]:
    """Return reaches with those set to height 0 that lie there.

    Where any track of a drawing has a z other than 0 the drawing is one in space, and track at z = 0 lies at 0. Arcs
    are often drawn flat in such a drawing, though, between track that climbs: where track at z = 0 runs on into track
    at another height, or a text beside an end of it shows one, neither it nor the track at z = 0 that it meets has a
    height; `raised_by_plan` does the same for heights of the plan. Track meets where one ends on the end or the side of
    another; what only crosses does not meet, nor does what lies over another track that is met at its own height.

    Parameters
    ----------
    reaches
        What was fitted to the strokes of the drawing; a reach at z = 0 throughout has no z in it.
    texts
        Texts that are heights, m, and are not yet used.
    terms
        How far from an end its text may stand, and how far apart ends that meet may be.

    Examples
    --------
    >>> from gradehaul.plan.drawing.records import terms
    >>> on = terms(0.0165, "mm", ["*"])
    >>> def straight(start, end, z):
    ...     return Reach((Element(Spot(start, 0, z), Spot(end, 0, z), 0.0, 0.0, end - start, "", ""),))
    >>> found = at_zero_elevation([straight(0, 1, 0.05), straight(3, 4, None)], [], on)
    >>> found[1].elements[0].start.z
    0.0
    >>> found = at_zero_elevation([straight(0, 1, 0.05), straight(1, 2, None)], [], on)
    >>> found[1].elements[0].start.z is None
    True
    """
    flat = np.array([is_flat(reach) for reach in reaches], dtype=bool)
    if not flat.any() or flat.all():
        return list(reaches)
    joined, raised = _met_flat(reaches, flat, terms.snap)
    ends = [(number, spot) for number in np.flatnonzero(flat).tolist() for spot in ends_of(reaches[number])]
    high = [label for label, height in texts if abs(height) > MISFIT]
    raised |= {ends[end][0] for _, _, end in beside_texts(high, [spot for _, spot in ends], terms.near)}
    group = components(len(reaches), joined)
    at_zero = flat & ~np.isin(group, group[sorted(raised)])
    return [_raised(reach, 0.0, 0.0) if low else reach for reach, low in zip(reaches, at_zero.tolist(), strict=True)]


def _met_flat(reaches: Sequence[Reach], flat: NDArray[np.bool_], snap: float) -> tuple[list[tuple[int, int]], set[int]]:
    """Return the pairs of flat reaches that meet, and the flat ones that meet track at another height than 0."""
    ends = [(spot, number) for number, reach in enumerate(reaches) for spot in ends_of(reach)]
    index = Nearness([reach.elements for reach in reaches])
    near = index.beside([spot for spot, _ in ends], snap)
    own = np.array([number for _, number in ends], dtype=np.int64)[near.which]
    joined: list[tuple[int, int]] = []
    higher: list[tuple[int, Spot]] = []
    level: dict[int, list[Spot]] = {}
    feet: dict[int, list[tuple[int, Spot]]] = {}
    for foot in near.only(own != near.row).feet():
        feet.setdefault(foot.which, []).append((foot.row, place(index.elements[foot.number], foot.on)))
    for end, places in feet.items():
        spot, mine = ends[end]
        for theirs, there in places:
            if flat[mine] and flat[theirs]:
                joined.append((mine, theirs))
                if all(gap(there, tip) > snap for tip in ends_of(reaches[theirs])):
                    level.setdefault(mine, []).append(spot)  # it runs into flat track there, whatever lies above
            elif flat[mine] or flat[theirs]:
                height = (there if flat[mine] else spot).z
                own_flat = mine if flat[mine] else theirs
                if height is not None and abs(height) <= MISFIT:
                    level.setdefault(own_flat, []).append(spot)
                elif height is not None and not (flat[theirs] and _met(spot, places, flat)):
                    higher.append((own_flat, spot))
    # where it meets track at 0 too, as below the turns of a helix, what is higher only lies above it
    raised = {own for own, spot in higher if all(gap(spot, each) > 2 * snap for each in level.get(own, ()))}
    return joined, raised


def _met(spot: Spot, places: Sequence[tuple[int, Spot]], flat: NDArray[np.bool_]) -> bool:
    """Return whether an end in space lies on track at its own height."""
    heights = [there.z for theirs, there in places if not flat[theirs]]
    return any(z is not None and spot.z is not None and abs(z - spot.z) <= MISFIT for z in heights)


def raised_by_plan(
    linked: Linked, strokes: Sequence[Stroke], names: Sequence[str], given: Mapping[str, float]
) -> Linked:
    """Return a network without the heights of track at z = 0 that meets a joint to which the plan gives another."""
    high = [number for number, name in enumerate(names) if abs(given.get(name, 0.0)) > MISFIT]
    if not high:
        return linked
    in_space = {stroke.handle for stroke in strokes if stroke.heights is not None}
    elements = [list(line.elements) for line in linked.lines]
    waiting = [end for number in high for end in linked.joints[number].ends]
    seen = set(waiting)
    while waiting:
        line, end = waiting.pop()
        own = elements[line]
        for number in range(len(own)) if end == "from" else range(len(own) - 1, -1, -1):
            if not own[number].start.z == own[number].end.z == 0.0 or own[number].handle in in_space:
                break
            element = own[number]
            own[number] = element._replace(start=element.start._replace(z=None), end=element.end._replace(z=None))
        else:
            joint = linked.lines[line].finish if end == "from" else linked.lines[line].start
            further = [each for each in linked.joints[joint].ends if each not in seen]
            seen.update(further)
            waiting += further
    lines = tuple(line._replace(elements=tuple(own)) for line, own in zip(linked.lines, elements, strict=True))
    return Linked(lines, linked.joints, linked.faults)
