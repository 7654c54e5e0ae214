"""The README shows what the tool does today: its output, its plan, its commands and its list of demo plans."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from gradehaul import check, read_plan
from gradehaul.command import main

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def shown(mark: str) -> str:
    """The fenced block behind a mark."""
    found = re.search(rf"<!-- {re.escape(mark)} -->\n```\w*\n(.*?)\n```", README, re.DOTALL)
    assert found, mark
    return found.group(1)


@pytest.mark.parametrize("mark", re.findall(r"<!-- (output: .*?) -->", README))
def test_output_is_what_the_tool_prints(mark: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    result = CliRunner().invoke(main, mark.removeprefix("output: gradehaul ").split())
    assert result.exit_code == 0
    assert result.stdout.startswith(shown(mark) + "\n")


NUMBER = re.compile(r"-?\d+\.\d+|(?<![\w.])-?\d+(?![\w.])")


def drawing(svg: str) -> tuple[list[str], str, list[float]]:
    """The labels of a picture, its text without metadata and the names of parts, and the numbers in that."""
    labels = re.findall(r"<text [^>]*>(.*?)</text>", svg)
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"(?<=[#\"])[a-z][0-9a-f]{10}\b", "part", svg)
    return labels, NUMBER.sub("0", svg), [float(number) for number in NUMBER.findall(svg)]


@pytest.mark.parametrize("mark", re.findall(r"<!-- (picture: .*?) -->", README))
def test_picture_is_what_the_tool_draws(mark: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(ROOT)
    *args, kept = mark.removeprefix("picture: gradehaul ").split()
    assert f"]({kept})" in README
    made = tmp_path / Path(kept).name
    assert CliRunner().invoke(main, [*args, str(made)]).exit_code == 0
    labels, told, numbers = drawing(made.read_text(encoding="utf-8"))
    kept_labels, kept_told, kept_numbers = drawing((ROOT / kept).read_text(encoding="utf-8"))
    assert len(labels) > 50
    assert labels == kept_labels
    assert told == kept_told
    assert numbers == pytest.approx(kept_numbers, abs=0.5)  # points: letters are measured a little otherwise elsewhere


def test_the_plan_is_complete_and_answers() -> None:
    (plan,) = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
    answer = check(read_plan(plan))
    assert {train.rail: train.verdict.outcome for train in answer.trains}.keys() == {
        "clean",
        "treated",
        "treated fresh",
    }
    assert all(load.rated > 0 for route in answer.routes for load in route.loads)


def test_every_demo_plan_is_listed() -> None:
    listed = set(re.findall(r"\(plans/([\w-]+\.toml)\)", README))
    there = {path.name for path in (ROOT / "plans").glob("*.toml")} - {"stock-ho.toml"}
    assert listed == there


def test_the_commands_are_the_ones_that_ci_takes_from_it() -> None:
    run = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for mark in ("main-job", "tests"):
        assert f"readme_command {mark}" in run
        assert shown(mark).startswith("python3 -m venv .venv && .venv/bin/pip install")
    assert shown("main-job").endswith(".venv/bin/gradehaul check plans/first-hill.toml")


@pytest.mark.parametrize("verb", sorted(set(main.commands) - {"import"}))
def test_every_option_of_the_command_is_told(verb: str) -> None:
    told = README[README.index("## The command") : README.index("## From Python")]
    told = told[told.index(f"`gradehaul {verb} ") :]
    options = {name for parameter in main.commands[verb].params for name in parameter.opts if name.startswith("-")}
    assert {name for name in options if name not in ("--output", "--help")} <= set(re.findall(r"--?[\w-]+", told))
