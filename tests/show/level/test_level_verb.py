"""The verb level on surveys: text, JSON, CSV, and what is refused."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from gradehaul.command import main
from gradehaul.design.deck import STRENGTH

SURVEYED = """
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
    path.write_text(SURVEYED)
    return path


def level(path: Path, *more: str) -> Result:
    own = [] if "--survey" in more else ["--survey", "Main"]
    return CliRunner().invoke(main, ["level", str(path), *own, *more])


def test_a_riser_is_shown_in_fractions_of_an_inch(plan: Path) -> None:
    words = level(plan, "--more", "stations").stdout
    assert "Steeper than the target from 24.0 in to 36.0 in: 3.65 % (90 % range 3.34 to 3.95 %)" in " ".join(
        words.split()
    )
    (moved,) = [line for line in words.splitlines() if "up 3/16 in" in line]
    assert moved.split()[:3] == ["3", "(24.0", "in)"]  # the number of the reading, and its place
    assert words.count("leave") == 4
    assert "Main: on target with the corrections below, which add up to 3/16 in." in words
    assert "only as strong as you build it" in " ".join(words.split())
    assert "qualified person" in words
    assert "up 1.5 mm" not in words
    assert "up 4.5 mm" in level(plan, "--step", "0.5 mm", "--target", "2.2 %").stdout


def test_json_and_csv_show_the_same(plan: Path) -> None:
    (found,) = json.loads(level(plan, "--json").stdout)["surveys"]
    assert found["met"] is True
    assert found["total_m"] == pytest.approx(0.0047625)
    rows = list(csv.DictReader(io.StringIO(level(plan, "--csv", "--si").stdout)))
    assert [float(row["correction_m"]) for row in rows] == [each["correction_m"] for each in found["risers"]]
    assert (
        [int(row["riser"]) for row in rows] == [each["riser"] for each in found["risers"]] == [*range(1, len(rows) + 1)]
    )


@pytest.mark.parametrize(
    ("more", "words", "status"),
    [
        ([], "on target with the corrections below", 0),
        (["--shim", "1/16 in"], "it cannot reach the target", 1),
        (["--step", "1/8 in"], "thinner ones would meet it", 1),
    ],
)
def test_a_survey_that_cannot_reach_its_target_fails_strict(plan: Path, more: list[str], words: str, status: int):
    result = level(plan, "--strict", *more)
    assert words in " ".join(result.stdout.split())
    assert result.exit_code == status


@pytest.mark.parametrize(
    ("more", "words", "status"),
    [
        (["--survey", "Mian"], 'no survey of this name, got "Mian"; write "Main"', 2),
        (["--shim", "1/64 in"], "at least one step", 2),
        (["--shim", "steep"], "--shim", 2),
        (["--shim", "0"], "at least one step", 2),
        (["-o", "hill.png"], "text is written as .txt", 2),
        (["-o", "hill.toml"], "read the railheads again", 2),
    ],
)
def test_what_is_refused(plan: Path, more: list[str], words: str, status: int) -> None:
    result = level(plan, *more)
    assert result.exit_code == status
    assert words in result.stderr


HILL = """# a comment that stays
scale = "HO"
unit = "mm"
railhead = { A = 0, B = 120 }
[line.Lower]
from = "A"
to = "M"
track = [{ straight = 2000 }, { left = 600, angle = 150 }]
[line.Upper]
from = "M"
to = "B"
track = [{ straight = 2000 }]
[loco.mule]
mass = "400 g"
length = 200
pull.clean = "100 gf"
[car.ore]
mass = "100 g"
length = 120
[route.Up]
from = "A"
to = "B"
[train.up]
route = "Up"
consist = ["mule", "8 ore"]
"""


def run(path: Path, *more: str) -> Result:
    return CliRunner().invoke(main, ["level", str(path), *more])


