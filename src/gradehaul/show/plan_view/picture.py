"""The picture of a plan view: tracks by effective grade, what passes over what, and where trains get stuck."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from matplotlib.artist import Artist
from matplotlib.lines import Line2D

from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.show import film as film_text
from gradehaul.show.base.labels import FILM_CAUTION, USE_MEANINGS, WOULD
from gradehaul.show.base.page import words_of
from gradehaul.show.base.paper import SizeName
from gradehaul.show.base.picture import FAINT, INK, as_picture
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.plan_view.canvas import Canvas, gaps_under, without
from gradehaul.show.plan_view.labels import LOOKS, Mark, draw_labels, draw_marks
from gradehaul.show.plan_view.styles import (
    BESIDE,
    MARKS,
    SHADES,
    USES,
    Run,
    film_styles,
    runs,
    shade_words,
)
from gradehaul.show.plan_view.text import headline, verdict_row
from gradehaul.track.piecewise import FloatArray
from gradehaul.treatment.keep_clean import KeepCleanPlan, Use, UsedStretch, used_stretches

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_ARROW_EVERY = 95.0
"""How far apart arrows stand on one climb, points; and the shortest climb with one is a quarter of it."""

_MOST_ROWS = 12
"""Trains that climb are counted in one row where there would be more rows than this."""

_APART: Mapping[str, Any] = {"color": FAINT, "lw": 0.8, "ls": (0, (4, 3))}
"""The frame around track whose place is not known."""


def plan_figure(
    view: PlanView, units: UnitFormat, *, size: SizeName = "a4", film: KeepCleanPlan | None = None
) -> Figure:
    """Return the picture as a figure; to be called by the `drawing_rules`, as is all that is done with it."""
    marks, rows = _marks_and_rows(view, units, film)
    title = film_text.headline(film) if film is not None else headline(view, units)
    words = [f"{view.plan.title}: railheads in {units.lengths}; arrows point uphill"]
    if film is None:
        words[0] += ", shading is the effective grade for a train that climbs"
    else:
        words += [*("".join(map(words_of, line)) for line in film_text.depends_on(film, units)), FILM_CAUTION]
    canvas = Canvas(
        view,
        size,
        units.length_unit,
        title,
        [*words, *(f"NOT PLACED: {note.text}" for note in view.notes if note.text.startswith("left out"))],
        notes=[*rows, *(note.text for note in view.notes if not note.text.startswith("left out"))],
        key=_key(view, units, film, {mark.kind for mark in marks}),
    )
    beside = list(_draw_bands(canvas, view))
    gaps = gaps_under(canvas, view)
    styles = film_styles(view)
    for piece in _by_height(view, {} if film is None else used_stretches(film)):
        for start, stop in without(piece.run.start, piece.run.stop, gaps.get(piece.track.id, [])):
            run = piece.run._replace(start=start, stop=stop)
            _draw(canvas, piece, run, styles.get(piece.track.rail))
    arrows = [complex(mark.x, mark.y) for mark in marks]
    for track in view.tracks.values():
        beside += _draw_arrows(canvas, track, arrows)
    draw_marks(canvas, marks)
    beside += _frame_pieces(canvas, view)
    draw_labels(canvas, view, units, beside)
    return canvas.paper.figure


plan_picture = as_picture(plan_figure)


def _marks_and_rows(view: PlanView, units: UnitFormat, film: KeepCleanPlan | None) -> tuple[list[Mark], list[str]]:
    """Return the numbered marks, and the rows that say what they and all other trains mean; none that fails is cut."""
    marks: list[Mark] = []
    rows: list[str] = []
    for train in view.worse:
        own = [("stall", train.stall)]
        own += [
            (kind, spot)
            for each in train.runaways
            for kind, spot in (("runaway", each.begins), ("runaway ends", each.ends))
        ]
        met = [(kind, spot) for kind, spot in own if spot is not None]
        number = 1 + max((each for mark in marks for each in mark.numbers), default=0)
        marks += [Mark(kind, spot.x, spot.y, (number,)) for kind, spot in met]
        row = verdict_row(train, view, units)
        rows.append(f"{number}: {row}" if met else row)
    more = [each for each, train in zip(rows, view.worse, strict=True) if train.outcome == "climbs"]
    if len(rows) > _MOST_ROWS and len(more) > 1:
        rows = [*(each for each in rows if each not in more), f"{len(more)} more rows: trains that climb"]
    if film is not None:
        for forced in sorted(film.hardest, key=lambda each: -each.short):
            if forced.on.track in view.tracks:
                spot = view.tracks[forced.on.track].spot(forced.on.along)
                number = 1 + max((each for mark in marks for each in mark.numbers), default=0)
                marks.append(Mark("forced", spot.x, spot.y, (number,)))
                rows.append(f"{number}: {forced.train} {WOULD[forced.test]} here with more film")
        rows = [*(film_text.train_words(train, film, units) for train in film.trains), *rows]
    return marks, rows


def _key(
    view: PlanView, units: UnitFormat, film: KeepCleanPlan | None, kinds: set[str]
) -> dict[str, Artist | tuple[Artist, ...]]:
    """Return what shades, dashes, bands and marks mean, of those that are drawn; or the uses of a keep-clean plan."""

    def sample(*styles: dict[str, Any]) -> tuple[Line2D, ...]:
        return tuple(Line2D([], [], solid_capstyle="butt", dash_capstyle="butt", **style) for style in styles)

    uses = {} if film is None else used_stretches(film)
    drawn = {stretch.use for track in view.tracks for stretch in uses.get(track, ())}
    key: dict[str, Artist | tuple[Artist, ...]] = {
        USE_MEANINGS[use]: sample(*lines) for use, lines in USES.items() if use in drawn
    }
    if not uses:
        for number in sorted({run.shade for track in view.tracks.values() for run in runs(track)}):
            shade = SHADES[number]
            lines = {"color": "#555555", "lw": shade.width + 0.9}, {"color": shade.color, "lw": shade.width}
            key[shade_words(number, units)] = sample(*lines)
        for rail, (color, dashes) in film_styles(view).items():
            key[f"{rail} rail"] = sample({"color": color, "lw": 1.2, "ls": dashes})
    bands = {mark.kind for train in view.trains for mark in train.marks}
    for kind, style in MARKS.items():
        if kind in bands:
            band = {"color": INK, "lw": 0.8 * style.width, "ls": style.dashes}  # so that samples stay apart
            key[f"head {style.words}"] = sample(band, {"color": "white", "lw": 0.8 * BESIDE})
    if view.frames > 1 or view.unplaced:
        key["its place is not known"] = Line2D([], [], **_APART)
    return key | {look.words: look.sample() for kind, look in LOOKS.items() if kind in kinds}


def _frame_pieces(canvas: Canvas, view: PlanView) -> Iterator[FloatArray]:
    """Frame each piece of track whose place is not known, so that it is not taken for placed; track that misses too.

    Yield what is drawn as points on the sheet.
    """
    for track in view.unplaced:
        canvas.axes.plot(*canvas.xy(track.xy).T, color=FAINT, lw=1.2, ls=(0, (3, 2)), gid=f"unplaced {track.id}")
        yield canvas.course(track.xy)
    main = _main_frame(view)
    pieces: dict[int, list[FloatArray]] = {}
    for track in (*view.tracks.values(), *view.unplaced):
        if track.frame != main:
            pieces.setdefault(track.frame, []).append(canvas.course(track.xy))
    for courses in pieces.values():
        pad, course = 1.2 * canvas.paper.dots_per_line, np.concatenate(courses)
        (left, low), (right, high) = course.min(axis=0) - pad, course.max(axis=0) + pad
        x, y = [left, right, right, left, left], [low, low, high, high, low]
        canvas.paper.line(x, y, gid="not placed", **_APART)
        along = np.linspace(0.0, 4.0, 400)
        yield np.column_stack([np.interp(along, range(5), x), np.interp(along, range(5), y)])


def _main_frame(view: PlanView) -> int:
    length: dict[int, float] = {}
    for track in view.tracks.values():
        length[track.frame] = length.get(track.frame, 0.0) + track.length
    return max(length, key=lambda frame: (length[frame], -frame))


# Track


class _Piece(NamedTuple):
    """A run of a track, and its use where a keep-clean plan has one."""

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


def _draw(canvas: Canvas, piece: _Piece, run: Run, film: tuple[str, Any] | None) -> None:
    """Draw a run of a piece: by its use where it has one, else by its grade and the film on it."""
    track, shade, thin = piece.track, SHADES[run.shade], canvas.thin
    lines: list[dict[str, Any]]
    if piece.use is not None:
        lines = [{**line, "lw": line["lw"] * thin, "gid": f"{piece.use} {track.id}"} for line in USES[piece.use]]
    else:
        lines = [
            {"color": "#555555", "lw": shade.width * thin + 0.8},  # so that the palest is seen on white
            {"color": shade.color, "lw": shade.width * thin, "gid": f"track {track.id} {run.shade}"},
        ]
        if track.rail != CLEAN and film is not None:
            color, dashes = film
            lines.append({"color": "white", "lw": 1.7 * thin})
            lines.append({"color": color, "lw": 1.2 * thin, "ls": dashes, "gid": f"film {track.id}"})
    x, y = canvas.xy(track.part(run.start, run.stop)).T
    for style in lines:
        canvas.axes.plot(x, y, zorder=3, solid_capstyle="butt", dash_capstyle="butt", solid_joinstyle="round", **style)


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
            outlines.append(canvas.course(np.array([*corners, corners[0]]), turned=True))
    return outlines


# Trains


def _draw_bands(canvas: Canvas, view: PlanView) -> Iterator[FloatArray]:
    """Draw where trains get stuck as bands behind the track; where several fall on one place, the worst.

    Yield the course of each band on either side of its track as points on the sheet.
    """
    taken: dict[str, list[tuple[float, float]]] = {}
    for kind, style in MARKS.items():
        parts = sorted({part for train in view.trains for mark in train.marks if mark.kind == kind for part in mark.on})
        for part in parts:
            if part.track not in view.tracks:
                continue
            for start, stop in without(part.start, max(part.stop, part.start + 1e-9), taken.get(part.track, [])):
                stretch = _widened(canvas, view.tracks[part.track], start, stop)
                yield canvas.flanks(stretch, 0.25 * (style.width + BESIDE))
                x, y = canvas.xy(stretch).T
                canvas.axes.plot(x, y, color="white", lw=style.width + 1.5, zorder=2, solid_capstyle="butt")
                canvas.axes.plot(
                    x, y, color=INK, lw=style.width, ls=style.dashes, zorder=2, gid=kind, dash_capstyle="butt",
                    solid_capstyle="butt",
                )  # fmt: skip
                canvas.axes.plot(x, y, color="white", lw=BESIDE, zorder=2, solid_capstyle="butt")
        for part in parts:
            taken.setdefault(part.track, []).append((part.start, part.stop))


def _widened(canvas: Canvas, track: TrackView, start: float, stop: float) -> FloatArray:
    """Return a stretch, made long enough to be seen."""
    least = canvas.meters(2.0)
    if stop - start < least:
        middle = 0.5 * (start + stop)
        start, stop = max(middle - 0.5 * least, 0.0), min(middle + 0.5 * least, track.length)
    return track.part(start, stop)
