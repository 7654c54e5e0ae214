"""Random trials of every figure that an answer rests on, alike where causes are shared, and what they say of a pull."""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from statistics import fmean
from typing import ClassVar

import numpy as np

from gradehaul.haulage.adhesion import (
    METAL_ADHESION,
    SLIPPING_CLEAN,
    SLIPPING_TREATED,
    TYRED_ADHESION,
    NominalPulls,
    PullModel,
    readings_of,
)
from gradehaul.haulage.bench.adhesion_fit import deviation, interval
from gradehaul.haulage.bench.reduction import pooled_of
from gradehaul.haulage.resistance import HIGHEST_SHARE, LOWEST_SHARE, NORMAL_95, curve_spread
from gradehaul.plan.bench_records import State
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.plan.records import Basis, Car, Film, Loco, Plan
from gradehaul.quantities import Reading
from gradehaul.quantities.si import Newtons
from gradehaul.track.piecewise import FloatArray

TRIALS = 10_000
"""Trials for the share in which a named train stalls: it is then known to within half a percent."""

METAL_SPREAD = 0.03
"""Spread of the assumed adhesion of metal wheels, 0.22 ± 0.03 (common practice: 20 to 25 %)."""

TYRED_SPREAD = 0.10
"""Spread of the assumed adhesion of tyred wheels, 0.40 ± 0.10 (common practice)."""

PRACTICE_MASS = 0.10
"""Spread of a car's mass that is only the practice's weight, as a share of it (assumed)."""

WEIGHED_MASS = 0.01
"""Spread of a car's stated mass: cars of one kind are not all alike (assumed)."""

SHARE_STATED = 0.04
"""Spread of the share of its clean pull that a wheel keeps on a film whose shares the builder stated (assumed)."""

SHARE_RANGE = (0.48, 0.13)
"""Of the built-in film: how far the 5th percentile of a share kept lies below its middle, as a part of it, and the 95th
above, as it stands (assumed). No measured pull of a model on a film was found, and full-size and rig figures lie lower
than the built-in shares: 0.35 kept with a friction modifier on a roller rig at 1/5 scale, 0.45 with graphite, 0.1
against 0.22 (both read second-hand). So 0.35 is above the 2nd percentile of every built-in share."""

SLIP_CLEAN_RANGE, SLIP_TREATED_SPREAD = (0.62, 1.0), 0.12
"""The 5th and 95th percentile of the assumed slipping over standing pull on clean rail, and the spread of that on film
(assumed). Handbook pairs run from 0.54 to 0.77 dry, to 0.43 with a thin oil film; but a rig found no fall of adhesion
below 1 m/s, and a club a pull that rises with wheel speed (both read second-hand), so it reaches up to no fall at
all."""

STARTING_MOST = 1.5
"""Most curve resistance when starting over that when running in random trials, evenly spread from 1, where the plan
states none (assumed; full-size practice allowed 2.5 times: Webb, Economics of Railroad Construction, section 180; read
second-hand)."""

TENSION_RANGE = (2 / 3, 5 / 3)
"""The 5th and 95th percentile of the friction of coupler tension, as shares of the plan's figure: 0.02 and 0.05 where
it is 0.03 (assumed, from the geometry of flanges in HO; no measured value was found)."""

TOGETHER_SPREAD = 0.05
"""Spread of the assumed share that locomotives pull together (common practice: 85 to 100 %)."""


