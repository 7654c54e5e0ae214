"""The outcome of a train on a rail condition: the worst of all that can happen to it there."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, get_args

Outcome = Literal["stalls", "runs away", "too long", "marginal", "climbs"]
"""``stalls``: its locomotives cannot pull it over. ``runs away``: it pushes them down the hill. ``too long``: it does
not fit a berth, tail, loop or lap where it must stand or run. ``marginal``: it gets through only while its wheels never
slip and it never stops where it would not restart. ``climbs``: none of these."""

WORST_FIRST: tuple[Outcome, ...] = get_args(Outcome)

FAILS: frozenset[Outcome] = frozenset(WORST_FIRST[:3])
"""The outcomes of a train that does not get where it should."""


def worst(outcomes: Iterable[Outcome]) -> Outcome:
    """Return the worst of some outcomes; a train to which nothing happens climbs.

    Examples
    --------
    >>> worst(["marginal", "runs away", "climbs"]), worst([])
    ('runs away', 'climbs')
    """
    return min(outcomes, key=WORST_FIRST.index, default="climbs")
