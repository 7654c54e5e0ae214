"""A trial train against `check`: each figure is the check's on the same train, the most cars the last to climb."""

import re
from dataclasses import replace

import pytest

from checked import check
from demos import answer_of, plan_of
from gradehaul.errors import GradehaulError, PlanError, RouteError
from gradehaul.haulage.answers.judged import misfits, worst_of_each
from gradehaul.haulage.answers.layout import Layout, film_rails
from gradehaul.haulage.answers.trial_train import ANY, EVERYWHERE, TrialOutcome, try_train
from gradehaul.haulage.train import build_train
from gradehaul.plan import read_plan
from gradehaul.plan.rail_condition import PLANNED
from gradehaul.plan.records import Cut, NamedTrain, Plan
from project import PLANS

NAMES = ["first-hill", "two-levels", "n-mountain", "switchback", "bench", "yard"]


def typed(train: NamedTrain) -> list[str]:
    return [cut.name if cut.count == 1 else f"{cut.count} {cut.name}" for cut in train.consist]


def rails_of(condition: str, rails: tuple[str, ...]) -> tuple[str, ...]:
    behind = {"clean": ("clean",), "as planned": PLANNED, EVERYWHERE: film_rails(rails)}[condition]
    return tuple(rail for rail in rails if rail in behind)


@pytest.mark.parametrize(
    ("name", "train"),
    [(name, train) for name in NAMES for train in plan_of(name).trains if not plan_of(name).trains[train].together],
)
def test_each_figure_is_that_of_check(name: str, train: str) -> None:
    plan, answer = plan_of(name), answer_of(name)
    named = plan.trains[train]
    (tried,) = try_train(plan, named.route, typed(named)).trains
    assert [trial.condition for trial in tried.trials] == [
        condition for condition in ("clean", "as planned", EVERYWHERE) if rails_of(condition, answer.rails)
    ]
    for trial in tried.trials:
        (expected,) = worst_of_each(
            each
            for each in answer.trains
            if each.name == train and each.rail in rails_of(trial.condition, answer.rails)
        )
        assert tried.length == expected.length
        assert (trial.rail, trial.outcome, trial.verdict) == (expected.rail, expected.outcome, expected.verdict)
        assert (trial.trust, trial.misfits) == (expected.trust, expected.misfits)


def climbs(layout: Layout, route: str, consist: tuple[Cut, ...], rails: tuple[str, ...]) -> bool:
    """Whether a train climbs on all of some rails, by a plan that names it."""
    named = NamedTrain("tried", route, tuple(cut for cut in consist if cut.count))
    with_it = Layout(replace(layout.plan, trains={"tried": named}))
    fits = not misfits(with_it, with_it.route(route), build_train(with_it.plan, named))
    return fits and all(with_it.verdict("tried", rail=rail).outcome == "climbs" for rail in rails)


@pytest.mark.parametrize(
    ("name", "route", "before", "car", "behind"),
    [
        ("two-levels", "Up by the siding", ("consolidation",), "hopper", ("caboose", "tank")),
        ("two-levels", "Quarry down", ("tank",), "hopper", ("caboose",)),
        ("first-hill", "Uphill", ("switcher",), "boxcar", ("caboose",)),
        ("switchback", "Down to the mill", ("shunter",), "tub", ()),
    ],
)
def test_the_most_cars_climb_and_one_more_does_not(
    name: str, route: str, before: tuple[str, ...], car: str, behind: tuple[str, ...]
) -> None:
    plan = plan_of(name)
    layout = Layout(plan)
    (tried,) = try_train(plan, route, [*before, f"3 {car}", *behind]).trains
    assert tried.counted == car
    for trial in tried.trials:
        rails = rails_of(trial.condition, layout.rails)
        for count, does in (
            [(0, trial.most is not None)]
            if trial.most is None
            else [*((each, True) for each in range(trial.most + 1)), (trial.most + 1, False)]
        ):
            consist = (*(Cut(each, 1) for each in before), Cut(car, count), *(Cut(each, 1) for each in behind))
            assert climbs(layout, route, consist, rails) is does, (trial.condition, count)


@pytest.mark.parametrize("name", ["two-levels", "first-hill"])
def test_the_most_of_equal_cars_is_the_load_of_check(name: str) -> None:
    plan, answer = plan_of(name), answer_of(name)
    for route in answer.routes:
        for load in route.loads:
            if load.rail != "clean" or load.engine != "leading":
                continue
            trial = try_train(plan, route.route.name, [load.power, load.car]).trains[0].trials[0]
            assert (trial.most or 0) == load.to_run
            assert (trial.room is not None) == (load.fits <= load.rated)


