"""What to do about a train that does not climb: every way is checked again by judging what it leaves."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from checked import check
from gradehaul.errors import quoted
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.train import build_train
from gradehaul.plan import load_plan, read_plan
from gradehaul.treatment.helping import helper_districts, helps
from gradehaul.treatment.ways_over import Doubling, WaysOver, _splits, cars_to_leave, doubling, ways_over
from treatment.plans import Line, lines

FILM = ("treated", "treated fresh")


def outcome(line: Line, consist: tuple[str, ...], rail: str = "clean") -> str:
    return Layout(read_plan(replace(line, consist=consist).text({}))).verdict("up", rail=rail).outcome


def without_last(consist: tuple[str, ...], left: int) -> tuple[str, ...]:
    """Return a consist without so many of its last cars."""
    kept = []
    for cut in reversed(consist):
        gone = 0
        if cut.endswith(" ore"):
            count = int(cut.split()[0])
            gone = min(count, left)
            left -= gone
            cut = f"{count - gone} ore"  # noqa: PLW2901
        if not cut.startswith("0 "):
            kept.append(cut)
    return tuple(reversed(kept))


@settings(max_examples=15, deadline=None)
@given(lines(most=6))
def test_as_many_cars_are_left_as_it_takes_and_no_more(line: Line) -> None:
    layout = Layout(read_plan(line.text({})))
    for way in ways_over(layout, check(layout.plan, rails=FILM)):
        if way.outcome == "too long":  # for the line itself, which the pull has nothing to do with
            continue
        tried = [
            outcome(line, without_last(line.consist, left), way.rail) == "climbs"
            for left in range(way.cars + 1 if way.leave is None else way.leave + 1)
        ]
        assert tried.count(True) == (way.leave is not None)
        assert way.leave is None or tried[-1]


@settings(max_examples=25, deadline=None)
@given(lines(most=6), st.integers(2, 14))
def test_both_parts_of_a_doubled_train_climb(line: Line, cars: int) -> None:
    line = replace(line, consist=("mule", f"{cars} ore"))
    layout = Layout(read_plan(line.text({})))
    profile = layout.profile("Up")
    train = build_train(layout.plan, layout.plan.trains["up"])
    found = list(_splits(profile, train, "clean", layout.pulls))
    splits = [n for n in range(1, cars) if outcome(line, ("mule", f"{n} ore")) == "climbs"]
    both = [n for n in splits if cars - n in splits]
    assert found == [Doubling(front, cars - front) for front in both]


def passing(foot: float, summit: float, stub: str = "0.3") -> Layout:
    """A hill between a berth and another with a passing track beside it."""
    return Layout(
        read_plan(f"""
scale = "HO"
unit = "m"
railhead = {{ West = 0, Foot = 0, Top = 0.1, East = 0.1 }}
line.Yard = {{ from = "West", to = "Foot", track = [{{ straight = 2, berth = "Staging", clear = {foot} }}] }}
line.Hill = {{ from = "Foot", to = "Top", track = [{{ straight = 4 }}] }}
line.Over = {{ from = "Top", to = "East", track = [{{ straight = 2, berth = "Summit", clear = {summit} }}] }}
line.Side = {{ from = "Top", to = "East", track = [{{ straight = 2 }}] }}
line.Stub = {{ from = "East", to = "End", track = [{{ straight = {stub} }}] }}
turnout.Top = {{ toe = "Hill", legs = ["Over", "Side"] }}
turnout.East = {{ toe = "Stub", legs = ["Over", "Side"] }}
loco.tank = {{ mass = "400 g", length = 0.2, pull.clean = "80 gf" }}
car.ore = {{ mass = "100 g", length = 0.14 }}
train.up = {{ route = "Up", consist = ["tank", "10 ore"] }}
route.Up = {{ from = "Staging", to = "Summit", via = ["Over"] }}
""")
    )


@pytest.mark.parametrize(
    ("foot", "summit", "stub", "found"),
    [
        (2, 2, "0.3", Doubling(5, 5)),
        (0.6, 2, "0.3", Doubling(6, 4)),
        (0.3, 2, "0.3", "foot"),
        (2, 1.7, "0.3", Doubling(5, 5)),
        (2, 1.5, "0.3", "summit"),
        (2, 2, "0.1", "return"),
    ],
)
def test_both_parts_must_stand_and_the_engine_come_back(foot, summit, stub, found) -> None:
    layout = passing(foot, summit, stub)
    train = build_train(layout.plan, layout.plan.trains["up"])
    assert doubling(layout, layout.profile("Up"), train, "treated") == found


@pytest.mark.parametrize(("runs", "found"), [("both", Doubling(5, 5)), ("forward", "return")])
def test_an_engine_that_pushed_its_cars_up_goes_back_over_the_hill(runs, found) -> None:
    layout = Layout(
        read_plan(f"""
