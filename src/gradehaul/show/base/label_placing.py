"""Where labels go: each at the best of its places that no other label has taken, or nowhere."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from gradehaul.track.piecewise import FloatArray


class Box(NamedTuple):
    """A box on the sheet; any unit, the same for all."""

    left: float
    bottom: float
    right: float
    top: float

    def meets(self, other: Box) -> bool:
        """Return whether two boxes overlap; boxes that touch do not."""
        return (
            self.left < other.right and other.left < self.right and self.bottom < other.top and other.bottom < self.top
        )

    def within(self, room: Box) -> bool:
        """Return whether the box lies in another."""
        return (
            self.left >= room.left and self.right <= room.right and self.bottom >= room.bottom and self.top <= room.top
        )

    def nearest(self, x: float, y: float) -> tuple[float, float]:
        """Return the place in the box that is nearest to a place.

        >>> Box(0, 0, 4, 2).nearest(7, 1)
        (4, 1)
        """
        return min(max(x, self.left), self.right), min(max(y, self.bottom), self.top)

    def grown(self, by: float) -> Box:
        """Return the box with a margin all round."""
        return Box(self.left - by, self.bottom - by, self.right + by, self.top + by)


class Board:
    """A sheet on which labels take places, the most important first."""

    def __init__(self, *, gap: float) -> None:
        self.gap = gap
        self.taken: list[Box] = []

    def take(self, box: Box) -> None:
        """Keep a place free of labels."""
        self.taken.append(box)

    def free(self, box: Box) -> bool:
        """Return whether no label, nor the gap around it, is in the way."""
        wide = box.grown(self.gap)
        return not any(wide.meets(other) for other in self.taken)

    def place(
        self, places: Sequence[Box], *, costs: Sequence[float] | None = None, room: Box | None = None
    ) -> int | None:
        """Take the free place of the least cost, the first of several alike, and return which; None where none is free.

        An infinite cost is where a label cannot go; `room` is where it must lie.
        """
        charges = [0.0] * len(places) if costs is None else costs
        order = sorted((k for k, cost in enumerate(charges) if math.isfinite(cost)), key=lambda k: (charges[k], k))
        for k in order:
            if (room is None or places[k].within(room)) and self.free(places[k]):
                self.take(places[k])
                return k
        return None


def crossed(box: Box, points: FloatArray) -> int:
    """Return how many points of a line, shape (n, 2), lie in a box: how much of it a label there would hide."""
    x, y = points[:, 0], points[:, 1]
    return int(np.count_nonzero((x > box.left) & (x < box.right) & (y > box.bottom) & (y < box.top)))
