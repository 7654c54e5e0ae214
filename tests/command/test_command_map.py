"""The map verb, and opening what was written, as a user meets them."""

from __future__ import annotations

import json
from pathlib import Path

import click
import pytest

from command_line import run
from project import PLANS

HILL = str(PLANS / "first-hill.toml")


@pytest.fixture
def opened(monkeypatch) -> list[str]:
    found: list[str] = []

    def launch(url: str) -> int:
        assert Path(url).exists()
        found.append(url)
        return 0

    monkeypatch.setattr(click, "launch", launch)
    return found


def test_numbers_without_a_file_and_a_picture_with_one(tmp_path):
    assert "Lower bend" in run("map", HILL).output
    assert run("map", HILL, "--csv").output.startswith("track,line,berth,")
    assert run("map", HILL, "--json").output.startswith("{")
    target = tmp_path / "plan.png"
    done = run("map", HILL, "-o", str(target), "--size", "phone")
    assert (done.exit_code, done.stdout) == (0, "")
    assert target.read_bytes().startswith(b"\x89PNG")


def test_trains_and_rails_are_chosen():
    shown = run("map", HILL, "--train", "local", "--rail", "clean", "--rail", "treated").output
    assert "local, on clean rail" in shown
    assert "local, on treated rail" in shown
    assert "treated fresh" not in shown


def test_a_route_narrows_tracks_joints_and_trains(tmp_path):
    plan = str(PLANS / "two-levels.toml")
    whole, narrow = (json.loads(run("map", plan, "--json", *more).stdout) for more in ((), ("--route", "Quarry down")))
    profile = json.loads(run("profile", plan, "Quarry down", "--json").stdout)
    run_over = [each["id"] for each in profile["tracks"]]
    assert {each["id"] for each in narrow["tracks"]} == set(run_over) < {each["id"] for each in whole["tracks"]}
    assert {each["name"] for each in narrow["joints"]} == {each["name"] for each in profile["joints"]}
    assert {each["name"] for each in narrow["trains"]} == {"empties"}
    both = json.loads(run("map", plan, "--json", "--route", "Quarry down", "--train", "stone").stdout)
    assert {each["name"] for each in both["trains"]} == {"stone"}
    assert run("map", plan, "--route", "Quarry down", "-o", tmp_path / "x.png").exit_code == 0
    assert "no route of this name" in run("map", plan, "--route", "Quarry up").output


def test_a_plan_whose_figures_do_not_close_is_no_knot(tmp_path):
    plan = tmp_path / "knot.toml"
    plan.write_text(
        'scale = "HO"\nunit = "m"\nrailhead.A = 0\n'
        'line.Round = { from = "A", to = "B", track = [{ left = 1, angle = 180 }, { straight = 1 }] }\n'
        'line.Back = { from = "B", to = "A", track = [{ left = 1, angle = 100 }] }\n'
    )
    target = tmp_path / "x.png"
    done = run("map", str(plan), "-o", str(target))
    assert done.exit_code == 2
    assert "nothing can be drawn in its place" in done.output
    assert not target.exists()


@pytest.mark.parametrize(
    ("verb", "name"), [("map", "x.png"), ("profile", "x.svg"), ("report", "x.html"), ("export", "x.dxf")]
)
def test_what_was_written_is_opened(tmp_path, opened, verb, name):
    target = tmp_path / name
    done = run(verb, HILL, "-o", str(target), "--open")
    assert done.exit_code == 0, done.output
    assert opened == [str(target)]


@pytest.mark.parametrize("verb", ["map", "profile", "report", "export"])
def test_there_is_nothing_to_open_where_nothing_is_written(opened, verb):
    for more in ((), ("-o", "-")):
        done = run(verb, HILL, "--open", *more)
        assert done.exit_code == 2
        assert "-o" in done.output
    assert opened == []


def test_a_viewer_that_does_not_start_is_shown(tmp_path, monkeypatch):
    monkeypatch.setattr(click, "launch", lambda _url: 1)
    done = run("map", HILL, "-o", str(tmp_path / "x.png"), "--open")
    assert done.exit_code == 0
    assert "no viewer could be started" in done.output
