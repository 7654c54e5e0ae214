"""The foot of a sheet with one axis of distance: its marks, and what they measure."""

from __future__ import annotations

from gradehaul.show.base.axis_numbers import numbers
from gradehaul.show.base.sheet import INK, Row, Sheet, Spot


def distance_rows(line: float) -> list[Row]:
    """Return the rows for the distance, of lines of a height, inches."""
    return [Row("distance", line), Row("distance words", 1.1 * line)]


def draw_distance(sheet: Sheet, words: str) -> None:
    """Mark the distance at the foot of the sheet, and say what it is."""
    room = sheet.room("distance")
    wide = room.right - room.left
    for mark, text in zip(sheet.marks, numbers(sheet.marks), strict=True):
        spot = Spot(room.left + wide * mark / sheet.reach[1], 0.5 * (room.bottom + room.top))
        sheet.label(text, [spot], scale=0.92, color="#444444")
    sheet.heading("distance words", [words], color=INK)
