"""The keep-clean plan as text, JSON, CSV and as a plan file, by the command."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import Result

from command_line import run
from gradehaul.haulage.answers.check import check_layout
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import load_plan
from gradehaul.show.base.labels import WOULD
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.film import treat_page
from gradehaul.treatment.keep_clean import KeepCleanOptions, keep_clean_plan
from project import PLANS
from treatment.plans import HILL, Line


@pytest.fixture
def hill(tmp_path: Path) -> Path:
    path = tmp_path / "hill.toml"
    path.write_text(HILL.text())
    return path


def treat(path: Path, *more: str) -> Result:
    return run("treat", path, *more)


def test_the_page_says_first_what_the_plan_hangs_on(hill: Path) -> None:
    words = treat(hill, "--step", "500 mm", "--carry", "2 m", "--more", "all").stdout
    assert (
        words.index("depends on a guess")
        < words.index("track  ")
        < words.index("train  ")
        < words.index("Track by track")
    )
    assert "no farther than 2000 mm" in words
    assert "up would not recover from a slip" in " ".join(words.split())
    assert "If the film spreads everywhere, up stalls first at" in words
    assert "spare length of track" in words


def test_doubts_of_the_plan_stand_above_the_answer(hill: Path) -> None:
    """A pull of ten times what any locomotive of its weight has: all track may be treated, if that were so."""
    hill.write_text(HILL.text().replace('clean = "75 gf"', 'clean = "750 gf"'))
    doubts = [str(note) for note in check_layout(Layout(load_plan(hill))).doubts]
    assert any("more than 60 %" in doubt for doubt in doubts)
    words = " ".join(treat(hill).stdout.split())
    assert all(f"Look at this first: {doubt}" in words for doubt in doubts)
    assert words.index("Look at this first") < words.index("may be treated")
    assert json.loads(treat(hill, "--json").stdout)["doubts"] == doubts


def test_nothing_to_keep_clean_is_said(tmp_path: Path) -> None:
    path = tmp_path / "light.toml"
    path.write_text(Line(HILL.tracks, ("mule", "1 ore"), HILL.rails, "").text())
    assert "\nAll track may be treated; up then stalls or runs away in under 1 % of trials.\n" in treat(path).stdout
    path.write_text(
        Line(HILL.tracks, ("mule", "7 ore"), HILL.rails, "").text().replace('starting = "2.5 %"', 'starting = "30 %"')
    )
    words = " ".join(treat(path, "--need", "marginal").stdout.split())
    risky = "All track may be treated if marginal will do; up then stalls or runs away in 9 % of trials."
    assert risky in words
    assert "up marginal 9 %" in words


def test_a_train_that_stalls_on_clean_rail_is_said_and_no_plan_is_written(tmp_path: Path) -> None:
    path = tmp_path / "heavy.toml"
    path.write_text(Line(HILL.tracks, ("mule", "40 ore"), HILL.rails, "").text())
    assert "No plan can help: even with all rail clean, not every train gets by." in treat(path).stdout
    out = tmp_path / "copy.toml"
    result = treat(path, "-o", str(out))
    assert result.exit_code == 2
    assert "no file is written, since no plan can help up; write --train" in result.stderr
    assert not out.exists()


def test_trains_that_are_only_marginal_on_clean_rail_are_said_to_be_so(tmp_path: Path) -> None:
    path = tmp_path / "tight.toml"
    path.write_text(Line(HILL.tracks, ("mule", "15 ore"), HILL.rails, "").text())
    words = " ".join(treat(path).stdout.split())
    assert "No plan can help: even with all rail clean, not every train gets by." in words
    assert "A train that is marginal all the same gets by with --need marginal." in words
    assert "No plan can help" not in treat(path, "--need", "marginal").stdout


def test_a_carry_longer_than_the_layout_leaves_nothing_and_says_so(hill: Path) -> None:
    words = " ".join(treat(hill, "--carry", "1 km").stdout.split())
    assert (
        "No track may be treated; 12300 mm stays clean. A carry-over of 1000000 mm is more than all track together."
        in words
    )
    assert "all track together" not in treat(hill).stdout


def test_trains_that_keep_track_clean_are_named_with_the_place_where_each_fails_most(hill: Path) -> None:
    tracks = json.loads(treat(hill, "--json", "--carry", "6000 mm").stdout)["tracks"]
    worst = max((row["forced_by"] for row in tracks if row["forced_by"]), key=lambda reason: reason["short_n"])
    words = " ".join(treat(hill, "--carry", "6000 mm").stdout.split())
    assert (
        f"If the track to keep clean were treated, {worst['train']} {WOULD[worst['test']]} on {worst['track']}, "
        in words
    )
    assert f"{1000 * worst['short_n'] / 9.80665:.1f} gf short." in words


def test_film_everywhere_stands_beside_every_answer(hill: Path, tmp_path: Path) -> None:
    light, heavy = tmp_path / "light.toml", tmp_path / "heavy.toml"
    light.write_text(Line(HILL.tracks, ("mule", "1 ore"), HILL.rails, "").text())
    heavy.write_text(Line(HILL.tracks, ("mule", "40 ore"), HILL.rails, "").text())
    for path, stalls in ((hill, True), (light, False), (heavy, True)):
        words = treat(path, "--more", "trains").stdout
        assert "film everywhere" in words
        assert ("If the film spreads everywhere, up stalls first at" in words) == stalls


def test_a_search_that_was_stopped_says_how_much_better_a_plan_may_be(hill: Path) -> None:
    found = keep_clean_plan(Layout(load_plan(hill)), KeepCleanOptions(carry=0.0))
    page = treat_page(replace(found, gap=0.17), units_of("mm")).text()
    assert "The search was stopped: a plan up to 17 % better may exist." in page
    assert "The search was stopped" not in treat(hill).stdout
    assert replace(found, gap=0.17).to_dict()["gap_pct"] == 17.0


def test_trains_that_were_left_out_are_named_as_not_judged() -> None:
    plan = Path("plans/two-levels.toml").resolve()
    assert "NOT JUDGED: express, empties, which run on this film too." in treat(plan, "--train", "stone").stdout
    assert "NOT JUDGED" not in treat(plan).stdout


def test_lengths_add_up(hill: Path) -> None:
    document = json.loads(treat(hill, "--json", "--step", "300 mm").stdout)
    for use, total in document["totals_m"].items():
        own = sum(track["to_m"] - track["from_m"] for track in document["tracks"] if track["use"] == use)
        assert own == pytest.approx(total, abs=1e-4)
    assert sum(document["totals_m"].values()) == pytest.approx(12.3, abs=1e-4)


def test_the_headline_names_lengths_that_sum_to_the_whole_and_parts_of_divided_tracks() -> None:
    lengths = json.loads(treat(PLANS / "two-levels.toml", "--json", "--train", "express").stdout)["totals_m"]
    assert lengths["no effect"] > 0
    text = " ".join(treat(PLANS / "two-levels.toml", "--train", "express").stdout.split())
    named = re.findall(r"(\d+) mm", text.partition("may go ")[2].partition(". ")[0])
    assert len(named) == 3  # no more may be treated
    assert sum(map(float, named)) == pytest.approx(1000 * sum(lengths.values()), abs=2)
    divided = " ".join(treat(PLANS / "two-levels.toml", "--step", "500mm").stdout.split())
    assert "film 4079 mm Staging:1 (0 to 433 mm), Station main:1 (1000 to 3000 mm), Siding:4 (411 to 2057" in divided
    assert "-o writes" not in divided


def test_json_and_csv_tell_the_same(hill: Path) -> None:
    document = json.loads(treat(hill, "--json", "--carry", "0").stdout)
    assert [track["use"] for track in document["tracks"]] == ["film", "keep clean", "keep clean", "film"]
    assert document["totals_m"]["film"] == 8.0
    assert document["tracks"][1]["forced_by"]["train"] == "up"
    assert document["trains"][0]["planned"]["verdict"] == "climbs"
    assert document["trains"][0]["everywhere"]["verdict"] == "stalls"
    rows = list(csv.DictReader(io.StringIO(treat(hill, "--csv", "--si", "--carry", "0").stdout)))
    assert [row["use"] for row in rows] == [track["use"] for track in document["tracks"]]
    assert float(rows[1]["short_n"]) == document["tracks"][1]["forced_by"]["short_n"]


def test_a_copy_is_not_written_over_the_plan_nor_in_stretches(hill: Path, tmp_path: Path) -> None:
    result = treat(hill, "-o", str(hill))
    assert result.exit_code == 2
    assert "may not replace a plan" in result.stderr
    result = treat(hill, "--step", "300 mm", "-o", str(tmp_path / "x.toml"))
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "leave out -o and use --csv or --json, which have every stretch" in " ".join(result.stderr.split())
    assert "--step" not in treat(hill).stdout


@pytest.mark.parametrize(
    ("option", "value", "words"),
    [
        ("--reserve", "100 %", "a reserve must be at least 0 and less than 100 %"),
        ("--reserve", "lots", "--reserve:"),
        ("--carry", "-1 m", "carry-over length must be 0 or more"),
        ("--carry", "far", "--carry:"),
        ("--step", "0 mm", "the step is too short"),
        ("--train", "upp", 'write "up"'),
        ("--film", "oil", 'write "treated"'),
    ],
)
def test_wishes_without_sense(hill: Path, option: str, value: str, words: str) -> None:
    result = treat(hill, option, value)
    assert result.exit_code == 2
    assert words in result.stderr
    assert "Traceback" not in result.stderr


def test_names_are_harmless_in_a_spreadsheet(tmp_path: Path) -> None:
    path = tmp_path / "names.toml"
    path.write_text(HILL.text().replace("straight = 3000", 'name = "=1+1", straight = 3000'))
    assert "'=1+1" in treat(path, "--csv").stdout


def test_no_copy_is_written_where_nothing_may_be_treated(hill: Path, tmp_path: Path) -> None:
    out = tmp_path / "clean.toml"
    result = treat(hill, "--carry", "1 km", "-o", str(out))
    assert result.exit_code == 0
    assert "not written, since nothing would change" in result.stderr
    assert not out.exists()


def test_its_own_copy_is_written_again_but_not_once_it_is_changed(hill: Path, tmp_path: Path) -> None:
    out = tmp_path / "treated.toml"
    assert treat(hill, "--carry", "0", "-o", str(out)).exit_code == 0
    written = treat(hill, "--carry", "0", "-o", str(out))
    assert "treated.toml: written" in written.stderr.replace("\n", "")
    other = run("fit", hill, "-o", out)
    assert "may not replace a plan" in other.stderr
    out.write_text(out.read_text().replace("straight = 1300", "straight = 1310"))
    result = treat(hill, "--carry", "0", "-o", str(out))
    assert result.exit_code == 2
    assert "may be treated" in result.stdout
    assert "straight = 1310" in out.read_text()


# A copy in another folder

CARS = 'car.ore = { mass = "100 g", length = 140, rolling = "2.0 %", starting = "2.5 %" }\n'


@pytest.fixture
def parted(tmp_path: Path) -> Path:
    """The hill, its cars in a file of their own beside it."""
    folder = tmp_path / "layouts"
    folder.mkdir()
    assert CARS in HILL.text()
    (folder / "cars.toml").write_text(CARS)
    path = folder / "hill.toml"
    path.write_text('include = ["cars.toml"]\n' + HILL.text().replace(CARS, ""))
    return path


def test_a_copy_in_a_folder_above_names_what_it_includes_from_there(parted: Path, tmp_path: Path) -> None:
    out = tmp_path / "treated.toml"
    assert treat(parted, "--carry", "0", "-o", str(out)).exit_code == 0
    assert 'include = ["layouts/cars.toml"]' in out.read_text()
    assert run("check", out, "--strict").exit_code == 0


def test_a_copy_that_would_not_find_what_it_includes_is_refused_with_the_cure_and_the_answer_printed(
    parted: Path, tmp_path: Path
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    out = other / "treated.toml"
    result = treat(parted, "--carry", "0", "-o", str(out))
    assert result.exit_code == 2
    assert "with this plan" in result.stdout
    assert "as check does on the plan that treat -o writes" in " ".join(result.stdout.split())
    assert (
        'would not find the files that the plan names: they must be beside it or below it, got "cars.toml"'
        in result.stderr
    )
    cure = f"write -o with a name in the folder of the plan, {parted.parent}, or copy these files to {other} first"
    assert cure in result.stderr
    assert not out.exists()
    # either cure does
    assert treat(parted, "--carry", "0", "-o", str(parted.parent / "treated.toml")).exit_code == 0
    (other / "cars.toml").write_text(CARS)
    assert treat(parted, "--carry", "0", "-o", str(out)).exit_code == 0
    assert 'include = ["cars.toml"]' in out.read_text()
    # a file of the same name with other cars in it is not the same
    out.unlink()
    (other / "cars.toml").write_text(CARS.replace("100 g", "200 g"))
    assert treat(parted, "--carry", "0", "-o", str(out)).exit_code == 2
    assert not out.exists()


def test_leveled_copies_go_the_same_way(parted: Path, tmp_path: Path) -> None:
    parted.write_text(
        parted.read_text().replace("railhead.A = 0", "railhead = { A = 0, B = 75 }").replace(', grade = "2.5 %"', "")
    )
    curved = parted.read_text().replace("straight = 1300", "left = 800, angle = 90")
    parted.write_text(curved.replace(', grade = "0 %"', ""))
    out = tmp_path / "leveled.toml"
    assert run("level", parted, "-o", out).exit_code == 0
    assert 'include = ["layouts/cars.toml"]' in out.read_text()
    other = tmp_path / "other"
    other.mkdir()
    result = run("level", parted, "-o", str(other / "x.toml"))
    assert result.exit_code == 2
    assert result.stdout
    assert "would not find the files that the plan names" in result.stderr


def test_the_copy_can_be_printed_behind_the_answer(parted: Path) -> None:
    result = treat(parted, "--carry", "0", "-o", "-")
    assert result.exit_code == 0
    assert 'include = ["cars.toml"]' in result.stdout.split("More: ")[1]


def test_a_train_that_still_climbs_with_more_risk_is_named_with_both_figures() -> None:
    found = keep_clean_plan(Layout(load_plan(PLANS / "switchback.toml")), KeepCleanOptions())
    risks = {each.name: (each.now.risk, each.planned.risk) for each in found.trains}
    assert all(before < 0.005 < after for before, after in risks.values())
    now = check_layout(Layout(load_plan(PLANS / "switchback.toml")), rails=("clean",))
    assert {each.name: each.risk for each in now.trains if each.rail == "clean"} == {
        name: before for name, (before, _) in risks.items()
    }
    words = run("treat", PLANS / "switchback.toml").stdout
    for name, (_, after) in risks.items():
        assert f"{name} becomes riskier: risk 0 % now, {100 * after:.0f} % with this plan." in words
    kept = run("treat", PLANS / "landing.toml").stdout  # nothing is treated: nothing changes, and no file is written
    assert "becomes riskier" not in kept
    assert "treat -o" not in kept


@pytest.mark.parametrize("name", ["cove", "two-levels"])
def test_pieces_of_tracks_are_advised_with_what_they_allow(name: str) -> None:
    words = " ".join(treat(PLANS / f"{name}.toml").stdout.split())
    (step, length) = re.findall(r"with --step (\S+), (\S+ \S+) of track may be treated", words)[0]
    divided = " ".join(treat(PLANS / f"{name}.toml", "--step", step).stdout.split())
    assert f"{length} of track may be treated; " in divided
    assert "--step" not in divided


def test_pieces_that_allow_no_more_film_are_not_advised() -> None:
    plan = PLANS / "bench.toml"
    found, divided = (json.loads(treat(plan, *more, "--json").stdout) for more in ((), ("--step", "600mm")))
    film, buffer = (found["totals_m"][use] for use in ("film", "buffer"))
    assert divided["totals_m"]["film"] <= film < buffer
    assert "--step" not in treat(plan).stdout
