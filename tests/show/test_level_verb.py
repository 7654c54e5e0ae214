"""The verb level on surveys: text, JSON, CSV, and what is refused."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from gradehaul.command import main

PLAN = """
scale = "HO"
unit = "in"
railhead.A = 0
line.Main = { from = "A", to = "B", track = [{ straight = 60 }] }
[survey.Main]
heights = [[0, 0], [12, "1/4 in"], [24, "5/16 in"], [36, "3/4 in"], [48, 1]]
reading = "1/64 in"
grade = "1 in 48"
"""


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "hill.toml"
    path.write_text(PLAN)
    return path


def level(path: Path, *more: str) -> Result:
    return CliRunner().invoke(main, ["level", str(path), *more])


def test_a_riser_is_told_in_fractions_of_an_inch(plan: Path) -> None:
    words = level(plan).stdout
    assert "Steeper than meant from 24.0 in to 36.0 in: 3.65 % ± 0.18 %" in words
    assert "3/16 in up" in words
    assert words.count("leave") == 4
    assert "With the corrections below, 3/16 in in all, it is as meant." in words
    assert "Decks bear only as they are built" in words
    assert "qualified person" in words
    assert "1.5 mm up" not in words
    assert "4.5 mm up" in level(plan, "--step", "0.5 mm", "--target", "2.2 %").stdout


def test_json_and_csv_tell_the_same(plan: Path) -> None:
    (found,) = json.loads(level(plan, "--json").stdout)["surveys"]
    assert found["met"] is True
    assert found["total_m"] == pytest.approx(0.0047625)
    rows = list(csv.DictReader(io.StringIO(level(plan, "--csv").stdout)))
    assert [float(row["correction_m"]) for row in rows] == [each["correction_m"] for each in found["risers"]]


def test_a_table_in_place_of_the_survey(plan: Path, tmp_path: Path) -> None:
    table = tmp_path / "ridge.csv"
    table.write_text("at,height\n0,0\n12,1/4 in\n24,1/2 in\n")
    words = level(plan, "--heights", str(table)).stdout
    assert "Survey ridge" in words
    assert "No riser need be touched" in words


@pytest.mark.parametrize(
    ("more", "words", "status"),
    [
        (["--survey", "Mian"], 'no survey of this name, got "Mian"; write Main', 2),
        (["--shim", "1/64 in"], "at least one step", 2),
        (["--shim", "steep"], "--shim", 2),
        (["--heights", "nowhere.csv"], "nowhere.csv", 3),
    ],
)
def test_what_is_refused(plan: Path, more: list[str], words: str, status: int) -> None:
    result = level(plan, *more)
    assert result.exit_code == status
    assert words in result.stderr


def test_a_plan_without_a_survey(plan: Path) -> None:
    plan.write_text(PLAN.partition("[survey")[0])
    result = level(plan)
    assert result.exit_code == 2
    assert "[survey.NAME]" in result.stderr
