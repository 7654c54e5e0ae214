"""Designs found backward: ordinary questions are answered, the answer works, and the next harder fails as named."""

from __future__ import annotations

import json
import math
import os
import random
from dataclasses import replace

import pytest

from checked import check
from command_line import run
from gradehaul.design.climb import hill as hills
from gradehaul.design.climb.designs import design_helix
from gradehaul.design.climb.given import HelixGiven, helix_of
from gradehaul.design.climb.helix import HelixBuild, usual_helix_build
from gradehaul.design.climb.hill import Direction, directions_of, judged_rails, steps_of
from gradehaul.design.climb.incline import Bend, InclineGiven, incline_of
from gradehaul.design.climb.search import (
    GRADE_STEP,
    TrainTest,
    clears,
    roomiest,
    search_helix,
    search_incline,
    train_test,
)
from gradehaul.errors import DesignError, RouteError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.train import build_train
from gradehaul.haulage.verdict import Need
from gradehaul.plan.reader import read_plan
from gradehaul.plan.records import Plan

EXAMPLES = int(os.environ.get("GRADEHAUL_BACKWARD_EXAMPLES", "3"))
"""Questions of each kind; more than the ordinary run asks by this variable."""

STOCK = {"N": (0.10, 0.11, 0.03, 0.08), "HO": (0.40, 0.20, 0.10, 0.15), "O": (1.6, 0.40, 0.40, 0.30)}
"""Masses, kg, and lengths, m, of a locomotive and of a car."""
RADII = {"in": [15, 16.5, 18, 20, 22, 24, 26.5, 28, 30, 33, 36, 40], "mm": [350, 400, 438, 500, 555, 600, 750, 1000]}
FIND = ("radius", "grade", "length", "rise")


def stock_of(scale: str, unit: str, pull: float, cars: int) -> Plan:
    mass, length, car_mass, car_length = STOCK[scale]
    return read_plan(
        f'scale = "{scale}"\nunit = "{unit}"\nrailhead.A = 0\n'
        'line.L = { from = "A", to = "B", track = [{ straight = 900 }] }\nroute.Up = { from = "A", to = "B" }\n'
        f'[loco.tank]\nmass = "{mass} kg"\nlength = "{length} m"\n'
        f'pull = {{ clean = "{pull * mass} kgf", treated = "{0.8 * pull * mass} kgf" }}\n'
        f'[car.box]\nmass = "{car_mass} kg"\nlength = "{car_length} m"\n'
        f'[train.local]\nroute = "Up"\nconsist = ["tank", "{cars} box"]\n'
    )


def questions():
    draws = random.Random(7)
    for find in FIND:
        for number in range(EXAMPLES):
            scale = draws.choice(list(STOCK))
            unit = ("in", "mm")[number % 2]
            radii = [
                r
                for r in RADII[unit]
                if (r * (25.4 if unit == "in" else 1)) > 20 * {"N": 9, "HO": 16.5, "O": 32}[scale]
            ]
            yield (
                find,
                scale,
                unit,
                draws.choice(radii),
                draws.choice([0.2, 0.24, 0.3, 0.4]),
                draws.randint(1, 6),
                number,
            )


def works(hill_text: str, rails) -> dict[tuple[str, str], str]:
    return {(t.rail, t.route): t.verdict.outcome for t in check(read_plan(hill_text)).trains if t.rail in rails}


def passing(
    stock: Plan,
    rails,
    train: str | None = None,
    need: Need = "climbs",
    direction: Direction | None = None,
) -> TrainTest:
    """What a design must pass."""
    return train_test(stock, (train,) if train else (), None, need, directions_of(stock, direction))._replace(
        rails=tuple(rails)
    )


