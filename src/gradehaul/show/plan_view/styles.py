"""How rail conditions and what becomes of trains are drawn on a plan view: by dashes as well as by color."""

from __future__ import annotations

from itertools import cycle
from typing import Any, NamedTuple

from gradehaul.haulage.views.plan_view import MarkKind, PlanView
from gradehaul.plan.resolve.stock import CLEAN
from gradehaul.show.base.sheet import INK


class MarkStyle(NamedTuple):
    """The band behind a track: its width, points, its dashes, and what it means."""

    width: float
    dashes: Any
    words: str


MARKS: dict[MarkKind, MarkStyle] = {
    "no recovery": MarkStyle(12.0, (0, (0.12, 0.5)), "would not recover from a slip"),
    "no stopping": MarkStyle(12.0, (0, (0.12, 0.16)), "must not stop"),
    "runs away": MarkStyle(9.6, (0, (1.0, 0.35)), "runs away"),
    "stalls": MarkStyle(9.6, "-", "stalls"),
}
"""Sparse ticks, dense ticks, long dashes, and a solid band."""

STALL: dict[str, Any] = {"marker": "X", "ms": 9, "mfc": INK, "mec": "white", "mew": 1.0, "ls": ""}
AWAY: dict[str, Any] = {"marker": "s", "ms": 8, "mfc": INK, "mec": "white", "mew": 1.0, "ls": ""}
AWAY_END: dict[str, Any] = {"marker": "s", "ms": 6.5, "mfc": "white", "mec": INK, "mew": 1.2, "ls": ""}
"""The places where a train stalls first, where it begins to run away, and where it holds back again."""

_FILMS: tuple[tuple[str, Any], ...] = (
    ("#0057a8", (0, (2.6, 1.6))),
    ("#00664d", (0, (1.0, 1.3))),
    ("#8a2f6b", (0, (6.0, 1.6, 1.2, 1.6))),
    ("#000000", (0, (8.0, 2.4))),
)

BESIDE = 6.8
"""The width left white between a band and the track on it, points."""

FilmStyles = dict[str, tuple[str, Any]]


def film_styles(view: PlanView) -> FilmStyles:
    """Return the color and dashes of each condition other than clean that the plan asks for on some track."""
    planned = dict.fromkeys(track.rail for track in view.tracks.values() if track.rail != CLEAN)
    return dict(zip(planned, cycle(_FILMS), strict=False))
