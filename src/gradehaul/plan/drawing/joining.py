"""Lines that meet end to end become one stroke before anything is fitted: many a curve is drawn as separate chords."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gradehaul.plan.drawing.linking.duplicates import Dropped
from gradehaul.plan.drawing.records import FloatArray, Spot, Stroke

IntArray = NDArray[np.int64]

HAIR = 1e-5
"""Ends nearer than this, m, are one place, however short the chords are."""
SHARPEST = math.radians(35)
"""Chords of one curve turn by no more than this, radians: a polygon of eleven sides (our own choice)."""
TURNING = 1e-4
"""Lines that turn by less, radians, are one straight in pieces."""
SHARE = 0.4
"""Ends meet over a gap of no more than this share of the shorter line, so that short chords keep their order."""


def joined(strokes: Sequence[Stroke], *, snap: float, level: float) -> tuple[list[Stroke], list[Dropped]]:
    """Return strokes with those that meet end to end at plain places joined, and the chords that are drawn twice.

    A place is plain where two ends meet and no third one: first ends that are drawn at one place, then those left over
    that lie within `snap`. What is joined are straight lines and strokes of chords on one layer that turn by no more
    than `SHARPEST` where they meet; lines are joined only where they turn twice or more, or meet a stroke of chords.
    All others stay as they are. The answer is the same in whatever order and direction the lines were drawn.

    Parameters
    ----------
    strokes
        The strokes of the drawing, m.
    snap
        How far apart, m, ends may be drawn that meet, in plan.
    level
        How much their heights may differ, m.

    Examples
    --------
    >>> angle = np.radians(np.arange(0, 40, 10))
    >>> corners = np.column_stack((np.sin(angle), 1 - np.cos(angle)))
    >>> lines = [Stroke(str(n), "", "LINE", corners[n : n + 2], np.zeros(1), np.ones(1, bool)) for n in range(3)]
    >>> (stroke,), _ = joined(lines[::-1], snap=0.001, level=0.02)
    >>> len(stroke.points), stroke.exact.tolist()
    (4, [False, False, False])
    """
    able = np.array([_is_chords(stroke) for stroke in strokes], dtype=bool)
    if np.count_nonzero(able) < 2:
        return list(strokes), []
    ends = _Ends(strokes, able)
    twice = ends.drawn_twice()
    lone = ends.meet(twice)
    ends.meet_near(lone, snap, level)
    found: list[Stroke] = []
    used: set[int] = set()
    chains = [chain for chain in ends.chains() if _is_curve(chain, strokes, ends)]
    for chain in chains:
        used.update(number // 2 for number in chain)
        found.append(_stroke_of(chain, strokes, ends, snap))
    dropped = []
    for number, kept in twice.items():
        if kept in used:
            used.add(number)
            one, other = strokes[number], strokes[kept]
            middle = Spot(*one.points.mean(axis=0).tolist())
            length = float(np.hypot(*(one.points[1] - one.points[0])))
            dropped.append(Dropped((one.handle, one.layer), (other.handle, other.layer), length, middle))
    return [stroke for number, stroke in enumerate(strokes) if number not in used] + found, dropped


def _is_line(stroke: Stroke) -> bool:
    return len(stroke.bulges) == 1 and stroke.bulges[0] == 0


def _is_chords(stroke: Stroke) -> bool:
    """Tell whether a stroke is a straight line or consists of chords alone, and is open."""
    if _is_line(stroke):
        return True
    return not stroke.exact.any() and bool((stroke.points[0] != stroke.points[-1]).any())


@dataclass(slots=True, eq=False, init=False)
class _Ends:
    """The ends of all strokes: end 2n is where stroke n begins, 2n + 1 where it ends.

    Attributes
    ----------
    spots
        Where each lies, m, shape (2n, 3); without a height z is 0.
    outward
        In which direction the stroke leaves it, radians, shape (2n,).
    lengths
        How long each stroke is, m, shape (n,); the length of its shortest chord where it has several.
    place
        The number of the place where each lies, shape (2n,).
    partner
        The end that each is joined to, -1 for none, shape (2n,).
    """

    strokes: Sequence[Stroke]
    able: NDArray[np.bool_]
    layers: IntArray
    spots: FloatArray
    outward: FloatArray
    lengths: FloatArray
    place: IntArray
    partner: IntArray

    def __init__(self, strokes: Sequence[Stroke], able: NDArray[np.bool_]) -> None:
        self.strokes, self.able = strokes, able
        names = {layer: number for number, layer in enumerate({stroke.layer: None for stroke in strokes})}
        self.layers = np.array([names[stroke.layer] for stroke in strokes], dtype=np.int64)
        tips = np.array([stroke.points[[0, 1, -2, -1]] for stroke in strokes])
        heights = [(0.0, 0.0) if stroke.heights is None else stroke.heights[[0, -1]] for stroke in strokes]
        self.spots = np.dstack((tips[:, [0, 3]], np.array(heights)[:, :, None])).reshape(-1, 3)
        ways = (tips[:, [1, 2]] - tips[:, [0, 3]]).reshape(-1, 2)
        self.outward = np.arctan2(ways[:, 1], ways[:, 0])
        self.lengths = np.hypot(*ways.T).reshape(-1, 2).min(axis=1)
        self.place = _places(self.spots)
        self.partner = np.full(len(self.spots), -1, dtype=np.int64)

    def drawn_twice(self) -> dict[int, int]:
        """Return the lines that another line covers from end to end, by number, with the first of those."""
        first: dict[tuple[int, int], int] = {}
        found: dict[int, int] = {}
        pairs = np.sort(self.place.reshape(-1, 2), axis=1).tolist()
        for number, (one, other) in enumerate(pairs):
            if _is_line(self.strokes[number]):
                same = first.setdefault((one, other), number)
                if same != number and self.layers[same] == self.layers[number]:
                    found[number] = same
        return found

    def meet(self, twice: dict[int, int]) -> NDArray[np.bool_]:
        """Join ends that are alone with one another at a place; return the ends that are alone at theirs."""
        counted = np.ones(len(self.place), dtype=bool)
        for number in twice:
            counted[2 * number : 2 * number + 2] = False
        ends = np.flatnonzero(counted)
        order = ends[np.argsort(self.place[ends], kind="stable")]
        _, first, often = np.unique(self.place[order], return_index=True, return_counts=True)
        pairs = first[often == 2]
        self._join(order[pairs], order[pairs + 1])
        lone = np.zeros(len(self.place), dtype=bool)
        lone[order[first[often == 1]]] = True
        return lone

    def meet_near(self, lone: NDArray[np.bool_], snap: float, level: float) -> None:
        """Join lone ends within `snap` of one another, where no third one lies so near."""
        from scipy.sparse import coo_array
        from scipy.sparse.csgraph import connected_components
        from scipy.spatial import cKDTree

        ends = np.flatnonzero(lone)
        if len(ends) < 2:
            return
        tree = cKDTree(self.spots[ends, :2])
        pairs = ends[tree.query_pairs(snap, output_type="ndarray")]
        one, other = pairs[:, 0], pairs[:, 1]
        off = np.hypot(*(self.spots[one, :2] - self.spots[other, :2]).T)
        shorter = np.minimum(self.lengths[one // 2], self.lengths[other // 2])
        near = (off <= SHARE * shorter) & (np.abs(self.spots[one, 2] - self.spots[other, 2]) <= level)
        one, other = one[near], other[near]
        graph = coo_array((np.ones(len(one)), (one, other)), shape=(len(self.spots),) * 2)
        _, group = connected_components(graph, directed=False)
        alone = np.bincount(group)[group[one]] == 2
        self._join(one[alone], other[alone])

    def _join(self, one: IntArray, other: IntArray) -> None:
        """Join pairs of ends, those that may belong to one curve."""
        turn = np.abs(np.remainder(self.outward[one] - self.outward[other], math.tau) - math.pi)
        able = self.able[one // 2] & self.able[other // 2] & (self.layers[one // 2] == self.layers[other // 2])
        fair = able & (turn <= SHARPEST) & (one // 2 != other // 2)
        self.partner[one[fair]] = other[fair]
        self.partner[other[fair]] = one[fair]

    def chains(self) -> Iterator[list[int]]:
        """Yield the strokes that are joined, in order, each as the end where it is entered."""
        partner = self.partner.tolist()
        seen = [False] * len(self.strokes)
        joined_ends = [number for number, mate in enumerate(partner) if mate >= 0]
        # Those at the end of a chain first; what is left are rings.
        for start in (*(end for end in joined_ends if partner[end ^ 1] < 0), *joined_ends):
            if seen[start // 2]:
                continue
            chain = []
            end = start ^ 1
            while end >= 0 and not seen[end // 2]:
                seen[end // 2] = True
                chain.append(end)
                end = partner[end ^ 1]
            yield chain


def _places(spots: FloatArray) -> IntArray:
    """Return the number of the place at which each spot lies; those within `HAIR` of one another are at one place."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    unique, inverse = np.unique(np.round(spots, 9), axis=0, return_inverse=True)
    pairs = cKDTree(unique).query_pairs(HAIR, output_type="ndarray")
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(unique),) * 2)
    _, group = connected_components(graph, directed=False)
    return np.asarray(group, dtype=np.int64)[inverse.ravel()]