@pytest.mark.parametrize(("find", "scale", "unit", "radius", "pull", "cars", "number"), [*questions()])
def test_the_answer_works_and_the_next_harder_fails_as_named(find, scale, unit, radius, pull, cars, number) -> None:
    stock = stock_of(scale, unit, pull, cars)
    rails = judged_rails(stock, None)
    assert rails == ("treated", "treated fresh")
    directions: tuple[Direction, ...] = ("up", "down", "both")
    test = passing(stock, rails, direction=directions[number % 3])
    steps, meters = steps_of(unit), 0.0254 if unit == "in" else 0.001
    build = usual_helix_build(stock)
    high = build.clear + build.structure
    turns = (0.5, 0.75, 2.0, 3.5)[number % 4]
    bends = (Bend(radius * meters, math.pi / 2),) if number % 3 else ()
    compensated = bool(bends) and number % 2 == 0

    def forward(step: float):
        """The design with one more step of what was found, as a forward question gives it."""
        if find == "radius":
            return helix_of(replace(given, radius=found.radius - step * steps.length), build, unit)
        if find == "grade":
            return helix_of(replace(given, grade=found.grade + step * GRADE_STEP), build, unit)
        if find == "length":
            return incline_of(replace(fixed, length=found.length - step * steps.length), stock)
        return incline_of(replace(fixed, rise=found.rise + step * steps.rise), stock)

    try:
        if find == "radius":
            given = HelixGiven(rise_per_turn=1.3 * high, turns=turns)
            found, stop = search_helix("radius", given, build, test)
        elif find == "grade":
            given = HelixGiven(radius=radius * meters, turns=turns)
            found, stop = search_helix("grade", given, build, test)
        elif find == "length":
            fixed = InclineGiven(rise=high, bends=bends, compensated=compensated)
            found, stop = search_incline("length", fixed, test)
        else:
            fixed = InclineGiven(length=6 * radius * meters, bends=bends, compensated=compensated)
            found, stop = search_incline("rise", fixed, test)
    except DesignError as error:
        refused(find, error, test, build, radius * meters, turns, bends, compensated)
        return
    assert set(works(forward(0).hill(stock, test.directions).text, rails).values()) == {"climbs"}
    if find in ("radius", "grade"):
        assert clears(forward(0), stock)
    if stop.reason == "limit":
        assert find == "radius"
        assert found.radius == pytest.approx(5 * stock.scale.gauge, abs=steps.length)
    elif stop.reason == "train":
        outcomes = works(forward(1).hill(stock, test.directions).text, rails)
        way = "Down" if "going down" in stop.words else "Up"
        outcome = outcomes[stop.rail, way]
        assert outcome in ("marginal", "stalls", "runs away")
        assert f"{'is marginal' if outcome == 'marginal' else outcome} on {stop.rail} rail" in stop.words
    elif stop.reason == "head room":
        assert not clears(forward(1), stock)
    else:
        with pytest.raises(DesignError) as refusal:
            forward(1)
        assert refusal.value.wrong == stop.words


def refused(find, error, test, build, radius, turns, bends, compensated) -> None:
    """Hold a refusal against a walk over many designs: none of them works."""
    stock = test.stock
    assert find in ("grade", "rise"), error
    for share in range(1, 50):
        try:
            if find == "grade":
                design = helix_of(HelixGiven(radius=radius, turns=turns, grade=share * 2e-3), build)
                if not clears(design, stock):
                    continue
            else:
                fixed = InclineGiven(
                    rise=share * 6 * radius * 2e-3, length=6 * radius, bends=bends, compensated=compensated
                )
                design = incline_of(fixed, stock)
        except DesignError:
            continue
        hill = design.hill(stock, test.directions)
        assert set(works(hill.text, test.rails).values()) != {"climbs"}, (str(error), share)


@pytest.fixture(scope="module")
def stock() -> Plan:
    return hills.stock_of("plans/first-hill.toml", scale=None, unit=None)


@pytest.fixture(scope="module")
def build(stock: Plan) -> HelixBuild:
    return replace(usual_helix_build(stock), ease=0.15)


def outcome(given: HelixGiven, build: HelixBuild, stock: Plan, rail: str) -> str:
    plan = read_plan(helix_of(given, build).hill(stock).text)
    (answer,) = [train for train in check(plan).trains if train.rail == rail]
    return answer.verdict.outcome


def test_where_no_rail_is_told_both_ages_of_the_film_are_climbed(stock: Plan, build: HelixBuild) -> None:
    given = HelixGiven(rise_per_turn=0.13, turns=3)
    found = design_helix(given, build, stock, find="radius", train="local")
    assert (found.stops.reason, found.stops.rail) == ("train", "treated fresh")
    for rail in ("treated", "treated fresh"):
        assert outcome(replace(given, radius=found.helix.radius), build, stock, rail) == "climbs"
    smaller = replace(given, radius=found.helix.radius - 1e-3)
    assert outcome(smaller, build, stock, "treated") == "climbs"
    assert outcome(smaller, build, stock, "treated fresh") != "climbs"
    settled = design_helix(given, build, stock, find="radius", train="local", rail="treated")
    assert settled.helix.radius < found.helix.radius


def test_where_the_train_climbs_anywhere_the_head_room_stops_the_radius(stock: Plan, build: HelixBuild) -> None:
    found, stop = search_helix("radius", HelixGiven(grade=0.02, turns=3), build, passing(stock, ["clean"]))
    assert stop.reason == "head room"
    smaller = helix_of(HelixGiven(grade=0.02, turns=3, radius=found.radius - 1e-3), build)
    assert clears(found, stock)
    assert not clears(smaller, stock)


