"""The verb new: every layout in every scale and unit runs as it is written, and nothing is written over."""

from __future__ import annotations

import tomllib
from itertools import cycle, islice
from pathlib import Path

import pytest
from click.testing import Result

from command_line import run
from gradehaul.design.clearance.findings import clearances
from gradehaul.design.starter import FORMS, starter
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan
from gradehaul.scales import known_scales


def new(*words: str) -> Result:
    return run("new", *words)


@pytest.mark.parametrize("form", FORMS)
def test_every_scale_runs_and_its_train_climbs_on_clean_rail(form: str) -> None:
    units = islice(cycle(("in", "mm", "ft", "cm", "m")), list(FORMS).index(form), None)  # in others for another layout
    for scale, unit in zip(known_scales(), units, strict=False):
        text = starter(form, scale=scale, unit=unit, title="Mine")
        plan = read_plan(text)
        assert (plan.scale.name, plan.unit, plan.title) == (scale, unit, "Mine")
        assert plan.practice == ("NMRA" if unit in ("in", "ft") else "NEM")
        layout = Layout(plan)
        assert layout.verdict("freight", rail="clean").outcome == "climbs"
        ruling = layout.profile("Up").ruling().effective
        assert 0.025 < ruling < 0.04
        assert max(len(line) for line in text.splitlines()) <= 120


@pytest.mark.parametrize("scale", ["Z", "N", "HO", "O"])
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_the_turns_of_the_helix_clear_one_another(scale: str, unit: str) -> None:
    found = clearances(Layout(read_plan(starter("helix", scale=scale, unit=unit, title="Mine"))))
    rooms = [each for each in found.findings if each.rule == "vertical room"]
    assert rooms
    assert {each.outcome for each in rooms} == {"pass"}


@pytest.mark.parametrize("form", FORMS)
def test_what_is_commented_out_can_be_put_in(form: str) -> None:
    lines = starter(form, scale="HO", unit="in", title="Mine").splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith("# [loco"))
    for number in range(first, first + 4):
        lines[number] = lines[number].removeprefix("# ")
    plan = read_plan("\n".join(lines))
    assert {rail: len(pulls) for rail, pulls in plan.locos["engine"].pull.items()} == {
        "clean": 2,
        "treated fresh": 1,
        "treated": 1,
    }
    assert Layout(plan).verdict("freight", rail="treated").outcome != "climbs"


def test_the_verb_writes_and_shows_what_next(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    done = new("my-hill", "--scale", "n", "--unit", "millimeters")
    assert done.exit_code == 0
    assert "gradehaul check my-hill.toml" in done.stdout
    assert tomllib.loads((tmp_path / "my-hill.toml").read_text())["title"] == "My hill"
    assert run("check", "my-hill.toml").exit_code == 0
    before = (tmp_path / "my-hill.toml").read_bytes()
    again = new("my-hill", "--layout", "helix")
    assert again.exit_code == 2
    assert "this file already exists" in again.output
    assert (tmp_path / "my-hill.toml").read_bytes() == before
    assert tomllib.loads(new("-", "--layout", "branch").stdout)["title"] == "My layout"


def test_odd_names_are_written_as_they_are(tmp_path: Path) -> None:
    done = new(str(tmp_path / 'The "old" line.toml'))
    assert done.exit_code == 0
    assert tomllib.loads((tmp_path / 'The "old" line.toml').read_text())["title"] == 'The "old" line'


@pytest.mark.parametrize(
    ("words", "shown"),
    [
        (("x", "--layout", "yards"), '"hill", "helix", "branch", "siding", "wye", "loop"'),
        (("x", "--scale", "HP"), "no such scale"),
        (("x", "--unit", "furlog"), "unit"),
        (("",), "the name is empty"),
        ((".toml",), "the name is empty"),
    ],
)
def test_what_cannot_be_written_is_refused(words: tuple[str, ...], shown: str, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    done = new(*words)
    assert done.exit_code == 2
    assert shown in done.output
    assert not list(tmp_path.iterdir())
