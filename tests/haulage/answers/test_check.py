"""The whole check: trains that fit nowhere, what passes, and where the figures come from."""

from __future__ import annotations

from dataclasses import replace

import pytest

from checked import check
from gradehaul.errors import PlanError, Problems
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.answers.figures import SourcedFigure, figures
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan

HEAD = """
title = "Test"
scale = "HO"
unit = "m"
railhead.A = 0
loco.mule = { mass = "200 g", length = 0.2, pull.clean = "0.8 N" }
car.ore = { mass = "100 g", length = 0.1 }
"""


def line(name: str, start: str, finish: str, track: str, more: str = "") -> str:
    return f'[line.{name}]\nfrom = "{start}"\nto = "{finish}"\ntrack = [{track}]\n{more}'


def train(name: str, consist: str, route: str = "Up") -> str:
    return f'[train.{name}]\nroute = "{route}"\nconsist = [{consist}]\n'


FILM = ("treated", "treated fresh")


def answer(
    *parts: str, head: str = HEAD, all_routes: bool = False, rails: tuple[str, ...] | None = None
) -> CheckAnswer:
    return check(read_plan(head + "".join(parts), file="test.toml"), all_routes=all_routes, rails=rails)


def refused(*parts: str) -> tuple[str, ...]:
    with pytest.raises(Problems) as caught:
        answer(*parts)
    assert all(isinstance(error, PlanError) for error in caught.value.errors)
    return tuple(str(error) for error in caught.value.errors)


LAP = line("Ring", "A", "A", "{ straight = 3 }", 'runs = "forward"\n') + '[route.Up]\nlap = ["Ring"]\n'
BALLOON = (
    '[turnout.T]\ntoe = "Lead"\nlegs = ["Loop.from", "Loop.to"]\n'
    + line("Lead", "A", "T", "{ straight = 5 }")
    + line("Loop", "T", "T", "{ straight = 2 }")
    + '[route.Up]\nfrom = "A"\nto = "A"\n'
)
DOCKS = (
    line(
        "Main",
        "A",
        "B",
        '{ straight = 1, rise = 0, berth = "Long" }, { straight = 3, rise = 0 }, '
        '{ straight = 0.8, rise = 0, berth = "Short" }',
    )
    + '[route.Up]\nfrom = "Long"\nto = "Short"\n'
)


# Trains that fit nowhere


def misfits_of(found: CheckAnswer) -> dict[str, list[tuple[str, str, float, float]]]:
    return {
        train.name: [(one.place, one.kind, round(one.length, 6), one.available) for one in train.misfits]
        for train in found.trains
    }


def test_a_train_longer_than_its_lap_fails_alone() -> None:
    found = answer(LAP, train("long", '"mule", "29 ore"'), train("fair", '"mule", "28 ore"'))
    assert misfits_of(found) == {"long": [("the lap", "lap", 3.1, 3.0)], "fair": []}
    assert 'train "long": it is 3.1 m long and does not fit the lap, which holds 3 m' in map(str, found.notes)
    assert not found.passes
    assert answer(LAP, train("fair", '"mule", "20 ore"')).passes


def test_a_train_longer_than_the_loop_in_which_its_route_meets_itself_fails_alone() -> None:
    found = answer(BALLOON, train("long", '"mule", "19 ore"'), train("fair", '"mule", "18 ore"'))
    assert misfits_of(found) == {"long": [('the loop at "T"', "loop", 2.1, 2.0)], "fair": []}


def test_a_train_longer_than_the_bridge_of_a_turntable_fails_alone() -> None:
    table = '[table.T]\nlines = ["Lead", "Stall"]\nlength = 0.5\n[route.Up]\nfrom = "A"\nto = "B"\n'
    lines = line("Lead", "A", "T", "{ straight = 3, rise = 0 }") + line("Stall", "T", "B", "{ straight = 3, rise = 0 }")
    found = answer(lines + table, train("long", '"mule", "4 ore"'), train("fair", '"mule", "3 ore"'))
    assert misfits_of(found) == {"long": [('the turntable "T"', "turntable", 0.6, 0.5)], "fair": []}


@pytest.mark.parametrize("cars", [29, 290])
def test_a_train_that_fits_nowhere_has_a_verdict_on_the_track_alone(cars: int) -> None:
    found = answer(LAP, train("long", f'"{cars} ore", "mule"'), train("fair", '"mule", "28 ore"'))
    alone = answer(LAP, train("fair", '"mule", "28 ore"'))
    assert {one.name for one in found.trains} == {"long", "fair"}
    assert [one.verdict for one in found.trains if one.name == "fair"] == [one.verdict for one in alone.trains]


