"""Odd figures: readings that cannot be, or hardly, and what they might have been meant for."""

from __future__ import annotations

from collections.abc import Iterator
from statistics import fmean

from gradehaul.haulage.bench.benched import Bench
from gradehaul.plan.rail_condition import ages
from gradehaul.plan.records import Note, Plan


def odd_figures(plan: Plan, bench: Bench) -> tuple[Note, ...]:
    """Return a remark for each figure that cannot be, or that stands out."""
    return (*_of_pulls(plan, bench), *_of_cars(plan, bench))


def _of_pulls(plan: Plan, bench: Bench) -> Iterator[Note]:
    for row in bench.rows:
        place = f"{row.loco} on {row.rail} rail, {row.state}"
        if row.borrowed:
            count = "one reading" if row.counted == 1 else "two readings"
            kind = "assumed" if bench.pooled.freedom <= 4 else "that of the other readings"
            yield Note(place, f"{count} only: the scatter is {kind}, {100 * bench.pooled.share:.1f} % of a reading")
    yield from _of_films(plan, bench)


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
    if bench.curve.coefficient.value <= 0:
        yield Note(
            "curves", "the strings needed no more on the curve than on the straight, so the coefficient stays as it was"
        )
    if bench.curve.assumed_rolling:
        yield Note(
            "curves", "no pull on straight track was read for some of these cars: their rolling resistance is assumed"
        )