def test_railheads_are_shown_and_written_as_a_plan_that_checks(tmp_path: Path) -> None:
    path, out = tmp_path / "hill.toml", tmp_path / "leveled.toml"
    path.write_text(HILL)
    result = run(path, "-o", str(out))
    assert result.exit_code == 0, result.stderr
    for caution in ("run clearance on the plan that -o writes", STRENGTH, "keep children away from open drops"):
        assert caution in " ".join(result.stdout.split())
    assert "qualified person" in run(path, "--more", "notes").stdout
    assert "# a comment that stays" in out.read_text()
    document = json.loads(run(path, "--json").stdout)
    (train,) = document["trains"]
    assert train["leveled_pct"] < train["string_pct"] - 0.3
    checked = CliRunner().invoke(main, ["check", str(out), "--json"])
    assert checked.exit_code == 0, checked.stderr
    (route,) = json.loads(checked.stdout)["routes"]
    before = json.loads(CliRunner().invoke(main, ["check", str(path), "--json"]).stdout)["routes"][0]
    assert route["ruling"]["effective_pct"] < before["ruling"]["effective_pct"] - 0.3
    rows = list(csv.DictReader(io.StringIO(run(path, "--csv", "--si").stdout)))
    assert [float(row["railhead_m"]) for row in rows] == [each["railhead_m"] for each in document["stations"]]
    again = json.loads(run(path, "--json", "--at-most", f"M = {1000 * document['joints']['M'] - 5}").stdout)
    assert again["joints"]["M"] == pytest.approx(document["joints"]["M"] - 0.005, abs=1e-5)


def test_heights_that_were_measured_and_bind_lead_to_shims(tmp_path: Path) -> None:
    path = tmp_path / "hill.toml"
    path.write_text(HILL)
    assert "--survey" not in run(path).stdout
    built = HILL.replace(
        "{ straight = 2000 }, { left = 600, angle = 150 }",
        "{ straight = 2000, railhead = 10 }, { left = 600, angle = 75, railhead = 60 }, { left = 600, angle = 75 }",
    )
    path.write_text(built)
    assert "--survey finds shims" in run(path).stdout


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--at-least", "M"], "the place, =, and a height"),
        (["--at-least", "M = high"], "--at-least"),
        (["--at-least", "N = 3"], "no joint of this name"),
        (["--change", "0 %"], "more than 0"),
        (["--train", "x"], "no train of this name"),
        (["--at-least", "M = 100", "--at-most", "M = 50"], "as low and as high"),
    ],
)
def test_wishes_for_railheads_that_are_refused(tmp_path: Path, more: list[str], words: str) -> None:
    path = tmp_path / "hill.toml"
    path.write_text(HILL)
    result = run(path, *more)
    assert result.exit_code == 2
    assert words in result.stderr


def test_a_plan_without_a_survey(plan: Path) -> None:
    plan.write_text(SURVEYED.partition("[survey")[0])
    result = level(plan)
    assert result.exit_code == 2
    assert "[survey.NAME]" in result.stderr


def test_where_no_train_gains_the_headline_names_the_limit_and_a_change_that_helps(tmp_path: Path) -> None:
    path = tmp_path / "hill.toml"
    path.write_text(HILL)
    kept = run(path, "--change", "0.01 %")
    words = " ".join(kept.stdout.split())
    found = re.search(r"No train's hardest grade falls: the largest change of grade, .*?; with --change (\d+\.00 %) "
                      r"it would be (\d\.\d\d %)\. See --more limits\.", words)  # fmt: skip
    assert found, words
    assert "Railheads to change" not in words
    assert found[2] in run(path, "--change", found[1]).stdout
    path.write_text(HILL.replace("{ straight = 2000 }, { left = 600, angle = 150 }", "{ straight = 3000 }"))
    assert "the heights that are fixed keep the hardest grade of up at" in " ".join(run(path).stdout.split())


@pytest.mark.parametrize("inner", ["railhead_at = [[1500, 30]], ", ""])
def test_heights_within_a_line_that_keep_the_grade_up_are_named(inner: str, tmp_path: Path) -> None:
    path = tmp_path / "hill.toml"
    curves = "{ straight = 1000 }, { right = 500, angle = 90 }, { straight = 1000 }, { left = 600, angle = 90 }"
    path.write_text(
        f"""scale = "HO"
unit = "mm"
railhead = {{ A = 0, B = 100 }}
line.Hill = {{ from = "A", to = "B", {inner}track = [{curves}, {{ straight = 1000 }}] }}
loco.goat = {{ mass = "300 g", length = 150, pull.clean = "60 gf" }}
car.ore = {{ mass = "100 g", length = 120 }}
route.Up = {{ from = "A", to = "B" }}
train.T = {{ route = "Up", consist = ["goat", "4 ore"] }}
"""
    )
    words = " ".join(CliRunner().invoke(main, ["level", str(path)]).stdout.split())
    held = "For T, heights given within lines keep the hardest grade from being lower: Hill at 1500 mm. Where you may"
    assert (held in words) is bool(inner)
    assert ("heights given within lines" in words) is bool(inner)
    after = [float(figure) for figure in re.findall(r"hardest grade of T falls from .* to ([0-9.]+) %", words)]
    assert len(after) == 1
