"""The first screen of check: its limits on every plan, its figures those of the document, and its words."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest
from click.testing import CliRunner
from rich.cells import cell_len

import strategies
from command_line import loaded
from demos import DEMOS, answer_of, layout_of, ways_of
from gradehaul.command import main
from gradehaul.design.clearance.findings import failing_places
from gradehaul.haulage.answers.check import CheckAnswer, check_layout
from gradehaul.haulage.answers.judged import Misfit, worst_of_each
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.verdict import WORST_FIRST
from gradehaul.plan import read_plan
from gradehaul.plan.records import Note
from gradehaul.show import CHECK as SECTIONS
from gradehaul.show.base.labels import basis_words, cars_words, chance_words, rail_name
from gradehaul.show.base.page import FULL, shortened
from gradehaul.show.base.unit_format import UnitFormat, units_for, units_of
from gradehaul.show.check.outcome_words import spare_words
from gradehaul.show.check.route_text import DOWNHILL, judged_words
from gradehaul.show.check.text import check_page
from gradehaul.treatment.ways_over import WaysOver, ways_over
from project import PLANS

TRAIN = re.compile(
    r"^(.+?)  +(STALLS|RUNS AWAY|TOO LONG|marginal|climbs|held back) +([<>]?\d+ %|–) +(-?[\d.]+ \w+|–)  "
)

Shown = tuple[CheckAnswer, UnitFormat, str]


def shown(layout: Layout, answer: CheckAnswer, ways: tuple[WaysOver, ...] | None = None) -> Shown:
    units = units_for(layout.plan)
    fails = failing_places(layout)
    answer = replace(answer, clearance_fails=None if fails is None else len(fails))
    return answer, units, check_page(answer, units, ways_over(layout, answer) if ways is None else ways).text()


@pytest.fixture(scope="module", params=DEMOS)
def demo(request: pytest.FixtureRequest) -> Shown:
    return shown(layout_of(request.param), answer_of(request.param), ways_of(request.param))


def within_limits(answer: CheckAnswer, text: str, most: int = 40) -> None:
    """Check the limits: lines, columns, and lines that are no row of a train, a hill or its loads."""
    lines = text.splitlines()
    assert len(lines) <= most
    conditions = len({rail.removesuffix(" fresh") for rail in (*answer.judged_rails, *answer.film_rails)})
    assert max(map(len, lines)) <= (80 if conditions <= 2 else 100)
    loads = lines[next((k for k, line in enumerate(lines) if line.startswith("Longest trains")), len(lines)) + 2 :]
    loads = loads[: loads.index("")] if loads else []
    rows = sum(bool(TRAIN.match(line)) for line in lines) + len(loads)
    doubts = sum(line.startswith("Look at this") for line in lines)  # of at most three lines each
    fixes = sum(line.startswith(("Parked cars", *(f"{name}: " for name in answer.plan.trains))) for line in lines)
    clearance = answer.clearance_fails != 0  # a line above the rows, as doubts are
    assert sum(bool(line) for line in lines) - rows - 2 * fixes - 3 * doubts - clearance <= 12


def test_the_limits_hold_on_every_demo_plan(demo: Shown) -> None:
    answer, _, text = demo
    within_limits(answer, text, 60 if "yard" in answer.plan.file else 40)


def test_a_terminal_of_80_columns_wraps_nothing(demo: Shown) -> None:
    answer, units, text = demo
    page = check_page(answer, units)
    assert page.text(width=80) == page.text(width=160) == page.text()
    assert re.sub(r"\x1b\[[0-9;]*m", "", page.text(width=80, color=True)) == page.text()
    assert text


def figures_agree(answer: CheckAnswer, units: UnitFormat, text: str) -> int:
    """Compare the rows of trains and loads with the document, and return how many were compared."""
    document = answer.to_dict()
    compared = 0
    for name in {train["name"] for train in document["trains"]}:
        judged = [each for each in document["trains"] if each["name"] == name and each["rail"] in answer.judged_rails]
        row = next((found for line in text.splitlines() if (found := TRAIN.match(line)) and found[1] == name), None)
        if row is None:
            continue
        shown_on = (*answer.judged_rails, *answer.film_rails)
        place_agrees(
            row.string,
            [each for each in document["trains"] if each["name"] == name and each["rail"] in shown_on],
            units,
        )
        risk, spare = row[3], row[4]
        assert (risk, spare) in {
            (chance_words(each["risk"]), units.force(each["spare_n"])) if each["outcome"] != "too long" else ("–", "–")
            for each in judged
        }
        route = next(each for each in document["routes"] if each["name"] == judged[0]["route"])
        goes = "climbs" if route["climb_m"] or not route["fall_m"] else "held back"
        assert row[2].lower() in {goes if each["outcome"] == "climbs" else each["outcome"] for each in judged}
        compared += 1
    for route in document["routes"]:
        compared += loads_agree(route, answer, units, text)
    return compared


def place_agrees(row: str, every: list[dict[str, Any]], units: UnitFormat) -> None:
    """Compare the place at the end of a train's row with that of the worst condition shown."""
    worst = min(every, key=lambda each: (WORST_FIRST.index(each["outcome"]), each["spare_n"]))
    place = re.split(r"  +", row)[-1]
    wanted = worst["spare_track"], f"{worst['spare_track']}, {units.length(worst['spare_at_m'])}"
    assert place in wanted or (place[-1] == "…" and wanted[0].startswith(place[:-1])), (place, wanted)


