"""Track at z = 0 in a drawing with heights: whether it lies at 0, or was drawn flat and has no height."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.elements import gap, place
from gradehaul.plan.drawing.heights import MISFIT, ends_of, is_flat
from gradehaul.plan.drawing.nearness import Nearness, beside_texts, components
from gradehaul.plan.drawing.records import Element, Label, Linked, Reach, Spot, Stroke, Terms


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
    joined, raised = _meetings(reaches, flat, terms.snap)
    numbers = [number for number in np.flatnonzero(flat).tolist() for _ in ends_of(reaches[number])]
    ends = [spot for number in np.flatnonzero(flat).tolist() for spot in ends_of(reaches[number])]
    high = [label for label, height in texts if abs(height) > MISFIT]
    raised |= {numbers[end] for _, _, end in beside_texts(high, ends, terms.near)}
    group = components(len(reaches), joined)
    at_zero = flat & ~np.isin(group, group[sorted(raised)])
    return [_at(reach, 0.0) if low else reach for reach, low in zip(reaches, at_zero.tolist(), strict=True)]


def _at(reach: Reach, z: float | None) -> Reach:
    return reach._replace(elements=tuple(_flat_at(element, z) for element in reach.elements))


def _flat_at(element: Element, z: float | None) -> Element:
    return element._replace(start=element.start._replace(z=z), end=element.end._replace(z=z))


def _meetings(reaches: Sequence[Reach], flat: NDArray[np.bool_], snap: float) -> tuple[list[tuple[int, int]], set[int]]:
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
    elements = [list(line.elements) for line in linked.lines]
    waiting = [end for number in high for end in linked.joints[number].ends]
    seen = set(waiting)
    while waiting:
        line, end = waiting.pop()
        own = elements[line]
        for number in range(len(own)) if end == "from" else range(len(own) - 1, -1, -1):
            if not own[number].start.z == own[number].end.z == 0.0 or own[number].handle in in_space:
                break
            own[number] = _flat_at(own[number], None)
        else:
            joint = linked.lines[line].finish if end == "from" else linked.lines[line].start
            further = [each for each in linked.joints[joint].ends if each not in seen]
            seen.update(further)
            waiting += further
    lines = tuple(line._replace(elements=tuple(own)) for line, own in zip(linked.lines, elements, strict=True))
    return Linked(lines, linked.joints, linked.faults)
