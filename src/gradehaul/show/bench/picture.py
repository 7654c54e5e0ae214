"""The residuals as a small picture: each reading about its mean, each locomotive about the fitted adhesion if known."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from matplotlib.lines import Line2D

from gradehaul.haulage.answers.readings import ReadingsAnswer
from gradehaul.haulage.bench.reduction import Reduced
from gradehaul.show.base.colors import FAINT, INK
from gradehaul.show.base.page import shortened
from gradehaul.show.base.paper import Panel, Paper, Size
from gradehaul.show.base.picture import as_picture, plain
from gradehaul.show.base.unit_format import UnitFormat

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SIZE = Size(7.6, None, 8.0)
_ROW, _LEAST_ROWS = 0.24, 3
_LEAST_REACH = 5.0
_NAME_LENGTH = 40
_READ, _FAR, _MEAN, _FITTED = "#1f5fa8", "#b00020", "#b8cbe2", "#b3541e"

_MARKS: Mapping[str, dict[str, Any]] = {
    "a reading": {"marker": "o", "color": _READ, "ms": 4, "mew": 0, "alpha": 0.75, "ls": ""},
    "a reading far out, counted all the same": {"marker": "x", "color": _FAR, "ms": 5, "mew": 1.4, "ls": ""},
    "where the true mean lies, 19 times of 20": {"color": _MEAN, "lw": 5, "solid_capstyle": "butt"},
    "how far the mean lies from the fitted adhesion": {"marker": "D", "mfc": "none", "mec": _FITTED, "ms": 6, "ls": ""},
}
"""The marks, and what they mean."""


def readings_figure(answer: ReadingsAnswer, units: UnitFormat) -> Figure:
    """Return the picture as a figure; to be called by the `drawing_rules`."""
    rows = answer.bench.rows
    if not rows:
        return Paper(_SIZE, "No pull was read.", [answer.plan.title], body=0.2).figure
    residuals = _residuals(answer)
    far = sum(len(row.outliers) for row in rows)
    headline = f"{sum(row.count for row in rows)} readings of {len(rows)} pulls, {far or 'none'} far out"
    words = f"{answer.plan.title}: how far each reading lies from its mean, which stands at the left"
    words += ", and each mean from the fitted adhesion" if residuals else ""
    marks = {label: Line2D([], [], **style) for label, style in _MARKS.items()}
    if not residuals:
        marks.popitem()
    paper = Paper(_SIZE, headline, [words], key=dict(marks))
    reach = _LEAST_REACH
    (axes,) = paper.panels({"rows": Panel(_ROW * max(len(rows), _LEAST_ROWS))}, (-reach, reach)).values()
    for number, row in enumerate(rows):
        reach = max(reach, _draw_row(axes, number, row, residuals))
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xlim(-1.12 * reach, 1.12 * reach)
    axes.set_xlabel("% less or more", color=INK)
    axes.axvline(0.0, color=FAINT, lw=0.8, zorder=0)
    axes.set_yticks(range(len(rows)), [_name(row, units) for row in rows], color=INK)
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    paper.settle()
    return paper.figure


readings_plot = as_picture(readings_figure)


def _residuals(answer: ReadingsAnswer) -> dict[tuple[str, str], float]:
    """Return how far each locomotive's pull lies from the fitted one, %, by locomotive and rail, where that is known.

    A rail whose locomotives have wheels with and without tyres, and on which the two are not separated, has no fitted
    adhesion to lie from.
    """
    return {
        (loco, rail): 100 * value
        for rail, fit in answer.bench.fits.items()
        if fit.freedom > 0 and (fit.metal is not None or fit.tyred is not None)
        for loco, value in zip(fit.locos, fit.residuals, strict=True)
    }


def _draw_row(axes: Axes, number: int, row: Reduced, residuals: dict[tuple[str, str], float]) -> float:
    """Draw one row and return how far it reaches."""
    values = [100 * (force.value / row.mean - 1) for taken in row.taken for force in taken.forces]
    half = min(100 * (row.high / row.mean - 1), 60.0)
    near_mark, far_mark, mean, fitted = _MARKS.values()
    axes.plot([-half, half], [number, number], zorder=1, **mean)
    far = {100 * (value / row.mean - 1) for value in row.outliers}
    near = [value for value in values if value not in far]
    axes.plot(near, [number] * len(near), zorder=3, **near_mark)
    axes.plot(sorted(far), [number] * len(far), zorder=3, **far_mark)
    own = residuals.get((row.loco, row.rail)) if row.state == "standing" else None
    if own is not None:
        axes.plot([own], [number], zorder=2, **fitted)
    return max(half, *(abs(value) for value in values), abs(own or 0.0))


def _name(row: Reduced, units: UnitFormat) -> str:
    state = "" if row.state == "standing" else ", slipping"
    return f"{shortened(plain(f'{row.loco}, {row.rail}{state}'), _NAME_LENGTH)}  {units.force(row.mean)}"
