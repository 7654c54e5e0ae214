"""Numbered marks on a plan view: each at its place with the numbers of its rows, none over another."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from matplotlib.lines import Line2D

from gradehaul.show.base.colors import INK
from gradehaul.show.base.label_placing import Box
from gradehaul.show.base.labels import spans
from gradehaul.show.base.paper import POINT

if TYPE_CHECKING:
    from gradehaul.show.plan_view.canvas import Canvas

_PAD = 2.2
"""Room around the numbers of a mark, points."""


@dataclass(frozen=True, slots=True)
class Look:
    """How marks of a kind look: the box around the numbers, and what it means."""

    shape: str
    fill: str
    ink: str
    words: str

    def sample(self) -> Line2D:
        """Return a sample for the key."""
        marker = {"round": "o", "square": "s", "sawtooth": "^"}[self.shape.split(",")[0]]
        return Line2D([], [], ls="", marker=marker, ms=7, mfc=self.fill, mec=INK, mew=0.9)


@dataclass(slots=True)
class Mark:
    """A mark: its kind, where it lies on the plan, m, and the numbers of its rows, rising."""

    kind: str
    x: float
    y: float
    numbers: tuple[int, ...]


def draw_marks(canvas: Canvas, marks: Iterable[Mark], looks: Mapping[str, Look]) -> list[Mark]:
    """Draw marks, the most important kind first in `looks`; those that would lie over one another share one.

    Return the marks as drawn, and keep labels off them.
    """
    order = list(looks)
    drawn: list[Mark] = []
    for mark in sorted(marks, key=lambda each: order.index(each.kind)):
        _add(canvas, mark, drawn)
    for number, mark in enumerate(reversed(drawn)):
        look = looks[mark.kind]
        across, up = canvas.spot(mark.x, mark.y)
        style: dict[str, Any] = {"boxstyle": f"{look.shape},pad=0.25", "fc": look.fill, "ec": INK, "lw": 0.9}
        canvas.paper.text(
            across, up, spans(mark.numbers), scale=0.85, weight="bold", color=look.ink, ha="center", va="center",
            bbox=style, zorder=8 + number / 1000, gid=f"{mark.kind} {spans(mark.numbers)}",
        )  # fmt: skip
        canvas.board.take(_box(canvas, mark))
    return drawn


def _add(canvas: Canvas, mark: Mark, drawn: list[Mark]) -> None:
    """Add a mark, or its numbers to one that lies where it would; that may make it lie over others in turn."""
    while True:
        box = _box(canvas, mark)
        other = next((each for each in drawn if _box(canvas, each).meets(box)), None)
        if other is None:
            drawn.append(mark)
            return
        drawn.remove(other)
        mark = Mark(other.kind, other.x, other.y, tuple(sorted({*other.numbers, *mark.numbers})))


def _box(canvas: Canvas, mark: Mark) -> Box:
    across, up = canvas.spot(mark.x, mark.y)
    text = spans(mark.numbers)
    # figures are all as wide as one another, and the rest no wider
    wide, tall = 0.65 * len(text) * canvas.paper.font * POINT, canvas.paper.font * POINT
    return Box(across - 0.5 * wide, up - 0.5 * tall, across + 0.5 * wide, up + 0.5 * tall).grown(_PAD * POINT)
