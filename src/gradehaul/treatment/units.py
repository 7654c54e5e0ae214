"""Units: what may be wiped, whole tracks or stretches of them, and where each lies along a route."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.profile import RouteProfile
from gradehaul.network.graph import Way
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.quantities.si import Meters

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
    pickup: float = 1.0
    film: str | None = None

    @property
    def length(self) -> Meters:
        """Its length, m."""
        return self.stop - self.start

    @property
    def weight(self) -> float:
        """What filming it is worth: its length times how much contact matters there."""
        return self.length * self.pickup


@dataclass(frozen=True, slots=True, eq=False)
class Units:
    """Every unit of a layout, by number, and those of each track in its line's direction.

    `before` and `beyond` have how much of its track lies before each unit and beyond it, m.
    """

    all: tuple[Unit, ...]
    of_track: Mapping[str, Numbers]
    lengths: NDArray[np.float64]
    before: NDArray[np.float64]
    beyond: NDArray[np.float64]

    def on_way(self, way: Way) -> Numbers:
        """Return the units of a way, in running order."""
        numbers = self.of_track[way.track]
        return numbers if way.forward else numbers[::-1]


@dataclass(frozen=True, slots=True, eq=False)
class RouteUnits:
    """The units under a route, in running order: their numbers, and where each begins, m, with the end of the last."""

    numbers: Numbers
    starts: NDArray[np.float64]


def lay_units(layout: Layout, step: float | None = None) -> Units:
    """Return the units of every track of a layout.

    `step` is the greatest length of a unit, m; tracks that are longer are divided evenly. None: tracks stay whole.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> layout = Layout(read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead.A = 0
    ... line.Main = { from = "A", to = "B", track = [{ straight = 1 }, { straight = 0.5, rail = "treated" }] }
    ... '''))
    >>> [(unit.name, unit.film) for unit in lay_units(layout).all]
    [('Main:1', None), ('Main:2', 'treated')]
    >>> [round(unit.stop, 3) for unit in lay_units(layout, 0.4).all]
    [0.333, 0.667, 1.0, 0.25, 0.5]
    """
    units: list[Unit] = []
    of_track: dict[str, Numbers] = {}
    for track in layout.plan.tracks.values():
        parts = 1 if step is None else max(1, math.ceil(track.length / (step * _WHOLE)))
        bounds = np.linspace(0.0, track.length, parts + 1).tolist()
        film = track.rail if track.rail not in (None, CLEAN) else None
        of_track[track.id] = np.arange(len(units), len(units) + parts)
        units += [
            Unit(track.id, track.name, track.line, start, stop, track.pickup, film) for start, stop in pairwise(bounds)
        ]
    lengths, before = (np.array([getattr(unit, name) for unit in units]) for name in ("length", "start"))
    beyond = np.array([layout.plan.tracks[unit.track].length - unit.stop for unit in units])
    return Units(tuple(units), of_track, lengths, before, beyond)


def units_along(units: Units, profile: RouteProfile) -> RouteUnits:
    """Return the units under a route."""
    ways = profile.route.ways
    runs = [units.on_way(way) for way in ways]
    numbers = np.concatenate(runs)
    sizes = [run.size for run in runs]
    along = np.where(np.repeat([way.forward for way in ways], sizes), units.before[numbers], units.beyond[numbers])
    return RouteUnits(numbers, np.append(np.repeat(profile.starts[:-1], sizes) + along, profile.starts[-1]))


def with_rails(profile: RouteProfile, units: Units, rails: Mapping[int, str]) -> RouteProfile:
    """Return a profile with a rail condition for every unit under it: clean where `rails` has none for its number."""
    along = units_along(units, profile)
    track = np.searchsorted(profile.starts, along.starts[:-1] + 1e-12, side="right") - 1
    return replace(
        profile,
        starts=along.starts,
        tracks=tuple(profile.tracks[k] for k in np.clip(track, 0, len(profile.tracks) - 1).tolist()),
        rails=tuple(rails.get(number, CLEAN) for number in along.numbers.tolist()),
        legs=tuple(with_rails(leg, units, rails) for leg in profile.legs),
    )
