"""Helpers: a helper at the head is ahead of the joint at which the train's own head stands."""

import pytest

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.train import Block, Train, build_train
from gradehaul.haulage.verdict import judge_running
from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.resolve.stock import TOGETHER
from gradehaul.treatment.helping import District, HelpedTrain, _enough, helps, obstacle

PLAN = """
scale = "HO"
unit = "m"
railhead.Foot = 0
[line.Hill]
from = "Foot"
to = "Top"
track = [ { straight = 6 }, { straight = 4, grade = "9 %" }, { straight = 6 } ]
[loco.tank]
mass = "0.3 kg"
length = 0.25
pull.clean = "0.7 N"
[car.ore]
mass = "0.1 kg"
length = 0.12
[train.ore]
route = "Up"
consist = ["tank", "14 ore"]
[route.Up]
from = "Foot"
to = "Top"
"""


@pytest.mark.parametrize("where", ["head", "tail"])
def test_a_train_fails_within_its_district_as_seen_from_its_own_head(where):
    layout = Layout(read_plan(PLAN))
    profile, plan = layout.profile("Up"), layout.plan
    train, tank = build_train(plan, plan.trains["ore"]), plan.locos["tank"]
    helper = (Block(tank, 1),)
    blocks = (*helper, *train.blocks) if where == "head" else (*train.blocks, *helper)
    verdict = judge_running(profile, Train(blocks, TOGETHER, "assumed"), "clean", layout.pulls)
    fails = min(stretch.start for stretch in (*verdict.stalling, *verdict.no_stopping, *verdict.no_recovery))
    assert fails > 6
    # where the head of all fails, the train's own head is behind a helper at the head
    own = fails - (tank.length if where == "head" else 0.0)
    for off, enough in ((own - 0.02, True), (own + 0.02, False)):
        district = District("Foot", 3.0, "Top", off)
        assert _enough(profile, train, "clean", layout.pulls, tank, where, [district]) is enough


@pytest.mark.parametrize("number", [1, 2])
def test_a_helper_ahead_that_goes_off_within_the_tail_must_fit_in_it(number):
    layout = Layout(load_plan("plans/switchback.toml"))
    profile = layout.profile("Up to the quarry")
    leg = profile.runs[number - 1][0]
    assert leg.route.number == number
    tail = profile.route.tails[number - 1]
    room = layout.tail_room(tail)
    within = leg.length - 0.01
    for train, fits in ((room - 0.11, True), (room - 0.09, False)):
        found = obstacle(HelpedTrain(layout, profile, leg, train, 0.1), "head", train + 0.001, within)
        assert (found == "room") is not fits


def test_a_helper_behind_waits_in_the_tail_with_the_train_or_beside_the_line():
    layout = Layout(load_plan("plans/switchback.toml"))
    profile = layout.profile("Up to the quarry")
    leg, tail = profile.runs[1][0], profile.route.tails[0]
    room = layout.tail_room(tail)
    for train, fits in ((room - 0.11, True), (room - 0.09, False)):
        found = obstacle(HelpedTrain(layout, profile, leg, train, 0.1), "tail", train, train + 0.01)
        assert (found == "room") is not fits


@pytest.mark.parametrize(("on", "within"), [(2.0, False), (5.7, True), (6.1, False)])
def test_train_and_helper_together_fit_in_a_loop(on, within):
    """With the helper on, the head runs on over 0.5 m; the loop of 4 m begins at 2 m."""
    ends = 'from = "Foot"\nto = "Switch"\ntrack = [ { straight = 2 } ]\n'
    loop = 'from = "Switch"\nto = "Switch"\ntrack = [ { left = 0.64, angle = 350 }, { straight = 0.0904 } ]\n'
    switch = '[turnout.Switch]\ntoe = "Hill"\nlegs = ["Loop.from", "Loop.to"]\n'
    route = 'scale = "HO"\nunit = "m"\nrailhead.Foot = 0\n[route.Up]\nfrom = "Foot"\nto = "Foot"\n'
    layout = Layout(read_plan(f"{route}[line.Hill]\n{ends}[line.Loop]\n{loop}{switch}"))
    profile = layout.profile("Up")
    for train, meets in ((3.79, False), (3.81, True)):
        helped = HelpedTrain(layout, profile, profile.runs[0][0], train, 0.2)
        assert helped.meets_itself(on, on + 0.5) is (meets and within)


