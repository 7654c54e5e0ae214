"""The verbs of design: their pages, JSON, plans and pictures, and each refusal: which option, and what to write."""

from __future__ import annotations

import json
import math
import re
import shlex
from pathlib import Path

import pytest

from command_line import run
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import load_plan

PLAN = "--plan plans/first-hill.toml"
USUAL = ["helix", *PLAN.split(), "--radius", "30", "--rise-per-turn", "5", "--turns", "3"]


def test_check_of_the_plan_it_writes_says_the_same(tmp_path: Path) -> None:
    hill = tmp_path / "hill.toml"
    output = run(*USUAL, "--json", "-o", str(hill))
    assert output.exit_code == 0, output.output
    document = json.loads(output.stdout)
    checked = json.loads(run("check", str(hill), "--json").stdout)
    assert "mm" not in hill.read_text().split("[loco")[0]  # all in the plan's unit
    for key in ("routes", "trains", "scale"):
        assert document[key] == checked[key]
    assert document["helix"]["grade_pct"] == pytest.approx(2.6526, abs=1e-4)
    assert run(*USUAL, "-o", str(hill)).exit_code == 0  # its own file
    hill.write_text(hill.read_text() + "# mine\n")
    again = run(*USUAL, "-o", str(hill))
    assert again.exit_code == 2
    assert "may not replace a plan" in again.stderr


@pytest.mark.parametrize("stock", [PLAN, "--scale HO"])
def test_its_vertical_curves_are_as_long_as_clearance_wants_them(stock: str, tmp_path: Path) -> None:
    hill = tmp_path / "hill.toml"
    helix = ["helix", *stock.split(), "--radius", "24", "--rise-per-turn", "5", "--turns", "3", "-o", str(hill)]
    assert run(*helix).exit_code == 0
    found = json.loads(run("clearance", str(hill), "--json").stdout)["places"]
    assert {each["outcome"] for each in found if each["rule"] == "change of grade"} == {"pass"}


def test_the_page_tells_what_matters_and_what_can_hurt() -> None:
    page = " ".join(run(*USUAL, "--tracks", "2", "--ease", "8").stdout.split())
    for words in ("effective grade", "clear height left", "floor needed", "climb on the outer track", "raised edge"):
        assert words in page
    for words in ("children", "local codes", "qualified person"):
        assert words in page
    found = run("helix", "--plan", "plans/first-hill.toml", "--find", "radius", "--rise-per-turn", "5", "--turns", "3")
    assert 'A radius 0.01 in smaller does not work: train "local" is marginal on treated fresh rail.' in " ".join(
        found.stdout.split()
    )


def test_a_cure_stands_beside_what_it_is_now_and_tension_on_the_first_screen() -> None:
    helix = ["helix", "--scale", "HO", "--radius", "27", "--rise-per-turn", "4", "--turns", "3"]
    low = " ".join(run(*helix).stdout.split())
    cure = re.search(r"a deck of (\S+ in) or less \(now 0.50 in\)", low)
    assert cure, low
    assert "TOO LOW" in low
    assert "TOO LOW" not in run(*helix, "--deck", cure[1]).stdout  # as it is shown
    small = run("helix", "--scale", "N", "--radius", "13.05", "--rise", "2", "--turns", "1").stdout
    assert "radius in vehicle lengths 1.99" in " ".join(small.split())  # 1.9975, on the safe side of 2
    assert "too tight, under 2 (2 vehicle lengths pushing it" in " ".join(small.split())
    tight = run("helix", "--plan", "plans/two-levels.toml", "--radius", "400", "--turns", "6", "--rise", "600").stdout
    assert 'Look at this first: train "stone": it wraps 276 degrees of curve: coupler tension' in " ".join(
        tight.split()
    )


