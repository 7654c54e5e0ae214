"""The named trains: what becomes of each on every rail condition, with its random trials."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cache, partial
from typing import ClassVar

from gradehaul.haulage.answers.judged import JUDGED_KEYS, JudgedTrain, judged_trains, risk
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.train import made_up
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.haulage.trust.train import TrainTrust, trust_in_train
from gradehaul.plan.records import Plan
from gradehaul.quantities.si import Meters, Share


@dataclass(frozen=True, slots=True, kw_only=True)
class TrainAnswer(JudgedTrain):
    """What becomes of a named train on one rail condition."""

    KEYS: ClassVar[str] = (
        f"name route rail length {JUDGED_KEYS} risk trust.stall_probability draws=trust.trials trust.margin_low "
        "trust.margin_high unsure_of=trust.causes measure_next=trust.next_measurement.measure"
    )

    length: Meters
    run_trials: Callable[[], TrainTrust] = field(repr=False, compare=False)
    """The random trials, run when they are first looked at."""

    @property
    def trust(self) -> TrainTrust:
        """How far the verdict can be trusted."""
        return self.run_trials()

    @property
    def risk(self) -> Share:
        """The chance that it fails: that it stalls, runs away, or does not fit."""
        return risk(self, self.trust)


def train_answers(
    layout: Layout, plan: Plan, trials: RandomTrials, rails: Sequence[str] | None = None
) -> tuple[TrainAnswer, ...]:
    """Return the trains of a plan, which may have fewer than the layout, on some or all rail conditions."""
    made = {named.name: made_up(plan, named) for named in plan.trains.values()}
    return tuple(
        TrainAnswer(
            name=each.name,
            route=each.route,
            rail=each.rail,
            verdict=each.verdict,
            misfits=each.misfits,
            length=made[each.name].length,
            run_trials=cache(partial(trust_in_train, layout.profile(each.route), made[each.name], each.rail, trials)),
        )
        for each in judged_trains(layout, rails, plan.trains)
    )
