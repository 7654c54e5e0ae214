"""Sheets to print and take along: forms on upright pages, cautions, lengths as a rule shows them; the bench sheet."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING, Any, Literal, ParamSpec

from gradehaul.quantities import INCH, System
from gradehaul.show.base.paper import Sheet
from gradehaul.show.base.picture import DOTS_PER_INCH, INK, drawing_rules, pages_bytes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from gradehaul.plan.records import Plan
    from gradehaul.show.base.unit_format import UnitFormat

P = ParamSpec("P")

PaperName = Literal["a4", "letter"]
PAPERS: dict[PaperName, tuple[float, float]] = {"a4": (210 / 25.4, 297 / 25.4), "letter": (8.5, 11.0)}
"""Width and height of a page held upright, inches."""

PAPER_OF: dict[System, PaperName] = {"metric": "a4", "imperial": "letter"}
"""The paper that is at hand where units are used."""

_MARGIN, _LINE, _FOOT = 0.52, 0.165, 0.6
_FONT = 8.0
_WHOLE = 1e-4
"""Share of a step of a rule by which a length may fall short of one by rounding."""

CAUTIONS = (
    "Saws: follow the maker's manual; eye and ear protection, a stop block for repeated cuts, no loose sleeves.",
    (
        "A deck is only as strong as you build it: brace tall risers, follow local codes, ask a qualified person about "
        "structure."
    ),
    (
        "Drops: put a barrier or a raised edge at least as high as the axles along every open side, before the first "
        "train runs."
    ),
    "Children: keep them away from saws, open drops and decks that are not fastened yet.",
    "Before you drill or cut: switch off, and look for house wiring, track power and other wires under the deck.",
)
"""Usual cautions of the trade; manuals, local codes and licensed practice go before them."""


class Form:
    """Pages under work, filled from the top, each with a title, words beside it, and a foot; lengths in inches."""

    def __init__(self, title: str, paper: PaperName, *, beside: str = "", foot: str = "") -> None:
        self.title, self.beside, self.foot = title, beside, foot
        self.width, self.height = PAPERS[paper]
        self.left, self.right = _MARGIN + 0.08, self.width - _MARGIN
        self.pages: list[Sheet] = []
        self.new_page()

    def new_page(self) -> None:
        """Begin a page with its title."""
        self.sheet = Sheet(self.width, self.height, _FONT)
        self.pages.append(self.sheet)
        self.top = self.height - 0.62
        aside = self.sheet.extent(self.beside)[0] / DOTS_PER_INCH if self.beside else 0.0
        self._text(self.left, self.title, self.right - self.left - 1.2 * aside, scale=1.75, weight="bold")
        self._text(self.right, self.beside, scale=1.1, ha="right")
        self.top -= 0.18
        self._line((self.left, self.right), (self.top, self.top), 1.0)

    def words(self, heading: str, lines: Sequence[str], *, numbered: bool = True) -> None:
        """Add a heading and lines, broken where they are longer than the page is wide."""
        left = self.left + 0.18 * numbered
        broken = [self.sheet.wrapped(line, (self.right - left) * DOTS_PER_INCH) for line in lines]
        self._room(0.4 + _LINE * sum(map(len, broken)))
        self.top -= 0.28
        self._text(self.left, heading, scale=1.25, weight="bold")
        for number, parts in enumerate(broken, 1):
            for part in parts:
                self.top -= _LINE
                if numbered and part is parts[0]:
                    self._text(self.left, f"{number}.")
                self._text(left, part)

    def table(
        self, heading: str, columns: Sequence[tuple[str, float]], rows: Sequence[Sequence[str]], row: float = 0.27
    ) -> None:
        """Add a table of columns with heads and widths, and rows of a height, headed again on every page."""
        edges = list(accumulate((width for _, width in columns), initial=self.left))
        for number, cells in enumerate(rows):
            if not number or self.top - row < _FOOT:
                self._heads(heading, columns, edges, row)
            self.top -= row
            for (left, right), cell in zip(pairwise(edges), cells, strict=True):
                self._text(left + 0.05, cell, right - left - 0.06, up=0.5 * row - 0.05)
            self._line((edges[0], edges[-1]), (self.top, self.top))
            for x in edges:
                self._line((x, x), (self.top, self.top + row))

    def panel(self, low: float) -> Axes:
        """Return a panel without axes across what is left of the page above a height."""
        across, up = (self.right - self.left) / self.width, (self.top - 0.15 - low) / self.height
        axes: Axes = self.sheet.figure.add_axes((self.left / self.width, low / self.height, across, up))
        axes.set_axis_off()
        self.top = low
        return axes

    def finish(self) -> list[Figure]:
        """Add what stands at the foot of every page, and return the pages."""
        self.top = 0.35
        for page in self.pages:
            self.sheet = page
            self._text(self.left, self.foot, self.right - self.left - 1.0, scale=0.94)
        return [page.figure for page in self.pages]

    def _heads(self, heading: str, columns: Sequence[tuple[str, float]], edges: Sequence[float], row: float) -> None:
        self._room(0.55 + 3 * row)
        self.top -= 0.3
        self._text(self.left, heading, scale=1.25, weight="bold")
        self.top -= 0.26
        for (head, _), x in zip(columns, edges, strict=False):
            self._text(x + 0.05, head, up=0.06, scale=0.94)
        self._line((edges[0], edges[-1]), (self.top, self.top), 0.9)

    def _room(self, height: float) -> None:
        if self.top - height < _FOOT:
            self.new_page()

    def _line(self, xs: tuple[float, float], ys: tuple[float, float], width: float = 0.5) -> None:
        across, up = ([DOTS_PER_INCH * each for each in ends] for ends in (xs, ys))
        self.sheet.line(across, up, color="#666666", lw=width)

    def _text(self, x: float, words: str, width: float = math.inf, *, up: float = 0.0, **style: Any) -> None:  # noqa: ANN401 - as of a sheet
        """Write words at a height over `top`, cut to a width."""
        if words:
            shown = self.sheet.fitted(words, width * DOTS_PER_INCH, **style)
            self.sheet.text(x * DOTS_PER_INCH, (self.top + up) * DOTS_PER_INCH, shown, **style)


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


def on_rule(length: float, step: float, *, down: bool = False) -> str:
    """Return a length to the nearest step of a rule, both in m, or to the one below where it must not be longer.

    Where the step is a fraction of an inch so is the length, else it is in millimeters.

    Examples
    --------
    >>> on_rule(0.0454, 0.0254 / 32), on_rule(-0.0032, 0.0254 / 16), on_rule(0.0454, 0.0005)
    ('1 25/32 in', '-1/8 in', '45.5 mm')
    >>> on_rule(0.0, 0.0254 / 32), on_rule(0.0454, 0.0005, down=True)
    ('0 in', '45 mm')
    """
    steps = math.floor(length / step + _WHOLE) if down else round(length / step)
    part = Fraction(step / INCH).limit_denominator(128)
    sign = "-" if steps < 0 else ""
    if abs(float(part) * INCH - step) > 1e-9:
        return f"{sign}{round(abs(steps) * step * 1000, 4):.10g} mm"
    whole, rest = divmod(abs(steps) * part, 1)
    return f"{sign}{' '.join(str(each) for each in (whole, rest) if each) or '0'} in"


# The form to fill while measuring


PULLS = (
    "Level straight track without rail joints, on a firm board; check with a level, then turn the level end for end.",
    "Wipe rails and wheels clean, let them dry, and wait a quarter of an hour. Note which way the locomotive faces.",
    "Hook the balance to the coupler, in line with the track. Raise the power slowly until the wheels slide.",
    "Standing: the most that it showed before they slid. Slipping: what it shows while they slide. Then stop at once.",
    "Five readings each, all five even if one looks odd. Note the unit on the balance: g on a balance means gf.",
    "Then wipe the film on this track, not on the layout, and read again: within an hour, and after a day's rest.",
)
CARS = (
    "String: pull ten or so equal cars with the balance, slowly and evenly, on level straight track; read as it moves.",
    "Curve: the same string, the whole of it on a curve of known radius. The difference gives the curve coefficient.",
    "Tilt: one car on a straight track; raise one end until it starts, then find the rise at which it rolls on evenly.",
)
BENCH_CAUTIONS = (
    "A film does not come off, and a dry rag does not lift it: never try it first on the layout.",
    "Follow the data sheet of whatever you wipe with. Ventilate the room; no flames or sparks; gloves if it says so.",
    "No track power while a wiped rail dries. Wheels that slide heat the motor: a few seconds at a time, then rest.",
    "Trains pulled hard can tip or let go: keep fingers clear, and put a stop at both ends of a tilted track.",
)
_PULL_COLUMNS = (
    ("locomotive", 1.75),
    ("rail", 1.05),
    ("hours", 0.5),
    ("facing", 0.5),
    ("state", 0.65),
    *((str(number), 0.54) for number in range(1, 6)),
)
_CAR_COLUMNS = (
    ("car, how many", 1.75),
    ("string, curve (radius) or tilt (track length)", 2.35),
    *((str(number), 0.61) for number in range(1, 6)),
)


def bench_figures(plan: Plan, units: UnitFormat, paper: PaperName | None = None) -> list[Figure]:
    """Return the pages of the form as figures, on the paper of its units; to be called by the `drawing_rules`.

    It has a row for every locomotive of the plan on clean rail and on each film, fresh and after a rest, standing and
    slipping, and blank ones; then rows for cars.
    """
    unit = units.force_unit or ("gf" if units.system == "metric" else "ozf")
    rows = _pull_rows(plan)
    cars = [
        [name, kind, *[""] * 5]
        for name in [*plan.cars][:8] or [""]
        for kind in ("string of", "curve, radius", "tilt, over")
    ]
    page = Form(
        f"Bench sheet: {plan.title}",
        paper or PAPER_OF[units.system],
        beside="date ____________   by ______________",
        foot="Type the rows into the plan as [[reading]] and [[tilt]], or into a spreadsheet.",
    )
    page.words("How to measure pulls", PULLS)
    page.words("Take care", BENCH_CAUTIONS)
    page.table(f"Pulls, in {unit}", _PULL_COLUMNS, rows)
    page.words("How to measure cars and curves", CARS)
    page.table(f"Cars: forces in {unit}, rises in {units.length_unit}", _CAR_COLUMNS, cars)
    return page.finish()


bench_sheet = as_pages(bench_figures)


def _pull_rows(plan: Plan) -> list[list[str]]:
    blank = [""] * 5
    rows = []
    for name in [*plan.locos] or ["", ""]:
        rails = [("clean", "-")]
        for film in plan.films:
            rails += [(film, ""), (film, "")]
        rows += [[name, rail, hours, "", state, *blank] for rail, hours in rails for state in ("standing", "slipping")]
    return [*rows, *([""] * 10 for _ in range(2))]
