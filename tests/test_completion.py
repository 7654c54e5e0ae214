"""Shell completion, as a shell asks for it: verbs, options, and the names that stand in the plan on the line."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.shell_completion import BashComplete
from click.testing import CliRunner

from gradehaul.command import main


def completed(line: str, last: str = "") -> set[str]:
    found = BashComplete(main, {}, "gradehaul", "_GRADEHAUL_COMPLETE").get_completions(line.split(), last)
    return {item.value for item in found}


def test_verbs_and_options() -> None:
    assert completed("", "c") == {"check", "clearance"}
    assert {"--json", "--csv", "--strict", "--hours"} <= completed("check plans/yard.toml", "--")


@pytest.mark.parametrize(
    ("line", "last", "told"),
    [
        ("profile plans/two-levels.toml --train", "e", {"express", "empties"}),
        ("map plans/two-levels.toml --train", "S", {"stone"}),
        ("profile plans/first-hill.toml", "u", {"Uphill"}),
        ("profile plans/first-hill.toml --rail", "", {"clean", "treated", "treated fresh"}),
        ("treat plans/first-hill.toml --film", "", {"treated"}),
        ("helix --plan plans/first-hill.toml --car", "", {"boxcar", "caboose"}),
        ("helix --plan plans/first-hill.toml --power", "", {"switcher"}),
        ("helix --train", "", set()),
        ("profile no-such-plan.toml --train", "", set()),
    ],
)
def test_names_of_the_plan(line: str, last: str, told: set[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COMP_WORDS", f"gradehaul {line} {last}")  # as every shell does
    assert completed(line, last) == told


def test_a_faulty_plan_completes_nothing_and_says_nothing(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    plan = tmp_path / "faulty.toml"
    plan.write_text('scale = "HO"\n[train.slow]\nroute = "nowhere"\n')
    assert completed(f"profile {plan} --train") == set()
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("--jason", "gradehaul: there is no such option, got --jason"),
        ("chek plan.toml", 'gradehaul: there is no such verb, got "chek"; write gradehaul check'),
        ("check plan.toml --jason", "gradehaul check: there is no such option, got --jason; write --json"),
        ("check", "gradehaul check: missing argument 'PLAN'"),
        ("check a b", "gradehaul check: got unexpected extra argument"),
        ("check plan.toml --seed x", "gradehaul check: invalid value for '--seed'"),
        ("check plan.toml --json --csv", "gradehaul check: --json, --csv and --card exclude one another"),
        ("map plan.toml --open", "gradehaul map: --open opens what -o writes"),
    ],
)
def test_a_fault_of_the_line_is_one_line(line: str, told: str) -> None:
    done = CliRunner().invoke(main, line.split(), prog_name="gradehaul")
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr.startswith(told)
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("report plans/yard.toml -o {}.zzz", "a page is written as .html or .htm"),
        ("check plans/yard.toml -o {}.html", "text is written as .txt"),
        ("check plans/yard.toml --json -o {}.csv", "JSON is written as .json"),
        ("map plans/yard.toml --csv -o {}.png", "a table is written as .csv"),
        ("profile plans/first-hill.toml --json -o {}.svg", "JSON is written as .json"),
        ("clearance plans/yard.toml --json -o {}.svg", "JSON is written as .json"),
        ("readings plans/bench.toml --csv -o {}.pdf", "a table is written as .csv"),
        ("treat plans/first-hill.toml -o {}.zzz", "a plan is written as .toml"),
        ("level plans/n-mountain.toml -o {}.zzz", "a picture is written as .png, .svg or .pdf"),
        ("import plans/cove.dxf --scale HO -o {}.txt", "a plan is written as .toml"),
        ("export plans/yard.toml -o {}.txt", "a drawing is written as .dxf"),
    ],
)
def test_an_ending_that_tells_of_something_else_is_refused(line: str, told: str, tmp_path: Path) -> None:
    done = CliRunner().invoke(main, line.format(tmp_path / "x").split())
    assert done.exit_code == 2
    assert told in done.stderr
    assert not list(tmp_path.iterdir())
