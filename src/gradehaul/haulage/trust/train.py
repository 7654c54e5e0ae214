"""Trust in a named train: how likely it fails a test, what makes that unsure, and what to measure next."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import ClassVar, NamedTuple

import numpy as np

from gradehaul.haulage.adhesion import GRAVITY, readings_of
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train
from gradehaul.haulage.trust.margin import Margins, WorstPlace
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.plan.bench_records import State
from gradehaul.plan.names import some
from gradehaul.plan.records import Loco
from gradehaul.quantities.si import Newtons, Share
from gradehaul.track.piecewise import FloatArray

MORE_READINGS = 5
"""Readings that are taken more where readings are what is missing."""

CURVE_AFTER, ROLLING_AFTER = 0.07, 0.05
"""Spread that a measured curve coefficient and a measured rolling resistance are left with, as a share (assumed)."""

ROLL = "tilt a track, or pull a string of cars, for rolling resistance"
START = "tilt a track for the starting resistance"
BEND = "pull a string of cars around a curve of known radius"
"""The measurements of a rolling and a starting resistance, behind which cars are named, and of the curves."""


@dataclass(frozen=True, slots=True)
class Cause:
    """One uncertainty: of what, its share of the margin's variance, and how much of that measuring would take away.

    `measure` names the measurement, empty where none helps.
    """

    KEYS: ClassVar[str] = "of=what share measuring_removes=narrows"

    what: str
    share: Share
    narrows: Share
    measure: str


class Gain(NamedTuple):
    """How much more certain a measurement makes the answer, and the cause that it is of."""

    value: float
    cause: Cause


@dataclass(frozen=True, slots=True)
class TestRisk:
    """How likely a train fails a test, and what makes that unsure, the most first; no causes where it is sure."""

    chance: Share
    causes: tuple[Cause, ...]


@dataclass(frozen=True, slots=True)
class TrainTrust:
    """How far a verdict can be trusted; `margin_low` and `margin_high` are the 5th and 95th percentile, N."""

    stall_probability: Share
    fail_probability: Share
    """How likely it stalls or runs away."""
    trials: int
    margin_low: Newtons
    margin_high: Newtons
    causes: tuple[Cause, ...]
    """From the one that makes the answer most unsure."""
    others: tuple[TestRisk, ...] = ()
    """Whether it would not restart where it stops, and whether it would not recover where its wheels slip."""

    @property
    def dominant(self) -> Cause | None:
        """The single uncertainty that weighs most, None where nothing is unsure."""
        return self.causes[0] if self.causes else None

    @property
    def gains(self) -> list[Gain]:
        """What there is to measure for any of its tests, from what would make the answer most certain."""
        found = [
            Gain(cause.narrows * min(doubt.chance, 1 - doubt.chance), cause)
            for doubt in (TestRisk(self.stall_probability, self.causes), *self.others)
            for cause in doubt.causes
            if cause.narrows > 0
        ]
        return sorted(found, key=lambda gain: (-gain.value, -gain.cause.narrows))

    @property
    def next_measurement(self) -> Cause | None:
        """The cause whose measurement would narrow the answer most, None where none would."""
        return self.gains[0].cause if self.gains else None


def trust_in_train(profile: RouteProfile, train: Train, rail: str, trials: RandomTrials) -> TrainTrust:
    """Return how far the verdict on a train can be trusted.

    The margin is the least of standing pull less demand along the route, in every trial at the place that is worst
    then. The other tests of a verdict are tried likewise: whether it holds back downhill, whether it starts anywhere,
    and whether it gets through where its wheels slip.
    """
    legs = [Margins(leg, train.after(leg.route.run_rounds), trials) for leg, _ in profile.approached]
    stands = _doubt(legs, rail, "standing", always=True)
    fails = [failing for leg in legs for failing in (leg.margin(rail) < 0, leg.held_back(rail) < 0)]
    margin = np.min([leg.margin(rail, tie=0.0) for leg in legs], axis=0)
    low, high = np.quantile(margin, (0.05, 0.95)).tolist()
    others = _doubt(legs, rail, "standing", starting=True), _doubt(legs, rail, "slipping")
    failing = float(np.any(fails, axis=0).mean())
    return TrainTrust(stands.chance, failing, trials.count, low, high, stands.causes, others)


def _doubt(legs: list[Margins], rail: str, state: State, *, starting: bool = False, always: bool = False) -> TestRisk:
    """Return the chance to fail a test, and the causes where it is unsure, or always."""
    margins = [leg.margin(rail, state, starting=starting) for leg in legs]
    chance = float((np.min(margins, axis=0) < 0).mean())
    if not always and chance in (0.0, 1.0):
        return TestRisk(chance, ())
    worst = legs[int(np.argmin([np.median(each) for each in margins]))]
    return TestRisk(chance, _causes(worst, rail, state, starting=starting))


class _Effect(NamedTuple):
    """What one cause alone does to the margin in every trial, N, the variance that measuring leaves, and how."""

    values: FloatArray
    after: float = 0.0
    measure: str = ""


def _causes(margins: Margins, rail: str, state: State, *, starting: bool) -> tuple[Cause, ...]:
    """Return the causes by what each does to the margin at the place that is worst by the middle of all."""
    place = margins.worst(rail, state, starting=starting)
    effects = {
        **_of_pulls(margins, place, state),
        **_of_curves(margins, place, starting=starting),
        **_of_resistance(margins, starting=starting),
        **_of_masses(margins, place, starting=starting),
    }
    # locomotives share films and adhesion, so a cause has a part in what it does together with others
    covariance = np.atleast_2d(np.cov([effect.values for effect in effects.values()]))
    whole = float(covariance.sum())
    if whole <= 0:
        return ()
    causes = []
    for number, (what, effect) in enumerate(effects.items()):
        part, own = float(covariance[number].sum()), float(covariance[number, number])
        narrows = 2 * part - own - effect.after if effect.measure else 0.0
        if own > 0:
            causes.append(Cause(what, max(0.0, part) / whole, max(0.0, narrows) / whole, effect.measure))
    return tuple(sorted(causes, key=lambda cause: -cause.share))


def _of_pulls(margins: Margins, place: WorstPlace, state: State) -> dict[str, _Effect]:
    """Return the effect of each locomotive's pull on the rails under it, and of how they pull together."""
    trials, train = margins.trials, margins.train
    effects: dict[str, _Effect] = {}
    alike: dict[tuple[str, tuple[str, ...]], list[Loco]] = {}
    total = 0.0
    for (loco, _), rails in zip(train.locos, place.under, strict=True):
        alike.setdefault((loco.name, rails), []).append(loco)
        total += float(np.median(margins.weakest(loco, rails, state)))
    for (name, rails), locos in alike.items():
        pulls = {rail: (trials.standing if state == "standing" else trials.slipping)(locos[0], rail) for rail in rails}
        rail = min(pulls, key=lambda rail: float(np.median(pulls[rail])))
        readings = readings_of(locos[0], state).get(rail, ())
        least = float(np.median(pulls[rail]))
        scatter = trials.pooled.of(readings).value if readings else trials.pooled.share * least
        share, count = train.together * len(locos), len(readings) + MORE_READINGS
        pull = f"the {'slipping ' if state == 'slipping' else ''}pull of {name} on {rail} rail"
        effects[pull] = _Effect(
            share * pulls[rail],
            (share * scatter) ** 2 * (1 + 1 / count),
            f"read {pull}{' again' if readings else ''}, five times",
        )
    together = trials.together(train.together, train.together_basis)
    if together is not None:
        counts = Counter(loco.name for loco, _ in train.locos)
        names = " and ".join(name if count == 1 else f"{count} {name}" for name, count in counts.items())
        measure = f"read the pull of {names} coupled together, for its `together`"
        effects["how well the locomotives pull together"] = _Effect(together * total, (0.02 * total) ** 2, measure)
    return effects


