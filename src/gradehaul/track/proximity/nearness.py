"""Nearness: tracks as chords, and the stretches on which two of them are near one another and on one level."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.track.curvature import Section
from gradehaul.track.map.plane import many_points
from gradehaul.track.piecewise import FloatArray

if TYPE_CHECKING:
    from gradehaul.track.alignment import Alignment

_HALVINGS = 40
"""Steps in a search for the place where a track leaves the level: to a millionth of a chord and less."""


class Chords(NamedTuple):
    """Chords of tracks, n of them, in the order of the tracks and along each."""

    track: NDArray[np.intp]
    """The number of the track, shape (n,)."""
    span: FloatArray
    """Distances along the track of both ends, m, shape (n, 2)."""
    ends: FloatArray
    """x, y and railhead of both ends, m, shape (n, 2, 3)."""
    bend: FloatArray
    """The sharpest curvature, without sign, 1/m, shape (n,)."""

    def take(self, which: NDArray[np.intp]) -> Chords:
        """Return some of the chords, by their numbers."""
        return Chords(self.track[which], self.span[which], self.ends[which], self.bend[which])

    def cut(self, span: FloatArray) -> Chords:
        """Return the same chords cut back to other distances."""
        begin, width = self.span[:, :1], np.diff(self.span)
        share = ((span - begin) / width)[:, :, np.newaxis]
        return self._replace(span=span, ends=self.ends[:, :1] + share * np.diff(self.ends, axis=1))


def chords_of(alignment: Alignment, names: Sequence[str], *, stray: float, longest: float) -> Chords:
    """Return tracks as chords that stray from them by no more than a distance, m, and are no longer than another."""
    tracks = [alignment.tracks[name] for name in names]
    starts = [alignment.positions.tracks[name].start for name in names]
    number, distance, xy = many_points([track.sections for track in tracks], starts, stray, longest=longest)
    begins = np.searchsorted(number, np.arange(len(names) + 1))
    height = np.concatenate(
        [track.railhead.at(distance[a:b]) for track, a, b in zip(tracks, begins, begins[1:], strict=False)]
    )
    place = np.column_stack([xy, height])
    one = np.flatnonzero(number[:-1] == number[1:])
    ends = np.stack([place[one], place[one + 1]], axis=1)
    span = np.column_stack([distance[one], distance[one + 1]])
    return Chords(number[one], span, ends, _sharpest([track.sections for track in tracks], number[one], span))


def _sharpest(tracks: Sequence[Sequence[Section]], track: NDArray[np.intp], span: FloatArray) -> FloatArray:
    """Return the sharpest curvature on stretches of tracks, without sign, 1/m."""
    rows = [(number, part.length, part.first, part.last) for number, parts in enumerate(tracks) for part in parts]
    owner, length, first, last = np.array(rows).T
    begins = np.cumsum(length) - length
    opens = begins[np.searchsorted(owner, np.arange(len(tracks)))]  # where each track begins, all laid end to end
    which = np.searchsorted(begins, span.mean(axis=1) + opens[track], side="right") - 1
    along = span - (begins - opens[owner.astype(int)])[which][:, np.newaxis]
    slope = ((last - first) / length)[which]
    bends: FloatArray = np.abs(first[which][:, np.newaxis] + slope[:, np.newaxis] * along).max(axis=1)
    return bends


Pairs = tuple[NDArray[np.intp], NDArray[np.intp]]
"""Numbers of chords, pair by pair, shape (n,) each."""

_FEW = 1_000
"""Up to so many chords each is held against each: loading a library with a tree would take longer."""

_AT_ONCE = 8_000
"""Chords whose neighbors are looked for at once, so that memory stays small."""


def neighbors(plane: FloatArray, distance: float) -> Callable[[int, int], Pairs]:
    """Return a function that finds, for the chords from one number to another, those whose boxes are near.

    `plane` has the ends of all chords, m, shape (n, 2, 2); `distance` is how near, m.
    """
    low, high = plane.min(axis=1), plane.max(axis=1)
    if len(plane) <= _FEW:

        def among_few(begin: int, stop: int) -> Pairs:
            lowest, highest = low[begin:stop, np.newaxis] - distance, high[begin:stop, np.newaxis] + distance
            mine, near = np.nonzero(np.all((low <= highest) & (high >= lowest), axis=2))
            return mine, near

        return among_few

    import shapely

    tree = shapely.STRtree(np.asarray(shapely.linestrings(plane)))
    # boxes around what may be near find little more than the distances themselves would, ten times as fast
    around = np.asarray(shapely.box(*(low - distance).T, *(high + distance).T))

    def in_tree(begin: int, stop: int) -> Pairs:
        mine, near = tree.query(around[begin:stop])
        return mine, near

    return in_tree


def near_pairs(ends: FloatArray, reach: float, highest: float) -> Iterator[Pairs]:
    """Yield all pairs of chords that may be within reach in the plane and less than a height apart, each pair once.

    A tree of their middles in space finds them, so that what lies far above or below costs nothing.
    """
    low, top = ends.min(axis=1), ends.max(axis=1)
    room = np.array([reach, reach, highest])

    def near(one: NDArray[np.intp], two: NDArray[np.intp]) -> Pairs:
        kept = np.all(np.maximum(low[one] - top[two], low[two] - top[one]) < room, axis=1)
        return one[kept], two[kept]

    if len(ends) <= _FEW:
        yield near(*np.triu_indices(len(ends), 1))
        return
    from scipy.spatial import cKDTree

    size = np.abs(ends[:, 1] - ends[:, 0]).max(axis=0)
    wide, high = reach + max(size[0], size[1]), highest + size[2]
    middle = ends.mean(axis=1) / [wide, wide, high]
    tree = cKDTree(middle)
    for begin in range(0, len(middle), _AT_ONCE):
        some = cKDTree(middle[begin : begin + _AT_ONCE])
        pairs = some.sparse_distance_matrix(tree, 1.0 + 1e-9, p=np.inf, output_type="ndarray")
        one, two = pairs["i"] + begin, pairs["j"]
        rising = one < two
        one, two = near(one[rising], two[rising])
        order = np.lexsort((two, one))
        yield one[order], two[order]


def near_stretches(
    mine: Chords, theirs: Chords, distance: FloatArray, height: float
) -> tuple[NDArray[np.intp], FloatArray]:
    """Return the pairs of chords that are near one another on one level, and the stretch of the first that is.

    All places within a distance of a chord, m, one for each pair, are a disc at each end and a strip between; together
    they are convex, so a straight line is within them from one place to another. From a height on they are two levels.

    Stretches are by the spans of `mine`, m, shape (m, 2).
    """
    pairs = _pairs(mine, theirs)
    strip = _common(
        _between(pairs.lengthwise, pairs.lengthwise_step, 0.0, pairs.size),
        _between(pairs.sidewise, pairs.sidewise_step, -distance, distance),
    )
    start, step = mine.ends[:, 0, :2], mine.ends[:, 1, :2] - mine.ends[:, 0, :2]
    discs = (_in_disc(start - theirs.ends[:, end, :2], step, distance) for end in (0, 1))
    near = _common(_hull(strip, *discs), np.array([0.0, 1.0]))
    some = np.flatnonzero(near[:, 0] < near[:, 1])
    level = _on_one_level(_Seen(*(column[some] for column in pairs)), near[some], distance[some], height)
    span = mine.span[some]
    stretches: FloatArray = span[:, :1] + level * np.diff(span)
    kept = level[:, 0] < level[:, 1]
    return some[kept], stretches[kept]


class _Seen(NamedTuple):
    """Pairs of chords, each first one as it is seen from the second: at t from 0 to 1 along it, all of shape (n,).

    Its place there is `lengthwise` + t `lengthwise_step` along the second, from its start, and `sidewise` + t
    `sidewise_step` to its left, m; the second has the length `size`, m. The first has the railhead `railhead` + t
    `railhead_step`, the second `other` at its start and `other_step` more at its end, m.
    """

    size: FloatArray
    lengthwise: FloatArray
    lengthwise_step: FloatArray
    sidewise: FloatArray
    sidewise_step: FloatArray
    railhead: FloatArray
    railhead_step: FloatArray
    other: FloatArray
    other_step: FloatArray


def _pairs(mine: Chords, theirs: Chords) -> _Seen:
    step, along = mine.ends[:, 1] - mine.ends[:, 0], theirs.ends[:, 1] - theirs.ends[:, 0]
    off = mine.ends[:, 0] - theirs.ends[:, 0]
    size = np.hypot(along[:, 0], along[:, 1])
    one = np.divide(along[:, :2], size[:, np.newaxis], out=np.zeros((size.size, 2)), where=size[:, np.newaxis] > 0)
    left = np.column_stack([-one[:, 1], one[:, 0]])
    return _Seen(
        size,
        _dot(off, one),
        _dot(step, one),
        _dot(off, left),
        _dot(step, left),
        mine.ends[:, 0, 2],
        step[:, 2],
        theirs.ends[:, 0, 2],
        along[:, 2],
    )


def _on_one_level(pairs: _Seen, near: FloatArray, distance: FloatArray, height: float) -> FloatArray:
    """Return the part of each near stretch where some place of the other chord within the distance is on its level.

    The places within the distance and the differences of height between bounds are both convex, so the part is one
    stretch. Nearly always it is all or nothing, by the highest and lowest ends.
    """
    first = np.stack([pairs.railhead, pairs.railhead + pairs.railhead_step])
    other = np.stack([pairs.other, pairs.other + pairs.other_step])
    most = np.maximum(first.max(axis=0) - other.min(axis=0), other.max(axis=0) - first.min(axis=0))
    least = np.maximum(first.min(axis=0) - other.max(axis=0), other.min(axis=0) - first.max(axis=0))
    found = np.where((least < height)[:, np.newaxis], near, [np.inf, -np.inf])
    mixed = np.flatnonzero((least < height) & (most >= height))
    if mixed.size:
        found[mixed] = _part_on_one_level(
            _Seen(*(column[mixed] for column in pairs)), near[mixed], distance[mixed], height
        )
    return found


def _part_on_one_level(pairs: _Seen, near: FloatArray, distance: FloatArray, height: float) -> FloatArray:
    """Return where along each near stretch the least difference of height is less than the bound, by halving."""

    def excess(t: FloatArray) -> FloatArray:
        foot = pairs.lengthwise + t * pairs.lengthwise_step
        reach = np.sqrt(np.maximum(distance**2 - (pairs.sidewise + t * pairs.sidewise_step) ** 2, 0.0))
        ends = np.clip(np.stack([foot - reach, foot + reach]), 0.0, pairs.size) / pairs.size
        above = pairs.railhead + t * pairs.railhead_step - (pairs.other + ends * pairs.other_step)
        result: FloatArray = np.maximum(above.min(axis=0), -above.max(axis=0)) - height
        return result

    low, high = near.T
    for _ in range(_HALVINGS):  # a convex function falls toward its least value from both sides
        one, other = low + (high - low) / 3, high - (high - low) / 3
        falls = excess(one) > excess(other)
        low, high = np.where(falls, one, low), np.where(falls, high, other)
    best = 0.5 * (low + high)
    edges = []
    for edge in near.T:
        inside, outside = best, edge
        for _ in range(_HALVINGS):
            middle = 0.5 * (inside + outside)
            on_level = excess(middle) < 0
            inside, outside = np.where(on_level, middle, inside), np.where(on_level, outside, middle)
        edges.append(np.where(excess(edge) < 0, edge, inside))
    none = excess(best) >= 0
    return np.column_stack([np.where(none, np.inf, edges[0]), np.where(none, -np.inf, edges[1])])


def _dot(one: FloatArray, other: FloatArray) -> FloatArray:
    return one[:, 0] * other[:, 0] + one[:, 1] * other[:, 1]


# Stretches, shape (n, 2): from the first to the second; none where the first is not the lesser.


def _between(value: FloatArray, step: FloatArray, low: float | FloatArray, high: float | FloatArray) -> FloatArray:
    """Return the stretch of t on which value + t step lies between two bounds."""
    with np.errstate(divide="ignore", invalid="ignore"):
        one, other = (low - value) / step, (high - value) / step
    inside = (low < value) & (value < high)
    level = step == 0.0
    begin = np.where(level, np.where(inside, -np.inf, np.inf), np.minimum(one, other))
    return np.column_stack([begin, np.where(level, -begin, np.maximum(one, other))])


def _in_disc(off: FloatArray, step: FloatArray, radius: FloatArray) -> FloatArray:
    """Return the stretch of t on which off + t step, m, is nearer than the radius to zero; steps are never zero."""
    a, b, c = _dot(step, step), _dot(off, step), _dot(off, off) - radius**2
    root = b * b - a * c
    half = np.where(root > 0, np.sqrt(np.maximum(root, 0.0)) / a, -np.inf)
    return np.column_stack([-b / a - half, -b / a + half])


def _common(one: FloatArray, other: FloatArray) -> FloatArray:
    return np.stack([np.maximum(one[..., 0], other[..., 0]), np.minimum(one[..., 1], other[..., 1])], axis=-1)


def _hull(*parts: FloatArray) -> FloatArray:
    """Return the stretch that holds all those given that are any."""
    every = np.stack(parts)
    none = every[..., 0] >= every[..., 1]
    every[none] = np.inf, -np.inf
    return np.stack([every[..., 0].min(axis=0), every[..., 1].max(axis=0)], axis=-1)
