"""Track over other track: the heights that leveling keeps between them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from gradehaul.design.deck import structure_of
from gradehaul.design.level.program import Limit
from gradehaul.design.level.stations import Stations
from gradehaul.haulage.answers.layout import Layout
from gradehaul.scales import clear_height
from gradehaul.track.map.plane import many_points
from gradehaul.track.piecewise import FloatArray

_CLOSE = 0.005
"""How closely track is followed on the map, m."""


def decks_apart(layout: Layout, stations: Stations) -> Iterator[Limit]:
    """Yield limits that keep track over other track at the clear height and its deck, or where even heights have it.

    Tracks lie over one another where they are nearer on the map than stock is wide, and with even heights farther apart
    in height than a deck is thick.
    """
    from scipy.spatial import cKDTree

    alignment, plan = layout.alignment, layout.plan
    positions, structure = alignment.positions, structure_of(plan).total
    wide = plan.scale.stock_width
    bar = clear_height(plan.scale, plan.practice) + structure
    names = sorted(positions.tracks, key=lambda name: positions.tracks[name].frame)
    for frame, own in groupby(names, key=lambda name: positions.tracks[name].frame):
        if not positions.usable(frame):
            continue
        tracks = list(own)
        of, at, points = many_points(
            [alignment.tracks[name].sections for name in tracks],
            [positions.tracks[name].start for name in tracks],
            _CLOSE,
            longest=wide,
        )
        before, share = _between_stations(stations, tracks, of, at)
        even = (1 - share) * stations.even[before[:, 0]] + share * stations.even[before[:, 1]]
        one, two = cKDTree(points).query_pairs(wide, output_type="ndarray").reshape(-1, 2).T
        upper, lower = np.where(even[one] > even[two], one, two), np.where(even[one] > even[two], two, one)
        rise = even[upper] - even[lower]
        free = np.any(stations.free[before], axis=1)
        for over, under, room in zip(upper.tolist(), lower.tolist(), rise.tolist(), strict=True):
            if room > structure and (free[over] or free[under]):
                parts: dict[int, float] = {}
                for point, sign in ((over, 1.0), (under, -1.0)):
                    for station, part in zip(before[point].tolist(), (1 - share[point], share[point]), strict=True):
                        parts[station] = parts.get(station, 0.0) + sign * float(part)
                yield Limit("apart", int(before[over, 0]), parts, min(bar, room), math.inf)


def _between_stations(
    stations: Stations, tracks: Sequence[str], of: NDArray[np.intp], at: FloatArray
) -> tuple[NDArray[np.intp], FloatArray]:
    """Return the stations before and behind points on tracks, shape (points, 2), and how far they are between them."""
    before, share = np.empty((of.size, 2), dtype=np.intp), np.empty(of.size)
    for number, name in enumerate(tracks):
        track = stations.plan.tracks[name]
        begin = sum(each.length for each in stations.plan.lines[track.line].tracks[: track.number - 1])
        numbers, distance = stations.lines[track.line]
        here = of == number
        place = begin + at[here]
        last = np.clip(np.searchsorted(distance, place, side="right") - 1, 0, distance.size - 2)
        before[here] = np.column_stack([numbers[last], numbers[last + 1]])
        share[here] = np.clip((place - distance[last]) / (distance[last + 1] - distance[last]), 0.0, 1.0)
    return before, share
