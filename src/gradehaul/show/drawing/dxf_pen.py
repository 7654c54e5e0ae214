"""What draws a plan view into a drawing (DXF): layers, texts in free places, line types, and lines beside a track."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import product
from typing import Any

import numpy as np

from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.quantities import convert
from gradehaul.show.base.label_placing import Box
from gradehaul.show.base.picture import plain
from gradehaul.show.base.reading_units import Reader
from gradehaul.track.piecewise import FloatArray

_FORBIDDEN = re.compile(r"[<>/\\\":;?*|=`,\x00-\x1f]")
_LONGEST = 255

_OF_SHEET = 1 / 110
"""The height of a text where there is room, as a share of the longer side: 2.5 mm on a sheet of 277 mm (A4)."""
_SIZES = (1.0, 0.7, 0.5, 0.35, 0.25, 0.17, 0.12)
"""Text heights to try where it is crowded, as shares of that."""
_ADVANCE = 0.95
"""The width of a character, as a share of the text height: no narrower in the usual fonts of drawings (from memory)."""
_ROOM = 0.25
"""The room around the track for texts, as a share of the longer side."""
_CELLS = 3000
"""The most cells of the board along its longer side."""
_TAKEN = 1e6
"""The cost of a cell that another text has."""
_DIRECTIONS = ((1, 1), (1, -1), (-1, 1), (-1, -1), (0, 1), (0, -1), (1, 0), (-1, 0))
_ALIGN = {-1: ("TOP", "RIGHT"), 0: ("MIDDLE", "CENTER"), 1: ("BOTTOM", "LEFT")}

Spots = Sequence[tuple[float, float]]
"""Places, m."""


class Pen:
    """What draws into a document: lengths in m become the drawing's, layers are made as they are first used."""

    def __init__(self, document: Any, view: PlanView, reader: Reader) -> None:  # noqa: ANN401 - the library's
        self.document, self.space, self.reader = document, document.modelspace(), reader
        self.gauge = view.plan.scale.gauge
        self.unit = convert(1.0, reader.length_unit)
        left, right, bottom, top = view.box
        extent = max(right - left, top - bottom, 10 * self.gauge)
        self.height = max(self.gauge, _OF_SHEET * extent)
        self.drawn = Box(left, bottom, right, top)
        room = self.drawn.grown(_ROOM * extent + 10 * self.height)
        self._board = _Board(room, max(self.gauge / 4, (extent + 2 * _ROOM * extent) / _CELLS))
        for track in view.tracks.values():
            self._board.draw(track.xy)

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
            pattern = [each * self.gauge * self.unit for each in dashes]
            self.document.linetypes.add(name, [sum(map(abs, pattern)), *pattern])
        return name

    def line(self, points: FloatArray, **attributes: Any) -> None:  # noqa: ANN401 - the library's
        """Draw a line in plan through points, m, shape (n, 2)."""
        self.space.add_lwpolyline((points * self.unit).tolist(), dxfattribs=attributes)
        self._board.draw(points)
        self._reach(Box(*points.min(axis=0).tolist(), *points.max(axis=0).tolist()))

    def circle(self, x: float, y: float, radius: float, layer: str, color: int) -> None:
        """Draw a circle, m."""
        self.space.add_circle((x * self.unit, y * self.unit), radius * self.unit, self.on(layer, color))
        self._reach(Box(x, y, x, y).grown(radius))

    def text(
        self,
        words: str,
        spots: Spots,
        layer: str,
        color: int,
        *,
        offsets: Sequence[float] | None = None,
        z: float = 0.0,
        needed: bool = True,
    ) -> None:
        """Write a text beside one of several places where no other text is, as large and clear of track as it can be.

        Parameters
        ----------
        words
            The text.
        spots
            The places it may stand beside, the best first.
        layer, color
            Where it goes.
        offsets
            How far off the place it may stand, m, the best first; left out, as far as it takes.
        z
            The height it is drawn at, m.
        needed
            Whether it is written where there is no room, too: small, or over another as a last resort.
        """
        far = offsets or [k * self.height for k in (0.4, 1.0, 2.0, 3.5, 5.0, 7.0, 10.0)]
        shown = dxf_text(words)
        best: tuple[float, float, tuple[float, float], tuple[int, int], Box] | None = None
        for share in _SIZES if needed else _SIZES[:3]:
            size = share * self.height
            wide = _ADVANCE * size * max(len(words), 1)
            for nearness, (off, spot) in enumerate(product(far, spots)):
                for side in _DIRECTIONS:
                    at = spot[0] + off * side[0], spot[1] + off * side[1]
                    left, bottom = at[0] + 0.5 * (side[0] - 1) * wide, at[1] + 0.5 * (side[1] - 1) * size * 1.2
                    box = Box(left, bottom, left + wide, bottom + 1.2 * size)
                    texts, track = self._board.under(box)
                    cost = _TAKEN * texts + track / size**2 * self._board.cell**2 + 0.02 * nearness
                    if best is None or cost < best[0]:
                        best = cost, size, at, side, box
                if best is not None and best[0] < 0.02 * (nearness + 1):
                    break
            if best is not None and best[0] < _TAKEN:
                break
        assert best is not None
        cost, size, at, (across, up), box = best
        if cost >= _TAKEN and not needed:
            return
        self._board.take(box)
        self._reach(box)
        align = f"{_ALIGN[up][0]}_{_ALIGN[across][1]}"
        from ezdxf.enums import TextEntityAlignment

        self.space.add_text(shown, height=size * self.unit, dxfattribs=self.on(layer, color)).set_placement(
            (at[0] * self.unit, at[1] * self.unit, z * self.unit), align=TextEntityAlignment[align]
        )

    def _reach(self, box: Box) -> None:
        drawn = self.drawn
        self.drawn = Box(
            min(drawn.left, box.left),
            min(drawn.bottom, box.bottom),
            max(drawn.right, box.right),
            max(drawn.top, box.top),
        )


