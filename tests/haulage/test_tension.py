"""Coupler tension on curves against step-by-step integration along the train, which uses nothing of the package."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import brute_walk as walk
from gradehaul.haulage.demand import demand
from gradehaul.haulage.layout import Layout
from gradehaul.haulage.train import made_up
from gradehaul.haulage.verdict import judge
from gradehaul.plan import read_plan
from strategies import ROUTE, TRAIN, layouts
from strategies import Layout as Random

M = 0.04


def with_tension(text: str, m: float = M) -> str:
    return text.replace("[curve_resistance]\n", f"[curve_resistance]\ntension = {m}\n")


def strained(chain: walk.Chain, train: walk.Train, head: float, resistance: str, steps: int = 2000) -> float:
    """What the locomotives must pull, N, by dT = q ds + m |T| dK from both ends of the train toward a locomotive.

    Each locomotive is tried as the one that pulls all, and the most of them is returned; locomotives lift themselves.
    """
    times = chain.starting if resistance == "starting" else 1.0
    bent = walk.replace(chain, coefficient=times * chain.coefficient)
    edges = np.concatenate([[0.0], np.cumsum([vehicle.length for vehicle in train.vehicles])])
    depth = np.linspace(0.0, train.length, steps + 1)  # behind the head
    place = head - depth
    height, angle = walk.compensated(bent, place), walk.summed_curvature(bent, place)
    middle = 0.5 * (depth[:-1] + depth[1:])
    number = np.clip(np.searchsorted(edges, middle) - 1, 0, len(train.vehicles) - 1)
    need = np.zeros(steps)
    for k, vehicle in enumerate(train.vehicles):
        here = number == k
        line = walk.GRAVITY * vehicle.mass / vehicle.length
        resists = getattr(vehicle, resistance) if isinstance(vehicle, walk.Car) else 0.0
        # the weights of locomotives do not pass through couplers here
        part = (height[:-1] - height[1:])[here] + resists * np.diff(depth)[here]
        need[here] = line * part if isinstance(vehicle, walk.Car) else 0.0
    turn = M * (angle[:-1] - angle[1:])
    found = []
    for k, vehicle in enumerate(train.vehicles):
        if isinstance(vehicle, walk.Loco):
            total = 0.0
            for side in (np.flatnonzero(middle > edges[k + 1])[::-1], np.flatnonzero(middle < edges[k])):
                tension = 0.0
                for cell in side:
                    # what is pushed or pulled: friction is against the motion either way
                    tension += need[cell] + turn[cell] * abs(tension + 0.5 * need[cell])
                total += tension
            found.append(total)
    return max(found)


@given(layouts(), st.floats(0, 1))
@settings(max_examples=40, deadline=None)
def test_demand_with_tension_is_never_less_than_the_integral(layout: Random, share: float) -> None:
    plan = read_plan(with_tension(layout.text))
    own = Layout(plan)
    profile, train = own.profile(ROUTE), made_up(plan, plan.trains[TRAIN])
    need, plain = demand(profile, train), demand(Layout(read_plan(layout.text)).profile(ROUTE), train)
    head = profile.first_head(train.length) + share * (profile.length - profile.first_head(train.length))
    for found, without, resistance in (
        (need.running, plain.running, "rolling"),
        (need.starting, plain.starting, "starting"),
    ):
        cars = strained(layout.chain, layout.train, head, resistance)
        unstrained = strained(walk.replace(layout.chain, pieces=layout.chain.pieces), layout.train, head, resistance)
        assert cars == unstrained
        weight = sum(v.mass for v in layout.train.vehicles) * walk.GRAVITY
        taut = cars - _without(layout, head, resistance)
        assert found(head) - without(head) >= taut - 2e-4 * weight * M
    assert need.least is not None
    assert need.least(head) == pytest.approx(plain.least(head), abs=1e-12)
