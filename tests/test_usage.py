"""A command line that is wrong gets one line, which tells the nearest verb, option, choice or name."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from gradehaul.command import main

PLAN = "plans/first-hill.toml"


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["chek", PLAN], 'gradehaul: there is no such verb, got "chek"; write gradehaul check'),
        (["check", PLAN, "--jsn"], "gradehaul check: there is no such option, got --jsn; write --json"),
        (["check"], "gradehaul check: missing argument 'PLAN'"),
        (
            ["check", PLAN, "--show", "metrc"],
            'gradehaul check: --show has no such choice, got "metrc"; write --show metric',
        ),
        (["--jason"], "gradehaul: there is no such option, got --jason; write --version"),
        (["map", PLAN, "--open"], "gradehaul map: --open opens what -o writes: put -o with a name beside it"),
        (["check", PLAN, "--json", "--csv"], "gradehaul check: --json, --csv and --card exclude one another"),
        (["profile", PLAN, "Uphil"], f'{PLAN}: the plan has no route of this name, got "Uphil"; write "Uphill"'),
        (["level", PLAN, "--train", "locl"], '--train: the plan has no train of this name, got "locl"; write "local"'),
        (
            ["profile", PLAN, "--rail", "cleen"],
            f'{PLAN}: the plan has no rail condition of this name, got "cleen"; write "clean"',
        ),
    ],
)
def test_one_line(words, line):
    done = CliRunner().invoke(main, words, prog_name="gradehaul")
    assert (done.exit_code, done.stdout, done.stderr) == (2, "", f"{line}\n")


def test_a_verb_like_no_other_gets_the_list():
    done = CliRunner().invoke(main, ["xyzzy"], prog_name="gradehaul")
    assert done.exit_code == 2
    assert "; write one of check, clearance, " in done.stderr
    assert len(done.stderr.splitlines()) == 1


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
