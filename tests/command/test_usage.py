"""A command line that is wrong gets one line, with the nearest verb, option, choice or name."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from gradehaul.command import main

PLAN = "plans/first-hill.toml"
HELIX = ["helix", "--plan", PLAN, "--turns", "3"]
FILM = "the plan has no film of this name"


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (
            ["import", PLAN, "-o", "plan.toml"],
            f"{PLAN}: this is a plan, not a drawing; write the name of a DXF file",
        ),
        (["map", PLAN, "--open"], "gradehaul map: --open opens what -o writes: put -o with a name beside it"),
        (
            ["check", PLAN, "--json", "--csv"],
            "gradehaul check: --json, --csv, --csv-trains and --card exclude one another",
        ),
        (["profile", PLAN, "Uphil"], f'{PLAN}: the plan has no route of this name, got "Uphil"; write "Uphill"'),
        (
            ["map", PLAN, "--train", "locl"],
            f'{PLAN}: --train: the plan has no train of this name, got "locl"; write "local"',
        ),
        (
            ["map", PLAN, "--treat", "--film", "treatd", "-o", "x.svg"],
            f'{PLAN}: --film: {FILM}, got "treatd"; write "treated"',
        ),
        (
            ["level", PLAN, "--at-least", "Harbr = 3"],
            f'{PLAN}: --at-least: the plan has no joint of this name, got "Harbr"; write "Harbor"',
        ),
        (
            [*HELIX, "--sweep", "18", "40", "3", "6", "--power", "switchr"],
            f'{PLAN}: --power: the plan has no power of this name, got "switchr"; write "switcher"',
        ),
        (
            [*HELIX, "--find", "radius", "--rise-per-turn", "4in", "--rail", "treatd"],
            f'{PLAN}: --rail: the plan has no rail condition of this name, got "treatd"; write "treated"',
        ),
        (["new", "-", "--layout", "hil"], '--layout: there is no such layout, got "hil"; write "hill"'),
        (
            ["level", PLAN, "--train", "locl"],
            f'{PLAN}: --train: the plan has no train of this name, got "locl"; write "local"',
        ),
        (
            ["profile", PLAN, "--train", "locl"],
            f'{PLAN}: --train: the plan has no train of this name, got "locl"; write "local"',
        ),
        (
            ["profile", PLAN, "--rail", "cleen"],
            f'{PLAN}: the plan has no rail condition of this name, got "cleen"; write "clean"',
        ),
    ],
)
def test_one_fault(words, line):
    """A fault is one line, for editors."""
    done = CliRunner().invoke(main, words, prog_name="gradehaul")
    assert (done.exit_code, done.stdout, done.stderr) == (2, "", f"{line}\n")


@pytest.mark.parametrize(
    ("words", "place", "found"),
    [
        (["chek", PLAN], "gradehaul: ", "check"),
        (["check", PLAN, "--jsn"], "gradehaul check: ", "--json"),
        (["check"], "gradehaul check: ", "PLAN"),
        (["try", PLAN], "gradehaul try: ", "ROUTE"),
        (["import", "plans/cove.dxf"], "gradehaul import: ", "-o"),
        (["check", PLAN, "-o"], "gradehaul check: ", "-o"),
        (["check", PLAN, "--hours", "abc"], "gradehaul check: ", "abc"),
        (["check", PLAN, "--hours", "-2"], "gradehaul check: ", "-2"),
        (["helix", "--turns", "x"], "gradehaul helix: ", "--turns"),
        (["check", "--json=3", PLAN], "gradehaul check: ", "--json"),
        (["incline", "--curve", "24in"], "gradehaul incline: ", "--curve"),
        (["profile", PLAN, "Up", "the", "hill"], "gradehaul profile: ", "the hill"),
        (["check", PLAN, "--show", "metrc"], "gradehaul check: ", "'metric', 'imperial'"),
        (["--jason"], "gradehaul: ", "--jason"),
    ],
)
def test_a_line_that_is_no_command_gets_one_line_with_its_verb_and_what_was_found(words, place, found):
    done = CliRunner().invoke(main, words, prog_name="gradehaul")
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr.startswith(place)
    assert found in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("line", "shown"),
    [
        ("report plans/yard.toml -o {}.zzz", "a page is written as .html or .htm"),
        ("check plans/yard.toml -o {}.html", "text is written as .txt"),
        ("check plans/yard.toml --json -o {}.csv", "JSON is written as .json"),
        ("map plans/yard.toml --csv -o {}.png", "a table is written as .csv"),
        ("profile plans/first-hill.toml --json -o {}.svg", "JSON is written as .json"),
        ("profile plans/first-hill.toml -o {}.jpg", "a picture is written as .png, .svg or .pdf"),
        ("map plans/first-hill.toml -o {}.bmp", "a picture is written as .png, .svg or .pdf"),
        ("map plans/yard.toml --json -o {}.svg", "JSON is written as .json"),
        ("readings plans/bench.toml --csv -o {}.pdf", "a table is written as .csv"),
        ("treat plans/first-hill.toml -o {}.zzz", "a plan is written as .toml"),
        ("level plans/first-hill.toml -o {}.zzz", "a picture is written as .png, .svg or .pdf"),
        ("import plans/cove.dxf --scale HO -o {}.txt", "a plan is written as .toml"),
        ("export plans/yard.toml -o {}.txt", "a drawing is written as .dxf"),
    ],
)
def test_an_ending_of_something_else_is_refused(line: str, shown: str, tmp_path: Path) -> None:
    done = CliRunner().invoke(main, line.format(tmp_path / "x").split())
    assert done.exit_code == 2
    assert shown in done.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("name", "cure"),
    [
        *((name, f"; write {PLAN}") for name in ("first-hil.toml", "first-hill", "firsthill.toml", "first-hill.tml")),
        ("xyzzy.toml", ""),  # like no other
    ],
)
def test_a_file_that_is_not_there_gets_the_one_like_it(name, cure):
    done = CliRunner().invoke(main, ["check", f"plans/{name}"], prog_name="gradehaul")
    assert (done.exit_code, done.stderr) == (3, f"plans/{name}: there is no such file{cure}\n")


def test_help_names_the_verbs_in_the_order_of_the_work_each_on_a_full_line():
    text = CliRunner(env={"COLUMNS": "80"}).invoke(main, ["--help"], prog_name="gradehaul").stdout
    listed = text.partition("Commands:\n")[2].partition("\n\n")[0].splitlines()
    order = (
        "new check try profile map live report readings treat fit level risers clearance helix incline import export"
    )
    verbs = [line.split()[0] for line in listed]
    assert verbs == [verb for verb in order.split() if verb in main.commands]
    assert set(verbs) == set(main.commands)
    for verb, line in zip(verbs, listed, strict=True):
        summary = (main.commands[verb].help or "").partition("\n")[0]
        assert line.split(maxsplit=1)[1] == summary.removesuffix(".") + "."
        assert len(line) <= 80


def test_help_is_shown_though_the_plan_cannot_be_read():
    done = CliRunner().invoke(main, ["check", "no-such-plan.toml", "--help"], prog_name="gradehaul")
    assert done.exit_code == 0
    assert done.stdout.startswith("Usage: gradehaul check ")


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["--structure", "9 kg"], '--structure: a length is needed, but kg is a mass, got "9 kg"'),
        (["--structure", "1 in 40"], "--structure: a length is needed, but this is written like a grade"),
        (["--overhead", "1e999"], "--overhead: the number is too large"),
        (["--coupler", "200 km"], "--coupler: too long for any railroad, got 200 km"),
    ],
)
def test_a_quantity_that_is_none_is_refused_with_its_option(words, line):
    done = CliRunner().invoke(main, ["clearance", PLAN, *words], prog_name="gradehaul")
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr.startswith(line)


def test_a_bare_length_reads_in_the_plans_unit_wherever_the_option_stands():
    before, behind, metric = (
        CliRunner().invoke(main, ["clearance", *words, "--json"]).stdout
        for words in (["--structure", "1", PLAN], [PLAN, "--structure", "1"], [PLAN, "--structure", "25.4 mm"])
    )
    assert before == behind == metric
    assert "0.0254" in before
