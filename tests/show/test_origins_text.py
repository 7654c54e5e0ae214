"""--verbose tells of every figure where it comes from, and the formulas told give the figures told."""

import re

import pytest
from click.testing import CliRunner

from gradehaul.command import main
from gradehaul.haulage.adhesion import slipping_pull, standing_pull
from gradehaul.haulage.check import check
from gradehaul.plan import load_plan
from gradehaul.show.origins_text import _how

NAMES = ["first-hill", "switchback", "n-mountain", "two-levels", "bench"]


@pytest.mark.parametrize("name", NAMES)
def test_every_figure_has_its_formula(name):
    answer = check(load_plan(f"plans/{name}.toml"))
    how = dict(_how(answer.plan))
    assert all(how[figure.subject, figure.name] for figure in answer.figures)


@pytest.mark.parametrize("name", NAMES)
def test_formulas_that_are_told_give_the_figures(name):
    plan = load_plan(f"plans/{name}.toml")
    tried = 0
    for (subject, figure), words in _how(plan):
        if not subject.startswith("loco"):
            continue
        loco, rail = plan.locos[subject[6:-1]], figure.partition(", ")[2]
        if found := re.fullmatch(r"the reading on (.+) x ([\d.]+) / ([\d.]+), the shares kept", words):
            was = standing_pull(plan, loco, found[1]).value
            now = was * float(found[2]) / float(found[3])
            assert standing_pull(plan, loco, rail).value == pytest.approx(now, rel=0.01)
            tried += 1
        elif found := re.fullmatch(r"standing pull x ([\d.]+)", words):
            now = standing_pull(plan, loco, rail).value * float(found[1])
            assert slipping_pull(plan, loco, rail).value == pytest.approx(now)
            tried += 1
    assert tried or name == "first-hill"


def test_the_option():
    done = CliRunner().invoke(main, ["check", "plans/first-hill.toml", "--verbose"])
    assert done.exit_code == 0
    told = done.stdout[done.stdout.index("Where each figure comes from") :]
    assert "mean of 3 readings" in told
    assert "Figures that nobody measured" not in done.stdout
    assert CliRunner().invoke(main, ["check", "plans/first-hill.toml", "--verbose", "--json"]).exit_code == 2