@pytest.mark.parametrize("verb", ["helix --radius 700", "incline --grade 2%"])
def test_a_fixed_design_is_judged_by_the_train_that_is_named(verb: str) -> None:
    words = [*shlex.split(verb), "--plan", "plans/two-levels.toml", "--rise", "300"]
    words += ["--turns", "3"] if "helix" in verb else []
    whole, one = (json.loads(run(*words, *more, "--json").stdout) for more in ((), ("--train", "stone")))
    assert {each["name"] for each in whole["trains"]} > {"stone"}
    assert one["trains"] == [each for each in whole["trains"] if each["name"] == "stone"]
    assert re.search(r"^stone, going \w+, ", run(*words, "--train", "stone").stdout, re.MULTILINE)
    both = json.loads(run(*words, "--train", "stone", "--train", "empties", "--json").stdout)
    assert {each["name"] for each in both["trains"]} == {"stone", "empties"}
    assert 'no train of this name, got "sand"' in run(*words, "--train", "sand").output


@pytest.mark.parametrize(
    "verb", ["helix --find radius --rise-per-turn 90 --turns 3", "incline --find length --rise 300"]
)
def test_of_several_trains_the_worst_decides_and_is_named(verb: str) -> None:
    kind, key = ("helix", "radius_m") if "helix" in verb else ("incline", "length_m")

    def found(*trains: str) -> tuple[float, str]:
        named = [word for train in trains for word in ("--train", train)]
        answer = json.loads(run(*shlex.split(verb), "--plan", "plans/two-levels.toml", *named, "--json").stdout)
        return answer[kind][key], answer[kind]["stops_why"]

    (stone, why), (express, _) = found("stone"), found("express")
    assert stone > express
    assert 'train "stone"' in why
    for order in (("stone", "express"), ("express", "stone")):
        assert found(*order) == (stone, why)


def test_a_chart_of_several_trains_is_refused() -> None:
    sweep = ["helix", "--plan", "plans/two-levels.toml", "--turns", "3", "--sweep", "400", "900", "60", "120", "--json"]
    found = run(*sweep, "--train", "stone", "--train", "express")
    assert found.exit_code == 2
    assert "name one --train" in found.stderr


def test_a_radius_that_headroom_sets_is_not_blamed_on_the_train() -> None:
    find = ["helix", *PLAN.split(), "--find", "radius", "--turns", "3", "--rail", "clean", "--rise-per-turn"]
    shown = " ".join(run(*find, "4.3").stdout.split())
    assert "smaller does not work: the deck above leaves too little headroom for the stock." in shown


def test_a_radius_is_found_where_no_radius_has_the_headroom_and_is_too_low() -> None:
    find = ["helix", *PLAN.split(), "--find", "radius", "--turns", "3", "--rail", "clean", "--rise-per-turn", "3.5"]
    shown = run(*find)
    words = " ".join(shown.stdout.split())
    radius = re.search(r"radius (\S+) in turns", words)
    assert radius, words
    assert " track TOO LOW, by 0.86 in: " in words
    assert 'A radius 0.01 in smaller does not work: train "local"' in words
    assert (shown.exit_code, run(*find, "--strict").exit_code) == (0, 1)
    assert f" radius {radius[1]} in " in " ".join(run(*find, "--deck", "0.05", "--clear", "2.5").stdout.split())


def test_a_helix_under_the_standards_clear_height_and_not_under_the_one_wanted_is_to_look_at() -> None:
    low = ["helix", "--scale", "HO", "--radius", "30", "--rise-per-turn", "4.2", "--turns", "3", "--clear"]
    words = " ".join(run(*low, "2.8").stdout.split())
    assert re.search(
        r"look: the deck above leaves \S+ in over .* under the standard's 3.15 in, not under your 2.80", words
    )
    assert "standard's" not in " ".join(run(*low, "2.8", "--deck", "0.1").stdout.split())


