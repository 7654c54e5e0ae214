import re
from collections import Counter
from dataclasses import replace

import pytest

import run_round_plan
from checked import check
from gradehaul.haulage.trust.train import Cause, TrainTrust
from gradehaul.haulage.verdict import HeadStretch
from gradehaul.plan import read_plan
from gradehaul.show import CHECK as SECTIONS
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.check.load_card import load_cards
from gradehaul.show.check.route_text import COUNTED, how_loaded, judged_words, route_facts
from gradehaul.show.check.text import check_page
from gradehaul.show.check.trains_text import biggest_unknown

INCHES = units_of("in")
FILM = ("treated", "treated fresh")


def whole(answer, units=INCHES):
    """Return the page with all its sections."""
    return check_page(answer, units, (), SECTIONS)


def one_line(page):
    """Return the words of a page with one blank between two."""
    return " ".join(page.text().split())


@pytest.fixture(scope="module")
def text(answer):
    return whole(answer).text()


def section(text, head):
    """Return the lines from one that begins with a head to the next blank one."""
    lines = text.split("\n")
    first = next(number for number, line in enumerate(lines) if line.startswith(head))
    return lines[first : lines.index("", first)]


def test_the_plan_its_scale_practice_and_curves(text):
    figures = "\n".join(section(text, "Figures"))
    for words in ("Tarn branch (tarn.toml)", "HO, 1:87.1", "NMRA practice", "0.316 in", "full-size practice", "1.32 %"):
        assert words in figures  # 1.32 %: 8.02 mm over 24 in


def test_where_a_train_must_not_stop_and_would_not_recover(answer):
    answer = replace(answer, judged_rails=FILM)
    text = one_line(whole(answer))
    found = [(t, t.verdict) for t in answer.on(FILM)]
    assert any(verdict.no_stopping for _, verdict in found)
    assert any(verdict.no_recovery for _, verdict in found)
    for train, verdict in found:
        for words, stretches in (
            ("must not stop", () if verdict.stalling else verdict.no_stopping),
            ("would not recover from a slip", () if verdict.stalling else verdict.no_recovery),
            ("stalls from", verdict.stalling),
        ):
            for stretch in stretches:
                start, stop = INCHES.length(stretch.start), INCHES.length(stretch.stop)
                assert re.search(rf" {train.rail}: {words}.* {start} to {stop}, .*(Hill|Horseshoe)", text)


def test_a_runaway_is_shown_with_its_place(answer):
    train = next(t for t in answer.trains if t.rail in answer.judged_rails)
    away = (HeadStretch(0.254, 0.508), HeadStretch(1.016, 1.27))
    verdict = replace(train.verdict, running_away=away, runs_away_on="Main:1")
    text = one_line(whole(replace(answer, trains=(replace(train, verdict=verdict),))))
    assert "RUNS AWAY" in text
    assert "runs away, its cars pushing the locomotives, from 10.0 in to 20.0 in, on Main:1; from 40.0 in to" in text
    assert f"On clean rail 1 of 2 trains runs away: {train.name} (on Main:1)." in text


def test_loads_show_rated_limit_basis_and_what_binds(text, answer):
    loads = section(text, "Route To quarry")
    limits = section(text[text.index("What limits each load") :], "Route To quarry")
    route = answer.routes[1]
    for load, spread in zip(route.loads, route.spreads, strict=True):
        limit = rf"{load.limit} \({spread.limit_low}-{spread.limit_high}\)"
        basis = f"{load.basis}, slipping {load.slipping_basis}"
        judged = re.escape(judged_words(route, load))
        own = loads[loads.index(f"  {load.power}, {load.car}") :]
        assert any(re.match(rf"    .*\b{load.rail}\b.*  {judged} +{limit} +{basis}$", line) for line in own)
        words = {"slip": "slips", "restart": "no restart", "stand": "stalls"}[load.binds.test]
        asks, has = INCHES.force(load.binds.demand), INCHES.force(load.binds.pull)
        own = limits[limits.index(f"  {load.power}, {load.car}") :]
        bound = next(line for line in own if re.match(rf"    .*\b{load.rail}\b.* {asks} +{has}$", line))
        place = f"{load.binds.track}, {INCHES.length(load.binds.at)}"
        assert re.search(rf" {load.binds.cars}  {words} +{place} ", bound)
    clean = answer.routes[1].loads[0]
    assert clean.fits < clean.rated
    assert re.search(rf' {clean.fits + 1}  too long +for berth "Quarry', "\n".join(limits))


