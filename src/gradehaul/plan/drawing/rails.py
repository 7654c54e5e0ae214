"""Rails and edges of the roadbed: parallels too near one another for track, refused, or read as what lies between."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.elements import heading, place
from gradehaul.plan.drawing.nearness import Nearness
from gradehaul.plan.drawing.records import Element, Fault, FloatArray, Reach, Spot, Terms
from gradehaul.plan.names import listed

NEAREST, FARTHEST = 0.3, 2.0
"""In gauges: parallels between these are no two tracks, which lie some three gauges apart (common practice)."""
RAIL = 0.85, 1.3
"""In gauges: how far apart two rails of one track may be drawn: between their heads, or along their middles."""
SAME_WAY = math.radians(1)
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
    owner, off = _parallels(reaches, terms.gauge)
    beside = np.isfinite(off).any(axis=1)
    if not len(owner) or np.mean(beside) <= MOST:
        return
    layers = Counter(reaches[number].elements[0].layer for number in owner[beside].tolist())
    names = listed([layer for layer, _ in layers.most_common() if layer]) or '"0"'
    pairs = _are_rails(off, terms.gauge)
    rails = np.mean(pairs.any(axis=1)) > MOST and np.mean(pairs.all(axis=1)) < 0.1
    raise DrawingError(
        "these look like rails or edges of the roadbed, or like a grid, not like center lines of track",
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
    >>> from gradehaul.plan.drawing.records import terms
    >>> def rail(y):
    ...     return Reach((Element(Spot(0, y), Spot(1, y), 0.0, 0.0, 1.0, "", ""),))
    >>> found, faults = center_lines([rail(0.0), rail(0.0165)], terms(0.0165, "mm", ["*"]))
    >>> [round(reach.elements[0].start.y, 5) for reach in found], faults
    ([0.00825, 0.00825], [])
    """
    owner, off = _parallels(reaches, terms.gauge)
    beside = _are_rails(off, terms.gauge)
    found: list[Reach] = []
    left: list[Reach] = []
    for number, reach in enumerate(reaches):
        own = owner == number
        sides = beside[own].mean(axis=0) if own.any() else np.zeros(2)
        side = int(np.argmax(sides))
        if sides[side] < PAIRED:
            left.append(reach)
            continue
        half = float(np.nanmedian(off[own, side])) / 2 * (1 if side == 0 else -1)
        found.append(reach._replace(elements=tuple(_moved(element, half) for element in reach.elements)))
    if not left:
        return found, []
    length = math.fsum(element.length for reach in left for element in reach.elements)
    text = f"{len(left)} of {len(reaches)} lines have no other rail beside them: not read as track"
    first = left[0].elements[0]
    return found, [Fault("no-rail", text, first.start, first.handle, first.layer, weight=length)]


def _moved(element: Element, off: float) -> Element:
    """Return an element moved to its left, m: an arc of radius R to the left becomes one of R - off."""

    def moved(spot: Spot, way: float) -> Spot:
        return Spot(spot.x - off * math.sin(way), spot.y + off * math.cos(way), spot.z)

    share = 1 - off * element.curvature
    return element._replace(
        start=moved(element.start, element.heading),
        end=moved(element.end, heading(element, element.length)),
        curvature=element.curvature / share,
        length=element.length * share,
    )


def _parallels(reaches: Sequence[Reach], gauge: float) -> tuple[NDArray[np.int64], FloatArray]:
    """Return, for places evenly along all that is drawn, of which reach each is, and how far off parallels lie there.

    On the left and on the right, m, shape (n, 2), each nan where none lies between `NEAREST` and `FARTHEST`.
    """
    index = Nearness([reach.elements for reach in reaches])
    ends = np.cumsum(index.table[:, 4])
    total = float(ends[-1]) if len(ends) else 0.0
    at = np.arange(max(total / _LOOKED_AT, 2 * gauge) / 2, total, max(total / _LOOKED_AT, 2 * gauge))
    own = np.searchsorted(ends, at)
    looks = [(index.elements[n], along) for n, along in zip(own.tolist(), (at - ends[own]).tolist(), strict=True)]
    spots = [place(part, part.length + along) for part, along in looks]
    headings = [heading(part, part.length + along) for part, along in looks]
    near = index.beside(spots, FARTHEST * gauge, headings)
    near = near.only((near.turn <= SAME_WAY) & (near.off >= NEAREST * gauge) & (np.abs(near.aside) >= 0.98 * near.off))
    off = np.full((len(at), 2), np.nan)
    np.fmin.at(off, (near.which, (near.aside < 0).astype(np.int64)), near.off)
    return index.owner[own], off


def _are_rails(off: FloatArray, gauge: float) -> NDArray[np.bool_]:
    """Return which parallels lie as far off as the other rail of a track."""
    found: NDArray[np.bool_] = (off >= RAIL[0] * gauge) & (off <= RAIL[1] * gauge)
    return found