def loads_agree(route: dict[str, Any], answer: CheckAnswer, units: UnitFormat, text: str) -> int:
    """Compare the loads below the heading of a route with the document."""
    lines = text.splitlines()
    begin = next((k for k, line in enumerate(lines) if re.match(rf"{re.escape(route['name'])}(,| and|:) ", line)), None)
    if begin is None:
        return 0
    grade = route["ruling"]["effective_pct"]
    assert (units.grade(grade / 100) if grade > 0 else "level" if grade == 0 else DOWNHILL) in lines[begin]
    compared = 0
    for line in lines[begin + 1 :]:
        if not line.startswith("  "):
            break
        power, *cells = re.split(r"  +", line.strip())
        heads = re.split(r"  +", next(line for line in lines[::-1] if line.startswith("      ")).strip())
        for car, cell in zip(heads, cells, strict=True):
            mine = [
                load
                for load in route["loads"]
                if shortened(load["car"], 18) == car and power in (load["power"], f"{load['power']}, {load['engine']}")
            ]
            wanted = {load_words(load) for load in mine if load["rail"] in answer.judged_rails}
            film = {load_words(load).split(" ")[0] for load in mine if load["rail"] in answer.film_rails}
            own, _, with_film = cell.partition(" | ")
            assert re.sub(r" (berth|tail|lap|route|loop|turntable|run-round|downhill)$", "", own) in wanted
            assert not film or with_film.split(" ")[0] in film
            compared += 1
    return compared


def load_words(load: dict[str, Any]) -> str:
    if not load["holds_back"]:
        return "RUNS AWAY"
    if load["told_low"] == load["fits_cars"] <= load["rated_cars"]:
        return cars_words(load["fits_cars"])
    if load["told_low"] == load["told_high"]:
        return cars_words(load["told_cars"])
    return f"{load['told_cars']} ({cars_words(load['told_low'])}-{cars_words(load['told_high'])})"


def test_every_figure_is_that_of_the_document(demo: Shown) -> None:
    assert figures_agree(*demo) > 0


def test_limits_hold_and_figures_are_those_of_the_document_on_random_plans() -> None:
    compared = 0
    for text in strategies.some_texts(16, strategies.layouts(most=4)):
        layout = Layout(read_plan(text))
        answer, units, first = shown(layout, check_layout(layout))
        within_limits(answer, first, 60)
        compared += figures_agree(answer, units, first)
        lines = check_page(answer, units, (), SECTIONS).text().splitlines()
        assert max(map(cell_len, lines)) <= FULL  # every section fits a usual terminal
    assert compared > 20


def test_more_all_prints_every_figure_of_the_answer(demo: Shown) -> None:
    answer, units, _ = demo
    text = " ".join(check_page(answer, units, (), SECTIONS).text().split())
    wanted: list[str] = []
    for train in answer.trains:
        verdict = train.verdict
        wanted += [units.length(train.length), spare_words(train.outcome, verdict, units)]
        wanted += [units.length(verdict.spare_at), verdict.spare_track]
        wanted += ["–" if train.outcome == "too long" else chance_words(train.risk), rail_name(train.rail), train.route]
    for route in answer.routes:
        profile, ruling = route.profile, route.ruling
        wanted += [units.length(each) for each in (profile.length, profile.climb, profile.fall)]
        if ruling.effective:
            wanted += [units.length(ruling.start), *map(units.grade, (ruling.effective, ruling.grade, ruling.curve))]
        for load, spread in zip(route.loads, route.spreads, strict=True):
            between = cars_words(spread.limit_low), cars_words(spread.limit_high)
            limit = cars_words(load.limit) + (f" ({'-'.join(between)})" if between[0] != between[1] else "")
            wanted += [f"{judged_words(route, load)} {limit} {basis_words(load.basis, load.slipping_basis)}"]
            if load.binds is not None:
                wanted += [*units.forces_apart(load.binds.demand, load.binds.pull), units.length(load.binds.at)]
    for berth in answer.berths:
        wanted += [berth.name, units.length(berth.clear_length), units.grade(berth.steepest)]
        fits = [f"{count}{'' if berth.cars_stay[car] else ' ROLL'}" for car, count in berth.cars_fit.items()]
        wanted += [" ".join((units.grade(berth.steepest), *fits))]
    wanted += [figure.basis for figure in answer.figures] + [str(note) for note in answer.notes]
    assert [words for words in wanted if words not in text] == []


