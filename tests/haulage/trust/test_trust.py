"""Trust: trials of what is unsure, and what they make of a train and of a load."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from one_by_one import OneByOne

from demos import layout_of
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.bench.reduction import pool
from gradehaul.haulage.demand import demand, supply
from gradehaul.haulage.longest import LoadSearch, Room
from gradehaul.haulage.train import build_train
from gradehaul.haulage.trust import load as trust_load
from gradehaul.haulage.trust import random_trials
from gradehaul.haulage.trust.load import RouteTrust
from gradehaul.haulage.trust.random_trials import RandomTrials
from gradehaul.haulage.trust.train import trust_in_train
from gradehaul.haulage.verdict import judge, surplus
from gradehaul.plan import read_plan
from gradehaul.plan.rail_condition import AS_PLANNED
from gradehaul.quantities import Reading, read_reading

HILL = """
scale = "HO"
unit = "mm"
railhead.Foot = 0
[vertical_curve]
length = 150
[line.Hill]
from = "Foot"
to = "Top"
track = [
  { straight = 900, grade = "0.5 %" },
  { left = 600, angle = 80, ease = 120, grade = "2.0 %" },
  { straight = 700, grade = "3.3 %" },
  { right = 500, angle = 60, grade = "2.1 %", rail = "treated" },
  { straight = 300, grade = "1 %" },
  { right = 450, angle = 45, ease = 90, grade = "1.8 %" },
  { straight = 900, grade = "-1 %" },
]
[loco.mogul]
mass = "300 g"
length = 190
driven_wheels = 6
tyred_wheels = 2
pull = { clean = ["75 gf", "78 gf"] }
[loco.tank]
mass = "210 g"
length = 110
[car.ore]
mass = "95 g"
length = 130
rolling = "2.2 ± 0.3 %"
[car.caboose]
length = 120
[train.double]
route = "Up"
consist = ["mogul", "5 ore", "tank", "5 ore", "caboose"]
[train.single]
route = "Up"
consist = ["mogul", "10 ore"]
[route.Up]
from = "Foot"
to = "Top"
"""


SWITCHBACK = (
    HILL[: HILL.index("[line.Hill]")]
    + """
[line.Foothill]
from = "Foot"
to = "Switch"
track = [ { straight = 2500, grade = "2.5 %" } ]
[line.Tail]
from = "Switch"
to = "Buffer"
track = [ { straight = 3000, grade = "1 %", rail = "treated" } ]
[line.Upper]
from = "Switch"
to = "Top"
track = [ { left = 500, angle = 60, grade = "3 %" }, { straight = 3000, grade = "2 %" } ]
[turnout.Switch]
toe = "Tail"
legs = ["Foothill", "Upper"]
"""
    + HILL[HILL.index("[loco.mogul]") :]
    + "reversals = 1\n"
)


@pytest.fixture(scope="module")
def layout() -> Layout:
    return Layout(read_plan(HILL))


def engine_margins(layout: Layout, trials: RandomTrials, name: str, rail: str) -> np.ndarray:
    each = OneByOne(layout, trials)
    train = build_train(layout.plan, layout.plan.trains[name])
    found = []
    for number in range(trials.count):
        plan = each.plan_of(number)
        verdict = judge(each.profile("Up", number), each.train(train, plan, number), rail, each.pulls_of(plan))
        found.append((verdict.margin, verdict.outcome == "stalls"))
    return np.array(found)


@pytest.mark.parametrize(
    ("plan", "name", "rail"),
    [
        *((HILL, name, rail) for name, rail in (("double", "treated"), ("single", "clean"), ("single", AS_PLANNED))),
        *((SWITCHBACK, "double", rail) for rail in ("treated", AS_PLANNED)),
    ],
)
def test_all_trials_at_once_agree_with_the_exact_engine_trial_by_trial(plan, name, rail):
    layout = Layout(read_plan(plan))
    trials = RandomTrials(layout.plan, layout.coefficient, seed=3, count=200)
    found = engine_margins(layout, trials, name, rail)
    trust = trust_in_train(layout.profile("Up"), build_train(layout.plan, layout.plan.trains[name]), rail, trials)
    assert trust.stall_probability == pytest.approx(found[:, 1].mean(), abs=1e-12)
    low, high = np.quantile(found[:, 0], [0.05, 0.95])
    assert (trust.margin_low, trust.margin_high) == pytest.approx((low, high), abs=1e-9)
    assert 0 < found[:, 1].mean() < 1 or rail == "clean"


@pytest.mark.parametrize(("cars", "rail"), [(9, "treated fresh"), (11, AS_PLANNED), (36, "clean"), (1, "clean")])
def test_the_chance_to_fail_counts_running_away_draw_by_draw(cars, rail):
    """Downhill a train runs away where its slipping pull and its resistance do not hold it on the grade."""
    text = (
        HILL
        + f"""[route.Down]
