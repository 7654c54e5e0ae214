"""The verb helix: its page, its JSON, the plan and the picture it writes, and refusals."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import pytest
from click.testing import CliRunner

from command_line import run
from gradehaul.command import main

USUAL = ["helix", "--plan", "plans/first-hill.toml", "--radius", "30", "--rise-per-turn", "5", "--turns", "3"]


def test_check_of_the_plan_it_writes_says_the_same(tmp_path: Path) -> None:
    hill = tmp_path / "hill.toml"
    told = run(*USUAL, "--json", "-o", str(hill))
    assert told.exit_code == 0, told.output
    document = json.loads(told.stdout)
    checked = json.loads(run("check", str(hill), "--json").stdout)
    assert "mm" not in hill.read_text().split("[loco")[0]  # all in the plan's unit
    for key in ("routes", "trains", "scale"):
        assert document[key] == checked[key]
    assert document["helix"]["grade_pct"] == pytest.approx(2.6526, abs=1e-4)
    again = run(*USUAL, "-o", str(hill))
    assert again.exit_code == 2
    assert "not written over a plan" in again.stderr


@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
def test_it_draws(tmp_path: Path, ending: str) -> None:
    picture = tmp_path / f"hill.{ending}"
    assert run(*USUAL, "-o", str(picture)).exit_code == 0
    assert picture.read_bytes()[:4] in (b"\x89PNG", b"<?xm", b"%PDF")


def test_the_page_tells_what_matters_and_what_can_hurt() -> None:
    page = " ".join(run(*USUAL, "--tracks", "2", "--ease", "8").stdout.split())
    for words in ("effective grade", "clear height left", "floor needed", "climb on the outer track", "guard rails"):
        assert words in page
    for words in ("children", "local codes", "qualified person"):
        assert words in page
    found = run("helix", "--plan", "plans/first-hill.toml", "--find", "radius", "--rise-per-turn", "5", "--turns", "3")
    assert 'A radius 0.025 in smaller does not work: train "local" is marginal on treated fresh rail.' in " ".join(
        found.stdout.split()
    )


@pytest.mark.parametrize(
    ("words", "more"),
    [("", True), ("--ease 300", True), ("--ease 300 --vertical-curve 200", False), ("--vertical-curve 0", False)],
)
def test_that_more_is_asked_where_a_curve_begins_is_told_only_where_it_is(words: str, more: bool) -> None:
    asked = f"incline --scale HO --unit mm --rise 200 --length 8000 --curve 900 90 --compensate {words} --more notes"
    page = run(*asked.split()).output
    elsewhere, greatest = (
        next(line.split()[-2] for line in page.splitlines() if line.strip().startswith(row))
        for row in ("effective grade, away", "greatest effective grade")
    )
    assert (elsewhere != greatest) is more
    assert ("at points there the effective grade is more" in page) is more


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ["--scale", "HO", "--radius", "24", "--turns", "3"],
            "got radius and turns; write one more of --rise-per-turn",
        ),
        (["--radius", "24"], "the scale is missing"),
        (["--scale", "HO", "--radius", "24 bananas"], "--radius"),
        (["--scale", "HO", "--radius", "24", "--rise-per-turn", "3", "--turns", "3"], "stock needs"),
        (["--scale", "HO", "--radius", "-24", "--rise-per-turn", "3", "--turns", "3"], "more than 0"),
        (["--scale", "HO", "--floor", "4 x 5 x 6", "--grade", "2 %", "--turns", "3"], "two sides"),
        (["--scale", "HO", "--radius", "24", "--rise-per-turn", "5", "--turns", "nan"], "more than 0"),
        (["--plan", "plans/first-hill.toml", "--scale", "N", "--radius", "24"], "the stock is of scale HO"),
    ],
)
def test_refusals_are_one_line_and_status_2(words: list[str], message: str) -> None:
    told = run("helix", *words)
    assert told.exit_code == 2
    assert message in told.stderr
    assert len(told.stderr.splitlines()) == 1


@pytest.mark.parametrize("option", ["--deck", "--roadbed", "--clear"])
def test_a_deck_that_nobody_builds_is_refused_at_once(option: str) -> None:
    asked = ["--scale", "HO", "--radius", "24 in", "--rise-per-turn", "4.5 in", "--turns", "3", option, "9 km"]
    result = CliRunner().invoke(main, ["helix", *asked])
    assert result.exit_code == 2
    assert f"{option}: {option[2:]} must be at most 32.48 in, got 354300 in" in result.stderr


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["helix", "--centers", "2"], "--centers needs --tracks 2"),
        (["helix", "--car", "boxcar"], "--car needs --sweep"),
        (["helix", "--train", "local"], "--train needs --find radius, --find grade or --sweep"),
        (["helix", "--find", "cars", "--rail", "clean"], "--rail needs"),
        (["helix", "--sweep", "18", "40", "3", "6", "--radius", "24"], "--radius has no effect beside --sweep"),
        (["incline", "--train", "local"], "--train needs --find length or --find rise"),
        (["incline", "--ease", "6"], "--ease needs --curve"),
        (["incline", "--compensate"], "--compensate needs --curve"),
        (["helix", "--unit", "mm", "--radius", "600"], "the plan has a unit of its own"),
        (["incline", "--practice", "NEM", "--rise", "4"], "the plan says its practice itself"),
        (["level", "--at-least", "Ridge = 3", "--target", "2 %"], "--at-least has no effect beside --survey"),
        (["clearance", "--size", "phone"], "--size needs a picture after -o"),
    ],
)
def test_options_that_would_do_nothing_are_refused(words: list[str], message: str) -> None:
    plan = ["--plan", "plans/first-hill.toml"] if words[0] in ("helix", "incline") else ["plans/first-hill.toml"]
    told = run(words[0], *plan, *words[1:])
    assert told.exit_code == 2
    assert message in told.stderr


@pytest.mark.parametrize("option", ["deck", "coupler"])
def test_clearance_refuses_lengths_that_nobody_builds(option: str) -> None:
    told = run("clearance", "plans/first-hill.toml", f"--{option}", "9 km")
    assert told.exit_code == 2
    assert f"--{option}: {option} must be at most 32.48 in" in told.stderr
    assert "write the" in told.stderr


def test_a_sweep_as_json_and_as_a_table_says_what_the_sweep_found(tmp_path: Path) -> None:
    words = [
        "helix",
        "--plan",
        "plans/first-hill.toml",
        "--sweep",
        "18",
        "50",
        "3",
        "6",
        "--turns",
        "3",
        "--train",
        "local",
    ]
    document = json.loads(run(*words, "--json").stdout)["sweep"]
    assert document["radii_m"][0] == pytest.approx(18 * 0.0254)
    assert document["rises_per_turn_m"][-1] == pytest.approx(6 * 0.0254)
    file = tmp_path / "sweep.csv"
    assert run(*words, "--csv", "--si", "-o", str(file)).exit_code == 0
    rows = list(csv.DictReader(file.read_text().splitlines()))
    powers = {(each["power"], each["rail"]): each for each in document["cars"]}
    assert len(rows) == len(powers) * 200 * 200
    for row in rows[:: len(rows) // 50]:
        column = document["radii_m"].index(pytest.approx(float(row["radius_m"]), abs=1e-5))
        down = document["rises_per_turn_m"].index(pytest.approx(float(row["rise_per_turn_m"]), abs=1e-5))
        own = powers[row["power"], row["rail"]]
        assert int(row["cars"]) == own["cars"][down][column]
        for mark in ("low", "steep", "stalled"):
            assert bool(int(row[mark])) == document[mark][down][column]
        turn = 2 * math.pi * float(row["radius_m"])
        assert float(row["grade_pct"]) == pytest.approx(100 * float(row["rise_per_turn_m"]) / turn, rel=1e-3)


def test_practice_and_unit_without_a_plan_are_those_told() -> None:
    asked = "helix --radius 900 --rise-per-turn 120 --turns 2 --json --scale HO --unit mm --practice {}"
    nem, nmra = (json.loads(run(*asked.format(practice).split()).stdout) for practice in ("NEM", "NMRA"))
    assert (nem["practice"], nmra["practice"]) == ("NEM", "NMRA")
    assert nem["helix"]["rise_per_turn_m"] == pytest.approx(0.12)
    assert nem["helix"]["radius_m"] == pytest.approx(0.9)