def test_a_train_too_long_for_its_berth_fails() -> None:
    found = answer(DOCKS, train("long", '"mule", "9 ore"'), train("fair", '"mule", "6 ore"'))
    assert {(each.name, each.outcome) for each in found.on(("clean",))} == {("long", "too long"), ("fair", "climbs")}
    assert not found.passes


def test_a_berth_too_short_is_a_note() -> None:
    found = answer(
        DOCKS, train("long", '"mule", "9 ore"'), train("fair", '"mule", "6 ore"'), train("mid", '"mule", "8 ore"')
    )
    notes = [str(note) for note in found.notes if note.place.startswith("train")]
    assert notes == [
        'train "long": it is 1.1 m long and does not fit berth "Long", which holds 1 m',
        'train "long": it is 1.1 m long and does not fit berth "Short", which holds 0.8 m',
        'train "mid": it is 1 m long and does not fit berth "Short", which holds 0.8 m',
    ]


def test_trains_are_judged_where_every_route_is_listed_beside_the_declared() -> None:
    found = answer(DOCKS, train("long", '"mule", "9 ore"'), all_routes=True)
    assert {train.name for train in found.trains} == {"long"}
    assert found.unjudged == ()
    names = [route.route.name for route in found.routes]
    assert names[0] == found.trains[0].route
    assert "Short to Long" in names


def test_a_plan_with_a_train_that_is_not_judged_does_not_pass() -> None:
    without = replace(answer(DOCKS, train("long", '"mule", "2 ore"')), trains=(), not_checked=("train long",))
    assert without.unjudged == ("long",)
    assert not without.passes


# What passes


MISSES = (
    line("Main", "A", "B", '{ left = 1, angle = 90, rise = 0 }, { straight = 2, rise = 0, berth = "Dock" }')
    + '[turnout.A]\ntoe = "Lead"\nlegs = ["Main.from", "Back.to"]\n'
    + line("Lead", "Far", "A", "{ straight = 2, rise = 0 }")
    + line("Back", "B", "A", "{ straight = 1, rise = 0 }")
    + '[route.Up]\nfrom = "Far"\nto = "Dock"\n'
)
"""A loop that misses closing by metres."""


def test_what_a_loop_that_misses_hides_was_not_checked() -> None:
    found = answer(MISSES, train("up", '"mule", "2 ore"'))
    assert [each.outcome for each in found.on(found.judged_rails)] == ["climbs"]
    (left,) = found.not_checked
    assert left.startswith("where other track fouls berth Dock, since loop ")
    assert " misses closing by " in left
    assert not found.passes
    assert [doubt.place for doubt in found.doubts] == [left.split("since ")[1].split(" misses")[0]]
    stated = answer(MISSES.replace('berth = "Dock"', 'berth = "Dock", clear = 2'), train("up", '"mule"'))
    assert stated.not_checked == ()
    assert stated.passes


def hill(percent: float, rail: str = "", pull: str = "") -> str:
    more = f', rail = "{rail}"' if rail else ""
    return (
        line("Main", "A", "B", f'{{ straight = 3, grade = "{percent} %"{more} }}, {{ straight = 2, rise = 0 }}')
        + '[route.Up]\nfrom = "A"\nto = "B"\n[route.Down]\nfrom = "B"\nto = "A"\n'
        + pull
    )


def outcomes(found: CheckAnswer, name: str) -> dict[str, tuple[str, bool]]:
    return {one.rail: (one.outcome, one.verdict.holds_back) for one in found.trains if one.name == name}


# On 3 % ten cars and the mule ask 10 × 0.05 + 2 × 0.03 = 0.56 weights of a car, 0.549 N: the mule has 0.8 N on clean
# rail, 0.68 N on settled film, 0.6 N fresh. Twelve ask 0.66, 0.647 N; fourteen 0.76, 0.745 N; sixteen 0.86, 0.843 N.
@pytest.mark.parametrize(
    ("cars", "stalls_on", "passes"),
    [
        (10, set(), True),
        (12, {"treated fresh"}, False),
        (14, {"treated", "treated fresh"}, False),
        (16, {"clean", "treated", "treated fresh"}, False),
    ],
)
def test_a_layout_passes_where_its_trains_get_through_on_the_rails_it_is_judged_on(
    cars: int, stalls_on: set[str], passes: bool
) -> None:
    found = answer(hill(3), train("up", f'"mule", "{cars} ore"'), rails=FILM)
    assert {rail for rail, (outcome, _) in outcomes(found, "up").items() if outcome == "stalls"} == stalls_on
    assert found.judged_rails == FILM
    assert found.film_rails == ()
    assert found.passes is passes
    bare = answer(hill(3), train("up", f'"mule", "{cars} ore"'))
    assert (bare.judged_rails, bare.film_rails) == (("clean",), FILM)
    assert bare.passes is ("clean" not in stalls_on)


