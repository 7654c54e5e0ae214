"""What the pictures of leveling share: panels of grades as stairs, and what lines mean."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from gradehaul.show.base.axis_numbers import nice
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.sheet import INK, Row, Sheet, Spot
from gradehaul.track.piecewise import FloatArray

Line = Mapping[str, Any]


def key_row(line: float) -> Row:
    """Return the row for what lines mean."""
    return Row("key", 1.5 * line)


def grade_panel(sheet: Sheet, row: str, values: Sequence[FloatArray], reader: Reader) -> Axes:
    """Return a panel that holds grades, marked at its left as whoever reads it tells grades."""
    every = np.concatenate([[0.0], *values])
    low, high = float(every.min()), float(every.max())
    room = 0.08 * max(high - low, 1e-4)
    axes = sheet.panel(row, low - room, high + room)
    marks = nice(low, high, 4)
    sheet.scale(axes, marks, [reader.grade(mark) if mark else "0" for mark in marks])
    axes.axhline(0.0, color=INK, lw=0.7, zorder=1)
    return axes


def stairs(axes: Axes, edges: FloatArray, values: FloatArray, **style: Any) -> None:  # noqa: ANN401 - as of a line
    """Draw values that hold from one edge to the next."""
    axes.plot(np.repeat(edges, 2)[1:-1], np.repeat(values, 2), **style)


def draw_key(sheet: Sheet, entries: Mapping[str, Line]) -> None:
    """Tell what lines mean: a sample of each before its words."""
    room = sheet.room("key")
    dot, middle = sheet.dots_per_em, 0.5 * (room.bottom + room.top)
    x = room.left
    for words, style in entries.items():
        sheet.line([x, x + 2.6 * dot], [middle, middle], **style)
        placed = sheet.label(words, [Spot(x + 3.0 * dot, middle, "left")], scale=0.92)
        x = (placed[1].right if placed else x) + 1.4 * dot
