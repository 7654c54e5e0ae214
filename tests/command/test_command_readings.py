"""The verb readings, and the options of check that the bench needs."""

import json

import pytest

from command_line import run
from gradehaul.command import main
from project import PLANS

PLAN = str(PLANS / "bench.toml")


def test_readings_for_a_person_and_for_a_program():
    assert "Measure next" in run("readings", PLAN).stdout
    assert json.loads(run("readings", PLAN, "--json").stdout)["plan"] == "Bench at Mill Hollow"
    assert run("readings", PLAN, "--csv").stdout.startswith("loco,rail,state")
    assert " ozf" in run("readings", PLAN, "--show", "imperial").stdout


def test_the_form_is_written(tmp_path):
    assert run("readings", PLAN, "--sheet", "-o", str(tmp_path / "sheet.pdf")).exit_code == 0
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--sheet",), "--sheet needs -o FILE.pdf"),
        (("--paper", "letter"), "--paper needs --sheet as well"),
        (("--sheet", "-o", "x.png"), "--sheet needs -o FILE.pdf"),
        (("--json", "--csv"), "exclude one another"),
        (("-o", "x.svg"), "text is written as .txt"),
        (("-o", PLAN), "an answer may not replace a plan"),
    ],
)
def test_options_that_cannot_be(options, words):
    done = run("readings", PLAN, *options)
    assert done.exit_code == 2
    assert words in done.stderr


def test_check_at_an_age_of_film():
    def pulls(*options: str):
        trains = json.loads(run("check", PLAN, "--json", *options).stdout)["trains"]
        films = [t for t in trains if t["name"] == "freight" and t["rail"].startswith("treated")]
        assert len(films) == (1 if options else 2)
        return films[0]

    young, old, settled = pulls("--hours", "0"), pulls("--hours", "500"), pulls()
    assert young["margin_n"] < old["margin_n"]
    assert old["margin_n"] == pytest.approx(settled["margin_n"], abs=0.02)
    assert young["stall_probability"] > old["stall_probability"]
    assert run("check", PLAN, "--hours", "-1").exit_code == 2
    for hours, rail in (("6", "treated"), ("30", "treated"), ("6", "treated fresh")):
        screen = run("check", PLAN, "--hours", hours, "--rail", rail).stdout
        headline = next(line for line in screen.splitlines() if line.startswith("On "))
        assert f"on treated rail at {hours} h" in screen
        assert f"treated rail at {hours} h" in headline
    assert "With film everywhere at 6 h" in run("check", PLAN, "--hours", "6").stdout


def test_every_verb_judges_film_at_the_age_named_and_says_so(tmp_path):
    plan, hours = tmp_path / "bench.toml", ("--hours", "6")
    treated = '[line.Hill]\nrail = "treated"\n'
    plan.write_text((PLANS / plan.name).read_text("utf-8").replace("[line.Hill]\n", treated), "utf-8")
    (tmp_path / "bench.csv").write_bytes((PLANS / "bench.csv").read_bytes())
    shown = {"try": ["Up", "mikado", "8 boxcar"], "treat": [], "map": [], "profile": ["Up"]}
    for verb, names in shown.items():
        first = " ".join(run(verb, plan, *names, *hours).stdout.split())[:220]
        assert "at 6 h" in first, verb
    for verb, picture in (("map", "plan.svg"), ("profile", "section.svg"), ("report", "page.html")):
        out = tmp_path / picture
        assert run(verb, plan, *shown.get(verb, []), *hours, "-o", out).exit_code == 0
        assert "at 6 h" in out.read_text(encoding="utf-8")

    def found(verb, names, age):
        return json.loads(run(verb, plan, *names, "--json", "--hours", age).stdout)

    margins = []
    for age in ("6", "30"):
        checked, tried, drawn = (found(verb, shown.get(verb, []), age) for verb in ("check", "try", "profile"))
        assert checked["hours"] == tried["hours"] == drawn["train"]["hours"] == int(age)
        on_film = next(each for each in checked["trains"] if each["name"] == "freight" and "treated" in each["rail"])
        others = tried["trains"][0]["trials"][-1], drawn["train"]["rails"][-1]
        assert {(each["outcome"], each["margin_n"]) for each in (on_film, *others)} == {
            (on_film["outcome"], on_film["margin_n"])
        }
        margins.append(on_film["margin_n"])
    assert margins[0] < margins[1]


def test_the_seed_of_a_check():
    one, same, other = (run("check", PLAN, "--json", "--seed", seed).stdout for seed in ("4", "4", "5"))
    assert one == same != other


def test_a_dry_rag_is_no_option():
    """Rubbing with a dry rag changes nothing (common practice), so no option is needed."""
    for verb in ("check", "readings"):
        assert not any("rag" in option for parameter in main.commands[verb].params for option in parameter.opts)
