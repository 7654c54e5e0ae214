"""A trial train on a screen: a dozen lines of 80 columns, and the figures that its JSON has."""

import json
import re
from pathlib import Path

import pytest

from command_line import run
from gradehaul.plan import load_plan
from gradehaul.quantities import convert
from project import PLANS

TWO_LEVELS = PLANS / "two-levels.toml"
STONE = ["Up by the siding", "consolidation", "9 hopper", "caboose", "tank"]


def tried(*words: object) -> list[str]:
    done = run("try", *words)
    assert (done.exit_code, done.stderr) == (0, "")
    return done.stdout.splitlines()


@pytest.mark.parametrize(
    ("name", "words"),
    [
        (name, [train.route, *(f"{cut.count} {cut.name}" for cut in train.consist)])
        for name in ("first-hill", "two-levels", "n-mountain", "switchback", "yard")
        for train in load_plan(PLANS / f"{name}.toml").trains.values()
    ],
)
@pytest.mark.parametrize("locomotive", ["named", "any"])
def test_it_fits_a_small_screen(name: str, words: list[str], locomotive: str) -> None:
    plan = load_plan(PLANS / f"{name}.toml")
    if locomotive == "any":
        words = [words[0], "any", *(word for word in words[1:] if word.split(" ", 1)[1] not in plan.powers)]
    lines = tried(PLANS / f"{name}.toml", *words)
    assert len(lines) <= (12 if locomotive == "named" else 9 + len(plan.powers))
    assert max(map(len, lines)) <= 80
    assert all(line.endswith(".") for line in lines[-2:])  # whole, not cut


def test_rows_are_the_figures_of_the_json() -> None:
    lines = tried(TWO_LEVELS, *STONE)
    document = json.loads(run("try", TWO_LEVELS, *STONE, "--json").stdout)
    (train,) = document["trains"]
    assert train["consist"] == ["consolidation", "9 hopper", "caboose", "tank"]
    rows = [line for line in lines if line.startswith(tuple(trial["condition"] for trial in train["trials"]))]
    for row, trial in zip(rows, train["trials"], strict=True):
        cells = re.split(r" {2,}", row)
        assert cells[:2] == [
            trial["condition"],
            trial["outcome"].upper() if trial["outcome"] == "stalls" else trial["outcome"],
        ]
        assert cells[2] == f"{100 * trial['risk']:.0f} %"  # none of them is above 0 and below 1 %
        assert cells[3] == f"{convert(trial['spare_n'], 'gf'):.1f} gf"
        assert cells[4] == f"{trial['spare_track']}, {1000 * trial['spare_at_m']:.0f} mm"
        assert cells[5] == str(trial["most_cars"])


def test_the_headline_names_every_condition_by_its_outcome() -> None:
    assert (
        tried(TWO_LEVELS, *STONE)[1] == "It gets through on clean rail and as planned; it stalls with film everywhere."
    )


@pytest.mark.parametrize("verb", [("check",), ("map",), ("try",)])
def test_what_counts_film_that_wheels_spread_says_so_in_a_line(verb: tuple[str], tmp_path: Path) -> None:
    more = ["Uphill", "switcher"] if verb == ("try",) else []

    def lines(plan: str) -> list[str]:
        return [line for line in run(*verb, plan, *more).stdout.splitlines() if "Wheels spread film" in line]

    text = (PLANS / "first-hill.toml").read_text(encoding="utf-8")
    treated = tmp_path / "treated.toml"
    treated.write_text(text.replace("{ straight = 36 },", '{ straight = 36, rail = "treated" },', 1), encoding="utf-8")
    assert treated.read_text(encoding="utf-8") != text
    assert lines(str(PLANS / "first-hill.toml")) == []
    for stated, counted in (("", "78.7 in (a guess)"), ("carry_over.length = 80\n", "80.0 in")):
        treated.write_text(stated + treated.read_text(encoding="utf-8"), encoding="utf-8")
        (line,) = lines(str(treated))
        assert line.strip() == f"Wheels spread film: it is counted up to {counted} past wiped track."
    assert " ".join(run(*verb, str(treated), *more).stdout.split()).count("it does not come off") == 1


