"""A climb in plan for the bench: its track, centers and radii of its curves, and where risers stand."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from gradehaul.design.risers.walk import Walk
from gradehaul.show.base.colors import INK
from gradehaul.show.base.reading_units import Reader

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_POINTS = 1500
"""Points by which a track is drawn."""
_SAME = 1e-4
"""Centers nearer than this, m, are one."""


def draw_plan(
    figure: Figure,
    box: tuple[float, float, float, float],
    walk: Walk,
    risers: Mapping[float, str],
    edges: tuple[float, float],
    reader: Reader,
    *,
    second: tuple[Walk, float] | None = None,
) -> Axes:
    """Draw climbs in plan into a box of a figure, all to one scale.

    Parameters
    ----------
    figure, box
        The figure, and the left, bottom, width and height of the box as shares of it.
    walk
        The climb.
    risers
        Where risers stand along it, m, and their labels.
    edges
        How far the deck reaches to the left and to the right of the track, m.
    reader
        The units of whoever reads it.
    second
        A second track, which starts so far to the left of the first, m.
    """
    axes = figure.add_axes(box)
    axes.set_aspect("equal")
    axes.set_axis_off()
    places, headings, _ = walk.places(np.linspace(0.0, walk.length, _POINTS))
    tracks = [places]
    if second is not None:
        other, left = second
        own = other.places(np.linspace(0.0, other.length, _POINTS))[0]
        tracks.append(own - own[0] + places[0] + left * 1j * np.exp(1j * headings[0]))
    for line in tracks:
        axes.plot(line.real, line.imag, color=INK, lw=1.1, zorder=3, gid="track")
    for off in edges[0], -edges[1]:
        edge = places + off * 1j * np.exp(1j * headings)
        axes.plot(edge.real, edge.imag, color="#8a8a8a", lw=0.6, ls=(0, (4, 2)), zorder=2, gid="edge")
    for place, label in risers.items():
        (spot,), (heading,), _ = walk.places(place)
        side = 1j * np.exp(1j * heading)
        ends = spot + side * np.array([edges[0], -edges[1]])
        axes.plot(ends.real, ends.imag, color="#8a6d3b", lw=2.2, zorder=4, gid="riser")
        out = spot - side * (edges[1] + 0.03 * _span(places))
        axes.text(out.real, out.imag, label, fontsize=8, ha="center", va="center", color=INK, weight="bold")
    _draw_centers(axes, walk, reader)
    axes.margins(0.07)
    return axes


def _span(places: NDArray[np.complex128]) -> float:
    return float(max(np.ptp(places.real), np.ptp(places.imag)))


def _draw_centers(axes: Axes, walk: Walk, reader: Reader) -> None:
    """Mark the center of each curve, with its radius along a thin line to the track."""
    drawn: list[complex] = []
    begin = 0.0
    for section in walk.sections:
        if section.first == section.last and abs(section.first) > 1e-9:
            middle = begin + min(0.5 * section.length, 0.4 / abs(section.first))
            (spot,), (heading,), (curvature,) = walk.places(middle)
            center = complex(spot + 1j * np.exp(1j * heading) / curvature)
            if all(abs(center - other) > _SAME for other in drawn):
                drawn.append(center)
                axes.plot(center.real, center.imag, marker="+", ms=11, color="#0057a8", zorder=5, gid="center")
                axes.plot([center.real, spot.real], [center.imag, spot.imag], color="#0057a8", lw=0.7, zorder=1)
                half = 0.5 * (center + spot)
                words = f"R {reader.length(1 / abs(curvature), fine=True)}"
                box = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
                axes.text(half.real, half.imag, words, fontsize=8, ha="center", va="center", color="#0057a8", bbox=box)
        begin += section.length


def dimension(axes: Axes, at: float, low: float, high: float, words: str, *, right: bool) -> None:
    """Draw an upright dimension line with arrows, and its words to its right or its left."""
    arrow = {"arrowstyle": "<->", "color": "#0057a8", "lw": 0.8, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (at, low), (at, high), arrowprops=arrow)
    side = "left" if right else "right"
    axes.text(at, 0.5 * (low + high), f" {words} ", fontsize=7.5, va="center", ha=side, color="#0057a8")
