"""How a plan view draws grades, films, uses of track and trains: distinct by width and dashes too."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import cycle
from typing import Any, NamedTuple

import numpy as np

from gradehaul.haulage.views.plan_view import MarkKind, PlanView
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.show.base.picture import FILM, INK, PALE_FILM
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.treatment.keep_clean import Use


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
"""Level, then up to 1, 2, 3, 4 % and over: each darker than the last, so that they are distinct without color.

A grade on the border of two classes, as the 2 % that hills are often built to, lies in the milder.
"""


_TIE = 1e-7
"""Grades that differ by less are one."""


class Run(NamedTuple):
    """A stretch of a track, m from its start, within one class of effective grade, and which way it climbs."""

    start: float
    stop: float
    shade: int
    climbs: int


def shades_of(track: TrackView) -> list[int]:
    """Return the class of each chord of a track, by the effective grade at its steeper end, as its label has it."""
    shades = np.searchsorted([each.least for each in SHADES], track.effective.max(axis=1) - _TIE, side="left") - 1
    return [max(int(shade), 0) for shade in shades]


def steepest_places(track: TrackView) -> list[float]:
    """Return the middles of the chords of a track in its steepest class, m from its start."""
    shades, middle = shades_of(track), 0.5 * (track.distance[1:] + track.distance[:-1])
    return [float(at) for at, shade in zip(middle, shades, strict=True) if shade == max(shades)]


def runs(track: TrackView) -> Iterator[Run]:
    """Yield the stretches of a track within one class that climb one way, cut where chords are."""
    kinds = list(zip(shades_of(track), track.climbs.tolist(), strict=True))
    first = 0
    for k in range(1, len(kinds) + 1):
        if k == len(kinds) or kinds[k] != kinds[first]:
            yield Run(float(track.distance[first]), float(track.distance[k]), *kinds[first])
            first = k


def shade_words(number: int, units: UnitFormat) -> str:
    """Return what a class is called for a reader.

    Examples
    --------
    >>> units = UnitFormat("mm", "metric")
    >>> [shade_words(number, units) for number in (0, 1, 2, 5)]
    ['level', 'up to 1 %', '1 to 2 %', 'over 4 %']
    """
    if number == 0:
        return "level"
    low = _round_grade(SHADES[number].least, units)
    if number == len(SHADES) - 1:
        return f"over {low}"
    high = _round_grade(SHADES[number + 1].least, units)
    if number == 1:
        return f"up to {high}"
    return f"{low if units.grades == 'one-in' else low.split(' ')[0]} to {high}"


def _round_grade(grade: float, units: UnitFormat) -> str:
    number, _, unit = units.grade(grade).rpartition(" ")
    return f"{number} {unit.removesuffix('.0')}" if units.grades == "one-in" else f"{float(number):g} {unit}"


# Trains and films


class MarkStyle(NamedTuple):
    """The band behind a track: its width, points, its dashes, and what it means."""

    width: float
    dashes: Any
    words: str


MARKS: dict[MarkKind, MarkStyle] = {
    "stalls": MarkStyle(9.6, "-", "stalls"),
    "runs away": MarkStyle(9.6, (0, (1.0, 0.35)), "runs away"),
    "no stopping": MarkStyle(12.0, (0, (0.12, 0.16)), "must not stop"),
    "no recovery": MarkStyle(12.0, (0, (0.12, 0.5)), "would not recover from a slip"),
}
"""A solid band, long dashes, dense ticks, and sparse ticks; where two fall on one place the first is drawn."""

BESIDE = 6.8
"""The width left white between a band and the track on it, points."""

_FILMS: tuple[tuple[str, Any], ...] = (
    ("#0057a8", (0, (2.6, 1.6))),
    ("#00664d", (0, (1.0, 1.3))),
    ("#8a2f6b", (0, (6.0, 1.6, 1.2, 1.6))),
    ("#000000", (0, (8.0, 2.4))),
)


def film_styles(view: PlanView) -> dict[str, tuple[str, Any]]:
    """Return the color and dashes of each condition other than clean that the plan has on some track."""
    planned = dict.fromkeys(track.rail for track in view.tracks.values() if track.rail != CLEAN)
    return dict(zip(planned, cycle(_FILMS), strict=False))


USES: Mapping[Use, tuple[dict[str, Any], ...]] = {
    "film": (
        {"color": "#555555", "lw": 5.2},
        {"color": PALE_FILM, "lw": 4.4},
        {"color": FILM, "lw": 1.5, "ls": (0, (2.6, 1.6))},
    ),
    "has film": (
        {"color": "#555555", "lw": 5.2},
        {"color": PALE_FILM, "lw": 4.4},
        {"color": FILM, "lw": 1.7, "ls": (0, (0.9, 0.9))},
    ),
    "keep clean": ({"color": INK, "lw": 5.6},),
    "buffer": (
        {"color": INK, "lw": 5.6},
        {"color": "white", "lw": 4.2},
        {"color": INK, "lw": 4.2, "ls": (0, (0.3, 0.6))},
    ),
    "no effect": ({"color": "#8a8a8a", "lw": 1.8},),
}
"""The lines of each use, each drawn on top of those before. Dashes and dots on pale blue for film, solid black and a
ladder of it for what stays clean, a thin line for the rest: distinct without color, and no color of a grade."""

FORCED_WORDS = "head of a train that would fail here with more film"
