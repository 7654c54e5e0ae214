"""What draws a plan view into a drawing (DXF): layers, texts in free places, line types, and lines beside a track."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import product
from typing import Any

import numpy as np
import shapely

from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.quantities import convert
from gradehaul.show.base.label_placing import Board, Box
from gradehaul.show.base.picture import plain
from gradehaul.show.base.unit_format import UnitFormat
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
_POINTS = 2000
"""The most points along a line as long as the longer side that are looked at."""
_OFFSETS = (0.4, 1.0, 2.0, 3.5, 5.0, 7.0, 10.0)
"""In text heights: how far off its place a text may stand."""
_DIRECTIONS = ((1, 1), (1, -1), (-1, 1), (-1, -1), (0, 1), (0, -1), (1, 0), (-1, 0))
_ALIGN = {-1: ("TOP", "RIGHT"), 0: ("MIDDLE", "CENTER"), 1: ("BOTTOM", "LEFT")}

Spots = Sequence[tuple[float, float]]
"""Places, m."""


class Pen:
    """What draws into a document: lengths in m become the drawing's, layers are made as they are first used."""

    def __init__(self, document: Any, view: PlanView, units: UnitFormat) -> None:  # noqa: ANN401 - the library's
        self.document, self.space, self.units = document, document.modelspace(), units
        self.gauge = view.plan.scale.gauge
        self.unit = convert(1.0, units.length_unit)
        left, right, bottom, top = view.box
        extent = max(right - left, top - bottom, 10 * self.gauge)
        self.height = max(self.gauge, _OF_SHEET * extent)
        self.drawn = Box(left, bottom, right, top)
        self._room = self.drawn.grown(_ROOM * extent + 10 * self.height)
        self._step = max(self.gauge / 4, extent / _POINTS)
        self._board = Board(gap=0.0)
        self._points = [self._along(track.xy) for track in view.tracks.values()]
        self._tree: shapely.STRtree | None = None

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
        self._points.append(self._along(points))
        self._tree = None
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

        The places, m, and how far off them it may stand, `offsets`, m, go the best first; left out, as far as it takes.
        It is drawn at the height z, m. Where there is no room it is small, or over another, if it is `needed`.
        """
        places = list(product(offsets or [k * self.height for k in _OFFSETS], spots, _DIRECTIONS))
        for share in _SIZES if needed else _SIZES[:3]:
            size = share * self.height
            wide, high = _ADVANCE * size * max(len(words), 1), 1.2 * size
            ats = [(x + off * across, y + off * up) for off, (x, y), (across, up) in places]
            boxes = [
                Box(left := x + 0.5 * (across - 1) * wide, low := y + 0.5 * (up - 1) * high, left + wide, low + high)
                for (x, y), (_, _, (across, up)) in zip(ats, places, strict=True)
            ]
            costs = self._hidden(boxes) * (self._step / size) ** 2 + 0.02 * (np.arange(len(places)) // len(_DIRECTIONS))
            number = self._board.place(boxes, costs=costs.tolist(), room=self._room)
            if number is not None:
                break
        else:
            if not needed:
                return
            number = int(np.argmin(costs))
            self._board.take(boxes[number])
        at, box, (_, _, (across, up)) = ats[number], boxes[number], places[number]
        self._reach(box)
        align = f"{_ALIGN[up][0]}_{_ALIGN[across][1]}"
        from ezdxf.enums import TextEntityAlignment

        self.space.add_text(dxf_text(words), height=size * self.unit, dxfattribs=self.on(layer, color)).set_placement(
            (at[0] * self.unit, at[1] * self.unit, z * self.unit), align=TextEntityAlignment[align]
        )

    def pin(self, words: str, spot: tuple[float, float], layer: str, color: int, *, z: float) -> None:
        """Draw a point and write a text upon it, at the height z, m; it is small, and others may lie over it."""
        from ezdxf.enums import TextEntityAlignment

        at = spot[0] * self.unit, spot[1] * self.unit, z * self.unit
        self.space.add_point(at, dxfattribs=self.on(layer, color))
        size = _SIZES[-1] * self.height * self.unit
        text = self.space.add_text(dxf_text(words), height=size, dxfattribs=self.on(layer, color))
        text.set_placement(at, align=TextEntityAlignment.MIDDLE_CENTER)

    def _along(self, points: FloatArray) -> FloatArray:
        """Return points evenly along a line through others, shape (n, 2)."""
        passed = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        at = np.linspace(0.0, passed[-1], 2 + int(passed[-1] / self._step))
        return np.column_stack([np.interp(at, passed, column) for column in points.T])

    def _hidden(self, boxes: Sequence[Box]) -> FloatArray:
        """Return how many points along all lines lie in each box: how much of them a text there would hide."""
        if self._tree is None:
            self._tree = shapely.STRtree(np.asarray(shapely.points(np.concatenate(self._points)), dtype=np.object_))
        which, _ = self._tree.query(shapely.box(*np.array(boxes).T), predicate="intersects")
        return np.bincount(which, minlength=len(boxes)).astype(np.float64)

    def _reach(self, box: Box) -> None:
        self.drawn = Box(*map(min, self.drawn[:2], box[:2]), *map(max, self.drawn[2:], box[2:]))


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