def _is_curve(chain: Sequence[int], strokes: Sequence[Stroke], ends: _Ends) -> bool:
    """Tell whether strokes in a row may be a curve, not a straight in pieces or two straights with a corner."""
    if len(chain) < 2:
        return False
    if not all(_is_line(strokes[end // 2]) for end in chain):
        return True
    headings = np.array([ends.outward[end] for end in chain])
    turns = np.abs(np.remainder(np.diff(headings) + math.pi, math.tau) - math.pi)
    return int(np.count_nonzero(turns > TURNING)) > 1


def _stroke_of(chain: Sequence[int], strokes: Sequence[Stroke], ends: _Ends, snap: float) -> Stroke:
    """Return strokes in a row as one, from the end whose coordinates come first."""
    if ends.spots[chain[0]].tolist() > ends.spots[chain[-1] ^ 1].tolist():
        chain = [end ^ 1 for end in reversed(chain)]
    parts = [_entered(strokes[end // 2], end) for end in chain]
    rows = [parts[0][:1]]
    for before, after in itertools.pairwise(parts):
        rows += [before[1:-1], _corner(before, after, snap)[None]]
    rows += [parts[-1][1:]]
    points = np.concatenate(rows)
    if len(chain) > 2 and ends.partner[chain[0]] == chain[-1] ^ 1:
        points[0] = points[-1] = _corner(parts[-1], parts[0], snap)
    own = [strokes[end // 2] for end in chain]
    points = _without_splits(points, own)
    first = min(own, key=lambda stroke: (len(stroke.handle), stroke.handle))
    count = len(points) - 1
    heights = None if all(stroke.heights is None for stroke in own) else points[:, 2].copy()
    return Stroke(
        first.handle,
        first.layer,
        first.kind,
        points[:, :2].copy(),
        np.zeros(count),
        np.zeros(count, dtype=bool),
        heights,
    )


def _without_splits(points: FloatArray, own: Sequence[Stroke]) -> FloatArray:
    """Return vertices without those at which one chord was only split: they do not lie on the curve."""
    if len(points) < 3 or not all(_is_line(stroke) for stroke in own):
        return points
    steps = np.diff(points, axis=0)
    size = np.hypot(steps[:, 0], steps[:, 1])
    cross = steps[:-1, 0] * steps[1:, 1] - steps[:-1, 1] * steps[1:, 0]
    grade = steps[:, 2] / size
    even = np.abs(np.diff(grade)) * np.minimum(size[:-1], size[1:]) <= HAIR
    kept = (np.abs(cross) > TURNING * size[:-1] * size[1:]) | ~even
    return points[np.concatenate(((True,), kept, (True,)))]


def _entered(stroke: Stroke, end: int) -> FloatArray:
    """Return the vertices of a stroke from one of its ends on, shape (n, 3)."""
    heights = np.zeros(len(stroke.points)) if stroke.heights is None else stroke.heights
    points = np.column_stack((stroke.points, heights))
    return points if end % 2 == 0 else points[::-1]


def _corner(before: FloatArray, after: FloatArray, snap: float) -> FloatArray:
    """Return where one stroke goes over into the next: where their lines cross, else in the middle of their ends."""
    end, start = before[-1], after[0]
    middle: FloatArray = (end + start) / 2
    off = start - end
    if abs(off[0]) + abs(off[1]) <= HAIR:
        return middle if off.any() else end
    way, onward = end - before[-2], after[1] - start
    size, cross = math.hypot(*way[:2]), way[0] * onward[1] - way[1] * onward[0]
    if abs(cross) > math.sin(math.radians(1)) * size * math.hypot(*onward[:2]):
        share = (off[0] * onward[1] - off[1] * onward[0]) / cross
        if abs(share) * size <= snap:
            middle[:2] = (end + share * way)[:2]
    return middle