from = "Top"
to = "Foot"
[train.falling]
route = "Down"
consist = ["mogul", "{cars} ore"]
"""
    )
    layout = Layout(read_plan(text))
    trials = RandomTrials(layout.plan, layout.coefficient, seed=5, count=120)
    each, train = OneByOne(layout, trials), build_train(layout.plan, layout.plan.trains["falling"])
    fails = []
    for number in range(trials.count):
        plan, profile = each.plan_of(number), each.profile("Down", number)
        own = each.train(train, plan, number)
        pull, need = supply(profile, own, rail, each.pulls_of(plan)), demand(profile, own)
        held = surplus(pull.slipping, need.running * -1.0).least().value
        fails.append(held < 0 or surplus(pull.standing, need.running).least().value < 0)
    trust = trust_in_train(layout.profile("Down"), train, rail, trials)
    assert trust.fail_probability == pytest.approx(np.mean(fails), abs=1e-12)
    assert 0 < np.mean(fails) < 1 or cars == 1


@settings(max_examples=12, deadline=None)
@given(
    grades=st.lists(st.floats(-4, 5), min_size=3, max_size=9),
    radii=st.lists(st.sampled_from([0, 350, 500, 800]), min_size=9, max_size=9),
    ease=st.sampled_from([0, 60]),
    rounding=st.sampled_from([0, 200]),
)
def test_leaving_pieces_out_changes_no_draw(grades, radii, ease, rounding):
    tracks = ", ".join(
        (f"{{ left = {r}, angle = 50, ease = {ease}, " if r else "{ straight = 400, ") + f'grade = "{g:.2f} %" }}'
        for g, r in zip(grades, radii, strict=False)
    )
    plan = read_plan(
        HILL[: HILL.index("[vertical_curve]")]
        + f'[vertical_curve]\nlength = {rounding}\n[line.Hill]\nfrom = "Foot"\nto = "Top"\ntrack = [{tracks}]\n'
        + HILL[HILL.index("[loco.mogul]") :]
    )
    layout = Layout(plan)
    trials = RandomTrials(plan, layout.coefficient, count=25)
    found = engine_margins(layout, trials, "double", "treated")
    trust = trust_in_train(layout.profile("Up"), build_train(plan, plan.trains["double"]), "treated", trials)
    low, high = np.quantile(found[:, 0], [0.05, 0.95])
    assert (trust.margin_low, trust.margin_high) == pytest.approx((low, high), abs=1e-9)


@pytest.mark.parametrize("rail", ["clean", "treated", AS_PLANNED])
@pytest.mark.parametrize(
    ("plan", "car", "engine"),
    [
        (HILL, "ore", "leading"),
        (HILL, "caboose", "leading"),
        (SWITCHBACK, "ore", "leading"),
        (SWITCHBACK, "ore", "trailing"),
    ],
)
def test_percentiles_of_a_load_agree_with_the_exact_engine_draw_by_draw(monkeypatch, plan, car, engine, rail):
    monkeypatch.setattr(trust_load, "LOAD_TRIALS", 80)
    layout = Layout(read_plan(plan))
    trials = RandomTrials(layout.plan, layout.coefficient, seed=1).part(80)
    each = OneByOne(layout, trials)
    rated, limit = [], []
    for number in range(trials.count):
        own = each.plan_of(number)
        climb = (own, each.profile("Up", number), own.powers["mogul"], own.cars[car], each.pulls_of(own))
        load = LoadSearch(*climb, engine=engine).load(rail, [Room("the route", 1e3, "route")])
        rated.append(load.rated)
        limit.append(load.limit)
    nominal = layout.longest_train("Up", "mogul", car, rail=rail, engine=engine)
    spread = RouteTrust(layout.plan, layout.profile("Up"), trials).spread(nominal)
    told = (spread.rated_low, spread.rated_high, spread.limit_low, spread.limit_high)
    true = [sorted(loads)[int(q * trials.count)] for loads in (rated, limit) for q in (0.05, 0.95)]
    assert np.abs(np.array(told) - true).max() <= 1
    assert spread.rated_low < nominal.rated < spread.rated_high


def test_long_trains_agree_too(monkeypatch):
    """Where counts are passed over and the worst place moves from a curve to a straight with the coefficient."""
    monkeypatch.setattr(trust_load, "LOAD_TRIALS", 60)
    layout = Layout(read_plan(HILL.replace('["75 gf", "78 gf"]', '["475 gf", "478 gf"]').replace('"95 g"', '"60 g"')))
    trials = RandomTrials(layout.plan, layout.coefficient).part(60)
    each = OneByOne(layout, trials)
    limit = []
    for number in range(trials.count):
        plan = each.plan_of(number)
        power, car = plan.powers["mogul"], plan.cars["ore"]
        limit.append(
            LoadSearch(plan, each.profile("Up", number), power, car, each.pulls_of(plan))
            .load("clean", [Room("the route", 1e3, "route")])
            .limit
        )
    (nominal,) = layout.loads(layout.profile("Up"), "mogul", "ore", ["clean"])
    spread = RouteTrust(layout.plan, layout.profile("Up"), trials).spread(nominal)
    assert nominal.limit > 40
    assert spread.limit_low == pytest.approx(sorted(limit)[3], rel=0.03)
    assert spread.limit_high == pytest.approx(sorted(limit)[57], rel=0.03)


def test_assumed_figures_spread_as_they_should(layout):
    trials = RandomTrials(layout.plan, layout.coefficient)
    caboose = layout.plan.cars["caboose"]
    assert np.quantile(trials.rolling(caboose), [0.05, 0.5, 0.95]) == pytest.approx([0.008, 0.02, 0.03], rel=0.03)
    assert trials.rolling(layout.plan.cars["ore"]).std() == pytest.approx(0.003, rel=0.03)
    assert trials.curve.std() / layout.coefficient == pytest.approx(0.2, rel=0.03)
    tank = layout.plan.locos["tank"]
    assert trials.standing(tank, "clean").mean() / (9.80665 * 0.21) == pytest.approx(0.22, rel=0.01)
    assert trials.standing(tank, "clean").std() / (9.80665 * 0.21) == pytest.approx(0.03, rel=0.03)


def test_assumed_films_reach_down_to_what_was_measured_elsewhere(layout):
    """0.35 of the pull was kept on a roller rig: no built-in share may call that rarer than one case in fifty."""
    trials, film = RandomTrials(layout.plan, layout.coefficient), layout.plan.films["treated"]
    assert film.basis == "assumed"
    for fresh in (True, False):
        for kept, share in zip(trials.kept(film, fresh=fresh), (film.metal, film.tyred), strict=True):
            middle = share.fresh if fresh else share.settled
            assert np.quantile(kept, 0.02) <= 0.35
            assert np.quantile(kept, 0.5) == pytest.approx(middle, rel=0.02)
            assert np.quantile(kept, 0.95) == pytest.approx(min(1.0, middle + 0.13), abs=0.02)
    tank = layout.plan.locos["tank"]
    slip = trials.slipping(tank, "clean") / trials.standing(tank, "clean")
    assert np.quantile(slip, [0.05, 0.5, 0.95]) == pytest.approx([0.62, 0.75, 1.0], abs=0.01)


def test_what_another_kept_is_as_unsure_of_a_locomotive_as_the_assumed_share_is():
    """The median is the share that was read; 5 to 95 % reach as far, as a part of it, as round the assumed one."""
    text = 'scale = "HO"\nunit = "m"\nline.Main = { from = "A", to = "B", track = [{ straight = 1 }] }\n'
    for name, pulls in (("mogul", 'clean = "1 N"'), ("diesel", 'clean = "0.32 N", treated = "0.16 N"')):
        text += f'[loco.{name}]\nmass = "200 g"\nlength = 0.2\npull = {{ {pulls} }}\n'
    spread = []
    for film in ('treated = "0.16 N"', 'treated = "0.32 N"'):
        plan = read_plan(text.replace('treated = "0.16 N"', film))
        trials, mogul = RandomTrials(plan, 0.008), plan.locos["mogul"]
        kept = trials.standing(mogul, "treated") / trials.standing(mogul, "clean")
        spread.append(np.quantile(kept, [0.05, 0.5, 0.95]))
    (low, middle, high), (assumed_low, assumed, assumed_high) = spread
    assert (middle, assumed) == pytest.approx((0.5, 0.85), rel=0.02)
    assert low / middle <= assumed_low / assumed * 1.01
    assert high / middle >= assumed_high / assumed * 0.99


def test_curves_may_cost_more_when_starting(layout):
    trials = RandomTrials(layout.plan, layout.coefficient)
    times = trials.starting_curve / trials.curve
    assert np.quantile(times, [0.0, 0.5, 1.0]) == pytest.approx([1.0, 1.25, 1.5], abs=0.02)
    stated = read_plan(HILL + "[curve_resistance]\nstarting = 2\n")
    trials = RandomTrials(stated, layout.coefficient)
    assert trials.starting_curve == pytest.approx(2 * trials.curve)


def test_tension_makes_trains_stall_more_often_and_says_so():
    text = BENT.replace('"10 ore"', '"16 ore"').replace("2.2 ± 0.000001 %", "2.2 %")
    off, on = (Layout(read_plan(each)) for each in (text, text + "[curve_resistance]\ntension = 0.05\n"))
    found = []
    for each in (off, on):
        train, trials = build_train(each.plan, each.plan.trains["single"]), RandomTrials(each.plan, each.coefficient)
        found.append(trust_in_train(each.profile("Up"), train, "clean", trials))
    assert 0 < found[0].stall_probability < found[1].stall_probability < 1
    # the middle of the margin is the verdict's own, to within the spread of the friction to both sides
    margin = on.verdict("single").margin
    assert found[1].margin_low < margin < found[1].margin_high
    shift = found[0].margin_low - found[1].margin_low
    assert shift == pytest.approx(off.verdict("single").margin - margin, rel=0.4)
    causes = {cause.what: cause.share for cause in found[1].causes}
    assert 0 < causes["the friction of coupler tension on curves"] < 0.2


def test_percentiles_of_a_load_with_tension_lie_round_the_load():
    text = BENT + "[curve_resistance]\ntension = 0.05\n"
    spreads = []
    for each in (BENT, text):
        layout = Layout(read_plan(each))
        trials = RandomTrials(layout.plan, layout.coefficient)
        (load,) = layout.loads(layout.profile("Up"), "mogul", "ore", ["clean"])
        spread = RouteTrust(layout.plan, layout.profile("Up"), trials).spread(load)
        assert spread.rated_low < load.rated < spread.rated_high
        spreads.append(spread)
    assert spreads[1].limit_high < spreads[0].limit_high
    assert spreads[1].limit_low <= spreads[0].limit_low


def test_percentiles_with_tension_are_those_of_every_number_of_cars(monkeypatch):
    layout = Layout(read_plan(BENT + "[curve_resistance]\ntension = 0.05\n"))
    trials = RandomTrials(layout.plan, layout.coefficient)
    (load,) = layout.loads(layout.profile("Up"), "mogul", "ore", ["clean"])
    bounded = RouteTrust(layout.plan, layout.profile("Up"), trials)
    spread = bounded.spread(load)
    monkeypatch.setattr(RouteTrust, "_surely_more", lambda *_: 0)
    every = RouteTrust(layout.plan, layout.profile("Up"), trials)
    assert every.spread(load) == spread
    assert len(bounded._trains) < 0.7 * len(every._trains)


def test_what_has_one_cause_moves_as_one():
    plan = read_plan(
        HILL
        + '[loco.other]\nmass = "500 g"\nlength = 200\n'
        + '[loco.read]\nmass = "300 g"\nlength = 200\npull.clean = "70 gf"\n'
        + "[car.box]\nlength = 150\n"
    )
    trials = RandomTrials(plan, 0.008)

    def alike(one, other):
        return np.corrcoef(one, other)[0, 1]

    locos, cars = plan.locos, plan.cars
    assert alike(trials.standing(locos["tank"], "clean"), trials.standing(locos["other"], "clean")) > 0.999
    assert abs(alike(trials.standing(locos["tank"], "clean"), trials.standing(locos["read"], "clean"))) < 0.05
    assert alike(trials.rolling(cars["box"]), trials.rolling(cars["caboose"])) > 0.999
    assert abs(alike(trials.rolling(cars["box"]), trials.rolling(cars["ore"]))) < 0.05
    assert trials.mass_cause(cars["box"]) == trials.mass_cause(cars["caboose"]) != trials.mass_cause(cars["ore"])
    # what is scaled from a reading moves with it
    assert alike(trials.standing(locos["mogul"], "treated"), trials.standing(locos["mogul"], "clean")) > 0.2


def test_more_readings_make_surer_and_two_alike_are_not_exact():
    def spread(readings):
        plan = read_plan(HILL.replace('clean = ["75 gf", "78 gf"]', f"clean = {readings}"))
        return RandomTrials(plan, 0.008).standing(plan.locos["mogul"], "clean").std() / 9.80665e-3

    alike, few, many = (
        spread('["76 gf", "76 gf"]'),
        spread('["73 gf", "79 gf"]'),
        spread('["73 gf", "79 gf"]'[:-1] + ', "76 gf"' * 8 + "]"),
    )
    assert few > alike > 1.5
    assert many < few
    assert spread('["76 ± 9 gf"]') > 2 * spread('["76 gf"]')


def test_scatter_is_never_under_what_the_balance_shows():
    readings = tuple(read_reading(text, "force") for text in ("70 gf", "70 gf", "70 gf"))
    coarse = pool([readings] * 40)
    assert coarse.step == pytest.approx(9.80665e-3)
    assert coarse.of(readings).value >= 9.80665e-3 / np.sqrt(12) * (1 - 1e-12)
    assert pool([tuple(read_reading(t, "force") for t in ("0.62 N", "0.60 N"))]).step == pytest.approx(0.01)


def test_pooling_finds_the_scatter_of_many_locomotives():
    noise = np.random.default_rng(5)
    rows = [tuple(Reading(m * (1 + 0.02 * e)) for e in noise.standard_normal(3)) for m in np.linspace(0.2, 3, 300)]
    assert pool(rows).share == pytest.approx(0.02, rel=0.06)


def test_the_seed_decides(layout):
    profile, train = layout.profile("Up"), build_train(layout.plan, layout.plan.trains["double"])

    def chance(seed):
        trials = RandomTrials(layout.plan, layout.coefficient, seed=seed)
        return trust_in_train(profile, train, "treated", trials).stall_probability

    assert chance(7) == chance(7)
    assert chance(7) != chance(8)
    assert chance(7) == pytest.approx(chance(8), abs=0.03)


def test_a_train_on_the_edge_stalls_in_half_of_the_trials():
    """Nothing but the pull is unsure, and the pull is just what is asked."""
    text = HILL.replace('rolling = "2.2 ± 0.3 %"', 'rolling = "2.2 ± 0.00001 %"').replace(
        'unit = "mm"', 'unit = "mm"\ncurve_resistance = { model = "coefficient", coefficient = 0.01 }'
    )
    layout = Layout(read_plan(text))
    asked = layout.pulls.standing(layout.plan.locos["mogul"], "clean").value - layout.verdict("single").margin
    edge = read_plan(text.replace('["75 gf", "78 gf"]', f'"{asked} N"'))
    layout = Layout(edge)
    trials = RandomTrials(edge, layout.coefficient)
    trust = trust_in_train(layout.profile("Up"), build_train(edge, edge.trains["single"]), "clean", trials)
    assert trust.stall_probability == pytest.approx(0.5, abs=0.02)
    assert trust.dominant.what == "the pull of mogul on clean rail"


def test_what_to_measure_is_what_would_narrow_most(layout):
    profile = layout.profile("Up")
    trials = RandomTrials(layout.plan, layout.coefficient)
    trust = trust_in_train(profile, build_train(layout.plan, layout.plan.trains["double"]), "treated", trials)
    assert sum(cause.share for cause in trust.causes) == pytest.approx(1, abs=0.02)
    shares = [cause.share for cause in trust.causes]
    assert shares == sorted(shares, reverse=True)
    assert all(0 <= cause.narrows <= 1 for cause in trust.causes)
    tests = [(trust.stall_probability, trust.causes), *((each.chance, each.causes) for each in trust.others)]
    gains = [(min(chance, 1 - chance) * cause.narrows, cause) for chance, causes in tests for cause in causes]
    assert trust.next_measurement == max(gains, key=lambda gain: gain[0])[1]
    # measuring it does narrow the answer: the tank engine, whose pull nobody read
    unread = next(cause for cause in trust.causes if "tank" in cause.what)
    assert unread.measure == "read the pull of tank on treated rail, five times"
    pull = layout.pulls.standing(layout.plan.locos["tank"], "treated").value
    five = ", ".join(f'"{pull * (1 + e)} N"' for e in (-0.03, -0.01, 0, 0.01, 0.03))
    read = read_plan(
        HILL.replace('mass = "210 g"\nlength = 110', f'mass = "210 g"\nlength = 110\npull.treated = [{five}]')
    )
    after = trust_in_train(
        profile, build_train(read, read.trains["double"]), "treated", RandomTrials(read, layout.coefficient)
    )
    before, now = (t.margin_high - t.margin_low for t in (trust, after))
    assert 1 - (now / before) ** 2 == pytest.approx(unread.narrows, abs=0.08)


BENT = """
scale = "HO"
unit = "mm"
railhead.Foot = 0
vertical_curve = { length = 0 }
[line.Hill]
from = "Foot"
to = "Top"
track = [ { straight = 3000, grade = "1 %" }, { left = 800, angle = 200, grade = "1 %" }, { straight = 3000 } ]
[loco.mogul]
mass = "300 g"
length = 190
pull = { clean = ["75 gf", "78 gf", "80 gf"] }
[car.ore]
mass = "95 g"
length = 130
rolling = "2.2 ± 0.000001 %"
[route.Up]
from = "Foot"
to = "Top"
[train.single]
route = "Up"
consist = ["mogul", "10 ore"]
"""


def test_a_cause_weighs_what_it_does_where_the_train_has_least_to_spare():
    """Only pull and curve coefficient are unsure, and all of the train stands in the curve where it is worst."""
    plan = read_plan(BENT)
    layout = Layout(plan)
    trials = RandomTrials(plan, layout.coefficient)
    trust = trust_in_train(layout.profile("Up"), build_train(plan, plan.trains["single"]), "clean", trials)
    weight = 9.80665 * (0.300 + 10 * 0.095)
    from_curve = np.var(trials.curve * weight / 0.8)
    from_pull = np.var(trials.standing(plan.locos["mogul"], "clean"))
    share = {cause.what: cause.share for cause in trust.causes}
    assert share["the curve coefficient"] == pytest.approx(from_curve / (from_curve + from_pull), abs=0.02)
    assert share["the pull of mogul on clean rail"] == pytest.approx(from_pull / (from_curve + from_pull), abs=0.02)
    assert min(from_curve, from_pull) > 0.1 * max(from_curve, from_pull)  # neither hides the other


def test_trials_lie_round_the_pulls_of_the_answer(monkeypatch):
    # a distribution that reaches further to one side moves the middle of a product
    monkeypatch.setattr(random_trials, "SHARE_RANGE", (0.1, 0.1))
    monkeypatch.setattr(random_trials, "SLIP_CLEAN_RANGE", (0.7, 0.8))
    tyred = '[loco.rubber]\nmass = "320 g"\nlength = 180\non_drivers = "280 g"\non_tyres = "120 g"\n'
    plan = read_plan(HILL.replace("[car.ore]", tyred + "[car.ore]"))
    layout = Layout(plan)
    trials = RandomTrials(plan, layout.coefficient)
    for loco in plan.locos.values():
        for rail in ("clean", "treated", "treated fresh"):
            for state in ("standing", "slipping"):
                nominal = getattr(layout.pulls, state)(loco, rail).value
                assert np.median(getattr(trials, state)(loco, rail)) == pytest.approx(nominal, rel=0.02)


@pytest.mark.parametrize(
    ("power", "car"), [("consolidation", "hopper"), ("tank", "caboose"), ("double header", "coach")]
)
def test_no_number_of_cars_is_passed_over_that_fails(monkeypatch, power, car):
    """On a downhill more cars lighten a train, so that many fail where twice as many do not."""
    monkeypatch.setattr(trust_load, "LOAD_TRIALS", 40)
    layout = layout_of("two-levels")
    profile, trials = layout.profile("Quarry down"), RandomTrials(layout.plan, layout.coefficient)
    loads = layout.loads(profile, power, car, ["clean", AS_PLANNED])
    found = list(map(RouteTrust(layout.plan, profile, trials).spread, loads))
    monkeypatch.setattr(RouteTrust, "_surely_more", lambda *_: 0)
    assert list(map(RouteTrust(layout.plan, profile, trials).spread, loads)) == found


def test_a_slipping_pull_is_named_where_the_answer_hangs_on_it():
    """The standing pull is sure and ample; whether a slip is recovered hangs on a slipping pull that nobody read."""
    text = HILL.replace('["75 gf", "78 gf"]', '"150 ± 0.1 gf"')
    plan = read_plan(text.replace('"10 ore"', '"18 ore"'))
    layout = Layout(plan)
    trials = RandomTrials(plan, layout.coefficient)
    profile, train = layout.profile("Up"), build_train(plan, plan.trains["single"])
    trust = trust_in_train(profile, train, "clean", trials)
    each = OneByOne(layout, RandomTrials(plan, layout.coefficient, count=100))
    verdicts = []
    for number in range(100):
        own = each.plan_of(number)
        judged = judge(each.profile("Up", number), each.train(train, own, number), "clean", each.pulls_of(own))
        verdicts.append((bool(judged.stalling), bool(judged.no_stopping), bool(judged.no_recovery)))
    few = trust_in_train(profile, train, "clean", each.trials)
    chances = [few.stall_probability, *(doubt.chance for doubt in few.others)]
    assert chances == pytest.approx(np.mean(verdicts, axis=0))
    assert trust.stall_probability < 0.01
    assert 0.1 < trust.others[1].chance < 0.9
    assert trust.next_measurement.measure == "read the slipping pull of mogul on clean rail, five times"


def test_the_cars_whose_resistance_is_unsure_are_named(layout):
    trials = RandomTrials(layout.plan, layout.coefficient)
    for name, cars in (("double", {"ore", "caboose"}), ("single", {"ore"})):
        trust = trust_in_train(
            layout.profile("Up"), build_train(layout.plan, layout.plan.trains[name]), "clean", trials
        )
        measures = [cause.measure for cause in trust.causes if "rolling" in cause.what]
        assert {each.rpartition("resistance of ")[2] for each in measures} == cars
