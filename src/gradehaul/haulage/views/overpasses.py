"""What passes over what: the places where tracks cross at different heights."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gradehaul.haulage.views.track_view import Spot, TrackView
from gradehaul.quantities.si import Meters, Radians
from gradehaul.track.proximity.nearness import neighbors

_ALONG = 0.02
"""Tracks that cross at less than this, rad, lie along one another, as the turns of a helix do."""

_ONE_LEVEL = 1e-6
"""Railheads that differ by less than this, m, are one."""

_CROSSINGS_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Overpass:
    """A place where one track passes over another: both, the angle between them, rad, and how much higher, m."""

    KEYS: ClassVar[str] = "over under angle apart=height"

    over: Spot
    under: Spot
    angle: Radians
    height: Meters


def overpasses(views: Sequence[TrackView]) -> Iterator[Overpass]:
    """Yield the places where tracks cross at different heights, found on their chords."""
    count = [view.distance.size - 1 for view in views]
    owner = np.repeat(np.arange(len(views)), count)
    chord = np.concatenate([np.arange(each) for each in count])
    plane = np.concatenate([np.stack([view.xy[:-1], view.xy[1:]], axis=1) for view in views])
    near = neighbors(plane, 0.0)
    seen: set[tuple[float, float, float]] = set()
    for begin in range(0, len(plane), _CROSSINGS_AT_ONCE):
        mine, other = near(begin, min(begin + _CROSSINGS_AT_ONCE, len(plane)))
        mine = mine + begin
        first, second = mine[mine < other], other[mine < other]
        a, b = plane[first], plane[second]
        along, across = a[:, 1] - a[:, 0], b[:, 1] - b[:, 0]
        gap = b[:, 0] - a[:, 0]
        turn = along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            on_first = (gap[:, 0] * across[:, 1] - gap[:, 1] * across[:, 0]) / turn
            on_second = (gap[:, 0] * along[:, 1] - gap[:, 1] * along[:, 0]) / turn
        hit = np.flatnonzero((on_first >= 0) & (on_first <= 1) & (on_second >= 0) & (on_second <= 1))
        for k in hit.tolist():
            i, j = int(first[k]), int(second[k])
            found = _overpass(
                (views[owner[i]], int(chord[i]), float(on_first[k])),
                (views[owner[j]], int(chord[j]), float(on_second[k])),
            )
            if found is None:
                continue
            # a crossing at the meeting of two chords is found on both
            key = round(found.over.x, 6), round(found.over.y, 6), round(found.height, 6)
            if key not in seen:
                seen.add(key)
                yield found


def _overpass(one: tuple[TrackView, int, float], other: tuple[TrackView, int, float]) -> Overpass | None:
    spots, heights = [], []
    for view, chord, share in (one, other):
        at = float(view.distance[chord] + share * (view.distance[chord + 1] - view.distance[chord]))
        spots.append(view.spot(at))
        heights.append(float(np.interp(at, view.distance, view.railhead)))
    angle = abs(math.remainder(spots[0].heading - spots[1].heading, math.pi))
    if angle < _ALONG or abs(heights[0] - heights[1]) < _ONE_LEVEL:
        return None
    upper = 0 if heights[0] > heights[1] else 1
    return Overpass(spots[upper], spots[1 - upper], angle, abs(heights[0] - heights[1]))
