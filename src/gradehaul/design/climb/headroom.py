"""Headroom under the turns of a helix: whether stock clears the deck above, how much is short, and the cures."""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass
from typing import Literal

from gradehaul.design.climb.given import turns_of
from gradehaul.design.climb.helix import HEADROOM_TIE, Helix, HelixBuild, turn_length
from gradehaul.design.climb.hill import steps_of
from gradehaul.plan.records import Plan
from gradehaul.quantities.si import Meters, Share

_HAIR = 1e-6
"""What is so little under a whole number of steps, in steps, is whole."""
_THINNEST = 0.003
"""A deck thinner than this, m, carries nothing (common practice: the thinnest hardboard)."""
_WIDEST = 2.0
"""Radii are tried up to so many times that of the helix."""


@dataclass(frozen=True, slots=True)
class Headroom:
    """The headroom of a helix, and each single change that would mend it; None where enough is left or none would."""

    outcome: Literal["pass", "fail"]
    """Whether stock on each turn clears the deck above it."""
    short_by: Meters = 0.0
    """How much is short where it is least; 0 where it is enough."""
    least_rise_per_turn: Meters | None = None
    """The least rise per turn that would do with this radius."""
    least_radius: Meters | None = None
    """The least radius that would do with this rise per turn."""
    most_turns: Share | None = None
    """The most turns that would do with this radius and the same rise."""
    thickest_deck: Meters | None = None
    """The thickest deck that would do with all else the same."""


def clears(helix: Helix, stock: Plan) -> bool:
    """Return whether stock on each turn clears the deck above it."""
    return not helix.short_by(helix.vertical(stock))


def headroom_of(helix: Helix, stock: Plan) -> Headroom:
    """Return the headroom of a helix, and what would mend it where it is short."""
    short = helix.short_by(helix.vertical(stock))
    if not short:
        return Headroom("pass")
    build, steps = helix.build, steps_of(stock.unit)
    rise_per_turn = least_rise_per_turn(helix.radius, helix.build, stock)
    turns = None if rise_per_turn is None else turns_of(helix.radius, rise_per_turn, helix.rise, build)
    if turns is not None:
        parts = 2 if build.straight else 100
        turns = math.floor(parts * turns + _HAIR) / parts
        fewer = Helix(helix.radius, turns, helix.rise, build)
        turns = turns if fewer.stacked and clears(fewer, stock) else None
    deck = math.floor((build.deck - short + HEADROOM_TIE) / steps.rise + _HAIR) * steps.rise
    return Headroom(
        "fail", short, rise_per_turn, _least_radius(helix, stock), turns, deck if deck >= _THINNEST else None
    )


def least_rise_per_turn(radius: float, build: HelixBuild, stock: Plan) -> float | None:
    """Return the least rise per turn, m, in whole steps, that leaves the clear height, up to thrice what it takes."""
    step = steps_of(stock.unit).rise
    enough = max(1, round((build.clear + build.structure) / step))
    rises = (count * step for count in range(enough, 3 * enough))
    return next((rise for rise in rises if clears(_stack(radius, rise, build), stock)), None)


def _least_radius(helix: Helix, stock: Plan) -> float | None:
    """Return the least radius, m, in whole steps, that leaves the clear height at a helix's rise per turn."""
    step = steps_of(stock.unit).length
    counts = range(math.floor(helix.radius / step) + 1, math.ceil(_WIDEST * helix.radius / step) + 1)
    found = bisect_left(
        counts, True, key=lambda count: clears(_stack(count * step, helix.rise_per_turn, helix.build), stock)
    )
    return counts[found] * step if found < len(counts) else None


def _stack(radius: float, rise_per_turn: float, build: HelixBuild) -> Helix:
    """Return two turns of a climb as even as that of many."""
    flat = Helix(radius, 2.0, 1.0, build)
    return Helix(radius, 2.0, rise_per_turn * flat.length / turn_length(build, radius), build)
