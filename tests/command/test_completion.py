"""Shell completion, as a shell asks for it: verbs, options, and the names that stand in the plan on the line."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.shell_completion import BashComplete

from gradehaul.command import main


def completed(line: str, last: str = "") -> set[str]:
    found = BashComplete(main, {}, "gradehaul", "_GRADEHAUL_COMPLETE").get_completions(line.split(), last)
    return {item.value for item in found}


def test_verbs_and_options() -> None:
    assert completed("", "c") == {"check", "clearance"}
    assert {"--json", "--csv", "--strict", "--hours"} <= completed("check plans/yard.toml", "--")


@pytest.mark.parametrize(
    ("line", "last", "shown"),
    [
        ("profile plans/two-levels.toml --train", "e", {"express", "empties"}),
        ("map plans/two-levels.toml --train", "S", {"stone"}),
        ("profile plans/first-hill.toml", "u", {"Uphill"}),
        ("profile plans/first-hill.toml --rail", "", {"clean", "treated", "treated fresh"}),
        ("treat plans/first-hill.toml --film", "", {"treated"}),
        ("helix --plan plans/first-hill.toml --car", "", {"boxcar", "caboose"}),
        ("helix --plan plans/first-hill.toml --power", "", {"switcher"}),
        ("try plans/two-levels.toml", "up by", {"Up by the siding", "Up by the main"}),
        ("try plans/two-levels.toml", "Quarry l", {"Quarry loading.."}),
        ("try plans/two-levels.toml", "Quarry loading..Lo", {"Quarry loading..Lower staging"}),
        ("try plans/two-levels.toml", "sto", {"stone"}),
        ("try plans/two-levels.toml Up tank", "c", {"consolidation", "coach", "caboose"}),
        ("try plans/two-levels.toml Up tank coach", "7 h", {"7 hopper"}),
        ("try plans/two-levels.toml Up", "a", {"any"}),
        ("try plans/two-levels.toml Up tank --set", "Helix", {"Helix foot=", "Helix top="}),
        ("level plans/first-hill.toml --at-least", "", {"Harbor=", "Ridge="}),
        ("helix --train", "", set()),
        ("profile no-such-plan.toml --train", "", set()),
    ],
)
def test_names_of_the_plan(line: str, last: str, shown: set[str]) -> None:
    assert completed(line, last) == shown


def test_a_faulty_plan_completes_nothing_and_says_nothing(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    plan = tmp_path / "faulty.toml"
    plan.write_text('scale = "HO"\n[train.slow]\nroute = "nowhere"\n')
    assert completed(f"profile {plan} --train") == set()
    assert capfd.readouterr() == ("", "")
