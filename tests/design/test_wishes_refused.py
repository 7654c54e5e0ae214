"""HelixGiven for a climb that cannot be met, or read: one line that says which option, and what to write."""

import json

import pytest
from click.testing import CliRunner

from gradehaul.command import main

PLAN = ["--plan", "plans/first-hill.toml"]


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (
            "incline --find length --length 5m",
            "the length is what is looked for; write --rise, without --length and --grade",
        ),
        (
            "incline --find rise --rise 5in",
            "the rise is what is looked for; write --length, without --rise and --grade",
        ),
        (
            "incline --rise 3 --length 200 --curve abc 60",
            '--curve: this is not a length, got "abc"; write a length such as "24 in", "3 ft 6 in" or "610 mm"',
        ),
        (
            "incline --find rise --length 20 --curve 30 60",
            (
                "a length of 20 in has no room for its curves and vertical curves, got curves of 31.42 in and two "
                "vertical curves of 0.175 in; write a longer length, less of curve, or a shorter --vertical-curve"
            ),
        ),
        ("helix --radius 200km --rise-per-turn 5 --turns 3", "--radius: too long for any railway, got 200km"),
        (
            "helix --radius 0.00000001mm --rise-per-turn 5 --turns 3",
            "--radius: too short for any railway, got 0.00000001mm",
        ),
        (
            "helix --radius 30 --rise-per-turn 5 --turns 3 --vertical-curve -3",
            "--vertical-curve: vertical curve must be 0 or more, got -3",
        ),
        (
            "helix --find grade --radius 30 --turns 3",
            (
                'nothing works: train "local" is marginal on treated fresh rail; one step gentler, the deck above is '
                "too low for stock; write a higher rise per turn, a thinner deck, or a shorter train"
            ),
        ),
        (
            "helix --find cars --radius 30 --rise-per-turn 5 --turns 3",
            'the most cars are looked for in a space; write --floor "48 in"',
        ),
    ],
)
def test_a_climb_that_cannot_be(words: str, line: str) -> None:
    done = CliRunner().invoke(main, [*words.split(), *PLAN])
    assert (done.exit_code, done.stderr) == (2, f"{line}\n")


@pytest.mark.parametrize(
    ("given", "line"),
    [
        ("abc", '--change: this is not a grade, got "abc"; write a grade such as "2.2 %" or "1 in 45"'),
        ("-1 %", "--change: a change of grade is more than 0, got -1 %"),
    ],
)
def test_a_change_of_grade_that_is_none(given: str, line: str) -> None:
    done = CliRunner().invoke(main, ["level", "plans/n-mountain.toml", "--change", given])
    assert (done.exit_code, done.stderr) == (2, f"{line}\n")


@pytest.mark.parametrize(
    ("words", "row", "step", "more"),
    [
        (
            "incline --rail clean --find rise --length 200 --curve 30 60 --compensate",
            "rise",
            0.005,
            "--rise {} --length 200",
        ),
        (
            "incline --rail clean --find length --rise 3 --curve 30 60 --compensate",
            "length",
            -0.025,
            "--rise 3 --length {}",
        ),
    ],
)
def test_a_compensated_incline_is_the_most_that_a_train_climbs(words: str, row: str, step: float, more: str) -> None:
    page = CliRunner().invoke(main, [*words.split(), *PLAN]).output
    found = next(float(line.split()[-2]) for line in page.splitlines() if line.strip().startswith(row))
    for value, climbs in ((found, True), (round(found + step, 3), False)):
        asked = f"incline {more.format(value)} --curve 30 60 --compensate --json"
        told = json.loads(CliRunner().invoke(main, [*asked.split(), *PLAN]).stdout)
        (verdict,) = (train["verdict"] for train in told["trains"] if train["rail"] == "clean")
        assert (verdict == "climbs") is climbs