scale = "HO"
unit = "m"
railhead = {{ West = 0, Switch = 0, Top = 0.1, East = 0.1 }}
line.Yard = {{ from = "West", to = "Switch", track = [{{ straight = 2, berth = "Staging", clear = 2 }}] }}
line.Tail = {{ from = "Switch", to = "End", track = [{{ straight = 2, rise = 0 }}] }}
line.Hill = {{ from = "Switch", to = "Top", track = [{{ straight = 4 }}], runs = "{runs}" }}
line.Over = {{ from = "Top", to = "East", track = [{{ straight = 2, berth = "Summit", clear = 2 }}] }}
turnout.Switch = {{ toe = "Tail", legs = ["Yard", "Hill"] }}
loco.tank = {{ mass = "400 g", length = 0.2, pull.clean = "80 gf" }}
car.ore = {{ mass = "100 g", length = 0.14 }}
train.up = {{ route = "Up", consist = ["tank", "10 ore"] }}
route.Up = {{ from = "Staging", to = "Summit", reversals = 1 }}
""")
    )
    train = build_train(layout.plan, layout.plan.trains["up"])
    assert doubling(layout, layout.profile("Up"), train, "treated") == found


def test_a_helper_between_the_cars_cannot_be_doubled() -> None:
    line = Line(('straight = 5000, grade = "4 %"',), ("mule", "8 ore", "mule"), (None,), "")
    layout = Layout(read_plan(line.text({})))
    (first, *_) = ways_over(layout, check(layout.plan, rails=FILM))
    assert first.double == "order"


HILL = """
scale = "HO"
unit = "m"
railhead = { West = 0, Foot = 0, Top = 0.1, East = 0.1 }
line.Yard = { from = "West", to = "Foot", track = [{ straight = 5 }] }
line.Hill = { from = "Foot", to = "Top", track = [{ straight = 4 }] }
line.Over = { from = "Top", to = "Beyond", track = [{ straight = 2, rise = 0 }] }
line.Rest = { from = "Beyond", to = "East", track = [{ straight = 3 }] }
loco.tank = { mass = "400 g", length = "200 mm", pull.clean = "80 gf" }
loco.shunter = { mass = "60 g", length = "100 mm", pull.clean = "3 gf" }
car.ore = { mass = "100 g", length = "140 mm" }
train.up = { route = "Up", consist = ["tank", "10 ore"] }
route.Up = { from = "West", to = "East" }
"""


def test_a_helper_is_on_from_the_last_joint_before_the_trouble_to_the_first_after_it() -> None:
    layout = Layout(read_plan(HILL))
    settled = ways_over(layout, check(layout.plan, rails=FILM))[0]
    assert {(d.on, d.off) for each in settled.help for d in each.districts} == {("Foot", "Beyond")}
    enough = {(each.loco, each.where): each.enough for each in settled.help}
    obstacles = {(each.where, each.obstacle) for each in settled.help}
    # ahead of the train it has no track to get out of its way
    assert obstacles == {("head", "off"), ("tail", None)}
    assert not enough["tank", "head"]
    assert enough["tank", "tail"]
    spur = """
