"""Connected components of an undirected graph, by arrays."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def components(count: int, pairs: ArrayLike) -> NDArray[np.intp]:
    """Return the connected component of each node, shape (count,): its least node, by pairs of nodes, shape (pairs, 2).

    Each round joins components by pointers to the least node (a textbook method); scipy's own takes a third of a second
    to load.

    Examples
    --------
    >>> components(5, [(0, 2), (3, 4)])
    array([0, 1, 0, 3, 3])
    """
    one, other = np.asarray(pairs, dtype=np.intp).reshape(-1, 2).T
    found = np.arange(count)
    while (found[one] != found[other]).any():
        low, high = np.sort((found[one], found[other]), axis=0)
        np.minimum.at(found, high, low)
        while (found != found[found]).any():
            found = found[found]
    return found
