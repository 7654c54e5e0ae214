"""Suspects: whether track may pass too low over other track, found in little time, and then how many places fail."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from gradehaul.design.clearance.rules import USUAL_ALLOWANCES, Standard, standard_of
from gradehaul.errors import PlanError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.track.alignment import Alignment
from gradehaul.track.piecewise import FloatArray
from gradehaul.track.proximity.nearness import Chords, chords_of, neighbors

_SAGITTA, _LONGEST = 1 / 50, 2.0
"""How far a chord may stray from its track, and its greatest length, in fouling distances."""

_APART = 0.25
"""Of two railheads within a gauge of each other, that far apart, as a share of the clear height, one is meant to pass
over the other: along one track it takes a grade of 10 % to come so far within two chords."""

_LEVEL = 0.05
"""Tracks that cross with less than this share of the clear height between their railheads cross on one level."""

_FAR = 8.0
"""Track so many fouling distances farther along the rail lies there for itself."""

_SPARE = 1.1
"""The middles of two chords may be so many times as far apart as the tracks are where they are nearest."""

_TOUCH = 1e-12
"""Chords that only touch, as those of one track do, do not cross: as a share of their squared lengths."""

_AT_ONCE = 8_000
"""Chords whose neighbors are looked for at once, so that memory stays small."""


def places_too_low(layout: Layout) -> int | None:
    """Return how many places fail the clearances, 0 where no track passes low over another.

    Only a plan with such track is judged by all clearances, for which more is loaded than for everything else that
    is checked. None where no practice has a clear height for the scale.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> text = '''
    ... scale = "H0"
    ... unit = "mm"
    ... railhead.Foot = 0
    ... line.Helix = { from = "Foot", to = "Top", track = [{ left = 600, angle = 720, rise = %d }] }
    ... '''
    >>> [places_too_low(Layout(read_plan(text % rise))) for rise in (200, 120)]
    [0, 1]
    """
    try:
        standard = standard_of(layout.plan, USUAL_ALLOWANCES)
    except PlanError:
        return None
    positions = layout.alignment.positions
    frames: dict[int, list[str]] = {}
    for name, place in positions.tracks.items():
        if positions.usable(place.frame):
            frames.setdefault(place.frame, []).append(name)
    if not _any_low(layout.alignment, frames.values(), standard):
        return 0
    from gradehaul.design.clearance.findings import clearances

    return clearances(layout).count("fail")


def _any_low(alignment: Alignment, frames: Iterable[list[str]], standard: Standard) -> bool:
    fouling, gauge = standard.spacing.fouling, alignment.plan.scale.gauge
    far = _FAR * fouling
    for names in frames:
        chords = chords_of(alignment, names, stray=fouling * _SAGITTA, longest=fouling * _LONGEST)
        near, middle = neighbors(chords.ends[:, :, :2], gauge), chords.ends[:, :, 2].mean(axis=1)
        for begin in range(0, len(middle), _AT_ONCE):
            one, two = near(begin, min(begin + _AT_ONCE, len(middle)))
            one = one + begin
            rise = np.abs(middle[one] - middle[two]) / standard.printed_height
            over = _cross(chords.ends[one, :, :2], chords.ends[two, :, :2]) | _elsewhere(chords, one, two, far)
            meant = (rise > _APART) | (over & (rise > _LEVEL))
            if (meant & (rise < _SPARE * standard.wanted_height / standard.printed_height)).any():
                return True
    return False


def _elsewhere(chords: Chords, one: NDArray[np.intp], two: NDArray[np.intp], far: float) -> NDArray[np.bool_]:
    """Return which pairs of chords are far from each other along one track, or one of them from the ends of its own."""
    middle = chords.span.mean(axis=1)
    lengths = np.zeros(chords.track[-1] + 1)
    np.maximum.at(lengths, chords.track, chords.span[:, 1])
    inside = np.minimum(middle, lengths[chords.track] - middle)
    same = chords.track[one] == chords.track[two]
    return np.asarray(np.where(same, np.abs(middle[one] - middle[two]), np.maximum(inside[one], inside[two])) > far)


def _cross(one: FloatArray, two: FloatArray) -> NDArray[np.bool_]:
    """Return which chords cross each other between their ends, from pairs of them, shape (n, 2, 2) each."""

    def apart(line: FloatArray, points: FloatArray) -> NDArray[np.bool_]:
        step, off = line[:, 1] - line[:, 0], points - line[:, :1]
        side = step[:, np.newaxis, 0] * off[:, :, 1] - step[:, np.newaxis, 1] * off[:, :, 0]
        return np.asarray(side[:, 0] * side[:, 1] < -_TOUCH * (step**2).sum(axis=1) ** 2)

    return apart(one, two) & apart(two, one)
