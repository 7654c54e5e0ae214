"""The pull part of a long section picture: what a train asks, what its locomotives give, and where it gets stuck."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from itertools import cycle
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from gradehaul.haulage.demand import AS_PLANNED
from gradehaul.haulage.verdict import Stretch
from gradehaul.haulage.views.section import Haul, PullGiven
from gradehaul.quantities import convert
from gradehaul.show.base.axis_numbers import convert_all, nice
from gradehaul.show.base.curve_points import curve_points
from gradehaul.show.base.label_placing import Box, crossed, strayed
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.sheet import INK, Row, Sheet, Size, Spot
from gradehaul.show.check.outcome_words import short_words
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic

_RAILS: tuple[tuple[str, Any], ...] = (
    ("#0072b2", "-"),
    ("#d55e00", (0, (6, 2))),
    ("#a3527f", (0, (6, 2, 1.2, 2))),
    ("#00775a", (0, (3, 1.5))),
    ("#7a6000", (0, (8, 2, 1.2, 2, 1.2, 2))),
)
"""Color and dashes of each rail condition in turn: Okabe and Ito's palette, some darker so that thin lines show."""

_SLIPPING: Any = (0, (1, 1.6))

_HATCHES = {"no stopping": "//////", "no recovery": "||||||", "runs away": "xxxxxx", "stalls": None}


def key_row(size: Size) -> Row:
    """Return the row for what the marks in the bars mean, at the foot of the sheet."""
    return Row("key", 1.6 * 1.5 * size.font / 72)


def pull_rows(size: Size, haul: Haul) -> list[Row]:
    """Return the rows of the pull part from the top."""
    line = 1.6 * size.font / 72
    care = [Row(f"care {k} {part}", height) for k in range(len(haul.given)) for part, height in _CARE]
    return [
        Row("pull name", 1.2 * line),
        Row("pull words", 1.1 * line),
        Row("pull", 1.3 if size.roomy else 2.0, grows=True),
        Row("care words", 1.3 * line),
        *(row._replace(height=row.height * line) for row in care),
    ]


_CARE = (("words", 0.95), ("bar", 0.62))


def draw_pull(sheet: Sheet, haul: Haul, reader: Reader) -> Axes:
    """Draw the pull part and return its main panel."""
    panel = _draw_pull(sheet, haul, reader)
    _draw_care(sheet, haul, reader)
    return panel


def _draw_pull(sheet: Sheet, haul: Haul, reader: Reader) -> Axes:
    given = [(each, style) for each, style in zip(haul.given, cycle(_RAILS), strict=False)]
    tops = [each.standing.greatest().value for each in haul.given]
    greatest = max(*tops, haul.starting.greatest().value)
    unit = reader.force(greatest).rsplit(" ", 1)[1]
    least = min(0.0, haul.running.least().value)
    low, high = (convert(value, unit) for value in (least - 0.04 * (greatest - least), greatest * 1.12))
    axes = sheet.panel("pull", low, high)
    sheet.heading("pull name", ["Train"], name=haul.name, weight="bold")
    long = reader.length(haul.train.length)
    told = f"{long} long. Pull, {unit}, by the place of its head"
    more = "asked by the whole train, engines included, and given at a stand and with slipping wheels"
    sheet.heading("pull words", [f"{told}: {more}", told])
    sheet.scale(axes, nice(low, high, 4))
    axes.axhline(0.0, color=INK, lw=0.7, zorder=1)
    lines: list[_Line] = []

    def draw(
        function: PiecewiseQuadratic,
        text: str,
        importance: int,
        gid: str,
        beside: tuple[float, ...] = (0.0, 0.75, -0.75),
        **style: Any,  # noqa: ANN401 - whatever a line can be given
    ) -> None:
        x, y = curve_points(function)
        x, y = convert_all(x, sheet.unit), convert_all(y, unit)
        single = function.stop - function.start < 1e-9
        axes.plot(x, y, marker="o" if single else None, ms=3.5, gid=gid, **style)
        lines.append(_Line(importance, text, sheet.line_dots(axes, x, y), style["color"], beside))

    x, low_asked = curve_points(haul.running)
    _, high_asked = curve_points(haul.starting)
    axes.fill_between(
        convert_all(x, sheet.unit),
        convert_all(low_asked, unit),
        convert_all(high_asked, unit),
        color="#d9d9d9",
        lw=0,
        zorder=2,
    )
    draw(haul.starting, "asked to start", 2, "asked starting", (0.8, 1.3), color="#555555", lw=0.9, zorder=3)
    draw(haul.running, "asked to run", 0, "asked running", (-0.8, -1.3), color=INK, lw=2.2, zorder=4)
    for each, (color, dashes) in given:
        told = _value(each.standing, reader)
        draw(each.standing, told + _on(each.rail), 1, f"standing {each.rail}", color=color, lw=1.6, ls=dashes, zorder=3)
        told = _value(each.slipping, reader)
        draw(
            each.slipping,
            f"slipping {told}{_on(each.rail)}",
            3,
            f"slipping {each.rail}",
            color=color,
            lw=1.0,
            ls=_SLIPPING,
            zorder=3,
        )
    for line in sorted(lines, key=lambda line: line.importance):
        _tell_line(sheet, line, [other for other in lines if other is not line])
    return axes


