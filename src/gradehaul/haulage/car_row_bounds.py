"""Rows of cars: the greatest demand of 1, 2, 3 … equal cars coupled together on a route."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from gradehaul.plan.resolve.stock import MOST_CARS
from gradehaul.track.piecewise import FloatArray

if TYPE_CHECKING:
    from gradehaul.haulage.profile import RouteProfile

_SIZES = (64, 32, 16, 8, 4, 2, 1)
"""Numbers of cars in a row whose steepest place is looked up, to bound what any number of cars can need."""

_MOST_PLACES = 8
"""Places kept at which every count has been looked at; the oldest go first."""


@dataclass(eq=False)
class Rows:
    """What rows of 1, 2, 3 … cars of one length need on a profile, in weights of one car, each array of shape (999,).

    A row needs no more, and pushes no more, than the parts it is made of, each on the place that is worst for it. So
    `up` bounds what a row needs anywhere, and `down` how hard it pushes. `places` has, for some places of its front,
    what every row needs there.
    """

    profile: RouteProfile
    length: float
    up: FloatArray = field(init=False)
    down: FloatArray = field(init=False)
    places: dict[float, FloatArray] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.up, self.down = np.zeros(MOST_CARS), np.zeros(MOST_CARS)
        left = np.arange(1, MOST_CARS + 1)
        worst: list[float] = []
        for size in _SIZES:
            if size > 1 and size * self.length > self.profile.length:
                continue
            # a train longer than its berth stands with cars on the level track behind it: a row may straddle the origin
            demanded = self.profile.averaged(size * self.length, 0.0)
            steepest = demanded.greatest()
            worst.append(steepest.at)
            parts, left = left // size, left % size
            self.up += parts * size * max(steepest.value, 0.0)
            self.down += parts * size * max(-demanded.least().value, 0.0)
        for place in worst:
            self.look_at(place)

    def look_at(self, front: float) -> None:
        """Keep what every row needs with its front at one place."""
        if front in self.places:
            return
        behind = np.arange(MOST_CARS + 1) * self.length
        heights = self.profile.with_track_behind(max(float(behind[-1]) - front, 0.0)).continued(front - behind)
        if len(self.places) == _MOST_PLACES:
            del self.places[next(iter(self.places))]
        self.places[front] = (heights[0] - heights[1:]) / self.length
