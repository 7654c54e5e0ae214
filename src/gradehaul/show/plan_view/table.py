"""The tracks of a plan view as a table for a spreadsheet."""

from __future__ import annotations

import math
from collections.abc import Sequence

from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.show.base.digits import rounded
from gradehaul.show.base.spreadsheet import Cell, csv_text
from gradehaul.treatment.keep_clean import KeepCleanPlan, UsedStretch, used_stretches

HEADS = (
    "track",
    "line",
    "berth",
    "from_x_m",
    "from_y_m",
    "from_heading_deg",
    "to_x_m",
    "to_y_m",
    "length_m",
    "hand",
    "radius_m",
    "from_railhead_m",
    "to_railhead_m",
    "grade_pct",
    "effective_pct",
    "effective_back_pct",
    "rail",
)
"""The columns; those of the JSON document where they tell the same."""


def map_csv(view: PlanView, film: KeepCleanPlan | None = None) -> str:
    """Return the tracks of a plan view as CSV (RFC 4180), a row each; a keep-clean plan adds a column ``use``.

    Where stretches of a track have different uses, the column tells each with the places in m where it begins and ends.
    """
    if film is None:
        return csv_text(HEADS, map(track_cells, view.tracks.values()))
    uses = used_stretches(film)
    rows = ((*track_cells(track), _use(uses.get(key, ()))) for key, track in view.tracks.items())
    return csv_text((*HEADS, "use"), rows)


def _use(stretches: Sequence[UsedStretch]) -> str:
    if len(stretches) == 1:
        return stretches[0].use
    return "; ".join(f"{each.use} {rounded(each.start)} to {rounded(each.stop)}" for each in stretches)


def track_cells(track: TrackView) -> tuple[Cell, ...]:
    """Return what is told of a track, in the order of the columns."""
    sharpest = track.sharpest
    onward, back = track.steepest
    return (
        track.name,
        track.line,
        track.berth,
        *(rounded(value) for value in track.xy[0].tolist()),
        rounded(math.degrees(track.start.heading)),
        *(rounded(value) for value in track.xy[-1].tolist()),
        rounded(track.length),
        None if sharpest == 0 else "left" if sharpest > 0 else "right",
        None if sharpest == 0 else rounded(1 / abs(sharpest)),
        rounded(float(track.railhead[0])),
        rounded(float(track.railhead[-1])),
        rounded(100 * track.grade),
        rounded(100 * onward),
        rounded(100 * back),
        track.rail,
    )