@pytest.mark.parametrize(
    ("rail", "cars", "passes"),
    [
        ("clean", 14, True),
        ("treated", 10, True),
        ("treated", 12, False),  # settled it would do; on the day on which the film goes on it does not
        ("treated", 14, False),
        ("treated fresh", 12, False),
    ],
)
def test_as_planned_alone_is_judged_where_a_rail_key_is_at_both_ages(rail: str, cars: int, passes: bool) -> None:
    found = answer(hill(3, rail), train("up", f'"mule", "{cars} ore"'))
    told = outcomes(found, "up")
    ages = ("as planned", "as planned fresh") if rail == "treated" else ("as planned",)
    assert found.rails == ("clean", "treated", "treated fresh", *ages)
    assert found.judged_rails == ages
    assert told["as planned"] == told[rail]
    if rail == "treated":
        assert told["as planned fresh"] == told["treated fresh"]
    assert found.passes is passes


def test_as_planned_is_a_rail_of_every_load_and_train() -> None:
    found = answer(hill(3, "treated"), train("up", '"mule", "ore"'))
    assert {load.rail for route in found.routes for load in route.loads} == set(found.rails)
    assert [one.rail for one in found.trains] == list(found.rails)
    bare = answer(hill(3), train("up", '"mule", "ore"'))
    assert bare.rails == ("clean", "treated", "treated fresh")


def test_a_train_that_does_not_hold_back_does_not_pass() -> None:
    # down 3 % with 0.8 % rolling at the lowest: each car pushes by 2.2 %, thirty by 0.66 weights of a car and the mule
    # by 0.06: 0.706 N. Its slipping pull is 0.6 N on clean rail, 0.408 N on settled film, 0.36 N fresh.
    found = answer(
        hill(3), train("down", '"mule", "30 ore"', "Down"), train("short", '"mule", "20 ore"', "Down"), rails=FILM
    )
    assert [held for _, held in outcomes(found, "down").values()] == [False, False, False]
    # twenty cars: 0.44 + 0.06 = 0.5 weights, 0.490 N
    assert [held for _, held in outcomes(found, "short").values()] == [True, False, False]
    assert [outcome for outcome, _ in outcomes(found, "short").values()] == ["climbs", "runs away", "runs away"]
    assert not found.passes
    # on the clean rail of the plan the long train alone fails
    clean = answer(hill(3), train("down", '"mule", "30 ore"', "Down"), train("short", '"mule", "20 ore"', "Down"))
    assert [each.name for each in clean.on(("clean",)) if each.outcome == "runs away"] == ["down"]


def test_a_layout_without_trains_is_not_passed() -> None:
    found = answer(hill(3))
    assert found.trains == ()
    assert not found.passes
    assert found.not_checked == ("the plan names no train",)


def test_a_marginal_train_passes() -> None:
    found = answer(hill(3), train("up", '"mule", "10 ore"'), rails=FILM)
    assert outcomes(found, "up")["treated fresh"][0] == "marginal"
    assert found.passes


# The answer


def test_there_is_a_load_for_every_route_power_car_and_rail() -> None:
    stock = (
        '[loco.dray]\nmass = "300 g"\nlength = 0.2\n[car.van]\nlength = 0.12\n[power.pair]\nlocos = ["mule", "dray"]\n'
    )
    found = answer(hill(2), stock)
    assert [route.route.name for route in found.routes] == ["Up", "Down"]
    for route in found.routes:
        assert [(load.power, load.car, load.rail) for load in route.loads] == [
            (power, car, rail) for power in ("mule", "dray", "pair") for car in ("ore", "van") for rail in found.rails
        ]


def test_ruling_grades_under_the_length_of_each_named_train() -> None:
    found = answer(
        hill(3),
        train("up", '"mule", "4 ore"'),
        train("same", '"4 ore", "mule"'),
        train("down", '"mule", "38 ore"', "Down"),
    )
    up, _ = found.routes
    assert [under.train_length for under in up.under_trains] == pytest.approx([0.6, 4.0])
    assert [under.effective for under in up.under_trains] == pytest.approx([0.03, 0.03 * 3 / 4])
    assert [under.at for under in up.under_trains] == pytest.approx([0.6, 3.0])


