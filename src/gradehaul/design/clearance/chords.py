"""Chords that may meet: which of them are near one another, and where two are nearest."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from gradehaul.track.piecewise import FloatArray

Integers = NDArray[np.intp]

_AT_ONCE = 8_000
"""Chords whose neighbors are looked for at once, so that memory stays small."""


def near_pairs(ends: FloatArray, reach: float, highest: float) -> Iterator[tuple[Integers, Integers]]:
    """Yield all pairs of chords that may be within reach in the plane and less than a height apart, each pair once.

    A tree of their middles in space finds them, so that what lies far above or below costs nothing.

    Parameters
    ----------
    ends
        x, y and railhead of both ends, m, shape (n, 2, 3).
    reach
        In the plane, m.
    highest
        Of one railhead over the other, m.

    Examples
    --------
    >>> ends = np.array([[[0.0, 0, 0], [1, 0, 0]], [[0, 0.5, 0], [1, 0.5, 0]], [[0, 0, 9], [1, 0, 9]]])
    >>> [(one.tolist(), two.tolist()) for one, two in near_pairs(ends, 0.6, 1.0)]
    [([0], [1])]
    """
    from scipy.spatial import cKDTree

    size = np.abs(ends[:, 1] - ends[:, 0]).max(axis=0)
    wide, high = reach + max(size[0], size[1]), highest + size[2]
    middle = ends.mean(axis=1) / [wide, wide, high]
    tree = cKDTree(middle)
    low, top = ends.min(axis=1), ends.max(axis=1)
    room = np.array([reach, reach, highest])
    for begin in range(0, len(middle), _AT_ONCE):
        some = cKDTree(middle[begin : begin + _AT_ONCE])
        pairs = some.sparse_distance_matrix(tree, 1.0 + 1e-9, p=np.inf, output_type="ndarray")
        one, two = pairs["i"] + begin, pairs["j"]
        rising = one < two
        one, two = one[rising], two[rising]
        near = np.all(np.maximum(low[one] - top[two], low[two] - top[one]) < room, axis=1)
        order = np.lexsort((two[near], one[near]))
        yield one[near][order], two[near][order]


def closest(one: FloatArray, two: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return where chords are nearest one another: the shares of the way along both, and the distance there.

    The last is how far the one place lies along the rail from the foot of the other, on the chord where that is less.
    """
    d, e = one[:, 1] - one[:, 0], two[:, 1] - two[:, 0]
    off = one[:, 0] - two[:, 0]
    a, b, c = (d * d).sum(1), (d * e).sum(1), (e * e).sum(1)
    p, q = (d * off).sum(1), (e * off).sum(1)
    det = a * c - b * b
    inner = det > 1e-12 * a * c
    s = np.where(inner, (b * q - c * p) / np.where(inner, det, 1.0), 0.0)
    t = np.where(inner, (a * q - b * p) / np.where(inner, det, 1.0), 0.0)
    crosses = inner & (s >= 0) & (s <= 1) & (t >= 0) & (t <= 1)

    def onto(place: FloatArray, start: FloatArray, step: FloatArray, size: FloatArray) -> FloatArray:
        found: FloatArray = np.clip(((place - start) * step).sum(1) / size, 0.0, 1.0)
        return found

    zero, full = np.zeros_like(a), np.ones_like(a)
    options = [
        (s, t),
        (zero, onto(one[:, 0], two[:, 0], e, c)),
        (full, onto(one[:, 1], two[:, 0], e, c)),
        (onto(two[:, 0], one[:, 0], d, a), zero),
        (onto(two[:, 1], one[:, 0], d, a), full),
    ]
    gaps = np.stack([np.hypot(*(off + u[:, None] * d - v[:, None] * e).T) for u, v in options])
    gaps[0] = np.where(crosses, 0.0, np.inf)
    best = gaps.argmin(axis=0)
    row = np.arange(best.size)
    shares = np.stack([u for u, _ in options]), np.stack([v for _, v in options])
    u, v = shares[0][best, row], shares[1][best, row]
    apart = off + u[:, None] * d - v[:, None] * e
    slip = np.minimum(np.abs((apart * d).sum(1)) / np.sqrt(a), np.abs((apart * e).sum(1)) / np.sqrt(c))
    return u, v, gaps[best, row], slip
