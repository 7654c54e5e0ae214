"""--more sources shows where every figure comes from, and the formulas shown make the figures shown."""

import re
from collections.abc import Callable

import numpy as np
import pytest

from command_line import run
from demos import answer_of, layout_of
from gradehaul.haulage.adhesion import Pull, Pulls
from gradehaul.haulage.train import build_train
from gradehaul.haulage.verdict import Test, demand_breakdown
from gradehaul.plan import read_plan
from gradehaul.plan.rail_condition import conditions
from gradehaul.plan.records import Loco
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.check.sources import _how
from gradehaul.show.check.text import check_page

NAMES = ["first-hill", "switchback", "n-mountain", "two-levels", "bench"]


def pull_in(pulls: Pulls, test: Test) -> Callable[[Loco, str], Pull]:
    return pulls.standing if test in ("stand", "restart") else pulls.slipping


@pytest.mark.parametrize("name", NAMES)
def test_every_figure_has_its_formula(name):
    answer = answer_of(name)
    how = dict(_how(answer.plan))
    assert all(how[figure.subject, figure.name] for figure in answer.figures)


@pytest.mark.parametrize("name", NAMES)
def test_formulas_that_are_shown_give_the_figures(name):
    plan = layout_of(name).plan
    tried = 0
    for (subject, figure), words in _how(plan):
        if not subject.startswith("loco"):
            continue
        loco, rail = plan.locos[subject[6:-1]], figure.partition(", ")[2]
        scaled = r"the reading on (.+) x ([\d.]+)(?: / ([\d.]+), the shares kept|: it keeps no more than .+)"
        if found := re.fullmatch(scaled, words):
            was = Pulls(plan).standing(loco, found[1]).value
            now = was * float(found[2]) / float(found[3] or 1)
            assert Pulls(plan).standing(loco, rail).value == pytest.approx(now, rel=0.01)
            tried += 1
        elif found := re.fullmatch(r"slipping left out: standing pull x ([\d.]+)", words):
            now = Pulls(plan).standing(loco, rail).value * float(found[1])
            assert Pulls(plan).slipping(loco, rail).value == pytest.approx(now)
            tried += 1
    assert (tried > 0) == (name != "first-hill")


@pytest.mark.parametrize("name", NAMES)
def test_demand_and_pull_where_a_train_has_least_to_spare(name):
    """The pull is the sum of its locomotives', and what curves need is that of each block on its own."""
    layout, answer = layout_of(name), answer_of(name)
    plan = answer.plan  # with what the bench says
    tried = 0
    for each in answer.trains:
        profile, train = layout.profile(each.route), build_train(plan, plan.trains[each.name])
        demand = demand_breakdown(profile, train, each.rail, layout.pulls, each.verdict)
        sign = 1 if demand.test == "hold" else -1
        assert demand.pull + sign * demand.all == pytest.approx(each.verdict.spare)
        if each.rail in conditions(plan.films):
            pulls = sum(pull_in(layout.pulls, demand.test)(loco, each.rail).value for loco, _ in train.locos)
            assert demand.pull == pytest.approx(train.together * pulls)
        leg, start = max((run for run in profile.runs if run[1] < demand.at), key=lambda run: run[1])
        runs = train.after(leg.route.run_rounds)
        if not leg.route.lap:
            turned = leg.summed_curvature.at(np.maximum(demand.at - start - runs.edges, 0.0))
            curves = layout.curves
            share = {"restart": curves.starting, "hold": curves.lowest}.get(demand.test, 1.0)
            coefficient = share * profile.coefficient
            assert demand.curves == pytest.approx(coefficient * runs.line_weights @ -np.diff(turned), abs=1e-9)
            tried += 1
    assert tried == len(answer.trains)


ON_RAIL = ("(standing|slipping) pull", "curve resistance", "hardest place of its head")


def rails_of(line: str, figure: str) -> list[str]:
    """Return the rails for which a line has a figure."""
    name, *rails = line.partition(": ")[0].split(", ")
    return [rail.replace("(fresh)", "fresh") for rail in rails] if re.fullmatch(figure, name) else []


@pytest.mark.parametrize("name", NAMES)
def test_every_named_train_is_shown_whole(name):
    answer = answer_of(name)
    seen = check_page(answer, units_of(answer.plan.unit), (), ["sources"]).text()
    seen = seen[seen.index("Where each figure comes from") :]
    for each in answer.trains:
        block = re.split(r"\n  (?=\S)", seen.partition(f'\n  train "{each.name}"\n')[2])[0]
        mine = [" ".join(entry.split()) for entry in re.split(r"\n    (?=\S)", f"\n{block}")]
        for figure in ("mass", "length", "rolling resistance", "starting resistance"):
            assert sum(line.startswith(f"{figure}: ") and " summed, " in line for line in mine) == 1
        on = {figure: [line for line in mine if each.rail in rails_of(line, figure)] for figure in ON_RAIL}
        assert all(len(lines) == 1 for lines in on.values())
        if each.rail in conditions(answer.plan.films):
            train = build_train(answer.plan, answer.plan.trains[each.name])
            test = each.verdict.spare_by
            pulls = sum(pull_in(Pulls(answer.plan), test)(loco, each.rail).value for loco, _ in train.locos)
            shown = units_of(answer.plan.unit).force(train.together * pulls)
            assert f": {shown} " in on[ON_RAIL[0]][0]


def test_how_many_readings_a_pull_is_the_mean_of() -> None:
    for readings, words in ((["60 gf"], "one reading"), (["60 gf", "62 gf"], "mean of 2 readings")):
        loco = f'mass = "300 g"\nlength = 200\npull.clean = "80 gf"\nslipping.clean = {readings}'
        plan = read_plan(f'scale = "HO"\nunit = "mm"\n[loco.goat]\n{loco}\n')
        assert dict(_how(plan))['loco "goat"', "slipping pull, clean"] == words


def test_keys_that_are_left_out_are_named():
    words = " ".join(run("check", "plans/first-hill.toml", "--more", "sources").stdout.split())
    assert "1 switcher 9.17 oz stated + 7 boxcar 3.80 oz stated + 1 caboose 3.25 oz assumed" in words
    assert "mass left out: the NMRA weight in HO for its length" in words
    assert "rolling left out: 2 % of its weight, common practice" in words
    assert "[rail.treated] left out: the built-in film" in words


def test_the_option():
    done = run("check", "plans/first-hill.toml", "--more", "sources")
    assert done.exit_code == 0
    seen = done.stdout[done.stdout.index("Where each figure comes from") :]
    assert "mean of 3 readings" in seen
    assert run("check", "plans/first-hill.toml", "--more", "sources", "--json").exit_code == 2
