"""Scatter: how well one more reading of a spring balance is known from the few that were taken."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gradehaul.plan.records import Plan
from gradehaul.quantities import Reading, convert
from gradehaul.quantities.si import Newtons, Ratio

READING_SCATTER = 0.04
"""Scatter of a single reading as a share of it, where too few were taken to show it: a careful hand repeats a pull to
within some 2 to 6 % (assumed)."""

PRIOR_READINGS = 4
"""How many degrees of freedom the assumed scatter counts for, and then the pooled one for each row of readings: few
enough that five readings of one locomotive outweigh it, enough that two that agree by chance do not pass for exact."""


@dataclass(frozen=True, slots=True)
class Scatter:
    """Scatter of a single reading, in the unit of the readings, and the degrees of freedom that it is known with."""

    value: float
    freedom: int


@dataclass(frozen=True, slots=True)
class Pooled:
    """Scatter of all readings of a plan as a share of their means, and the least step that its balances show, N.

    Two readings that agree do not pass for exact:

    >>> pooled = pool([(Reading(0.80), Reading(0.80)), (Reading(0.50), Reading(0.52))])
    >>> round(pooled.share, 4), pooled.freedom
    (0.0346, 6)
    """

    share: Ratio
    freedom: int
    step: Newtons

    def of(self, readings: Sequence[Reading]) -> Scatter:
        """Return the scatter of one row of readings: its own, with the pooled one for what it is too few to show.

        A spread that was written beside a reading counts as written; no scatter is less than what the balance can show,
        a step evenly spread, step / √12.
        """
        mean = sum(reading.value for reading in readings) / len(readings)
        stated = [reading.spread for reading in readings if reading.spread is not None]
        own = sum((reading.value - mean) ** 2 for reading in readings)
        freedom = PRIOR_READINGS + len(readings) - 1
        value = math.sqrt((PRIOR_READINGS * (self.share * mean) ** 2 + own) / freedom)
        if stated:
            value = math.sqrt(sum(spread**2 for spread in stated) / len(stated))
        return Scatter(max(value, self.step / math.sqrt(12)), freedom)


def pool(rows: Iterable[Sequence[Reading]]) -> Pooled:
    """Pool the scatter of rows of readings, each of one locomotive on one rail, as shares of their means.

    s² = (4 s₀² + Σ (x / mean - 1)²) / (4 + Σ (n - 1)), with s₀ the scatter assumed where nothing is known: the usual
    pooled variance, and a prior worth four degrees of freedom (inverse chi-square; any text on Bayesian statistics).
    """
    squares, freedom = PRIOR_READINGS * READING_SCATTER**2, PRIOR_READINGS
    decimals: dict[str, int] = {}
    for readings in rows:
        mean = sum(reading.value for reading in readings) / len(readings)
        squares += sum((reading.value / mean - 1) ** 2 for reading in readings)
        freedom += len(readings) - 1
        for reading in readings:
            if reading.unit is not None:
                decimals[reading.unit] = max(
                    decimals.get(reading.unit, 0), _decimals(convert(reading.value, reading.unit))
                )
    steps = [10.0**-count / convert(1.0, unit) for unit, count in decimals.items()]
    return Pooled(math.sqrt(squares / freedom), freedom, min(steps, default=0.0))


def pooled_of(plan: Plan) -> Pooled:
    """Pool the scatter of all readings of a plan's locomotives, standing and slipping."""
    return pool(
        readings
        for loco in plan.locos.values()
        for table in (loco.pull, loco.slipping)
        for readings in table.values()
        if readings
    )


def _decimals(value: float, most: int = 4) -> int:
    """Return how many decimals a figure was written with.

    >>> _decimals(0.62000000001), _decimals(62.0)
    (2, 0)
    """
    return next((count for count in range(most) if abs(round(value, count) - value) < 1e-7 * max(1.0, value)), most)