def test_the_most_that_are_counted_have_a_plus(answer):
    route = answer.routes[0]
    endless = replace(route.loads[0], rated=999, limit=999, fits=2000, binds=None)
    text = whole(replace(answer, routes=(replace(route, loads=(endless, *route.loads[1:])),))).text()
    assert re.search(r" 999\+ \(\d+-999\+\) +999\+ ", text)
    assert "nothing limits it" in text


def test_berths(text, answer):
    row = section(text, "Berths")[2]
    berth = answer.berths[0]
    for words in ("Quarry loading", INCHES.length(berth.clear_length), "3.00 %", f" {berth.cars_fit['ore']} ROLL"):
        assert words in row


def test_figures_not_measured_notes_and_caution(text, answer):
    figures = "\n".join(section(text, "Figures"))
    assert "standing pull, treated" in figures
    assert "scaled" in figures
    assert "assumed" in figures
    assert "standing pull, clean" not in figures  # that one was measured
    assert answer.notes
    words = " ".join(text.split())
    assert all(str(note) in words for note in answer.notes)
    assert "spare length of track" in words


def test_without_stock_or_routes_the_routes_are_counted(undeclared_answer):
    text = whole(undeclared_answer).text()
    assert "no locomotive or no car" in text
    assert "names no train" in text
    ways = section(text, "Routes between places")
    assert len(ways) == 3 + len(undeclared_answer.between)
    assert any(re.match(r"  Quarry loading +Wharf +1 ", line) for line in ways)


def test_a_count_that_is_a_bound_says_so(undeclared_answer):
    unsure = tuple(replace(between, exact=False) for between in undeclared_answer.between)
    text = whole(replace(undeclared_answer, between=unsure)).text()
    assert "at least 1" in text
    assert "at most" in text


def test_odd_names_are_shown_as_text(odd_answer):
    for text in (whole(odd_answer).text(), whole(odd_answer).text(width=100, color=True)):
        for name in ("[red]x[/]", "=1+1", "מחצבה", "🚂 :smile:", "[/] night", "@mogul", "-ore"):
            assert name in text


def test_a_file_name_cannot_steer_the_terminal(answer):
    plan = replace(answer.plan, file="tarn\x1b[2J.toml")
    assert "\x1b" not in whole(replace(answer, plan=plan)).text()


def test_nothing_is_cut_whatever_the_width(answer):
    wide = whole(answer).text()
    for width in (20, 60, 80, 132):
        narrow = whole(answer).text(width=width)
        assert "…" not in narrow
        # where columns have no room side by side, their heads are found with every row
        assert not Counter("".join(wide.split())) - Counter("".join(narrow.split()))
        assert max(map(len, narrow.split("\n"))) <= max(width, 40)


@pytest.mark.parametrize("width", [50, 64, 79])
def test_no_word_is_broken_in_a_narrow_terminal(answer, width):
    words = set(whole(answer).text().split())
    found = set(whole(answer).text(width=width).split())
    assert {word.removesuffix(":") for word in found} <= {word.removesuffix(":") for word in words}


def test_loads_alike_are_shown_once(answer):
    (up, *others) = answer.routes
    again = replace(up.profile, route=replace(up.route, name="Up again"))
    twice = replace(answer, routes=(up, replace(up, profile=again), *others))
    text = whole(twice).text()
    assert "  Longest trains: as on route Up ore\n" in text
    assert "\nRoute Up again: as on route Up ore\n" in text
    changed = replace(up.loads[0], binds=replace(up.loads[0].binds, track="Elsewhere"))
    other = replace(up, profile=again, loads=(changed, *up.loads[1:]))
    text = whole(replace(answer, routes=(up, other))).text()
    assert "  Longest trains: as on route Up ore\n" in text
    assert "Elsewhere" in text