class _Board:
    """The sheet in square cells: which hold track or lines, and which hold texts."""

    def __init__(self, room: Box, cell: float) -> None:
        self.room, self.cell = room, cell
        shape = [int((high - low) / cell) + 2 for low, high in ((room.bottom, room.top), (room.left, room.right))]
        self.lines, self.texts = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)

    def draw(self, points: FloatArray) -> None:
        """Mark the cells that a line runs through, given its points, m, shape (n, 2)."""
        step = np.hypot(*np.diff(points, axis=0).T)
        along = np.concatenate([[0.0], np.cumsum(step)])
        at = np.linspace(0.0, along[-1], 2 + int(along[-1] / self.cell))
        columns, rows = (np.interp(at, along, points[:, k]) for k in (0, 1))
        inside = self._rows(rows), self._columns(columns)
        self.lines[inside] = True

    def under(self, box: Box) -> tuple[int, int]:
        """Return how many cells under a box hold texts, those beyond the sheet included, and how many hold lines."""
        part = self._part(box)
        outside = not box.within(self.room)
        return int(np.count_nonzero(self.texts[part])) + outside, int(np.count_nonzero(self.lines[part]))

    def take(self, box: Box) -> None:
        """Mark the cells under a text."""
        self.texts[self._part(box)] = True

    def _part(self, box: Box) -> tuple[slice, slice]:
        low, high = self._rows(np.array([box.bottom, box.top])).tolist()
        first, last = self._columns(np.array([box.left, box.right])).tolist()
        return slice(low, high + 1), slice(first, last + 1)

    def _rows(self, y: FloatArray) -> Any:  # noqa: ANN401 - an array of whole numbers
        return np.clip((y - self.room.bottom) / self.cell, 0, self.lines.shape[0] - 1).astype(int)

    def _columns(self, x: FloatArray) -> Any:  # noqa: ANN401 - an array of whole numbers
        return np.clip((x - self.room.left) / self.cell, 0, self.lines.shape[1] - 1).astype(int)


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
    shown = plain(words).replace("%%", "%%%%%%").replace("^", "^ ")
    # at the very end a caret would be taken for a code cut short
    return f"{shown}\N{NO-BREAK SPACE}" if shown.endswith("^ ") else shown


def beside(track: TrackView, start: float, stop: float, off: float) -> FloatArray:
    """Return points along a stretch of a track, off to its left by a length, m, shape (n, 2)."""
    inside = (track.distance > start) & (track.distance < stop)
    at = np.concatenate([[start], track.distance[inside], [stop]])
    heading = np.interp(at, track.distance, track.heading)
    left = np.column_stack([-np.sin(heading), np.cos(heading)])
    return track.part(start, stop) + off * left
