"""How often the true load lies within its 90 % range: a made-up bench, and a truth drawn as the trials assume it."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.bench.benched import with_bench
from gradehaul.haulage.longest import LoadSearch, Room
from gradehaul.haulage.trust.load import RouteTrust
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.plan import read_plan
from gradehaul.quantities import Reading

G = 9.80665
METAL, TYRED = 0.22, 0.40
BETWEEN, WITHIN, COUNT = 0.10, 0.03, 5
"""Locomotives differ by 10 %; five readings of one by 3 %."""
FLEET = [(300, 0), (250, 120), (420, 160), (380, 0), (280, 140), (330, 60), (310, 100)]
UNREAD = [(340, 80), (290, 110)]
"""Masses and masses on tires, g."""

PLAN = (
    """
scale = "HO"
unit = "mm"
railhead.Foot = 0
[line.Hill]
from = "Foot"
to = "Top"
track = [ { straight = 3000, grade = "1.5 %" }, { left = 700, angle = 150, grade = "1.7 %" }, { straight = 2000 } ]
[route.Up]
from = "Foot"
to = "Top"
[car.box]
mass = "110 g"
length = 150
[power.pair]
locos = ["U0", "U1"]
"""
    + "".join(
        f'[loco.{kind}{k}]\nmass = "{mass} g"\nlength = 200\non_tyres = "{tyres} g"\n'
        for kind, fleet in (("L", FLEET), ("U", UNREAD))
        for k, (mass, tyres) in enumerate(fleet)
    )
    + "".join(f'[[reading]]\nloco = "L{k}"\nrail = "clean"\nforce = ["1 N"]\n' for k in range(len(FLEET)))
)


class Covered(NamedTuple):
    """Shares of trials in which the truth lies within the range told."""

    rated: float
    limit: float


def covered(count: int, seed: int = 0) -> Covered:
    """Make up benches and truths, and count how often the truth lies within the range of a load."""
    noise = np.random.default_rng(seed)
    plan = read_plan(PLAN)
    layout = Layout(plan)
    profile = layout.profile("Up")
    hits = np.zeros(2)
    for number in range(count):
        bench, truth = _made_up(plan, noise)
        power, car = bench.powers["pair"], bench.cars["box"]
        load = LoadSearch(bench, profile, power, car, Pulls(bench)).load("clean", [Room("the route", 1e3, "route")])
        trials = RandomTrials(bench, layout.coefficient, seed=seed + number)
        spread = RouteTrust(bench, profile, trials).spread(load)
        curve = 1 + 0.20 * noise.standard_normal()
        curves = replace(
            layout.curves, coefficient=layout.coefficient * max(curve, 0.1), starting=noise.uniform(1.0, 1.5)
        )
        own = replace(
            profile,
            curves=curves,
            compensated=profile.railhead + profile.summed_curvature * curves.coefficient,
        )
        true = LoadSearch(truth, own, truth.powers["pair"], truth.cars["box"], Pulls(truth)).load(
            "clean", [Room("the route", 1e3, "route")]
        )
        hits += [
            spread.rated_low <= true.rated <= spread.rated_high,
            spread.limit_low <= true.limit <= spread.limit_high,
        ]
    return Covered(*(hits / count))


def _made_up(plan, noise):
    """A plan with readings of the fleet taken in, and one with the truth."""

    def pull(mass, tyres):
        return G / 1000 * (METAL * (mass - tyres) + TYRED * tyres) * (1 + BETWEEN * noise.standard_normal())

    rows = tuple(replace(row, forces=_forces(pull(*FLEET[k]), noise)) for k, row in enumerate(plan.book.pulls))
    bench = with_bench(replace(plan, book=replace(plan.book, pulls=rows)))
    z = noise.standard_normal()
    rolling = 0.02 * max(1 + z * (0.6 if z < 0 else 0.5) / 1.6448536, 0.1)
    car = plan.cars["box"]
    mass = car.mass * (1 + 0.01 * noise.standard_normal())
    starting = rolling * car.starting.value / car.rolling.value
    cars = {"box": replace(car, mass=mass, rolling=Reading(rolling), starting=Reading(starting))}
    z = noise.standard_normal()
    slip = np.clip(0.75 + z * (0.13 if z < 0 else 0.25) / 1.6448536, 0.3, 1.0)
    locos = dict(plan.locos)
    for k, each in enumerate(UNREAD):
        stand = pull(*each)
        told = {"clean": (Reading(stand),)}, {"clean": (Reading(stand * slip),)}
        locos[f"U{k}"] = replace(locos[f"U{k}"], pull=told[0], slipping=told[1])
    together = float(np.clip(0.9 + 0.05 * noise.standard_normal(), 0.5, 1.0))
    powers = {**plan.powers, "pair": replace(plan.powers["pair"], together=together)}
    return bench, replace(plan, cars=cars, locos=locos, powers=powers)


def _forces(pull, noise):
    return tuple(Reading(pull * (1 + WITHIN * e)) for e in noise.standard_normal(COUNT))
