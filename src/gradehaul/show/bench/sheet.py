"""The bench sheet: a form to print and fill while measuring, with how to measure and the cautions, as PDF."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from gradehaul.plan.records import Plan
from gradehaul.show.base.colors import INK
from gradehaul.show.base.picture import drawing_rules, pages_bytes, plain
from gradehaul.show.base.reading_units import Reader

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_SIZE = (8.27, 11.69)
"""A4 upright, inches."""

_LEFT, _RIGHT, _LINE, _ROW = 0.6, 7.75, 0.165, 0.27
_NAME_LENGTH = 26

PULLS = (
    "Level straight track without joints, on a firm plank; look along it with a level, both ways round.",
    "Wipe rails and wheels clean, let them dry and rest a quarter of an hour. Note which way the locomotive faces.",
    "Hook the balance to the coupler, in line with the track. Raise the power slowly until the wheels slide.",
    "Standing: the most that it showed before they slid. Slipping: what it shows while they slide. Stop at once then.",
    "Five readings each, all five even if one looks odd. Note the unit on the balance: g on a balance means gf.",
    "Then wipe the film on this plank, not on the layout, and read again: within an hour, and after a day's rest.",
)
CARS = (
    "String: pull ten or so equal cars with the balance, slowly and evenly, on level straight track; read as it moves.",
    "Curve: the same string, the whole of it on a curve of known radius. The difference gives the curve coefficient.",
    "Tilt: one car on a straight track; raise one end until it starts, then find the rise at which it rolls on evenly.",
)
CAUTIONS = (
    "A film does not come off again, and a dry rag does not lift it: never try it first on the layout.",
    "Heed the data sheet of whatever you wipe with. Air the room; no flames or sparks; gloves if it says so.",
    "No track power while a wiped rail dries. Wheels that slide heat the motor: a few seconds at a time, then rest.",
    "Trains pulled hard can tip or let go: keep fingers clear, and put a stop at both ends of a tilted track.",
)


class Column(NamedTuple):
    """A column of a form: its head and its width, inches."""

    head: str
    width: float


_PULL_COLUMNS = (
    Column("locomotive", 1.75),
    Column("rail", 1.05),
    Column("hours", 0.5),
    Column("facing", 0.5),
    Column("state", 0.65),
    *(Column(str(number), 0.54) for number in range(1, 6)),
)
_CAR_COLUMNS = (
    Column("car, how many", 1.75),
    Column("string, curve (radius) or tilt (over)", 2.35),
    *(Column(str(number), 0.61) for number in range(1, 6)),
)


def bench_sheet(plan: Plan, reader: Reader) -> bytes:
    """Return the form as the content of a PDF file, the same bytes from run to run.

    It has a row for every locomotive of the plan on clean rail and on each film, fresh and after a rest, standing and
    slipping, and blank ones; then rows for cars.
    """
    with drawing_rules():
        return pages_bytes(bench_figures(plan, reader))


def bench_figures(plan: Plan, reader: Reader) -> list[Figure]:
    """Return the pages of the form as figures; to be called by the `drawing_rules`."""
    unit = reader.force_unit or ("gf" if reader.system == "metric" else "ozf")
    rows = _pull_rows(plan)
    cars = [[_cut(name), "", *[""] * 5] for name in plan.cars] or [[""] * 7]
    cars = [[name, kind, *[""] * 5] for name, *_ in cars[:8] for kind in ("string of", "curve, radius", "tilt, over")]
    pages: list[Figure] = []
    page = _Page(plan, pages)
    page.words("How to measure pulls", PULLS)
    page.words("Take care", CAUTIONS)
    page.table(f"Pulls, in {unit}", _PULL_COLUMNS, rows)
    page.words("How to measure cars and curves", CARS)
    page.table(f"Cars: forces in {unit}, rises in {reader.length_unit}", _CAR_COLUMNS, cars)
    page.finish()
    return pages


def _pull_rows(plan: Plan) -> list[list[str]]:
    blank = [""] * 5
    rows = []
    for name in [*map(_cut, plan.locos)] or ["", ""]:
        rails = [("clean", "-")]
        for film in plan.films:
            rails += [(_cut(film, 15), ""), (_cut(film, 15), "")]
        rows += [[name, rail, hours, "", state, *blank] for rail, hours in rails for state in ("standing", "slipping")]
    return [*rows, *([""] * 10 for _ in range(2))]


def _cut(name: str, longest: int = _NAME_LENGTH) -> str:
    name = plain(name)
    return name if len(name) <= longest else name[: longest - 1] + "…"


class _Page:
    """Pages under work, filled from the top."""

    def __init__(self, plan: Plan, pages: list[Figure]) -> None:
        self.plan, self.pages = plan, pages
        self._new()

    def _new(self) -> None:
        from matplotlib.figure import Figure

        self.figure = Figure(figsize=_SIZE, facecolor="white")
        self.pages.append(self.figure)
        self.top = _SIZE[1] - 0.62
        self._text(_LEFT, self.top, f"Bench sheet: {_cut(self.plan.title, 50)}", size=14, weight="bold")
        self._text(5.1, self.top, "date ____________   by ______________", size=9)
        self.top -= 0.18
        self._rule(_LEFT, _RIGHT, self.top, width=1.0)

    def words(self, heading: str, lines: Sequence[str]) -> None:
        """Add a heading and numbered lines."""
        self._room(0.4 + _LINE * len(lines))
        self.top -= 0.28
        self._text(_LEFT, self.top, heading, size=10, weight="bold")
        for number, line in enumerate(lines, 1):
            self.top -= _LINE
            self._text(_LEFT, self.top, f"{number}.", size=8)
            self._text(_LEFT + 0.18, self.top, line, size=8)

    def table(self, heading: str, columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
        """Add a table to be filled, with its heading again on every page that it runs over."""
        self._heads(heading, columns)
        for row in rows:
            if self.top - _ROW < 0.6:
                self._new()
                self._heads(heading, columns)
            self.top -= _ROW
            x = _LEFT
            for column, cell in zip(columns, row, strict=True):
                self._text(x + 0.05, self.top + 0.085, cell, size=8)
                x += column.width
            self._rule(_LEFT, x, self.top)
            self._uprights(columns, self.top, self.top + _ROW)

    def finish(self) -> None:
        """Add what stands at the foot of every page."""
        for number, figure in enumerate(self.pages, 1):
            self.figure = figure
            self._text(
                _LEFT, 0.35, "Type the rows into the plan as [[reading]] and [[tilt]], or into a spreadsheet.", size=7.5
            )
            self._text(7.1, 0.35, f"page {number} of {len(self.pages)}", size=7.5)

    def _heads(self, heading: str, columns: Sequence[Column]) -> None:
        self._room(0.55 + 3 * _ROW)
        self.top -= 0.3
        self._text(_LEFT, self.top, heading, size=10, weight="bold")
        self.top -= 0.26
        x = _LEFT
        for column in columns:
            self._text(x + 0.05, self.top + 0.06, column.head, size=7.5)
            x += column.width
        self._rule(_LEFT, x, self.top, width=0.9)

    def _room(self, height: float) -> None:
        if self.top - height < 0.6:
            self._new()

    def _uprights(self, columns: Sequence[Column], low: float, high: float) -> None:
        x = _LEFT
        for width in (0.0, *(column.width for column in columns)):
            x += width
            self._line((x, x), (low, high), 0.5)

    def _rule(self, left: float, right: float, at: float, width: float = 0.5) -> None:
        self._line((left, right), (at, at), width)

    def _line(self, xs: tuple[float, float], ys: tuple[float, float], width: float) -> None:
        from matplotlib.lines import Line2D

        across, up = _SIZE
        self.figure.add_artist(Line2D([x / across for x in xs], [y / up for y in ys], color="#666666", linewidth=width))

    def _text(self, x: float, y: float, words: str, *, size: float, weight: str = "normal") -> None:
        if words:
            self.figure.text(x / _SIZE[0], y / _SIZE[1], words, fontsize=size, weight=weight, color=INK, va="baseline")
