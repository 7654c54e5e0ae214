"""The longest train: the first count that fails, what binds there, and the places that must hold the train."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradehaul.haulage.adhesion import GRAVITY
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.longest import Load, LoadSearch, Room
from gradehaul.haulage.train import headed_by
from gradehaul.haulage.verdict import FAILS, judge
from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.resolve.stock import MOST_CARS

CAR = 0.1 * GRAVITY
"""Weight of the car, N."""


def line(name: str, start: str, finish: str, track: str, more: str = "") -> str:
    return f'[line.{name}]\nfrom = "{start}"\nto = "{finish}"\ntrack = [{track}]\n{more}'


def layout_of(
    track: str,
    *,
    pull: float,
    slipping: float | None = None,
    rolling: float = 0.02,
    starting: float | None = None,
    car: float = 0.1,
    loco: str = 'mass = "0.001 g"\nlength = 0.001',
    route: str = 'from = "A"\nto = "B"',
    more: str = "",
) -> Layout:
    """Return a layout of one line with a locomotive of next to no mass, and cars of 100 g.

    Pulls are in weights of a car; slipping and starting are like standing and rolling where not told.
    """
    slip = pull if slipping is None else slipping
    start = rolling if starting is None else starting
    return Layout(
        read_plan(f"""
scale = "HO"
unit = "m"
railhead.A = 0
{line("Main", "A", "B", track) if track else ""}
[route.Up]
{route}
[loco.mule]
{loco}
pull.clean = "{pull * CAR!r} N"
slipping.clean = "{slip * CAR!r} N"
[car.ore]
mass = "100 g"
length = {car}
rolling = "{100 * rolling!r} %"
starting = "{100 * start!r} %"
{more}
""")
    )


def longest(layout: Layout, rail: str = "clean", power: str = "mule") -> Load:
    return layout.longest_train("Up", power, "ore", rail=rail)


def climbs_and_stalls(layout: Layout, most: int, rail: str = "clean") -> tuple[list[int], list[int]]:
    """The counts up to `most` that climb, and those that stall or run away, each train judged by itself."""
    plan, profile = layout.plan, layout.profile("Up")
    power, car = plan.powers["mule"], plan.cars["ore"]
    found = {n: judge(profile, headed_by(plan, power, car, n), rail, layout.pulls).outcome for n in range(1, most + 1)}
    return [n for n, o in found.items() if o == "climbs"], [n for n, o in found.items() if o in FAILS]


# The first that fails


SAWTOOTH = ", ".join(f'{{ straight = 0.4, grade = "{sign}2 %" }}' for sign in ("", "-") * 5)
"""Up for 0.4 m, down for 0.4 m, five times over, as a lap."""


def sawtooth(pull: float) -> Layout:
    # Cars half a tooth long with 1 % rolling ask, in weights of a car: 1: 2 + 1, 2: 4 + 2, 3: 2 + 3, 4: 0 + 4,
    # 5: 2 + 5, 6: 4 + 6 hundredths
    return layout_of(
        "",
        pull=pull,
        rolling=0.01,
        car=0.2,
        route='lap = ["Ring"]',
        more=line("Ring", "A", "A", SAWTOOTH, 'runs = "forward"\n'),
    )


def test_over_a_sawtooth_the_first_count_that_fails_counts_though_longer_trains_pass_again() -> None:
    layout = sawtooth(0.055)
    climb, stall = climbs_and_stalls(layout, 8)
    assert climb == [1, 3, 4]  # an extra car lightens the load
    assert stall == [2, 5, 6, 7, 8]
    load = longest(layout)
    assert (load.rated, load.limit) == (1, 1)
    assert load.binds is not None
    assert (load.binds.test, load.binds.cars) == ("stand", 2)
    assert (load.binds.demand, load.binds.pull) == pytest.approx((0.06 * CAR, 0.055 * CAR), rel=1e-4)


def test_a_car_that_ends_behind_the_berth_is_not_passed_over() -> None:
    # On teeth of 9 %, two to a car, every train of whole cars asks for rolling alone while it stands on the route.
    # The fifth car no longer fits on it: its rear stands on level track behind, its front at the top of a tooth.
    dock = '{ straight = 0.1, grade = "9 %", berth = "Dock" }'
    teeth = ", ".join([dock, *(f'{{ straight = 0.1, grade = "{sign}9 %" }}' for sign in (*("-", "") * 4, "-"))])
    layout = layout_of(
        teeth, pull=0.02, rolling=0.001, car=0.2, loco='mass = "0.001 g"\nlength = 0.1', route='from = "Dock"\nto = "B"'
    )
    climb, stall = climbs_and_stalls(layout, 25)
    assert climb == [1, 2, 3, 4]
    assert stall == list(range(5, 26))
    load = longest(layout)
    assert (load.rated, load.limit) == (4, 4)


def test_a_short_steep_hump_binds_the_rated_load_though_a_long_hill_binds_the_limit_load() -> None:
    # the hump asks 6 hundredths of a car's weight of any train, the hill 2 for every car; rolling is next to nothing
    hump = '{ straight = 0.1, grade = "6 %" }'
    level = ", ".join(["{ straight = 0.2, rise = 0 }", '{ straight = 0.2, grade = "0.01 %" }'] * 15)
    hill = ", ".join(['{ straight = 0.2, grade = "2 %" }', '{ straight = 0.2, grade = "1.99 %" }'] * 10)
    layout = layout_of(f"{level}, {hump}, {level}, {hill}", pull=0.09, slipping=0.05, rolling=0.0001)
    climb, stall = climbs_and_stalls(layout, 10)
    assert climb == []
    assert stall[0] == 5
    load = longest(layout)
    assert (load.rated, load.limit) == (0, 4)
    assert load.binds is not None
    assert (load.binds.test, load.binds.cars) == ("slip", 1)


@given(st.integers(1, 998), st.integers(1, 50), st.integers(20, 300))
@settings(max_examples=30)
def test_a_pull_that_is_exact_on_paper_lifts_its_count(count: int, rolling: int, mass: int) -> None:
    # rolling in tenths of a percent, mass in grams, pull in thousandths of a gram-force: all exact in decimals
    text = """
