"""The sheets of risers: the cut list to take to the saw, the risers from the side, and the strip at full size."""

from __future__ import annotations

import cmath
from typing import TYPE_CHECKING, Any

import numpy as np

from gradehaul.design.risers.below import TrackBelow
from gradehaul.design.risers.risers import Riser, Risers
from gradehaul.design.risers.strip import PageRoom, StripMark, StripPage, strip_pages
from gradehaul.errors import clean
from gradehaul.quantities import INCH, convert
from gradehaul.show.base.band import Band, Column
from gradehaul.show.base.page import shortened
from gradehaul.show.base.paper import SIZES, Panel, Paper
from gradehaul.show.base.picture import EARTH, INK, PALE_EARTH, as_picture, curve_points, plain
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.risers.text import (
    beside_lines,
    explained,
    headline,
    no_block_fits,
    place_words,
    riser_columns,
    track_below,
)
from gradehaul.show.sheets import CAUTIONS, PAPERS, Form, PaperName, as_pages, on_rule

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_ROW = 0.24


@as_pages
def risers_sheet(found: Risers, units: UnitFormat, paper: PaperName, *, strip: float | None = None) -> list[Figure]:
    """Return the cut list, the risers from the side, and a strip of a length, m, if any."""
    return [
        *cut_list_figures(found, units, paper),
        risers_figure(found, units, paper),
        *([] if strip is None else strip_figures(found, strip, units, paper)),
    ]


def risers_figure(found: Risers, units: UnitFormat, paper: PaperName = "a4") -> Figure:
    """Return the risers from the side; to be called by the `drawing_rules`."""
    walk, build, unit = found.walk, found.build, units.length_unit
    times, base = convert(1.0, unit), build.datum or 0.0
    over = "the plan's 0: not lengths to cut, without --datum" if build.datum is None else "what they stand on"
    below = found.below
    top, tops = (
        ("top", "top of each riser,") if build.datum is None or below else ("cut to", "what to cut each riser to,")
    )
    words = f"{headline(found, units)}. Railhead and {tops} in {'inches' if unit == 'in' else unit} above {over}."
    dotted = [f"{track_below(found)} They are dotted here: see the cut list."] if below else []
    size = SIZES[paper]
    sheet = Paper(size, found.title, [words, *dotted], notes=[" ".join(CAUTIONS)])
    columns = [
        Column(
            times * riser.at,
            (
                f"{riser.number}",
                units.number(riser.at),
                "–" if no_block_fits(riser) else on_rule(riser.cut, build.rule),
                *([_block(found, riser)] if below else []),
            ),
        )
        for riser in found.risers
    ]
    rows = ("riser", "distance", top, *(["on deck"] if below else []))
    band = Band(sheet, rows, columns, {})
    panels = sheet.panels({"heights": Panel(2.5, 1.0), "band": Panel(band.height)}, (0.0, times * walk.length))
    axes = panels["heights"]
    x, heights = curve_points(walk.railhead)
    railhead, deck = times * (heights + base), times * (heights + base - build.structure)
    low = float(deck.min()) - 0.6 * float(railhead.max() - deck.min())
    low = low if build.datum is None else max(low, 0.0)
    axes.fill_between(times * x, deck, railhead, color=PALE_EARTH, lw=0, zorder=2)
    axes.plot(times * x, railhead, color=INK, lw=1.6, zorder=4, gid="railhead")
    for riser in found.risers:
        at = times * riser.at
        axes.plot(
            [at, at],
            [low, times * riser.top],
            color=EARTH,
            lw=3.0,
            ls=":" if riser.number in below else "-",
            solid_capstyle="butt",
            zorder=3,
            gid="riser",
        )
    axes.set_ylim(bottom=low)
    axes.set_ylabel(unit)
    band.prepare(panels["band"])
    sheet.settle()
    band.draw(panels["band"])
    return sheet.figure


risers_picture = as_picture(risers_figure)