line.Spur = { from = "Beyond", to = "Pocket", track = [{ straight = 0.25 }] }
turnout.Beyond = { toe = "Rest", legs = ["Over", "Spur"] }
"""
    with_spur = Layout(read_plan(HILL.replace("loco.tank", spur + "loco.tank")))
    assert {each.obstacle for each in ways_over(with_spur, check(with_spur.plan, rails=FILM))[0].help} == {None}
    assert not enough["shunter", "head"]
    assert not enough["shunter", "tail"]


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(lines(most=8))
def test_outside_its_districts_a_train_needs_no_help(line: Line) -> None:
    layout = Layout(read_plan(line.text({})))
    verdict = layout.verdict("up", rail="treated")
    assume(verdict.climb != "climbs")
    train = build_train(layout.plan, layout.plan.trains["up"])
    districts = helper_districts(layout, layout.profile("Up"), train, verdict)
    failing = (*verdict.stalling, *verdict.no_stopping, *verdict.no_recovery)
    assert failing
    for stretch in failing:
        # a train that does not yet stand on the route has no helper
        start = max(stretch.start, min(train.length, layout.profile("Up").length))
        assert any(d.on_at <= start and stretch.stop <= d.off_at + 1e-9 for d in districts)
    ends = [d.on_at for d in districts[1:]]
    assert all(before.off_at < after for before, after in zip(districts, ends, strict=False))


@pytest.mark.parametrize("name", ["first-hill", "two-levels", "n-mountain", "yard"])
def test_the_demo_plans_have_a_way_over_for_every_train_in_need(name: str) -> None:
    plan = load_plan(f"plans/{name}.toml")
    answer = check(plan, rails=FILM)
    found = ways_over(Layout(plan), answer)
    needy = [(t.name, t.rail) for t in answer.trains if t.rail in answer.judged_rails and t.verdict.outcome != "climbs"]
    assert [(way.train, way.rail) for way in found] == needy


def test_locomotives_that_do_not_climb_alone_leave_no_number() -> None:
    line = Line(('straight = 5000, grade = "9 %"',) * 2, ("dray", "2 ore"), (None, None), "")
    steep = line.text({}).replace('mass = "420 g"', 'mass = "4200 g"')
    layout = Layout(read_plan(steep))
    train = build_train(layout.plan, layout.plan.trains["up"])
    assert cars_to_leave(layout, layout.profile("Up"), train, "clean") is None


# Reversals

SWITCHBACK = (
    Path("plans/switchback.toml").read_text(encoding="utf-8")
    + """