class _Line(NamedTuple):
    """A line to be told: its importance (0 first), label, points in dots, color, and where its label may stand."""

    importance: int
    text: str
    points: FloatArray
    color: str
    beside: tuple[float, ...]
    """In heights of the label above the line; 0 for in it."""

    def height_at(self, x: float) -> float:
        return float(self.points[min(int(self.points[:, 0].searchsorted(x)), len(self.points) - 1), 1])


def _on(rail: str) -> str:
    return rail if rail == AS_PLANNED else f"on {rail}"


def _value(pull: PiecewiseQuadratic, reader: Reader) -> str:
    """Return a pull that is the same all the way; nothing where it changes."""
    least, greatest = pull.least().value, pull.greatest().value
    return f"{reader.force(greatest)} " if greatest - least <= 1e-9 * greatest else ""


def _tell_line(sheet: Sheet, line: _Line, others: Sequence[_Line]) -> None:
    """Write what a line is into the line itself, where it is flattest and alone, or close to it."""
    room = sheet.room("pull")
    for told in (line.text, sheet.fitted(line.text, 0.45 * (room.right - room.left))):
        wide, tall = sheet.extent(told, scale=0.92)
        start, stop = float(line.points[0, 0]) + 0.6 * wide, float(line.points[-1, 0]) - 0.6 * wide
        if stop < start:  # the line is shorter than its label
            start = stop = min(max(0.5 * (start + stop), room.left + 0.5 * wide), room.right - 0.5 * wide)
        spots = [
            Spot(x, line.height_at(x) + up * tall) for x in np.linspace(stop, start, 65).tolist() for up in line.beside
        ]
        costs = partial(_hides, line=line, others=others, gap=0.1 * tall)
        if sheet.label(told, spots, room=room, boxes_cost=costs, backed=True, color=line.color, scale=0.92):
            return


def _hides(box: Box, *, line: _Line, others: Sequence[_Line], gap: float) -> float:
    """Return how much of the other lines a label hides, and how badly it keeps to its own."""
    inside = box.bottom < line.height_at(0.5 * (box.left + box.right)) < box.top
    follows = inside and 0.0 in line.beside
    own = 2.0 * strayed(box, line.points) if follows else 24.0 + 4.0 * crossed(box, line.points)
    # a pull goes on behind its neighbor's label as it does beside it; what is asked bends there
    return own + sum((1.0 if 0.0 in other.beside else 6.0) * crossed(box.grown(gap), other.points) for other in others)


