"""A plan changed by a program is held to what a file is held to, and cannot be changed in place."""

import copy
import math
import pickle
from dataclasses import replace

import pytest

from gradehaul.errors import Problems
from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.consistency import freeze_mappings
from gradehaul.plan.records import Cut, Deck, KeptShare
from gradehaul.quantities import Reading

PLAN = read_plan("""
scale = "HO"
unit = "m"
railhead = { A = 0 }
line.Main = { from = "A", to = "B", track = [{ straight = 2, grade = "2 %" }, { left = 1, angle = 90 }] }
line.Spur = { from = "B", to = "C", berth = "Dock", track = [{ straight = 1 }] }
route.Up = { from = "A", to = "Dock", via = ["Main"] }
loco.tank = { mass = "300 g", length = 0.1, pull.clean = "0.5 N" }
car.ore = { mass = "100 g", length = 0.1 }
train.coal = { route = "Up", consist = ["tank", "3 ore"] }
rail.wax = { metal = { fresh = 0.7, settled = 0.8 }, tyred = { fresh = 0.5, settled = 0.6 } }
""")
MAIN, TRACK = PLAN.lines["Main"], PLAN.lines["Main"].tracks[0]


def line(**changes):
    return {"lines": {**PLAN.lines, "Main": replace(MAIN, **changes)}}


def track(**changes):
    return line(tracks=(replace(TRACK, **changes), *MAIN.tracks[1:]))


def one(kind, name, **changes):
    records = getattr(PLAN, kind)
    return {kind: {**records, name: replace(records[name], **changes)}}


CASES = [
    ({"vertical_curve": math.nan}, "vertical_curve must be 0 or more, got nan"),
    ({"carry_over": -1.0}, "carry_over must be 0 or more, got -1"),
    ({"deck": Deck(roadbed=-1.0)}, "deck: roadbed must be 0 or more, got -1"),
    ({"railhead": {"X": 0.0}}, 'railhead "X": there is no joint "X"'),
    ({"railhead": {"A": math.inf}}, 'railhead "A": railhead must be finite, got inf'),
    (line(tracks=()), 'line "Main": a line needs track, got none'),
    (line(start="X"), 'line "Main": there is no joint "X"'),
    (track(length=0.0), 'line "Main", track 1: length must be more than 0, got 0'),
    (track(length=math.nan), 'line "Main", track 1: length must be more than 0, got nan'),
    (track(ease=-1.0), 'line "Main", track 1: ease must be 0 or more, got -1'),
    (track(curvature=math.inf), 'line "Main", track 1: curvature must be finite, got inf'),
    (track(grade=1.5), 'line "Main", track 1: grade must be under 100 % up or down, got 150 %'),
    (track(grade=1.0), 'line "Main", track 1: grade must be under 100 % up or down, got 100 %'),
    (track(grade=-1.0), 'line "Main", track 1: grade must be under 100 % up or down, got -100 %'),
    (line(railhead_at=((9.0, 0.1),)), "a distance of railhead_at must be at most the line's length"),
    (line(railhead_at=((1.0, math.nan),)), "a height of railhead_at must be finite, got nan"),
    (one("cars", "ore", mass=-1.0), 'car "ore": mass must be more than 0, got -1'),
    (one("cars", "ore", length=math.inf), 'car "ore": length must be more than 0, got inf'),
    (one("cars", "ore", rolling=Reading(math.nan)), 'car "ore": rolling must be 0 or more, got nan'),
    (one("cars", "ore", starting=Reading(1.5)), 'car "ore": starting must be at most the whole weight, 1, got 1.5'),
    (one("cars", "ore", rolling=Reading(0.02, -0.1)), 'car "ore": the spread of rolling must be 0 or more, got -0.1'),
    (one("locos", "tank", on_drivers=0.4), 'loco "tank": on_drivers must be at most the mass, 0.3, got 0.4'),
    (one("locos", "tank", on_tyres=0.4), 'loco "tank": on_tyres must be at most the mass on drivers, 0.3, got 0.4'),
    (one("locos", "tank", pull={"clean": ()}), 'loco "tank": pull on clean needs a reading, got none'),
    (one("locos", "tank", slipping={"clean": (Reading(-1.0),)}), "slipping on clean must be 0 or more, got -1"),
    (one("powers", "tank", locos=()), 'power "tank": a power needs a locomotive, got none'),
    (one("powers", "tank", locos=("x",)), 'power "tank": there is no loco "x"'),
    (one("powers", "tank", together=1.5), 'power "tank": together must be at most the sum of the pulls, 1, got 1.5'),
    (one("films", "wax", metal=KeptShare(math.nan, 0.8)), 'rail "wax": metal fresh must be 0 or more, got nan'),
    (one("berths", "Dock", line="X"), 'berth "Dock": there is no line "X"'),
    (one("berths", "Dock", tracks=("Spur:2",)), 'berth "Dock": there is no track "Spur:2"; write "Spur:1"'),
    (one("routes", "Up", destination="X"), 'route "Up": there is no joint, berth or line\'s end "X"'),
    (one("routes", "Up", via=("X",)), 'route "Up": there is no line, joint or berth "X"'),
    (one("routes", "Up", lap=("X",)), 'route "Up": there is no line "X"'),
    (one("routes", "Up", run_round=("X",)), 'route "Up": there is no berth "X"'),
    (one("routes", "Up", reversals=-1), 'route "Up": reversals must be 0 or more, got -1'),
    (one("trains", "coal", route="X"), 'train "coal": there is no route "X"; write "Up"'),
    (one("trains", "coal", consist=()), 'train "coal": a train needs a consist, got none'),
    (one("trains", "coal", consist=(Cut("x", 1),)), 'train "coal": there is no stock "x"'),
    (one("trains", "coal", consist=(Cut("ore", 0),)), 'train "coal": the count of "ore" must be more than 0, got 0'),
    (one("trains", "coal", together=0.0), 'train "coal": together must be more than 0, got 0'),
]


@pytest.mark.parametrize(("changes", "message"), CASES, ids=[message for _, message in CASES])
def test_a_changed_copy_is_checked(changes, message):
    with pytest.raises(Problems) as caught:
        replace(PLAN, **changes)
    assert message in str(caught.value)
    assert len(caught.value.errors) == 1
    assert str(caught.value).startswith("plan.toml: ")


def test_all_that_does_not_hold_is_shown_at_once():
    with pytest.raises(Problems) as caught:
        replace(PLAN, **track(length=-1.0), **one("cars", "ore", mass=0.0))
    assert len(caught.value.errors) == 2


def test_nothing_of_a_plan_can_be_changed_in_place():
    plan = load_plan("plans/two-levels.toml")
    for mapping in (plan.railhead, plan.lines, plan.cars, plan.trains, next(iter(plan.locos.values())).pull):
        with pytest.raises(TypeError):
            mapping["x"] = None
    cars = dict(PLAN.cars)
    again = replace(PLAN, cars=cars)
    cars.clear()
    assert again == PLAN


@pytest.mark.parametrize("again", [copy.copy, copy.deepcopy, lambda plan: pickle.loads(pickle.dumps(plan))])
def test_a_plan_is_copied_and_pickled(again):
    assert again(PLAN) == PLAN


def test_freezing_twice_changes_nothing():
    before = PLAN.cars
    freeze_mappings(PLAN)
    assert PLAN.cars is before
