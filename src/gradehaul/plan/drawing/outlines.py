"""The strokes of a drawing as columns: the vertices of all of them, one stroke behind the other, and their ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gradehaul.plan.drawing.records import BoolArray, FloatArray, IntArray, Stroke


@dataclass(frozen=True, slots=True, eq=False)
class Outlines:
    """Strokes as columns. Stroke n has the ends 2n, where it begins, and 2n + 1.

    Attributes
    ----------
    points, bulges
        All vertices, m, shape (p, 2), and the bulge of the segment that begins at each, 0 at the last of a stroke.
    first
        Where each stroke begins among them, and behind the last where that ends, shape (n + 1,).
    curved
        Whether each stroke has a bulge, shape (n,).
    tips
        Where its ends lie, m, a height that it has not as 0, shape (2n, 3).
    ways, outward
        What leads from each end to the next vertex, m, shape (2n, 2), and in which direction, radians.
    """

    points: FloatArray
    bulges: FloatArray
    first: IntArray
    curved: BoolArray
    tips: FloatArray
    ways: FloatArray
    outward: FloatArray

    @classmethod
    def of(cls, strokes: Sequence[Stroke]) -> Outlines:
        """Return strokes as columns."""
        sizes = [len(stroke.points) for stroke in strokes]
        first = np.cumsum([0, *sizes])
        start, last = first[:-1], first[1:] - 1
        points, inner = np.concatenate([stroke.points for stroke in strokes]), np.ones(first[-1], dtype=bool)
        inner[last] = False
        bulges = np.zeros(first[-1])
        bulges[inner] = np.concatenate([stroke.bulges for stroke in strokes])
        heights = [(0.0, 0.0) if each.heights is None else (each.heights[0], each.heights[-1]) for each in strokes]
        ends = np.stack((points[start], points[last]), axis=1)
        ways = (np.stack((points[start + 1], points[last - 1]), axis=1) - ends).reshape(-1, 2)
        return cls(
            points,
            bulges,
            first,
            np.logical_or.reduceat(bulges != 0, start),
            np.dstack((ends, np.array(heights)[:, :, None])).reshape(-1, 3),
            ways,
            np.arctan2(ways[:, 1], ways[:, 0]),
        )