def test_any_power_is_each_power_by_itself() -> None:
    plan = plan_of("two-levels")
    answer = try_train(plan, "Up by the main", [ANY, "5 coach"])
    assert {train.power for train in answer.trains} == set(plan.powers)
    for train in answer.trains:
        assert train.power is not None
        (alone,) = try_train(plan, "Up by the main", [train.power, "5 coach"]).trains
        assert train.trials == alone.trials


def test_the_powers_that_do_best_come_first() -> None:
    trains = try_train(plan_of("two-levels"), "Up by the siding", [ANY, "7 hopper"]).trains
    assert [train.judged.outcome for train in trains] == ["climbs", "climbs", "stalls"]
    spares = [train.judged.verdict.spare for train in trains]
    assert spares == sorted(spares, reverse=True)


def test_the_name_of_a_train_alone_is_its_route_and_its_vehicles() -> None:
    plan = plan_of("two-levels")
    train = plan.trains["stone"]
    assert try_train(plan, "stone", []).trains == try_train(plan, train.route, ["stone"]).trains
    with pytest.raises(PlanError, match="a train needs a locomotive"):
        try_train(plan, train.route, [])


def test_two_places_are_the_route_between_them() -> None:
    plan = plan_of("two-levels")
    by_name = try_train(plan, "Quarry down", ["tank", "5 hopper"])
    between = try_train(plan, "Quarry loading..Lower staging", ["tank", "5 hopper"])
    assert between.route.ways == by_name.route.ways
    assert between.trains[0].trials == by_name.trains[0].trials
    reversing = try_train(plan, "Quarry loading .. Terminus platform", ["tank"])
    assert len(reversing.route.tails) == 1


def raised(name: str, **railheads: str) -> Plan:
    """A demo plan with other railheads in its text."""
    text = (PLANS / f"{name}.toml").read_text(encoding="utf-8")
    for old, new in railheads.values():
        assert old in text
        text = text.replace(old, new)
    return read_plan(text, folder=PLANS)


@pytest.mark.parametrize(
    ("changes", "heights", "freed"),
    [
        ({"ridge": ("Ridge  = 4", "Ridge  = 5")}, {"Ridge": 0.127}, ()),
        (
            {"harbor": ("Harbor = 0", "Harbor = -1"), "ridge": ("Ridge  = 4", "Ridge  = 5")},
            {"Harbor": -0.0254, "Ridge": 0.127},
            (),
        ),
    ],
)
def test_other_railheads_are_those_of_a_plan_that_has_them(changes, heights, freed) -> None:
    set_to = try_train(plan_of("first-hill"), "Uphill", ["switcher", "7 boxcar", "caboose"], heights=heights)
    written = check(raised("first-hill", **changes))
    assert set_to.freed == freed
    assert set_to.trains[0].trials[0].verdict == next(each.verdict for each in written.trains if each.rail == "clean")


def test_a_rise_that_contradicts_a_railhead_gives_way_and_no_other() -> None:
    """The helix rises by 306 mm in the place of its stated 300; the level track at its foot stays level."""
    answer = try_train(plan_of("two-levels"), "Up by the main", ["tank", "4 coach"], heights={"Helix top": 0.306})
    assert answer.freed == ("Helix",)
    text = (PLANS / "two-levels.toml").read_text(encoding="utf-8").replace("rise = 300 }", "rise = 306 }")
    written = replace(
        read_plan(text, folder=PLANS),
        trains={"it": NamedTrain("it", "Up by the main", (Cut("tank", 1), Cut("coach", 4)))},
    )
    expected = Layout(written).verdict("it")
    found = answer.trains[0].trials[0].verdict
    assert found.margin == pytest.approx(expected.margin, rel=1e-9)
    assert found.at == pytest.approx(expected.at, rel=1e-9)


BRANCHED = """
scale = "HO"
unit = "m"
railhead = { Valley = 0 }
line.Loose = { from = "End", to = "Pass", track = [{ straight = 2, grade = "1 %" }] }
line.Tied = { from = "Pass", to = "Valley", track = [{ straight = 5, rise = -0.2 }] }
loco.tank = { mass = "300 g", length = 0.2, pull.clean = "60 gf", slipping.clean = "50 gf" }
car.ore = { mass = "150 g", length = 0.12, rolling = "0.5 %" }
route.Down = { from = "Pass", to = "Valley" }
"""


def test_a_grade_that_agrees_with_a_railhead_stays() -> None:
    """The first line has a grade and a free end: only the second contradicts the height of the pass."""
    answer = try_train(read_plan(BRANCHED), "Down", ["tank"], heights={"Pass": 0.25})
    assert answer.freed == ("Tied",)


