"""The verb clearance: text, JSON, CSV, exit status and what is refused."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from decimal import Decimal
from pathlib import Path

import pytest
from click.testing import Result

from command_line import run
from project import PLANS

HELIX = (
    'scale = "H0"\nunit = "mm"\npractice = "NEM"\nrailhead.A = 0\n'
    '[line.Helix]\nfrom = "A"\nto = "B"\ntrack = [{ left = 600, angle = 720, rise = RISE }]\n'
)


@pytest.fixture
def helix(tmp_path: Path) -> Path:
    path = tmp_path / "helix.toml"
    path.write_text(HELIX.replace("RISE", "110"))
    return path


def clearance(path: Path, *more: str) -> Result:
    return run("clearance", path, *more)


def test_the_page_has_figures_places_sources_and_cautions() -> None:
    words = " ".join(clearance(PLANS / "two-levels.toml", "--more", "all").stdout.split())
    assert "mm over Staging:1 at" in words
    assert "84 mm or more, fails under 59 mm" in words
    assert "height: NEM 102, clear space on straight track, edition 2017 (read)" in words
    assert "ask a qualified person where structure, house wiring or stairs are touched" in words
    assert "only as strong as you build it" in words
    assert "train stone, head on" in words


def test_json_and_csv_show_the_same(helix: Path) -> None:
    document = json.loads(clearance(helix, "--json").stdout)
    assert document["passes"] is False
    (place,) = [each for each in document["places"] if each["outcome"] == "fail"]
    assert place["rule"] == "vertical room"
    assert place["value_m"] == pytest.approx(0.055, abs=1e-5)
    assert place["along_m"] == pytest.approx(1.2 * math.pi, abs=0.02)
    assert "fails for 3770 mm" in " ".join(clearance(helix).stdout.split())
    assert (place["passes_m"], place["fails_m"]) == (pytest.approx(0.083935, abs=1e-6), 0.059)
    rows = list(csv.DictReader(io.StringIO(clearance(helix, "--csv", "--si").stdout)))
    assert [row["outcome"] for row in rows] == [each["outcome"] for each in document["places"]]
    assert float(rows[0]["value"]) == document["places"][0]["value_m"]


def test_a_change_of_grade_in_a_turnout_names_both_tracks_of_each_way() -> None:
    hollow = PLANS / "hollow.toml"
    found = [each for each in json.loads(clearance(hollow, "--json").stdout)["places"] if each["outcome"] == "look"]
    assert {(each["rule"], each["track"]) for each in found} == {("change of grade", "TRACK 1:3")}
    # up 1.58 % to the switch, then on at 1.91 % where TRACK 2 ends there, or at 0.60 % where TRACK 3 begins
    assert {each["onto"]: each["words"] for each in found} == {
        "TRACK 2:3": "the grade changes by +0.33 %",
        "TRACK 3:1": "the grade changes by -0.98 %",
    }
    lines = clearance(hollow).stdout.splitlines()
    for each in found:
        assert [line for line in lines if line.endswith(f"TRACK 1:3 at 14.0 in, onto {each['onto']}")]


def test_strict_fails_where_a_clearance_does(helix: Path) -> None:
    assert clearance(helix).exit_code == 0
    assert clearance(helix, "--strict").exit_code == 1
    helix.write_text(HELIX.replace("RISE", "170") + STOCK)
    assert clearance(helix, "--strict").exit_code == 0


def test_strict_fails_where_a_place_would_fail_with_the_deck_that_is_assumed(helix: Path) -> None:
    words, status, left_out = checked(helix, HELIX.replace("RISE", "160") + STOCK)
    assert "0 fail, 1 would fail with the assumed deck of 25 mm with roadbed and track, 1 to look at" in words
    assert (status, left_out) == (1, [])
    assert json.loads(clearance(helix, "--json").stdout)["would_fail"] == 1
    stated = clearance(helix, "--strict", "--structure", "12")
    assert stated.exit_code == 0
    assert "would fail" not in stated.stdout


STOCK = '[car.flat]\nlength = 100\nmass = "50 g"\n'


def checked(helix: Path, text: str) -> tuple[str, int, list[dict[str, str]]]:
    """Return the headline, the exit status under --strict and what the JSON says was not checked."""
    helix.write_text(text)
    document = json.loads(clearance(helix, "--json").stdout)
    assert document["complete"] is not bool(document["not_checked"] or document["would_fail"])
    result = clearance(helix, "--strict")
    return (
        " ".join(result.stdout.split("Clear height")[0].split("no. ")[0].split()[2:]),
        result.exit_code,
        document["not_checked"],
    )


def test_what_was_not_checked_stands_in_the_headline_and_is_not_passed(helix: Path) -> None:
    oval = "{ straight = 1000 }, { left = 600, angle = 180 }, "
    good = f'scale = "H0"\nunit = "mm"\npractice = "NEM"\nrailhead.A = 0\n{STOCK}[line.Oval]\nfrom = "A"\nto = "A"\n'
    words, status, left_out = checked(helix, good + f"track = [{oval}{oval}]\n")
    assert (status, left_out) == (0, [])
    assert "0 fail, 0 to look at, 4 pass." in words
    # 100 mm of 5.77 m are 1.7 %
    words, status, left_out = checked(helix, good + f"track = [{oval}{oval.replace('1000', '1100')}]\n")
    assert "0 fail, NOT CHECKED: over and beside, since 1 loop misses closing by 100 mm, at joint A; " in words
    assert status == 1
    assert [each["what"] for each in left_out] == ["over and beside"]
    apart = '[line.Far]\nfrom = "B"\nto = "C"\nrailhead_at = [[0, 0]]\ntrack = [{ straight = 500 }]\n'
    words, status, left_out = checked(helix, good + f"track = [{oval}{oval}]\n" + apart)
    assert "NOT CHECKED: clearance between 2 separate parts of the plan, since nothing says where they lie" in words
    assert status == 1
    words, status, left_out = checked(helix, HELIX.replace("RISE", "160"))
    assert "NOT CHECKED: radius and reverse curves, since the plan has no stock" in words
    assert status == 1


def test_wishes_are_read_in_the_plans_unit_and_refused_with_their_option(helix: Path) -> None:
    assert "Clear height 59 mm + track, roadbed and deck 12 mm = 71 mm from railhead to railhead;" in " ".join(
        clearance(helix, "--structure", "12").stdout.split()
    )
    for more, words in (
        (["--structure", "12 kg"], "--structure"),
        (["--structure", "-1 mm"], "--structure"),
        (["--clear", "-1 mm"], "--clear: the clear height wanted is from 0 to 825 mm, got -1 mm"),
        (["--clear", "9 m"], "--clear: the clear height wanted is from 0 to 825 mm, got 9000 mm"),
        (["--train", "x"], "--train"),
    ):
        result = clearance(helix, *more)
        assert result.exit_code == 2
        assert words in result.stderr


@pytest.mark.parametrize("options", [[], ["--show", "imperial"], ["--wire"], ["--wire", "--show", "imperial"]])
@pytest.mark.parametrize("clear", ["0.1 mm", "61.3 mm", "75 mm"])
def test_the_parts_of_the_height_add_up_and_are_that_by_which_places_are_judged(
    helix: Path, options: list[str], clear: str
) -> None:
    helix.write_text(HELIX.replace("RISE", "170"))
    words = " ".join(clearance(helix, "--clear", clear, *options, "--more", "places").stdout.split())
    figures = (
        r"Clear height ([\d.]+) .*?deck ([\d.]+) [a-z]+ \(assumed\)"
        r"(?: \+ overhead line ([\d.]+) [a-z]+ \(assumed\))? = ([\d.]+)"
    )
    found = re.search(figures, words)
    assert found is not None
    *parts, total = found.groups()
    assert sum(Decimal(part or 0) for part in parts) == Decimal(total)
    assert re.search(rf"wanted {re.escape(str(total))} (mm|in) or more", words)


def test_a_clear_height_that_is_wanted_fails_and_the_standards_is_looked_at(helix: Path) -> None:
    def places(*more: str) -> list[dict[str, object]]:
        document: dict[str, list[dict[str, object]]] = json.loads(clearance(helix, *stated, "--json", *more).stdout)
        return document["places"]

    stated = ("--structure", "12")
    helix.write_text(HELIX.replace("RISE", "170") + STOCK)
    usual = places()
    heights = [each["value_m"] for each in usual if each["rule"] == "vertical room"]
    assert heights == [pytest.approx(0.085, abs=1e-6)]
    for clear, least in ((40, 0.071), (59, 0.071), (70, 0.082), (73.1, 0.0851), (200, 0.212)):
        wanted = places("--clear", f"{clear} mm")
        nearest, *others = (each for each in wanted if each["rule"] == "vertical room")
        assert nearest["fails_m"] == pytest.approx(0.012 + clear / 1000)
        assert nearest["passes_m"] == pytest.approx(least)
        assert nearest["outcome"] == ("fail" if least > 0.085 else "pass")
        assert ("as wanted" in str(nearest["source"])) == (clear > 59)
        assert len(wanted) - len(others) == len(usual)  # two turns apart counts too where that may be too little
    helix.write_text(HELIX.replace("RISE", "120") + STOCK)
    words = " ".join(clearance(helix, "--clear", "40", *stated).stdout.split())
    assert "0 fail, 1 to look at" in words
    assert "look: one above the other, railhead to railhead; under the standard's 59 mm, over your 40 mm" in words
    assert "Clear height 59 mm by the standard (40 mm wanted) +" in words
    assert json.loads(clearance(helix, "--clear", "40", "--json").stdout)["would_fail"] == 1  # 60 mm, 64.9 with a deck
    assert "1 fail, 0 to look at" in " ".join(clearance(helix, "--clear", "49", *stated).stdout.split())


def test_the_answer_is_not_written_over_the_plan(helix: Path) -> None:
    before = helix.read_text()
    assert clearance(helix, "-o", str(helix)).exit_code == 2
    assert helix.read_text() == before


def test_two_rows_of_one_place_say_by_what_each_is_judged() -> None:
    rows = [line for line in clearance(PLANS / "n-mountain.toml").stdout.splitlines() if "Wye left:1" in line]
    assert ["NEM 111" in rows[0], "common practice" in rows[1], len(rows)] == [True, True, 2]
    assert "NEM 111" not in clearance(PLANS / "landing.toml").stdout  # no rule of it has two sources


@pytest.mark.parametrize("rise", ["300", "100"])
def test_check_names_in_a_line_how_many_places_fail(helix: Path, rise: str) -> None:
    helix.write_text(HELIX.replace("RISE", rise) + STOCK)
    count = json.loads(clearance(helix, "--json").stdout)["counts"]["fail"]
    shown = run("check", helix).stdout
    assert (f"{count} place{' fails' if count == 1 else 's fail'} clearance: gradehaul clearance" in shown) is (
        count > 0
    )
    assert (count > 0) is (rise == "100")
