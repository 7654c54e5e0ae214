"""The bench's answer: pulls and coefficients with their trust, trials against the model, and what to measure next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import ClassVar

from gradehaul.haulage.answers.check_notes import doubtful_readings
from gradehaul.haulage.answers.figures import Measurement, measurements
from gradehaul.haulage.answers.judged import judged_trains, worse_ages
from gradehaul.haulage.answers.layout import Layout, film_rails
from gradehaul.haulage.answers.seen_runs import JudgedTrial, judged_runs, run_notes
from gradehaul.haulage.answers.unusual import curve_notes, stock_notes
from gradehaul.haulage.bench.adhesion_fit import AdhesionFit
from gradehaul.haulage.bench.benched import Bench, with_bench, work_out
from gradehaul.haulage.bench.cars import CarBench
from gradehaul.haulage.trust.random_trials import Predicted, RandomTrials, predictions
from gradehaul.plan.rail_condition import ages
from gradehaul.plan.records import Note, Plan
from gradehaul.quantities.document import AnswerRecord


@dataclass(frozen=True, slots=True)
class ReadingsAnswer(AnswerRecord):
    """All that follows from the readings of a plan."""

    KEYS: ClassVar[str] = (
        "pulls=bench.rows pooled_scatter=bench.pooled.share adhesion predicted=predictions films=bench.films "
        "cars curve=bench.curve trials remarks measure_next"
    )

    plan: Plan
    judged: Plan
    """The plan with its readings taken in, as trains are judged."""
    bench: Bench
    predictions: tuple[Predicted, ...]
    trials: tuple[JudgedTrial, ...]
    remarks: tuple[Note, ...]
    measure_next: tuple[str, ...]

    @property
    def adhesion(self) -> tuple[AdhesionFit, ...]:
        """The adhesion on each rail condition."""
        return tuple(self.bench.fits.values())

    @property
    def cars(self) -> tuple[CarBench, ...]:
        """What the bench says of each kind of car."""
        return tuple(self.bench.cars.values())


def readings(plan: Plan, *, seed: int = 0) -> ReadingsAnswer:
    """Turn the readings of a plan into pulls and coefficients, and say what to measure next."""
    bench = work_out(plan)
    judged_plan = with_bench(plan)
    guesses = tuple(predictions(RandomTrials(judged_plan, bench.coefficient, seed=seed)))
    trials = tuple(judged_runs(plan, seed))
    remarks = _remarks(plan, bench, trials)
    advice = tuple(map(str, _next(plan, bench, seed)))
    return ReadingsAnswer(plan, judged_plan, bench, guesses, trials, remarks, advice)


def odd_readings(plan: Plan) -> tuple[Note, ...]:
    """Return what of the readings of a plan is to be looked at again: figures apart from the others, trials against."""
    if plan.book.empty:
        return ()
    return _remarks(plan, work_out(plan), tuple(judged_runs(plan)))


def _remarks(plan: Plan, bench: Bench, trials: Sequence[JudgedTrial]) -> tuple[Note, ...]:
    judged = with_bench(plan)
    doubts = doubtful_readings(judged, (*plan.locos, *plan.cars), matters=0.0)
    unusual = (*stock_notes(judged, (*plan.locos, *plan.cars)), *curve_notes(judged))
    return *doubts, *_odd_figures(plan, bench), *unusual, *run_notes(plan, trials)


def _next(plan: Plan, bench: Bench, seed: int) -> Iterator[Measurement]:
    """Return what to measure next, first what would narrow the verdicts on the named trains."""
    if not (plan.trains and plan.lines):
        return measurements(plan, with_bench(plan), (), (), bench)
    layout = Layout(plan)
    trials = RandomTrials(layout.plan, layout.coefficient, seed=seed)
    rails = layout.judged()
    film = [rail for rail in film_rails(layout.rails) if rail not in rails]
    judged, treated = (judged_trains(layout, on, trials=trials) for on in (rails, film))
    return measurements(plan, layout.plan, worse_ages(judged), worse_ages(treated), bench)


def _odd_figures(plan: Plan, bench: Bench) -> tuple[Note, ...]:
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
                f"{result.car} rolls on at a steeper tilt than it starts at, which is impossible: are the two swapped?",
            )
        if (
            not steeper
            and rolling is not None
            and result.starting is not None
            and result.starting.value < rolling.value
        ):
            yield Note(
                result.car, "it starts at less than it rolls on at, which is impossible: was the string pulled level?"
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