scale = "HO"
unit = "m"
railhead = {{ A = 0, B = 0 }}
line.Main = {{ from = "A", to = "B", track = [{{ straight = 3 }}] }}
route.Up = {{ from = "A", to = "B" }}
loco.mule = {{ mass = "300 g", length = 0.2, pull.clean = "{pull} gf", slipping.clean = "{pull} gf" }}
car.ore = {{ mass = "{mass} g", length = 0.1, rolling = "{rolling} permille", starting = "{rolling} permille" }}
"""
    thousandths = count * rolling * mass
    exact = Layout(
        read_plan(text.format(pull=f"{thousandths // 1000}.{thousandths % 1000:03d}", mass=mass, rolling=rolling))
    )
    load = longest(exact)
    assert (load.rated, load.limit) == (count, count)
    short = thousandths / 1000 * (1 - 1e-7)
    less = longest(Layout(read_plan(text.format(pull=f"{short:.12f}", mass=mass, rolling=rolling))))
    assert (less.rated, less.limit) == (count - 1, count - 1)


# The ends of the counting


def test_trains_are_counted_up_to_999_cars() -> None:
    load = longest(layout_of("{ straight = 3, rise = 0 }", pull=1000.0))
    assert (load.rated, load.limit, load.binds) == (MOST_CARS, MOST_CARS, None)
    assert MOST_CARS == 999


@pytest.mark.parametrize("pull", [0.01, 0.5, 3.22])
def test_the_limit_alone_is_that_of_the_load(pull: float) -> None:
    layout = layout_of('{ straight = 20, grade = "2 %" }', pull=pull)
    plan = layout.plan
    climb = LoadSearch(plan, layout.profile("Up"), plan.powers["mule"], plan.cars["ore"], layout.pulls)
    # a car asks 2 % of its weight for the grade and 2 % for rolling
    assert climb.load("clean", [Room("the route", 1e3, "route")]).limit == int(pull / 0.04)


@pytest.mark.parametrize("count", [997, 998, 999])
def test_counts_just_below_the_last(count: int) -> None:
    load = longest(layout_of("{ straight = 3, rise = 0 }", pull=0.02 * (count + 0.5)))
    assert (load.rated, load.limit) == (count, count)
    assert (load.binds is None) == (count == 999)


def test_a_power_that_does_not_lift_itself_takes_no_car() -> None:
    layout = layout_of('{ straight = 3, grade = "3 %" }', pull=0.02, loco='mass = "500 g"\nlength = 0.2')
    load = longest(layout)
    assert (load.rated, load.limit) == (0, 0)
    assert load.binds is not None
    assert (load.binds.test, load.binds.cars) == ("stand", 1)
    # five cars' weight on 3 % takes more than it has
    assert load.binds.pull == pytest.approx((0.02 - 5 * 0.03) * CAR)
    assert load.binds.demand == pytest.approx((0.02 + 0.03) * CAR)


def test_a_power_that_lifts_itself_but_no_car() -> None:
    load = longest(layout_of('{ straight = 3, grade = "3 %" }', pull=0.16, loco='mass = "500 g"\nlength = 0.2'))
    assert (load.rated, load.limit) == (0, 0)


def test_locomotives_together_give_their_share_of_the_sum() -> None:
    pair = '[power.pair]\nlocos = ["mule", "mule"]\n[power.full]\nlocos = ["mule", "mule"]\ntogether = 1\n'
    layout = layout_of("{ straight = 3, rise = 0 }", pull=0.2001, more=pair)
    assert [longest(layout, power=power).limit for power in ("mule", "pair", "full")] == [10, 18, 20]


# What binds


@pytest.mark.parametrize(
    ("forces", "loads", "test", "demand", "pull"),
    [
        ({"pull": 0.305, "slipping": 0.205}, (10, 15), "slip", 0.22, 0.205),
        ({"pull": 1000.0, "slipping": 0.2}, (10, 999), "slip", 0.22, 0.2),
        ({"pull": 0.305, "starting": 0.03}, (10, 15), "restart", 0.33, 0.305),
        # three cars roll on all of the pull, exactly, and would start on one and a half times as much
        ({"pull": 0.06, "starting": 0.03}, (2, 3), "restart", 0.09, 0.06),
        # standing, where the first train that is not rated does not climb at all
        ({"pull": 0.35, "slipping": 0.31, "rolling": 0.10}, (3, 3), "stand", 0.4, 0.35),
        # of two tests that fail the one that fails by more
        ({"pull": 0.305, "slipping": 0.21, "starting": 0.03}, (10, 15), "restart", 0.33, 0.305),
        ({"pull": 0.325, "slipping": 0.2, "starting": 0.03}, (10, 16), "slip", 0.22, 0.2),
    ],
)
def test_what_binds_on_the_level(
    forces: dict[str, float], loads: tuple[int, int], test: str, demand: float, pull: float
) -> None:
    load = longest(layout_of("{ straight = 3, rise = 0 }", **forces))  # type: ignore[arg-type]
    assert (load.rated, load.limit) == loads
    assert load.binds is not None
    assert (load.binds.test, load.binds.cars, load.binds.track) == (test, load.rated + 1, "Main:1")
    assert (load.binds.demand, load.binds.pull) == pytest.approx((demand * CAR, pull * CAR))


def test_what_binds_is_told_with_its_place_and_forces() -> None:
    layout = layout_of(
        '{ straight = 2, rise = 0 }, { name = "Bank", straight = 3, grade = "3 %" }, { straight = 2, rise = 0 }',
        pull=0.47,
        loco='mass = "200 g"\nlength = 0.2',
    )
    # 2 cars' weight on 3 %: 0.41 left of 0.47, which is 8 cars at 5 %; the ninth binds when the train of 1.1 m is on it
    load = longest(layout)
    assert (load.rated, load.limit) == (8, 8)
    assert load.binds is not None
    assert (load.binds.test, load.binds.cars, load.binds.track) == ("stand", 9, "Bank")
    assert load.binds.at == pytest.approx(2 + 0.2 + 9 * 0.1)
    assert (load.binds.demand, load.binds.pull) == pytest.approx((0.45 * CAR, 0.41 * CAR))


def test_the_bases_of_the_pulls_are_told() -> None:
    layout = layout_of("{ straight = 3, rise = 0 }", pull=0.3)
    assert (longest(layout).basis, longest(layout).slipping_basis) == ("measured", "measured")
    assert (longest(layout, "treated").basis, longest(layout, "treated").slipping_basis) == ("scaled", "scaled")


# What fits


def berths(first: float, last: float, *, start: str = "Dock", stop: str = "Yard") -> Layout:
    return layout_of(
        f'{{ straight = {first}, rise = 0, berth = "Dock" }}, {{ straight = 5, rise = 0 }}, '
        f'{{ straight = {last}, rise = 0, berth = "Yard" }}',
        pull=0.81,
        loco='mass = "1 g"\nlength = 0.2',
        route=f'from = "{start}"\nto = "{stop}"',
    )


@pytest.mark.parametrize(
    ("first", "last", "fits", "by"),
    [
        (1.05, 0.85, 6, 'berth "Yard"'),
        (0.85, 1.05, 6, 'berth "Dock"'),
        (0.5, 0.9, 3, 'berth "Dock"'),  # 0.5 - 0.2 is less than three cars in binary
        (0.3, 0.9, 1, 'berth "Dock"'),
        (0.1, 0.9, 0, 'berth "Dock"'),  # not even the locomotive
    ],
)
def test_the_tighter_berth_bounds_the_whole_train(first: float, last: float, fits: int, by: str) -> None:
    load = longest(berths(first, last))
    assert (load.fits, load.fits_by) == (fits, by)
    assert load.rated == load.limit == 40  # pull alone
    assert load.to_run == fits


def test_a_berth_that_holds_more_than_the_power_lifts_leaves_the_rated_load() -> None:
    load = longest(berths(9.0, 8.0))
    assert (load.fits, load.to_run) == (78, 40)


def test_a_route_between_two_ends_of_track_bounds_the_whole_train() -> None:
    load = longest(layout_of("{ straight = 3, rise = 0 }", pull=0.81, loco='mass = "1 g"\nlength = 0.2'))
    assert (load.fits, load.fits_by, load.rated) == (28, "the route", 40)


def test_a_lap_bounds_the_whole_train() -> None:
    layout = layout_of(
        "",
        pull=0.81,
        loco='mass = "1 g"\nlength = 0.2',
        route='lap = ["Ring"]',
        more=line("Ring", "A", "A", "{ straight = 3 }", 'runs = "forward"\n'),
    )
    load = longest(layout)
    assert (load.fits, load.fits_by) == (28, "the lap")


def balloon(loop: float, *, dock: str = "") -> Layout:
    return layout_of(
        "",
        pull=0.81,
        loco='mass = "1 g"\nlength = 0.2',
        route=f'from = "{"Dock" if dock else "A"}"\nto = "A"',
        more='[turnout.T]\ntoe = "Lead"\nlegs = ["Loop.from", "Loop.to"]\n'
        + line("Lead", "A", "T", dock + "{ straight = 5 }")
        + line("Loop", "T", "T", f"{{ straight = {loop} }}"),
    )


@pytest.mark.parametrize(("loop", "fits"), [(2.0, 18), (1.95, 17), (0.15, 0)])
def test_a_reversing_loop_bounds_the_whole_train(loop: float, fits: int) -> None:
    load = longest(balloon(loop))
    assert (load.fits, load.fits_by) == (fits, 'the loop at "T"')
    assert load.to_run == fits


def test_a_berth_tighter_than_the_reversing_loop() -> None:
    load = longest(balloon(2.0, dock='{ straight = 1, berth = "Dock" }, '))
    assert (load.fits, load.fits_by) == (8, 'berth "Dock"')


# Random plans: each count judged by itself


VALLEY = """
scale = "HO"
unit = "in"
railhead.A = 0
vertical_curve.length = 0
[line.L]
from = "A"
to = "B"
track = [{ straight = 100, grade = "-4 %" }, { straight = 24, grade = "4 %" }]
[loco.l]
mass = "200 g"
length = 8
pull.clean = "23 gf"
[car.c]
mass = "4 oz"
length = 6
rolling = "2 ± 0.1 %"
"""


def test_a_long_row_may_ask_less_than_a_short_one():
    """Over a valley eight cars more can ask less than three, so that eight pass does not say that three do."""
    load = Layout(read_plan(VALLEY)).longest_train("A to B", "l", "c")
    assert (load.rated, load.limit) == (1, 2)


def test_no_shorter_train_than_a_load_runs_away() -> None:
    layout = Layout(load_plan("plans/landing.toml"))
    held = 0
    for route in layout.routes:
        profile = layout.profile(route)
        for power, car in product(layout.plan.powers, layout.plan.cars):
            for load in layout.loads(profile, power, car, layout.rails):
                climb = LoadSearch(layout.plan, profile, layout.plan.powers[power], layout.plan.cars[car], layout.pulls,
                              engine=load.engine)  # fmt: skip
                trains = [climb.train(cars) for cars in range(1, load.to_run + 2)]
                *outcomes, more = [judge(profile, train, load.rail, layout.pulls).outcome for train in trains]
                assert set(outcomes) <= {"climbs"}
                assert more != "climbs" or load.to_run == load.fits
                if load.binds is not None and load.binds.test == "hold":
                    held += 1
                    assert more == "runs away" or load.to_run == load.fits
    assert held
