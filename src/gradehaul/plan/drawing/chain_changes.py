"""The ways to have an element less in a chain of straights and arcs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from gradehaul.plan.drawing.course import WIDEST_CHORD
from gradehaul.plan.drawing.tangent_arcs import Arcs, ends

STRAIGHTEN, MERGE, LEAVE_OUT = range(3)


class Change(NamedTuple):
    """A way to have an element less: how far it would bend the track at a guess, m, which way, and where."""

    bend: float
    kind: int
    element: int
    straight: bool
    width: int = 1


def mark_of(arcs: Arcs, change: Change) -> tuple[int, ...]:
    """Return what tells a change from every other while the vertices of the elements beside it stay the same."""
    index = np.arange(change.element - 1, change.element + 4) % len(arcs.first)
    vertices = (int(at) % len(arcs.off) for at in arcs.first[index])
    return (change.kind, int(change.straight), change.width, *vertices)


def changes_of(arcs: Arcs, tolerance: float, *, closed: bool) -> list[Change]:
    """Return the changes worth trying, the slightest first."""
    count = arcs.count
    found: list[Change] = []
    limit = tolerance
    for one in range(count):
        length = float(arcs.length[one])
        bend = abs(float(arcs.curvature[one])) * length**2 / 8
        beside = [at % count for at in (one - 1, one + 1) if closed or 0 <= at < count]
        # Over a single drawn chord nothing shows a bend but the tangents of the neighbors.
        bare = (
            int(arcs.first[one + 1] - arcs.first[one]) <= 2 and abs(float(arcs.curvature[one])) * length < WIDEST_CHORD
        )
        if not arcs.straight[one] and (bend <= limit or bare) and not any(arcs.straight[at] for at in beside):
            found.append(Change(bend, STRAIGHTEN, one, True))
        found.extend(_merges(arcs, one, limit, closed=closed))
        if not closed and one == count - 1:
            continue
        other = (one + 1) % count
        if closed or one > 0:
            before = (one - 1) % count
            worst = max(abs(float(arcs.curvature[at] - arcs.curvature[one])) for at in (before, other))
            if worst * length**2 / 8 <= limit and not (arcs.straight[before] and arcs.straight[other]):
                found.append(Change(worst * length**2 / 10, LEAVE_OUT, one, False))
    return sorted(found)


def _merges(arcs: Arcs, one: int, limit: float, *, closed: bool) -> Iterator[Change]:
    """Yield the ways to make one element of several from `one` on."""
    count = arcs.count
    for width in (2, 3, 4):
        if width > count or (not closed and one + width > count):
            return
        members = np.arange(one, one + width) % count
        curvature, length = arcs.curvature[members], arcs.length[members]
        both = float(length.sum())
        mean = float(curvature @ length) / both
        bend = float((np.abs(curvature - mean) * length * np.minimum(length, both - length)).max()) / 8
        if bend > limit:
            continue
        yield Change(bend, MERGE, one, False, width)
        outer = [at % count for at in (one - 1, one + width) if closed or 0 <= at < count]
        if abs(mean) * both**2 / 8 <= limit and not any(arcs.straight[at] for at in outer):
            yield Change(bend * 0.9, MERGE, one, True, width)


def with_change(window: Arcs, change: Change, at: int) -> tuple[Arcs, tuple[int, int]]:
    """Return a chain after a change, not yet settled, and the elements it touches."""
    start, curvature = window.start.copy(), window.curvature.copy()
    length, straight, first = window.length.copy(), window.straight.copy(), window.first.copy()
    if change.kind == STRAIGHTEN:
        straight[at] = True
        curvature[at] = 0.0
        start[at, 2] += window.curvature[at] * length[at] / 2
        return Arcs(start, curvature, length, straight, first, window.off), (at, at + 1)
    if change.kind == MERGE:
        members = slice(at, at + change.width)
        gone: int | slice = slice(at + 1, at + change.width)
        touched = (at, at + 1)
        both = float(length[members].sum())
        curvature[at] = 0.0 if change.straight else float(curvature[members] @ length[members]) / both
        if change.straight:
            last = at + change.width - 1
            tip = ends(window.start[[last]], window.curvature[[last]], window.length[[last]])[0]
            way = tip[:2] - start[at, :2]
            start[at, 2] += math.remainder(math.atan2(way[1], way[0]) - start[at, 2], 2 * math.pi)
        length[at] = both
        straight[at] = change.straight
        first = np.delete(first, gone)
    else:
        half = length[at] / 2
        middle = ends(start[at : at + 1], curvature[at : at + 1], np.array([half]))[0]
        start[at + 1] = middle
        length[at - 1] += half
        length[at + 1] += half
        first[at + 1] = (first[at] + first[at + 1]) // 2
        gone, touched = at, (at - 1, at + 1)
        first = np.delete(first, at)
    return (
        Arcs(
            np.delete(start, gone, axis=0),
            np.delete(curvature, gone),
            np.delete(length, gone),
            np.delete(straight, gone),
            first,
            window.off,
        ),
        touched,
    )
