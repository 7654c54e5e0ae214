"""The parts of an answer for a plan with changes that are tried, as the page gets them."""

from __future__ import annotations

from demos import plan_of
from gradehaul.design.level.plan_copy import leveled_plan
from gradehaul.design.level.railheads import leveled
from gradehaul.haulage.answers.layout import Layout
from gradehaul.live.answers import Part, parts, stated
from gradehaul.live.plan_files import proposed
from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.edit.trial import TrialHeights
from project import PLANS


def part(plan, kind: str, trial: TrialHeights) -> Part:
    return next(each for each in parts(stated(plan), trial) if each["kind"] == kind)


def test_a_height_that_stated_rises_contradict_is_tried_and_what_it_puts_aside_is_named():
    plan = plan_of("two-levels")
    answer = part(plan, "answer", TrialHeights({"joint Helix top": 0.306}))
    assert answer["aside"] == "the rise of 300.0 mm of Helix:2"
    assert part(plan, "answer", TrialHeights())["aside"] == ""


def test_every_joint_of_a_leveled_plan_can_be_moved_and_one_that_was_is_written(tmp_path):
    text = leveled_plan(leveled(Layout(plan_of("switchback"))), PLANS)
    path = tmp_path / "leveled.toml"
    path.write_text(text, encoding="utf-8")
    plan = load_plan(path)
    heights = part(plan, "heights", TrialHeights())["heights"]
    assert {each["joint"] for each in heights} >= set(plan.joints)
    trial = TrialHeights({"joint Upper points": 0.08})
    assert part(plan, "answer", trial)["aside"] == ""  # the level tail at it has no height of its own
    assert '"Upper points" = 80' in proposed(path, trial)[1]


def test_what_is_put_aside_leaves_the_file_that_is_written(tmp_path):
    path = tmp_path / "landing.toml"
    path.write_text((PLANS / "landing.toml").read_text(encoding="utf-8"), encoding="utf-8")
    before, after, _ = proposed(path, TrialHeights({"joint Foot": 0.004}))
    assert before.count("rise = 0") == after.count("rise = 0") + 2
    assert load_plan(path).railhead["Foot"] == 0.0


def test_of_several_films_the_page_plans_for_none():
    films = ["gray", "treated"]
    stock = "".join(f"\n[rail.{film}]\nmetal = {{ fresh = 0.7, settled = 0.8 }}\n" for film in films)
    stock = stock.replace("0.8 }\n", "0.8 }\ntyred = { fresh = 0.5, settled = 0.6 }\n")
    plan = read_plan((PLANS / "first-hill.toml").read_text(encoding="utf-8") + stock)
    found = part(plan, "film", TrialHeights())
    assert found["rails"] == {}
    assert all(f'"{film}"' in found["words"] for film in films)
    assert "treat --film NAME" in found["words"]
    one = part(plan_of("first-hill"), "film", TrialHeights())
    assert one["rails"]
    assert "--film" not in one["words"]
