"""Predicted pulls: what a fit to other locomotives says of one that was never read, beside the estimate by weight."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gradehaul.haulage.adhesion import NominalPulls
from gradehaul.haulage.bench.adhesion_fit import deviation, interval
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.quantities.si import Newtons

MUCH_LESS_SURE = 2.0
"""How many times as wide as the estimate's a prediction's 95 % range is where the estimate says more."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A pull that was not measured, N: between `low` and `high` with 95 %."""

    value: Newtons
    low: Newtons
    high: Newtons


@dataclass(frozen=True, slots=True)
class Predicted:
    """The pull of a locomotive that was never read: by the readings of others, and by its own weight alone."""

    KEYS: ClassVar[str] = (
        "loco rail pull=pull.value pull.low pull.high by_weight=by_weight.value by_weight_low=by_weight.low "
        "by_weight_high=by_weight.high"
    )

    loco: str
    rail: str
    pull: Estimate
    deviation: Newtons
    """Standard deviation of the prediction, N."""
    by_weight: Estimate

    @property
    def less_sure(self) -> bool:
        """Whether the readings of others say much less of it than its weight does."""
        pull, weight = self.pull, self.by_weight
        return pull.high - pull.low > MUCH_LESS_SURE * (weight.high - weight.low)


def predictions(trials: RandomTrials) -> Iterator[Predicted]:
    """Yield every pull that is predicted on a plan with its readings taken in, with the estimate from weight."""
    nominal = NominalPulls(trials.plan)
    for loco in trials.plan.locos.values():
        for rail, pull in loco.predicted.items():
            low, high = np.quantile(trials.by_weight(loco, rail), (0.025, 0.975)).tolist()
            by_weight = Estimate(nominal.by_weight(loco, rail), low, high)
            yield Predicted(loco.name, rail, Estimate(pull.value, *interval(pull)), deviation(pull), by_weight)
