"""The picture of a plan view: tracks shaded by effective grade, what passes over what, and where trains get stuck."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.haulage.views.track_view import Spot, TrackView
from gradehaul.plan.resolve.stock import CLEAN
from gradehaul.show.base.picture import Format, drawing_rules, picture_bytes
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.sheet import INK, SIZES, SizeName
from gradehaul.show.plan_view.canvas import Canvas, gaps_under, plan_canvas, without
from gradehaul.show.plan_view.film_uses import USES, titles
from gradehaul.show.plan_view.key import draw_key, draw_scale, draw_trains, key_entries, key_rows, train_rows
from gradehaul.show.plan_view.labels import draw_labels
from gradehaul.show.plan_view.shades import SHADES, Run, runs
from gradehaul.show.plan_view.styles import AWAY, AWAY_END, BESIDE, MARKS, STALL, film_styles
from gradehaul.track.piecewise import FloatArray
from gradehaul.treatment.keep_clean import KeepCleanPlan, Use, UsedStretch, used_stretches

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_ARROW_EVERY = 95.0
"""How far apart arrows stand on one climb, points; and the shortest climb with one is a quarter of it."""


def plan_picture(
    view: PlanView, reader: Reader, form: Format, *, size: SizeName = "a4", film: KeepCleanPlan | None = None
) -> bytes:
    """Return the picture as the content of a file, the same bytes from run to run.

    Parameters
    ----------
    view
        What it tells.
    reader
        The units of whoever reads it.
    form
        PNG, SVG or PDF.
    size
        A4 landscape, or the width of a phone.
    film
        The keep-clean plan to show in place of the shades.
    """
    with drawing_rules():
        figure = plan_figure(view, reader, size=size, film=film)
        return picture_bytes(figure, form, dots_per_inch=SIZES[size].dots_per_inch)


def plan_figure(view: PlanView, reader: Reader, *, size: SizeName = "a4", film: KeepCleanPlan | None = None) -> Figure:
    """Return the picture as a figure; to be called by the `drawing_rules`, as is all that is done with it."""
    canvas = plan_canvas(
        view,
        size,
        reader.length_unit,
        lambda own, line: [
            *key_rows(own, key_entries(view, reader, film, roomy=own.roomy), line),
            *train_rows(view, reader, film, line),
        ],
        thickest=SHADES[-1].width,
    )
    sheet = canvas.sheet
    sheet.title(view.plan.title)
    told = f"Plan view: effective grade for a train that climbs, arrows uphill, railheads ({reader.length_unit})"
    shaded = [told, f"Effective grade, uphill, railheads ({reader.length_unit})", "Plan view"]
    sheet.heading("words", shaded if film is None else titles(film, reader), scale=1.0)
    beside = list(_draw_marks(canvas, view))
    gaps = gaps_under(canvas, view)
    styles = film_styles(view)
    for piece in _by_height(view, {} if film is None else used_stretches(film)):
        for start, stop in without(piece.run.start, piece.run.stop, gaps.get(piece.track.id, [])):
            run = piece.run._replace(start=start, stop=stop)
            if piece.use is None:
                _draw_run(canvas, piece.track, run, styles.get(piece.track.rail))
            else:
                _draw_used(canvas, piece.track, run, piece.use)
    arrows: list[complex] = []
    for track in view.tracks.values():
        beside += _draw_arrows(canvas, track, arrows)
    draw_scale(sheet, canvas.dots, reader)
    draw_key(sheet, key_entries(view, reader, film, roomy=sheet.size.roomy))
    draw_trains(sheet, view, reader, film)
    draw_labels(canvas, view, reader, film, beside)
    return sheet.figure


# Track


class _Piece(NamedTuple):
    """A run of a track, and its use where a keep-clean plan tells one."""

    track: TrackView
    run: Run
    use: Use | None


def _by_height(view: PlanView, uses: Mapping[str, tuple[UsedStretch, ...]]) -> Iterator[_Piece]:
    """Yield the runs of all tracks, cut by their uses, the lowest first, so that what lies over another hides it."""
    found: list[tuple[float, _Piece]] = []
    for track in view.tracks.values():
        for run in runs(track):
            height = float(np.interp(0.5 * (run.start + run.stop), track.distance, track.railhead))
            cuts: list[tuple[Use | None, float, float]] = [*uses.get(track.id, ())] or [(None, run.start, run.stop)]
            for use, start, stop in cuts:
                part = run._replace(start=max(run.start, start), stop=min(run.stop, stop))
                if part.start < part.stop:
                    found.append((height, _Piece(track, part, use)))
    for _, piece in sorted(found, key=lambda each: each[0]):
        yield piece


def _draw_run(canvas: Canvas, track: TrackView, run: Run, film: tuple[str, Any] | None) -> None:
    x, y = canvas.xy(track.part(run.start, run.stop)).T
    shade = SHADES[run.shade]
    wide = shade.width * canvas.thin
    ends: dict[str, Any] = {"solid_capstyle": "butt", "dash_capstyle": "butt", "solid_joinstyle": "round"}
    # outlined, so that the palest is seen on white
    canvas.axes.plot(x, y, color="#555555", lw=wide + 0.8, zorder=3, **ends)
    canvas.axes.plot(x, y, color=shade.color, lw=wide, zorder=3, gid=f"track {track.id} {run.shade}", **ends)
    if track.rail != CLEAN and film is not None:
        color, dashes = film
        canvas.axes.plot(x, y, color="white", lw=1.7 * canvas.thin, zorder=3, **ends)
        canvas.axes.plot(x, y, color=color, lw=1.2 * canvas.thin, ls=dashes, zorder=3, gid=f"film {track.id}", **ends)


def _draw_used(canvas: Canvas, track: TrackView, run: Run, use: Use) -> None:
    x, y = canvas.xy(track.part(run.start, run.stop)).T
    for style in USES[use].lines:
        ends: dict[str, Any] = {"solid_capstyle": "butt", "dash_capstyle": "butt", "solid_joinstyle": "round"}
        wide = {**style, "lw": style["lw"] * canvas.thin}
        canvas.axes.plot(x, y, zorder=3, gid=f"{use} {track.id}", **wide, **ends)


def _draw_arrows(canvas: Canvas, track: TrackView, drawn: list[complex]) -> list[FloatArray]:
    """Set arrows uphill along every climb of a track that is long enough on paper, none on one that is drawn.

    Return the outline of each as points on the sheet.
    """
    outlines: list[FloatArray] = []
    edges = np.flatnonzero(np.diff(track.climbs)) + 1
    bounds = [0, *edges.tolist(), track.climbs.size]
    size = canvas.meters(3.4)
    for first, last in pairwise(bounds):
        way = int(track.climbs[first])
        start, stop = float(track.distance[first]), float(track.distance[last])
        if way == 0 or stop - start < canvas.meters(0.25 * _ARROW_EVERY):
            continue
        count = max(1, round((stop - start) / canvas.meters(_ARROW_EVERY)))
        for k in range(count):
            spot = track.spot(start + (k + 0.5) * (stop - start) / count)
            here = complex(spot.x, spot.y)
            if any(abs(here - other) < 4 * size for other in drawn):
                continue
            drawn.append(here)
            along = canvas.heading(spot.heading + (0.0 if way > 0 else math.pi))
            ahead = np.array([math.cos(along), math.sin(along)])
            aside = np.array([-ahead[1], ahead[0]])
            middle = canvas.xy(np.array([[spot.x, spot.y]]))[0]
            corners = [middle + 1.3 * size * ahead, middle - size * ahead + size * aside, middle - 0.4 * size * ahead]
            corners.append(middle - size * ahead - size * aside)
            x, y = np.array(corners).T
            canvas.axes.fill(x, y, facecolor="white", edgecolor=INK, lw=0.8, zorder=5, gid=f"uphill {track.id}")
            outlines.append(canvas.sheet.line_dots(canvas.axes, np.append(x, x[0]), np.append(y, y[0])))
    return outlines


# Trains


def _draw_marks(canvas: Canvas, view: PlanView) -> Iterator[FloatArray]:
    """Draw where trains get stuck: bands behind the track, and marks where each stalls or runs away.

    Yield the course of each band on either side of its track as points on the sheet.
    """
    for kind, style in MARKS.items():
        drawn = {part for train in view.trains for mark in train.marks if mark.kind == kind for part in mark.on}
        for part in sorted(drawn):
            if part.track in view.tracks:
                stretch = _widened(canvas, view.tracks[part.track], part.start, part.stop)
                yield canvas.flanks(stretch, 0.25 * (style.width + BESIDE))
                x, y = canvas.xy(stretch).T
                canvas.axes.plot(x, y, color="white", lw=style.width + 1.5, zorder=2, solid_capstyle="butt")
                canvas.axes.plot(
                    x, y, color=INK, lw=style.width, ls=style.dashes, zorder=2, gid=kind, dash_capstyle="butt",
                    solid_capstyle="butt",
                )  # fmt: skip
                canvas.axes.plot(x, y, color="white", lw=BESIDE, zorder=2, solid_capstyle="butt")
    for train in view.worse:
        if train.stall is not None:
            _draw_spot(canvas, train.stall, STALL, f"stall {train.name}")
        for begin, end in ((each.begins, each.ends) for each in train.runaways):
            if end is not None:
                _draw_spot(canvas, end, AWAY_END, f"runaway ends {train.name}")
            if begin is not None:
                _draw_spot(canvas, begin, AWAY, f"runaway {train.name}")


def _draw_spot(canvas: Canvas, spot: Spot, style: dict[str, Any], gid: str) -> None:
    x, y = canvas.xy(np.array([[spot.x, spot.y]])).T
    canvas.axes.plot(x, y, zorder=7, gid=gid, **style)


def _widened(canvas: Canvas, track: TrackView, start: float, stop: float) -> FloatArray:
    """Return a stretch, made long enough to be seen."""
    least = canvas.meters(2.0)
    if stop - start < least:
        middle = 0.5 * (start + stop)
        start, stop = max(middle - 0.5 * least, 0.0), min(middle + 0.5 * least, track.length)
    return track.part(start, stop)
