"""Every benchmark's figure in one form: what, how much, the target, met or missed; told, kept, and written as a table.

Timing stands side by side: two things by turns in one run, told as the ratio of their medians.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from time import perf_counter

import pytest

Timed = Callable[[], object]
_RECORDED = pytest.StashKey[list["Figure"]]()


@dataclass(frozen=True)
class Figure:
    """A figure that was measured, and what it should be: at least, at most, or nothing but told."""

    what: str
    found: float
    unit: str = ""
    least: float | None = None
    most: float | None = None
    note: str = ""
    limit: str = ""
    """What keeps it from being better, told where it is missed."""

    @property
    def target(self) -> str:
        """The target in words."""
        sides = [
            f"{word} {_number(bound, self.unit)}"
            for word, bound in (("at least", self.least), ("at most", self.most))
            if bound is not None
        ]
        return " and ".join(sides) or "none"

    @property
    def outcome(self) -> str:
        """Met, missed, or a dash where there is no target."""
        if self.least is None and self.most is None:
            return "–"
        low = self.least is None or self.found >= self.least
        high = self.most is None or self.found <= self.most
        return "met" if low and high else "missed"

    @property
    def cells(self) -> tuple[str, str, str, str]:
        """Its row of the table."""
        note = f" ({self.note})" if self.note else ""
        return f"{self.what}{note}", _number(self.found, self.unit), self.target, self.outcome


def _number(value: float, unit: str) -> str:
    told = f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"
    return f"{told} {unit}".strip()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Where the table goes."""
    parser.addoption("--figures", metavar="FILE", help="write the figures as a table to this Markdown file")


def pytest_configure(config: pytest.Config) -> None:
    """Begin without figures."""
    config.stash[_RECORDED] = []


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Write the table."""
    if path := session.config.getoption("--figures"):
        Path(path).write_text(page(session.config.stash[_RECORDED], machine()), encoding="utf-8")


def machine() -> str:
    """The machine in general words, and how busy it was with other work."""
    cores = os.cpu_count() or 1
    busy = os.getloadavg()[2] / cores if hasattr(os, "getloadavg") else 0.0
    asked = "more work waiting than it has cores" if busy > 1.5 else "little else running"
    return f"{cores} shared cores, {asked}; Python {sys.version_info.major}.{sys.version_info.minor}"


def page(figures: list[Figure], where: str) -> str:
    """The figures as a page of Markdown."""
    missed = sum(figure.outcome == "missed" for figure in figures)
    rows = [("figure", "found", "target", ""), ("---", "---", "---", "---"), *(figure.cells for figure in figures)]
    limits = [f"- {figure.what}: {figure.limit}." for figure in figures if figure.outcome == "missed" and figure.limit]
    told = ["What limits those that are missed:", "", *limits, ""] if limits else []
    return "\n".join(
        [
            "# Figures",
            "",
            "> Try a film on a spare length of track first, and measure: these figures are of the program alone.",
            "",
            f"Measured on {where}. Ratios are of medians, taken by turns in one run; no unit means a ratio.",
            f"{len(figures)} figures, {missed} of them missed.",
            "",
            *(f"| {' | '.join(row)} |" for row in rows),
            "",
            *told,
            "Made by `pytest tests/benchmarks -o addopts= -p no:xdist -q --figures docs/figures.md`.",
            "",
        ]
    )


@pytest.fixture
def figure(request, capsys):
    """Return a function that tells and keeps a figure; the test fails at its end where one misses its target."""
    missed = []

    def tell(what: str, found: float, unit: str = "", **rest: float | str | None) -> float:
        kept = Figure(what, found, unit, **rest)
        request.config.stash[_RECORDED].append(kept)
        if kept.outcome == "missed":
            missed.append(kept)
        with capsys.disabled():
            print("\n  {}: {} (target {}, {})".format(*kept.cells))
        return found

    yield tell
    if missed:
        pytest.fail("; ".join("{}: {}, target {}".format(*each.cells) for each in missed), pytrace=False)


@pytest.fixture
def ratio(figure):
    """Return a function that times two things by turns, shows and keeps the ratio of their medians, slow over fast."""

    def measure(
        what: str,
        slow: Timed,
        fast: Timed,
        *,
        rounds: int = 7,
        clock: Callable[[], float] = perf_counter,
        least: float | None = None,
        most: float | None = None,
        limit: str = "",
    ) -> float:
        times: tuple[list[float], list[float]] = ([], [])
        for _ in range(rounds):
            for action, kept in zip((slow, fast), times, strict=True):
                start = clock()
                action()
                kept.append(clock() - start)
        slower, faster = (median(kept) for kept in times)
        note = f"{1000 * slower:.4g} ms against {1000 * faster:.4g} ms"
        return figure(what, slower / faster, least=least, most=most, note=note, limit=limit)

    return measure
