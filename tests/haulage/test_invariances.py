"""What must not change an answer: the size of the railway, and the units that a plan is written in."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.longest import Load, LoadSearch, Room
from gradehaul.haulage.profile import RouteProfile, route_profile, steepest_on_ways, way_profiles
from gradehaul.haulage.resistance import curve_costs
from gradehaul.haulage.train import build_train
from gradehaul.haulage.verdict import Verdict, judge
from gradehaul.network.graph import MovementGraph
from gradehaul.network.routes import find_routes
from gradehaul.plan import read_plan
from gradehaul.plan.rail_condition import AS_PLANNED
from gradehaul.plan.records import Plan
from gradehaul.quantities import Reading
from gradehaul.track.alignment import align
from strategies import ROUTE, TRAIN, Layout, layouts


def profile_of(plan: Plan) -> RouteProfile:
    laid = way_profiles(align(plan))
    curves = curve_costs(plan.curve_resistance, plan.scale)
    routes = find_routes(MovementGraph(plan), steepest_on_ways(laid, curves.coefficient)).routes
    (route,) = (route for route in routes if route.name == ROUTE)
    return route_profile(laid, route, curves)


def answers(layout: Layout, plan: Plan) -> tuple[RouteProfile, Verdict, Load]:
    profile = profile_of(plan)
    pulls = Pulls(plan)
    climb = LoadSearch(plan, profile, plan.powers[layout.power], plan.cars[layout.car], pulls)
    return (
        profile,
        judge(profile, build_train(plan, plan.trains[TRAIN]), AS_PLANNED, pulls),
        climb.load(AS_PLANNED, [Room("the route", 1e3, "route")]),
    )


def margins_are_clear(verdict: Verdict, load: Load) -> bool:
    """Whether no count and no outcome hangs on the last digit."""
    clear = abs(verdict.margin) > 1e-7
    return clear and (load.binds is None or load.binds.demand - load.binds.pull > 1e-7)


@given(layouts(most=6), st.sampled_from([0.1, 0.5, 3.0, 87.1]))
@settings(max_examples=30, deadline=None)
def test_the_size_of_the_railway(layout: Layout, size: float) -> None:
    """All lengths times k, all masses and forces times k cubed: every grade and every load stays as it was."""
    plan = read_plan(layout.text)
    _, verdict, load = answers(layout, plan)
    profile, big_verdict, big_load = answers(layout, grown(plan, size))
    assert profile.ruling().effective == pytest.approx(profile_of(plan).ruling().effective, abs=1e-9)
    assert big_verdict.margin == pytest.approx(verdict.margin * size**3, rel=1e-6, abs=1e-9 * size**3)
    if margins_are_clear(verdict, load):
        assert big_verdict.outcome == verdict.outcome
        assert (big_load.rated, big_load.limit) == (load.rated, load.limit)


def grown(plan: Plan, k: float) -> Plan:
    def readings(table: dict[str, tuple[Reading, ...]]) -> dict[str, tuple[Reading, ...]]:
        return {rail: tuple(Reading(r.value * k**3) for r in some) for rail, some in table.items()}

    lines = {
        name: replace(
            line,
            tracks=tuple(
                replace(t, length=t.length * k, curvature=t.curvature / k, ease=t.ease * k) for t in line.tracks
            ),
        )
        for name, line in plan.lines.items()
    }
    locos = {
        name: replace(
            loco,
            mass=loco.mass * k**3,
            on_drivers=loco.on_drivers * k**3,
            length=loco.length * k,
            pull=readings(dict(loco.pull)),
            slipping=readings(dict(loco.slipping)),
        )
        for name, loco in plan.locos.items()
    }
    cars = {name: replace(car, mass=car.mass * k**3, length=car.length * k) for name, car in plan.cars.items()}
    curves = replace(plan.curve_resistance, coefficient=(plan.curve_resistance.coefficient or 0.0) * k)
    railhead = {name: height * k for name, height in plan.railhead.items()}
    return replace(
        plan,
        lines=lines,
        locos=locos,
        cars=cars,
        railhead=railhead,
        curve_resistance=curves,
        vertical_curve=plan.vertical_curve * k,
    )


PLAN = """
scale = "HO"
unit = "{unit}"
railhead.Foot = {foot}
[line.Hill]
from = "Foot"
to = "Top"
track = [
  {{ straight = {a} }},
  {{ left = {r}, angle = 90, ease = {e}, grade = "2.5 %" }},
  {{ straight = {a}, rise = {rise} }},
]
[vertical_curve]
length = {e}
[loco.mogul]
mass = "{mass}"
length = {engine}
pull = {{ clean = "{pull}", treated = "{less}" }}
[car.hopper]
mass = "{car}"
length = {hopper}
[route.Up]
from = "Foot"
to = "Top"
"""


def test_the_units_that_a_plan_is_written_in() -> None:
    inch, ounce = 25.4, 28.349523125
    metric = {"unit": "mm", "foot": 0, "a": 900.0, "r": 600.0, "e": 200.0, "rise": 20.0, "engine": 200.0}
    metric |= {"hopper": 140.0, "mass": "300 g", "car": "100 g", "pull": "80 gf", "less": "50 gf"}
    imperial = {key: value / inch if isinstance(value, float) else value for key, value in metric.items()}
    imperial |= {"unit": "in", "mass": f"{300 / ounce!r} oz", "car": f"{100 / ounce!r} oz"}
    imperial |= {"pull": f"{80 / ounce!r} ozf", "less": f"{50 / ounce!r} ozf"}
    loads = []
    for words in (metric, imperial):
        plan = read_plan(PLAN.format(**words))
        laid = way_profiles(align(plan))
        curves = curve_costs(plan.curve_resistance, plan.scale)
        (route,) = find_routes(MovementGraph(plan), steepest_on_ways(laid, curves.coefficient)).routes
        profile = route_profile(laid, route, curves)
        climb = LoadSearch(plan, profile, plan.powers["mogul"], plan.cars["hopper"], Pulls(plan))
        loads.append((profile, [climb.load(rail, [Room("the route", 1e3, "route")]) for rail in ("clean", "treated")]))
    (one, some), (other, others) = loads
    assert other.length == pytest.approx(one.length, rel=1e-12)
    assert other.ruling().effective == pytest.approx(one.ruling().effective, rel=1e-9)
    assert [(x.rated, x.limit) for x in others] == [(x.rated, x.limit) for x in some]
    assert 0 < some[1].rated < some[0].rated