def test_a_helix_half_built_is_a_plan_with_the_height_measured(tmp_path: Path) -> None:
    page = Path("docs/design-of-climbs.md").read_text(encoding="utf-8")
    (line,) = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    whole, plan = tmp_path / "helix.toml", tmp_path / "half.toml"
    design = ["helix", *PLAN.split(), "--radius", "26", "--turns"]
    assert run(*design, "3", "--rise-per-turn", "4.5", "-o", whole).exit_code == 0
    half = re.sub(r"\[line.Helix\]\n.*?(?=\n\[)", line, whole.read_text(encoding="utf-8"), flags=re.DOTALL)
    plan.write_text(half, encoding="utf-8")
    layout = Layout(load_plan(plan))
    names = {track.name: track.id for track in layout.plan.tracks.values()}
    built, rest = (layout.alignment.tracks[names[name]].railhead for name in ("Built", "To build"))
    assert built.at([built.stop])[0] == pytest.approx(9.25 * 0.0254, abs=5e-4)  # where its grades meet
    left = json.loads(run(*design, "1", "--rise", "4.25", "--json").stdout)
    middle = rest.derivative()(0.5 * rest.stop)
    assert 100 * middle == pytest.approx(left["helix"]["grade_pct"], rel=1e-4)
    assert run("clearance", plan, "--strict").exit_code == 0
    plan.write_text(half.replace("9.25", "9.6"), encoding="utf-8")  # so that the turn to build lies too low
    assert run("clearance", plan, "--strict").exit_code == 1


@pytest.mark.parametrize(
    ("words", "more"),
    [("", True), ("--ease 300", True), ("--ease 300 --vertical-curve 200", False), ("--vertical-curve 0", False)],
)
def test_more_is_needed_at_a_point_where_a_vertical_curve_reaches_over_the_beginning_of_a_curve(
    words: str, more: bool
) -> None:
    fixed = f"incline --scale HO --unit mm --rise 200 --length 8000 --curve 900 90 --compensate {words}"
    page = run(*fixed.split()).output
    elsewhere, greatest = (
        next(line.split()[-2] for line in page.splitlines() if line.strip().startswith(row))
        for row in ("effective grade, away", "greatest effective grade")
    )
    assert (elsewhere != greatest) is more


PARTS = [
    (
        "helix --scale HO --radius 24 --turns 3",
        "got radius and turns; write one more of --grade, --rise, --rise-per-turn",
    ),
    ("helix --radius 24", "the scale is missing"),
    ("helix --scale HO --radius '24 bananas'", "--radius"),
    ("helix --scale HO --radius -24 --rise-per-turn 3 --turns 3", "more than 0"),
    ("helix --scale HO --floor '4 x 5 x 6' --grade '2 %' --turns 3", "two sides"),
    ("helix --scale HO --radius 24 --rise-per-turn 5 --turns nan", "more than 0"),
    ("helix --plan plans/first-hill.toml --scale N --radius 24", "the stock is of scale HO"),
    (
        "level plans/first-hill.toml --at-least 'Ridge = 3' --target '2 %'",
        "--at-least has no effect beside --survey",
    ),
    (f"helix {PLAN} --centers 2", "--centers needs --tracks 2"),
    (f"helix {PLAN} --car boxcar", "--car needs --sweep"),
    (f"helix {PLAN} --rail clean", "--rail needs --find radius, --find grade or --sweep"),
    (f"helix {PLAN} --sweep 18 40 3 6 --radius 24", "--radius has no effect beside --sweep"),
    (f"helix {PLAN} --unit mm --radius 600", "the plan has a unit of its own"),
    (f"incline {PLAN} --rail clean", "--rail needs --find length or --find rise"),
    (f"incline {PLAN} --ease 6", "--ease needs --curve"),
    (f"incline {PLAN} --compensate", "--compensate needs --curve"),
    (f"incline {PLAN} --practice NEM --rise 4", "the plan says its practice itself"),
    *(
        (
            f"clearance plans/first-hill.toml --{name} '9 km'",
            "0 to 32.48 in, got 354300 in",
        )
        for name in ("structure", "coupler")
    ),
    *(
        (
            f"helix --scale HO --radius 24 --rise-per-turn 4.5 --turns 3 --{name} '9 km'",
            f"--{name}: {name} must be at most 32.48 in, got 354300 in",
        )
        for name in ("deck", "roadbed", "clear")
    ),
]
LINES = [
    (
        "level plans/n-mountain.toml --change abc",
        '--change: this is not a grade, got "abc"; write a grade such as "2.2 %" or "1 in 45"',
    ),
    ("level plans/n-mountain.toml --change '-1 %'", "--change: a change of grade must be more than 0, got -1 %"),
    (f"helix {PLAN} --radius 200km --rise-per-turn 5 --turns 3", "--radius: too long for any railroad, got 200km"),
    (
        f"helix {PLAN} --radius 0.00000001mm --rise-per-turn 5 --turns 3",
        "--radius: too short for any railroad, got 0.00000001mm",
    ),
    (
        f"helix {PLAN} --radius 30 --rise-per-turn 5 --turns 3 --vertical-curve -3",
        "--vertical-curve: vertical curve must be 0 or more, got -3",
    ),
    (
        f"helix {PLAN} --find grade --radius 30 --turns 3 --rail treated",
        (
            'nothing works: train "local" is marginal on treated rail; one step gentler, the deck above leaves '
            "too little headroom for the stock; write a higher rise per turn, a thinner deck, or a shorter train"
        ),
    ),
    (
        f"incline {PLAN} --find length --length 5m",
        "the length is what --find finds; write --rise, without --length and --grade",
    ),
    (
        f"incline {PLAN} --find rise --rise 5in",
        "the rise is what --find finds; write --length, without --rise and --grade",
    ),
    (
        f"incline {PLAN} --rise 3 --length 200 --curve abc 60",
        '--curve: this is not a length, got "abc"; write a length such as "24 in", "3 ft 6 in" or "610 mm"',
    ),
    (
        f"incline {PLAN} --find rise --length 20 --curve 30 60",
        (
            "a length of 20 in has no room for its curves and vertical curves, got curves of 31.42 in and two "
            "vertical curves of 0.34 in; write a longer length, less of curve, or a shorter --vertical-curve"
        ),
    ),
]
"""What is refused, and a part of the message or its whole line."""


