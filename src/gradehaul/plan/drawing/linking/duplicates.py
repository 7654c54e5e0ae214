"""Track drawn more than once: stretches that two ways share are kept once."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

from gradehaul.plan.drawing.elements import (
    cut,
    gap,
    heading,
    height,
    level_with,
    micro,
    nearest,
    order,
    place,
    turned,
    wrapped,
)
from gradehaul.plan.drawing.linking.canonical_order import Source, source
from gradehaul.plan.drawing.linking.ways import CROWD, End, Ways, continuing
from gradehaul.plan.drawing.records import Element, Fault, Spot
from gradehaul.plan.drawing.wording import length_text

_ALIKE = 0.02
"""Curvatures that differ by no more than this share may be the same one fitted twice."""
_FAR = 1000.0
"""A run of this many snaps is long enough to unit any two curvatures apart that matter."""


class Dropped(NamedTuple):
    """A stretch that was left out because another covers it."""

    source: Source
    kept: Source
    length: float
    spot: Spot


def alike(one: float, other: float) -> bool:
    """Return whether two curvatures, 1/m, may be the same one drawn or fitted twice.

    Examples
    --------
    >>> alike(1.66, 1.65), alike(0.0, 0.1)
    (True, False)
    """
    return abs(one - other) <= 1e-6 + _ALIKE * max(abs(one), abs(other))


def shared(
    one: Element, other: Element, run: float, other_run: float, snap: float, kink: float, level: float
) -> tuple[float, float] | None:
    """Return how far along each of two elements that begin together they are one, m, or None where they part at once.

    They are one up to where the first of them ends, or not at all: track parts where curvature changes. Near their
    beginning any two lie within `snap`, so curvature decides: the arrows of both, over the length of the shorter,
    must agree within a quarter of `snap`, or the curvatures within 2 %.

    Parameters
    ----------
    one, other
        Elements that leave one place in one direction.
    run, other_run
        How far the track goes on with the curvature of each, m.
    snap, kink, level
        What counts as one, m, radians, m.
    """
    if abs(wrapped(one.heading - other.heading)) > kink:
        return None
    if other.length < one.length:
        found = shared(other, one, other_run, run, snap, kink, level)
        return None if found is None else (found[1], found[0])
    along = nearest(other, one.end)
    if other.length - along <= snap:
        along = other.length
    if one.length <= snap:
        return one.length, along
    bend = abs(one.curvature - other.curvature)
    arrow = bend * min(run, other_run) ** 2 / 8
    if arrow > snap / 4 and not alike(one.curvature, other.curvature):
        return None
    if along <= 0 or abs(wrapped(heading(one, one.length) - heading(other, along))) > kink:
        return None
    half = place(one, one.length / 2)
    across = place(other, nearest(other, half))
    if gap(one.end, place(other, along)) > 1.5 * snap or gap(half, across) > 1.5 * snap:
        return None
    return (one.length, along) if level_with(one.end.z, height(other, along), level) else None


@dataclass(slots=True, eq=False)
class Closing:
    """The closing of shared stretches, from the nodes where two ways leave in one direction onward."""

    ways: Ways
    drawn: Mapping[Source, float]
    """Length of each source as drawn, m; of two that cover one another the longer is kept."""
    snap: float
    kink: float
    level: float
    dropped: list[Dropped]

    def run(self) -> bool:
        """Close every shared stretch and return whether there was one."""
        nodes = [node for node, ends in self.ways.nodes() if self._may_pair(ends)]
        waiting = deque(sorted(nodes, key=lambda node: min(order(self.ways.spot(end)) for end in self.ways.at(node))))
        before = len(self.dropped)
        while waiting:
            node = self.ways.find(waiting.popleft())
            found = self._pair(node)
            if found is not None:
                waiting.extendleft((node, self._close(node, *found)))
        return len(self.dropped) > before

    def _may_pair(self, ends: list[End]) -> bool:
        """Tell whether two of the ways that leave a node do so in one direction."""
        if not 1 < len(ends) <= CROWD:
            return False
        headings = [self.ways.heading(end) for end in ends]
        return any(abs(wrapped(one - other)) <= self.kink for one, other in combinations(headings, 2))

    def _pair(self, node: int) -> tuple[End, End, tuple[float, float]] | None:
        """Return the two ends at a node that share the longest stretch, and how long it is on each."""
        ends = self.ways.at(node)
        if not 1 < len(ends) <= CROWD:
            return None
        best: tuple[tuple[object, ...], End, End, tuple[float, float]] | None = None
        outward = {end: self.ways.outward(end) for end in ends}
        for one, other in combinations(sorted(ends, key=lambda end: _rank(self.drawn, outward[end])), 2):
            if abs(wrapped(outward[one].heading - outward[other].heading)) > self.kink:
                continue
            runs = self._run(one), self._run(other)
            found = shared(outward[one], outward[other], *runs, self.snap, self.kink, self.level)
            if found is None:
                continue
            if one.way == other.way:
                self._halve(one)
                return self._pair(node)
            rank = (-micro(max(found)),)
            if best is None or rank < best[0]:
                best = rank, one, other, found
        return None if best is None else best[1:]

    def _run(self, end: End) -> float:
        """Return how far track goes on from an end with the same curvature, m, through plain joints, or far enough."""
        curvature = self.ways.outward(end).curvature
        length, enough, first = 0.0, _FAR * self.snap, end.way
        while True:
            elements = self.ways.all[end.way].elements
            for element in elements if end.side == 0 else reversed(elements):
                own = element.curvature if end.side == 0 else -element.curvature
                if not alike(own, curvature) or length > enough:
                    return length
                length += element.length
            far = End(end.way, 1 - end.side)
            ends = self.ways.at(self.ways.node_at(far))
            if len(ends) != 2 or continuing(self.ways, *ends) > self.kink:
                return length
            end = ends[0] if ends[1] == far else ends[1]
            if end.way == first:
                return length

    def _halve(self, end: End) -> None:
        """Cut a way in two, so that its two ends can be laid on one another."""
        length = self.ways.all[end.way].length
        self.ways.split(end.way, [(length / 2, self.ways.node())])

    def _close(self, node: int, one: End, other: End, lengths: tuple[float, float]) -> int:
        """Keep one of two stretches and return the node where it ends."""
        kept_end, kept = self._advance(node, one, lengths[0])
        dropped_end, dropped = self._advance(node, other, lengths[1])
        if kept is None:
            kept, dropped = dropped, None
        far = self.ways.join(kept_end, dropped_end)
        assert kept is not None
        if self.ways.find(node) != far or kept.length > 3 * self.snap:
            self.ways.add([kept], self.ways.find(node), far)
        if dropped is not None:
            spot = place(dropped, dropped.length / 2)
            self.dropped.append(Dropped(source(dropped), source(kept), dropped.length, spot))
        return far

    def _advance(self, node: int, end: End, along: float) -> tuple[int, Element | None]:
        """Take a stretch off a way at an end; return the node where the rest begins, and the stretch."""
        if along <= 1e-9:
            return node, None
        first = self.ways.outward(end)
        way = self.ways.all[end.way]
        rest = None
        if along < first.length - 1e-9:
            first, rest = cut(first, along)
        elif len(way.elements) == 1:
            far = self.ways.node_at(End(end.way, 1 - end.side))
            self.ways.remove(end.way)
            return far, first
        if end.side == 0:
            way.elements.popleft()
        else:
            way.elements.pop()
        if rest is not None:
            if end.side == 0:
                way.elements.appendleft(rest)
            else:
                way.elements.append(turned(rest))
        fresh = self.ways.node()
        self.ways.move(end, fresh)
        return fresh, first


def _rank(drawn: Mapping[Source, float], element: Element) -> tuple[object, ...]:
    """Return what decides which of two stretches is kept: of the longer source, then by handle and place."""
    own = source(element)
    return -micro(drawn.get(own, 0.0)), own, order(element.end), micro(element.length)


def overlap_faults(dropped: list[Dropped], drawn: Mapping[Source, float], unit: str) -> list[Fault]:
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
        what = f"{length_text(length, unit)} of track drawn again, over {_named(kept)}: kept once"
        faults.append(Fault("duplicate" if whole else "overlap", what, longest.spot, *own, weight=length))
    return faults


def _named(own: Source) -> str:
    handle, layer = own
    return f"handle {handle}" + (f" on layer {layer}" if layer else "") if handle else "another track"