def _of_curves(margins: Margins, place: WorstPlace, *, starting: bool) -> dict[str, _Effect]:
    trials, bend = margins.trials, float(place.bends.sum())
    curve = trials.starting_curve if starting else trials.curve
    times = curve / trials.curve
    left = math.hypot(CURVE_AFTER * float(np.median(times)), float(np.std(times)))
    after = (left * float(np.median(trials.curve)) * bend) ** 2
    effects = {f"the curve coefficient{' when starting' if starting else ''}": _Effect(-curve * bend, after, BEND)}
    if margins.profile.curves.tension:
        effects["the friction of coupler tension on curves"] = _Effect(-trials.tension * place.friction)
    return effects


def _of_resistance(margins: Margins, *, starting: bool) -> dict[str, _Effect]:
    """Return the effect of the resistance of cars, of those with one cause as one."""
    kind, measure = ("starting", START) if starting else ("rolling", ROLL)
    weights: dict[str, dict[str, float]] = {}
    values: dict[str, FloatArray] = {}
    usual: dict[str, float] = {}
    for car, count in margins.train.cars:
        resistance = car.starting if starting else car.rolling
        own = resistance.spread is not None
        what = f"the {kind} resistance of {car.name}" if own else f"the {kind} resistance"
        weight = GRAVITY * count * car.mass
        share = margins.trials.starting(car) if starting else margins.trials.rolling(car)
        values[what] = values.get(what, 0.0) - weight * share
        usual[what] = usual.get(what, 0.0) + weight * resistance.value
        cars = weights.setdefault(what, {})
        cars[car.name] = cars.get(car.name, 0.0) + weight
    effects = {}
    for what, cars in weights.items():
        heaviest = sorted(cars, key=lambda name: -cars[name])
        after = (ROLLING_AFTER * usual[what]) ** 2
        effects[what] = _Effect(values[what], after, f"{measure} of {some(heaviest, 2)}")
    return effects


def _of_masses(margins: Margins, place: WorstPlace, *, starting: bool) -> dict[str, _Effect]:
    trials = margins.trials
    curve = float(np.median(trials.starting_curve if starting else trials.curve))
    effects: dict[str, _Effect] = {}
    for number, cause in enumerate(margins.causes):
        if not cause:
            continue
        own = [(car, count) for car, count in margins.train.cars if trials.mass_cause(car) == cause]
        resisted = sum(
            GRAVITY * count * car.mass * (car.starting if starting else car.rolling).value for car, count in own
        )
        demand = float(place.heights[number] + curve * place.bends[number]) + resisted
        known = cause[1:]
        what = f"the mass of {known[0]}" if known else "the masses that are only the practice's"
        measure = "" if known else "weigh the cars"
        effects[what] = _Effect(-trials.mass(cause) * demand, (0.01 * demand) ** 2, measure)
    return effects
