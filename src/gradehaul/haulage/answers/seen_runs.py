"""Trains that were run and seen to climb or to stall, against the model."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.train import build_train
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.haulage.trust.train import trust_in_train
from gradehaul.haulage.verdict import Climb, judge
from gradehaul.plan.bench_records import TrialRun
from gradehaul.plan.rail_condition import RailCondition
from gradehaul.plan.records import NamedTrain, Note, Plan
from gradehaul.quantities.si import Newtons, Share

DISAGREES = 0.05
"""Chance of what was seen, by the model, under which the two are said to disagree."""


@dataclass(frozen=True, slots=True)
class JudgedTrial:
    """A trial against the model.

    `demand` is that of the train where its pull with wheels that grip exceeds it least: one that stalled says that its
    locomotives pull less there, one that climbed that they pull as much. `pull` is theirs by the model.
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


def run_notes(plan: Plan, trials: Iterable[JudgedTrial], locos: Collection[str] | None = None) -> Iterator[Note]:
    """Yield notes on trials that were not judged, contradict one another, or happen too seldom by the model.

    With names of locomotives they are those in which one of these ran.
    """

    def wanted(trial: TrialRun) -> bool:
        return locos is None or not _locos_of(plan, trial).isdisjoint(locos)

    judged = [each for each in trials if wanted(each.trial)]
    places = {each.trial.place for each in judged}
    for trial in plan.book.trials:
        if wanted(trial) and trial.place not in places:
            yield Note(trial.place, "not judged, since its route is not among those that can be answered")
    yield from _crossed(judged)
    for each in judged:
        if not each.agrees:
            seen = "stalled" if each.trial.outcome == "stalls" else "climbed"
            share = max(1, math.ceil(1000 * each.chance)) / 10
            yield Note(
                each.trial.place,
                f'{each.train} {seen} on route "{each.trial.route}", as in at most {share} % of random trials: a '
                "reading, a grade or a mass is not as in the plan",
            )


def doubtful_runs(plan: Plan, locos: Collection[str] | None = None, *, seed: int = 0) -> tuple[Note, ...]:
    """Return the notes on the trials of a plan, with some locomotives or with any.

    `plan` is as written, without its readings taken in.
    """
    return tuple(run_notes(plan, judged_runs(plan, seed), locos)) if plan.book.trials else ()


def _locos_of(plan: Plan, trial: TrialRun) -> set[str]:
    powers = [plan.powers[cut.name] for cut in trial.consist if cut.name in plan.powers]
    return {loco for power in powers for loco in power.locos}


def judged_runs(plan: Plan, seed: int = 0) -> Iterator[JudgedTrial]:
    """Yield each trial of a plan's book against the model; those whose route cannot be answered are left out."""
    layouts: dict[float | None, tuple[Layout, RandomTrials]] = {}
    for trial in plan.book.trials:
        if trial.hours not in layouts:
            layout = Layout(plan, hours=trial.hours)
            layouts[trial.hours] = layout, RandomTrials(layout.plan, layout.coefficient, seed=seed)
        layout, random_trials = layouts[trial.hours]
        if trial.route not in {route.name for route in layout.routes}:
            continue
        train = build_train(layout.plan, NamedTrain(trial.place, trial.route, trial.consist, trial.together))
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
