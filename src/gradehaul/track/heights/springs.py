"""A network of springs between heights, some known and the others where the springs hold them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gradehaul.track.piecewise import FloatArray

_FEW = 200
"""Up to so many unknown heights the springs are solved as a full matrix, beyond it as a sparse one."""


def solve_springs(
    count: int, start: NDArray[np.int_], stop: NDArray[np.int_], weight: FloatArray, rise: FloatArray
) -> FloatArray:
    """Return the heights that minimize Σ weight (z[stop] − z[start] − rise)², by the normal equations.

    Parameters
    ----------
    count
        How many heights are unknown.
    start, stop
        The two ends of each spring, shape (n,): the index of an unknown height, or -1 for a height of 0.
    weight
        How stiff each is, shape (n,).
    rise
        The rise at which each is slack, m, shape (n,).

    Examples
    --------
    A spring up from the ground, and one twice as stiff back to it:

    >>> ends = np.array([-1, 0]), np.array([0, -1])
    >>> solve_springs(1, *ends, np.array([1.0, 2.0]), np.array([0.3, 0.0])).round(6)
    array([0.1])
    """
    if not count:
        return np.empty(0)
    a, b = start >= 0, stop >= 0
    both = a & b
    row = np.concatenate([start[a], stop[b], start[both], stop[both]])
    col = np.concatenate([start[a], stop[b], stop[both], start[both]])
    entries = np.concatenate([weight[a], weight[b], -weight[both], -weight[both]])
    right = np.bincount(stop[b], (weight * rise)[b], count) - np.bincount(start[a], (weight * rise)[a], count)
    if count <= _FEW:
        # loading scipy would take longer than the whole of a small plan
        small = np.zeros((count, count))
        np.add.at(small, (row, col), entries)
        return np.asarray(np.linalg.solve(small, right), dtype=float)
    from scipy.sparse import coo_array
    from scipy.sparse.linalg import spsolve

    matrix = coo_array((entries, (row, col)), shape=(count, count)).tocsc()
    return np.asarray(spsolve(matrix, right, permc_spec="MMD_AT_PLUS_A"), dtype=float)
