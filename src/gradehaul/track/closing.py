"""By how much closed figures of lines miss closing, in words."""

from __future__ import annotations

import math

from gradehaul.plan.records import Note, Plan
from gradehaul.quantities import convert, describe
from gradehaul.track.positions import ClosureError, Positions

PERFECT = (1e-4, math.radians(0.01))
"""Misclosures below this distance, m, and angle, rad, are not worth a note: no builder lays track closer."""


_NAMED_LINES = 8
"""Lines of a figure that a note names."""


def closure_notes(plan: Plan, positions: Positions) -> list[Note]:
    """Tell by how much each closed figure misses closing; those that close as well as track is laid get no note."""
    notes = []
    for closure in positions.closures:
        distance, angle = closure.distance, abs(closure.angle or 0.0)
        if distance < PERFECT[0] and angle < PERFECT[1]:
            continue
        text = f"closes to {_two_digits(distance, plan.unit)}"
        if closure.angle is not None:
            degrees = describe(math.radians(_rounded(math.degrees(angle))), "angle", "deg")
            text += f" and {degrees.removesuffix(' deg')}°"
        share = describe(_rounded(closure.share), "share", "%")
        text += f" over {describe(closure.length, 'length', plan.unit)} ({share})"
        notes.append(Note(figure_name(closure), text))
    return notes


def figure_name(closure: ClosureError) -> str:
    """Return the words that name a figure by its lines.

    Examples
    --------
    >>> figure_name(ClosureError(("Main", "Loop"), 0, 0.0, 0.0, 4.0))
    'figure Main, Loop'
    """
    rest = len(closure.lines) - _NAMED_LINES
    more = f" and {rest} more" if rest > 0 else ""
    return f"figure {', '.join(closure.lines[:_NAMED_LINES])}{more}"


def _rounded(value: float) -> float:
    """Return a value to two digits that count: a misclosure is never known better."""
    return float(f"{value:.2g}") if value >= 1e-6 else 0.0


def _two_digits(length: float, unit: str) -> str:
    told = convert(length, unit)
    return describe(length * _rounded(told) / told if told else 0.0, "length", unit)