[loco.pug]
mass = "60 g"
length = 60
pull.clean = "14 gf"
"""
)
TRAIN = 'consist = ["shunter", "5 tub", "brake"]'


def switchback(mass: int, consist: str = TRAIN) -> Layout:
    text = SWITCHBACK.replace('mass = "38 g"', f'mass = "{mass} g"').replace(TRAIN, consist)
    assert consist in text
    return Layout(read_plan(text))


def needy(layout: Layout) -> list[WaysOver]:
    return [way for way in ways_over(layout, check(layout.plan, rails=FILM)) if way.train == "empties"]


@pytest.mark.parametrize("mass", [80, 110, 130, 160])
def test_over_reversals_each_part_runs_the_whole_route(mass: int) -> None:
    found = needy(switchback(mass))
    assert found
    for way in found:

        def climbs(consist: str, rail: str = way.rail) -> bool:
            layout = switchback(mass, f'consist = ["shunter"{consist}]')
            return layout.verdict("empties", rail=rail).outcome == "climbs"

        cars = ['"1 tub"'] * 5 + ['"brake"']
        fronts = {n: climbs("".join(f", {car}" for car in cars[:n])) for n in range(7)}
        rears = {n: climbs("".join(f", {car}" for car in cars[n:])) for n in range(7)}
        assert way.leave == next((left for left in range(7) if fronts[6 - left]), None)
        splits = [n for n in range(1, 6) if fronts[n] and rears[n]]
        # the berth at the quarry has no way out past the cars
        assert way.double == ("return" if splits else "pull")


@pytest.mark.parametrize("mass", [80, 110, 130, 160])
def test_over_reversals_helpers_are_told_leg_by_leg(mass: int) -> None:
    layout = switchback(mass)
    profile = layout.profile("Up to the quarry")
    length = build_train(layout.plan, layout.plan.trains["empties"]).length
    (lower, upper) = (layout.tail_room(tail) for tail in profile.route.tails)
    starts = {leg.route.number: (start, start + leg.length) for leg, start in profile.runs}
    seen = set()
    for way in needy(layout):
        alone = layout.verdict("empties", rail=way.rail)
        failing = (*alone.stalling, *alone.no_stopping, *alone.no_recovery)
        legs = {leg for leg, (a, b) in starts.items() if any(a <= s.start and s.stop <= b for s in failing)}
        assert {each.leg for each in way.help} == legs
        for stretch in failing:
            districts = {d for each in way.help for d in each.districts}
            assert any(d.on_at <= stretch.start and stretch.stop <= d.off_at + 1e-9 for d in districts)
        for each in way.help:
            seen.add((each.leg, each.where, each.fits, each.enough))
            loco = layout.plan.locos[each.loco]
            if each.obstacle is not None:
                assert each.fits or length + loco.length > min(lower, upper)
                assert not each.enough
                continue
            # what leads on a leg that is run turned is the train's last vehicle as it starts
            ahead = (each.where == "head") != (each.leg == 2)
            order = [each.loco, "shunter", "5 tub", "brake"] if ahead else ["shunter", "5 tub", "brake", each.loco]
            consist = f"consist = [{', '.join(map(quoted, order))}]"
            helped = switchback(mass, consist).verdict("empties", rail=way.rail)
            shift = loco.length if each.where == "head" else 0.0
            left = any(
                s.start < min(d.off_at + shift, starts[each.leg][1]) and s.stop > d.on_at + shift
                for d in each.districts
                for s in (*helped.stalling, *helped.no_stopping, *helped.no_recovery)
                if starts[each.leg][0] <= s.start and s.stop <= starts[each.leg][1]
            )
            assert each.enough == (not left)
    assert {leg for leg, *_ in seen} == {1, 2, 3}
    assert {fits for _, _, fits, _ in seen} == {True, False}


def test_a_train_too_long_for_its_berth_leaves_the_cars_that_stick_out():
    """A berth of 1.8 m, an engine of 0.2 m and cars of 0.14 m: eleven fit, though the engine pulls more."""
    plan = read_plan("""
        scale = "HO"
        unit = "m"
        railhead = { Foot = 0, Top = 0.02 }
        line.Yard = { from = "Far", to = "Foot", track = [{ straight = 1.8 }], berth = "Siding" }
        line.Hill = { from = "Foot", to = "Top", track = [{ straight = 4 }] }
        loco.tank = { mass = "400 g", length = "200 mm", pull.clean = "90 gf" }
        car.ore = { mass = "100 g", length = "140 mm" }
        train.up = { route = "Up", consist = ["tank", "13 ore"] }
        route.Up = { from = "Siding", to = "Top" }
    """)
    layout = Layout(plan)
    (found,) = ways_over(layout, check(plan, rails=["clean"]))
    assert (found.outcome, found.leave) == ("too long", 2)


ZIGZAG = """
scale = "HO"
unit = "m"
railhead = { Mill = 0, Points = 0 }
line.Bottom = { from = "Mill", to = "Points", track = [{ straight = 5, berth = "Yard" }, { straight = 2 }] }
line.Tail = { from = "Points", to = "Stop", track = [{ straight = TAIL, rise = 0 }] }
line.Top = { from = "Points", to = "Quarry", track = [
{ straight = 4, grade = "2.5 %" }, { straight = 3, rise = 0, berth = "Loader" },
] }
turnout.Points = { toe = "Tail", legs = ["Bottom", "Top"] }
route.Up = { from = "Yard", to = "Loader", reversals = 1 }
loco.tank = { mass = "0.3 kg", length = 0.2, pull.clean = "0.6 N", slipping.clean = "0.5 N" }
car.ore = { mass = "0.1 kg", length = 0.15, rolling = "1 %" }
train.up = { route = "Up", consist = ["tank", "16 ore"] }
"""


@pytest.mark.parametrize(("tail", "found"), [("1.5", Doubling(8, 8)), ("0.8", "pull")])
def test_both_parts_of_a_doubled_train_fit_the_tail_where_they_reverse(tail, found) -> None:
    layout = Layout(read_plan(ZIGZAG.replace("TAIL", tail)))
    train = build_train(layout.plan, layout.plan.trains["up"])
    assert doubling(layout, layout.profile("Up"), train, "clean") == found


@pytest.mark.parametrize(("tail", "enough"), [("3.4", True), ("0.8", False)])
def test_no_helper_makes_a_train_fit(tail, enough) -> None:
    layout = Layout(read_plan(ZIGZAG.replace("TAIL", tail)))
    train = build_train(layout.plan, layout.plan.trains["up"])
    found = helps(layout, layout.profile("Up"), train, "clean", [layout.plan.locos["tank"]])
    assert any(each.enough for each in found) is enough