@pytest.mark.parametrize("straight", [0.0, 0.3])
def test_no_helix_in_the_floor_takes_more_cars_than_the_roomiest(
    stock: Plan, build: HelixBuild, straight: float
) -> None:
    build = replace(build, straight=straight)
    floor = (2.0, 1.7)

    def cars(radius: float, turns: float) -> int:
        helix = helix_of(HelixGiven(radius=radius, rise=0.5, turns=turns), build)
        return helix.hill(stock).layout.longest_train("Up", "switcher", "boxcar", rail="treated").rated

    best = roomiest(HelixGiven(floor=floor, rise=0.5), build, stock)
    most = cars(best.radius, best.turns)
    assert clears(best, stock)
    assert all(need <= side * (1 + 1e-9) for need, side in zip(best.floor, floor, strict=True))
    tried = 0
    for radius in (best.radius, best.radius - 0.1, best.radius - 0.2):
        for halves in range(4, 14):
            other = helix_of(HelixGiven(radius=radius, rise=0.5, turns=halves / 2), build)
            if clears(other, stock):
                tried += 1
                assert cars(radius, halves / 2) <= most
    assert tried > 5


def test_what_cannot_be_looked_for_is_refused(stock: Plan, build: HelixBuild) -> None:
    with pytest.raises(DesignError, match="for a floor space"):
        roomiest(HelixGiven(rise=0.5), build, stock)
    with pytest.raises(DesignError, match="not even one turn"):
        roomiest(HelixGiven(floor=(2.0, 1.7), rise=0.05), build, stock)
    with pytest.raises(DesignError, match="what --find finds"):
        search_helix("radius", HelixGiven(radius=0.6, grade=0.02, turns=3), build, passing(stock, ["clean"]))
    with pytest.raises(DesignError, match="what --find finds"):
        search_helix("grade", HelixGiven(radius=0.6, grade=0.02, turns=3), build, passing(stock, ["clean"]))
    with pytest.raises(DesignError, match="not enough is known"):
        search_helix("radius", HelixGiven(grade=0.02), build, passing(stock, ["clean"]))
    with pytest.raises(RouteError, match="no train of this name"):
        search_helix("radius", HelixGiven(grade=0.02, turns=3), build, passing(stock, ["clean"], "express"))
    with pytest.raises(RouteError, match="rail condition"):
        search_helix("radius", HelixGiven(grade=0.02, turns=3), build, passing(stock, ["wet"]))
    with pytest.raises(DesignError, match=r'no radius up to 259.8 in works: train "local" stalls on treated rail'):
        search_helix("radius", HelixGiven(grade=0.05, turns=3), build, passing(stock, ["treated"]))
    # a helix of 100 turns of 1.89 m each, and not an angle that no plan takes
    with pytest.raises(DesignError, match=r'no grade down to 0.16 % works: train "local" .* on treated rail'):
        search_helix("grade", HelixGiven(radius=0.3, rise=0.3), build, passing(stock, ["treated"]))


def test_a_train_that_only_goes_down_is_held_back_as_far_as_statics_have_it() -> None:
    """The steepest grade down is where what curves and rolling at their least leave is all that slipping wheels hold.

    All of the train lies on the even stretch: W (g - 0.671 C / R) less 0.8 % of its cars' weight, or what was measured.
    """
    stock = hills.stock_of("plans/landing.toml", scale=None, unit=None)
    assert directions_of(stock) == {"loads": "down", "empties": "up"}
    layout = Layout(stock)
    train = build_train(layout.plan, layout.plan.trains["loads"])
    weight = 9.80665 * sum(block.mass for block in train.blocks)
    for radius, rail in ((0.6, "treated fresh"), (0.9, "treated"), (1.2, "treated fresh")):
        slip = train.together * sum(layout.pulls.slipping(loco, rail).value for loco, _ in train.locos)
        bends = layout.curves.lowest * layout.coefficient / radius
        most = (slip + train.lowest_rolling) / weight + bends
        found, stop = search_helix(
            "grade", HelixGiven(radius=radius, turns=4), usual_helix_build(stock), passing(stock, [rail], "loads")
        )
        assert 0 <= most - found.grade < 1.01 * GRADE_STEP
        assert stop.words == f'train "loads", going down, runs away on {rail} rail'


def test_which_way_trains_run_is_as_in_their_own_plan_or_as_told() -> None:
    words = ["--radius", "600 mm", "--rise-per-turn", "120 mm", "--turns", "3", "--plan", "plans/landing.toml"]
    own = run("helix", *words).stdout
    assert "loads, going down, is held back on" in own
    assert "empties, going up, climbs on clean rail" in own
    assert "loads, going up, STALLS" in run("helix", *words, "--direction", "up").stdout
    both = json.loads(run("helix", *words, "--direction", "both", "--json").stdout)["trains"]
    assert {(each["name"], each["route"]) for each in both} == {
        ("loads", "Up"), ("loads down", "Down"), ("empties", "Up"), ("empties down", "Down")
    }  # fmt: skip
    # where its track has no heights both ways are judged
    bare = replace(hills.stock_of("plans/landing.toml", scale=None, unit=None), railhead={})
    assert set(directions_of(bare).values()) == {"both"}