class RandomTrials(PullModel[FloatArray]):
    """Random trials of the figures of a plan, each made when it is first needed, from a stream of its own.

    What has one cause varies as one: one curve coefficient, one adhesion of metal and one of tyred wheels, one error of
    each film's shares, one of the usual rolling resistance, and one of the practice's weights, for the whole layout. A
    pull that was read carries the scatter of one more reading: the scatter s of a single one times √(1 + 1/n), by
    Student's t. So does what is scaled from it.

    The same seed gives the same trials, whatever else is drawn.
    """

    def __init__(self, plan: Plan, coefficient: float, *, seed: int = 0, count: int = TRIALS) -> None:
        super().__init__(plan)
        self.coefficient, self.seed, self.count = coefficient, seed, count
        self.pooled = pooled_of(plan)
        self._kept: dict[tuple[str, ...], FloatArray] = {}
        self._parts: dict[int, RandomTrials] = {count: self}

    def part(self, count: int) -> RandomTrials:
        """Return another number of trials of the same figures."""
        if count not in self._parts:
            self._parts[count] = RandomTrials(self.plan, self.coefficient, seed=self.seed, count=count)
        return self._parts[count]

    @cached_property
    def curve(self) -> FloatArray:
        """Curve coefficient, m, one for the whole layout, shape (trials,)."""
        spread = curve_spread(self.plan.curve_resistance)
        return self.coefficient * np.maximum(1.0 + spread * self._normal("curve"), 0.1)

    @cached_property
    def starting_curve(self) -> FloatArray:
        """Curve coefficient when starting, m: times what the plan states, else 1 to 1.5 times that when running."""
        stated = self.plan.curve_resistance.starting
        stream = self._stream(("curve coefficient when starting",))
        return self.curve * (stated or stream.uniform(1.0, STARTING_MOST, self.count))

    @property
    def tension(self) -> FloatArray:
        """Friction of coupler tension on curves over the plan's figure for it, shape (trials,)."""
        return np.maximum(_lopsided(self._normal("tension"), *TENSION_RANGE), 0.0)

    def rolling(self, car: Car) -> FloatArray:
        """Return the rolling resistance of a kind of car, pull per unit of weight."""
        return self._resistance(car, car.rolling)

    def starting(self, car: Car) -> FloatArray:
        """Return the starting resistance of a kind of car; it moves as the rolling resistance does."""
        return self._resistance(car, car.starting)

    def resistance(self, car: Car, *, starting: bool) -> FloatArray:
        """Return resistance over the weight by the plan: no less when starting than when running."""
        key = "resistance", car.name, "starting" if starting else "running"
        if key not in self._kept:
            share = np.maximum(self.rolling(car), self.starting(car)) if starting else self.rolling(car)
            self._kept[key] = self.mass(self.mass_cause(car)) * share
        return self._kept[key]

    def mass_cause(self, vehicle: Car | Loco) -> tuple[str, ...]:
        """Return what the mass of a vehicle varies with: nothing for a locomotive, which is weighed."""
        if isinstance(vehicle, Loco):
            return ()
        return ("mass",) if vehicle.mass_basis == "assumed" else ("mass", vehicle.name)

    def mass(self, cause: tuple[str, ...]) -> FloatArray:
        """Return masses that vary with a cause over the plan's figures for them, shape (trials,)."""
        if not cause:
            return np.ones(self.count)
        if cause == ("mass",):
            return np.maximum(1.0 + PRACTICE_MASS * self._normal(*cause), 0.5)
        return 1.0 + WEIGHED_MASS * self._normal(*cause)

    def factors(self, causes: Sequence[tuple[str, ...]], *, taut: bool) -> FloatArray:
        """Return what the parts of a demand are taken times, of running trains in all trials and then of starting ones.

        They are masses by their `causes`, masses times the curve coefficient, m, and where the train is `taut` the
        friction of coupler tension when running and when starting, each 0 for the other: shape (parts, 2 trials).
        """
        key = "factors", *(" ".join(cause) for cause in causes), "taut" if taut else "slack"
        if key not in self._kept:
            masses = np.array([*map(self.mass, causes)])
            parts = [np.tile(masses, 2), np.hstack([masses * self.curve, masses * self.starting_curve])]
            if taut:
                parts.append(np.kron(np.eye(2), self.tension))
            self._kept[key] = np.concatenate(parts)
        return self._kept[key]

    def together(self, share: float, basis: Basis) -> FloatArray | None:
        """Return the share of the sum of their pulls that locomotives have together; None where it was stated."""
        return np.clip(share + TOGETHER_SPREAD * self._normal("together"), 0.5, 1.0) if basis == "assumed" else None

    # What the figures are made of

    def read(self, state: State, loco: Loco, rail: str) -> FloatArray:
        """Return the pull of a locomotive as one more reading would have it, by Student's t, N."""
        key = "read", state, loco.name, rail
        if key not in self._kept:
            readings = readings_of(loco, state)[rail]
            scatter = self.pooled.of(readings)
            t = self._stream(key).standard_t(scatter.freedom, self.count)
            mean = fmean(reading.value for reading in readings)
            self._kept[key] = np.maximum(mean + scatter.value * (1 + 1 / len(readings)) ** 0.5 * t, 1e-12)
        return self._kept[key]

    def predicted(self, loco: Loco, rail: str) -> FloatArray:
        """Return a predicted pull, N: errors of the fit are drawn once for all that it predicts, its scatter too."""
        pull = loco.predicted[rail]
        fit = "fit", pull.rail
        one, other = (self._normal(*fit, number) for number in "12")
        if ("scatter", *fit) not in self._kept:
            chi_square = self._stream(("scatter", *fit)).chisquare(pull.freedom, self.count)
            self._kept["scatter", *fit] = np.sqrt(pull.freedom / chi_square)
        own = pull.own * self._normal("predicted", loco.name, pull.rail)
        error = own + pull.shared[0] * one + pull.shared[1] * other
        return np.maximum(pull.value + self._kept["scatter", *fit] * error, 0.0)

    def adhesion(self) -> tuple[FloatArray, FloatArray]:
        """Return the assumed adhesion of metal and of tyred wheels."""
        metal = np.maximum(METAL_ADHESION + METAL_SPREAD * self._normal("metal"), 0.05)
        return metal, np.maximum(TYRED_ADHESION + TYRED_SPREAD * self._normal("tyred"), 0.05)

    def kept(self, film: Film, *, fresh: bool) -> tuple[FloatArray, FloatArray]:
        """Return the shares of their clean pull that metal and tyred wheels keep on a film: one error for both."""
        metal, tyred = ((s.fresh if fresh else s.settled) for s in (film.metal, film.tyred))
        z = self._normal("film", film.name)
        if film.basis != "assumed":
            return np.clip(metal + SHARE_STATED * z, 0.05, 1.0), np.clip(tyred + SHARE_STATED * z, 0.05, 1.0)
        below, above = SHARE_RANGE
        kept = [share * _lopsided(z, 1 - below, 1 + above / share) for share in (metal, tyred)]
        return np.clip(kept[0], 0.05, 1.0), np.clip(kept[1], 0.05, 1.0)

    def slipping_share(self, condition: str) -> FloatArray:
        """Return the assumed slipping over standing pull."""
        if condition == CLEAN:
            low, high = (each / SLIPPING_CLEAN for each in SLIP_CLEAN_RANGE)
            return np.clip(SLIPPING_CLEAN * _lopsided(self._normal("slip", CLEAN), low, high), 0.3, 1.0)
        return np.clip(SLIPPING_TREATED + SLIP_TREATED_SPREAD * self._normal("slip", "film"), 0.2, 1.0)

    def _normal(self, *cause: str) -> FloatArray:
        if cause not in self._kept:
            self._kept[cause] = self._stream(cause).standard_normal(self.count)
        return self._kept[cause]

    def _stream(self, cause: tuple[str, ...]) -> np.random.Generator:
        return np.random.default_rng([self.seed, zlib.crc32("\n".join(cause).encode())])

    def _resistance(self, car: Car, resistance: Reading) -> FloatArray:
        if resistance.spread is not None:
            return np.maximum(resistance.value + resistance.spread * self._normal("rolling", car.name), 0.0)
        return resistance.value * np.maximum(_lopsided(self._normal("rolling"), LOWEST_SHARE, HIGHEST_SHARE), 0.1)


def _lopsided(normal: FloatArray, low: float, high: float) -> FloatArray:
    """Return figures round 1 whose 5th and 95th percentiles are given: a normal distribution for either side.

    >>> _lopsided(np.array([-NORMAL_95, 0.0, NORMAL_95]), 0.4, 1.5).round(9)
    array([0.4, 1. , 1.5])
    """
    return 1.0 + normal * np.where(normal < 0, (1 - low) / NORMAL_95, (high - 1) / NORMAL_95)


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
    """The pull of a locomotive that was never measured: by the readings of others, and by its own weight alone."""

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
