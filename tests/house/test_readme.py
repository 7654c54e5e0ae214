"""The README shows what there is: its plan, its commands, every verb, and the demo plans.

What it prints is produced again in tests/handbook, with the rest of the handbook.
"""

from __future__ import annotations

import re

from gradehaul import check, read_plan
from gradehaul.command import main
from project import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")


def shown(mark: str) -> str:
    """The fenced block behind a mark."""
    found = re.search(rf"<!-- {re.escape(mark)} -->\n```\w*\n(.*?)\n```", README, re.DOTALL)
    assert found, mark
    return found.group(1)


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


def test_it_is_a_shop_window_with_a_line_for_each_verb() -> None:
    assert len(README.splitlines()) <= 160
    assert set(re.findall(r"^\| `gradehaul (\w+)` \|", README, re.MULTILINE)) == set(main.commands)