CRESTED = """
scale = "N"
unit = "mm"
railhead = { Foot = 0, Top = 66 }
line.Hill = { from = "Foot", to = "Top", railhead_at = [[700, 11]], track = [
  { straight = 1500, name = "Cut" }, { straight = 1500, railhead = 66 }, { straight = 850 } ] }
loco.tank = { mass = "100 g", length = 100, pull.clean = "20 gf", slipping.clean = "17 gf" }
car.ore = { mass = "20 g", length = 60 }
train.up = { route = "Up", consist = ["tank", "6 ore"] }
route.Up = { from = "Foot", to = "Top" }
"""


@pytest.mark.parametrize(
    ("heights", "written", "held"),
    [
        ({"Top": 61}, {"Top = 66": "Top = 61"}, [(3000, 66, None)]),
        ({"Hill:3": 61}, {"Top = 66": "Top = 61"}, [(3000, 66, None)]),
        ({"Hill:2": 61}, {"railhead = 66 }": "railhead = 61 }"}, [(700, 11, None), (3850, 66, "Top")]),
        ({"Hill@3001": 61}, {"railhead = 66 }": "railhead = 61 }"}, [(700, 11, None), (3850, 66, "Top")]),
        ({"Hill@70.1 cm": 15}, {"[700, 11]": "[700, 15]"}, [(0, 0, "Foot"), (3000, 66, None)]),
        ({"Cut": 40}, {"[[700, 11]]": "[[700, 11], [1500, 40]]"}, [(700, 11, None), (3000, 66, None)]),
        (
            {"Top": 61, "Hill:2": 61},
            {"Top = 66": "Top = 61", "railhead = 66 }": "railhead = 61 }"},
            [(700, 11, None)],
        ),
    ],
)
def test_heights_along_a_line_are_set_by_the_names_that_screens_show(heights, written, held) -> None:
    """As in a plan with these heights in its text; what stands next to them and holds is named, in mm."""
    text = CRESTED
    for old, new in written.items():
        assert old in text
        text = text.replace(old, new)
    answer = try_train(read_plan(CRESTED), "Up", ["tank", "6 ore"], heights={at: h / 1e3 for at, h in heights.items()})
    assert answer.trains[0].trials[0].verdict == Layout(read_plan(text)).verdict("up")
    assert [(round(each.at * 1e3), round(each.railhead * 1e3), each.joint) for each in answer.held] == held


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("Hill", 'got "Hill"; write "Hill@DISTANCE"'),
        ("Hil", 'got "Hil"; write "Hill@DISTANCE"'),
        ("Hil@300", 'got "Hil@300"; write "Hill@300"'),
        ("Tpo", 'got "Tpo"; write "Top"'),
        ("Nowhere at all", '"Hill:3", "Hill@DISTANCE"'),
        ("Hill@9000", "the distance must lie on the line, got 9000 mm on a line of 3850 mm"),
        ("Hill@far", 'this is not a length, got "far"'),
    ],
)
def test_a_place_that_is_not_on_the_line(place: str, words: str) -> None:
    with pytest.raises(GradehaulError, match=re.escape(words)):
        try_train(read_plan(CRESTED), "Up", ["tank"], heights={place: 0.02})


def test_the_last_height_of_a_line_gives_way_to_its_joint() -> None:
    """A height of the last track is that of the joint at its end."""
    text = CRESTED.replace(", Top = 66", "").replace("{ straight = 850 }", "{ straight = 850, railhead = 66 }")
    answer = try_train(read_plan(text), "Up", ["tank"], heights={"Top": 0.061})
    other = read_plan(CRESTED.replace("Top = 66", "Top = 61"))
    assert answer.plan.railhead == other.railhead
    beside = try_train(read_plan(text), "Up", ["tank"], heights={"Hill:2": 0.061}).held
    assert [each.joint for each in beside] == [None, "Top"]
    plain = read_plan(CRESTED.replace("railhead_at = [[700, 11]], ", "").replace(", railhead = 66 }", " }"))
    assert [each.joint for each in try_train(plain, "Up", ["tank"], heights={"Top": 0.061}).held] == ["Foot"]
    assert answer.trains[0].trials[0].verdict == try_train(other, "Up", ["tank"]).trains[0].trials[0].verdict


