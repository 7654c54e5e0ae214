"""What must not change an answer: the size of the railway, units, direction of writing, where tracks are cut."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.demand import gravity_and_curves
from gradehaul.haulage.longest import Climb, Load
from gradehaul.haulage.profile import RouteProfile, lay_strip, route_profile, steepest_on_ways
from gradehaul.haulage.resistance import curve_costs
from gradehaul.haulage.train import made_up
from gradehaul.haulage.verdict import Verdict, judge
from gradehaul.network.graph import MovementGraph
from gradehaul.network.route import Route
from gradehaul.network.routes import find_routes
from gradehaul.plan import read_plan
from gradehaul.plan.rail_condition import AS_PLANNED
from gradehaul.plan.records import Line, Plan, Track
from gradehaul.quantities import Reading
from gradehaul.track.alignment import align
from strategies import ROUTE, TRAIN, Layout, layouts


def profile_of(plan: Plan, *, reverse: int = 0) -> RouteProfile:
    strip = lay_strip(align(plan))
    curves = curve_costs(plan.curve_resistance, plan.scale)
    routes = find_routes(MovementGraph(plan), steepest_on_ways(strip, curves.coefficient)).routes
    (route,) = (route for route in routes if route.name == ROUTE)
    for _ in range(reverse):
        route = turned(route)
    return route_profile(strip, route, curves)


def turned(route: Route) -> Route:
    return replace(
        route,
        ways=tuple(way.turned() for way in reversed(route.ways)),
        start_berth=route.end_berth,
        end_berth=route.start_berth,
    )


def answers(layout: Layout, plan: Plan, *, reverse: int = 0) -> tuple[RouteProfile, Verdict, Load]:
    profile = profile_of(plan, reverse=reverse)
    pulls = Pulls(plan)
    climb = Climb(plan, profile, plan.powers[layout.power], plan.cars[layout.car], pulls)
    return profile, judge(profile, made_up(plan, plan.trains[TRAIN]), AS_PLANNED, pulls), climb.load(AS_PLANNED)


def margins_are_clear(verdict: Verdict, load: Load) -> bool:
    """Whether no count and no outcome hangs on the last digit."""
    clear = abs(verdict.margin) > 1e-7
    return clear and (load.binds is None or load.binds.demand - load.binds.pull > 1e-7)


def cut(plan: Plan, number: int, share: float) -> Plan | None:
    """Cut one track of the plan in two; None for a track that is no plain straight or curve."""
    track = list(plan.tracks.values())[number % len(plan.tracks)]
    if track.kind == "easement" or track.ease or track.grade is None:
        return None
    line = plan.lines[track.line]
    at = track.number - 1
    first, second = replace(track, length=share * track.length), replace(track, length=(1 - share) * track.length)
    tracks = (*line.tracks[:at], first, second, *line.tracks[at + 1 :])
    renumbered = tuple(
        replace(t, id=f"{line.name}:{n}", name=f"{line.name}:{n}", number=n) for n, t in enumerate(tracks, 1)
    )
    berths = dict(plan.berths)
    for berth in plan.berths.values():
        if berth.line == line.name:
            old = [int(t.rpartition(":")[2]) for t in berth.tracks]
            new = sorted({n + (n > track.number) for n in old} | ({track.number + 1} if track.number in old else set()))
            berths[berth.name] = replace(berth, tracks=tuple(f"{line.name}:{n}" for n in new))
    return replace(plan, lines={**plan.lines, line.name: replace(line, tracks=renumbered)}, berths=berths)


@given(layouts(most=6), st.integers(0, 20), st.floats(0.05, 0.95))
@settings(max_examples=50, deadline=None)
def test_cutting_a_track_in_two(layout: Layout, number: int, share: float) -> None:
    plan = read_plan(layout.text)
    split = cut(plan, number, share)
    assume(split is not None)
    assert split is not None
    whole_profile, whole_verdict, whole_load = answers(layout, plan)
    profile, verdict, load = answers(layout, split)
    places = [profile.length * k / 23 for k in range(24)]
    assert profile.effort.at(places) == pytest.approx(whole_profile.effort.at(places), abs=1e-9)
    assert profile.ruling().effective == pytest.approx(whole_profile.ruling().effective, abs=1e-9)
    assert verdict.margin == pytest.approx(whole_verdict.margin, abs=1e-8)
    if margins_are_clear(whole_verdict, whole_load):
        assert verdict.outcome == whole_verdict.outcome
        assert (load.rated, load.limit) == (whole_load.rated, whole_load.limit)


@given(layouts(lap=False, most=6), st.floats(0.1, 3.0))
@settings(max_examples=40, deadline=None)
def test_a_flat_lead_in_without_vertical_curves(layout: Layout, lead: float) -> None:
    plan = read_plan(layout.text)
    route = replace(plan.routes[ROUTE], origin="Post 0")
    plan = replace(plan, vertical_curve=0.0, berths=MappingProxyType({}), routes={ROUTE: route})
    rail = next(
        way.rail
        for line in plan.lines.values()
        for way, joint in ((line.tracks[0], line.start), (line.tracks[-1], line.finish))
        if joint == "Post 0"
    )
    flat = Track("Lead:1", "Lead:1", "Lead", 1, "straight", lead, grade=0.0, rail=rail)
    line = Line("Lead", "Start of lead", "Post 0", (flat,))
    joints = dict(plan.joints)
    post = joints["Post 0"]
    far, near = (type(post.ends[0])("Lead", end) for end in ("from", "to"))
    joints["Post 0"] = replace(post, kind="plain", ends=(*post.ends, near), through=((post.ends[0], near),))
    joints["Start of lead"] = replace(post, name="Start of lead", kind="end", ends=(far,), through=())
    # an easement at the very start eases from straight either way
    led = replace(
        plan,
        lines={**plan.lines, "Lead": line},
        joints=joints,
        routes={ROUTE: replace(route, origin="Start of lead")},
    )
    _, bare, bare_load = answers(layout, plan)
    profile, verdict, load = answers(layout, led)
    # on the lead itself a train has all of its pull to spare, so the least margin is where it was
    assert profile.length == pytest.approx(profile_of(plan).length + lead, abs=1e-9)
    if margins_are_clear(bare, bare_load):
        assert verdict.outcome == bare.outcome
        assert (load.rated, load.limit) == (bare_load.rated, bare_load.limit)
    assert verdict.margin <= bare.margin + 1e-9


@given(layouts(most=6))
@settings(max_examples=30, deadline=None)
def test_reversing_a_route_twice(layout: Layout) -> None:
    plan = read_plan(layout.text)
    profile, verdict, load = answers(layout, plan)
    again, verdict_again, load_again = answers(layout, plan, reverse=2)
    assert (verdict, load) == (verdict_again, load_again)
    back = profile_of(plan, reverse=1)
    assert back.climb == pytest.approx(profile.fall, abs=1e-9)
    places = [profile.length * k / 17 for k in range(18)]
    height_back = back.railhead.at([profile.length - s for s in places])
    assert profile.railhead.at(places) == pytest.approx(height_back, abs=1e-9)
    assert again.turning.ends[-1] == pytest.approx(back.turning.ends[-1], abs=1e-9)


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
        strip = lay_strip(align(plan))
        curves = curve_costs(plan.curve_resistance, plan.scale)
        (route,) = find_routes(MovementGraph(plan), steepest_on_ways(strip, curves.coefficient)).routes
        profile = route_profile(strip, route, curves)
        climb = Climb(plan, profile, plan.powers["mogul"], plan.cars["hopper"], Pulls(plan))
        loads.append((profile, [climb.load(rail) for rail in ("clean", "treated")]))
    (one, some), (other, others) = loads
    assert other.length == pytest.approx(one.length, rel=1e-12)
    assert other.ruling().effective == pytest.approx(one.ruling().effective, rel=1e-9)
    assert [(x.rated, x.limit) for x in others] == [(x.rated, x.limit) for x in some]
    assert 0 < some[1].rated < some[0].rated


@given(layouts(most=5))
@settings(max_examples=25, deadline=None)
def test_equal_cars_cost_the_same_as_one_block(layout: Layout) -> None:
    """A car is lifted alike whether it is told as one of many or alone."""
    plan = read_plan(layout.text)
    profile = profile_of(plan)
    train = made_up(plan, plan.trains[TRAIN])
    singly = replace(train, blocks=tuple(replace(block, count=1) for block in train.blocks for _ in range(block.count)))
    places = [profile.length * k / 19 for k in range(20)]
    one, other = gravity_and_curves(profile, train), gravity_and_curves(profile, singly)
    inside = [p for p in places if one.start <= p]
    assert one.at(inside) == pytest.approx(other.at(inside), abs=1e-9)
