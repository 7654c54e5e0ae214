"""A sheet of paper: its size and margins, the headline with words under it, panels, and what their lines mean."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal, NamedTuple

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.legend import Legend
from matplotlib.lines import Line2D
from matplotlib.text import Text

from gradehaul.quantities import convert
from gradehaul.show.base.label_placing import Box
from gradehaul.show.base.picture import DOTS_PER_INCH, FAINT, INK, plain
from gradehaul.show.base.unit_format import UnitFormat

MARGIN = 8.5 / 25.4
"""The margin all round, inches: what a printer leaves blank and a little."""

POINT = DOTS_PER_INCH / 72.0
"""Dots of a point."""


class Size(NamedTuple):
    """A size of sheet in inches, with its type in points; `height` is None where it follows from what is on it."""

    width: float
    height: float | None
    font: float


SizeName = Literal["a4", "phone"]

SIZES: dict[SizeName | Literal["letter"], Size] = {
    "a4": Size(11.69, 8.27, 8.5),
    "letter": Size(11.0, 8.5, 8.5),
    "phone": Size(3.75, None, 7.8),
}
"""A4 and US Letter, landscape, and the width of a phone: 360 px of 96 to an inch."""


class Panel(NamedTuple):
    """A panel: the least height of its axes, inches, and its share of what is left of a sheet."""

    least: float
    grows: float = 0.0


_AMPLE = 1.2
"""Room for whatever stands beside each panel of a sheet that is measured, inches."""

LINE = 1.3
"""The height of a line of text, in sizes of its type."""


class Sheet:
    """A sheet of a width and height in inches, with its type in points, on which words are set in dots."""

    def __init__(self, width: float, height: float, font: float) -> None:
        self.font, self.dots_per_line = font, LINE * font * POINT
        self.figure = Figure(figsize=(width, height), dpi=DOTS_PER_INCH, facecolor="white")
        self.renderer = FigureCanvasAgg(self.figure).get_renderer()  # type: ignore[no-untyped-call]
        self.width = (width - 2 * MARGIN) * DOTS_PER_INCH

    def text(self, x: float, y: float, words: str, *, scale: float = 1.0, **style: Any) -> Text:  # noqa: ANN401 - as of a text
        """Write words at a place of the sheet, in dots."""
        across, up = x / self.figure.bbox.width, y / self.figure.bbox.height
        rest = {"color": INK, "parse_math": False, **style}
        return self.figure.text(across, up, plain(words), fontsize=scale * self.font, **rest)

    def line(self, x: Sequence[float], y: Sequence[float], **style: Any) -> None:  # noqa: ANN401 - as of a line
        """Draw a line through points of the sheet, in dots."""
        box = self.figure.bbox
        across, up = np.asarray(x, dtype=float) / box.width, np.asarray(y, dtype=float) / box.height
        self.figure.add_artist(Line2D(across, up, **style))

    def extent(self, words: str, *, scale: float = 1.0, **style: Any) -> tuple[float, float]:  # noqa: ANN401 - as above
        """Return width and height of a text, in dots."""
        kept = {name: value for name, value in style.items() if name in ("weight", "rotation")}
        artist = Text(0, 0, plain(words), fontsize=scale * self.font, parse_math=False, **kept)
        artist.set_figure(self.figure)
        box = artist.get_window_extent(self.renderer)
        return float(box.width), float(box.height)

    def fitted(self, words: str, width: float, **style: Any) -> str:  # noqa: ANN401 - as above
        """Return a text cut to a width, in dots, with an ellipsis where it was too long."""
        words = plain(words)
        if self.extent(words, **style)[0] <= width:
            return words
        cuts = range(1, len(words))
        keep = bisect_left(cuts, True, key=lambda n: self.extent(words[:n].rstrip() + "…", **style)[0] > width)
        return words[:keep].rstrip() + "…"

    def wrapped(self, words: str, width: float | None = None, **style: Any) -> list[str]:  # noqa: ANN401 - as above
        """Return a text as lines of a width in dots, that of the sheet if left out, broken between words."""
        width = self.width if width is None else width
        rest, lines = plain(words).split(), list[str]()
        while rest:
            too_many = 2  # words, doubled until they are: it takes long to set the type of a long text
            while too_many < len(rest) and self.extent(" ".join(rest[:too_many]), **style)[0] <= width:
                too_many *= 2
            counts = range(2, min(too_many, len(rest)) + 1)  # the most words that fit, one at the least
            fits = 1 + bisect_left(counts, True, key=lambda n: self.extent(" ".join(rest[:n]), **style)[0] > width)
            lines.append(self.fitted(" ".join(rest[:fits]), width, **style))
            rest = rest[fits:]
        return lines


class Paper(Sheet):
    """A sheet under work: the headline and words at its top, the key and notes at its foot, and room between them.

    Words and notes are paragraphs. In the key a tuple of samples is drawn on top of one another. `body` is the least
    height of what is between, inches; a size without a height gets what it takes.
    """

    def __init__(
        self,
        size: Size,
        headline: str,
        words: Sequence[str] = (),
        *,
        body: float = 1.0,
        notes: Sequence[str] = (),
        key: Mapping[str, Artist | tuple[Artist, ...]] | None = None,
    ) -> None:
        super().__init__(size.width, size.height or 1.0, size.font)
        self.size = size
        self._panels: dict[str, tuple[Axes, Panel]] = {}
        self._keys: dict[Axes, Mapping[str, Artist | tuple[Artist, ...]]] = {}
        scale = 1.5 if size.height else 1.3
        bold: dict[str, Any] = {"scale": scale, "weight": "bold"}
        first: dict[str, Any] = {
            "va": "top",
            "zorder": -1,
        }  # so that whoever reads the file from its beginning meets the answer first
        self._head = [(self.text(0, 0, line, **bold, **first), scale) for line in self.wrapped(headline, **bold)]
        self._head += [(self.text(0, 0, line, **first), 1.0) for each in words for line in self.wrapped(each)]
        self._foot = [self.text(0, 0, line, va="bottom") for each in notes for line in self.wrapped(each)]
        self._key = self._legend(dict(key or {}))
        tall = 0.0 if self._key is None else float(self._key.get_window_extent(self.renderer).height)
        gap = 0.4 * self.dots_per_line
        self._notes = len(self._foot) * self.dots_per_line + gap * bool(self._foot)
        self._above = sum(each for _, each in self._head) * self.dots_per_line + gap
        self._below = self._notes + tall + gap * bool(tall)
        self._set_body(body)

    def _set_body(self, least: float) -> None:
        """Make the sheet as high as its body takes, inches, and set what is above and below that."""
        height = max(self.size.height or 0.0, least + 2 * MARGIN + (self._above + self._below) / DOTS_PER_INCH)
        self.figure.set_size_inches(self.size.width, height)
        wide, tall = self.figure.bbox.width, self.figure.bbox.height
        left, bottom, top = MARGIN * DOTS_PER_INCH, MARGIN * DOTS_PER_INCH, tall - MARGIN * DOTS_PER_INCH
        self.room = Box(left, bottom + self._below, left + self.width, top - self._above)
        at = top
        for text, scale in self._head:
            text.set_position((left / wide, at / tall))
            at -= scale * self.dots_per_line
        for number, text in enumerate(reversed(self._foot)):
            text.set_position((left / wide, (bottom + number * self.dots_per_line) / tall))
        if self._key is not None:
            self._key.set_bbox_to_anchor((left / wide, (bottom + self._notes) / tall))

    # Panels

    def panels(self, panels: Mapping[str, Panel], reach: tuple[float, float]) -> dict[str, Axes]:
        """Return panels below one another over one axis from `reach` to `reach`, the lowest with its numbers."""
        self.figure.set_layout_engine("constrained", w_pad=0.0, h_pad=0.025, hspace=0.0)
        found = self.figure.subplots(len(panels), 1, sharex=True, squeeze=False)[:, 0].tolist()
        self._panels = {name: (axes, panel) for axes, (name, panel) in zip(found, panels.items(), strict=True)}
        for axes in found:
            axes.set_xlim(*reach)
            axes.grid(color="#dddddd", lw=0.5)
            axes.set_axisbelow(True)
            axes.tick_params(labelsize=0.92 * self.font, color=FAINT, labelcolor="#444444", length=2.0, pad=2.0)
            axes.yaxis.label.set_size(self.font)
            axes.xaxis.label.set_size(self.font)
            axes.spines[["top", "right"]].set_visible(False)
            axes.spines[["left", "bottom"]].set_color(FAINT)
        return {name: axes for name, (axes, _) in self._panels.items()}

    def grid(self, rows: int, columns: int) -> list[list[Axes]]:
        """Return panels in rows and columns over common axes."""
        self.figure.set_layout_engine("constrained", w_pad=0.05, h_pad=0.03)
        found = self.figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
        self._lay_in_room()
        for axes in found.flat:
            axes.tick_params(labelsize=0.92 * self.font)
            axes.xaxis.label.set_size(self.font)
            axes.yaxis.label.set_size(self.font)
        rows_of: list[list[Axes]] = found.tolist()
        return rows_of

    def settle(self) -> None:
        """Lay the panels out for good, each as high as it must be, so that labels can be set between their lines."""
        every = [axes for axes, _ in self._panels.values()]
        least = [panel.least for _, panel in self._panels.values()]
        grows = [panel.grows for _, panel in self._panels.values()]
        grid = every[0].get_gridspec()
        assert grid is not None
        self._set_body(sum(least) + _AMPLE * len(least))
        self._lay_out()
        for axes in every:  # now that it is known how wide they are
            if axes in self._keys:
                self.key_above(axes, self._keys[axes])
        self._lay_out()
        taken = self._body() - sum(axes.get_window_extent().height for axes in every) / DOTS_PER_INCH
        self._set_body(taken + sum(least))
        free = max(self._body() - taken - sum(least), 0.0) / max(sum(grows), 1e-9)
        grid.set_height_ratios([low + share * free for low, share in zip(least, grows, strict=True)])
        self._lay_out()
        self.figure.set_layout_engine("none")

    def _body(self) -> float:
        return (self.room.top - self.room.bottom) / DOTS_PER_INCH

    def _lay_in_room(self) -> None:
        """Keep the panels between what is above and below them."""
        wide, tall, room = self.figure.bbox.width, self.figure.bbox.height, self.room
        rect = (room.left / wide, room.bottom / tall, self.width / wide, (room.top - room.bottom) / tall)
        self.figure.get_layout_engine().set(rect=rect)  # type: ignore[union-attr, call-arg]

    def _lay_out(self) -> None:
        self._lay_in_room()
        self.figure.get_layout_engine().execute(self.figure)  # type: ignore[union-attr]

    def key_above(self, axes: Axes, key: Mapping[str, Artist | tuple[Artist, ...]]) -> None:
        """Set what lines mean above a panel, where no label can cross a line."""
        place: dict[str, Any] = {"loc": "lower left", "bbox_to_anchor": (0.0, 1.0), **self._key_style}
        self._keys[axes] = key
        self._flowed(lambda ncols: axes.legend(key.values(), key, ncols=ncols, **place), len(key), self._wide(axes))

    def _wide(self, axes: Axes) -> float:
        return min(float(axes.get_window_extent().width), self.width)

    def _legend(self, key: dict[str, Any]) -> Legend | None:
        def made(ncols: int) -> Legend:
            for each in self.figure.legends[:]:
                each.remove()
            return self.figure.legend(
                key.values(), key, ncols=ncols, loc="lower left", bbox_to_anchor=(0.0, 0.0),
                **{**self._key_style, "labelspacing": 0.55},
            )  # fmt: skip

        return self._flowed(made, len(key), self.width)

    def _flowed(self, made: Callable[[int], Legend], count: int, width: float) -> Legend | None:
        """Return a legend in as many columns as fit a width."""
        for ncols in range(count, 0, -1):
            legend = made(ncols)
            if ncols == 1 or legend.get_window_extent(self.renderer).width <= width:
                return legend
        return None

    @property
    def _key_style(self) -> dict[str, Any]:
        return {
            "fontsize": 0.95 * self.font,
            "frameon": False,
            "borderpad": 0.0,
            "borderaxespad": 0.15,
            "handlelength": 2.4,
            "handletextpad": 0.5,
            "columnspacing": 1.4,
            "labelspacing": 0.3,
            "labelcolor": INK,
        }


def words_alone() -> Line2D:
    """Return a sample of nothing, for words in a key."""
    return Line2D([], [], ls="", marker="")


def grade_axis(axes: Axes, units: UnitFormat) -> None:
    """Mark grades at the left as they are written, and draw the level."""
    axes.axhline(0.0, color=INK, lw=0.7, zorder=2.5)
    unit = units.grade_unit
    if units.grades != "one-in":
        axes.set_ylabel(unit)
        return
    axes.yaxis.set_major_formatter(
        lambda tick, _: units.grade(tick / convert(1.0, unit)).removesuffix(".0") if tick else "level"
    )
