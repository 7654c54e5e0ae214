"""The verb `report` and the load cards of `check`: their files and their refusals."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from command_line import DOWN, HILL, run
from project import PLANS

PLAN = HILL + DOWN


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "tarn.toml"
    path.write_text(PLAN, encoding="utf-8")
    return path


def words(page: str) -> str:
    return " ".join(re.sub(r"<(style|script).*?</\1>|<[^>]+>", " ", page, flags=re.DOTALL).split())


# The page


def test_a_page(plan, tmp_path):
    out = tmp_path / "x.html"
    result = run("report", plan, "-o", out)
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr.startswith(f"{out}: written, ")
    page = out.read_text(encoding="utf-8")
    assert page.startswith("<!doctype html>")
    assert page == run("report", plan).stdout  # the same from run to run, printed or written
    shown = words(page)
    heads = ("verdict", "routes", "workbench", "assumed", "cautions")
    order = [page.index(f'<h2 id="{head}-head">') for head in heads]
    assert order == sorted(order)
    for route in ("Up ore", "Down"):
        assert shown.count(route) > 3
    assert "http://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in page
    assert str(tmp_path) not in page  # it may be mailed


def points(page: str) -> list[str]:
    found = re.search(r'<ul class="points">(.*?)</ul>', page, re.DOTALL)
    return [] if found is None else [words(each) for each in found[1].split("</li>")[:-1]]


def test_what_to_look_at_and_to_measure_stands_under_the_verdict(tmp_path):
    *odd, measure = points(run("report", PLANS / "bench.toml").stdout)
    answer = json.loads(run("readings", PLANS / "bench.toml", "--json").stdout)
    doubts = json.loads(run("check", PLANS / "bench.toml", "--json").stdout)["doubts"]
    assert doubts == [each for each in answer["remarks"] if "95 gf is far" in each]
    assert odd == [f"Look at this reading again : {each}." for each in answer["remarks"] if each not in doubts]
    assert measure == f"Measure next : {answer['measure_next'][0]}."
    turns = "railhead_at = [[0, 0]]\ntrack = [{ left = 24, angle = 720, rise = 3 }]"
    path = tmp_path / "low.toml"
    path.write_text(
        (PLANS / "first-hill.toml").read_text(encoding="utf-8") + f'[line.Turns]\nfrom = "Foot"\nto = "Head"\n{turns}\n'
    )
    fails = json.loads(run("clearance", path, "--json").stdout)["counts"]["fail"]
    assert fails > 0
    first, second, *_ = points(run("report", path).stdout)
    assert first == f"{fails} place{'s fail' if fails > 1 else ' fails'} clearance : gradehaul clearance low.toml"
    assert re.match(r"Fails clearance : Turns:1 at .* over Turns:1 at .* in, fails for .* in: height 1\.50 in,", second)
    three = "".join(f"[line.Turns{k}]\nfrom = 'Foot{k}'\nto = 'Head{k}'\n{turns}\n" for k in range(3))
    path.write_text((PLANS / "first-hill.toml").read_text(encoding="utf-8") + three)
    listed = points(run("report", path).stdout)
    assert [each.startswith("Fails clearance") for each in listed[:7]] == [False, *[True] * 5, False]
    assert (listed[0][:23], listed[6]) == ("6 places fail clearance", "and 1 more that fail clearance.")
    assert not any("clearance" in each for each in points(run("report", PLANS / "first-hill.toml").stdout))


def test_curves_of_opposite_hand_with_nothing_between_are_named_too(tmp_path):
    """There is no straight where some must be: 0 of it, and 0 under which it fails."""
    bends = "{ straight = 60 }, { left = 24, angle = 60 }, { right = 24, angle = 60 }, { straight = 60 }"
    plan = tmp_path / "bends.toml"
    line = f'line.Hill = {{ from = "A", to = "B", track = [{bends}] }}'
    stock = 'loco.e = { mass = "350 g", length = 7 }\ncar.coach = { length = 11 }'
    plan.write_text(f'scale = "HO"\nunit = "in"\nrailhead = {{ A = 0, B = 3 }}\n{line}\n{stock}\n', encoding="utf-8")
    assert "1 place fails clearance" in run("check", plan).stdout
    assert "Fails clearance : Hill:2 at 25.1 in and Hill:3 at 0.0 in" in words(run("report", plan).stdout)


def test_what_gets_a_train_over_is_shown(plan):
    plan.write_text(PLAN.replace('"3 ore"', '"30 ore"'), encoding="utf-8")
    shown = words(run("report", plan).stdout)
    assert "On clean rail morning stalls on " in shown
    assert re.search(r"help over the hill .* Leave \d+ of its \d+ cars behind", shown)
    assert "A helper comes on and goes off while the train stands" in shown


def test_units_and_grades_of_the_page(plan):
    shown = words(run("report", plan, "--show", "metric", "--grades", "one-in").stdout)
    assert "Ruling grade 1 in 30.2 = grade 1 in 50.0 + curve 1 in 76.0" in shown
    assert "radius 610 mm" in shown


def test_all_routes(plan):
    plan.write_text(HILL, encoding="utf-8")
    assert "Summit to Wharf" not in words(run("report", plan).stdout)
    assert "Summit to Wharf" in words(run("report", plan, "--all-routes").stdout)


def test_trains_and_routes_narrow_the_page():
    plan = PLANS / "two-levels.toml"
    for option, name, trains, routes in (
        ("--train", "empties", ["empties"], ["Quarry down"]),
        ("--route", "Up by the main", ["express"], ["Up by the main"]),
    ):
        page = run("report", plan, option, name).stdout
        data = json.loads(page.split('id="report-data">')[1].split("</script>")[0])
        assert [each["name"] for each in data["trains"]] == trains
        assert [each["name"] for each in data["routes"]] == routes
        assert page.count('<details class="route"') == 1
        assert "stone" not in words(page)
    assert "no train of this name" in run("report", plan, "--train", "empty").output


def test_a_plan_without_stock_or_trains(plan):
    plan.write_text(PLAN[: PLAN.index("[loco.mogul]")], encoding="utf-8")
    shown = words(run("report", plan).stdout)
    assert "No train is named in the plan" in shown
    assert "Make up a train" not in shown


# Load cards


def test_cards(plan, tmp_path):
    out = tmp_path / "cards.PDF"
    result = run("check", plan, "--card", "-o", out)
    assert (result.exit_code, result.stdout) == (0, "")
    assert result.stderr.startswith(f"{out}: written, ")
    assert out.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("args", "shown"),
    [
        ([], "needs -o with a name that ends in .pdf, .png or .svg"),
        (["-o", "-"], "needs -o with a name that ends in .pdf, .png or .svg"),
        (["-o", "card.txt"], "a picture is written as .png, .svg or .pdf"),
        (["--json", "-o", "card.pdf"], "exclude one another"),
    ],
)
def test_cards_that_cannot_be_drawn(plan, args, shown):
    result = run("check", plan, "--card", *args)
    assert (result.exit_code, result.stdout) == (2, "")
    assert shown in result.stderr


def test_cards_are_opened_in_the_viewer(plan, tmp_path, monkeypatch):
    opened: list[str] = []
    monkeypatch.setattr("click.launch", lambda url, **_: opened.append(url) or 0)
    out = tmp_path / "card.pdf"
    assert run("check", plan, "--card", "-o", out, "--open").exit_code == 0
    assert opened == [str(out)]
    assert run("check", plan, "--open").exit_code == 2
    assert opened == [str(out)]