@pytest.mark.parametrize(("words", "message"), PARTS + LINES)
def test_refusals_are_one_message_and_status_2(words: str, message: str) -> None:
    output = run(*shlex.split(words))
    assert output.exit_code == 2
    assert output.stderr == f"{message}\n" if (words, message) in LINES else message in output.stderr
    assert all(line.startswith("  ") for line in output.stderr.splitlines()[1:])  # it goes on where it is folded


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
    page = run(*words.split(), *PLAN.split()).output
    found = next(float(line.split()[-2]) for line in page.splitlines() if line.strip().startswith(row))
    for value, climbs in ((found, True), (round(found + step, 3), False)):
        fixed = f"incline {more.format(value)} --curve 30 60 --compensate --json"
        output = json.loads(run(*fixed.split(), *PLAN.split()).stdout)
        (verdict,) = (train["verdict"] for train in output["trains"] if train["rail"] == "clean")
        assert (verdict == "climbs") is climbs


def test_a_sweep_as_json_says_what_the_sweep_found() -> None:
    words = f"helix {PLAN} --sweep 18 50 3 6 --turns 3 --train local".split()
    shown, clean = (run(*words, "--json", "--strict", *more) for more in ((), ("--rail", "clean")))
    assert (shown.exit_code, clean.exit_code) == (1, 0)  # none works with the film, and some do on clean rail
    document = json.loads(shown.stdout)["sweep"]
    assert document["radii_m"][0] == pytest.approx(18 * 0.0254)
    assert document["rises_per_turn_m"][-1] == pytest.approx(6 * 0.0254)
    assert {each["power"] for each in document["cars"]} == {"switcher"}
    for down, column in ((0, 0), (57, 133), (199, 199)):
        turn = 2 * math.pi * document["radii_m"][column]
        grade = 100 * document["rises_per_turn_m"][down] / turn
        assert document["grade_pct"][down][column] == pytest.approx(grade, rel=1e-3)
        assert document["steep"][down][column] == (grade > 4)


def test_practice_and_unit_without_a_plan_are_those_told() -> None:
    fixed = "helix --radius 900 --rise-per-turn 120 --turns 2 --json --scale HO --unit mm --practice {}"
    nem, nmra = (json.loads(run(*fixed.format(practice).split()).stdout) for practice in ("NEM", "NMRA"))
    assert (nem["practice"], nmra["practice"]) == ("NEM", "NMRA")
    assert nem["helix"]["rise_per_turn_m"] == pytest.approx(0.12)
    assert nem["helix"]["radius_m"] == pytest.approx(0.9)
