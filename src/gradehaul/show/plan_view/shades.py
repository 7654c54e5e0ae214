"""How hard track is to climb as classes of effective grade, each darker and wider than the one before."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from gradehaul.haulage.views.track_view import TrackView
from gradehaul.show.base.reading_units import Reader


class Shade(NamedTuple):
    """A class of effective grade from a least one, as a ratio; its color and the width of its line, points."""

    least: float
    color: str
    width: float


SHADES = (
    Shade(0.0, "#e6e6e6", 2.4),
    Shade(0.001, "#f2c14e", 2.9),
    Shade(0.01, "#e08a1e", 3.3),
    Shade(0.02, "#b4451f", 3.8),
    Shade(0.03, "#7a1330", 4.3),
    Shade(0.04, "#2a0a2e", 4.8),
)
"""Level, then up to 1, 2, 3, 4 % and over: each darker than the last, so that they are told apart without color."""


class Run(NamedTuple):
    """A stretch of a track, m from its start, within one class of effective grade, and which way it climbs."""

    start: float
    stop: float
    shade: int
    climbs: int


def shades_of(track: TrackView) -> list[int]:
    """Return the class of each chord of a track, by the effective grade in its middle."""
    middle = track.effective.mean(axis=1)
    shades = np.searchsorted([each.least for each in SHADES], middle + 1e-9, side="right") - 1
    return [int(shade) for shade in shades]


def runs(track: TrackView) -> Iterator[Run]:
    """Yield the stretches of a track within one class that climb one way, cut where chords are."""
    kinds = list(zip(shades_of(track), track.climbs.tolist(), strict=True))
    first = 0
    for k in range(1, len(kinds) + 1):
        if k == len(kinds) or kinds[k] != kinds[first]:
            yield Run(float(track.distance[first]), float(track.distance[k]), *kinds[first])
            first = k


def shade_words(number: int, reader: Reader) -> str:
    """Return what a class is called for a reader.

    Examples
    --------
    >>> reader = Reader("mm", "metric")
    >>> [shade_words(number, reader) for number in (0, 1, 2, 5)]
    ['level', 'to 1.00 %', 'to 2.00 %', 'over 4.00 %']
    """
    if number == 0:
        return "level"
    if number == len(SHADES) - 1:
        return f"over {reader.grade(SHADES[number].least)}"
    return f"to {reader.grade(SHADES[number + 1].least)}"
