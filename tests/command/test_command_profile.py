"""The verb `profile`: its forms, its files and its refusals."""

import json

import pytest
from click.testing import CliRunner

from command_line import DOWN, HILL, loaded
from gradehaul.command import main

PLAN = (
    HILL
    + """
[train.noon]
route = "Up ore"
consist = ["mogul"]
"""
)


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "tarn.toml"
    path.write_text(PLAN, encoding="utf-8")
    return path


def run(*args):
    return CliRunner().invoke(main, ["profile", *map(str, args)])


# Forms


def test_numbers_for_a_person(plan):
    result = run(plan)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.startswith("Route Up ore: Wharf to Summit\n")
    assert "morning, 24.5 in long" in result.stdout
    assert "left, 24.0 in" in run(plan, "--more", "track").stdout
    assert "\x1b" not in result.stdout


def test_units_and_grades(plan):
    result = run(plan, "--show", "metric", "--grades", "one-in", "--more", "track")
    assert "1 in 50.0" in result.stdout
    assert "left, 610 mm" in result.stdout


def test_numbers_for_machines(plan):
    shown = json.loads(run(plan, "Up ore", "--json", "--train", "noon", "--rail", "treated").stdout)
    assert shown["route"] == "Up ore"
    assert shown["train"]["name"] == "noon"
    assert [rail["rail"] for rail in shown["train"]["rails"]] == ["treated"]
    assert run(plan, "--csv").stdout_bytes.count(b"\r\n") == 3


def test_numbers_to_a_file(plan, tmp_path):
    for form in ("--json", "--csv"):
        out = tmp_path / f"out.{form[2:]}"
        result = run(plan, form, "-o", out)
        assert (result.exit_code, result.stdout) == (0, "")
        assert out.read_bytes() == run(plan, form).stdout_bytes
    assert run(plan, "-o", "-").stdout == run(plan).stdout


@pytest.mark.parametrize("name", ["hill.SVG", "hill.png"])
def test_a_picture(plan, tmp_path, name):
    out = tmp_path / name
    result = run(plan, "-o", out, "--size", "phone")
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr.startswith(f"{out}: written, ")
    assert out.read_bytes().startswith(b"<?xml" if name == "hill.SVG" else b"\x89PNG")
    assert sorted(path.name for path in tmp_path.iterdir()) == [name, "tarn.toml"]


# Refusals


@pytest.mark.parametrize("name", ["hill.txt", "hill", "hill.jpg"])
def test_a_file_that_is_no_picture(plan, tmp_path, name):
    result = run(plan, "-o", tmp_path / name)
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1
    assert "a picture is written as .png, .svg or .pdf" in result.stderr
    assert not (tmp_path / name).exists()


def test_which_route_must_be_shown(plan):
    plan.write_text(PLAN + DOWN, encoding="utf-8")
    result = run(plan)
    assert (result.exit_code, result.stdout) == (2, "")
    assert len(result.stderr.splitlines()) == 1
    assert '"Up ore", "Down"' in result.stderr
    assert run(plan, "Down").exit_code == 0


@pytest.mark.parametrize(
    ("args", "shown"),
    [
        (["Up"], 'no route of this name, got "Up"'),
        (["--train", "night"], 'no train of this name, got "night"'),
        (["--rail", "oiled"], 'no rail condition of this name, got "oiled"'),
    ],
)
def test_names_that_the_plan_does_not_have(plan, tmp_path, args, shown):
    out = tmp_path / "out.svg"
    out.write_text("old")
    result = run(plan, *args, "-o", out)
    assert (result.exit_code, result.stdout) == (2, "")
    assert shown in result.stderr
    assert result.stderr.startswith(str(plan))
    assert out.read_text() == "old"


@pytest.mark.parametrize("args", [["--json", "--csv"], ["--size", "a3"], ["--grades", "degrees"], ["a", "b"]])
def test_arguments_that_make_no_sense(plan, args):
    result = run(plan, *args)
    assert (result.exit_code, result.stdout) == (2, "")


def test_a_plan_is_never_written_over(plan):
    result = run(plan, "--json", "-o", plan)
    assert result.exit_code == 2
    assert plan.read_text(encoding="utf-8") == PLAN


def test_files_that_cannot_be_read_or_written(plan, tmp_path):
    assert run(tmp_path / "nowhere.toml").exit_code == 3
    result = run(plan, "--csv", "-o", tmp_path / "nowhere" / "out.csv")
    assert result.exit_code == 3
    assert "cannot be written" in result.stderr


# What is loaded


def test_only_a_picture_loads_matplotlib(plan):
    assert "matplotlib" not in loaded(plan, "check", "profile")
