"""Rails and edges of the roadbed: parallels too near one another for track, refused, or read as what lies between."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.drawn import Terms
from gradehaul.plan.drawing.elements import halved, heading, in_plan, place
from gradehaul.plan.drawing.nearness import Nearness
from gradehaul.plan.drawing.records import Element, Fault, FloatArray, Reach, Spot
from gradehaul.plan.names import listed

NEAREST, FARTHEST = 0.3, 2.0
"""In gauges: parallels between these are no two tracks, which lie some three gauges apart (common practice)."""
RAIL = 0.85, 1.3
"""In gauges: how far apart two rails of one track may be drawn: between their heads, or along their middles."""
SAME_WAY = math.radians(3)
"""How far the directions of parallels may differ (our own choice); legs of turnouts part at more."""
MOST = 0.5
"""Where more than this share of all that is drawn has such a parallel, it is no track."""
PAIRED = 0.7
"""A rail has another beside it over this share of its length at the least."""

_LOOKED_AT = 1000


def refuse_rails(reaches: Sequence[Reach], terms: Terms, file: str) -> None:
    """Refuse a drawing of rails or edges, which would be read as tracks side by side.

    Raises
    ------
    DrawingError
        With the layers on which they lie.
    """
    looks = _Looks(reaches, terms.gauge)
    beside = looks.parallels(NEAREST, FARTHEST)
    if not len(looks.owner) or np.mean(beside.any(axis=1)) <= MOST:
        return
    layers = Counter(reaches[number].layer for number in looks.owner[beside.any(axis=1)].tolist())
    names = listed([layer for layer, _ in layers.most_common() if layer]) or '"0"'
    pairs = looks.parallels(*RAIL)
    rails = np.mean(pairs.any(axis=1)) > MOST and np.mean(pairs.all(axis=1)) < 0.1
    raise DrawingError(
        "these look like rails or edges of the roadbed, not like center lines of track",
        file=file,
        place=f"layers {names}",
        write=f"the layer of the center line, or {terms.option('rails')}" if rails else "the layer of the center line",
    )


def center_lines(reaches: Sequence[Reach], terms: Terms) -> tuple[list[Reach], list[Fault]]:
    """Return the center lines between rails: each rail that has another beside it, moved halfway toward that.

    Both rails of a track give the same center line, which the linking keeps once. What has no other rail beside it over
    most of its length is left out, and named.

    Examples
    --------
    >>> from gradehaul.plan.drawing.assembly import terms
    >>> def rail(y):
    ...     return Reach((Element(Spot(0, y), Spot(1, y), 0.0, 0.0, 1.0, "", ""),), False, "", "")
    >>> found, faults = center_lines([rail(0.0), rail(0.0165)], terms(0.0165, "mm", ["*"]))
    >>> [round(reach.elements[0].start.y, 5) for reach in found], faults
    ([0.00825, 0.00825], [])
    """
    looks = _Looks(reaches, terms.gauge)
    beside = looks.parallels(*RAIL)
    found: list[Reach] = []
    left: list[Reach] = []
    for number, reach in enumerate(reaches):
        own = looks.owner == number
        sides = beside[own].mean(axis=0) if own.any() else np.zeros(2)
        side = int(np.argmax(sides))
        if sides[side] < PAIRED:
            left.append(reach)
            continue
        off = np.nanmedian(looks.off[own, side]) / 2 * (1 if side == 0 else -1)
        elements = tuple(_moved(element, float(off)) for element in reach.elements)
        found.append(replace(reach, elements=elements))
    faults = []
    if left:
        length = math.fsum(element.length for reach in left for element in reach.elements)
        text = f"{len(left)} of {len(reaches)} lines have no other rail beside them: not read as track"
        first = left[0]
        faults.append(Fault("no-rail", text, first.elements[0].start, first.handle, first.layer, weight=length))
    return found, faults


def _moved(element: Element, off: float) -> Element:
    """Return an element moved to its left, m: an arc of radius R to the left becomes one of R - off."""

    def moved(spot: Spot, way: float) -> Spot:
        return Spot(spot.x - off * math.sin(way), spot.y + off * math.cos(way), spot.z)

    share = 1 - off * element.curvature
    return replace(
        element,
        start=moved(element.start, element.heading),
        end=moved(element.end, heading(element, element.length)),
        curvature=element.curvature / share,
        length=element.length * share,
    )


class _Looks:
    """Places looked at along all that is drawn, evenly, and the nearest parallels on the left and right of each.

    `owner` is the reach of each place, shape (n,); `off` how far the nearest parallel between `NEAREST` and `FARTHEST`
    lies on its left and its right, m, shape (n, 2), nan where there is none.
    """

    owner: NDArray[np.int64]
    off: FloatArray

    def __init__(self, reaches: Sequence[Reach], gauge: float) -> None:
        parts = [
            (part, number)
            for number, reach in enumerate(reaches)
            for element in reach.elements
            for part in halved(element)
        ]
        elements, owners = [part for part, _ in parts], [number for _, number in parts]
        total = math.fsum(element.length for element in elements)
        step = max(total / _LOOKED_AT, 2 * gauge)
        spots, ways, own = [], [], []
        passed = step / 2
        for element, number in zip(elements, owners, strict=True):
            while passed < element.length:
                spots.append(place(element, passed))
                ways.append(heading(element, passed))
                own.append(number)
                passed += step
            passed -= element.length
        self.gauge, self.owner, self.off = gauge, np.array(own, dtype=np.int64), np.full((len(own), 2), np.nan)
        if not spots:
            return
        near = Nearness(elements, gauge)
        look, other = near.near(spots, FARTHEST * gauge).T
        along, aside, turn = near.project(other, in_plan(spots)[look], np.array(ways)[look])
        fair = (np.abs(turn) <= SAME_WAY) & np.isfinite(along) & (np.abs(aside) >= NEAREST * gauge)
        fair &= np.abs(aside) <= FARTHEST * gauge
        for side, hand in enumerate((1, -1)):
            there = fair & (hand * aside > 0)
            np.fmin.at(self.off[:, side], look[there], np.abs(aside[there]))

    def parallels(self, least: float, most: float) -> NDArray[np.bool_]:
        """Tell for each place whether a parallel lies on its left and right, between two distances, gauges."""
        off = self.off / self.gauge
        found: NDArray[np.bool_] = (off >= least) & (off <= most)
        return found