def test_heights_beyond_a_joint_without_one_hold_too() -> None:
    """A change of height reaches over a free joint to the next heights on all lines that meet there."""
    text = CRESTED.replace(", Top = 66 }", ", Summit = 66, Mine = 70, Far = 80 }") + "".join(
        f'line.{name} = {{ from = "{start}", to = "{end}", track = [{{ straight = 900 }}] }}\n'
        for name, start, end in [("On", "Top", "Summit"), ("Spur", "Top", "Mine"), ("Beyond", "Mine", "Far")]
    )
    text += 'turnout.Top = { toe = "Hill.to", legs = ["On.from", "Spur.from"] }\n'
    held = try_train(read_plan(text), "Up", ["tank"], heights={"Hill@3400": 0.061}).held
    assert [each.joint or each.at for each in held] == [3.0, "Summit", "Mine"]


def test_the_most_cars_hold_back_downhill() -> None:
    plan = read_plan(BRANCHED)
    layout = Layout(plan)
    most = try_train(plan, "Down", ["tank", "ore"]).trains[0].trials[0].most
    assert most is not None
    assert climbs(layout, "Down", (Cut("tank", 1), Cut("ore", most)), ("clean",))
    longer = NamedTrain("it", "Down", (Cut("tank", 1), Cut("ore", most + 1)))
    verdict = Layout(replace(plan, trains={"it": longer})).verdict("it")
    assert (verdict.climb, verdict.outcome) == ("climbs", "runs away")


def test_a_film_counts_at_its_worse_age() -> None:
    trial = try_train(plan_of("first-hill"), "Uphill", ["switcher", "7 boxcar", "caboose"]).trains[0].trials[-1]
    assert isinstance(trial, TrialOutcome)
    assert (trial.condition, trial.rail, trial.outcome) == (EVERYWHERE, "treated fresh", "stalls")


@pytest.mark.parametrize(
    ("route", "vehicles", "kind", "words"),
    [
        ("Uphil", ["switcher"], RouteError, 'no route of this name, got "Uphil"; write "Uphill"'),
        ("Harbr yard..Ridge", ["switcher"], RouteError, 'got "Harbr yard"; write "Harbor yard"'),
        ("Uphill", ["switcher", "7 boxcr"], PlanError, 'VEHICLE: there is no stock "boxcr"; write "boxcar"'),
        ("Uphill", ["switcher", "7", "boxcar"], PlanError, 'got 7 boxcar; write "7 boxcar"'),
        ("Uphill", ["7 boxcar"], PlanError, 'a train needs a locomotive; write "switcher" or any'),
        ("Uphill", [ANY, ANY], PlanError, "only one locomotive can be any"),
    ],
)
def test_what_cannot_be_tried(route: str, vehicles: list[str], kind: type[Exception], words: str) -> None:
    with pytest.raises(kind) as caught:
        try_train(plan_of("first-hill"), route, vehicles)
    assert words in str(caught.value)


def test_a_train_of_the_plan_is_tried_by_its_name() -> None:
    plan = plan_of("first-hill")
    named = plan.trains["local"]
    assert try_train(plan, "Uphill", ["local"]).trains == try_train(plan, "Uphill", typed(named)).trains
    own = replace(plan, trains={"local": replace(named, together=0.8)})
    with pytest.raises(PlanError, match="a together of its own is not tried by its name"):
        try_train(own, "Uphill", ["local"])


def test_a_joint_that_is_not_there() -> None:
    with pytest.raises(RouteError, match=r'--set: the plan has no joint, .* of this name, got "Ridg"; write "Ridge"'):
        try_train(plan_of("first-hill"), "Uphill", ["switcher"], heights={"Ridg": 0.1})


def test_cars_in_two_rows_are_counted_together_and_the_longer_row_grows() -> None:
    plan = plan_of("two-levels")
    layout, route = Layout(plan), "Up by the siding"
    trial = try_train(plan, route, ["consolidation", "4 hopper", "caboose", "2 hopper"]).trains[0].trials[0]
    assert trial.most is not None
    for count, does in ((trial.most, True), (trial.most + 1, False)):
        row = (Cut("consolidation", 1), Cut("hopper", count - 2), Cut("caboose", 1), Cut("hopper", 2))
        assert climbs(layout, route, row, ("clean",)) is does


@pytest.mark.parametrize("power", ["tank", "double header"])
def test_of_a_train_too_long_so_many_cars_fit_and_one_more_does_not(power: str) -> None:
    plan, route = plan_of("two-levels"), "Quarry down"
    (tried,) = try_train(plan, route, [power, "14 coach"]).trains
    assert tried.fits is not None

    def fit(count: int) -> bool:
        (one,) = try_train(plan, route, [power, f"{count} coach"]).trains
        assert (one.fits is None) == (not one.judged.misfits)
        return not one.judged.misfits

    assert fit(tried.fits)
    assert not fit(tried.fits + 1)