def _draw_care(sheet: Sheet, haul: Haul, reader: Reader) -> None:
    """Draw a bar for each rail condition: plain where all is well, marked where not to stop, not to slip, or stuck."""
    sheet.heading("care words", ["How it fares, by the place of its head"], weight="bold")
    seen: set[str] = set()
    for number, (each, (color, _)) in enumerate(zip(haul.given, cycle(_RAILS), strict=False)):
        axes = sheet.panel(f"care {number} bar", 0.0, 1.0, grid=False)
        start, stop = (convert(place, sheet.unit) for place in (haul.running.start, haul.running.stop))
        axes.add_patch(
            Rectangle(
                (start, 0.1), stop - start, 0.8, facecolor="white", edgecolor=color, lw=1.1, zorder=2, clip_on=False
            )
        )
        told = each.verdict
        for kind, stretches, foot, tall in (
            ("no stopping", told.no_stopping, 0.5, 0.4),
            ("no recovery", told.no_recovery, 0.1, 0.4),
            ("runs away", told.running_away, 0.1, 0.8),
            ("stalls", told.stalling, 0.1, 0.8),
        ):
            if stretches:
                seen.add(kind)
            for stretch in stretches:
                _mark(sheet, axes, stretch, kind, foot, tall)
        _tell_care(sheet, haul, each, number, color, reader)
    _draw_key(sheet, seen)


def _mark(sheet: Sheet, axes: Axes, stretch: Stretch, kind: str, foot: float, tall: float) -> None:
    start, stop = convert(stretch.start, sheet.unit), convert(stretch.stop, sheet.unit)
    wide = max(stop - start, 0.0015 * sheet.reach[1])  # so that the shortest is seen
    axes.add_patch(
        Rectangle(
            (min(start, sheet.reach[1] - wide), foot),
            wide,
            tall,
            facecolor=INK if kind == "stalls" else "white",
            edgecolor=INK,
            hatch=_HATCHES[kind],
            lw=0.6,
            zorder=3,
            clip_on=False,
            gid=kind,
        )
    )


def _tell_care(sheet: Sheet, haul: Haul, given: PullGiven, number: int, color: str, reader: Reader) -> None:
    room = sheet.room(f"care {number} words")
    middle = 0.5 * (room.bottom + room.top)
    for words in _verdict_words(haul, given, reader):
        wide, _ = sheet.extent(words)
        if wide < 0.72 * (room.right - room.left):
            break
    sheet.label(words, [Spot(room.right, middle, "right")])
    left = room.right - room.left - wide - 1.2 * sheet.dots_per_em
    rail = given.rail if given.judged else f"{given.rail}, if everywhere"
    name = sheet.fitted(rail, left, color=color, weight="bold")
    sheet.label(name, [Spot(room.left, middle, "left")], color=color, weight="bold")


def _verdict_words(haul: Haul, given: PullGiven, reader: Reader) -> list[str]:
    """Return the outcome in words, the fullest first; of a leg, with that of the whole route where it differs."""
    words = short_words(given.outcome, given.verdict, haul.misfits, reader)
    here = given.verdict.outcome
    if given.outcome in (here, "too long"):
        return words
    leg = short_words(here, given.verdict, haul.misfits, reader)
    return [*(f"{each} on this leg; {given.outcome} on the whole route" for each in leg), given.outcome]


def _draw_key(sheet: Sheet, seen: set[str]) -> None:
    told = {
        "no stopping": ["must not stop: would not start again", "must not stop"],
        "no recovery": ["would not recover from a slip", "no recovery from a slip"],
        "runs away": ["runs away: pushes its locomotives", "runs away"],
        "stalls": ["stalls", "stalls"],
    }
    room = sheet.room("key")
    dot = sheet.dots_per_em
    x, middle = room.left, 0.5 * (room.bottom + room.top)
    width, height = sheet.figure.bbox.width, sheet.figure.bbox.height
    for kind in (kind for kind in told if kind in seen):
        text = told[kind][0 if sheet.size.roomy else 1]
        patch = Rectangle(
            (x / width, (middle - 0.4 * dot) / height),
            1.8 * dot / width,
            0.8 * dot / height,
            facecolor=INK if kind == "stalls" else "white",
            edgecolor=INK,
            hatch=_HATCHES[kind],
            lw=0.6,
            transform=sheet.figure.transFigure,
        )
        sheet.figure.add_artist(patch)
        placed = sheet.label(text, [Spot(x + 2.2 * dot, middle, "left")], scale=0.92)
        x = (placed[1].right if placed else x) + 1.1 * dot
