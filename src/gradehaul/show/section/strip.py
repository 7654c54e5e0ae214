"""The strip of tracks in a long section picture: a box each, with names and berths."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from gradehaul.haulage.stretches import TrackStretch
from gradehaul.haulage.views.section import LongSection
from gradehaul.quantities import convert
from gradehaul.show.base.sheet import INK, Sheet, Spot

EARTH, PALE_EARTH = "#e4d8c3", "#f3ede2"
"""Below the rail, and every other track of the strip."""

MOST_LABELS = 120
"""Labels of one kind that are tried, the most important first: more than any sheet holds."""


def draw_strip(sheet: Sheet, section: LongSection) -> None:
    """Draw the strip of tracks: a box each, berths hatched, with the names that the builder gave."""
    axes = sheet.panel("tracks", 0.0, 1.0, grid=False)
    for number, track in enumerate(section.tracks):
        start, stop = (convert(place, sheet.unit) for place in (track.start, track.stop))
        axes.add_patch(
            Rectangle(
                (start, 0.5),
                stop - start,
                0.46,
                facecolor="white" if track.berth else PALE_EARTH if number % 2 else EARTH,
                edgecolor="#b8b8b8" if track.berth else "none",
                hatch="/////" if track.berth else None,
                lw=0.0,
                zorder=2,
            )
        )
        axes.plot([start, start], [0.5, 0.96], color=INK, lw=0.6, zorder=3)
    axes.plot([0.0, sheet.reach[1], sheet.reach[1], 0.0], [0.5, 0.5, 0.96, 0.96], color=INK, lw=0.6, zorder=3)
    for _, name, start, stop in sorted(_names(section.tracks), key=lambda told: (told[0], told[2] - told[3]))[
        :MOST_LABELS
    ]:
        _tell_track(sheet, axes, name, convert(start, sheet.unit), convert(stop, sheet.unit))


def _names(tracks: Sequence[TrackStretch]) -> Iterator[tuple[int, str, float, float]]:
    """Yield importance, name and ends of each berth, of each named track outside, and of each line without either."""
    for berth, group in groupby(tracks, key=lambda track: track.berth):
        run = list(group)
        if berth is not None:
            yield 0, berth, run[0].start, run[-1].stop
            continue
        yield from ((1, track.name, track.start, track.stop) for track in run if track.named)
        for line, part in groupby(run, key=lambda track: track.line):
            of_line = list(part)
            if not any(track.named for track in of_line):
                yield 2, line, of_line[0].start, of_line[-1].stop


def _tell_track(sheet: Sheet, axes: Axes, name: str, start: float, stop: float) -> None:
    """Write a name in its box if it fits there, else below it with a line to the box."""
    left, inside = sheet.dots(axes, start, 0.73)
    right, below = sheet.dots(axes, stop, 0.2)
    middle = 0.5 * (left + right)
    scale = 0.9
    wide, _ = sheet.extent(name, scale=scale)
    if wide < right - left - 4 and sheet.label(name, [Spot(middle, inside)], backed=True, scale=scale):
        return
    edge = sheet.sheet
    for text in (name, sheet.fitted(name, 10 * sheet.dots_per_em, scale=scale)):
        wide, _ = sheet.extent(text, scale=scale)
        pulled_in = min(max(middle, edge.left + 0.5 * wide), edge.right - 0.5 * wide)
        spots = [Spot(x, below) for x in (pulled_in, middle + 0.35 * wide, middle - 0.35 * wide)]
        placed = sheet.label(text, spots, scale=scale)
        if placed is not None:
            sheet.lead((middle, sheet.dots(axes, start, 0.5)[1]), (middle, placed[1].top))
            return
