"""A band of figures below a section: upright figures at places along it, and words over stretches of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from scipy.optimize import isotonic_regression

from gradehaul.show.base.label_placing import Board, Box
from gradehaul.show.base.paper import POINT, Paper
from gradehaul.show.base.picture import DOTS_PER_INCH, FAINT, INK, PALE_EARTH
from gradehaul.track.piecewise import FloatArray

_SCALE = 0.82
_TALLEST = 0.85
"""The type of a band as a share of the sheet's, and the tallest row of upright figures, inches."""


class Column(NamedTuple):
    """Figures at a place, one for each upright row; those of the least rank are kept where not all have room."""

    at: float
    figures: Sequence[str]
    rank: int = 0


class Stretch(NamedTuple):
    """Words over a stretch; those of the least rank are set first. `style` is how its box is filled, if it is.

    `brief` is what stands where the words do not fit.
    """

    start: float
    stop: float
    words: str
    brief: str = ""
    rank: float = 0.0
    style: Mapping[str, object] | None = None


class Level(NamedTuple):
    """A level row: its stretches, and whether words that do not fit one are set upright, for which it is tall."""

    stretches: Sequence[Stretch]
    turns: bool = False


class Band:
    """The rows of a band: upright ones with a figure of each column, then level ones with words over stretches.

    Columns come by rising place, in the unit of the axis across.
    """

    def __init__(
        self, paper: Paper, upright: Sequence[str], columns: Sequence[Column], level: Mapping[str, Level]
    ) -> None:
        self.paper, self.upright, self.level = paper, upright, level
        self._line = 1.25 * _SCALE * paper.font * POINT
        room = int((paper.width - 6 * paper.font * POINT) / self._line)
        kept = sorted(sorted(range(len(columns)), key=lambda k: columns[k].rank)[:room])
        self.columns = [columns[k] for k in kept]
        self._left_out = len(columns) - len(kept)
        self._cut = [
            [paper.fitted(each.figures[row], _TALLEST * DOTS_PER_INCH, scale=_SCALE) for each in self.columns]
            for row in range(len(upright))
        ]
        self._tall = [
            max((paper.extent(text, scale=_SCALE)[0] for text in texts if text), default=0.0) + 0.45 * self._line
            for texts in self._cut
        ]
        self._kink = 0.6 * self._line
        if self._tall:
            self._tall[0] += self._kink
        for row in level.values():
            widest = max(
                (paper.extent(each.brief or each.words, scale=_SCALE)[0] for each in row.stretches if row.turns),
                default=0.0,
            )
            self._tall.append(max(1.4 * self._line, min(widest, 0.5 * DOTS_PER_INCH) + 0.4 * self._line * row.turns))

    @property
    def height(self) -> float:
        """The height of the band, inches."""
        return sum(self._tall) / DOTS_PER_INCH

    @property
    def _edges(self) -> FloatArray:
        return np.concatenate([[0.0], np.cumsum(self._tall)])

    def prepare(self, axes: Axes) -> None:
        """Name the rows at the left of a panel, before it is laid out."""
        edges = self._edges
        axes.set_ylim(edges[-1], 0.0)
        axes.grid(visible=False)
        if self._left_out:
            axes.set_xlabel(f"{self._left_out} more places do not fit here")
        middles = 0.5 * (edges[1:] + edges[:-1])
        middles[0] += 0.5 * self._kink if self.upright else 0.0
        axes.set_yticks(middles, [*self.upright, *self.level])
        axes.tick_params(axis="y", length=0.0)
        for edge in edges[1:]:
            axes.axhline(edge, color=FAINT, lw=0.5, clip_on=False)

    def draw(self, axes: Axes) -> None:
        """Draw the band in a panel that is laid out for good."""
        edges = self._edges
        low, high = axes.get_xlim()
        box = axes.get_window_extent()
        dot = (high - low) / box.width
        self._draw_columns(axes, edges, dot)
        for number, row in enumerate(self.level.values(), len(self.upright)):
            self._draw_stretches(axes, row.stretches, float(edges[number]), float(edges[number + 1]), dot)

    def _draw_columns(self, axes: Axes, edges: FloatArray, dot: float) -> None:
        low, high = axes.get_xlim()
        places = spread([each.at for each in self.columns], self._line * dot, low, high)
        for number, (column, at) in enumerate(zip(self.columns, places, strict=True)):
            axes.plot([column.at, at], [0.0, self._kink], color=FAINT, lw=0.6, clip_on=False)
            for row, texts in enumerate(self._cut):
                foot = float(edges[row + 1]) - 0.22 * self._line
                axes.text(
                    at, foot, texts[number], rotation=90, ha="center", va="bottom", fontsize=_SCALE * self.paper.font,
                    color=INK, parse_math=False,
                )  # fmt: skip

    def _draw_stretches(self, axes: Axes, row: Sequence[Stretch], top: float, bottom: float, dot: float) -> None:
        """Write words over their stretches, upright where these are narrow, the shortest not at all."""
        board = Board(gap=1.5 * POINT * dot)
        middle = 0.5 * (top + bottom)
        for stretch in row:
            if stretch.style is not None:
                across = [stretch.start, stretch.start, stretch.stop, stretch.stop]
                style: dict[str, object] = {"facecolor": PALE_EARTH, "edgecolor": FAINT, "lw": 0.5, **stretch.style}
                axes.fill(across, [top, bottom, bottom, top], zorder=1.5, **style)  # type: ignore[arg-type]
            else:
                for edge in (stretch.start, stretch.stop):
                    axes.plot([edge, edge], [top, bottom], color=FAINT, lw=0.5)
        for stretch in sorted((each for each in row if each.words), key=lambda each: each.rank):
            wide, tall = (each * dot for each in self.paper.extent(stretch.words, scale=_SCALE))
            at, room = 0.5 * (stretch.start + stretch.stop), stretch.stop - stretch.start
            words, rotation = stretch.words, 0
            if wide > room and stretch.brief:
                words = stretch.brief
                wide, _ = (each * dot for each in self.paper.extent(words, scale=_SCALE))
            if wide > room:
                if 0.8 * tall <= room and wide / dot < bottom - top - 2:
                    wide, rotation = 0.8 * tall, 90
                elif room > 6 * self._line * dot:
                    words = self.paper.fitted(words, room / dot, scale=_SCALE)
                    wide = room
                else:
                    continue
            if board.place([Box(at - 0.5 * wide, 0.0, at + 0.5 * wide, 1.0)]) is not None:
                axes.text(
                    at, middle, words, rotation=rotation, ha="center", va="center", color=INK, zorder=3,
                    fontsize=_SCALE * self.paper.font, parse_math=False,
                )  # fmt: skip


def spread(places: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return places moved as little as can be so that they lie a gap apart, between bounds half a gap wider.

    Examples
    --------
    >>> spread([0.0, 1.0, 1.0, 9.0], 1.0, -0.5, 10.0)
    [0.0, 1.0, 2.0, 9.0]
    """
    if not places:
        return []
    steps = gap * np.arange(len(places))
    moved = isotonic_regression(np.array(places) - steps).x
    moved = np.clip(moved, low + 0.5 * gap, max(high - 0.5 * gap - float(steps[-1]), low + 0.5 * gap))
    return [float(each) for each in moved + steps]
