"""What draws a plan view into a drawing (DXF): layers, texts, line types, and lines beside a track."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from gradehaul.haulage.track_view import TrackView
from gradehaul.quantities import convert
from gradehaul.show.picture import plain
from gradehaul.show.reading_units import Reader
from gradehaul.track.piecewise import FloatArray

_FORBIDDEN = re.compile(r"[<>/\\\":;?*|=`,\x00-\x1f]")
_LONGEST = 255


class Pen:
    """What draws into a document: lengths in m become the drawing's, layers are made as they are first used."""

    def __init__(self, document: Any, space: Any, reader: Reader, gauge: float) -> None:  # noqa: ANN401 - the library's
        self.document, self.space, self.reader, self.gauge = document, space, reader, gauge
        self.unit = convert(1.0, reader.length_unit)
        self.letter = gauge * self.unit

    def on(self, layer: str, color: int) -> dict[str, str]:
        """Return what puts a thing on a layer, which is made where there is none of this name."""
        name = layer_name(layer)
        if name not in self.document.layers:
            self.document.layers.add(name, color=color)
        return {"layer": name}

    def dashes(self, name: str, dashes: tuple[float, ...]) -> str:
        """Return the name of a line type of strokes and, as negative lengths, gaps, in gauges; none is a whole line."""
        if not dashes:
            return "CONTINUOUS"
        name = layer_name(name)
        if name not in self.document.linetypes:
            pattern = [each * self.letter for each in dashes]
            self.document.linetypes.add(name, [sum(map(abs, pattern)), *pattern])
        return name

    def text(self, words: str, x: float, y: float, layer: str, color: int, *, aside: float = 0.0) -> None:
        """Write a text, at a place or a little aside of it, in gauges up."""
        where = self.on(layer, color)
        at = (x * self.unit, (y + aside * self.gauge) * self.unit)
        self.space.add_text(dxf_text(words), height=self.letter, dxfattribs=where).set_placement(at)


def layer_name(words: str) -> str:
    """Return words as the name of a layer, without what no layer may have in its name.

    Examples
    --------
    >>> layer_name('Track a/b"c to 1 percent')
    'Track a_b_c to 1 percent'
    """
    return _FORBIDDEN.sub("_", plain(words)).strip()[:_LONGEST]


def dxf_text(words: str) -> str:
    """Return words so that a drawing program shows them as they are: no sign in them is a code.

    Examples
    --------
    >>> print(dxf_text("50%%d ^ up"))
    50%%%%%%d ^  up
    """
    told = plain(words).replace("%%", "%%%%%%").replace("^", "^ ")
    # at the very end a caret would be taken for a code cut short
    return f"{told}\N{NO-BREAK SPACE}" if told.endswith("^ ") else told


def beside(track: TrackView, start: float, stop: float, off: float) -> FloatArray:
    """Return points along a stretch of a track, off to its left by a length, m, shape (n, 2)."""
    inside = (track.distance > start) & (track.distance < stop)
    at = np.concatenate([[start], track.distance[inside], [stop]])
    heading = np.interp(at, track.distance, track.heading)
    left = np.column_stack([-np.sin(heading), np.cos(heading)])
    return track.part(start, stop) + off * left