def test_a_train_too_long_is_shown_with_its_place() -> None:
    lines = tried(TWO_LEVELS, "Quarry down", "tank", "14 coach")
    assert any(
        line.startswith('It is 3525 mm long and does not fit berth "Quarry loading", which holds 1400 mm')
        for line in lines
    )
    lines = tried(PLANS / "switchback.toml", "Up to the quarry", "shunter", "9 tub")
    assert lines[1] == 'It is too long for berth "Quarry loader".'
    assert [re.split(r"  +", line)[1:4] for line in lines[3:5]] == [["TOO LONG", "–", "–"]] * 2


def test_a_train_too_long_is_shown_with_how_many_cars_fit_and_with_its_pull() -> None:
    words = " ".join(tried(TWO_LEVELS, "Quarry down", "tank", "14 coach"))
    assert "which holds 1400 mm: 5 coach would fit. By its pull alone it gets through, 11.6 gf to spare, on clean" in (
        " ".join(words.split())
    )
    words = " ".join(" ".join(tried(TWO_LEVELS, "Quarry down", "any", "14 coach")).split())
    assert 'Too long: berth "Quarry loading" holds 1400 mm, so 4 coach with double header' in words
    assert "5 coach with tank." in words


def test_a_train_that_only_goes_down_holds_back() -> None:
    lines = tried(PLANS / "landing.toml", "Down to the pond", "geared", "6 log")
    assert lines[1] == "It is held back on clean rail; it runs away with film everywhere."
    assert re.split(r"  +", lines[3])[:2] == ["clean", "held back"]


def test_what_the_most_cars_are_counted_with_is_shown() -> None:
    assert "Most: the most hopper that get through, with caboose in the train." in tried(TWO_LEVELS, *STONE)
    assert "Most: the most hopper that get through." in tried(TWO_LEVELS, *STONE[:3])


def test_heights_that_were_set_are_shown() -> None:
    lines = tried(TWO_LEVELS, "Up by the main", "tank", "--set", "Helix top = 306")
    assert "With Helix top at 306 mm." in lines
    assert "Put aside for this trial: the rise of 300.0 mm of Helix:2." in lines
    (held,) = (line for line in lines if line.startswith("Grades change"))
    assert held == "Grades change only as far as the next heights that are given: 0.0 mm at Helix"


def test_heights_that_hold_beside_one_that_is_set_are_shown(tmp_path: Path) -> None:
    text = (PLANS / "first-hill.toml").read_text(encoding="utf-8")
    text = text.replace('to   = "Ridge"', 'to   = "Ridge"\nrailhead_at = [[200, 4]]')
    (tmp_path / "crest.toml").write_text(text, encoding="utf-8")
    lines = tried(tmp_path / "crest.toml", "Uphill", "switcher", "--set", "Ridge=3")
    assert "Grades change only as far as the next heights that are given: 4.00 in at" in lines


def test_the_most_cars_say_where_length_limits_them() -> None:
    lines = tried(TWO_LEVELS, "Up by the main", "double header", "7 coach")
    assert [re.split(r"  +", line)[-1] for line in lines if line.startswith(("clean", "film"))] == ["7 berth", "4"]
    assert "Berth: limited by the length of a siding" in " ".join(lines)


def test_a_height_beside_the_route_says_that_it_changes_nothing_there() -> None:
    beside = tried(TWO_LEVELS, "empties", "--set", "Siding@1000=315")
    assert "With Siding@1000 at 315 mm: that changes no height on this route." in beside
    assert "With Quarry switch at 331.25 mm." in tried(TWO_LEVELS, "empties", "--set", "Quarry switch=331.25")


def test_ages_and_places_where_length_limits_fit_a_usual_terminal() -> None:
    rows = tried(TWO_LEVELS, "express", "--hours", "3")
    assert [line.split("  ")[0] for line in rows[4:7]] == ["clean", "as planned at 3 h", "film everywhere at 3 h"]
    assert max(map(len, rows)) <= 80
