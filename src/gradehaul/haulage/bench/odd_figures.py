"""Odd figures: readings that cannot be, or hardly, and what they might have been meant for."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations
from statistics import fmean

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.bench.benched import Bench
from gradehaul.haulage.bench.cars import SINGLE_SCATTER, rolls_read
from gradehaul.haulage.bench.reduction import FAR_OUT, Reduced
from gradehaul.haulage.resistance import DEGREE_COEFFICIENT
from gradehaul.plan.rail_condition import ages
from gradehaul.plan.records import Note, Plan
from gradehaul.quantities import convert, describe

MOST_ADHESION, LEAST_ADHESION = 0.60, 0.03
"""Standing pull over weight beyond which a reading is more likely a typo (common practice: 20 to 25 % with
metal wheels, up to some 50 % with tyres, half of that on a film)."""

_LIKELY = (0.10, 0.50)
_ROLLS = (0.002, 0.06)
_UNITS = ("N", "gf", "ozf", "mN")


def odd_figures(plan: Plan, bench: Bench) -> tuple[Note, ...]:
    """Return a remark for each figure that cannot be, or that stands out."""
    return (*_of_pulls(plan, bench), *_of_cars(plan, bench), *_contradictions(plan, bench))


def _of_pulls(plan: Plan, bench: Bench) -> Iterator[Note]:
    for row in bench.rows:
        place = f"{row.loco} on {row.rail} rail, {row.state}"
        unit = next((force.unit for taken in row.taken for force in taken.forces if force.unit), "N")
        if row.state == "standing":
            yield from _share_of_weight(plan, row, place, unit)
        if row.outliers:
            far = ", ".join(describe(value, "force", unit) for value in row.outliers)
            yield Note(place, f"{far} lies far from the other readings; it is counted all the same")
        if row.borrowed:
            count = "one reading" if row.count == 1 else "two readings"
            kind = "assumed" if bench.pooled.freedom <= 4 else "that of the other readings"
            yield Note(place, f"{count} only: the scatter is {kind}, {100 * bench.pooled.share:.1f} % of a reading")
    yield from _of_films(plan, bench)


def _share_of_weight(plan: Plan, row: Reduced, place: str, unit: str) -> Iterator[Note]:
    weight = GRAVITY * plan.locos[row.loco].mass
    share = row.mean / weight
    if LEAST_ADHESION <= share <= MOST_ADHESION:
        return
    figure = convert(row.mean, unit)
    meant = [
        f"{figure:.3g} {other} ({100 * value / weight:.0f} %)"
        for other in _UNITS
        if other != unit and _LIKELY[0] <= (value := figure / convert(1.0, other)) / weight <= _LIKELY[1]
    ]
    size = "more" if share > MOST_ADHESION else "less"
    limit = MOST_ADHESION if share > MOST_ADHESION else LEAST_ADHESION
    hint = f"; was {' or '.join(meant)} meant?" if meant else "; is the mass right?"
    pull = describe(row.mean, "force", unit)
    yield Note(place, f"{pull} is {100 * share:.0f} % of its weight, {size} than {100 * limit:.0f} %{hint}")


def _of_films(plan: Plan, bench: Bench) -> Iterator[Note]:
    for loco in plan.locos:
        for film in plan.films:
            settled, fresh = (bench.row(loco, rail) for rail in ages(film))
            if fresh is not None and settled is not None and fresh.low > settled.high:
                yield Note(
                    f"{loco} on {film} rail", "it pulled more fresh than after a rest, but a rest brings pull back"
                )


def _of_cars(plan: Plan, bench: Bench) -> Iterator[Note]:
    for result in bench.cars.values():
        rolling = result.rolling
        if rolling is not None and not _ROLLS[0] <= rolling.value <= _ROLLS[1]:
            yield Note(
                result.car,
                f"its rolling resistance comes out at {100 * rolling.value:.2f} % of its weight, where 0.8 to 3 % is "
                "usual: were all cars of the string counted, and was the track level?",
            )
        tilts = [each for each in plan.book.tilts if each.car == result.car and each.starts and each.rolls]
        steeper = [each for each in tilts if fmean(each.rolls) > fmean(each.starts)]
        for tilt in steeper:
            yield Note(
                tilt.place,
                f"{result.car} rolls on at a steeper tilt than it starts at, which cannot be: are the two swapped?",
            )
        if (
            not steeper
            and rolling is not None
            and result.starting is not None
            and result.starting.value < rolling.value
        ):
            yield Note(
                result.car, "it starts at less than it rolls on at, which cannot be: was the string pulled level?"
            )
    if bench.curve is None:
        return
    found, usual = bench.curve.coefficient.value, DEGREE_COEFFICIENT / plan.scale.ratio
    if found <= 0:
        yield Note(
            "curves", "the strings needed no more on the curve than on the straight, so the coefficient stays as it was"
        )
    elif not usual / 3 <= found <= 3 * usual:
        yield Note(
            "curves", f"the coefficient comes out at {found / usual:.1f} times the usual one: is the radius right?"
        )
    if bench.curve.assumed_rolling:
        yield Note(
            "curves", "no pull on straight track was read for some of these cars: their rolling resistance is assumed"
        )


def _contradictions(plan: Plan, bench: Bench) -> Iterator[Note]:
    """Yield a remark for every two rows of one locomotive, rail, state and age, or of one car's rolling, that differ.

    Rows of readings that scatter by s differ by s √(1/n + 1/m) in their means; beyond 3.5 times that they contradict.
    """
    for row in bench.rows:
        unit = next((force.unit for taken in row.taken for force in taken.forces if force.unit), "N")
        scatter = max(bench.pooled.share * row.mean, bench.pooled.step / math.sqrt(12))
        for one, other in combinations(row.taken, 2):
            first, second = ([force.value for force in taken.forces] for taken in (one, other))
            if one.hours == other.hours and _apart(first, second, scatter):
                means = " and ".join(describe(fmean(values), "force", unit) for values in (first, second))
                yield Note(
                    f"{row.loco} on {row.rail} rail, {row.state}",
                    f"{one.place} and {other.place} contradict each other, {means}: was the rail, the weight or the "
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