def test_progress_is_told_route_by_route() -> None:
    seen: list[tuple[int, int]] = []
    check(read_plan(HEAD + hill(2)), progress=lambda done, of: seen.append((done, of)))
    assert seen == [(1, 2), (2, 2)]


def test_notes_come_once_each_from_every_part() -> None:
    found = answer(DOCKS, "[vertical_curve]\nlength = 0.3\n", train("long", '"mule", "9 ore"'))
    texts = [str(note) for note in found.notes]
    assert len(texts) == len(set(texts))
    assert any("track ends at" in text for text in texts)
    assert set(Layout(found.plan).alignment.notes) <= set(found.notes)


def test_the_berths_are_answered_in_the_order_of_the_plan() -> None:
    found = answer(DOCKS)
    assert [(berth.name, berth.cars_fit["ore"]) for berth in found.berths] == [("Long", 10), ("Short", 8)]


# Figures and their labels

STOCK = """
title = "Figures"
scale = "HO"
unit = "m"
railhead.A = 0
rail.wax = { metal = { fresh = 0.6, settled = 0.8 }, tyred = { fresh = 0.4, settled = 0.5 } }
line.Main = { from = "A", to = "B", track = [{ straight = 1 }] }
[loco.mule]
mass = "200 g"
length = 0.2
pull = { clean = "1 N", wax = "0.7 N" }
slipping.clean = "0.5 N"
[loco.dray]
mass = "100 g"
length = 0.2
[car.ore]
mass = "100 g"
length = 0.1
rolling = "2 %"
starting = "3 %"
[car.van]
length = 0.1
[power.pair]
locos = ["mule", "mule"]
[power.trio]
locos = ["mule", "mule", "dray"]
together = "80 %"
[power.solo]
locos = ["dray"]
"""


def by_name(found: tuple[SourcedFigure, ...]) -> dict[tuple[str, str], tuple[float, str]]:
    named: dict[tuple[str, str], tuple[float, str]] = {
        (figure.subject, figure.name): (figure.value, figure.basis) for figure in found
    }
    assert len(named) == len(found)
    return named


def test_every_figure_tells_whose_it_is_and_where_it_comes_from() -> None:
    found = by_name(answer(head=STOCK).figures)
    weight = 0.1 * 9.80665 * 0.22
    expected: dict[tuple[str, str], tuple[float, str]] = {
        ("curves", "coefficient"): (0.0004 * 5729.578 * 0.3048 / 87.1, "assumed"),
        ('loco "mule"', "standing pull, clean"): (1.0, "measured"),
        ('loco "mule"', "slipping pull, clean"): (0.5, "measured"),
        ('loco "mule"', "standing pull, wax"): (0.7, "measured"),
        ('loco "mule"', "slipping pull, wax"): (0.7 * 0.5 * 0.6 / 0.75, "scaled"),
        ('loco "mule"', "standing pull, wax fresh"): (0.7 * 0.6 / 0.8, "scaled"),
        ('loco "mule"', "slipping pull, wax fresh"): (0.7 * 0.5 * 0.6 / 0.75 * 0.6 / 0.8, "scaled"),
        ('loco "dray"', "standing pull, clean"): (weight, "assumed"),
        ('loco "dray"', "slipping pull, clean"): (0.75 * weight, "assumed"),
        ('loco "dray"', "standing pull, wax"): (0.8 * weight, "assumed"),
        ('loco "dray"', "slipping pull, wax"): (0.6 * 0.8 * weight, "assumed"),
        ('loco "dray"', "standing pull, wax fresh"): (0.6 * weight, "assumed"),
        ('loco "dray"', "slipping pull, wax fresh"): (0.6 * 0.6 * weight, "assumed"),
        ('power "pair"', "together"): (0.9, "assumed"),
        ('power "trio"', "together"): (0.8, "stated"),
        ('car "ore"', "mass"): (0.1, "stated"),
        ('car "ore"', "rolling resistance"): (0.02, "stated"),
        ('car "ore"', "starting resistance"): (0.03, "stated"),
        # NMRA RP-20.1 in HO: 1 oz and half an ounce for every inch
        ('car "van"', "mass"): (0.028349523125 * (1 + 0.5 * 0.1 / 0.0254), "assumed"),
        ('car "van"', "rolling resistance"): (0.02, "assumed"),
        ('car "van"', "starting resistance"): (0.025, "assumed"),
        ('rail "wax"', "metal share kept, fresh"): (0.6, "stated"),
        ('rail "wax"', "metal share kept, rested"): (0.8, "stated"),
        ('rail "wax"', "tyred share kept, fresh"): (0.4, "stated"),
        ('rail "wax"', "tyred share kept, rested"): (0.5, "stated"),
    }
    assert list(found) == list(expected)
    assert {key: basis for key, (_, basis) in found.items()} == {key: basis for key, (_, basis) in expected.items()}
    assert [value for value, _ in found.values()] == pytest.approx([value for value, _ in expected.values()])


