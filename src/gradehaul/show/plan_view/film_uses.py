"""How a plan view shows where the film may go: a pattern for each use of track, and what becomes of trains."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gradehaul.haulage.outcome import WORST_FIRST
from gradehaul.show.base.colors import FILM, INK, PALE_FILM
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import plain_words, short_words
from gradehaul.treatment.keep_clean import KeepCleanPlan, TrainOutcome, Use

USES: Mapping[Use, tuple[dict[str, Any], ...]] = {
    "film": (
        {"color": "#555555", "lw": 5.2},
        {"color": PALE_FILM, "lw": 4.4},
        {"color": FILM, "lw": 1.5, "ls": (0, (2.6, 1.6))},
    ),
    "has film": (
        {"color": "#555555", "lw": 5.2},
        {"color": PALE_FILM, "lw": 4.4},
        {"color": FILM, "lw": 1.7, "ls": (0, (0.9, 0.9))},
    ),
    "keep clean": ({"color": INK, "lw": 5.6},),
    "buffer": (
        {"color": INK, "lw": 5.6},
        {"color": "white", "lw": 4.2},
        {"color": INK, "lw": 4.2, "ls": (0, (0.3, 0.6))},
    ),
    "no effect": ({"color": "#8a8a8a", "lw": 1.8},),
}
"""The lines of each use, each drawn on top of those before. Dashes and dots on pale blue for film, solid black and a
ladder of it for what stays clean, a thin line for the rest: distinct without color, and no color of a grade."""

FORCED_WORDS = "head of a train that would fail here with more film"


def titles(found: KeepCleanPlan) -> list[str]:
    """Return wordings of what the picture shows, the fullest first."""
    if found.beyond:
        names = ", ".join(dict.fromkeys(place.train for place in found.beyond))
        return [f"No plan can help: {names} would not get by even with no more film", "No plan can help"]
    purpose = f"so that every train {'climbs' if found.options.need == 'climbs' else 'gets by while its wheels grip'}"
    return [f'Where film "{found.film}" may go, {purpose}', "Where the film may go"]


def headline(found: KeepCleanPlan) -> str:
    """Return what the picture shows; a train that fails with this plan all the same is named."""
    worst = min(found.trains, key=lambda each: WORST_FIRST.index(each.planned.outcome), default=None)
    if found.beyond or worst is None or worst.planned.outcome == "climbs":
        return titles(found)[0]
    outcome = worst.planned.outcome
    words = plain_words(outcome, worst.planned.verdict, worst.planned.misfits)
    return f"With this plan {worst.name} {'is ' if outcome in ('too long', 'marginal') else ''}{words}"


def depends_on(found: KeepCleanPlan, units: UnitFormat) -> list[str]:
    """Return what the plan depends on and comes to."""
    if found.beyond:
        return []
    carry = units.length(found.carry)
    if not any(row.use == "keep clean" for row in found.rows):
        return ["Nothing must be kept clean: all track may be filmed."]
    if not found.depends_on_carry:
        return [f"No track is left to film: all is needed clean, or lies within {carry} of it, a guess (--carry)."]
    remarks = [f"Holds only as long as wheels carry the film no farther than {carry}, which is a guess."]
    if found.at_risk:
        names = ", ".join(dict.fromkeys(row.unit.name for row in found.at_risk))
        remarks.append(
            f"Wheels will carry film from where it is already onto track that must stay clean: from {names}."
        )
    return remarks


def train_words(train: TrainOutcome, found: KeepCleanPlan, units: UnitFormat) -> str:
    """Return what becomes of a train with the plan, and with film everywhere."""
    planned = "with the film that is there" if found.beyond else "with this plan"
    both = (train.planned, train.everywhere)
    now, then = (short_words(each.outcome, each.verdict, each.misfits, units)[0] for each in both)
    return f"{train.name}, {planned}: {now}; with film everywhere: {then}"
