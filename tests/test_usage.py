"""A command line that is wrong gets one line, which tells the nearest verb, option, choice or name."""

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
    ("words", "told"),
    [
        (["report", PLAN], "a page is written as .html or .htm, got .zzz; write -o x.html or -o x.htm"),
        (["treat", PLAN], "a copy of the plan is written as .toml, got .zzz; write -o x.toml"),
        (["level", PLAN], "a picture is written as .png, .svg or .pdf"),
        (["profile", PLAN], "a picture is written as .png, .svg or .pdf"),
        (["map", PLAN], "a picture is written as .png, .svg or .pdf"),
        (["readings", PLAN], "a picture is written as .png, .svg or .pdf"),
    ],
)
def test_an_ending_that_nobody_writes_is_refused(words, told, tmp_path):
    done = CliRunner().invoke(main, [*words, "-o", str(tmp_path / "x.zzz")], prog_name="gradehaul")
    assert done.exit_code == 2
    assert told in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert not (tmp_path / "x.zzz").exists()
