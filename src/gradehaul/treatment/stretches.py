"""The keep-clean plan laid on the tracks: the stretches of each track that have one use."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from gradehaul.treatment.keep_clean import KeepCleanPlan, Use


class UsedStretch(NamedTuple):
    """A stretch of a track with one use, between two distances from the start of the track, m."""

    use: Use
    start: float
    stop: float


def used_stretches(found: KeepCleanPlan) -> Mapping[str, tuple[UsedStretch, ...]]:
    """Return the stretches of every track, by its id, in its line's direction; none where no plan can help.

    Units next to one another with the same use are one stretch.

    Examples
    --------
    >>> from gradehaul.haulage.answers.layout import Layout
    >>> from gradehaul.plan import read_plan
    >>> from gradehaul.treatment.keep_clean import Requirements, keep_clean_plan
    >>> layout = Layout(read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead = { Far = 0, Foot = 0, Top = 0.1 }
    ... line.Yard = { from = "Far", to = "Foot", track = [{ straight = 7 }] }
    ... line.Hill = { from = "Foot", to = "Top", track = [{ straight = 4 }] }
    ... loco.tank = { mass = "400 g", length = "200 mm", pull.clean = "80 gf" }
    ... car.ore = { mass = "100 g", length = "140 mm" }
    ... train.up = { route = "Up", consist = ["tank", "8 ore"] }
    ... route.Up = { from = "Far", to = "Top" }
    ... '''))
    >>> used_stretches(keep_clean_plan(layout, Requirements(step=1.0)))["Yard:1"]
    (UsedStretch(use='film', start=0.0, stop=5.0), UsedStretch(use='buffer', start=5.0, stop=7.0))
    """
    stretches: dict[str, list[UsedStretch]] = {}
    for row in found.rows:
        unit = row.unit
        own = stretches.setdefault(unit.track, [])
        if own and own[-1].use == row.use:
            own[-1] = own[-1]._replace(stop=unit.stop)
        else:
            own.append(UsedStretch(row.use, unit.start, unit.stop))
    return {track: tuple(own) for track, own in stretches.items()}