def test_the_kind_of_a_figure_tells_its_unit() -> None:
    kinds = {figure.name.partition(",")[0]: figure.kind for figure in answer(head=STOCK).figures}
    assert kinds == {
        "coefficient": "length",
        "standing pull": "force",
        "slipping pull": "force",
        "together": "share",
        "mass": "mass",
        "rolling resistance": "share",
        "starting resistance": "share",
        "metal share kept": "share",
        "tyred share kept": "share",
    }


def test_a_film_that_is_built_in_is_assumed() -> None:
    found = by_name(answer(hill(3)).figures)
    assert found['rail "treated"', "metal share kept, rested"] == (0.85, "assumed")


def test_a_measured_curve_coefficient_is_measured() -> None:
    plan = read_plan(STOCK + '[curve_resistance]\nmodel = "coefficient"\ncoefficient = "8.1 mm"\n')
    assert by_name(figures(plan, 0.0081))["curves", "coefficient"] == (0.0081, "measured")


PULLS = """
scale = "HO"
unit = "m"
railhead.A = 0
[line.Main]
from = "A"
to = "B"
track = [{ straight = 3, grade = "0.5 %" }, { straight = 3, grade = "3 %", rail = "RAIL" }, { straight = 3 }]
[route.Up]
from = "A"
to = "B"
[loco.mule]
mass = "200 g"
length = 0.2
pull.treated = "40 gf"
slipping.clean = "SLIP gf"
[car.ore]
mass = "100 g"
length = 0.1
[train.one]
route = "Up"
consist = ["mule", "6 ore"]
"""


@pytest.mark.parametrize(
    ("steep", "basis", "slipping"), [("treated", "measured", "assumed"), ("clean", "scaled", "measured")]
)
def test_as_planned_tells_the_source_of_the_pull_where_it_binds(steep: str, basis: str, slipping: str) -> None:
    # the other rail lies on the gentle rest of the line
    text = PULLS.replace("RAIL", steep).replace("SLIP", "30")
    if steep == "clean":
        text = text.replace('grade = "0.5 %"', 'grade = "0.5 %", rail = "treated"')
    else:
        text = text.replace('grade = "0.5 %"', 'grade = "0.5 %", rail = "clean"')
    answer = check(replace(read_plan(text), carry_over=0.0))
    load = next(load for load in answer.routes[0].loads if load.rail == "as planned")
    verdict = next(train.verdict for train in answer.trains if train.rail == "as planned")
    assert (load.basis, load.slipping_basis) == (basis, slipping)
    assert (verdict.basis, verdict.slipping_basis) == (basis, slipping)


def test_a_slipping_pull_above_a_standing_pull_that_nobody_measured_is_noted() -> None:
    def notes(slip: str) -> list[str]:
        found = check(read_plan(PULLS.replace("RAIL", "clean").replace("SLIP", slip))).notes
        return [str(note) for note in found if "sliding" in str(note)]

    # 40 gf on the settled film is 47.06 on clean rail
    assert notes("47") == []
    (note,) = notes("48")
    assert note.startswith('loco "mule", slipping, clean: ')
    assert "which is scaled from other rail: measure that too" in note


@pytest.mark.parametrize(("read", "noted"), [("mule", True), ("mule goat", False)])
def test_assumed_shares_of_a_film_are_noted_until_every_locomotive_was_read_on_it(read, noted):
    on_film = ', pull.treated = "0.5 N", pull."treated fresh" = "0.4 N"'
    locos = "\n".join(
        f'loco.{name} = {{ mass = "200 g", length = 0.2, pull.clean = "0.8 N"{on_film if name in read else ""} }}'
        for name in ("mule", "goat")
    )
    plan = read_plan(
        HEAD[: HEAD.index("loco.mule")] + locos + "\n" + line("Hill", "A", "B", "{ straight = 3, rise = 0 }")
    )
    assert any("shares of pull that it leaves are assumed" in note.text for note in check(plan).notes) == noted
