"""Railheads and rails that are tried: in the record and in the text of the file."""

from __future__ import annotations

from pathlib import Path

import pytest

from gradehaul.errors import GradehaulError, PlanError
from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.edit.trial import TrialHeights, fixed_railheads, known_part, tried, tried_text
from gradehaul.plan.given_heights import key_at, without_figures
from project import PLANS

HILL = """
scale = "HO"
unit = "m"
{}
[line.Hill]
from = "A"
to = "B"
track = [{{ straight = 2{} }}]
"""


@pytest.mark.parametrize("name", ["two-levels", "n-mountain", "cove", "first-hill", "switchback", "yard"])
def test_every_fixed_railhead_of_the_demo_plans_is_written_in_place(name):
    path = PLANS / f"{name}.toml"
    plan, text = load_plan(path), path.read_text(encoding="utf-8")
    written, refused = 0, []
    for key, height in fixed_railheads(plan).items():
        trial = TrialHeights({key: round(height + 0.001, 6)})
        try:
            changed = tried_text(plan, text, trial)
        except PlanError as error:
            refused.append(str(error))
            continue
        again = read_plan(changed, file=plan.file, folder=path.parent)
        assert fixed_railheads(again) == pytest.approx(fixed_railheads(tried(plan, trial)), abs=1e-7)
        differ = [(a, b) for a, b in zip(text.splitlines(), changed.splitlines(), strict=True) if a != b]
        assert len(differ) == 1, differ
        assert [line.partition("#")[2] for line in differ[0]].count(differ[0][0].partition("#")[2]) == 2
        written += 1
    drawn = name == "cove"  # all of its heights stand in its drawing
    assert (len(refused) if drawn else written) == len(fixed_railheads(plan))
    assert all("is not in this file" in words for words in refused)


def test_a_joint_without_a_height_gets_one():
    path = PLANS / "switchback.toml"
    plan, text = load_plan(path), path.read_text(encoding="utf-8")
    free = [name for name in plan.joints if name not in plan.railhead]
    assert free
    for name in free:
        changed = tried_text(plan, text, TrialHeights({f"joint {name}": 0.0125}))
        assert read_plan(changed, folder=PLANS).railhead[name] == pytest.approx(0.0125, abs=1e-6)
        assert set(text.splitlines()) <= set(changed.splitlines())


def test_what_the_plan_no_longer_has_is_left_out():
    plan = load_plan(PLANS / "two-levels.toml")
    trial = TrialHeights(
        {"joint Gone": 1.0, "joint West switch": 0.3}, {"Gone:1": "treated", "Staging:1": "clean", "Helix:1": "x"}
    )
    part, lost = known_part(plan, trial)
    assert part == TrialHeights({"joint West switch": 0.3}, {"Staging:1": "clean"})
    assert sorted(lost) == ["Gone:1", "Helix:1", "joint Gone"]


def test_stock_in_another_file_is_no_obstacle_and_a_railhead_there_is(tmp_path: Path):
    (tmp_path / "heights.toml").write_text("railhead = { A = 0, B = 0.02 }\n")
    text = HILL.format('include = ["heights.toml"]', "")
    path = tmp_path / "plan.toml"
    path.write_text(text)
    plan = load_plan(path)
    with pytest.raises(PlanError, match="is not in this file"):
        tried_text(plan, text, TrialHeights({"joint B": 0.03}))


def test_a_trial_that_contradicts_the_plan_is_refused():
    plan = read_plan(HILL.format("railhead.A = 0", ", rise = 0.02"))
    with pytest.raises(GradehaulError):
        tried_text(plan, "x = 1", TrialHeights({"joint B": 0.1}))


GIVEN = """
scale = "HO"
unit = "m"
railhead = { Foot = 0, Top = 0.05 }
line.Hill = { from = "Foot", to = "Top", railhead_at = [[0.5, 0.01]], track = [  # up
  { straight = 1, rise = 0.02 },  # the cut
  { straight = 1, railhead = 0.05 }, { straight = 0.5, rise = 0 } ] }
"""


def test_figures_that_were_put_aside_leave_the_file_and_comments_stay():
    plan = read_plan(GIVEN)
    trial = TrialHeights({"joint Top": 0.06})
    aside = [("track", "Hill:2"), ("rise", "Hill:1"), key_at("Hill", 0.5)]
    changed = tried_text(plan, GIVEN, trial, aside=aside)
    again = read_plan(changed)
    assert again.lines == without_figures(tried(plan, trial), aside).lines
    assert again.railhead["Top"] == pytest.approx(0.06)
    for word in ("# up", "# the cut", "rise = 0 }"):
        assert word in changed
    for word in ("0.02", "railhead_at", "railhead = 0.05"):
        assert word not in changed


def test_a_figure_of_a_piece_is_not_taken_out_of_a_file():
    text = GIVEN.replace("{ straight = 1, rise = 0.02 },", '{ piece = "cut" },')
    text += "piece.cut.track = [{ straight = 1, rise = 0.02 }]\n"
    plan = read_plan(text)
    with pytest.raises(PlanError, match="a height that comes after a piece cannot be changed here"):
        tried_text(plan, text, TrialHeights({"joint Top": 0.06}), aside=[("rise", "Hill:1")])
