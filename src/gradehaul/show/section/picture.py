"""The picture of a long section: the route from end to end, panel below panel, and a chosen train's pull."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from gradehaul.haulage.views.section import LongSection
from gradehaul.show.base.distance_axis import distance_rows, draw_distance
from gradehaul.show.base.picture import Format, drawing_rules, picture_bytes
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.sheet import SIZES, Row, Sheet, SizeName
from gradehaul.show.section.joints import draw_joints
from gradehaul.show.section.pull import draw_pull, key_row, pull_rows
from gradehaul.show.section.track import draw_track, track_rows

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def long_section_picture(section: LongSection, reader: Reader, form: Format, *, size: SizeName = "a4") -> bytes:
    """Return the picture as the content of a file, the same bytes from run to run.

    Parameters
    ----------
    section
        What it tells.
    reader
        The units of whoever reads it.
    form
        PNG, SVG or PDF.
    size
        A4 landscape, or the width of a phone.
    """
    with drawing_rules():
        figure = long_section_figure(section, reader, size=size)
        return picture_bytes(figure, form, dots_per_inch=SIZES[size].dots_per_inch)


def long_section_figure(section: LongSection, reader: Reader, *, size: SizeName = "a4") -> Figure:
    """Return the picture as a figure; to be called by the `drawing_rules`, as is all that is done with it."""
    sheet = _drawn(section, reader, size)
    return sheet.figure


def _drawn(section: LongSection, reader: Reader, size_name: SizeName) -> Sheet:
    size, haul = SIZES[size_name], section.haul
    if reader.grades == "one-in":  # its marks are longer
        size = replace(size, left=size.left + 0.2)
    line = 1.6 * size.font / 72
    facts = _facts(section, reader, roomy=size.roomy)
    rows = [
        Row("title", 1.35 * line),
        Row("route", 1.05 * line),
        *(Row(f"fact {k}", 0.95 * line) for k in range(len(facts))),
        *track_rows(size, section),
        *([] if haul is None else pull_rows(size, haul)),
        *distance_rows(line),
        *([] if haul is None else [key_row(size)]),
    ]
    sheet = Sheet(size, rows, section.profile.length, reader.length_unit)
    sheet.title(section.plan.title)
    sheet.heading("route", ["Long section of route"], name=section.route.name, scale=1.1)
    for number, fact in enumerate(facts):
        sheet.heading(f"fact {number}", [fact])
    panels = draw_track(sheet, section, reader)
    if haul is not None:
        panels.append(draw_pull(sheet, haul, reader))
    draw_joints(sheet, section, panels)
    draw_distance(sheet, f"Distance from where the {'leg' if section.route.number else 'route'} begins, {sheet.unit}")
    return sheet


def _facts(section: LongSection, reader: Reader, *, roomy: bool) -> list[str]:
    profile, plan = section.profile, section.plan
    length, climb, fall = (reader.length(value) for value in (profile.length, profile.climb, profile.fall))
    named = plan.scale.name
    scale = f"{named}, " if named and not named.startswith("1:") else ""
    facts = [f"{length} long, climbs {climb}, falls {fall}", f"scale {scale}1:{plan.scale.ratio:.4g}"]
    return [", ".join(facts)] if roomy else facts[:1]
