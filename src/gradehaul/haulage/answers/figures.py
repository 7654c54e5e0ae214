"""The figures that an answer rests on, each with where it comes from, and what to measure next."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import ClassVar

from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.answers.check_notes import doubtful_readings
from gradehaul.haulage.answers.judged import TrainAnswer
from gradehaul.haulage.bench.benched import Bench, work_out
from gradehaul.haulage.bench.film_age import EARLY
from gradehaul.haulage.bench.reduction import ENOUGH
from gradehaul.haulage.trust.train import BEND, ROLL
from gradehaul.plan.names import some
from gradehaul.plan.rail_condition import CLEAN, PLANNED, ages, conditions
from gradehaul.plan.records import Basis, Car, Film, Loco, Plan
from gradehaul.quantities import Kind
from gradehaul.track.figures import figures_of

_SI: dict[Kind, str] = {"length": "m", "angle": "rad", "mass": "kg", "force": "N"}


@dataclass(frozen=True, slots=True)
class SourcedFigure:
    """A figure that the answer rests on: whose, which, its value in SI units, and where it comes from."""

    KEYS: ClassVar[str] = "subject name value unit basis"

    subject: str
    name: str
    value: float
    kind: Kind
    basis: Basis

    @property
    def unit(self) -> str:
        """The SI unit of its value, 1 of a plain ratio."""
        return _SI.get(self.kind, "1")


_CURVE_BASIS: dict[str, Basis] = {"degree": "assumed", "wheelbase": "stated", "coefficient": "measured"}


def figures(plan: Plan, coefficient: float) -> tuple[SourcedFigure, ...]:
    """List the figures that the answer rests on, each with where it comes from."""
    return (
        *(
            SourcedFigure(f'line "{line.name}"', figure.name, figure.of(figure.track), figure.kind, "fitted")
            for line in plan.lines.values()
            for figure in figures_of(line)
        ),
        SourcedFigure("curves", "coefficient", coefficient, "length", _CURVE_BASIS[plan.curve_resistance.model]),
        *(figure for loco in plan.locos.values() for figure in _pulls_of(plan, loco)),
        *(
            SourcedFigure(f'power "{power.name}"', "together", power.together, "share", power.basis)
            for power in plan.powers.values()
            if len(power.locos) > 1
        ),
        *(figure for car in plan.cars.values() for figure in _figures_of_car(car)),
        *(figure for film in plan.films.values() for figure in _shares_of(film)),
    )


def _pulls_of(plan: Plan, loco: Loco) -> Iterator[SourcedFigure]:
    subject = f'loco "{loco.name}"'
    for rail in conditions(plan.films):
        stand, slip = Pulls(plan).standing(loco, rail), Pulls(plan).slipping(loco, rail)
        yield SourcedFigure(subject, f"standing pull, {rail}", stand.value, "force", stand.basis)
        yield SourcedFigure(subject, f"slipping pull, {rail}", slip.value, "force", slip.basis)


def _figures_of_car(car: Car) -> Iterator[SourcedFigure]:
    subject = f'car "{car.name}"'
    yield SourcedFigure(subject, "mass", car.mass, "mass", car.mass_basis)
    yield SourcedFigure(subject, "rolling resistance", car.rolling.value, "share", car.rolling_basis)
    yield SourcedFigure(subject, "starting resistance", car.starting.value, "share", car.starting_basis)


def _shares_of(film: Film) -> Iterator[SourcedFigure]:
    subject = f'rail "{film.name}"'
    for wheels, share in (("metal", film.metal), ("tyred", film.tyred)):
        yield SourcedFigure(subject, f"{wheels} share kept, fresh", share.fresh, "share", film.basis)
        yield SourcedFigure(subject, f"{wheels} share kept, rested", share.settled, "share", film.basis)


_MOST, _AGAIN, _MOST_OF_TRAINS = 6, 2, 4
"""Measurements that are advised at the most, and those of them to be taken again, or to make trains more certain."""

_GAIN, _NARROWS = 1e-4, 0.05
"""The least gain in certainty, and the least share of the margin's variance removed, that are worth a measurement."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """Something to measure, and why, empty where the words say it."""

    what: str
    why: str = ""

    def __str__(self) -> str:
        return f"{self.what}: {self.why}" if self.why else self.what


