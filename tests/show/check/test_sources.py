"""--more sources shows where every figure comes from, and the formulas shown make the figures shown."""

import re

import pytest
from click.testing import CliRunner

from demos import answer_of, layout_of
from gradehaul.command import main
from gradehaul.haulage.adhesion import Pulls
from gradehaul.show.check.sources import _how

NAMES = ["first-hill", "switchback", "n-mountain", "two-levels", "bench"]


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
    assert tried or name == "first-hill"


def test_keys_that_are_left_out_are_named():
    done = CliRunner().invoke(main, ["check", "plans/first-hill.toml", "--more", "sources"])
    assert "mass left out: the NMRA weight in HO for its length" in done.stdout
    assert "rolling left out: 2 % of its weight, common practice" in done.stdout
    assert "[rail.treated] left out: the built-in film" in done.stdout


def test_the_option():
    done = CliRunner().invoke(main, ["check", "plans/first-hill.toml", "--more", "sources"])
    assert done.exit_code == 0
    seen = done.stdout[done.stdout.index("Where each figure comes from") :]
    assert "mean of 3 readings" in seen
    assert CliRunner().invoke(main, ["check", "plans/first-hill.toml", "--more", "sources", "--json"]).exit_code == 2
