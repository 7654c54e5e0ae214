"""The tracks of a plan view as CSV, for a spreadsheet."""

from __future__ import annotations

from typing import NamedTuple

from gradehaul.haulage.views.plan_view import PlanView
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.quantities import convert
from gradehaul.quantities.document import rounded
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.spreadsheet import table
from gradehaul.treatment.keep_clean import KeepCleanPlan, UsedStretch, used_stretches


class _Used(NamedTuple):
    track: TrackView
    use: str


def map_csv(view: PlanView, film: KeepCleanPlan | None, reader: Reader | None) -> str:
    """Return the tracks of a plan view as CSV (RFC 4180), a row each; a keep-clean plan adds a column ``use``.

    Where stretches of a track have different uses, the column has each with the places where it begins and ends.
    """
    keys = TrackView.KEYS.split()[1:]
    if film is None:
        return table(TrackView, " ".join(keys), view.placed_tracks, reader)
    nested = (f"{key.partition('=')[0].split('.')[-1]}=track.{key.rpartition('=')[2]}" for key in keys)
    uses, unit = used_stretches(film), "m" if reader is None else reader.length_unit
    rows = (_Used(track, _use(uses.get(key, ()), unit)) for key, track in view.tracks.items())
    return table(_Used, f"{' '.join(nested)} use", rows, reader)


def _use(stretches: tuple[UsedStretch, ...], unit: str) -> str:
    if len(stretches) == 1:
        return stretches[0].use
    ends = [[rounded(convert(each, unit)) for each in (part.start, part.stop)] for part in stretches]
    return "; ".join(f"{part.use} {begin} to {end}" for part, (begin, end) in zip(stretches, ends, strict=True))
