"""The page in a real browser: what it shows, calculates and requests, and how it is used."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

import run_round_plan
import strategies
from demos import answer_of, layout_of, ways_of
from gradehaul.haulage.answers.check import check_layout
from gradehaul.haulage.answers.judged import Misfit, misfits, outcome_of
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.demand import demand, supply
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train, build_train
from gradehaul.haulage.verdict import WORST_FIRST, HeadStretch, Outcome, Verdict, judge
from gradehaul.network.route import Route
from gradehaul.plan import read_plan
from gradehaul.plan.records import Cut, NamedTrain, Plan
from gradehaul.show.base.labels import apart, rail_name
from gradehaul.show.base.unit_format import UnitFormat, unit_rules, units_for
from gradehaul.show.check.outcome_words import SENTENCES, stretch_words
from gradehaul.show.report.document import route_document, stock_document
from gradehaul.show.report.page import report_page
from gradehaul.treatment.ways_over import ways_over

pytest.importorskip("playwright.sync_api")
from show.browser import Opened, opened

DEMOS = ("first-hill", "two-levels", "cove")
MARK = "</script><img src=x onerror=alert(1)>"
HOSTILE = f"""
title = "{MARK}"
scale = "HO"
unit = "in"
railhead."'\\"&<b>" = 0
[line.Line]
from = "'\\"&<b>"
to = "מחצבה"
track = [{{ straight = 60, grade = "2 %", name = "{MARK}" }}, {{ left = 24, angle = 90, name = "🚂" }}]
[rail."{MARK}"]
metal = {{ fresh = 0.75, settled = 0.85 }}
tyred = {{ fresh = 0.50, settled = 0.65 }}
[loco.constructor]
mass = "300 g"
length = "8 in"
title = "{MARK}"
[car.toString]
length = "5.5 in"
[car."{MARK}"]
length = "5.5 in"
[train."{MARK}"]
route = "<!-- {MARK}"
consist = ["constructor", "2 toString", "{MARK}"]
[route."<!-- {MARK}"]
from = "'\\"&<b>"
to = "מחצבה"
"""

DROP = """
scale = "HO"
unit = "in"
railhead.Top = 0
[line.Drop]
from = "Top"
to = "Foot"
track = [
  { straight = 60, berth = "Ledge" },
  { straight = 60, grade = "-9 %" },
  { left = 24, angle = 90, grade = "-9 %" },
]
[loco.mule]
mass = "200 g"
length = "5 in"
[car.ore]
mass = "150 g"
length = "4 in"
rolling = "1 %"
[car.brake]
mass = "60 g"
length = "4 in"
rolling = "2.0 +/- 0.2 %"
"""
"""A slope on which long trains run away."""

KNOT = """
scale = "HO"
unit = "in"
railhead.A = 0
[line.Out]
from = "A"
to = "B"
track = [{ straight = 40 }, { left = 24, angle = 180 }]
[line.Back]
from = "B"
to = "A"
track = [{ straight = 40 }, { left = 24, angle = 180 }]
[loco.mogul]
mass = "300 g"
length = "8 in"
[car.ore]
length = "5.5 in"
"""


def written(plan: Plan | str, path: Path) -> Path:
    """Write the page of a plan, or of a demo plan by name."""
    if isinstance(plan, str):
        layout, answer, ways = layout_of(plan), answer_of(plan), ways_of(plan)
    else:
        layout = Layout(plan)
        answer = check_layout(layout)
        ways = ways_over(layout, answer)
    path.write_text(report_page(layout, answer, ways, units_for(layout.plan)), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def two_levels() -> Layout:
    return layout_of("two-levels")


@pytest.fixture(scope="module")
def pages(tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    found = {name: written(name, folder / f"{name}.html") for name in DEMOS}
    return found | {"hostile": written(read_plan(HOSTILE), folder / "hostile.html")}


@pytest.fixture
def page(browser, pages) -> Iterator[Opened]:
    with opened(browser, pages["two-levels"].as_uri()) as one:
        yield one
        assert one.said == []
        assert one.requested == [pages["two-levels"].as_uri()]


# Calculated in the page


def _random_train(rng: random.Random, plan: Plan, route: str) -> NamedTrain:
    names = rng.choices(list(plan.cars), k=rng.randint(0, 5)) + rng.choices(list(plan.powers), k=rng.randint(1, 3))
    rng.shuffle(names)
    cuts = tuple(Cut(name, rng.randint(1, 8 if name in plan.cars else 2)) for name in names)
    return NamedTrain("any", route, cuts, rng.choice([None, None, 0.85]))


def _random_layouts(count: int, *, lap: bool) -> list[Layout]:
    # without its own train, which may be longer than its lap
    texts = [text[: text.index("[train.")] for text in strategies.some_texts(count, strategies.layouts(lap=lap))]
    taut = "[curve_resistance]\ntension = 0.04\n"
    chosen = [text.replace("[curve_resistance]\n", taut) if k % 3 == 0 else text for k, text in enumerate(texts)]
    return [Layout(read_plan(text)) for text in chosen]


def _runs(layout: Layout) -> list[Route]:
    """Routes run in one direction: those with reversals leg by leg."""
    return [run for route in layout.routes for run in route.legs or (route,)]


SAID = (
    "It stalls with its head at ",
    "It gets through only with care.",
    "It gets through even if the wheels slip, and can stop and start again anywhere.",
    "It must not stop, since it would not start again, ",
    "It would not recover from a slip ",
    "Downhill it runs away: the cars push the locomotives ",
    "Downhill it is held back.",
    " long and does not fit ",
    " long and do not fit ",
)
"""How the sentences begin that a verdict may have."""


def sentences(verdict: Verdict, too_long: Sequence[Misfit], profile: RouteProfile, units: UnitFormat) -> set[str]:
    """Return what the sentences of a verdict have to say, and how those begin that it has."""
    stalls, marginal = verdict.climb == "stalls", verdict.climb == "marginal"
    stretches = [*verdict.stalling, *verdict.running_away]
    stretches += [*verdict.no_stopping, *verdict.no_recovery] if marginal else []
    happens = (
        stalls, marginal, verdict.climb == "climbs", marginal and verdict.no_stopping, marginal and verdict.no_recovery,
        not verdict.holds_back, verdict.holds_back, any(each.kind != "run-round" for each in too_long),
        any(each.kind == "run-round" for each in too_long),
    )  # fmt: skip
    found = {text for text, does in zip(SAID, happens, strict=True) if does}
    place = f"with its head at {units.length(verdict.spare_at)} on {apart(verdict.spare_track)}."
    lacks = f"{units.force(-verdict.spare)} short"
    if verdict.spare >= 0:
        spare = f"It has {units.force(verdict.spare)} to spare where that is least"
    elif verdict.spare_by == "hold":
        spare = f"To be held back it is {lacks} at worst"
    elif stalls:
        spare = f"At worst it is {lacks}"
    else:
        spare = f"It is {lacks} if {'it must start again' if verdict.spare_by == 'restart' else 'the wheels slip'}"
    found.add(f"{spare}, {place}")
    if stalls:
        found.add(f"It stalls with its head at {units.length(verdict.at)} on {apart(verdict.track)}.")
    return (
        found | {stretch_words(each, profile, units) for each in stretches} | {apart(each.place) for each in too_long}
    )


def _cases() -> tuple[list[dict[str, Any]], list[tuple[Verdict, Outcome, set[str], list[str]]]]:
    """300 trains on 45 layouts: laps, berths, planned rails, reversals, run-round, a drop; what the package says."""
    rng = random.Random(20)
    demos = [layout_of(name) for name in ("two-levels", "n-mountain", "switchback")]
    counted = [
        *zip(demos, (40, 30, 10), strict=True),
        (Layout(read_plan(DROP)), 10),
        (Layout(run_round_plan.plan()), 10),
    ]
    counted += [(layout, 5) for lap in (True, False) for layout in _random_layouts(20, lap=lap)]
    cases, wanted = [], []
    for layout, count in counted:
        plan, units = layout.plan, units_for(layout.plan)
        trains = []
        for _ in range(count):
            route = rng.choice(_runs(layout))
            named, rail, profile = _random_train(rng, plan, route.name), rng.choice(layout.rails), layout.profile(route)
            train = build_train(plan, named)
            verdict = judge(profile, train, rail, layout.pulls)
            too_long = misfits(layout, layout.route(route.whole), train)
            consist = [{"name": cut.name, "count": cut.count} for cut in named.consist]
            trains.append({"route": route.name, "rail": rail, "consist": consist, "together": named.together})
            shown = [
                units.force(verdict.spare),
                units.length(verdict.at),
                units.length(verdict.spare_at),
                *(f"{units.length(each.start)} {units.length(each.stop)}" for each in verdict.no_stopping),
            ]
            wanted.append((verdict, outcome_of(verdict, too_long), sentences(verdict, too_long, profile, units), shown))
        document = {
            "units": unit_rules(units),
            "stock": stock_document(layout),
            "routes": [route_document(layout, route) for route in _runs(layout)],
            "outcomes": {"worst_first": WORST_FIRST, "sentences": dict(SENTENCES)},
        }
        cases.append({"document": json.loads(json.dumps(document)), "trains": trains})
    return cases, wanted


JUDGE = """cases => cases.flatMap(({document, trains}) => {
  const stock = Haulage.stockFrom(document.stock), units = UnitFormat.of(document.units);
  return trains.map(({route, rail, consist, together}) => {
    const on = document.routes.find(each => each.name === route);
    const got = Haulage.judge(on, Haulage.madeUp(stock, consist, together, on.run_rounds, on.run_rounds_turn), rail);
    const {given, need, ...verdict} = got;
    const tooLong = Haulage.misfits(on, stock, consist, together), outcomes = document.outcomes;
    const outcome = Words.worst(outcomes, [got.outcome, ...(tooLong.length ? ["too long"] : [])]);
    const stops = got.noStopping.map(([from, to]) => `${units.length(from)} ${units.length(to)}`);
    return [verdict, outcome, Words.verdict(on, units, got, tooLong, outcomes).join(" "),
            [units.force(got.spare), units.length(got.at), units.length(got.spareAt), ...stops]];
  });
})"""


def test_locomotives_too_long_to_run_round_are_known(page):
    layout = Layout(run_round_plan.plan(stub=0.3))
    leg = layout.route("Up, leg 2")
    orders = page.run(
        """({stock, leg}) => ["mule", "pair"].map(name => {
          const consist = [{name, count: 1}, {name: "ore", count: 2}, {name: "log", count: 1}];
          const train = Haulage.madeUp(Haulage.stockFrom(stock), consist, null, leg.run_rounds, leg.run_rounds_turn);
          return [train.blocks.map(block => block.vehicle.name), train.shutIn];
        })""",
        {"stock": stock_document(layout), "leg": route_document(layout, leg)},
    )
    assert orders == [
        [["mule", "log", "ore"], []],
        [["goat", "mule", "log", "ore"], [{"number": 0, "length": pytest.approx(0.35)}]],
    ]


def test_300_trains_have_the_verdict_and_pull_to_spare_of_the_package(page):
    cases, wanted = _cases()
    found = page.run(JUDGE, cases)
    assert len(found) == len(wanted) == 300
    assert {outcome for _, outcome, _, _ in wanted} == set(WORST_FIRST)
    assert {verdict.holds_back for verdict, *_ in wanted} == {True, False}
    assert any(case["document"]["routes"][0]["lap"] for case in cases)

    def near(stretches: tuple[HeadStretch, ...]) -> list[Any]:
        return [pytest.approx([each.start, each.stop], abs=1e-9) for each in stretches]

    for (verdict, outcome, words, shown), (got, shown_outcome, shown_words, shown_shown) in zip(
        wanted, found, strict=True
    ):
        assert (got["climb"], got["outcome"]) == (verdict.climb, verdict.outcome)
        assert shown_outcome == outcome
        assert got["margin"] == pytest.approx(verdict.margin, rel=1e-12, abs=1e-12)
        assert got["track"] == verdict.track
        assert got["spare"] == pytest.approx(verdict.spare, rel=1e-12, abs=1e-12)
        assert (got["spareTrack"], got["spareBy"]) == (verdict.spare_track, verdict.spare_by)
        assert (got["failsAt"]) == pytest.approx(verdict.fails_at, abs=1e-9)
        assert got["runningAway"] == near(verdict.running_away)
        assert got["stalling"] == near(verdict.stalling)
        assert got["noStopping"] == near(verdict.no_stopping)
        assert got["noRecovery"] == near(verdict.no_recovery)
        assert (got["basis"], got["slippingBasis"]) == (verdict.basis, verdict.slipping_basis)
        assert shown_shown == shown
        assert {text for text in SAID if text in shown_words} == {text for text in words if text in SAID}
        assert all(text in shown_words for text in words), shown_words


def test_figures_are_written_as_the_package_writes_them(page):
    rng = random.Random(3)
    values = [rng.uniform(-2, 2) * 10.0 ** rng.randint(-9, 3) for _ in range(200)]
    values += [k / 80000 for k in range(-40, 41)]  # halves of the last digit among them
    for units in (
        UnitFormat("in", "imperial"),
        UnitFormat("mm", "metric", "one-in"),
        UnitFormat("ft", "imperial", "permille", "N"),
    ):
        got = page.run(
            "([rules, values]) => { const t = UnitFormat.of(rules);"
            " return values.map(v => [t.length(v), t.force(v), t.grade(v)]) }",
            [unit_rules(units), values],
        )
        assert got == [[units.length(v), units.force(v), units.grade(v)] for v in values]


# A train made up and pushed along


def assert_verdict(page: Opened, layout: Layout, route: str, consist: list[tuple[str, int]], rail: str) -> None:
    """Compare the sentences for a train that is made up with its verdict."""
    train = build_train(layout.plan, NamedTrain("own", route, tuple(Cut(*cut) for cut in consist)))
    profile, shown = layout.profile(route), page.text("#bench-verdict")
    verdict, too_long = judge(profile, train, rail, layout.pulls), misfits(layout, layout.route(route), train)
    assert all(text in shown for text in sentences(verdict, too_long, profile, units_for(layout.plan))), shown


def test_making_up_a_train(page, two_levels):
    bench = page.page
    bench.select_option("#bench-from", "express")
    bench.select_option("#bench-rail", "film everywhere")  # its worse age
    bench.get_by_label("How many of vehicle 2").fill("7")
    consist = [("consolidation", 1), ("coach", 7)]
    route = "Up by the main"
    assert_verdict(page, two_levels, route, consist, "treated fresh")
    # a helper at the tail, then moved into the middle
    bench.get_by_role("button", name="Add a locomotive").click()
    bench.get_by_label("Vehicle 3 from the head").select_option("tank")
    consist = [*consist, ("tank", 1)]
    assert_verdict(page, two_levels, route, consist, "treated fresh")
    bench.get_by_role("button", name="Nearer the head: tank").click()
    moved = [consist[0], consist[2], consist[1]]
    assert_verdict(page, two_levels, route, moved, "treated fresh")
    assert page.run("document.activeElement.textContent") == "\u2191"
    # taken out again, and the cars too
    bench.get_by_role("button", name="Take out: tank").click()
    bench.get_by_role("button", name="Take out: coach").click()
    assert_verdict(page, two_levels, route, consist[:1], "treated fresh")
    bench.select_option("#bench-route", "Quarry down")
    assert_verdict(page, two_levels, "Quarry down", consist[:1], "treated fresh")


def test_a_train_without_a_locomotive_is_shown(page):
    page.page.get_by_label("Vehicle 1 from the head").select_option("coach")
    page.page.get_by_label("Vehicle 4 from the head").select_option("coach")
    assert "needs a locomotive" in page.text("#bench-verdict")
    assert not page.page.locator("#bench-result").is_visible()


def test_the_slider_by_keyboard(page, two_levels):
    bench, plan = page.page, two_levels.plan
    assert bench.input_value("#bench-rail") == "as planned"
    assert page.text("#bench-facts").endswith("Judged on rail as planned (fresh): fresh or rested, whichever is worse.")
    bench.focus("#bench-head")
    train: Train = build_train(plan, plan.trains["stone"])
    profile, units = two_levels.profile("Up by the siding"), units_for(plan)
    need, given_ = demand(profile, train), supply(profile, train, "as planned fresh", two_levels.pulls)
    for keys in (["Home"], ["PageUp", "ArrowRight"], ["End"]):
        for key in keys:
            bench.keyboard.press(key)
        share = int(bench.input_value("#bench-head")) / 1000
        head = need.running.start + (need.running.stop - need.running.start) * share
        assert page.text("#at-run") == units.force(need.running(head))
        assert page.text("#at-start") == units.force(need.starting(head))
        assert not isinstance(given_.standing, float)
        assert page.text("#at-stand") == units.force(given_.standing(head))
        assert page.text("#at-place").startswith(units.length(head))
        got = bench.get_attribute("#bench-head", "aria-valuetext") or ""
        assert page.text("#at-run") in got
    bench.get_by_role("button", name="Hardest place", exact=True).click()
    verdict = judge(profile, train, "as planned fresh", two_levels.pulls)
    assert page.text("#at-spare") == units.force(verdict.spare)


ON_JOINTS = """
title = "A stall on a joint"
scale = "H0"
unit = "mm"
railhead.Foot = 0
carry_over.length = 0
[line.Hill]
from = "Foot"
to = "Top"
track = [
  { name = "Yard", straight = 2100.1, rise = 0, berth = "Foot yard" },
  { name = "Slope", straight = 1700.3, grade = "2.43 %" },
  { name = "Ramp", straight = 1533.6, grade = "4.03 %", rail = "treated" },
  { name = "Shelf", straight = 1500, rise = 0, berth = "Top yard" },
]
[loco.mogul]
mass = "300 g"
length = "200 mm"
[loco.mogul.pull]
clean = "60 gf"
treated = "30 gf"
[car.ore]
mass = "100 g"
length = "140 mm"
[route.Up]
from = "Foot yard"
to = "Top yard"
[train.ore]
route = "Up"
consist = ["mogul", "9 ore"]
"""


def test_on_a_joint_the_sliders_name_the_track_of_the_verdict_and_its_grade(browser, tmp_path):
    with opened(browser, written(read_plan(ON_JOINTS), tmp_path / "joint.html").as_uri()) as one:
        assert "It stalls with its head at 3800 mm on Ramp" in one.text("#bench-verdict")
        one.run("() => document.querySelector('details.route figure').scrollIntoView()")
        one.page.wait_for_selector("details.route svg")
        assert one.text("#at-place") == "3800 mm, on Ramp"
        assert "on Ramp: railhead 41 mm, effective grade 4.03 %" in one.text("output.readout")


def test_a_route_with_reversals_leg_by_leg(browser, tmp_path):
    layout = layout_of("switchback")
    plan, profile = layout.plan, layout.profile("Down to the mill")
    train = build_train(plan, plan.trains["stone"])
    with opened(browser, written("switchback", tmp_path / "page.html").as_uri()) as one:
        one.show_all()
        assert one.page.locator("details.route svg").count() == sum(len(route.legs) for route in layout.routes)
        for shown, rail in (("clean", "clean"), ("film everywhere", "treated fresh")):
            one.page.select_option("#bench-rail", shown)
            for leg in profile.legs:
                one.page.select_option("#bench-route", leg.route.name)
                title = one.page.locator("#bench-section svg").get_attribute("aria-label")
                assert title.startswith(f"Long section of leg {leg.route.name} ")
                verdict = judge(leg, train, rail, layout.pulls)
                got = one.text("#bench-verdict")
                assert all(text in got for text in sentences(verdict, (), leg, units_for(plan)))
            outcomes = [judge(leg, train, rail, layout.pulls).outcome for leg in profile.legs]
            assert "".join(f"leg {k} {outcome}, " for k, outcome in enumerate(outcomes, 1)).removesuffix(", ") in got
        assert one.said == []


def test_a_train_that_only_goes_down_holds_back(browser, tmp_path):
    layout = layout_of("landing")
    path = tmp_path / "page.html"
    path.write_text(report_page(layout, answer_of("landing"), (), units_for(layout.plan)), encoding="utf-8")
    with opened(browser, path.as_uri()) as one:
        shown = dict(
            zip(
                one.page.locator("#outcomes-rows th").all_inner_texts(),
                one.page.locator("#outcomes-rows td:nth-of-type(1) .outcome").all_inner_texts(),
                strict=True,
            )
        )
        assert shown == {"loads": "held back", "empties": "climbs"}
        for train, outcome in shown.items():
            one.page.get_by_role("button", name=train, exact=True).click()
            assert one.text("#bench-verdict").startswith(f"{outcome} on clean rail: It gets through even if")


def test_a_train_that_runs_away_is_shown_so(browser, tmp_path):
    layout = layout_of("landing")
    path = tmp_path / "page.html"
    answer = answer_of("landing", ("treated", "treated fresh"))
    path.write_text(report_page(layout, answer, (), units_for(layout.plan)), encoding="utf-8")
    with opened(browser, path.as_uri()) as one:
        assert "1 of 2 trains runs away: loads (on Hill:5);" in one.text(".summary")
        spare = one.page.locator("tr", has_text="loads").locator(".spare").all_inner_texts()
        assert spare
        assert set(spare) == {units_for(layout.plan).force(layout.verdict("loads", rail="treated fresh").spare)}
        # the worse age counts, and the rail strip shows the rail of the pull below
        assert one.page.input_value("#bench-rail") == "treated"
        assert "Judged on rail treated fresh" in one.text("#bench-facts")
        assert one.text("#bench-verdict").startswith("runs away on treated rail: Downhill it runs away: the cars push")
        section = one.page.locator("#bench-section svg")
        assert "Rail, treated: solid is clean, dashed has film" in section.text_content()
        assert section.locator(".bed:not(.treated)").count() == 0
        bars = section.locator(".bar.away")
        verdict = layout.verdict("loads", rail="treated fresh")
        assert bars.count() == len(verdict.running_away) == 3
        assert one.page.locator("#plan-view .care.away").count() >= 3
        assert one.text("#at-place") == f"{units_for(layout.plan).length(verdict.fails_at)}, on Hill:5"
        assert one.text("#at-does") == "runs away here: the cars push the locomotives"
        slider = one.page.locator("#bench-head")
        first = verdict.running_away[0]
        start, stop = 1.0, layout.profile("Down to the pond").length
        slider.fill(str(round(1000 * (0.5 * (first.start + first.stop) - start) / (stop - start))))
        assert one.text("#at-does") == "runs away here: the cars push the locomotives"
        assert "runs-away" in one.page.get_attribute("#at-does", "class")
        one.page.select_option("#bench-rail", "clean")
        assert one.text("#bench-verdict").startswith("held back on clean rail: ")
        assert section.locator(".bed.treated").count() == 0
        assert section.locator(".bar.away").count() == 0
        assert one.said == []


# Linked


def test_pointing_at_one_section_marks_the_others(page):
    figures = page.page.locator("details.route figure")
    for k in range(3):
        figures.nth(k).scroll_into_view_if_needed()
        page.page.wait_for_selector(f"details.route >> nth={k} >> svg")
    box = figures.nth(0).bounding_box()
    assert box is not None
    figures.nth(0).scroll_into_view_if_needed()
    figures.nth(0).click(position={"x": box["width"] * 0.3, "y": 80})
    got = [page.page.locator("output.readout").nth(k).inner_text() for k in range(3)]
    assert all("on Three turns" in words for words in got)
    # the way down passes the same spot at the same height
    heights = {words.split("railhead ")[1].split(",")[0] for words in got}
    assert len(heights) == 1
    page.page.locator("details.route input[type=range]").nth(2).focus()
    page.page.keyboard.press("End")
    got = [page.page.locator("output.readout").nth(k).inner_text() for k in (0, 2)]
    assert got[0].startswith("At 0 mm")
    assert "Staging:1" in got[1]


def test_each_section_zooms_by_itself_and_follows_what_is_pointed_at(page, two_levels):
    page.show_all()
    first, second = (page.page.locator("details.route").nth(k) for k in range(2))
    length = 1000 * two_levels.profile(two_levels.routes[0]).length

    def span(section) -> list[float]:
        page.run("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
        return [float(each) for each in re.findall(r"[\d.]+", section.locator(".zoom output").text_content())]

    slider = first.locator("input[type=range]")
    slider.press("Home")
    for _ in range(2):
        first.get_by_role("button", name="Zoom in").click()
    assert span(first) == pytest.approx([0, length / 4], abs=1)
    assert span(second) == []
    assert first.locator(".long-section").get_attribute("aria-label").endswith(f"from 0 mm to {length / 4:.0f} mm")
    figure = first.locator("figure svg")
    box = figure.bounding_box()
    figure.hover(position={"x": 0.5 * (box["width"] + 42), "y": 80})  # in the middle of what is shown
    at = float(first.locator("output.readout").inner_text().split(" mm")[0].removeprefix("At "))
    assert at == pytest.approx(length / 8, abs=length / 4 / 500)
    slider.press("End")
    assert span(first) == pytest.approx([length * 3 / 4, length], abs=1)
    assert first.locator(".mark-dot").is_visible()
    slider.press("Home")
    second.locator("input[type=range]").press("End")  # marks the same track on the first, which is not seen there
    assert span(first) == pytest.approx([0, length / 4], abs=1)
    assert not first.locator(".mark-dot").is_visible()
    first.get_by_role("button", name="Show the whole section").click()
    assert span(first) == []


def test_the_plan_view_and_the_sections_are_linked(page, two_levels):
    page.show_all()
    box = page.page.locator("figure.plan svg").bounding_box()
    assert box is not None

    def dot() -> tuple[float, float]:
        got = page.page.locator("figure.plan .mark-dot")
        return float(got.get_attribute("cx") or "nan"), float(got.get_attribute("cy") or "nan")

    # from a section to the plan view: the ends of the route are as far apart as they lie in the plane
    slider = page.page.locator("details.route input[type=range]").first
    ends = []
    for key in ("Home", "End"):
        slider.press(key)
        ends.append(dot())
    places = two_levels.alignment.positions.joints
    start, stop = places["Staging end"].pose, places["Upper terminus"].pose
    bar = page.run("document.querySelector('.scale-bar').getBBox().width")
    length = float((page.page.locator(".scale-bar + text").text_content() or "").removesuffix(" mm")) / 1000
    across, up = ((second - first) / bar * length for first, second in zip(*ends, strict=True))
    assert (across, -up) == pytest.approx((stop.x - start.x, stop.y - start.y), abs=0.03)

    # and back: a click at the terminus marks it on both ways there and brings the train
    page.page.locator("figure.plan").click(position={"x": ends[1][0], "y": ends[1][1]})
    got = page.page.locator("output.readout").all_inner_texts()
    assert ["Terminus line" in words for words in got] == [True, True, False]
    assert "Terminus line" in page.text("#at-place")
    assert page.page.locator("figure.plan .block.loco").count() == 2


def test_what_cannot_be_drawn_is_shown(browser, tmp_path):
    knot = KNOT.replace("angle = 180 }]", "angle = 150 }]")
    for text, got in ((KNOT, False), (knot, True)):
        with opened(browser, written(read_plan(text), tmp_path / "page.html").as_uri()) as one:
            assert (one.page.locator("figure.plan svg").count() == 0) == got
            assert ("nothing can be drawn in its place" in one.text("#plan-view")) == got
            assert one.said == []


# Tables


def test_sorting_by_mouse_and_keyboard(page):
    table = page.page.locator("#loads table").first
    heads = table.locator("thead th")

    def column(number: int) -> list[str]:
        return table.evaluate(
            "(t, n) => [...t.tBodies[0].rows].map(r => r.cells[n].querySelector('bdi').textContent)", number
        )

    def cars(column_number: int) -> list[int]:
        return [int(text.split()[0]) for text in column(column_number)]

    assert [head.inner_text() for head in heads.all()[:4]] == ["route", "power", "car", "as planned (90 % range)"]
    numbers = cars(3)
    assert numbers != sorted(numbers)
    heads.nth(3).get_by_role("button").click()
    assert cars(3) == sorted(numbers)
    assert heads.nth(3).get_attribute("aria-sort") == "ascending"
    heads.nth(3).get_by_role("button").focus()
    page.page.keyboard.press("Enter")
    assert cars(3) == sorted(numbers, reverse=True)
    assert heads.nth(3).get_attribute("aria-sort") == "descending"
    heads.nth(2).get_by_role("button").click()
    assert column(2) == sorted(column(2))
    assert heads.nth(3).get_attribute("aria-sort") == "none"


def test_every_load_and_figure_of_the_answer_is_in_the_tables(page):
    answer = answer_of("two-levels")

    def rows(selector: str) -> list[list[str]]:
        return page.run(
            "s => [...document.querySelectorAll(s)].map(r => [...r.cells].map(c => c.textContent.trim()))", selector
        )

    loads = {tuple(row[:3]): row[4:] for row in rows("#loads > .scroll tbody tr")}
    for route in answer.routes:
        for load in route.loads:
            cell = loads[route.route.name, load.power, load.car][answer.rails.index(load.rail)]
            assert cell.startswith(f"{load.to_run} ")
            assert re.search(rf" / {load.limit}( \(\d+-\d+\))? {load.basis}", cell)
    verdicts = rows("#verdict details tbody tr")
    assert len(verdicts) == len(answer.trains)
    for train in answer.trains:
        assert [rail_name(train.rail), train.outcome] in [row[:2] for row in verdicts]
    figures = {(row[0], row[1]): row[3] for row in rows("#assumed details tbody tr")}
    assert all(figures[each.subject, each.name] == each.basis for each in answer.figures)
    assert len(rows("#berths tbody tr")) == len(answer.berths)


# Looks


@pytest.mark.parametrize("name", [*DEMOS, "hostile"])
def test_on_a_phone_nothing_is_wider_all_that_scrolls_is_reached_and_no_value_is_as_the_program_has_it(
    browser, pages, name
):
    from axe_playwright_python.sync_playwright import Axe

    with opened(browser, pages[name].as_uri(), width=360) as one:
        one.show_all()
        assert one.run("document.documentElement.scrollWidth") <= 360
        scrolled = one.page.locator(".scroll:has(.sortable, #outcomes)")
        assert scrolled.evaluate_all("all => all.filter(each => each.scrollWidth > each.clientWidth).length") == 0
        shown = one.text("body")
        assert len(shown) > 1000
        assert "('" not in shown
        assert not re.search(r"\b(None|undefined|NaN)\b", shown)
        if name == "hostile":
            found = Axe().run(one.page, options={"runOnly": ["scrollable-region-focusable", "landmark-unique"]})
            assert found.violations_count == 0, found.generate_report()
        assert one.said == []


def test_dark_where_the_reader_wants_it(browser, pages):
    def brightness(one: Opened, what: str) -> float:
        color = one.run(f"getComputedStyle(document.documentElement).{what}")
        return sum(map(int, color.removeprefix("rgb(").removesuffix(")").split(","))) / 3

    with opened(browser, pages["cove"].as_uri(), color_scheme="dark") as one:
        assert brightness(one, "backgroundColor") < 60 < 190 < brightness(one, "color")
    with opened(browser, pages["cove"].as_uri(), color_scheme="light") as one:
        assert brightness(one, "backgroundColor") > 190 > 60 > brightness(one, "color")


def test_printing_draws_every_long_section_and_closes_those_again_that_were_closed(page):
    page.run("document.querySelectorAll('details.route').forEach((each, k) => { each.open = k === 0 })")
    page.run(
        "addEventListener('beforeprint', () => { window.shown = [...document.querySelectorAll('details.route')]"
        ".map((each) => each.open && each.querySelector('svg').getBoundingClientRect().height) })"
    )
    pdf = page.page.pdf(format="A4")  # of the browser itself, so by the page's own script
    assert pdf.startswith(b"%PDF")
    assert 4 <= pdf.count(b"/Type /Page\n") <= 30
    shown = page.run("window.shown")
    assert len(shown) == 3
    assert all(height > 100 for height in shown)
    assert page.page.locator("details.route[open]").count() == 1
    page.page.emulate_media(media="print")
    assert not page.page.locator("#train-form").is_visible()
    assert not page.page.locator("nav").is_visible()
    for shown in (".summary", "#cautions", "#bench-section svg", "#loads table"):
        assert page.page.locator(shown).first.is_visible()
    page.show_all()
    assert page.page.locator("details.route svg").count() == 3


def test_the_key_shows_what_is_drawn_and_no_more(browser, pages):
    with opened(browser, pages["two-levels"].as_uri()) as one:
        assert "film planned" in one.page.locator("#plan-view").text_content()
        key = one.page.locator("#plan-train-key")
        assert key.is_visible()
        shown = {words for words in ("locomotives", "cars", "must not stop", "stalls") if words in key.inner_text()}
        assert {"locomotives", "cars"} <= shown
        drawn = {name: one.page.locator(f"figure.plan .care.{name}").count() > 0 for name in ("stall", "no-stop")}
        assert ("stalls" in shown, "must not stop" in shown) == (drawn["stall"], drawn["no-stop"])
    with opened(browser, pages["cove"].as_uri()) as one:
        assert "film planned" not in one.page.locator("#plan-view").text_content()


def test_without_script_the_answer_is_there(browser, pages):
    page = browser.new_page(java_script_enabled=False)
    page.goto(pages["two-levels"].as_uri())
    got = page.inner_text("body")
    for words in (
        "All 3 trains get through as planned",
        "get through even if the wheels slip",
        "needs JavaScript",
        "Ruling grade 3.99 %",
    ):
        assert words in got
    page.close()


# Safe


def test_hostile_names_are_text(browser, pages):
    with opened(browser, pages["hostile"].as_uri()) as one:
        one.show_all()
        assert one.page.locator("h1").inner_text() == MARK
        assert MARK in one.text("#verdict > .scroll tbody th")
        assert one.page.locator("img, b").count() == 0
        assert one.page.locator("script").count() == 2
        got = one.page.content()
        assert got.count("<img") == 0
        names = one.run("[...document.querySelectorAll('svg text')].map(t => t.textContent)")
        assert any(name.startswith("'\"&<b>") for name in names)
        assert "מחצבה" in names
        assert one.run("document.querySelector('#bench-from').value") == MARK
        assert "to spare" in one.text("#bench-verdict")
        assert one.page.locator("#consist select").nth(1).input_value() == "toString"
        assert "🚂" in one.page.content()
        assert (one.said, one.requested) == ([], [pages["hostile"].as_uri()])


def test_the_page_lets_nothing_else_run(browser, pages):
    with opened(browser, pages["cove"].as_uri()) as one:
        ran, blocked = one.run(
            """() => new Promise(done => {
              const seen = new Set();
              document.addEventListener('securitypolicyviolation', event => seen.add(event.effectiveDirective));
              const put = (name, more) => document.body.append(Object.assign(document.createElement(name), more));
              put('script', { textContent: 'window.ran = true' });
              put('style', { textContent: 'body { display: none }' });
              put('img', { src: 'http://localhost:9/x.png' });
              setTimeout(() => done([window.ran === true, [...seen].sort()]), 100);
            })"""
        )
        assert not ran
        assert blocked == ["img-src", "script-src-elem", "style-src-elem"]
        names = set(one.run("[...document.querySelectorAll(':not(.handle)')].flatMap(e => e.getAttributeNames())"))
        assert not [name for name in names if name.startswith("on")]
        assert "style" not in names


# For everybody


def test_every_control_is_reached_by_the_tab_key(page):
    page.page.locator("body").press("Tab")
    reached = set()
    for _ in range(120):
        reached.add(page.run("(e => e.id || e.className || e.textContent)(document.activeElement)"))
        page.page.keyboard.press("Tab")
    for control in (
        "bench-from",
        "bench-route",
        "bench-rail",
        "add-car",
        "together",
        "bench-head",
        "to-worst",
    ):
        assert control in reached
