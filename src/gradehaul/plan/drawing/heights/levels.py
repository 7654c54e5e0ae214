"""On which level reaches lie: drawn over one another, as turns of a helix are, and at z = 0 among others in space."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

import numpy as np

from gradehaul.errors import quoted
from gradehaul.plan.components import components
from gradehaul.plan.drawing.heights.texts import MISFIT
from gradehaul.plan.drawing.nearness import Nearness, beside_texts, pairs, places_of
from gradehaul.plan.drawing.records import BoolArray, Element, Fault, IntArray, Label, Linked, Spot, Stroke, Terms
from gradehaul.plan.drawing.rows import Rows, wrapped
from gradehaul.plan.drawing.wording import bare, length_text

LEAST_TURN = math.radians(60)
"""A part of a turn curves by this much at the least (our own choice); straights over one another are bridges."""
STEEPEST = 0.15
"""Level pieces that differ more in height than this share of their length are no climb (our own choice)."""


# Levels by texts


def lifted(
    reaches: Rows, texts: Sequence[tuple[Label, float]], terms: Terms
) -> tuple[Rows, Sequence[tuple[Label, float]]]:
    """Return reaches with those lifted to the heights of their ends that lie over one another on several levels.

    A reach is lifted where a text shows the height, m, of both of its ends, and halfway along it lies over another such
    reach, or under it, higher or lower by more than `level` if both climb evenly. All other reaches stay as they are,
    so that a track drawn twice is still one track, and so do the texts that no lifted end takes, which come second.
    """
    ends = _open_ends(reaches)
    ends = ends[reaches.flat[ends // 2]]
    best: dict[int, int] = {}
    for _, text, end in beside_texts([label for label, _ in texts], reaches.tips[ends], terms.near):
        best.setdefault(int(ends[end]), text)
    beside = {end // 2: (best[end], best[end + 1]) for end in sorted(best) if end % 2 == 0 and end + 1 in best}
    slopes = {number: (texts[one][1], texts[other][1]) for number, (one, other) in beside.items()}
    apart = _apart(reaches, slopes, terms) if len(slopes) > 1 else set()
    taken = {text for number in apart for text in beside[number]}
    left = [text for number, text in enumerate(texts) if number not in taken]
    return reaches.raised({number: slopes[number] for number in sorted(apart)}), left


def _apart(reaches: Rows, slopes: Mapping[int, tuple[float, float]], terms: Terms) -> set[int]:
    """Return the reaches that lie over others on another level, and those others."""
    numbers = list(slopes)
    climbs = reaches.raised(slopes).only(np.array(numbers))
    half, before = climbs.total / 2, climbs.before
    begin = np.append(0.0, np.cumsum(climbs.total))[:-1]
    at = np.searchsorted(begin[climbs.owner] + before, begin + half, side="right") - 1
    on = half - before[at]
    middles = np.column_stack((climbs.places(at, on), np.mean(list(slopes.values()), axis=1)))
    headings = climbs.heading[at] + climbs.curvature[at] * on
    index = Nearness(climbs)
    near, same = (index.beside(middles, terms.snap, headings, level) for level in (0.0, terms.level))
    on_level = set(zip(same.which.tolist(), same.number.tolist(), strict=True))
    found: set[int] = set()
    for foot in near.feet():
        if foot.which != foot.row and foot.turn <= terms.kink and (foot.which, foot.number) not in on_level:
            found |= {numbers[foot.which], numbers[foot.row]}
    return found


# Turns by their own heights


def climbing(reaches: Rows, terms: Terms) -> tuple[Rows, list[Fault]]:
    """Return reaches, with the turns of a helix drawn as level arcs made the climb they stand for, and words on it.

    A reach that is level throughout ends in plan where another one begins, as its tangent and higher or lower: both are
    brought to the height in the middle. Track that leads in or on at another height keeps its own, and the turn is
    brought to that. The climb is followed from each to the nearest in height, each end once. Circles over one another
    have no end to climb from, and are named.
    """
    if reaches.flat.all():
        return reaches, _circles(reaches, terms.snap)
    level = _levels(reaches)
    tips = np.nan_to_num(reaches.tips[:, 2]).tolist()
    met, steps = _meetings(reaches, level, tips, terms)
    joints = _followed(level, tips, met, steps)
    heights: dict[int, list[float]] = {}
    for pair in joints:
        leads = [end for end in pair if end // 2 not in level] or pair
        for end in (each for each in pair if each // 2 in level):
            here = math.fsum(tips[lead] for lead in leads) / len(leads)
            heights.setdefault(end // 2, [level[end // 2]] * 2)[end % 2] = here
    faults = [
        *_circles(reaches, terms.snap),
        *_left_over(reaches, level, tips, met, steps, joints, terms),
    ]
    if heights:
        first = reaches.row(min(heights, key=lambda each: level[each]))[0]
        text = f"{len(heights)} level pieces at rising heights, as turns of a helix, are read as one climb"
        faults.append(Fault("climb", text, first.start, first.handle, first.layer, weight=len(heights)))
    return reaches.raised({number: (low, high) for number, (low, high) in heights.items()}), faults


def _levels(reaches: Rows) -> dict[int, float]:
    """Return the heights of reaches that are parts of a turn and level throughout, m; without z they lie at 0."""
    turn = np.abs(np.bincount(reaches.owner, reaches.curvature * reaches.length))
    found: dict[int, float] = {}
    for number in np.flatnonzero(~reaches.closed & (turn >= LEAST_TURN)).tolist():
        own = range(reaches.first[number], reaches.first[number + 1])
        both = (column[own.start : own.stop, 2] for column in (reaches.start, reaches.end))
        heights = np.nan_to_num(np.concatenate(list(both))).tolist()
        heights += [height for each in own for _, height in reaches.inner.get(each, ())]
        if max(heights) - min(heights) <= MISFIT / 10:
            found[number] = min(heights)
    return found


def _meetings(
    reaches: Rows, level: Collection[int], tips: Sequence[float], terms: Terms
) -> tuple[set[int], dict[int, list[int]]]:
    """Return the ends that meet track at their own height, and for each those higher or lower there.

    Of these at least one is the end of a level turn. The `tips` are the heights of all ends, m.
    """
    ends, away, length = _open_ends(reaches), reaches.away, reaches.total
    one, other = (ends[each] for each in pairs(reaches.tips[ends, :2], terms.snap))
    turn = np.abs(wrapped(away[one] - away[other] + math.pi))
    fair = (one // 2 != other // 2) & (turn <= terms.kink)
    met: set[int] = set()
    steps: dict[int, list[int]] = {}
    for mine, theirs in zip(one[fair].tolist(), other[fair].tolist(), strict=True):
        rise = abs(tips[mine] - tips[theirs])
        turns = [float(length[end // 2]) for end in (mine, theirs) if end // 2 in level]
        if rise <= MISFIT:
            met |= {mine, theirs}
        elif turns and rise <= STEEPEST * min(turns):
            steps.setdefault(mine, []).append(theirs)
            steps.setdefault(theirs, []).append(mine)
    return met, steps


def _open_ends(reaches: Rows) -> IntArray:
    """Return the ends of reaches that are not closed."""
    return np.flatnonzero(np.repeat(~reaches.closed, 2))


def _followed(
    level: Collection[int], tips: Sequence[float], met: set[int], steps: dict[int, list[int]]
) -> list[tuple[int, int]]:
    """Return the pairs of ends that one climb joins, each end once.

    Climbs are followed from where they meet other track, then from track that leads in, else from their foot.
    """
    least = {end: min(abs(tips[other] - tips[end]) for other in steps[end]) for end in steps}
    by_height = sorted(steps, key=lambda end: (tips[end], least[end], end))
    turns = [end for end in by_height if end // 2 in level]
    leads = sorted((end for end in by_height if end // 2 not in level), key=lambda end: least[end])
    used = set(met)
    joints: list[tuple[int, int]] = []
    for start in (*(end for end in turns if end ^ 1 in met), *leads, *turns):
        if start in used:
            continue
        end, rising = start, 0.0
        own = {start, start ^ 1} if start // 2 in level else {start}
        climb: list[tuple[int, int]] = []
        while end not in met:
            onward = [each for each in steps.get(end, ()) if each not in used and each not in own]
            onward = [each for each in onward if each // 2 not in level or (tips[each] - tips[end]) * rising >= 0]
            if not onward:
                break
            following = min(onward, key=lambda each: (abs(tips[each] - tips[end]), -tips[each], each))
            climb.append((end, following))
            own.add(following)
            if following // 2 not in level:
                break
            if end // 2 in level:
                rising = tips[following] - tips[end]
            end = following ^ 1
            own.add(end)
        # one turn that track meets at another height is no climb but a typo
        if len(climb) > 1 or all(each // 2 in level for pair in climb for each in pair):
            joints += climb
            used |= own
    return joints


def _left_over(
    reaches: Rows,
    level: Collection[int],
    tips: Sequence[float],
    met: set[int],
    steps: dict[int, list[int]],
    joints: Sequence[tuple[int, int]],
    terms: Terms,
) -> list[Fault]:
    """Return a fault for each end that only meets ends joined to others; linking names those that meet free ones.

    The foot and the top of a climb that goes no further are none.
    """
    climb = components(len(reaches.closed), [(one // 2, other // 2) for one, other in joints])
    joined = set[int]().union(*joints)
    faults: list[Fault] = []
    for end in sorted(steps.keys() - met - joined):
        around = [tips[each] for other in steps[end] for each in (other, *steps[other])]
        inner = end // 2 not in level or min(around) < tips[end] < max(around)
        others = [other for other in steps[end] if other in joined]
        if inner and others and all(climb[each // 2] == climb[end // 2] for each in {*steps[end]} - met - joined):
            there = min((tips[other] for other in others), key=lambda height: abs(height - tips[end]))
            mine, theirs = (length_text(height, terms.plan_unit) for height in (tips[end], there))
            text = f"track ends at a height of {mine}, where the nearest, at {theirs}, meets other track: left unjoined"
            last = reaches.row(end // 2)[-(end % 2)]
            spot = last.end if end % 2 else last.start
            faults.append(Fault("level-miss", text, spot, last.handle, last.layer, abs(there - tips[end])))
    return faults


def _circles(reaches: Rows, snap: float) -> list[Fault]:
    """Return a fault for each place where circles lie over one another."""
    least, most = (each.reduceat(reaches.curvature, reaches.first[:-1]) for each in (np.minimum, np.maximum))
    rings = reaches.first[:-1][reaches.closed & (least == most) & (least != 0)]
    place, often = np.unique(places_of(reaches.circles(rings), snap), return_counts=True)
    cure = "draw the turns of a helix as a HELIX, as a 3D polyline, or as half-turn arcs at rising heights"
    return [
        Fault("turns", f"{count} circles lie over one another: {cure}", ring.start, ring.handle, ring.layer)
        for number, count in zip(rings[place].tolist(), often.tolist(), strict=True)
        if count > 1
        for ring in (reaches.element(number),)
    ]


# Track at z = 0


def at_zero_elevation(reaches: Rows, texts: Sequence[tuple[Label, float]], terms: Terms) -> Rows:
    """Return reaches with those set to height 0 that lie there.

    Where any track of a drawing has a z other than 0 the drawing is one in space, and track at z = 0 lies at 0. Arcs
    are often drawn flat in such a drawing, though, between track that climbs: where track at z = 0 runs on into track
    at another height, or a text, m, beside an end of it shows one, neither it nor the track at z = 0 that it meets has
    a height; `raised_by_plan` does the same for heights of the plan. Track meets where one ends on the end or the side
    of another; what only crosses does not meet, nor does what lies over another track that is met at its own height.

    Examples
    --------
    >>> from gradehaul.plan.drawing.records import Element, Spot, terms
    >>> def straight(start, end, z):
    ...     return [Element(Spot(start, 0, z), Spot(end, 0, z), 0.0, 0.0, end - start, "", "")]
    >>> apart, joined = (Rows.of([straight(0, 1, 0.05), straight(start, start + 1, None)]) for start in (3, 1))
    >>> on = terms(0.0165, "mm", ["*"])
    >>> [at_zero_elevation(reaches, [], on).element(1).start.z for reaches in (apart, joined)]
    [0.0, None]
    """
    flat = reaches.flat
    if not flat.any() or flat.all():
        return reaches
    joined, raised = _met_flat(reaches, flat, terms.snap)
    ends = _open_ends(reaches)
    ends = ends[flat[ends // 2]]
    high = [label for label, height in texts if abs(height) > MISFIT]
    raised |= {int(ends[end]) // 2 for _, _, end in beside_texts(high, reaches.tips[ends], terms.near)}
    group = components(len(flat), joined)
    at_zero = flat & ~np.isin(group, group[sorted(raised)])
    return reaches.raised(dict.fromkeys(np.flatnonzero(at_zero).tolist(), (0.0, 0.0)))


def _met_flat(reaches: Rows, flat: BoolArray, snap: float) -> tuple[IntArray, set[int]]:
    """Return the pairs of flat reaches that meet, and the flat ones that meet track at another height than 0."""
    tips, ends, index = reaches.tips, _open_ends(reaches), Nearness(reaches)
    near = index.beside(tips[ends], snap)
    near = near.only(ends[near.which] // 2 != near.row)
    end, theirs = ends[near.which], near.row
    mine, spots, there = end // 2, tips[end], index.rows.places(near.number, near.on)
    high = index.rows.heights(near.number, near.on)
    both, one = flat[mine] & flat[theirs], flat[mine] != flat[theirs]
    off = np.linalg.norm(tips.reshape(-1, 2, 3)[theirs, :, :2] - there[:, None], axis=2).min(axis=1)
    into = reaches.closed[theirs] | (off > snap)  # what runs into flat track is level there, whatever lies above
    own, height = np.where(flat[mine], mine, theirs), np.abs(np.where(flat[mine], high, spots[:, 2]))
    at_own_height = np.isin(end, end[~flat[theirs] & (np.abs(high - spots[:, 2]) <= MISFIT)])
    level = np.flatnonzero((both & into) | (one & (height <= MISFIT)))
    higher = np.flatnonzero(one & (height > MISFIT) & ~(flat[theirs] & at_own_height))
    # where it meets track at 0 too, as below the turns of a helix, what is higher only lies above it
    above, below = pairs(spots[higher, :2], 2 * snap, spots[level, :2])
    only_above = above[own[higher[above]] == own[level[below]]]
    return np.column_stack((mine, theirs))[both], {*own[np.delete(higher, only_above)].tolist()}


def raised_by_plan(
    linked: Linked, strokes: Sequence[Stroke], names: Sequence[str], given: Mapping[str, float], terms: Terms
) -> tuple[Linked, list[Fault]]:
    """Return a network without the heights of track at z = 0 that meets a joint to which the plan gives another.

    Each such joint is named, since the drawing's 0 may be another than the plan's.
    """
    zero = terms.zero
    high = [number for number, name in enumerate(names) if abs(given.get(name, zero) - zero) > MISFIT]
    if not high:
        return linked, []
    in_space = {stroke.handle for stroke in strokes if stroke.heights is not None}
    elements = [list(line.elements) for line in linked.lines]

    def at_zero(element: Element) -> bool:
        return element.start.z == element.end.z == zero and element.handle not in in_space

    waiting = [end for number in high for end in linked.joints[number].ends]
    faults = [
        _other_zero(names[number], given[names[number]], linked.joints[number].spot, terms)
        for number in high
        if any(at_zero(elements[each.line][0 if each.end == "from" else -1]) for each in linked.joints[number].ends)
    ]
    seen = set(waiting)
    while waiting:
        line, end = waiting.pop()
        own = elements[line]
        for number in range(len(own)) if end == "from" else range(len(own) - 1, -1, -1):
            element = own[number]
            if not at_zero(element):
                break
            own[number] = element._replace(start=element.start._replace(z=None), end=element.end._replace(z=None))
        else:
            joint = linked.lines[line].finish if end == "from" else linked.lines[line].start
            further = [each for each in linked.joints[joint].ends if each not in seen]
            seen.update(further)
            waiting += further
    lines = tuple(line._replace(elements=tuple(own)) for line, own in zip(linked.lines, elements, strict=True))
    return Linked(lines, linked.joints, linked.faults), faults


def _other_zero(name: str, height: float, spot: Spot, terms: Terms) -> Fault:
    """Return a fault for a joint that the plan has at another height, m, than the 0 at which it is drawn."""
    there = f"{bare(height, terms.plan_unit)} {terms.plan_unit}"
    raised = terms.option("raise", quoted(there) if terms.typed else there)
    text = f"track at z = 0 meets joint {quoted(name)}, at {there} in the plan, and is taken as drawn flat"
    return Fault(
        "zero", f"{text}; if the drawing's 0 lies there, write {raised}", spot, weight=abs(height - terms.zero)
    )
