"""Where the film may go on a drawing (DXF): a layer and a line type for each use of track, and what they mean."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.show.base.labels import USE_MEANINGS, USE_WORDS, WOULD
from gradehaul.show.base.page import words_of
from gradehaul.show.drawing.dxf_pen import Pen, beside
from gradehaul.track.piecewise import FloatArray
from gradehaul.treatment.keep_clean import KeepCleanPlan, Use, used_stretches


class UseLine(NamedTuple):
    """How a use of track is drawn: its layer, its color, its line weight, mm/100, and its strokes and gaps, in gauges.

    Without strokes and gaps it is a whole line.
    """

    layer: str
    color: int
    weight: int
    dashes: tuple[float, ...] = ()


USE_LINES: dict[Use, UseLine] = {
    "film": UseLine("Film may go", 5, 35, (1.6, -1.0)),
    "has film": UseLine("Film is there", 5, 35, (0.5, -0.5)),
    "keep clean": UseLine("Keep clean", 1, 70),
    "buffer": UseLine("Keep clean by carry-over", 1, 70, (0.2, -0.4)),
    "no effect": UseLine("Film or not", 8, 13),
}
"""Layers of what is to become of track, each known by its line without its color."""

USE_BESIDE = 1.2
"""How far to the right of the track their lines lie, in gauges."""


def draw_uses(pen: Pen, view: PlanView, film: KeepCleanPlan) -> None:
    """Draw what is to become of tracks to their right, name each stretch in its middle, and what lines mean below all.

    Everything of a use is on the layer of that use.
    """
    drawn: set[Use] = set()
    for key, stretches in used_stretches(film).items():
        if key not in view.tracks:
            continue
        track = view.tracks[key]
        for stretch in stretches:
            drawn.add(stretch.use)
            _line(pen, stretch.use, beside(track, stretch.start, stretch.stop, -USE_BESIDE * pen.gauge))
            middle = 0.5 * (stretch.start + stretch.stop)
            x, y = beside(track, middle, middle, -2.6 * pen.gauge)[0].tolist()
            style = USE_LINES[stretch.use]
            pen.text(words_of(USE_WORDS[stretch.use]), [(x, y)], style.layer, style.color)
    for forced in film.hardest:
        if forced.on.track in view.tracks:
            spot, style = view.tracks[forced.on.track].spot(forced.on.along), USE_LINES["keep clean"]
            pen.circle(spot.x, spot.y, 0.8 * pen.gauge, style.layer, style.color)
            pen.text(f"{forced.train} {WOULD[forced.test]}", [(spot.x, spot.y)], style.layer, style.color)
    left, _, bottom, _ = view.box
    for row, use in enumerate(use for use in USE_MEANINGS if use in drawn):
        y, right = bottom - (5.0 + 2.0 * row) * pen.height, left + 6.0 * pen.height
        _line(pen, use, np.array([[left, y], [right, y]]))
        words, style = USE_MEANINGS[use], USE_LINES[use]
        pen.text(words, [(right, y)], style.layer, style.color, offsets=[pen.height])


def _line(pen: Pen, use: Use, points: FloatArray) -> None:
    style = USE_LINES[use]
    # the pattern runs on from corner to corner
    drawn = {"linetype": pen.dashes(style.layer, style.dashes), "lineweight": style.weight, "flags": 128}
    pen.line(points, **pen.on(style.layer, style.color), **drawn)
