"""What to do about trains that do not climb, in the text and the document of the main job."""

from __future__ import annotations

import json
from pathlib import Path

from command_line import run
from gradehaul.show.base.page import Page
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.check.trains_text import add_ways_over
from gradehaul.treatment.helping import District, Help
from gradehaul.treatment.ways_over import Doubling, WaysOver

FILM = ("--rail", "treated", "--rail", "treated fresh")


def shown(**other: object) -> str:
    district = District("Foot", 1.4, "Top", 4.9)
    own = {
        "train": "ore",
        "rail": "treated",
        "outcome": "stalls",
        "cars": 9,
        "leave": 3,
        "double": Doubling(4, 5),
        "help": (Help("mule", "head", (district,), enough=True), Help("mule", "tail", (district,), enough=False)),
    }
    page = Page()
    add_ways_over(page, [WaysOver(**(own | other))], units_of("mm"))  # type: ignore[arg-type]
    return " ".join(page.text().split())


def test_every_way_is_shown() -> None:
    text = shown()
    assert "ore stalls on treated rail, with 9 cars." in text
    assert "Leave 3 of its 9 cars behind, from the tail: the other 6 climb." in text
    assert "first 4 cars, then 5. The berths hold both parts" in text
    assert "Helper district: Foot to Top (head from 1400 mm to 4900 mm)." in text
    assert "Enough as a helper: mule at the head." in text
    assert "Not enough as a helper: mule at the tail." in text


def test_what_does_not_help_is_shown() -> None:
    text = shown(leave=None, double="pull", help=())
    assert "Leaving cars does not help" in text
    assert "Do not double it: no split leaves two parts that climb and fit." in text
    assert "as a helper" not in text
    assert "the other climbs" in shown(leave=8)
    assert "the locomotives climb alone" in shown(leave=9)
    assert "no way leads the locomotives back to the second part past the first" in shown(double="return")


def test_helpers_are_shown_leg_by_leg() -> None:
    first, second = District("Mill", 0.0, "Stop", 2.6), District("Points", 3.4, "Quarry", 5.5)
    text = shown(
        help=(
            Help("mule", "head", (first,), enough=True, leg=1),
            Help("mule", "head", (second,), enough=False, leg=2, obstacle="room"),
            Help("mule", "tail", (second,), enough=True, leg=2),
        )
    )
    assert "Helper district on leg 1: Mill to Stop (head from 0 mm to 2600 mm). Enough as a helper: mule at" in text
    assert "Helper district on leg 2: Points to Quarry (head from 3400 mm to 5500 mm)." in text
    assert "Enough as a helper: mule at the tail." in text
    assert "Too long together for the tail, berth, loop or lap that must hold both: mule at the head." in text


def test_the_document_shows_legs_and_whether_helpers_fit(tmp_path) -> None:
    text = Path("plans/switchback.toml").read_text(encoding="utf-8")
    heavy = tmp_path / "heavy.toml"
    heavy.write_text(text.replace('mass = "38 g"', 'mass = "130 g"'), encoding="utf-8")
    (way, *_) = json.loads(run("check", heavy, "--json").stdout)["ways_over"]
    shown = {(each["leg"], each["where"]): (each["fits"], each["enough"]) for each in way["helpers"]}
    assert set(shown) == {(leg, where) for leg in (1, 2, 3) for where in ("head", "tail")}
    assert shown[2, "head"] == (False, False)
    assert shown[2, "tail"] == (True, True)
    words = " ".join(run("check", heavy, "--more", "ways").stdout.split())
    assert "Too long together for the tail, berth, loop or lap that must hold both: shunter at the head." in words


def test_the_main_job_shows_them() -> None:
    document = json.loads(run("check", "plans/n-mountain.toml", *FILM, "--json").stdout)
    needy = [
        (train["name"], train["rail"])
        for train in document["trains"]
        if train["rail"] in document["judged_rails"] and train["outcome"] != "climbs"
    ]
    assert [(way["train"], way["rail"]) for way in document["ways_over"]] == needy
    way = document["ways_over"][0]
    assert (way["doubling"], way["no_doubling"]) == (None, "return")
    assert {helper["where"] for helper in way["helpers"]} == {"head", "tail"}
    assert "Help over the hill" in run("check", "plans/first-hill.toml", *FILM, "--more=ways").stdout
