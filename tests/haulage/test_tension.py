"""Coupler tension on curves against step-by-step integration along the train, which uses nothing of the package."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import brute_walk as walk
from checked import check
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.demand import demand, tension
from gradehaul.haulage.longest import _Run
from gradehaul.haulage.tension import most_friction
from gradehaul.haulage.train import build_train, headed_by
from gradehaul.haulage.verdict import judge
from gradehaul.plan import read_plan
from strategies import ROUTE, TRAIN, layouts
from strategies import Layout as Random

M = 0.04


def with_tension(text: str, m: float = M) -> str:
    return text.replace("[curve_resistance]\n", f"[curve_resistance]\ntension = {m}\n")


def strained(chain: walk.Chain, train: walk.Train, head: float, resistance: str, steps: int = 1500) -> float:
    """Friction of tension, N, by dT = q ds + m |T| dK from both ends of the cars toward a locomotive that pulls all.

    Each locomotive is tried, and the most friction returned; locomotives lift themselves.
    """
    times = chain.starting if resistance == "starting" else 1.0
    bent = replace(chain, coefficient=times * chain.coefficient)
    edges = np.concatenate([[0.0], np.cumsum([vehicle.length for vehicle in train.vehicles])])
    depth = np.unique(np.concatenate([np.linspace(0.0, train.length, steps + 1), edges]))  # behind the head
    height, angle = walk.compensated(bent, head - depth), walk.summed_curvature(bent, head - depth)
    middle = 0.5 * (depth[:-1] + depth[1:])
    need, turn = np.zeros(middle.size), M * (angle[:-1] - angle[1:])
    for vehicle, front, rear in zip(train.vehicles, edges[:-1], edges[1:], strict=True):
        if isinstance(vehicle, walk.Car):
            here = (middle > front) & (middle < rear)
            level = getattr(vehicle, resistance) * np.diff(depth)[here]
            need[here] = walk.GRAVITY * vehicle.mass / vehicle.length * ((height[:-1] - height[1:])[here] + level)
    most = 0.0
    for vehicle, front, rear in zip(train.vehicles, edges[:-1], edges[1:], strict=True):
        if not isinstance(vehicle, walk.Loco):
            continue
        friction = 0.0
        for side in (np.flatnonzero(middle > rear)[::-1], np.flatnonzero(middle < front)):
            tension = 0.0
            for cell in side:  # from the end of the train, against the motion whether it pulls or pushes
                here = turn[cell] * abs(tension + 0.5 * need[cell])
                tension += need[cell] + here
                friction += here
        most = max(most, friction)
    return most


@given(layouts(), st.floats(0, 1))
@settings(max_examples=25, deadline=None)
def test_demand_with_tension_is_never_less_than_the_integral(layout: Random, share: float) -> None:
    plan, off = read_plan(with_tension(layout.text)), read_plan(layout.text)
    profile, train = Layout(plan).profile(ROUTE), build_train(plan, plan.trains[TRAIN])
    need, plain = (demand(each, train) for each in (profile, Layout(off).profile(ROUTE)))
    first = profile.first_head(train.length)
    head = first + share * (profile.length - first)
    weight = walk.GRAVITY * sum(vehicle.mass for vehicle in layout.train.vehicles)
    for found, without, resistance in (
        (need.running, plain.running, "rolling"),
        (need.starting, plain.starting, "starting"),
    ):
        assert found(head) - without(head) >= strained(layout.chain, layout.train, head, resistance) - 1e-6 * weight
    assert need.least(head) == pytest.approx(plain.least(head), abs=1e-12)


HELIX = """
scale = "HO"
unit = "mm"
railhead.Foot = 0
[curve_resistance]
[line.Helix]
from = "Foot"
to = "Top"
track = [ { straight = 1500, grade = "1 %" }, { left = 600, angle = 720, grade = "1 %" } ]
[loco.mogul]
mass = "300 g"
length = 190
pull.clean = "250 gf"
[car.box]
mass = "100 g"
length = 150
[route.Up]
from = "Foot"
to = "Top"
[train.long]
route = "Up"
consist = ["mogul", "30 box"]
[train.pushed]
route = "Up"
consist = ["30 box", "mogul"]
[train.short]
route = "Up"
consist = ["mogul", "8 box"]
"""

REVERSED_OUT = """
[line.Tail]
from = "Points"
to = "Stop"
track = [{ straight = 9000 }]
[line.Out]
from = "Points"
to = "Top"
track = [{ straight = 9000, grade = "1 %" }]
[turnout.Points]
toe = "Tail"
legs = ["Helix", "Out"]
"""


@pytest.mark.parametrize("name", ["long", "pushed", "short"])
@pytest.mark.parametrize("m", [0.02, 0.03, 0.1])
def test_an_even_train_round_a_curve_needs_what_the_capstan_says(name, m):
    """(e^x - 1) / x times as much with x = m times the angle that the cars wrap."""
    plan, off = read_plan(with_tension(HELIX, m)), read_plan(HELIX)
    train = build_train(plan, plan.trains[name])
    cars = 30 if name != "short" else 8
    x = m * cars * 0.150 / 0.6
    profile = Layout(plan).profile("Up")
    pull = walk.GRAVITY * cars * 0.1 * (0.01 + profile.coefficient / 0.6 + 0.02)
    more = (
        demand(profile, train).running.greatest().value
        - demand(Layout(off).profile("Up"), train).running.greatest().value
    )
    exact = pull * (math.expm1(x) / x - 1)
    assert exact <= more <= 1.015 * exact
    assert {8: 0.03, 30: 0.12}[cars] == pytest.approx(math.expm1(x) / x - 1, abs=0.006) or m != 0.03


def test_tension_takes_cars_from_a_load_and_not_from_holding_back():
    taut, slack = (Layout(read_plan(text)) for text in (with_tension(HELIX), HELIX))
    loads = [each.longest_train("Up", "mogul", "box") for each in (taut, slack)]
    assert loads[0].rated < loads[1].rated
    # the load is the verdict's own answer, and what binds is what that train needs
    plan, profile = taut.plan, taut.profile("Up")
    for count in range(1, loads[0].limit + 3):
        train = headed_by(plan, plan.powers["mogul"], plan.cars["box"], count)
        outcome = judge(profile, train, "clean", taut.pulls).outcome
        assert (outcome == "climbs") == (count <= loads[0].rated)
        assert (outcome != "stalls") == (count <= loads[0].limit)
    binds = loads[0].binds
    assert binds is not None
    assert binds.demand > binds.pull


def test_a_middle_engine_leaves_each_car_to_the_farther_of_two_at_the_most():
    """Engines at both ends: the worst is less than one engine pulling twice the angle, and more than half a train's."""
    both = HELIX.replace('["mogul", "8 box"]', '["mogul", "30 box", "mogul"]')
    taut = Layout(read_plan(with_tension(both)))
    plan, profile = taut.plan, taut.profile("Up")
    two, one = (
        demand(profile, build_train(plan, plan.trains[name])).running
        - demand(Layout(read_plan(both)).profile("Up"), build_train(plan, plan.trains[name])).running
        for name in ("short", "long")
    )
    assert one.greatest().value < two.greatest().value < 1.6 * one.greatest().value