def _block(found: Risers, riser: Riser) -> str:
    """Return what to cut over the track below, "" where there is none, and that the riser must move where none fits."""
    if no_block_fits(riser):
        return "move"
    return "" if riser.on_deck is None else on_rule(riser.on_deck, found.build.rule, down=True)


def _below(below: TrackBelow, units: UnitFormat) -> str:
    """Return the track below and where it passes, for a mark of the strip."""
    where = f"{units.length(below.apart, fine=True)} away"
    return f"{shortened(plain(clean(below.track)), 24)} below, {'blocks beside it' if below.beside else where}"


def cut_list_figures(found: Risers, units: UnitFormat, paper: PaperName) -> list[Figure]:
    """Return the pages of the cut list; to be called by the `drawing_rules`."""
    form = Form(f"Risers: {found.title}", paper, foot=f"{clean(found.walk.name)}: measure twice, cut once.")
    form.words(headline(found, units), explained(found, units), numbered=False)
    form.words("Take care", CAUTIONS)
    if beside := beside_lines(found, units):
        form.words("Tracks beside", beside, numbered=False)
    columns = riser_columns(found, units)
    heads = [(column.head.removesuffix(">"), column.width) for column in columns]
    form.table("Cut list", heads, [*zip(*(column.cells for column in columns), strict=True)], row=_ROW)
    return form.finish()


_EDGE, _HEAD, _FOOT = 0.009, 0.014, 0.026
"""Room at the edges of a page, for its head and for its foot, m."""
_WIDE = 1.5
"""How far a mark reaches to either side, gauges."""
RISER, TANGENT, JOIN = 1.4, 0.7, 1.0
"""Widths of the marks' lines, points."""
_CLOSE = 0.045
"""Risers nearer than this, m, have only their numbers beside them."""


def strip_figures(found: Risers, length: float, units: UnitFormat, paper: PaperName) -> list[Figure]:
    """Return the pages of a strip; to be called by the `drawing_rules`.

    Raises
    ------
    DesignError
        A length of 0 or less, too many pages, or a page too small for a mark.
    """
    tall, wide = (side * INCH for side in PAPERS[paper])
    room = PageRoom(wide - 2 * _EDGE, tall - 2 * _EDGE - _HEAD - _FOOT)
    half = _WIDE * found.walk.layout.plan.scale.gauge
    pages = strip_pages(found, length, room, half)
    return [_Sheet(page, len(pages), found, units, (wide, tall), half).figure for page in pages]


