"""Sheets to print and take along: forms on upright pages, cautions, and lengths as a rule shows them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Literal, NamedTuple, ParamSpec

from gradehaul.show.base.colors import INK
from gradehaul.show.base.picture import drawing_rules, pages_bytes
from gradehaul.show.base.unit_format import System

if TYPE_CHECKING:
    from matplotlib.figure import Figure

P = ParamSpec("P")

PaperName = Literal["a4", "letter"]
PAPERS: dict[PaperName, tuple[float, float]] = {"a4": (210 / 25.4, 297 / 25.4), "letter": (8.5, 11.0)}
"""Width and height of a page held upright, inches."""

PAPER_OF: dict[System, PaperName] = {"metric": "a4", "imperial": "letter"}
"""The paper that is at hand where units are used."""

_INCH = 0.0254
_MARGIN, _LINE, _FOOT = 0.52, 0.165, 0.6

CAUTIONS = (
    "Saws: follow the maker's manual; eye and ear protection, a stop block for repeated cuts, no loose sleeves.",
    "A deck is only as strong as you build it: brace tall risers, follow codes, ask qualified people about structure.",
    "Drops: put edging at least as high as the axles along every open side, before the first train runs.",
    "Children: keep them away from saws, open drops and decks that are not fastened yet.",
    "Before you drill or cut: switch off, and look for house wiring, track power and other wires under the deck.",
)
"""Usual cautions of the trade; manuals, local codes and licensed practice go before them."""


class FormColumn(NamedTuple):
    """A column of a form: its head and its width, inches."""

    head: str
    width: float


class Form:
    """Pages under work, filled from the top, each with a title, words beside it, and a foot; lengths in inches."""

    def __init__(self, title: str, *, paper: tuple[float, float], beside: str = "", foot: str = "") -> None:
        self.title, self.beside, self.foot = title, beside, foot
        self.width, self.height = paper
        self.left, self.right = _MARGIN + 0.08, self.width - _MARGIN
        self.pages: list[Figure] = []
        self.new_page()

    def new_page(self) -> None:
        """Begin a page with its title."""
        from matplotlib.figure import Figure

        self.figure = Figure(figsize=(self.width, self.height), facecolor="white")
        self.pages.append(self.figure)
        self.top = self.height - 0.62
        self.text(self.left, self.top, self.title, size=14, weight="bold")
        self.text(self.right, self.top, self.beside, size=9, align="right")
        self.top -= 0.18
        self.line((self.left, self.right), (self.top, self.top), 1.0)

    def words(self, heading: str, lines: Sequence[str], *, numbered: bool = True) -> None:
        """Add a heading and lines."""
        self._room(0.4 + _LINE * len(lines))
        self.top -= 0.28
        self.text(self.left, self.top, heading, size=10, weight="bold")
        for number, line in enumerate(lines, 1):
            self.top -= _LINE
            if numbered:
                self.text(self.left, self.top, f"{number}.", size=8)
            self.text(self.left + 0.18 * numbered, self.top, line, size=8)

    def table(
        self, heading: str, columns: Sequence[FormColumn], rows: Sequence[Sequence[str]], row: float = 0.27
    ) -> None:
        """Add a table with rows of a height, with its heading again on every page that it runs over."""
        self._heads(heading, columns, row)
        for cells in rows:
            if self.top - row < _FOOT:
                self.new_page()
                self._heads(heading, columns, row)
            self.top -= row
            x = self.left
            for column, cell in zip(columns, cells, strict=True):
                self.text(x + 0.05, self.top + 0.5 * row - 0.05, cell, size=8)
                x += column.width
            self.line((self.left, x), (self.top, self.top))
            self._uprights(columns, self.top, self.top + row)

    def finish(self) -> list[Figure]:
        """Add what stands at the foot of every page, and return the pages."""
        for page in self.pages:
            self.figure = page
            self.text(self.left, 0.35, self.foot, size=7.5)
        return self.pages

    def _heads(self, heading: str, columns: Sequence[FormColumn], row: float) -> None:
        self._room(0.55 + 3 * row)
        self.top -= 0.3
        self.text(self.left, self.top, heading, size=10, weight="bold")
        self.top -= 0.26
        x = self.left
        for column in columns:
            self.text(x + 0.05, self.top + 0.06, column.head, size=7.5)
            x += column.width
        self.line((self.left, x), (self.top, self.top), 0.9)

    def _room(self, height: float) -> None:
        if self.top - height < _FOOT:
            self.new_page()

    def _uprights(self, columns: Sequence[FormColumn], low: float, high: float) -> None:
        x = self.left
        for width in (0.0, *(column.width for column in columns)):
            x += width
            self.line((x, x), (low, high))

    def line(self, xs: tuple[float, float], ys: tuple[float, float], width: float = 0.5) -> None:
        """Draw a line between two points of the page."""
        from matplotlib.lines import Line2D

        across, up = [x / self.width for x in xs], [y / self.height for y in ys]
        self.figure.add_artist(Line2D(across, up, color="#666666", linewidth=width))

    def text(self, x: float, y: float, words: str, *, size: float, weight: str = "normal", align: str = "left") -> None:
        """Write words at a point of the page."""
        if words:
            at = x / self.width, y / self.height
            self.figure.text(*at, words, fontsize=size, weight=weight, color=INK, va="baseline", ha=align)


def as_pages(draw: Callable[P, list[Figure]]) -> Callable[P, bytes]:
    """Return a function that draws pages, each with its number at its foot, as the content of a PDF file."""

    def sheets(*args: P.args, **kwargs: P.kwargs) -> bytes:
        with drawing_rules():
            pages = draw(*args, **kwargs)
            for number, page in enumerate(pages, 1):
                wide, high = page.get_size_inches()
                words = f"page {number} of {len(pages)}"
                page.text(1 - _MARGIN / wide, 0.35 / high, words, fontsize=7.5, color=INK, va="baseline", ha="right")
            return pages_bytes(pages)

    return sheets


def on_rule(length: float, step: float) -> str:
    """Return a length to the nearest step of a rule, both in m.

    Where the step is a fraction of an inch so is the length, else it is in millimeters.

    Examples
    --------
    >>> on_rule(0.0454, 0.0254 / 32), on_rule(-0.0032, 0.0254 / 16), on_rule(0.0454, 0.0005)
    ('1 25/32 in', '-1/8 in', '45.5 mm')
    >>> on_rule(0.0, 0.0254 / 32)
    '0 in'
    """
    steps = round(length / step)
    part = Fraction(step / _INCH).limit_denominator(128)
    sign = "-" if steps < 0 else ""
    if abs(float(part) * _INCH - step) > 1e-9:
        return f"{sign}{round(abs(steps) * step * 1000, 4):.10g} mm"
    whole, rest = divmod(abs(steps) * part, 1)
    return f"{sign}{' '.join(str(each) for each in (whole, rest) if each) or '0'} in"
