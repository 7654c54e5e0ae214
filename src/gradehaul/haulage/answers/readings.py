"""The bench's answer: pulls and coefficients with their trust, trials against the model, and what to measure next."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar

from gradehaul.haulage.answers.check_notes import doubtful_readings, pull_notes
from gradehaul.haulage.answers.figures import Measurement, measurements
from gradehaul.haulage.answers.judged import judged_trains, worse_ages, worst_of_each
from gradehaul.haulage.answers.layout import Layout, film_rails
from gradehaul.haulage.bench.adhesion_fit import AdhesionFit
from gradehaul.haulage.bench.benched import Bench, with_bench, work_out
from gradehaul.haulage.bench.cars import CarBench
from gradehaul.haulage.bench.odd_figures import odd_figures
from gradehaul.haulage.train import made_up
from gradehaul.haulage.trust.random_trials import Predicted, RandomTrials, predictions
from gradehaul.haulage.trust.train import trust_in_train
from gradehaul.haulage.verdict import Climb, judge
from gradehaul.plan.bench_records import TrialRun
from gradehaul.plan.rail_condition import RailCondition
from gradehaul.plan.records import NamedTrain, Note, Plan
from gradehaul.quantities.document import AnswerRecord
from gradehaul.quantities.si import Newtons, Share

DISAGREES = 0.05
"""Chance of what was seen, by the model, under which the two are said to disagree."""


@dataclass(frozen=True, slots=True)
class JudgedTrial:
    """A trial against the model.

    `demand` is that of the train at the place where it has least to spare: one that stalled says that its locomotives
    pull less there, one that climbed that they pull as much. `pull` is theirs by the model.
    """

    KEYS: ClassVar[str] = (
        "trial.place trial.route train trial.rail trial.hours trial.outcome model=outcome asks=demand gives=pull "
        "stall_probability agrees"
    )

    trial: TrialRun
    locos: str
    train: str
    outcome: Climb
    demand: Newtons
    pull: Newtons
    stall_probability: Share

    @property
    def chance(self) -> Share:
        """How likely the model held what was seen."""
        return self.stall_probability if self.trial.outcome == "stalls" else 1 - self.stall_probability

    @property
    def agrees(self) -> bool:
        """Whether the model allows for what was seen."""
        return self.chance >= DISAGREES


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
    trials = tuple(_trials(plan, seed))
    remarks = _remarks(plan, bench, trials)
    advice = tuple(map(str, _next(plan, bench, seed)))
    return ReadingsAnswer(plan, judged_plan, bench, guesses, trials, remarks, advice)


def odd_readings(plan: Plan, *, seed: int = 0) -> tuple[Note, ...]:
    """Return what of the readings of a plan is to be looked at again: figures apart from the others, trials against."""
    if plan.book.empty:
        return ()
    return _remarks(plan, work_out(plan), tuple(_trials(plan, seed)))


def _remarks(plan: Plan, bench: Bench, trials: Sequence[JudgedTrial]) -> tuple[Note, ...]:
    judged = with_bench(plan)
    doubts = doubtful_readings(judged, (*plan.locos, *plan.cars), matters=0.0)
    return *doubts, *odd_figures(plan, bench), *pull_notes(judged), *_against(plan, trials)


def _against(plan: Plan, trials: Sequence[JudgedTrial]) -> Iterator[Note]:
    """Yield notes on trials that were not judged, contradict one another, or happen too seldom by the model."""
    judged = {answer.trial.place for answer in trials}
    for trial in plan.book.trials:
        if trial.place not in judged:
            yield Note(trial.place, "not judged, since its route is not among those that can be answered")
    yield from _crossed(trials)
    for answer in trials:
        if not answer.agrees:
            yield Note(
                answer.trial.place,
                f"it {answer.trial.outcome}, but by the model it does so in at most "
                f"{max(1, math.ceil(1000 * answer.chance)) / 10} % of random trials: a reading, a grade or a mass is "
                "not as in the plan",
            )


def _trials(plan: Plan, seed: int) -> Iterator[JudgedTrial]:
    layouts: dict[float | None, tuple[Layout, RandomTrials]] = {}
    for trial in plan.book.trials:
        if trial.hours not in layouts:
            layout = Layout(plan, hours=trial.hours)
            layouts[trial.hours] = layout, RandomTrials(layout.plan, layout.coefficient, seed=seed)
        layout, random_trials = layouts[trial.hours]
        if trial.route not in {route.name for route in layout.routes}:
            continue
        train = made_up(layout.plan, NamedTrain(trial.place, trial.route, trial.consist, trial.together))
        profile, rail = layout.profile(trial.route), RailCondition.named(trial.rail).at(trial.hours).name
        verdict = judge(profile, train, rail, layout.pulls)
        pull = train.together * sum(layout.pulls.standing(loco, rail).value for loco, _ in train.locos)
        yield JudgedTrial(
            trial=trial,
            locos=", ".join(loco.name for loco, _ in train.locos),
            train=", ".join(f"{cut.count} {cut.name}" if cut.count > 1 else cut.name for cut in trial.consist),
            outcome=verdict.climb,
            demand=pull - verdict.margin,
            pull=pull,
            stall_probability=trust_in_train(profile, train, rail, random_trials).stall_probability,
        )


def bounds(trials: Iterable[JudgedTrial]) -> dict[tuple[str, str, float | None], tuple[float, float]]:
    """Return the bounds, N, that trials set on the pull of locomotives, by locomotives, rail and hours.

    A train that climbed bounds it from below by its demand, one that stalled from above.
    """
    found: dict[tuple[str, str, float | None], tuple[float, float]] = {}
    for answer in trials:
        key = answer.locos, answer.trial.rail, answer.trial.hours
        low, high = found.get(key, (0.0, math.inf))
        if answer.trial.outcome == "climbs":
            low = max(low, answer.demand)
        else:
            high = min(high, answer.demand)
        found[key] = low, high
    return found


def _crossed(trials: Sequence[JudgedTrial]) -> Iterator[Note]:
    """Yield notes where trials contradict: a train climbed that needs as much as one that stalled, or more."""
    for (locos, rail, _), (low, high) in bounds(trials).items():
        if low >= high:
            much = "more than" if low > high else "as much as"
            text = f"a train climbed that needs {much} one that stalled: are two consists or outcomes swapped?"
            yield Note(f"trials of {locos} on {rail} rail", text)


def _next(plan: Plan, bench: Bench, seed: int) -> Iterator[Measurement]:
    """Return what to measure next, first what would narrow the verdicts on the named trains."""
    if not (plan.trains and plan.lines):
        return measurements(plan, with_bench(plan), (), (), bench)
    layout = Layout(plan)
    trials = RandomTrials(layout.plan, layout.coefficient, seed=seed)
    rails = layout.judged()
    film = [rail for rail in film_rails(layout.rails) if rail not in rails]
    judged, filmed = (judged_trains(layout, on, trials=trials) for on in (rails, film))
    return measurements(plan, layout.plan, worst_of_each(judged), worse_ages(filmed), bench)