class _Sheet:
    """A page of the strip under work, lengths in m."""

    def __init__(
        self, page: StripPage, count: int, found: Risers, units: UnitFormat, size: tuple[float, float], half: float
    ) -> None:
        from matplotlib.figure import Figure

        self.size, self.half = size, half
        self.middle = complex(0.5 * size[0], 0.5 * (_FOOT - _HEAD + size[1]))
        self.figure = Figure(figsize=(size[0] / INCH, size[1] / INCH), facecolor="white")
        self._line(page.line + self.middle, lw=0.8, color=INK, dashes=(8, 3, 2, 3))
        for mark, riser in page.risers:
            self._across(mark, half, lw=RISER, color=INK)
            self._number(mark, f"{riser.number}{': move' * no_block_fits(riser)}")
            if found.every >= _CLOSE:
                words = f"at {place_words(riser.at, units)}\nrailhead {on_rule(riser.railhead, found.build.rule)}"
                cut = "" if found.build.datum is None else f"\ncut to {on_rule(riser.cut, found.build.rule)}"
                if block := _block(found, riser):
                    cut = "\nno block fits: move the riser" if no_block_fits(riser) else f"\non deck {block}"
                    if riser.below is not None:
                        cut += f"\n{_below(riser.below, units)}"
                self._beside(mark, -half, words + cut, "top")
        for mark, words in page.tangents:
            self._across(mark, 0.6 * half, lw=TANGENT, color="#7a1330", dashes=(4, 2))
            self._beside(mark, 0.6 * half, f"{words} from here,\n{place_words(mark.at, units)}", "bottom")
        for mark, words in zip(
            page.joins, (f"joins strip {page.number - 1}", f"joins strip {page.number + 1}"), strict=True
        ):
            inner = (mark is page.joins[0] and page.number > 1) or (mark is page.joins[1] and page.number < count)
            if inner:
                self._join(mark, words)
        self._words(page, count, found, units)

    def _join(self, mark: StripMark, words: str) -> None:
        """Draw a cross in a circle on the center line, and a line across, where two pages meet."""
        self._across(mark, 0.8 * self.half, lw=JOIN, color="#0057a8", dashes=(1, 1.5))
        turn = np.exp(1j * np.linspace(0, 2 * np.pi, 49))
        self._line(mark.place + self.middle + 0.003 * turn, lw=0.7, color="#0057a8")
        at = mark.place + self.middle + 0.86 * self.half * 1j * cmath.exp(1j * mark.heading)
        self._text(at, words, 7, ha="center", va="bottom", color="#0057a8")

    def _across(self, mark: StripMark, half: float, **style: Any) -> None:  # noqa: ANN401 - a line's
        side = 1j * cmath.exp(1j * mark.heading)
        self._line(mark.place + self.middle + half * side * np.array([1.0, -1.0]), **style)

    def _number(self, mark: StripMark, words: str) -> None:
        at = mark.place + self.middle + (self.half + 0.003) * 1j * cmath.exp(1j * mark.heading)
        self._text(at, words, 13, ha="center", va="bottom", weight="bold")

    def _beside(self, mark: StripMark, off: float, words: str, va: str) -> None:
        at = mark.place + self.middle + off * 1j * cmath.exp(1j * mark.heading) + 0.001
        right = at.real > 0.8 * self.size[0]
        self._text(at - (0.002 if right else 0.0), words, 7, ha="right" if right else "left", va=va)

    def _words(self, page: StripPage, count: int, found: Risers, units: UnitFormat) -> None:
        """Write the head and the foot: what it is, lengths to measure, and a caution."""
        top = self.size[1] - _EDGE
        name = shortened(plain(f"{found.title}: {clean(found.walk.name)}"), 60)
        stretch = f"{place_words(page.start, units)} to {place_words(page.stop, units)}"
        self._text(complex(_EDGE, top), f"{name}, {stretch}", 10, va="top", weight="bold")
        self._text(complex(self.size[0] - _EDGE, top), f"strip {page.number} of {count}", 9, va="top", ha="right")
        for left, length, words in ((_EDGE, 0.1, "100 mm"), (_EDGE + 0.12, 4 * INCH, "4 in")):
            y = _EDGE + 0.006
            self._line(np.array([complex(left, y), complex(left + length, y)]), lw=1.0, color=INK)
            for end in (left, left + length):
                self._line(np.array([complex(end, y - 0.002), complex(end, y + 0.002)]), lw=1.0, color=INK)
            self._text(complex(left + 0.5 * length, y + 0.001), words, 7, ha="center", va="bottom")
        reminders = (
            "Print at 100 %, unscaled.",
            "Measure both bars first.",
            "Saws, drops, children:",
            "see the cut list.",
        )
        self._text(complex(_EDGE + 0.235, _EDGE + 0.016), "\n".join(reminders), 6.5, va="top")

    def _line(self, points: Any, **style: Any) -> None:  # noqa: ANN401 - an array of places, and a line's style
        from matplotlib.lines import Line2D

        drawn = Line2D(np.real(points) / self.size[0], np.imag(points) / self.size[1], solid_capstyle="butt", **style)
        self.figure.add_artist(drawn)

    def _text(self, at: complex, words: str, size: float, **style: Any) -> None:  # noqa: ANN401 - a text's
        self.figure.text(
            at.real / self.size[0], at.imag / self.size[1], words, fontsize=size, **{"color": INK, **style}
        )