def measurements(
    plan: Plan, taken_in: Plan, judged: Iterable[TrainAnswer], film: Iterable[TrainAnswer], bench: Bench | None = None
) -> Iterator[Measurement]:
    """Yield what to measure next, at most six measurements, the most useful first.

    What was read but is doubtful goes first. `taken_in` is the plan with its readings taken in; `judged` are the named
    trains as they are judged, each at its worst, `film` with each film everywhere; the first go first. `bench` is what
    the readings say, where that is at hand.
    """
    again = doubtful_readings(taken_in, (*plan.locos, *plan.cars))[:_AGAIN]
    yield from (Measurement(f"take {each.place} again", each.text) for each in again)
    best: dict[str, tuple[bool, float, str]] = {}
    for first, trains in ((True, judged), (False, film)):
        for train in trains:
            on = train.rail.replace("fresh", "(fresh)") if train.rail in PLANNED else f"on {train.rail} rail"
            for gain, cause in train.trust.gains:
                useful = gain > _GAIN and cause.narrows > _NARROWS
                if useful and (first, gain) > best.get(cause.measure, (False, 0.0))[:2]:
                    best[cause.measure] = first, gain, f"makes the verdict for {train.name} {on} more certain"
    ranked = sorted(best.items(), key=lambda item: item[1][:2], reverse=True)[:_MOST_OF_TRAINS]
    yield from (Measurement(what, why) for what, (*_, why) in ranked)
    missing = _missing(plan, work_out(plan) if bench is None else bench, dict(ranked))
    yield from islice(missing, _MOST - len(ranked) - len(again))


def _missing(plan: Plan, bench: Bench, guesses: Collection[str]) -> Iterator[Measurement]:
    def advised(name: str, rail: str) -> bool:
        """Return whether the pull of a locomotive on a rail is among what is advised for trains."""
        return any(each.startswith(f"read the pull of {name} on {rail} rail") for each in guesses)

    unread = [name for name in plan.locos if bench.row(name, CLEAN) is None and not advised(name, CLEAN)]
    if unread:
        yield Measurement(f"read the pull of {some(unread, 4)} on clean rail, five times{_each(unread)}")
    clean = bench.fits.get(CLEAN)
    if clean is not None and not clean.apart and len(plan.locos) > 1:
        yield Measurement("measure three locomotives that differ in tires, on clean rail", clean.why)
    if plan.locos:
        yield from _of_films(plan, bench)
    few = [
        f"{row.loco} on {row.rail} rail"
        for row in bench.rows
        if row.counted < ENOUGH and row.state == "standing" and not advised(row.loco, row.rail)
    ]
    if few:
        yield Measurement(f"take five readings{_each(few)}: {some(few, 4)}")
    unrolled = [name for name, car in plan.cars.items() if car.rolling_basis == "assumed" and name not in bench.cars]
    if unrolled and not any(guess.startswith(ROLL) for guess in guesses):
        yield Measurement(
            f"pull a string of {some(unrolled, 4)} along level straight track, or tilt a track until they roll on"
        )
    curved = any(track.curvature for track in plan.tracks.values())
    if (
        curved
        and bench.curve is None
        and plan.curve_resistance.model != "coefficient"
        and plan.cars
        and BEND not in guesses
    ):
        yield Measurement("pull the same string around a curve of known radius")


def _of_films(plan: Plan, bench: Bench) -> Iterator[Measurement]:
    for film in plan.films:
        settled, fresh = ([n for n in plan.locos if bench.row(n, rail)] for rail in ages(film))
        if not (fresh or settled):
            yield Measurement(
                f"wipe the film ({film}) on a spare length of track; read a locomotive with traction tires and one "
                "without, fresh and after a day"
            )
        elif not (fresh and settled):
            yield Measurement(
                f"also read the pulls on {film} rail {'after a day' if fresh else 'on the day you apply the film'}"
            )
        own = [one for one in bench.films if one.film == film]
        if fresh and (late := [one.loco for one in own if one.first_age > EARLY]):
            yield Measurement(f"read the pull of {some(late, 4)} on {film} rail within an hour of wiping it")
        if few := [one.loco for one in own if one.form == "stepwise"]:
            yield Measurement(
                f"read the pull of {some(few, 4)} on {film} rail at three ages or more, to show how it recovers"
            )


def _each(names: list[str]) -> str:
    return " each" if len(names) > 1 else ""
