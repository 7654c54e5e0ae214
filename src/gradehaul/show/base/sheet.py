"""A sheet: panels below one another over one axis of distance, with labels that never overlap."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text
from numpy.typing import ArrayLike

from gradehaul.quantities import convert
from gradehaul.show.base.axis_numbers import nice, numbers
from gradehaul.show.base.label_placing import Board, Box
from gradehaul.show.base.picture import plain
from gradehaul.track.piecewise import FloatArray

INK = "#1a1a1a"
FAINT = "#8a8a8a"

_FINE = 200.0
"""Dots per inch at which labels are measured: fine enough for any format."""

_POINT = _FINE / 72.0


@dataclass(frozen=True, slots=True)
class Size:
    """A size of sheet, in inches and points; `height` is None where it follows from what is on it."""

    width: float
    height: float | None
    font: float
    left: float
    right: float
    ticks: int
    """Marks along the distance, about."""
    roomy: bool
    """Whether long wording fits."""
    dots_per_inch: float
    """For pictures made of dots."""


SizeName = Literal["a4", "phone"]

SIZES: dict[SizeName, Size] = {
    "a4": Size(11.69, 8.27, 8.5, left=0.55, right=0.35, ticks=12, roomy=True, dots_per_inch=150),
    # 360 px across at the usual 96 px to an inch, and twice as many dots, as phones have
    "phone": Size(3.75, None, 7.8, left=0.38, right=0.12, ticks=7, roomy=False, dots_per_inch=192),
}
"""A4 landscape, and the width of a phone."""


class Row(NamedTuple):
    """A row of a sheet: what is in it, its height in inches, and whether it grows to fill the sheet."""

    name: str
    height: float
    grows: bool = False


class Spot(NamedTuple):
    """A place for a label: a point in dots, and how the label is set against it."""

    x: float
    y: float
    ha: Literal["left", "center", "right"] = "center"
    va: Literal["bottom", "center", "top"] = "center"


class Sheet:
    """A figure under work: its rows, and the board on which all its labels are placed.

    Parameters
    ----------
    size
        The size of the sheet.
    rows
        What is on it, from the top.
    length
        The length of the axis of distance, m, where there is one.
    unit
        The unit of lengths on it.
    """

    def __init__(self, size: Size, rows: Sequence[Row], length: float = 1.0, unit: str = "m") -> None:
        self.size, self.unit = size, unit
        margin = 0.16
        asked = sum(row.height for row in rows) + 2 * margin
        height = asked if size.height is None else size.height
        growing = sum(row.height for row in rows if row.grows)
        factor = 1 + (height - asked) / growing if growing else 1.0
        self.figure = Figure(figsize=(size.width, height), dpi=_FINE, facecolor="white")
        self._renderer = FigureCanvasAgg(self.figure).get_renderer()  # type: ignore[no-untyped-call]
        self.sheet = Box(0.0, 0.0, size.width * _FINE, height * _FINE).grown(-0.06 * _FINE)
        self.board = Board(gap=0.18 * size.font * _POINT)
        self.reach = (0.0, convert(length, unit))
        self.marks = nice(*self.reach, size.ticks)
        self._rows: dict[str, tuple[float, float]] = {}
        top = height - margin
        for row in rows:
            tall = row.height * factor if row.grows else row.height
            self._rows[row.name] = (top - tall, top)
            top -= tall
        self.dots_per_em = size.font * _POINT
        self.dots_per_line = 1.25 * size.font * _POINT

    # Rows and panels

    def has(self, row: str) -> bool:
        """Return whether there is a row of a name."""
        return row in self._rows

    def room(self, row: str) -> Box:
        """Return the room of a row over the axis of distance, in dots."""
        bottom, top = self._rows[row]
        return Box(self.size.left * _FINE, bottom * _FINE, (self.size.width - self.size.right) * _FINE, top * _FINE)

    def panel(self, row: str, low: float, high: float, *, grid: bool = True) -> Axes:
        """Return axes that fill a row, from the low value at its bottom to the high one at its top, without labels."""
        bottom, top = self._rows[row]
        width, height = self.figure.get_size_inches()
        across = (width - self.size.left - self.size.right) / width
        axes = self.figure.add_axes((self.size.left / width, bottom / height, across, (top - bottom) / height))
        axes.set_xlim(*self.reach)
        axes.set_ylim(low, high)
        axes.set_xticks([])
        axes.set_yticks([])
        axes.patch.set_visible(False)
        for side in ("top", "right", "bottom", "left"):
            axes.spines[side].set_visible(False)
        if grid:
            for mark in self.marks:
                axes.axvline(mark, color="#dddddd", lw=0.5, zorder=0)
        return axes

    def scale(self, axes: Axes, values: Iterable[float], labels: Iterable[str] | None = None) -> None:
        """Mark values at the left of a panel with fine lines across it."""
        told = list(values)
        texts = numbers(told) if labels is None else list(labels)
        for value, text in zip(told, texts, strict=True):
            axes.axhline(value, color="#dddddd", lw=0.5, zorder=0)
            _, y = self.dots(axes, self.reach[0], value)
            edge = self.size.left * _FINE
            self.label(text, [Spot(edge - 4 * _POINT, y, "right")], scale=0.92, color="#444444")

    def dots(self, axes: Axes, x: float, y: float) -> tuple[float, float]:
        """Return where a point of a panel lies on the sheet, in dots."""
        across, up = axes.transData.transform((x, y))
        return float(across), float(up)

    def line_dots(self, axes: Axes, x: FloatArray, y: FloatArray) -> FloatArray:
        """Return points every few dots along a line of a panel, shape (n, 2), for labels to keep clear of or follow."""
        corners = np.asarray(axes.transData.transform(np.column_stack([x, y])), dtype=float)
        steps = np.maximum(np.abs(np.diff(corners, axis=0)).max(axis=1, initial=0.0) / 6.0, 1.0)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        fine = np.arange(int(along[-1]) + 1)
        return np.column_stack([np.interp(fine, along, corners[:, k]) for k in (0, 1)])

    # Text

    def extent(self, text: str, **style: Any) -> tuple[float, float]:  # noqa: ANN401 - whatever a text can be given
        """Return width and height of a text, in dots."""
        return self._extent(self._text(text, style))

    def fitted(self, text: str, width: float, **style: Any) -> str:  # noqa: ANN401 - as above
        """Return a text cut to a width, in dots, with an ellipsis where it was too long."""
        text = plain(text)
        if self.extent(text, **style)[0] <= width:
            return text
        keep, over = 0, len(text)
        while over - keep > 1:
            middle = (keep + over) // 2
            if self.extent(text[:middle].rstrip() + "…", **style)[0] <= width:
                keep = middle
            else:
                over = middle
        return text[:keep].rstrip() + "…"

    def label(
        self,
        text: str,
        spots: Sequence[Spot],
        *,
        boxes_cost: Callable[[Box], float] | None = None,
        spots_cost: Sequence[float] | None = None,
        room: Box | None = None,
        backed: bool = False,
        **style: Any,  # noqa: ANN401 - whatever a text can be given
    ) -> tuple[Spot, Box] | None:
        """Set a label at the best free spot and return where; leave it out where there is none.

        Parameters
        ----------
        text
            A plain text.
        spots
            Where it may go, the best first.
        boxes_cost
            The cost of a label in a box; of spots that cost the same the first is taken.
        spots_cost
            What each of the spots costs beside, nothing if left out.
        room
            Where it must lie; the whole sheet if left out.
        backed
            Whether it covers what is behind it.
        style
            As of a text: ``color``, ``weight``; and ``scale``, its size as a share of the sheet's.
        """
        artist = self._text(text, style)
        width, height = self._extent(artist)
        boxes = [_set(spot, width, height) for spot in spots]
        costs = [0.0] * len(boxes) if spots_cost is None else list(spots_cost)
        if boxes_cost is not None:
            costs = [cost + boxes_cost(box) for cost, box in zip(costs, boxes, strict=True)]
        chosen = self.board.place(boxes, costs=costs, room=self.sheet if room is None else room)
        if chosen is None:
            return None
        box = boxes[chosen]
        # held where it is set from, so that it stays in place in a font of other width
        hold = spots[chosen].ha
        artist.set_horizontalalignment(hold)
        across = {"left": box.left, "center": 0.5 * (box.left + box.right), "right": box.right}[hold]
        whole = self.figure.bbox
        artist.set_position((across / whole.width, 0.5 * (box.bottom + box.top) / whole.height))
        artist.set_transform(self.figure.transFigure)
        if backed:
            artist.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.88})
        self.figure.add_artist(artist)
        return spots[chosen], box

    def heading(self, row: str, wordings: Sequence[str], *, name: str = "", **style: Any) -> None:  # noqa: ANN401
        """Set the first of several wordings that fits at the left of a row, a name behind it in what room is left."""
        room = self.room(row)
        left, right, middle = 0.08 * _FINE, self.sheet.right, 0.5 * (room.bottom + room.top)
        least = min(self.extent(name, **style)[0], 0.3 * (right - left)) if name else 0.0
        fits = [words for words in wordings if self.extent(words, **style)[0] + least <= right - left]
        words = fits[0] if fits else self.fitted(wordings[-1], right - left, **style)
        set_words = self.label(words, [Spot(left, middle, "left")], **style)
        if name and set_words is not None:
            start = set_words[1].right + 0.35 * self.size.font * _POINT
            told = self.fitted(name, right - start, **style)
            self.label(told, [Spot(start, middle, "left")], **style)

    def title(self, text: str) -> None:
        """Set the title of the sheet in the row of that name, cut to the sheet's width."""
        scale = 1.45
        self.heading("title", [self.fitted(text, self.sheet.right, scale=scale)], weight="bold", scale=scale)

    # Lines

    def line(self, x: ArrayLike, y: ArrayLike, **style: Any) -> None:  # noqa: ANN401 - whatever a line can be given
        """Draw a line through points of the sheet, in dots."""
        whole = self.figure.bbox
        across, up = np.asarray(x, dtype=float) / whole.width, np.asarray(y, dtype=float) / whole.height
        self.figure.add_artist(Line2D(across, up, transform=self.figure.transFigure, **style))

    def lead(self, one: tuple[float, float], other: tuple[float, float]) -> None:
        """Draw a fine line between a label and what it tells of, from one point to another, in dots."""
        self.line(*zip(one, other, strict=True), color=FAINT, lw=0.6)

    # Measures

    def _text(self, text: str, style: dict[str, Any]) -> Text:
        rest = {"color": INK, **style}
        size = self.size.font * rest.pop("scale", 1.0)
        artist = Text(0, 0, plain(text), fontsize=size, ha="center", va="center", parse_math=False, **rest)
        artist.set_figure(self.figure)
        return artist

    def _extent(self, artist: Text) -> tuple[float, float]:
        box = artist.get_window_extent(self._renderer)
        return float(box.width), float(box.height)


def _set(spot: Spot, width: float, height: float) -> Box:
    across = {"left": 0.0, "center": 0.5, "right": 1.0}[spot.ha]
    up = {"bottom": 0.0, "center": 0.5, "top": 1.0}[spot.va]
    left, bottom = spot.x - across * width, spot.y - up * height
    return Box(left, bottom, left + width, bottom + height)
