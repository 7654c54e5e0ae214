"""Track that is level only for want of a height is named above the answers of the trains that run over it."""

from __future__ import annotations

from checked import check
from command_line import run
from demos import plan_of
from gradehaul.haulage.answers.trial_train import try_train
from gradehaul.plan import read_plan
from gradehaul.plan.records import Plan
from gradehaul.track.heights.railhead import LEVEL

HILL = """
scale = "HO"
unit = "m"
railhead = {{ Foot = 0{more} }}
line.Hill = {{ from = "Foot", to = "Top", track = [{{ straight = 4 }}] }}
line.Crest = {{ from = "Top", to = "Mine", track = [{{ straight = 3{crest} }}] }}
line.Spur = {{ from = "Mine", to = "End", track = [{{ straight = 1 }}] }}
loco.tank = {{ mass = "300 g", length = 0.2, pull.clean = "60 gf", slipping.clean = "50 gf" }}
car.ore = {{ mass = "150 g", length = 0.12 }}
train.up = {{ route = "Up", consist = ["tank", "2 ore"] }}
route.Up = {{ from = "Foot", to = "Mine" }}
"""


def hill(more: str = "", crest: str = "") -> Plan:
    return read_plan(HILL.format(more=more, crest=crest))


def test_a_trains_way_beyond_the_last_height_is_a_doubt_and_other_track_is_not() -> None:
    plan = hill(", Top = 0.1")
    (doubt,) = check(plan).doubts
    assert str(doubt) == f'line "Crest": on a train\'s way, {LEVEL}'
    assert doubt in try_train(plan, "Up", ["tank"]).doubts
    assert not check(hill(", Top = 0.1", ", rise = 0")).doubts  # meant level; the spur is on no train's way
    assert not check(hill(", Top = 0.1, Mine = 0.12")).doubts
    assert not try_train(plan, "Foot..Top", ["tank"]).doubts


def test_of_many_lines_three_are_named() -> None:
    (doubt,) = try_train(plan_of("yard"), "West 1..Yard 4", ["tank"]).doubts
    assert str(doubt).startswith('lines "Yard lead", "West ladder 1", "Track 2" and 7 more: on a train')


def test_a_plan_meant_flat_gets_one_line() -> None:
    assert [str(each) for each in check(hill()).doubts] == [
        "heights: all track is taken as level, since the plan states fewer than two heights"
    ]


def test_it_stands_above_the_verdict(tmp_path) -> None:
    path = tmp_path / "hill.toml"
    path.write_text(HILL.format(more=", Top = 0.1", crest=""), encoding="utf-8")
    for verb in (["check", path], ["try", path, "up"]):
        words = " ".join(run(*verb).stdout.split())
        assert 0 < words.index('Look at this first: line "Crest": on a train') < words.index("gets through")
