"""A figure beside a film is the worse of fresh and rested, each by itself: no row is kinder than a row of its ages."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from command_line import run
from gradehaul.haulage.answers.check import CheckAnswer, check_layout
from gradehaul.haulage.answers.judged import TrainAnswer, judged_trains, worst_of_each, worst_over
from gradehaul.haulage.answers.layout import Layout
from gradehaul.live.answers import stated
from gradehaul.plan import read_plan
from gradehaul.show.base.labels import chance_words
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.film import riskier
from gradehaul.show.report.document import chances
from gradehaul.show.report.page import report_page
from gradehaul.treatment.keep_clean import KeepCleanOptions, keep_clean_plan

HILL = """\
scale = "HO"
unit = "mm"

[railhead]
Foot = 0
Top = 100

[line.Hill]
from = "Foot"
to = "Top"
track = [ { straight = 3000 } ]

[loco.mogul]
mass = "340 g"
length = 200
driven_wheels = 6
tyred_wheels = 2
[loco.mogul.pull]
clean = ["76 gf", "76 gf", "77 gf"]
treated = ["36 gf", "54 gf", "38 gf", "53 gf"]
"treated fresh" = ["43 gf", "43 gf", "43 gf", "44 gf", "43 gf"]

[car.boxcar]
length = 150
mass = "115 g"
rolling = "2 %"

[train.local]
route = "Up"
consist = ["mogul", "4 boxcar"]

[route.Up]
from = "Foot"
to = "Top"
"""
"""The readings on fresh film agree; those on rested film are higher in the mean, but far apart."""

AGES = ("treated", "treated fresh")


@pytest.fixture(scope="module")
def answer() -> CheckAnswer:
    return check_layout(Layout(read_plan(HILL)))


def by_age(answer: CheckAnswer) -> Mapping[str, TrainAnswer]:
    return {each.rail: each for each in answer.trains}


def test_the_less_sure_age_is_the_riskier_though_it_pulls_more(answer: CheckAnswer) -> None:
    """Else this plan shows nothing."""
    rested, fresh = (by_age(answer)[rail] for rail in AGES)
    assert rested.verdict.spare > fresh.verdict.spare
    assert fresh.outcome == "marginal"
    assert rested.risk > fresh.risk + 0.01


def test_every_answer_shows_the_greater_risk_beside_the_lesser_pull(answer: CheckAnswer, tmp_path: Path) -> None:
    units = units_of("mm")
    rested, fresh = (by_age(answer)[rail] for rail in AGES)
    risk, spare = chance_words(rested.risk), units.force(fresh.verdict.spare)
    assert risk != chance_words(fresh.risk)
    path = tmp_path / "hill.toml"
    path.write_text(HILL)
    (row,) = (line for line in run("check", path).stdout.splitlines() if line.startswith("local  "))
    assert row.split("marginal")[1].split()[:4] == f"{risk} {spare}".split()
    (row,) = (line for line in run("try", path, "local").stdout.splitlines() if line.startswith("film everywhere"))
    assert risk in row
    assert spare in row
    (row,) = (line for line in run("treat", path).stdout.splitlines() if line.startswith("local  "))
    assert row.split("marginal")[1].split() == f"{risk} {spare}".split()
    (tried,) = json.loads(run("try", path, "local", "--json").stdout)["trains"]
    film = next(each for each in tried["trials"] if each["condition"] == "film everywhere")
    assert (film["risk"], film["spare_n"]) == (pytest.approx(rested.risk), pytest.approx(fresh.verdict.spare, abs=1e-4))
    page = report_page(Layout(read_plan(HILL)), answer, (), units)
    (row,) = page.partition("Every train, the worst first</caption>")[2].partition("</table>")[0].split("<tr")[-1:]
    assert risk in row.replace("&lt;", "<")
    assert spare in row
    (on_film,) = (each for each in chances(stated(read_plan(HILL)).shown) if each["on"])
    assert on_film["risk"] == risk


def test_each_figure_is_the_worst_by_itself(answer: CheckAnswer) -> None:
    """An age of the worse outcome with more to spare: its own outcome, the other's pull and place."""
    rested, fresh = (by_age(answer)[rail] for rail in AGES)
    place = {"spare": 1.0, "spare_at": 0.5, "spare_track": "Elsewhere", "spare_by": "stand"}
    stalls = replace(rested, verdict=replace(rested.verdict, climb="stalls", **place))
    found = worst_over([fresh, stalls])
    assert (found.rail, found.outcome) == ("treated", "stalls")
    assert found.verdict.spare == fresh.verdict.spare
    assert found.verdict.spare_track == fresh.verdict.spare_track
    assert found.verdict.spare_at == fresh.verdict.spare_at
    assert found.verdict.spare_by == fresh.verdict.spare_by
    assert found.risk == max(rested.risk, fresh.risk)
    assert worst_of_each([stalls, fresh]) == [found]


def test_a_train_is_not_said_to_become_riskier_where_both_figures_read_alike() -> None:
    """Both are under 1 %."""
    found = keep_clean_plan(Layout(read_plan(HILL)), KeepCleanOptions())
    (train,) = found.trains

    def with_risks(now: float, planned: float) -> list[str]:
        risks = zip((train.now, train.planned), (now, planned), strict=True)
        was, then = (
            replace(each, run_trials=lambda each=each, risk=risk: replace(each.trust, fail_probability=risk))
            for each, risk in risks
        )
        plan = replace(found, trains=(replace(train, now=was, planned=then),))
        return ["".join(part if isinstance(part, str) else part[0] for part in line) for line in riskier(plan)]

    assert with_risks(0.001, 0.009) == []
    assert with_risks(0.0, 0.009) == ["local becomes riskier: risk 0 % now, <1 % with this plan."]
    assert with_risks(0.009, 0.03) == ["local becomes riskier: risk <1 % now, 3 % with this plan."]


def test_the_judged_trains_of_a_plan_with_film_are_shown_so_too() -> None:
    layout = Layout(read_plan(HILL.replace("straight = 3000", 'straight = 3000, rail = "treated"')))
    ages = judged_trains(layout, layout.judged())
    assert len(ages) == 2
    (found,) = worst_of_each(ages)
    assert found.risk == max(each.risk for each in ages)
    assert found.verdict.spare == min(each.verdict.spare for each in ages)