@pytest.mark.parametrize(("on", "over"), [(6.0, True), (7.9, True), (9.5, False), (3.0, False)])
def test_train_and_helper_together_stand_on_a_turntable_that_they_pass(on, over):
    """With the helper on, the head runs on over 0.5 m; the turntable is at 6 m."""
    table = 'scale = "HO"\nunit = "m"\nrailhead.Foot = 0\ntable.T = { lines = ["Lead", "Stall"], length = 2.0 }\n'
    lines = "".join(
        f'[line.{name}]\nfrom = "{start}"\nto = "{stop}"\ntrack = [{{ straight = 6 }}]\n'
        for name, start, stop in (("Lead", "Foot", "T"), ("Stall", "T", "End"))
    )
    layout = Layout(read_plan(f'{table}[route.In]\nfrom = "Foot"\nto = "End"\n{lines}'))
    profile = layout.profile("In")
    for train, longer in ((1.79, False), (1.81, True)):
        helped = HelpedTrain(layout, profile, profile, train, 0.2)
        assert helped.overhangs_bridge(on, on + 0.5) is (longer and over)
        assert (obstacle(helped, "tail", on, on + 0.5) == "room") >= (longer and over)


def test_on_a_lap_the_ways_under_a_train_go_on_across_its_origin():
    lap = PLAN.replace('{ straight = 6 }, { straight = 4, grade = "9 %" }, { straight = 6 }', "{ straight = 6 }")
    lap = lap.replace('[route.Up]\nfrom = "Foot"\nto = "Top"', '[route.Up]\nlap = ["Hill", "Back"]')
    lap += '[line.Back]\nfrom = "Top"\nto = "Foot"\ntrack = [ { straight = 4 } ]\n'
    layout = Layout(read_plan(lap))
    profile = layout.profile("Up")
    helped = HelpedTrain(layout, profile, profile.runs[0][0], 2.0, 0.25)
    for start, stop, tracks in (
        (1.0, 5.0, ["Hill:1"]),
        (-1.0, 1.0, ["Back:1", "Hill:1"]),
        (9.0, 11.0, ["Back:1", "Hill:1"]),
        (9.0, 17.0, ["Back:1", "Hill:1", "Back:1"]),
    ):
        assert [way.track for way in helped.under(start, stop)] == tracks
    for train, longer in ((9.74, False), (9.76, True)):
        helped = HelpedTrain(layout, profile, profile.runs[0][0], train, 0.25)
        for where in ("head", "tail"):
            assert (obstacle(helped, where, 0.0, 10.0) == "room") is longer


def enough(text: str, helper: str) -> set[bool]:
    layout = Layout(read_plan(text))
    train = build_train(layout.plan, layout.plan.trains["ore"])
    found = helps(layout, layout.profile("Up"), train, "clean", [layout.plan.locos[helper]])
    return {each.enough for each in found}


def test_a_helper_is_not_enough_where_the_train_runs_away_beyond_the_hill():
    beyond = '{ straight = 6 }, { straight = 4, grade = "FALL" } ]'
    over = PLAN.replace("{ straight = 6 } ]", beyond)
    over += '[loco.big]\nmass = "0.5 kg"\nlength = 0.25\npull.clean = "3 N"\n'
    assert True in enough(over.replace("FALL", "-1 %"), "big")
    assert enough(over.replace("FALL", "-9 %"), "big") == {False}


def test_a_helper_does_not_pull_with_others_better_than_is_assumed():
    """A stated share is that of the train's own locomotives; the same three in one train are judged at 90 %."""
    plan = PLAN.replace("9 %", "2 %").replace("straight = 4", "straight = 8")
    helped = alone = 0
    for count in range(30, 45):
        asked = plan.replace('"tank", "14 ore"', f'"2 tank", "{count} ore", "tank"')
        stated = plan.replace('"tank", "14 ore"]', f'"2 tank", "{count} ore"]\ntogether = "100 %"')
        climbs = Layout(read_plan(asked)).verdict("ore", rail="clean").outcome == "climbs"
        found = True in enough(stated, "tank")
        assert climbs or not found
        helped, alone = helped + found, alone + (not climbs)
    assert helped
    assert alone
