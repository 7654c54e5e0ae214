"""By how much closed figures of lines miss closing, in words, and what would close them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from gradehaul.plan.records import Note, Plan
from gradehaul.quantities import convert, describe
from gradehaul.track.curvature import Section
from gradehaul.track.map.closing_faults import closes, likely_faults
from gradehaul.track.map.positions import ClosureError, Positions

_NAMED_LINES = 8
"""Lines of a figure that a note names."""
_DRAWN = (0.1, math.radians(2))
"""Lines of a drawing that miss one another by less than this share of the gauge and this angle, rad, get no note."""


def closure_notes(
    plan: Plan, positions: Positions, curvature: Mapping[str, Sequence[Section]] | None = None
) -> list[Note]:
    """Say by how much each figure misses closing; those that close as well as track is laid get no note.

    With the sections of every track, by its id, also the change of one track that alone would close it.
    """
    notes = []
    faults = likely_faults(plan, positions, curvature) if curvature is not None else {}
    for closure in positions.closures:
        if closes(closure) or _as_drawn(plan, closure):
            continue
        text = f"{_verb(closure)} by {misclosure(plan, closure)}"
        share = describe(_rounded(closure.share), "share", "%")
        text += f" over {describe(closure.length, 'length', plan.unit)} ({share})"
        if closure.joint:
            text += f", at joint {closure.joint}"
        if words := faults.get(closure):
            text += f"; {' or '.join(words)} would close it"
        notes.append(Note(figure_name(closure), text))
    return notes


def misclosure(plan: Plan, closure: ClosureError) -> str:
    """Return by how much a figure misses closing, in the plan's unit and in degrees."""
    text = _two_digits(closure.distance, plan.unit)
    if closure.angle is not None:
        degrees = describe(math.radians(_rounded(math.degrees(abs(closure.angle)))), "angle", "deg")
        text += f" and {degrees.removesuffix(' deg')}°"
    return text


def figure_misses(closure: ClosureError) -> str:
    """Return the words that a figure misses closing.

    Examples
    --------
    >>> figure_misses(ClosureError(("Main", "Loop"), 0, 0.1, 0.0, 4.0))
    'loop Main, Loop misses closing'
    """
    return f"{figure_name(closure)} {_verb(closure)}"


def _verb(closure: ClosureError) -> str:
    return "miss one another" if closure.stated else "misses closing"


def _as_drawn(plan: Plan, closure: ClosureError) -> bool:
    distance, angle = _DRAWN
    return closure.stated and closure.distance < distance * plan.scale.gauge and abs(closure.angle or 0.0) < angle


def figure_name(closure: ClosureError) -> str:
    """Return the words that name a figure by its lines: a loop, or lines whose places are stated.

    Examples
    --------
    >>> figure_name(ClosureError(("Main", "Loop"), 0, 0.0, 0.0, 4.0))
    'loop Main, Loop'
    """
    rest = len(closure.lines) - _NAMED_LINES
    more = f" and {rest} more" if rest > 0 else ""
    kind = "lines" if closure.stated else "loop"
    return f"{kind} {', '.join(closure.lines[:_NAMED_LINES])}{more}"


def _rounded(value: float) -> float:
    """Return a value to two digits that count: a misclosure is never known better."""
    return float(f"{value:.2g}") if value >= 1e-6 else 0.0


def _two_digits(length: float, unit: str) -> str:
    told = convert(length, unit)
    return describe(length * _rounded(told) / told if told else 0.0, "length", unit)
