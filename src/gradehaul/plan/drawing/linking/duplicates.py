"""Track drawn more than once: of ways that are one the longer drawn is kept."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from gradehaul.plan.drawing.elements import (
    beyond,
    gap,
    heading,
    height,
    length_of,
    level_with,
    micro,
    middle,
    nearest,
    order,
    place,
    reverse,
    wrapped,
)
from gradehaul.plan.drawing.linking.ways import Way
from gradehaul.plan.drawing.records import Element, Fault, Spot, Terms
from gradehaul.plan.drawing.wording import length_text

Source = tuple[str, str]
"""Handle and layer."""

ALIKE = 0.02
"""Curvatures that differ by no more than this share may be the same one fitted twice."""
_SAME = 1.5
"""Places of ways that are one lie no farther apart than this, in snaps."""


class Dropped(NamedTuple):
    """A stretch that was left out because another covers it."""

    source: Source
    kept: Source
    length: float
    spot: Spot


def source(element: Element) -> Source:
    """Return where an element comes from."""
    return element.handle, element.layer


def lengths_drawn(elements: Iterable[Element]) -> dict[Source, float]:
    """Return the length of what comes from each source, m."""
    lengths: dict[Source, float] = {}
    for element in elements:
        own = element.handle, element.layer
        lengths[own] = lengths.get(own, 0.0) + element.length
    return lengths


def longest_source(elements: Sequence[Element]) -> Source:
    """Return the source of the longest part of a line."""
    if len(elements) == 1:
        return source(elements[0])
    lengths = lengths_drawn(elements)
    return min(lengths, key=lambda own: (-micro(lengths[own]), own))


def alike(one: float, other: float) -> bool:
    """Return whether two curvatures, 1/m, may be the same one drawn or fitted twice."""
    return abs(one - other) <= 1e-6 + ALIKE * max(abs(one), abs(other))


def run_together(one: Element, run: float, other: Element, other_run: float, terms: Terms) -> bool:
    """Return whether two elements that leave one place are one for a stretch worth the name.

    They are one up to where the first of them ends, or not at all: track parts where curvature changes. Near their
    beginning any two lie within `snap`, so curvature decides: the arrows of both, over the length of the shorter,
    must agree within a quarter of `snap`, or the curvatures within 2 %. `run` and `other_run` are how far the track
    goes on with the curvature of each, m.
    """
    snap, kink = terms.snap, terms.kink
    if other.length < one.length:
        one, other = other, one
    if abs(wrapped(one.heading - other.heading)) > kink or one.length <= 4 * snap:
        return False
    arrow = abs(one.curvature - other.curvature) * min(run, other_run) ** 2 / 8
    if arrow > snap / 4 and not alike(one.curvature, other.curvature):
        return False
    along = nearest(other, one.end)
    if along <= 4 * snap or abs(wrapped(heading(one, one.length) - heading(other, along))) > kink:
        return False
    half = place(one, one.length / 2)
    across = place(other, nearest(other, half))
    if gap(one.end, place(other, along)) > _SAME * snap or gap(half, across) > _SAME * snap:
        return False
    return level_with(one.end.z, height(other, along), terms.level)


def once(ways: Sequence[Way], drawn: Mapping[Source, float], terms: Terms) -> tuple[list[Way], list[Dropped]]:
    """Return ways without those that lie on others between the same two nodes, and what was left out.

    They are cut wherever they run together with others or part from them. Of ways that are one that of the source is
    kept that was `drawn` longer, m.
    """
    by_nodes: dict[tuple[int, int], list[Way]] = {}
    for way in ways:
        by_nodes.setdefault((min(way.start, way.finish), max(way.start, way.finish)), []).append(way)
    found: list[Way] = []
    dropped: list[Dropped] = []
    for group in by_nodes.values():
        kept: list[Way] = []
        for way in sorted(map(_run_up, group), key=lambda way: _rank(way.elements, drawn)) if len(group) > 1 else group:
            same = next((other for other in kept if _one(way, other, terms)), None)
            if same is None:
                kept.append(way)
                continue
            of = longest_source(same.elements)
            dropped += [Dropped(source(e), of, e.length, place(e, e.length / 2)) for e in way.elements]
        found += kept
    return found, dropped


def _run_up(way: Way) -> Way:
    """Return a way as run from the lesser of its nodes."""
    return Way(reverse(way.elements), way.finish, way.start) if way.start > way.finish else way


def _rank(elements: Sequence[Element], drawn: Mapping[Source, float]) -> tuple[object, ...]:
    """Return what decides which of two ways is kept: of the longer source, then by handle and place."""
    own = longest_source(elements)
    return -micro(drawn[own]), own, order(middle(elements)), micro(length_of(elements))


def _one(way: Way, other: Way, terms: Terms) -> bool:
    """Return whether two ways between the same nodes lie on one another all along."""
    ways = [way.elements, *([reverse(way.elements)] if way.start == way.finish else [])]
    length, long = length_of(way.elements), length_of(other.elements)
    if abs(length - long) > 6 * terms.snap:
        return False
    shares = [share / 8 for share in range(1, 8)]
    there = [beyond(other.elements, share * long) for share in shares]
    for elements in ways:
        here = [beyond(elements, share * length) for share in shares]
        pairs = list(zip(here, there, strict=True))
        near = all(gap(*pair) <= 2 * _SAME * terms.snap for pair in pairs)
        if near and all(level_with(a.z, b.z, terms.level) for a, b in pairs):
            return True
    return False


def overlap_faults(dropped: Iterable[Dropped], drawn: Mapping[Source, float], unit: str) -> list[Fault]:
    """Return a fault for every pair of sources of which one covers part of the other, or all of it."""
    by_pair: dict[tuple[Source, Source], list[Dropped]] = {}
    gone: dict[Source, float] = {}
    for one in dropped:
        by_pair.setdefault((one.source, one.kept), []).append(one)
        gone[one.source] = gone.get(one.source, 0.0) + one.length
    faults: list[Fault] = []
    for (own, kept), stretches in by_pair.items():
        length = math.fsum(one.length for one in stretches)
        longest = min(stretches, key=lambda one: (-micro(one.length), order(one.spot)))
        whole = gone[own] >= 0.99 * drawn.get(own, math.inf)
        over = f"handle {kept[0]}" + (f" on layer {kept[1]}" if kept[1] else "") if kept[0] else "another track"
        text = f"{length_text(length, unit)} of track drawn again, over {over}: kept once"
        faults.append(Fault("duplicate" if whole else "overlap", text, longest.spot, *own, weight=length))
    return faults
