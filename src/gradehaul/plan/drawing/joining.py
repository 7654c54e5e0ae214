"""Lines that meet end to end become one stroke before anything is fitted: many a curve is drawn as separate chords."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from gradehaul.plan.drawing.linking.overlaps import Dropped
from gradehaul.plan.drawing.nearness import pairs, places_of, walks
from gradehaul.plan.drawing.outlines import Outlines
from gradehaul.plan.drawing.records import BoolArray, Fault, FloatArray, IntArray, Spot, Stroke, Terms
from gradehaul.plan.drawing.wording import gap_text

HAIR = 1e-5
"""Ends nearer than this, m, are one place, however short the chords are."""
SHARPEST = math.radians(35)
"""Chords of one curve turn by no more than this, radians: a polygon of eleven sides (our own choice)."""
TURNING = 1e-4
"""Lines that turn by less, radians, are one straight in pieces."""
SHARE = 0.4
"""Ends meet over a gap of no more than this share of the shorter line, so that short chords keep their order."""


def joined(
    strokes: Sequence[Stroke], outlines: Outlines, terms: Terms
) -> tuple[list[Stroke], list[Dropped], list[Fault]]:
    """Return strokes with those that meet end to end joined, the chords that are drawn twice, and the gaps closed.

    A place is plain where two ends meet and no third one: first ends that are drawn at one place, then those left over
    that lie within `snap`. What is joined are lines with lines, or strokes of chords with such, on one layer, that turn
    by no more than `SHARPEST` where they meet; lines only where they turn twice or more in a row. All others stay as
    they are. The answer is the same in whatever order and direction
    the lines were drawn.

    Examples
    --------
    >>> from gradehaul.plan.drawing.records import terms
    >>> angle = np.radians(np.arange(0, 40, 10))
    >>> corners = np.column_stack((np.sin(angle), 1 - np.cos(angle)))
    >>> lines = [Stroke(str(n), "", "LINE", corners[n : n + 2], np.zeros(1), True) for n in range(3)]
    >>> (stroke,), _, _ = joined(lines, Outlines.of(lines), terms(0.0165, "mm", ["*"]))
    >>> len(stroke.points), stroke.exact
    (4, False)
    """
    if len(strokes) < 2:
        return list(strokes), [], []
    snap = terms.snap
    ends = _Ends(strokes, outlines)
    if np.count_nonzero(ends.able) < 2:
        return list(strokes), [], []
    twice = ends.drawn_twice()
    lone = ends.meet(twice)
    ends.meet_near(lone, snap, terms.level)
    found: list[Stroke] = []
    used: set[int] = set()
    chains = [chain for chain in map(np.array, walks(ends.partner.tolist())) if _is_curve(chain, ends)]
    for chain in chains:
        used.update((chain // 2).tolist())
        found.append(_stroke_of(chain, strokes, ends, snap))
    dropped = []
    for number, kept in twice.items():
        if kept in used:
            used.add(number)
            one, other = strokes[number], strokes[kept]
            middle = Spot(*one.points.mean(axis=0).tolist())
            length = float(np.hypot(*(one.points[1] - one.points[0])))
            dropped.append(Dropped((one.handle, one.layer), (other.handle, other.layer), length, middle))
    gaps = [gap for chain in chains for gap in _gaps(chain, strokes, ends, snap, terms.plan_unit)]
    return [stroke for number, stroke in enumerate(strokes) if number not in used] + found, dropped, gaps


class _Ends:
    """The ends of strokes as `Outlines` has them, the place of each, and the end that it is joined to, -1 for none.

    `line` is whether each stroke is a straight line, `able` whether it is that or open and of chords alone, `lengths`
    how long it is, m, or its shorter chord at an end where it has several.
    """

    def __init__(self, strokes: Sequence[Stroke], outlines: Outlines) -> None:
        exact = np.array([stroke.exact for stroke in strokes])
        self.spots, self.outward = outlines.tips, outlines.outward
        open_ = (self.spots[::2, :2] != self.spots[1::2, :2]).any(axis=1)
        self.line = (np.diff(outlines.first) == 2) & ~outlines.curved
        self.able = self.line | (~exact & open_)
        names = {layer: number for number, layer in enumerate({stroke.layer: None for stroke in strokes})}
        self.layers = np.array([names[stroke.layer] for stroke in strokes], dtype=np.int64)
        self.lengths = np.hypot(*outlines.ways.T).reshape(-1, 2).min(axis=1)
        self.place = places_of(self.spots, HAIR)
        self.partner = np.full(len(self.spots), -1, dtype=np.int64)

    def drawn_twice(self) -> dict[int, int]:
        """Return the lines that another line covers from end to end, by number, with the first of those."""
        lines, count = np.flatnonzero(self.line), len(self.place)
        tips = np.sort(self.place.reshape(-1, 2), axis=1)
        keys = (self.layers * count + tips[:, 0]) * count + tips[:, 1]
        _, first, same = np.unique(keys[lines], return_index=True, return_inverse=True)
        kept = lines[first[same]]
        return dict(zip(lines[kept != lines].tolist(), kept[kept != lines].tolist(), strict=True))

    def meet(self, twice: dict[int, int]) -> BoolArray:
        """Join ends that are alone with one another at a place; return the ends that are alone at theirs."""
        counted = np.ones(len(self.place), dtype=bool)
        for number in twice:
            counted[2 * number : 2 * number + 2] = False
        ends = np.flatnonzero(counted)
        order = ends[np.argsort(self.place[ends], kind="stable")]
        _, first, often = np.unique(self.place[order], return_index=True, return_counts=True)
        two = first[often == 2]
        self._join(order[two], order[two + 1])
        lone = np.zeros(len(self.place), dtype=bool)
        lone[order[first[often == 1]]] = True
        return lone

    def meet_near(self, lone: BoolArray, snap: float, level: float) -> None:
        """Join lone ends within `snap` of one another, where no third one lies so near."""
        ends = np.flatnonzero(lone)
        one, other = (ends[each] for each in pairs(self.spots[ends, :2], snap))
        off = np.hypot(*(self.spots[one, :2] - self.spots[other, :2]).T)
        shorter = np.minimum(self.lengths[one // 2], self.lengths[other // 2])
        near = (off <= SHARE * shorter) & (np.abs(self.spots[one, 2] - self.spots[other, 2]) <= level)
        one, other = one[near], other[near]
        often = np.bincount(np.concatenate((one, other)), minlength=len(self.spots))
        alone = (often[one] == 1) & (often[other] == 1)
        self._join(one[alone], other[alone])

    def _join(self, one: IntArray, other: IntArray) -> None:
        """Join pairs of ends, those that may belong to one curve."""
        turn = np.abs(np.remainder(self.outward[one] - self.outward[other], math.tau) - math.pi)
        mine, theirs = one // 2, other // 2
        able = self.able[mine] & self.able[theirs] & (self.layers[mine] == self.layers[theirs])
        fair = able & (turn <= SHARPEST) & (mine != theirs)
        self.partner[one[fair]] = other[fair]
        self.partner[other[fair]] = one[fair]


def _is_curve(chain: IntArray, ends: _Ends) -> bool:
    """Return whether strokes in a row may be a curve, not a straight in pieces or two straights with a corner."""
    if len(chain) < 2:
        return False
    if not ends.line[chain // 2].all():
        return True
    turns = np.abs(np.remainder(np.diff(ends.outward[chain]) + math.pi, math.tau) - math.pi)
    return int(np.count_nonzero(turns > TURNING)) > 1


def _stroke_of(chain: IntArray, strokes: Sequence[Stroke], ends: _Ends, snap: float) -> Stroke:
    """Return strokes in a row as one, from the end whose coordinates come first."""
    if ends.spots[chain[0]].tolist() > ends.spots[chain[-1] ^ 1].tolist():
        chain = chain[::-1] ^ 1
    corners = _corners(ends, chain[:-1] ^ 1, chain[1:], snap)
    points = np.concatenate((ends.spots[chain[:1]], corners, ends.spots[chain[-1:] ^ 1]))
    if len(chain) > 2 and ends.partner[chain[0]] == chain[-1] ^ 1:
        points[0] = points[-1] = _corners(ends, chain[-1:] ^ 1, chain[:1], snap)[0]
    own = [strokes[number] for number in (chain // 2).tolist()]
    if ends.line[chain // 2].all():
        points = _without_splits(points)
    else:
        inner = [_inner(stroke, end) for stroke, end in zip(own, chain.tolist(), strict=True)]
        points = np.concatenate(
            [row for pair in zip(points[:-1, None], inner, strict=True) for row in pair] + [points[-1:]]
        )
    first = min(own, key=lambda stroke: (len(stroke.handle), stroke.handle))
    count = len(points) - 1
    heights = None if all(stroke.heights is None for stroke in own) else points[:, 2].copy()
    plan = points[:, :2].copy()
    return Stroke(first.handle, first.layer, first.kind, plan, np.zeros(count), exact=False, heights=heights)


def _corners(ends: _Ends, one: IntArray, other: IntArray, snap: float) -> FloatArray:
    """Return where strokes go over into the next, shape (n, 3): where their lines cross, else between their ends."""
    start, end = ends.spots[one], ends.spots[other]
    way, onward = ends.outward[one] + math.pi, ends.outward[other]
    off = end - start
    cross = np.sin(onward - way)
    apart = (np.abs(off[:, :2]).sum(axis=1) > HAIR) & (np.abs(cross) > math.sin(math.radians(1)))
    share = (off[:, 0] * np.sin(onward) - off[:, 1] * np.cos(onward)) / np.where(apart, cross, 1.0)
    apart &= np.abs(share) <= snap
    found: FloatArray = np.where((off == 0).all(axis=1)[:, None], start, (start + end) / 2)
    found[apart, 0] = (start[:, 0] + share * np.cos(way))[apart]
    found[apart, 1] = (start[:, 1] + share * np.sin(way))[apart]
    return found


def _gaps(chain: IntArray, strokes: Sequence[Stroke], ends: _Ends, snap: float, unit: str) -> list[Fault]:
    """Return a fault for each gap of more than a tenth of `snap` between strokes in a row."""
    one, other = ends.spots[chain[:-1] ^ 1], ends.spots[chain[1:]]
    off = np.hypot(*(other - one)[:, :2].T)
    found = []
    for number in np.flatnonzero(off > snap / 10).tolist():
        stroke, size = strokes[chain[number] // 2], float(off[number])
        spot = Spot(*one[number, :2].tolist())
        found.append(Fault("gap", gap_text(size, unit), spot, stroke.handle, stroke.layer, weight=size))
    return found


def _without_splits(points: FloatArray) -> FloatArray:
    """Return vertices without those at which one chord was only split: they do not lie on the curve.

    Those between a turn to the left and one to the right stay: there a curve may go over into another.
    """
    steps = np.diff(points, axis=0)
    size = np.hypot(steps[:, 0], steps[:, 1])
    cross = steps[:-1, 0] * steps[1:, 1] - steps[:-1, 1] * steps[1:, 0]
    even = np.abs(np.diff(steps[:, 2] / size)) * np.minimum(size[:-1], size[1:]) <= HAIR
    hand = np.where(np.abs(cross) > TURNING * size[:-1] * size[1:], np.sign(cross), 0.0)
    turns, last = np.flatnonzero(hand), np.cumsum(hand != 0)
    between = hand[turns] if len(turns) else np.zeros(1)
    before, after = between[np.maximum(last - 1, 0)], between[np.minimum(last, len(between) - 1)]
    kept = (hand != 0) | (before * after < 0) | ~even
    return points[np.concatenate(((True,), kept, (True,)))]


def _inner(stroke: Stroke, end: int) -> FloatArray:
    """Return the vertices of a stroke between its ends, entered at one of them, shape (n - 2, 3)."""
    heights = np.zeros(len(stroke.points)) if stroke.heights is None else stroke.heights
    points = np.column_stack((stroke.points, heights))[1:-1]
    return points if end % 2 == 0 else points[::-1]
