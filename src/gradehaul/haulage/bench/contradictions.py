"""Contradictions: two rows of readings of one thing that lie farther apart than readings scatter."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations
from statistics import fmean

from gradehaul.haulage.bench.benched import Bench
from gradehaul.haulage.bench.cars import SINGLE_SCATTER, rolls_read
from gradehaul.haulage.bench.reduction import FAR_OUT
from gradehaul.plan.records import Note, Plan
from gradehaul.quantities import describe


def contradictions(plan: Plan, bench: Bench) -> Iterator[Note]:
    """Yield a remark for every two rows of one locomotive, rail, state and age, or of one car's rolling, that differ.

    Rows of readings that scatter by s differ by s √(1/n + 1/m) in their means; they are reported beyond 3.5 times that.
    """
    for row in bench.rows:
        unit = next((force.unit for taken in row.taken for force in taken.forces if force.unit), "N")
        scatter = max(bench.pooled.share * row.mean, bench.pooled.step / math.sqrt(12))
        for one, other in combinations(row.taken, 2):
            first, second = ([force.value for force in taken.forces] for taken in (one, other))
            if one.hours == other.hours and _apart(first, second, scatter):
                forces = " and ".join(describe(fmean(values), "force", unit) for values in (first, second))
                yield Note(
                    f"{row.loco} on {row.rail} rail, {row.state}",
                    f"{one.place} and {other.place} contradict each other, {forces}: was the rail, the weight or the "
                    "unit the same?",
                )
    for car, rows in rolls_read(plan).items():
        for (place, values), (other_place, others) in combinations(rows, 2):
            middle = abs(fmean([*values, *others]))
            if _apart(values, others, SINGLE_SCATTER * middle):
                shares = f"{100 * fmean(values):.2f} % and {100 * fmean(others):.2f} % of the weight"
                yield Note(
                    car,
                    f"{place} and {other_place} contradict one another on what it rolls at, {shares}: was the track "
                    "level, and were all cars counted?",
                )


def _apart(one: Sequence[float], other: Sequence[float], scatter: float) -> bool:
    """Return whether the means of two rows lie farther apart than readings of a scatter let them.

    >>> _apart([90.0, 91.0], [60.0], 2.0), _apart([90.0, 91.0], [88.0], 2.0)
    (True, False)
    """
    return abs(fmean(one) - fmean(other)) > FAR_OUT * scatter * math.sqrt(1 / len(one) + 1 / len(other))
