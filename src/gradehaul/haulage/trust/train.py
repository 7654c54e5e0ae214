"""Trust in a named train: the share of draws in which it stalls, what makes that unsure, and what to measure next."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.demand import TIE
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train
from gradehaul.haulage.trust.demand import TENSION, Drawn, Parts, Patterns, drawn, most_asked, parts
from gradehaul.haulage.trust.draws import Draws
from gradehaul.haulage.trust.percentiles import median, quantiles
from gradehaul.haulage.trust.pull import given, weakest
from gradehaul.plan.records import Car, Loco
from gradehaul.quantities.si import Newtons, Share
from gradehaul.track.piecewise import FloatArray

MORE_READINGS = 5
"""Readings that are taken more where readings are what is missing."""

CURVE_AFTER, ROLLING_AFTER = 0.07, 0.05
"""Spread that a measured curve coefficient and a measured rolling resistance are left with, as a share (assumed)."""


ROLL, BEND = (
    "pull cars along level track, or tilt a track until they roll",
    "pull a string of cars round a curve of known radius",
)
"""The measurements of a rolling resistance and of the curve coefficient."""


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


@dataclass(frozen=True, slots=True)
class TrainTrust:
    """How far a verdict can be trusted; `margin_low` and `margin_high` are the 5th and 95th percentile, N."""

    stall_probability: Share
    draws: int
    margin_low: Newtons
    margin_high: Newtons
    causes: tuple[Cause, ...]
    """From the one that makes the answer most unsure."""

    @property
    def dominant(self) -> Cause | None:
        """The single uncertainty that weighs most, None where nothing is unsure."""
        return self.causes[0] if self.causes else None

    @property
    def next_measurement(self) -> Cause | None:
        """The cause whose measurement would narrow the answer most, None where none would."""
        best = max(self.causes, key=lambda cause: cause.narrows, default=None)
        return best if best is not None and best.narrows > 0 else None


def trust_in_train(profile: RouteProfile, train: Train, rail: str, draws: Draws) -> TrainTrust:
    """Return how far the verdict on a train can be trusted.

    The margin is the least of standing pull less demand along the route, in every draw at the place that is worst then.

    Parameters
    ----------
    profile
        The route.
    train
        The train, head first, as it starts.
    rail
        A rail condition of the plan, or ``as planned``.
    draws
        Draws of the plan's figures.
    """
    legs = [_Leg(leg, train.after(leg.route.run_rounds), rail, draws) for leg, _ in profile.runs]
    margin = np.minimum.reduce([leg.margin for leg in legs])
    stalls = np.logical_or.reduce([leg.margin < -leg.allowed for leg in legs])
    low, high = quantiles(margin, (0.05, 0.95))
    worst = min(legs, key=lambda leg: median(leg.margin))
    return TrainTrust(
        stall_probability=float(stalls.mean()),
        draws=draws.count,
        margin_low=low,
        margin_high=high,
        causes=_causes(worst.train, worst.asked, worst.factors, worst.under, draws),
    )


class _Leg:
    """A train where it runs in one direction: its margin in every draw, N, and the tie that is allowed."""

    def __init__(self, profile: RouteProfile, train: Train, rail: str, draws: Draws) -> None:
        self.train = train
        self.asked, self.under = parts(profile, train, rail)
        self.factors = drawn(self.asked, draws)
        self.margin = np.full(draws.count, np.inf)
        pulls = [given(train, pattern, draws) for pattern in self.under]
        for number, pull in enumerate(pulls):
            np.minimum(self.margin, pull - most_asked(self.asked, self.factors, number), out=self.margin)
        self.margin -= _rolling(train, draws)
        self.allowed = TIE * np.max(pulls, axis=0)


def _rolling(train: Train, draws: Draws) -> FloatArray:
    total = np.zeros(draws.count)
    for car, count in train.cars:
        factor = draws.mass(car)
        weight = GRAVITY * count * car.mass
        total += weight * draws.rolling(car) * (1.0 if factor is None else factor)
    return total


def _causes(train: Train, asked: Parts, factors: Drawn, under: Patterns, draws: Draws) -> tuple[Cause, ...]:
    """Return the causes with what each alone does to the margin at the place that is worst by the middle of all."""
    curve = median(factors.curve)
    left, right = asked.at_ends()
    pulls = [median(given(train, pattern, draws)) for pattern in under]
    spare = np.array(pulls)[asked.rails] - np.maximum(*((end[0] + curve * end[1]).sum(axis=0) for end in (left, right)))
    worst = int(spare.argmin())
    ends = (left[..., worst], right[..., worst])
    heights, bends = max(ends, key=lambda end: float((end[0] + curve * end[1]).sum()))
    pattern = under[asked.rails[worst]]

    found: dict[str, tuple[FloatArray, float, str]] = {}
    """By cause: the margin's draws when it alone varies, the variance that measuring would leave, the measurement."""
    together = draws.together(train.together, train.together_basis)
    share = train.together
    _add_pulls(found, train, pattern, draws, share)
    if together is not None:
        total = sum(median(weakest(loco, rails, draws)) for (loco, _), rails in _pairs(train, pattern))
        left_over = (total * 0.02) ** 2
        found["how well the locomotives pull together"] = (
            together * total,
            left_over,
            f"read the pull of {' and '.join(dict.fromkeys(loco.name for loco, _ in train.locos))} coupled together",
        )
    total_bend = float(bends.sum())
    found["the curve coefficient"] = (
        -factors.curve * total_bend,
        (CURVE_AFTER * curve * total_bend) ** 2,
        BEND,
    )
    if TENSION in asked.kinds:
        number = asked.kinds.index(TENSION)
        found["the friction of coupler tension on curves"] = (-factors.masses[number] * float(heights[number]), 0.0, "")
    _add_cars(found, train, asked, factors, (heights + curve * bends).tolist(), draws)
    values = np.array([each for each, _, _ in found.values()])
    # locomotives share films and adhesion, so a cause has a part in what it does together with others
    together_vary = np.atleast_2d(np.cov(values))
    whole = float(together_vary.sum())
    if whole <= 0:
        return ()
    causes = []
    for number, (what, (_, after, measure)) in enumerate(found.items()):
        part, own = float(together_vary[number].sum()), float(together_vary[number, number])
        narrows = 2 * part - own - after if measure else 0.0
        if own > 0:
            causes.append(Cause(what, max(0.0, part) / whole, max(0.0, narrows) / whole, measure))
    return tuple(sorted(causes, key=lambda cause: -cause.share))


