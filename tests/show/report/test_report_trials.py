"""Railheads moved and films changed on the page: its script judges every train as the package does."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from typing import Any

import pytest

from gradehaul.errors import GradehaulError
from gradehaul.haulage.answers.judged import TrainAnswer, judged_trains, worst_of_each
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.answers.set_heights import railhead_responses, tried_plan
from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.edit.trial import TrialHeights, tried
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.plan.records import Plan
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import outcome_piece
from gradehaul.show.report.document import report_document
from project import PLANS

pytest.importorskip("playwright.sync_api")
from show.browser import Opened, opened
from show.report.test_report_page import units_for, written

TAKE = """data => {
  for (const route of data.routes) route.railhead.breaks = route.compensated.breaks;
  window.data = data;
}"""
JUDGE = """trial => {
  const data = window.data, stock = Haulage.stockFrom(data.stock), routes = Trial.routesWith(data, trial);
  const rails = [...new Set([...data.rails, ...Trial.conditions(data, trial).flatMap(each => each.rails)])];
  const onRail = (named, rail) => [rail, Outcomes.onRail(data, stock, routes, named, rail)];
  return data.trains.map(named => [named.name, rails.map(rail => onRail(named, rail))]);
}"""
NAMES = ("two-levels", "cove", "n-mountain", "switchback", "first-hill", "hollow")


@pytest.fixture(scope="module")
def plans() -> dict[str, Plan]:
    return {name: load_plan(PLANS / f"{name}.toml") for name in NAMES}


@pytest.fixture(scope="module")
def page(browser, tmp_path_factory) -> Iterator[Opened]:
    path = written("two-levels", tmp_path_factory.mktemp("trials") / "page.html")
    with opened(browser, path.as_uri()) as one:
        yield one
        assert one.said == []


def document_of(page: Opened, plan: Plan, hours: float | None = None, *, yielding: bool = False) -> dict[str, Any]:
    """Return a plan's document with its films at an age, and leave it on the page."""
    layout = Layout(plan, hours=hours)
    responses = railhead_responses(layout.alignment, yielding=yielding)
    units = UnitFormat("mm", "metric")
    data = report_document(layout, judged_trains(layout), layout.judged(), units, responses=responses)
    page.run(TAKE, data)
    return data


def assert_alike(page: Opened, plan: Plan, trial: TrialHeights, changed: Plan | None = None) -> int:
    """Judge all trains both ways and return how many comparisons were made."""
    layout = Layout(changed or tried(plan, trial), hours=trial.hours)
    right: dict[tuple[str, str], TrainAnswer] = {(train.name, train.rail): train for train in judged_trains(layout)}
    raw = {"heights": dict(trial.heights), "rails": dict(trial.rails)}
    found = {(name, rail): got for name, rows in page.run(JUDGE, raw) for rail, got in rows}
    assert found.keys() == right.keys()
    for key, train in right.items():
        got, scale = found[key], abs(train.verdict.spare) + 1e-3
        assert abs(got["spare_n"] - train.verdict.spare) < 1e-7 * scale, (key, trial)
        assert got["outcome"] == train.outcome, (key, trial)
        assert got["uphill"] == train.verdict.uphill, (key, trial)
    return len(right)


def test_dragged_railheads_are_judged_as_by_the_package(page, plans):
    rng, done, compared = random.Random(11), 0, 0
    for number, plan in enumerate(plans.values()):
        data = document_of(page, plan)
        for _ in range(60):
            if done == 40 * (number + 1) // len(plans):
                break
            station = rng.choice(data["heights"])
            by = rng.uniform(-0.02, 0.02) * rng.choice((0.1, 1.0))
            try:
                compared += assert_alike(page, plan, TrialHeights({station["key"]: station["height_m"] + by}))
            except GradehaulError:  # steeper than anything can be
                continue
            done += 1
    assert done == 40
    assert compared > 120


