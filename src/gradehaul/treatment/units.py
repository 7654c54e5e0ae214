"""Units: what may be wiped, whole tracks or stretches of them, and where each lies along a route."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.profile import RouteProfile
from gradehaul.network.film_spread import Stretches
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.quantities.si import Meters, Share

_WHOLE = 1 + 1e-9
"""A track so little longer than a number of steps is that many steps long."""

Numbers = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Unit:
    """A stretch of track that is wiped or left as a whole: its places along its track, m, in its line's direction.

    `film` is the condition it has in the plan already, None where it is clean; `pickup` how much contact matters there.
    """

    track: str
    name: str
    line: str
    start: Meters
    stop: Meters
    pickup: Share = 1.0
    film: str | None = None

    @property
    def length(self) -> Meters:
        """Its length, m."""
        return self.stop - self.start

    @property
    def weight(self) -> float:
        """What treating it is worth: its length times how much contact matters there."""
        return self.length * self.pickup


@dataclass(frozen=True, slots=True, eq=False)
class Units:
    """Every unit of a layout, by number, and those of each track in its line's direction.

    `before` and `beyond` have how much of its track lies before each unit and beyond it, m.
    """

    all: tuple[Unit, ...]
    stretches: Stretches
    before: NDArray[np.float64]
    beyond: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class RouteUnits:
    """The units under a route, in running order: their numbers, and where each begins, m, with the end of the last."""

    numbers: Numbers
    starts: NDArray[np.float64]


def lay_units(layout: Layout, step: float | None = None) -> Units:
    """Return the units of every track of a layout.

    `step` is the greatest length of a unit, m; tracks that are longer are divided evenly. None: tracks stay whole.
    """
    units: list[Unit] = []
    of_track: dict[str, range] = {}
    for track in layout.plan.tracks.values():
        parts = 1 if step is None else max(1, math.ceil(track.length / (step * _WHOLE)))
        bounds = np.linspace(0.0, track.length, parts + 1).tolist()
        film = None if track.rail in (None, CLEAN) else layout.aged(track.rail)
        of_track[track.id] = range(len(units), len(units) + parts)
        units += [
            Unit(track.id, track.name, track.line, start, stop, track.pickup, film) for start, stop in pairwise(bounds)
        ]
    before = np.array([unit.start for unit in units])
    beyond = np.array([layout.plan.tracks[unit.track].length - unit.stop for unit in units])
    return Units(tuple(units), Stretches([unit.length for unit in units], of_track), before, beyond)


def units_along(units: Units, profile: RouteProfile) -> RouteUnits:
    """Return the units under a route."""
    ways = profile.route.ways
    runs = [units.stretches.on_way(way) for way in ways]
    numbers = np.concatenate([np.array(run, dtype=np.intp) for run in runs])
    sizes = [len(run) for run in runs]
    along = np.where(np.repeat([way.forward for way in ways], sizes), units.before[numbers], units.beyond[numbers])
    return RouteUnits(numbers, np.append(np.repeat(profile.starts[:-1], sizes) + along, profile.starts[-1]))


def with_rails(profile: RouteProfile, units: Units, rails: Sequence[tuple[str, ...]]) -> RouteProfile:
    """Return a profile with the rail conditions that every unit under it may have, by its number."""
    along = units_along(units, profile)
    track = np.searchsorted(profile.starts, along.starts[:-1] + 1e-12, side="right") - 1
    return replace(
        profile,
        starts=along.starts,
        tracks=tuple(profile.tracks[k] for k in np.clip(track, 0, len(profile.tracks) - 1).tolist()),
        rails=tuple(rails[number] for number in along.numbers.tolist()),
        legs=tuple(with_rails(leg, units, rails) for leg in profile.legs),
        behind=tuple(with_rails(each, units, rails) for each in profile.behind),
    )
