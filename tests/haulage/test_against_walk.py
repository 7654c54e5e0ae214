"""The exact engine against an independent walk that samples, over random plans."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import brute_walk as walk
from brute_walk import mismatch
from gradehaul.haulage.adhesion import Pull, Pulls
from gradehaul.haulage.demand import demand, demand_at, supply
from gradehaul.haulage.longest import LoadSearch, Room
from gradehaul.haulage.profile import RouteProfile, route_profile, steepest_on_ways, way_profiles
from gradehaul.haulage.resistance import curve_costs
from gradehaul.haulage.train import build_train, headed_by
from gradehaul.haulage.verdict import FAILS, Test, Verdict, judge
from gradehaul.network.graph import MovementGraph
from gradehaul.network.routes import find_routes
from gradehaul.plan import read_plan
from gradehaul.plan.bench_records import State
from gradehaul.plan.rail_condition import AS_PLANNED
from gradehaul.plan.records import Loco, Plan
from gradehaul.track.alignment import align
from strategies import ROUTE, TRAIN, Layout, layouts

STEP = 0.005

TESTS: tuple[Test, ...] = ("stand", "restart", "slip", "hold")


def engine(text: str) -> tuple[Plan, RouteProfile]:
    plan = read_plan(text)
    laid = way_profiles(align(plan))
    curves = curve_costs(plan.curve_resistance, plan.scale)
    routes = find_routes(MovementGraph(plan), steepest_on_ways(laid, curves.coefficient)).routes
    (route,) = (route for route in routes if route.name == ROUTE)
    return plan, route_profile(laid, route, curves)


def verdict_of(plan: Plan, profile: RouteProfile, rail: str) -> Verdict:
    return judge(profile, build_train(plan, plan.trains[TRAIN]), rail, Pulls(plan))


@given(layouts(), st.floats(0.05, 3.0))
@settings(max_examples=75, deadline=None)
def test_profile_and_ruling_grades(layout: Layout, length: float) -> None:
    _, profile = engine(layout.text)
    chain = layout.chain
    assert profile.length == pytest.approx(chain.length, abs=1e-9)
    places = [chain.length * k / 37 for k in range(38)]
    assert profile.railhead.at(places) == pytest.approx(walk.railhead(chain, places), abs=1e-9)
    assert profile.summed_curvature.at(places) == pytest.approx(walk.summed_curvature(chain, places), abs=1e-9)
    assert profile.compensated.at(places) == pytest.approx(walk.compensated(chain, places), abs=1e-9)

    at_a_point = walk.ruling(chain, STEP)
    ruling = profile.ruling()
    # slopes change evenly on every piece whose ends the walk samples, so the two agree to rounding
    assert ruling.effective == pytest.approx(at_a_point.effective, abs=1e-8)
    assert ruling.effective == pytest.approx(ruling.grade + ruling.curve, abs=1e-12)
    where = 0.5 * (ruling.start + ruling.stop)
    assert any(a - STEP <= where <= b + STEP for a, b in at_a_point.stretches)

    if chain.lap:
        length = min(length, profile.length)
    value, at = profile.ruling_under_train(length)
    sampled, _ = walk.ruling_under(chain, length, STEP)
    assert sampled - 1e-9 <= value <= sampled + walk.shortfall_under(chain, length, STEP) + 1e-9
    average = (walk.compensated(chain, at) - walk.compensated(chain, at - length)) / length
    assert float(average) == pytest.approx(value, abs=1e-8)


@given(layouts())
@settings(max_examples=50, deadline=None)
def test_demand_and_pull_at_every_place(layout: Layout) -> None:
    plan, profile = engine(layout.text)
    train = build_train(plan, plan.trains[TRAIN])
    walked = walk.walk(layout.chain, with_lowest_rolling(layout).train, STEP)
    own = [demand_at(profile, train, head)[1] for head in walked.head[::7]]
    assert own == pytest.approx(walked.own[::7], abs=1e-8)
    need = demand(profile, train)
    easiest = walked.easiest + walked.own_easiest
    assert need.running.at(walked.head) == pytest.approx(walked.running + walked.own, abs=1e-8)
    assert need.starting.at(walked.head) == pytest.approx(walked.starting + walked.own_starting, abs=1e-8)
    assert need.least.at(walked.head) == pytest.approx(easiest, abs=1e-8)
    given_here = supply(profile, train, AS_PLANNED, Pulls(plan))
    middle = 0.5 * (walked.head[:-1] + walked.head[1:])
    for pull, sampled in ((given_here.standing, walked.standing), (given_here.slipping, walked.slipping)):
        there = pull.at(middle) if not isinstance(pull, float) else [pull] * middle.size
        assert there == pytest.approx(sampled, abs=1e-8)


@given(layouts(), st.sampled_from([AS_PLANNED, "clean", "treated"]))
@settings(max_examples=75, deadline=None)
def test_verdict(layout: Layout, rail: str) -> None:
    plan, profile = engine(layout.text)
    chain = layout.chain if rail == AS_PLANNED else walk.on_rail(layout.chain, rail)
    walked = walk.walk(chain, with_lowest_rolling(layout).train, STEP)
    verdict = verdict_of(plan, profile, rail)
    doubt = walk.shortfall(chain, layout.train, STEP) + 1e-8

    least, _ = walked.least("stand")
    assert least - doubt <= verdict.margin <= least + 1e-8
    found = {
        "stand": verdict.stalling,
        "restart": verdict.no_stopping,
        "slip": verdict.no_recovery,
    }
    for test, stretches in found.items():
        if not walked.passes(test) and walked.least(test)[0] < -1e-8:
            assert stretches
        if walked.least(test)[0] > doubt:
            assert not stretches
        sampled = walked.stretches(test)
        exact = [(s.start, s.stop) for s in stretches]
        assert mismatch(exact, sampled) <= 2 * STEP * (len(exact) + len(sampled) + 2)
    held, _ = walked.least("hold")
    if held < -1e-8:
        assert not verdict.holds_back
    if held > doubt:
        assert verdict.holds_back
    spares = {test: walked.least(test)[0] for test in TESTS}
    least = min(spares.values())
    assert least - doubt <= verdict.spare <= max(least, 0.0 if least > -1e-8 else least) + 1e-8
    # above 0 where all tests are passed, below where one is not, and nowhere else
    assert (verdict.spare < 0) == (verdict.outcome != "climbs")
    if least < -1e-8 and not all(walked.passes(test) for test in TESTS):
        assert verdict.spare < 0
    if least > doubt:
        assert verdict.spare > 0
    assert walked.left_at(verdict.spare_by, verdict.spare_at) == pytest.approx(verdict.spare, abs=doubt)
    failing = [test for test, stretches in found.items() if stretches]
    assert verdict.climb == ("climbs" if not failing else "stalls" if "stand" in failing else "marginal")


class LessPull(Pulls):
    """The pulls of a plan, each less by a force, N."""

    def __init__(self, plan: Plan, less: float) -> None:
        super().__init__(plan)
        self.less = less

    def _pull(self, state: State, loco: Loco, condition: str) -> Pull:
        pull = super()._pull(state, loco, condition)
        return replace(pull, value=pull.value - self.less)


@given(layouts(), st.sampled_from([AS_PLANNED, "clean", "treated"]))
@settings(max_examples=50, deadline=None)
def test_a_train_climbs_with_what_it_has_to_spare_taken_from_its_pull_and_not_with_more(
    layout: Layout, rail: str
) -> None:
    plan, profile = engine(layout.text)
    train = build_train(plan, plan.trains[TRAIN])
    spare = judge(profile, train, rail, Pulls(plan)).spare
    for change, climbs in ((-1e-6, True), (1e-6, False)):
        less = (spare + change) / (train.together * len(train.locos))
        found = judge(profile, train, rail, LessPull(plan, less))
        assert (found.outcome == "climbs") == climbs
        assert found.spare == pytest.approx(-change, abs=1e-9)


def with_lowest_rolling(layout: Layout) -> Layout:
    """The walk is told of the lowest rolling resistance what the engine assumes: 0.4 of a figure without spread."""
    vehicles = tuple(
        replace(v, lowest=0.4 * v.rolling) if isinstance(v, walk.Car) and v.lowest is None else v
        for v in layout.train.vehicles
    )
    return replace(layout, train=replace(layout.train, vehicles=vehicles))


@given(layouts(most=8), st.sampled_from([AS_PLANNED, "clean", "treated"]))
@settings(max_examples=50, deadline=None)
def test_longest_train(layout: Layout, rail: str) -> None:
    """Against the verdict on ever longer trains, which is held against the walk."""
    plan, profile = engine(layout.text)
    climb = LoadSearch(plan, profile, plan.powers[layout.power], plan.cars[layout.car], Pulls(plan))
    load = climb.load(rail, [Room("the route", 1e3, "route")])
    most = 40
    trains = (headed_by(plan, climb.power, climb.car, count) for count in range(1, most + 1))
    outcomes = ["climbs", *(judge(profile, train, rail, climb.pulls).outcome for train in trains)]
    limit = next((n for n, outcome in enumerate(outcomes) if outcome in FAILS), most + 1) - 1
    rated = next((n for n, outcome in enumerate(outcomes) if outcome != "climbs"), most + 1) - 1
    assert (min(load.rated, most), min(load.limit, most)) == (rated, limit)
    if load.rated < 999:
        assert load.binds is not None
        assert load.binds.cars == load.rated + 1
        assert load.binds.demand > load.binds.pull
