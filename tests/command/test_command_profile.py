"""The verb `profile`: its forms, its files and its refusals."""

import json

import pytest

from command_line import DOWN, HILL, loaded, run

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


# Forms


def test_numbers_for_a_person(plan):
    result = run("profile", plan)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.startswith("Route Up ore: Wharf to Summit\n")
    assert "morning, 24.5 in long" in result.stdout
    assert "left 24.0 in" in run("profile", plan, "--more", "track").stdout
    assert "\x1b" not in result.stdout


def test_units_and_grades(plan):
    result = run("profile", plan, "--show", "metric", "--grades", "one-in", "--more", "track")
    assert "1 in 50.0" in result.stdout
    assert "left 610 mm" in result.stdout


def test_numbers_for_machines(plan):
    shown = json.loads(run("profile", plan, "Up ore", "--json", "--train", "noon", "--rail", "treated").stdout)
    assert shown["route"] == "Up ore"
    assert shown["train"]["name"] == "noon"
    assert [rail["rail"] for rail in shown["train"]["rails"]] == ["treated"]
    assert run("profile", plan, "--csv").stdout_bytes.count(b"\r\n") == 3


def test_a_picture(plan, tmp_path):
    out = tmp_path / "hill.SVG"
    result = run("profile", plan, "-o", out, "--size", "phone")
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr.startswith(f"{out}: written, ")
    assert out.read_bytes().startswith(b"<?xml")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["hill.SVG", "tarn.toml"]


# Refusals


def test_which_route_must_be_shown(plan):
    plan.write_text(PLAN + DOWN, encoding="utf-8")
    result = run("profile", plan)
    assert (result.exit_code, result.stdout) == (2, "")
    assert len(result.stderr.splitlines()) == 1
    assert '"Up ore", "Down"' in result.stderr
    assert run("profile", plan, "Down").exit_code == 0


# What is loaded


def test_only_a_picture_loads_matplotlib(plan):
    assert "matplotlib" not in loaded(plan, "profile", "report")