def test_the_track_behind_a_start_is_judged_as_by_the_package(page):
    bent = "{ straight = 0.6 }, { left = 0.7, length = 0.5 }"
    lines = "".join(
        f'[line.{name}]\nfrom = "{start}"\nto = "{stop}"\ntrack = [{bent}]\n'
        for name, start, stop in (("Left", "A", "M"), ("Right", "C", "M"), ("Ahead", "M", "B"))
    )
    plan = read_plan(
        'scale = "HO"\nunit = "m"\nrailhead = { A = -0.04, C = 0.05, M = 0, B = 0.01 }\ncarry_over.length = 0\n'
        '[turnout.M]\ntoe = "Ahead.from"\nlegs = ["Left.to", "Right.to"]\n'
        '[loco.mule]\nmass = "300 g"\nlength = 0.2\ndriven_wheels = 4\npull = { clean = "0.7 N", treated = "0.45 N" }\n'
        '[car.ore]\nmass = "120 g"\nlength = 0.15\n[route.Up]\nfrom = "M"\nto = "B"\n'
        '[train.pulled]\nroute = "Up"\nconsist = ["mule", "4 ore"]\n'
        '[train.pushed]\nroute = "Up"\nconsist = ["4 ore", "mule"]\n' + lines
    )
    document_of(page, plan)
    outcomes = set()
    for moved, treated in product(({}, {"joint A": 0.01}, {"joint C": 0.01}), ({}, {"Left:2": "treated"})):
        trial = TrialHeights(moved, treated)
        assert_alike(page, plan, trial)
        outcomes |= {train.outcome for train in judged_trains(Layout(tried(plan, trial)))}
    assert len(outcomes) > 2


def test_a_joint_that_stated_rises_tie_is_moved_as_the_package_moves_it(page, plans):
    """What contradicts it gives way; the joints of a leveled plan are all there to be moved."""
    rng, tied = random.Random(13), 0
    for name in ("two-levels", "switchback", "n-mountain"):
        plan = plans[name]
        alone = {each["key"] for each in document_of(page, plan)["heights"]}
        data = document_of(page, plan, yielding=True)
        found = [each for each in data["heights"] if each["key"] not in alone]
        assert {f"joint {joint}" for joint in plan.joints} <= {each["key"] for each in data["heights"]}
        for station in found:
            moved = TrialHeights({station["key"]: station["height_m"] + rng.uniform(-0.003, 0.003)})
            changed, aside = tried_plan(plan, moved)
            assert aside
            assert_alike(page, plan, moved, changed)
            tied += 1
    assert tied


def test_railheads_moved_one_after_the_other_add_up(page, plans):
    plan, rng = plans["two-levels"], random.Random(5)
    heights = {"joint West switch": 0.3213, "joint Quarry switch": 0.3351, "joint Upper terminus": 0.371}
    heights["joint Helix foot"] = 0.0041
    first = tried(plan, TrialHeights(heights))
    data = document_of(
        page, first
    )  # nothing lies level or straight by chance, so that changes of grade stay where they are
    for _ in range(10):
        keys = rng.sample(data["heights"], 3)
        moved = {each["key"]: each["height_m"] + rng.uniform(0.001, 0.01) for each in keys}
        assert_alike(page, first, TrialHeights(moved))