def _pairs(train: Train, pattern: tuple[tuple[str, ...], ...]) -> list[tuple[tuple[Loco, float], tuple[str, ...]]]:
    return list(zip(train.locos, pattern, strict=True))


def _add_pulls(
    found: dict[str, tuple[FloatArray, float, str]],
    train: Train,
    pattern: tuple[tuple[str, ...], ...],
    draws: Draws,
    share: float,
) -> None:
    by_loco: dict[tuple[str, tuple[str, ...]], list[Loco]] = {}
    for (loco, _), rails in _pairs(train, pattern):
        by_loco.setdefault((loco.name, rails), []).append(loco)
    for (name, rails), locos in by_loco.items():
        loco = locos[0]
        medians = [median(draws.standing(loco, rail)) for rail in rails]
        rail = rails[int(np.argmin(medians))]
        pull = share * len(locos) * draws.standing(loco, rail)
        readings = loco.pull.get(rail, ())
        scatter = draws.pooled.of(readings).value if readings else draws.pooled.share * min(medians)
        count = len(readings) + MORE_READINGS
        after = (share * len(locos) * scatter * math.sqrt(1 + 1 / count)) ** 2
        more = f"read the pull of {name} on {rail} rail{' again, five times' if readings else ', five times'}"
        found[f"the pull of {name} on {rail} rail"] = (pull, after, more)


def _add_cars(
    found: dict[str, tuple[FloatArray, float, str]],
    train: Train,
    asked: Parts,
    factors: Drawn,
    by_kind: list[float],
    draws: Draws,
) -> None:
    """Add rolling resistance and masses, those with one cause as one."""
    rolls: dict[str, list[tuple[Car, int]]] = {}
    for car, count in train.cars:
        own = car.rolling.spread is not None
        rolls.setdefault(f"the rolling resistance of {car.name}" if own else "the rolling resistance", []).append(
            (car, count)
        )
    for what, cars in rolls.items():
        pull = sum(GRAVITY * count * car.mass * draws.rolling(car) for car, count in cars)
        usual = sum(GRAVITY * count * car.mass * car.rolling.value for car, count in cars)
        found[what] = (-np.asarray(pull), (ROLLING_AFTER * usual) ** 2, ROLL)
    resisted: dict[int, float] = {}
    for car, count in train.cars:
        resisted[id(car)] = resisted.get(id(car), 0.0) + GRAVITY * count * car.mass * car.rolling.value
    masses: dict[str, list[tuple[int, float]]] = {}
    for number, kind in enumerate(asked.kinds):
        if isinstance(kind, Car):
            assumed = kind.mass_basis == "assumed"
            what = "the masses that are only the practice's" if assumed else f"the mass of {kind.name}"
            masses.setdefault(what, []).append((number, by_kind[number] + resisted[id(kind)]))
    for what, rows in masses.items():
        weighs = sum(factors.masses[number] * asks for number, asks in rows)
        asks = sum(asks for _, asks in rows)
        measure = "weigh the cars" if what.startswith("the masses") else ""
        found[what] = (-np.asarray(weighs), (0.01 * asks) ** 2, measure)