# The words


def test_what_happens_alike_as_judged_and_with_film_everywhere_is_said_once() -> None:
    text = (PLANS / "first-hill.toml").read_text(encoding="utf-8").replace('"7 boxcar"', '"60 boxcar"')
    layout = Layout(read_plan(text))
    first = shown(layout, check_layout(layout))[2]
    assert re.search(r"^On clean rail and with film everywhere local stalls on .+\.$", first, flags=re.MULTILINE)
    assert first.count("film everywhere local") == 1


def test_unusual_figures_stand_above_the_verdict(answer: CheckAnswer) -> None:
    doubts = tuple(Note(f'car "{k}"', "the mass is 145 oz; 2 to 8 oz is usual") for k in range(5))
    text = check_page(replace(answer, doubts=doubts), units_of("in")).text()
    assert text.index('Look at this first: car "0": the mass is 145 oz') < text.index("\nOn clean rail 1 of 2")
    assert "2 more like this: --more notes" in text


def test_what_was_not_checked_is_in_the_headline(answer: CheckAnswer) -> None:
    left = "train morning, since its route is not answered"
    some = tuple(train for train in answer.trains if train.name != "morning")
    text = " ".join(check_page(replace(answer, trains=some, not_checked=(left,)), units_of("in")).text().split())
    assert f"On clean rail 1 of 2 trains gets through. NOT CHECKED: {left}." in text
    text = " ".join(check_page(replace(answer, trains=(), not_checked=(left,)), units_of("in")).text().split())
    assert f"No train is judged. NOT CHECKED: {left}." in text


def test_trains_that_fail_have_a_line_on_what_to_do(answer: CheckAnswer) -> None:
    long = Misfit('berth "Wharf"', "berth", 2.54, 2.50)
    trains = tuple(replace(each, misfits=(long,)) if each.name == "short" else each for each in answer.trains)
    text = check_page(replace(answer, trains=trains), units_of("in")).text()
    what = 'short: it is 100.0 in long and does not fit berth "Wharf", which holds 98.4 in. With 1 (.+) fewer it fits.'
    fewer = re.search(what, " ".join(text.split()))
    assert fewer is not None
    assert fewer[1] in answer.plan.cars
    assert re.search(r"^short +TOO LONG +– +–  ", text, flags=re.MULTILINE)
    film = shown(layout_of("first-hill"), answer_of("first-hill", ("treated", "treated fresh")))[2]
    assert "local: leave 6 of its 8 cars behind, from the tail: the other 2 climb." in film


def run(name: str, *arguments: str) -> str:
    done = CliRunner().invoke(main, ["check", str(PLANS / f"{name}.toml"), *arguments])
    assert done.exit_code == 0, done.output
    return done.stdout


def test_sections_come_by_name_with_commas_and_again() -> None:
    heads = {"berths": "\nBerths\n", "figures": "\nFigures\n", "notes": "\nNotes\n", "limits": "\nWhat limits each"}
    text = run("cove", "--more", "berths,Figures", "--more", "limits")
    assert {name for name, head in heads.items() if head in text} == {"berths", "figures", "limits"}
    assert run("cove", "--more", "all") == run("cove", "--more", ",".join(SECTIONS))


def test_a_section_train_or_route_that_is_not_there() -> None:
    for option, wrong, near in (
        ("--more", "berth", "berths"),
        ("--train", "stoen", "stone"),
        ("--route", "Up", "Up by"),
    ):
        done = CliRunner().invoke(main, ["check", str(PLANS / "two-levels.toml"), option, wrong])
        assert done.exit_code == 2
        assert near in done.stderr


def test_trains_and_routes_narrow_the_answer() -> None:
    text = run("two-levels", "--train", "stone", "--train", "empties")
    assert "Both trains get through as planned" in text
    assert not re.search(r"^(express|Up by the main)", text, flags=re.MULTILINE)
    text = run("two-levels", "--route", "Up by the main")
    assert "express gets through as planned" in text
    assert "Quarry down" not in text
    text = run("two-levels", "--rail", "treated", "--rail", "treated fresh")
    assert "On treated rail 1 of 3 trains stalls: stone" in text