def test_toggled_films_are_judged_as_by_the_package(page, plans):
    rng, done = random.Random(12), 0
    treated = [plan for plan in plans.values() if plan.films]
    for plan, hours in product(treated, (None, 6.0, 30.0)):
        document_of(page, plan, hours)
        for _ in range(-(-40 // (3 * len(treated)))):
            some = rng.sample(sorted(plan.tracks), rng.randint(1, 4))
            rails = {track: rng.choice([CLEAN, *plan.films]) for track in some}
            assert_alike(page, plan, TrialHeights(rails=rails, hours=hours))
            done += 1
    assert done >= 40


def test_rail_box_click_and_plan_view_show_one_state_which_the_verdict_names(page, plans):
    plan, on, units = plans["two-levels"], page.page, units_for(plans["two-levels"])

    def state() -> tuple[str, str, int]:
        treated = on.locator(".plan .track-film").count()
        return on.input_value("#bench-rail"), page.text("#bench-verdict .on"), treated

    stated = sum(track.rail not in {None, CLEAN} for track in plan.tracks.values())
    assert state() == ("as planned", "as planned", stated)
    layout = Layout(plan)
    for column, rails in ((1, layout.judged()), (2, ("treated", "treated fresh"))):
        cells = [on.locator(f"#outcomes-rows td:nth-of-type({column}) {cls}") for cls in (".outcome", ".spare")]
        shown = list(zip(*(each.all_inner_texts() for each in cells), strict=True))
        right = worst_of_each(judged_trains(layout, rails))
        assert shown == [
            (outcome_piece(each.outcome, each.verdict)[0].lower(), units.force(each.verdict.spare)) for each in right
        ]
    heads = on.locator("#outcomes thead th:visible").all_inner_texts()
    assert [each.split("\n")[0] for each in heads] == ["Train", "as planned", "film everywhere", "Place"]
    on.select_option("#bench-rail", "film everywhere")
    assert state() == ("film everywhere", "with film everywhere", len(plan.tracks))
    assert page.text("#bench-verdict").startswith("stalls with film everywhere: ")
    on.select_option("#bench-rail", "clean")
    assert state() == ("clean", "on clean rail", 0)
    on.locator("#film-track").select_option("Helix:2")
    on.locator("#film-toggle").click()
    assert state() == ("as clicked", "as clicked", stated + 1)
    on.select_option("#bench-rail", "as planned")  # what the file says is still there to compare
    assert state() == ("as planned", "as planned", stated)
    on.get_by_role("button", name="Undo").click()
    assert state() == ("as planned", "as planned", stated)
    assert "as clicked" not in page.text("#bench-rail")


def test_a_train_of_ones_own_has_a_row_beside_the_others(page, plans):
    plan, on = plans["two-levels"], page.page
    names = list(plan.trains)
    assert on.locator("#outcomes-rows button").all_inner_texts() == names
    on.get_by_label("How many of vehicle 2").fill("3")
    assert on.locator("#outcomes-rows button").all_inner_texts() == [*names, "your own train"]
    layout, train = Layout(plan), plan.trains[names[0]]
    consist = (train.consist[0], replace(train.consist[1], count=3), *train.consist[2:])
    short = Layout(replace(plan, trains={"short": replace(train, name="short", consist=consist)}))
    (right,) = worst_of_each(judged_trains(short, layout.judged()))
    own = on.locator("#outcomes-rows tr").last.locator("td:nth-of-type(1)")
    assert own.inner_text().split() == [right.outcome, *units_for(plan).force(right.verdict.spare).split()]
    on.get_by_role("button", name=names[1]).click()
    assert on.locator("#outcomes-rows button").all_inner_texts() == names


def test_the_mailed_page_tries_a_railhead_and_a_film_without_a_server(page, plans):
    plan = plans["two-levels"]

    def spare() -> list[str]:
        return page.page.locator("#outcomes-rows td:nth-of-type(1) .spare").all_inner_texts()

    def right(trial: TrialHeights) -> list[str]:
        layout = Layout(tried(plan, trial))
        judged = worst_of_each(judged_trains(layout, layout.judged()))
        units = units_for(plan)
        return [units.force(train.verdict.spare).replace("-", "\u2212") for train in judged]

    before = [text.replace("-", "\u2212") for text in spare()]
    assert before == right(TrialHeights())
    page.page.get_by_role("slider", name="Railhead at West switch").press("Shift+ArrowUp")
    height = {"joint West switch": plan.railhead["West switch"] + 0.01}
    assert [text.replace("-", "\u2212") for text in spare()] == right(TrialHeights(height))
    page.page.locator("#film-track").select_option("Helix:2")
    page.page.locator("#film-toggle").click()
    both = TrialHeights(height, {"Helix:2": "treated"})
    assert [text.replace("-", "\u2212") for text in spare()] == right(both) != before
    page.page.get_by_role("button", name="Undo").click()
    page.page.get_by_role("button", name="Undo").click()
    assert [text.replace("-", "\u2212") for text in spare()] == before
    assert all(url.startswith("file:") for url in page.requested)
