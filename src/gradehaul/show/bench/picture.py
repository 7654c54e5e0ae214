"""The residuals as a small picture: each reading about its mean, each locomotive about the fitted adhesion if known."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gradehaul.haulage.answers.readings import ReadingsAnswer
from gradehaul.haulage.bench.reduction import Reduced
from gradehaul.show.base.picture import Format, drawing_rules, picture_bytes, plain
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.sheet import FAINT, INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_WIDE, _ROW, _FOOT, _AROUND = 7.2, 0.24, 0.96, 1.99
_DOTS_PER_INCH = 150
_LEAST_REACH = 5.0
_NAME_LENGTH = 40
_METAL, _TYRED = "#1f5fa8", "#b3541e"


def readings_plot(answer: ReadingsAnswer, reader: Reader, form: Format) -> bytes:
    """Return the picture as the content of a file, the same bytes from run to run."""
    with drawing_rules():
        return picture_bytes(readings_figure(answer, reader), form, dots_per_inch=_DOTS_PER_INCH)


def readings_figure(answer: ReadingsAnswer, reader: Reader) -> Figure:
    """Return the picture as a figure; to be called by the `drawing_rules`."""
    from matplotlib.figure import Figure

    rows = answer.bench.rows
    height = _AROUND + _ROW * max(len(rows), 3)
    figure = Figure(figsize=(_WIDE, height), facecolor="white")
    figure.text(
        0.02, 1 - 0.22 / height, plain(answer.plan.title)[:60], fontsize=11, weight="bold", color=INK, va="center"
    )
    residuals = _residuals(answer)
    words = "How far each reading lies from its mean, told at the left"
    words += ", and how far each mean from the fitted adhesion" if residuals else ""
    figure.text(0.02, 1 - 0.46 / height, words, fontsize=8, color=INK, va="center")
    axes = figure.add_axes((0.46, _FOOT / height, 0.51, 1 - (_AROUND - 0.3) / height))
    if not rows:
        axes.set_axis_off()
        axes.text(0.0, 0.5, "No pull was read.", transform=axes.transAxes, fontsize=9, color=INK)
        return figure
    reach = _LEAST_REACH
    for number, row in enumerate(rows):
        reach = max(reach, _draw_row(axes, number, row, residuals))
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xlim(-1.12 * reach, 1.12 * reach)
    axes.set_xlabel("% less or more", fontsize=7.5, color=INK)
    axes.axvline(0.0, color=FAINT, linewidth=0.8, zorder=0)
    axes.set_yticks(range(len(rows)), [_name(row, reader) for row in rows], fontsize=7.5, color=INK)
    axes.tick_params(axis="x", labelsize=7.5, color=FAINT, labelcolor=INK)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color="#e4e4e4", linewidth=0.6)
    axes.set_axisbelow(True)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(FAINT)
    _key(figure, height, fitted=bool(residuals))
    return figure


def _residuals(answer: ReadingsAnswer) -> dict[tuple[str, str], float]:
    """Return how far each locomotive's pull lies from the fitted one, %, by locomotive and rail, where that is known.

    A rail whose locomotives have wheels with and without tyres, and on which the two are not told apart, has no fitted
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
    axes.plot([-half, half], [number, number], color="#b8cbe2", linewidth=5, solid_capstyle="butt", zorder=1)
    far = {100 * (value / row.mean - 1) for value in row.outliers}
    near = [value for value in values if value not in far]
    axes.plot(near, [number] * len(near), "o", color=_METAL, markersize=4, alpha=0.75, markeredgewidth=0, zorder=3)
    axes.plot(sorted(far), [number] * len(far), "x", color="#b00020", markersize=5, markeredgewidth=1.4, zorder=3)
    own = residuals.get((row.loco, row.rail)) if row.state == "standing" else None
    if own is not None:
        axes.plot([own], [number], "D", markerfacecolor="none", markeredgecolor=_TYRED, markersize=6, zorder=2)
    return max(half, *(abs(value) for value in values), abs(own or 0.0))


def _name(row: Reduced, reader: Reader) -> str:
    state = "" if row.state == "standing" else ", slipping"
    name = plain(f"{row.loco}, {row.rail}{state}")
    name = name if len(name) <= _NAME_LENGTH else name[: _NAME_LENGTH - 1] + "…"
    return f"{name}  {reader.force(row.mean)}"


def _key(figure: Figure, height: float, *, fitted: bool) -> None:
    from matplotlib.lines import Line2D

    marks = [
        Line2D([], [], marker="o", color=_METAL, linestyle="", markersize=4, label="a reading"),
        Line2D(
            [],
            [],
            marker="x",
            color="#b00020",
            linestyle="",
            markersize=5,
            label="a reading far out, counted all the same",
        ),
        Line2D([], [], color="#b8cbe2", linewidth=5, label="where the true mean lies, 19 times of 20"),
        Line2D(
            [],
            [],
            marker="D",
            markerfacecolor="none",
            markeredgecolor=_TYRED,
            linestyle="",
            markersize=6,
            label="how far the mean lies from the fitted adhesion",
        ),
    ]
    figure.legend(
        handles=marks if fitted else marks[:-1],
        loc="lower center",
        bbox_to_anchor=(0.5, 0.04 / height),
        ncols=2,
        fontsize=7.2,
        frameon=False,
        handletextpad=0.9,
        columnspacing=1.4,
        labelcolor=INK,
    )