def test_the_answer_loads_no_library_that_it_does_not_need() -> None:
    heavy = {"pint", "matplotlib", "scipy", "ezdxf", "tomlkit", "rich.console"}
    assert loaded(PLANS / "first-hill.toml", "check") & heavy == set()


def test_loads_that_descents_limit_leave_kinds_of_car_out_before_a_line_is_too_wide() -> None:
    cars = "".join(f'car."ore wagon {k}" = {{ mass = "300 g", length = 120, rolling = "0.5 %" }}\n' for k in range(4))
    plan = read_plan(
        f"""scale = "HO"
unit = "mm"
railhead = {{ Top = 400, Foot = 0 }}
line.Hill = {{ from = "Top", to = "Foot", track = [{{ straight = 10000 }}] }}
route.Down = {{ from = "Top", to = "Foot" }}
loco."little old switcher" = {{ mass = "60 g", length = 90, pull.clean = "12 gf" }}
{cars}"""
    )
    answer, _, text = shown(layout := Layout(plan), check_layout(layout))
    assert " downhill" in text
    within_limits(answer, text)
    assert "more kinds of car: --more loads" in text


def test_a_route_that_only_falls_is_not_called_level() -> None:
    words = run("landing")
    assert "Down to the pond: downhill or level all the way\n" in words
    assert "10 berth | 4 (4-7) downhill" in words


@pytest.mark.parametrize(("cars", "likely"), [(3, False), (4, True)])
def test_a_marginal_train_that_may_well_stall_is_said_to(cars: int, likely: bool) -> None:
    text = (PLANS / "first-hill.toml").read_text("utf-8").replace('"7 boxcar"', f'"{cars} boxcar"')
    answer, units, first = shown(layout := Layout(read_plan(text)), check_layout(layout))
    (train,) = worst_of_each(answer.on(answer.film_rails))
    assert train.outcome == "marginal"
    assert (train.risk >= 0.1) == likely
    left = f"gripping wheels have only {units.force(train.verdict.margin)} left"
    assert (left in " ".join(first.split())) == likely


def test_a_train_too_long_for_two_places_must_be_shorter_by_what_the_shorter_one_lacks() -> None:
    """A berth lacks 0.84 m, the tail 1.8 m: 12 cars of 0.15 m."""
    layout = Layout(
        read_plan("""
scale = "HO"
unit = "m"
railhead = { Mill = 0, Points = 0 }
line.Bottom = { from = "Mill", to = "Points", track = [
{ straight = 3, berth = "Yard", clear = 1.76 }, { straight = 2 },
] }
line.Tail = { from = "Points", to = "Stop", track = [{ straight = 0.8, rise = 0 }] }
line.Top = { from = "Points", to = "Quarry", track = [{ straight = 4, grade = "1 %" }] }
turnout.Points = { toe = "Tail", legs = ["Bottom", "Top"] }
route.Up = { from = "Yard", to = "Quarry", reversals = 1 }
loco.tank = { mass = "0.3 kg", length = 0.2, pull.clean = "0.6 N" }
car.ore = { mass = "0.1 kg", length = 0.15 }
train.up = { route = "Up", consist = ["tank", "16 ore"] }
""")
    )
    assert "With 12 ore fewer it fits." in " ".join(shown(layout, check_layout(layout))[2].split())


BETWEEN = """scale = "HO"
unit = "mm"
railhead = { A = 0, B = 60 }
line.Hill = { from = "A", to = "B", track = [{ straight = 4000 }] }
loco.goat = { mass = "300 g", length = 150 }
car.ore = { mass = "100 g", length = 120 }
route.Up = { from = "A", to = "B" }
train.T = { route = "Up", consist = ["goat", "4 ore"] }
"""


@pytest.mark.parametrize(("first", "second", "counts"), [(40, 50, "0.5 h"), (52, 44, "25 h")])
def test_a_film_between_two_ages_read_has_the_lower_pull_and_the_screen_names_its_age(
    first: float, second: float, counts: str
) -> None:
    rows = "".join(
        f'[[reading]]\nloco = "goat"\nrail = "treated"\nhours = {hours}\nforce = "{pull} gf"\n'
        for hours, pull in ((0.5, first), (25, second))
    )
    plan = read_plan(BETWEEN + rows)
    pulls, screens = {}, {}
    for hours in (0.5, 24, 25):
        answer = check_layout(Layout(plan, hours=hours))
        (train,) = (train for rail in answer.film_rails for train in answer.on([rail]))
        pulls[hours] = train.verdict.spare
        screens[hours] = " ".join(check_page(answer, units_for(plan)).text().split())
    assert pulls[24] == min(pulls.values())
    assert f"At 24 h, between readings at 0.5 h and 25 h, the lower counts for goat: {counts}." in screens[24]
    assert not any("between readings" in screens[hours] for hours in (0.5, 25))
