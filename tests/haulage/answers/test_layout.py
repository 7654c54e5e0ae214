"""A layout that is asked: it answers as the whole check does, and names what it does not know."""

from __future__ import annotations

import pytest

from checked import check
from gradehaul.errors import RouteError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan

PLAN = """
scale = "HO"
unit = "m"
railhead = { Wharf = 0, Summit = 0.12 }
curve_resistance = { model = "coefficient", coefficient = "8 mm" }
rail.wax = { metal = { fresh = 0.6, settled = 0.8 }, tyred = { fresh = 0.4, settled = 0.5 } }
[line.Main]
from = "Wharf"
to = "Junction"
track = [
  { straight = 2.5, rise = 0, berth = "Wharf yard" },
  { straight = 2, grade = "2 %" },
  { left = 0.8, angle = 90, rail = "wax" },
]
[line.Hill]
from = "Junction"
to = "Summit"
track = [{ straight = 3 }]
[line.Spur]
from = "Junction"
to = "Quarry"
track = [{ right = 1, angle = 30 }, { straight = 1.5, rise = 0, berth = "Quarry loading" }]
[turnout.Junction]
toe = "Main"
legs = ["Hill", "Spur"]
[route."Up ore"]
from = "Wharf yard"
to = "Summit"
[route."Quarry turn"]
from = "Wharf yard"
to = "Spur.to"
[loco.articulated]
mass = "480 g"
length = 0.29
driven_wheels = 12
tyred_wheels = 2
pull.clean = "0.85 N"
[loco.switcher]
mass = "250 g"
length = 0.16
[power.pair]
locos = ["articulated", "switcher"]
[car.ore]
mass = "100 g"
length = 0.14
[car.caboose]
length = 0.12
[train.morning]
route = "Up ore"
consist = ["articulated", "8 ore", "caboose"]
[train.helped]
route = "Up ore"
consist = ["articulated", "12 ore", "caboose", "switcher"]
[train.empties]
route = "Quarry turn"
consist = ["switcher", "4 ore"]
"""


@pytest.fixture(scope="module")
def layout() -> Layout:
    return Layout(read_plan(PLAN))


def test_the_longest_train_is_that_of_the_whole_check(layout: Layout) -> None:
    answer = check(layout.plan)
    seen = 0
    for route in answer.routes:
        for load in route.loads:
            asked = layout.longest_train(route.route.name, load.power, load.car, rail=load.rail)
            assert asked == load
            seen += 1
    assert seen == 2 * 3 * 2 * 5  # routes, powers, cars, and rails: clean, two ages of the film, as planned at both


def test_the_verdict_is_that_of_the_whole_check(layout: Layout) -> None:
    answer = check(layout.plan)
    assert [(train.name, train.rail) for train in answer.trains] == [
        (name, rail) for name in ("morning", "helped", "empties") for rail in layout.rails
    ]
    for train in answer.trains:
        assert layout.verdict(train.name, rail=train.rail) == train.verdict


def test_rail_is_clean_where_nothing_is_said(layout: Layout) -> None:
    clean = layout.longest_train("Up ore", "articulated", "ore", rail="clean")
    assert layout.longest_train("Up ore", "articulated", "ore") == clean
    assert clean.rail == "clean"
    assert layout.verdict("morning") == layout.verdict("morning", rail="clean")


# What it does not know

RAILS = 'one of "clean", "wax", "wax fresh", "as planned", "as planned fresh"'


