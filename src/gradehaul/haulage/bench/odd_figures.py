"""Odd figures: readings that cannot be, or hardly, and what they might have been meant for."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import fmean

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.bench.benched import Bench
from gradehaul.haulage.bench.reduction import Reduced
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
    return (*_of_pulls(plan, bench), *_of_cars(plan, bench))


def _of_pulls(plan: Plan, bench: Bench) -> Iterator[Note]:
    for row in bench.rows:
        place = f"{row.loco} on {row.rail} rail, {row.state}"
        unit = next((force.unit for taken in row.taken for force in taken.forces if force.unit), "N")
        if row.state == "standing":
            yield from _share_of_weight(plan, row, place, unit)
        if row.borrowed:
            count = "one reading" if row.counted == 1 else "two readings"
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