def test_color_adds_escapes_and_no_words(answer):
    page = whole(answer)
    colored = page.text(width=100, color=True)
    assert "\x1b[" in colored
    bare = re.sub(r"\x1b\[[0-9;]*m", "", colored)
    assert [line.rstrip() for line in bare.split("\n")] == page.text(width=100).split("\n")


def test_the_text_itself_is_ascii(answer):
    for units in (INCHES, units_of("in", "metric", "permille"), units_of("in", None, "one-in")):
        assert whole(answer, units).text().isascii()


def test_units_follow_the_reader(answer):
    text = whole(answer, units_of("in", "metric", "permille")).text()
    assert " mm" in text
    assert " gf" in text
    assert "permille" in text
    assert " ozf" not in text
    assert " in," not in text


def test_no_way_between_places_is_shown():
    plan = """
    scale = "HO"
    unit = "in"
    railhead.A = 0
    [line.Branch]
    from = "A"
    to = "B"
    runs = "forward"
    berth = "All of it"
    track = [{ straight = 24, grade = "1 %" }]
    """
    answer = check(read_plan(plan))
    text = check_page(answer, INCHES).text()
    assert answer.routes == ()
    assert "no routes to judge" in " ".join(text.split())


PULL = Cause("the pull of mogul on clean rail", 0.6, 0.2, "read it again")
ROLLING = Cause("the rolling resistance", 0.3, 0.25, "tilt a track")
MASS = Cause("the mass of hopper", 0.7, 0.0, "")


@pytest.mark.parametrize(
    ("causes", "more"),
    [
        ((MASS,), ""),
        ((PULL,), "; measure next: read it again"),
        ((PULL, ROLLING), ", but another reading helps more; measure next: tilt a track"),
        ((MASS, ROLLING), ", which no reading narrows; measure next: tilt a track"),
        ((), None),
    ],
)
def test_the_biggest_unknown_and_what_to_measure(causes, more):
    shown = biggest_unknown(TrainTrust(0.1, 0.1, 10_000, -0.1, 0.1, causes))
    assert shown == ("" if more is None else f"biggest unknown: {causes[0].what}{more}")


def test_a_run_round_is_shown_with_the_room_there_is():
    def found(plan):
        answer = check(plan)
        return list(route_facts(answer, answer.routes[0], units_of("m")))

    assert found(run_round_plan.plan())[1] == (
        'Reverses at 5.000 m, in the tail in berth "Dock", 2.000 m long; the locomotives, up to 0.500 m long, '
        'run around it in berth "Dock", and lead on, the cars in reverse order.'
    )
    assert found(run_round_plan.plan(more=""))[1].endswith(
        'in the tail with berth "Dock", 3.000 m long, 1.700 m of it the berth, and continues with its rear end leading.'
    )


ENDLESS = """
scale = "HO"
unit = "m"
railhead = { A = 0, B = 0 }
line.Main = { from = "A", to = "B", track = [{ straight = 400 }] }
route.Over = { from = "A", to = "B" }
loco.mule = { mass = "300 g", length = 0.2, pull.clean = "900 gf", slipping.clean = "900 gf" }
car.ore = { mass = "1 g", length = 0.1, rolling = "100 %", starting = "100 %" }
"""


@pytest.mark.parametrize(("mass", "said"), [("0.1 g", True), ("0.88 g", True), ("0.95 g", True), ("3 g", False)])
def test_the_most_cars_that_are_counted_are_said_to_be_no_limit(mass, said):
    """A pull of 900 gf over cars that roll as hard as they weigh: 999 and more, 1022, 947 and 300 of them."""
    answer = check(read_plan(ENDLESS.replace("1 g", mass)))
    text = one_line(whole(answer))
    ((route, load),) = [(route, load) for route in answer.routes for load in route.loads if load.rail == "clean"]
    words = judged_words(route, load)
    assert words.startswith("999+") == (load.to_run == 999)
    assert ("999+" in words) == said
    assert ("999+: at least so many cars; no more are counted." in text) == said
    assert (COUNTED in load_cards(answer)[0].note) == said
    assert (COUNTED in one_line(check_page(answer, INCHES))) == said
    assert (COUNTED in how_loaded([words])) == said