@pytest.mark.parametrize(
    ("asked", "kind", "unknown", "write"),
    [
        (("Up or", "pair", "ore", "clean"), "route", "Up or", '"Up ore"'),
        (("Quary turn", "pair", "ore", "clean"), "route", "Quary turn", '"Quarry turn"'),
        (("Up ore", "artikulated", "ore", "clean"), "power", "artikulated", '"articulated"'),
        (("Up ore", "pairs", "ore", "clean"), "power", "pairs", '"pair"'),
        (("Up ore", "pair", "cabose", "clean"), "car", "cabose", '"caboose"'),
        (("Up ore", "pair", "articulated", "clean"), "car", "articulated", 'one of "ore", "caboose"'),
        (("Up ore", "pair", "ore", "waxed"), "rail condition", "waxed", '"wax"'),
        (("Up ore", "pair", "ore", "wax frsh"), "rail condition", "wax frsh", '"wax fresh"'),
        (("Up ore", "pair", "ore", "treated"), "rail condition", "treated", RAILS),
        (("Up ore", "pair", "ore", ""), "rail condition", "", RAILS),
    ],
)
def test_an_unknown_name_is_told_with_the_nearest(
    layout: Layout, asked: tuple[str, str, str, str], kind: str, unknown: str, write: str
) -> None:
    route, power, car, rail = asked
    with pytest.raises(RouteError) as caught:
        layout.longest_train(route, power, car, rail=rail)
    assert str(caught.value) == f'plan.toml: the plan has no {kind} of this name, got "{unknown}"; write {write}'


def test_a_plan_without_trains_has_none_to_name() -> None:
    bare = Layout(read_plan(PLAN.partition("[train.morning]")[0]))
    with pytest.raises(RouteError, match="the plan has no train of this name"):
        bare.verdict("morning")
    assert bare.longest_train("Up ore", "pair", "ore").rated > 0


def test_an_unknown_route_is_told_by_route_and_profile_too(layout: Layout) -> None:
    for ask in (layout.route, layout.profile):
        with pytest.raises(RouteError, match='no route of this name, got "Down"'):
            ask("Down")


# Its parts


def test_as_planned_is_a_rail_only_where_the_plan_has_a_rail_key(layout: Layout) -> None:
    assert layout.rails == ("clean", "wax", "wax fresh", "as planned", "as planned fresh")
    bare = Layout(read_plan(PLAN.replace(', rail = "wax"', "")))
    assert bare.rails == ("clean", "wax", "wax fresh")
    with pytest.raises(RouteError, match='got "as planned"'):
        bare.longest_train("Up ore", "pair", "ore", rail="as planned")


def test_a_line_s_rail_key_counts_as_well() -> None:
    text = PLAN.replace(', rail = "wax"', "").replace("[line.Hill]\n", '[line.Hill]\nrail = "wax"\n')
    assert "as planned" in Layout(read_plan(text)).rails


def test_the_parts_of_a_layout(layout: Layout) -> None:
    assert layout.coefficient == pytest.approx(0.008)
    assert [route.name for route in layout.routes] == ["Up ore", "Quarry turn"]
    assert layout.routes == layout.found.routes
    assert set(layout.alignment.tracks) == set(layout.plan.tracks)
    assert layout.profile("Up ore").length == pytest.approx(
        sum(layout.plan.lines[name].length for name in ("Main", "Hill"))
    )
    assert layout.profile(layout.route("Up ore")).length == layout.profile("Up ore").length


def test_the_rooms_of_a_route_are_the_berths_it_begins_and_ends_in(layout: Layout) -> None:
    assert [room.name for room in layout.rooms(layout.route("Up ore"))] == ['berth "Wharf yard"']
    turn = layout.rooms(layout.route("Quarry turn"))
    assert [room.name for room in turn] == ['berth "Wharf yard"', 'berth "Quarry loading"']
    assert [room.length for room in turn] == pytest.approx(
        [layout.clear["Wharf yard"].length, layout.clear["Quarry loading"].length]
    )


def test_all_routes_are_listed_behind_the_declared_ones() -> None:
    layout = Layout(read_plan(PLAN), all_routes=True)
    assert [route.name for route in layout.routes][:2] == ["Up ore", "Quarry turn"]
    assert len({route.ways for route in layout.routes}) == len(layout.routes)
    assert {(route.origin, route.destination) for route in layout.routes} == {
        ("Wharf yard", "Summit"),
        ("Wharf yard", "Spur.to"),
        ("Summit", "Wharf yard"),
        ("Quarry loading", "Wharf yard"),
    }