def test_a_train_that_wraps_much_curve_is_noted_with_what_tension_would_change():
    def notes(text):
        return [str(note) for note in check(read_plan(text)).doubts if "coupler tension" in str(note)]

    found = notes(HELIX)
    assert ['train "long"' in found[0], 'train "pushed"' in found[1], len(found)] == [True, True, 2]
    assert all("adds some 12 %" in note for note in found)
    assert notes(with_tension(HELIX)) == []
    reversed_out = HELIX.replace('to = "Top"\ntrack', 'to = "Points"\ntrack') + REVERSED_OUT
    assert notes(reversed_out.replace('to = "Top"\n[train', 'to = "Top"\nreversals = 1\n[train')) == found


@given(layouts(), st.booleans(), st.booleans())
@settings(max_examples=15, deadline=None)
def test_the_bound_of_tension_holds_for_every_count(layout: Random, starting: bool, trailing: bool) -> None:
    taut = Layout(read_plan(with_tension(layout.text)))
    plan = taut.plan
    power, car = next(iter(plan.powers.values())), next(iter(plan.cars.values()))
    resistance = (car.starting if starting else car.rolling).value
    for leg, _ in taut.profile(ROUTE).runs:
        profile = leg.starting if starting else leg
        bound = most_friction(profile, headed_by(plan, power, car, 0).length, car, resistance)
        for count in (1, 2, 3, 5, 8, 13, 34, 89):
            train = headed_by(plan, power, car, count, engine="trailing" if trailing else "leading")
            assert tension(profile, train, starting=starting).greatest().value <= bound[count - 1]


@given(layouts())
@settings(max_examples=15, deadline=None)
def test_a_load_with_tension_is_that_of_every_count_looked_at(layout: Random) -> None:
    taut = Layout(read_plan(with_tension(layout.text)))
    plan, profile = taut.plan, taut.profile(ROUTE)
    power, car = next(iter(plan.powers.values())), next(iter(plan.cars.values()))
    run = _Run(plan, profile.runs[0][0], power, car, taut.pulls, engine="leading")
    for test in ("stand", "restart", "slip"):
        tie = run._test("clean", test).tie
        below = 40
        fails = [count for count in range(1, below) if run.margin("clean", test, count).value < -tie]
        assert run.first_failing("clean", [test], below) == (fails[0] if fails else below)


def test_few_trains_are_worked_out_with_tension():
    taut = Layout(read_plan(with_tension(HELIX)))
    plan = taut.plan
    run = _Run(plan, taut.profile("Up"), plan.powers["mogul"], plan.cars["box"], taut.pulls, engine="leading")
    fails = run.first_failing("clean", ["stand"], 1000)
    assert fails > 20
    assert len(run._demands) <= 5
