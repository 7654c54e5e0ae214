"""All strokes of a drawing as reaches: single lines and arcs, which need no fitting, at once, and the others fitted."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from gradehaul.plan.drawing.records import Element, Fault, Reach, Spot, Stroke

_SURELY = 0.01
"""A segment longer than this, in tolerances, has a length for the fitting too."""


def reaches_of(strokes: Sequence[Stroke], *, tolerance: float, kink: float) -> tuple[list[Reach], list[Fault]]:
    """Return what `fit_stroke` makes of every stroke, in their order, with all its faults.

    Parameters
    ----------
    strokes
        The strokes of the drawing, m.
    tolerance, kink
        How far a vertex may lie from the curve, m, and where a stroke is split, radians.

    Raises
    ------
    ValueError
        If `tolerance` or `kink` is not above 0.

    Examples
    --------
    >>> points = np.array([(0.0, 0.0), (3.0, 4.0)])
    >>> line = Stroke("2F", "TRACK", "LINE", points, np.zeros(1), np.ones(1, dtype=bool))
    >>> (reach,), faults = reaches_of([line], tolerance=0.0008, kink=0.09)
    >>> reach.elements[0].length, faults
    (5.0, [])
    """
    from gradehaul.plan.drawing.fitting import fit_stroke

    found: list[Reach] = []
    faults: list[Fault] = []
    single = _single(strokes, _SURELY * tolerance) if tolerance > 0 and kink > 0 else {}
    for number, stroke in enumerate(strokes):
        own = single.get(number)
        if own is not None:
            found.append(own)
            continue
        reaches, wrong = fit_stroke(stroke, tolerance=tolerance, kink=kink)
        found += reaches
        faults += wrong
    return found, faults


def _single(strokes: Sequence[Stroke], shortest: float) -> dict[int, Reach]:
    """Return the reaches of strokes that are one exact segment longer than `shortest`, m, by number.

    A bulge is the tangent of a quarter of the turn, and the chord of a turn 2h is sin(h)/h of the arc (plane geometry).
    """
    numbers = [number for number, stroke in enumerate(strokes) if len(stroke.bulges) == 1 and stroke.exact[0]]
    if not numbers:
        return {}
    tips = np.concatenate([strokes[number].points for number in numbers]).reshape(-1, 4).tolist()
    bulges = np.concatenate([strokes[number].bulges for number in numbers]).tolist()
    found: dict[int, Reach] = {}
    for number, (x, y, x2, y2), bulge in zip(numbers, tips, bulges, strict=True):
        across, up = x2 - x, y2 - y
        chord = math.hypot(across, up)
        if chord <= shortest:
            continue
        half = 2 * math.atan(bulge)
        stroke = strokes[number]
        low, high = (None, None) if stroke.heights is None else stroke.heights.tolist()
        element = Element(
            Spot(x, y, low),
            Spot(x2, y2, high),
            math.remainder(math.atan2(up, across) - half, 2 * math.pi),
            2 * math.sin(half) / chord,
            chord * half / math.sin(half) if half else chord,
            stroke.handle,
            stroke.layer,
        )
        found[number] = Reach((element,), closed=False, handle=stroke.handle, layer=stroke.layer)
    return found
