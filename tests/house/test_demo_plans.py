"""The demo plans: each loads and answers, closes where it should, and shows what its first lines promise."""

from __future__ import annotations

from math import floor, pi, radians

import pytest
import tomli

from demos import answer_of
from gradehaul.haulage.answers.check import CheckAnswer, RouteAnswer
from project import PLANS

FOLDER = PLANS
FILES = sorted(FOLDER.glob("*.toml"))
STOCK = [path for path in FILES if path.name.startswith("stock-")]
PLANS = [path.stem for path in FILES if path not in STOCK]

INCH = 0.0254
# 0.04 % of grade per degree of curve, one degree being 5,729.578 ft of radius: the rule as published, at full size
FULL_SIZE_COEFFICIENT = 0.0004 * 5729.578 * 0.3048


def route_of(answer: CheckAnswer, name: str) -> RouteAnswer:
    return next(each for each in answer.routes if each.route.name == name)


def verdicts(answer: CheckAnswer, train: str) -> dict[str, str]:
    return {each.rail: each.verdict.outcome for each in answer.trains if each.name == train}


# Every plan


@pytest.mark.parametrize("name", PLANS)
def test_every_plan_loads_and_answers(name):
    answer = answer_of(name)
    assert answer.routes
    for route in answer.routes:
        assert 0 <= route.ruling.effective < 0.05, "a demo hill is one that a builder would build"
        assert route.loads
    assert all(berth.clear_length > 0 for berth in answer.berths)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_file_says_what_it_is_and_that_it_is_invented(path):
    head = []
    for line in path.read_text(encoding="utf-8").splitlines():
        if not line.startswith("#"):
            break
        head.append(line)
    assert "invented" in " ".join(head)
    if path not in STOCK:
        assert f"#     gradehaul check plans/{path.name}" in head


@pytest.mark.parametrize("path", STOCK, ids=lambda path: path.stem)
def test_stock_is_shared(path):
    uses = [
        name for name in PLANS if path.name in tomli.loads((FOLDER / f"{name}.toml").read_text()).get("include", [])
    ]
    assert len(uses) >= 2


@pytest.mark.parametrize(("name", "figures"), [("two-levels", 1), ("n-mountain", 1), ("yard", 7)])
def test_closed_figures_close_within_a_millimeter(name, figures):
    closures = answer_of(name).alignment.positions.closures
    assert len(closures) == figures
    for closure in closures:
        assert closure.distance < 0.001, closure
        assert abs(closure.angle or 0.0) < 1e-4, closure


# The log landing


def test_at_the_landing_the_film_lets_loads_run_away_and_cars_roll_off_on_any_rail():
    answer = answer_of("landing")
    held = {(each.name, each.rail): each.verdict.holds_back for each in answer.trains}
    assert held["loads", "clean"]
    assert not held["loads", "treated"]
    assert not held["loads", "treated fresh"]
    assert all(held["empties", rail] for rail in answer.rails)
    assert answer.passes  # on the clean rail that the plan has
    assert {each.rail for each in answer.trains if each.outcome == "runs away"} == {"treated", "treated fresh"}
    pond, landing = answer.berths
    assert all(pond.cars_stay.values())
    assert not any(landing.cars_stay.values())
    for rolls in landing.rolls.values():
        ((toward, length, _, end),) = [(each.toward, each.length, each.track, each.end) for each in rolls]
        assert (toward, end) == ("Crest", "Pond")
        total = sum(track.length for track in answer.plan.tracks.values())
        assert length == pytest.approx(total)  # from the top of the landing over all there is


# The first hill


def test_first_hill_is_short_enough_to_read_in_a_minute():
    assert len((FOLDER / "first-hill.toml").read_text().splitlines()) < 60


def test_first_hill_climbs_on_clean_rail_and_stalls_on_film():
    answer = answer_of("first-hill")
    assert verdicts(answer, "local") == {"clean": "climbs", "treated": "stalls", "treated fresh": "stalls"}


def test_first_hill_rules_on_the_lower_bend():
    answer = answer_of("first-hill")
    ruling = route_of(answer, "Uphill").ruling
    # 4 in over the tracks between the berths, and the curve of 24 in
    rise = 4 / (24 + 24 * pi / 2 + 36 + 24 * pi / 3 + 24)
    assert ruling.effective == pytest.approx(rise + FULL_SIZE_COEFFICIENT / 87.1 / (24 * INCH), rel=1e-6)
    assert ruling.track == "Lower bend"


# Two levels


def test_passing_siding_is_fouled_where_the_tracks_part():
    answer = answer_of("two-levels")
    berth = next(each for each in answer.berths if each.name == "Passing siding")
    assert berth.basis == "map"
    whole = answer.plan.lines["Siding"].length
    assert 0 < berth.clear_length < whole
    # all of the parallel track is clear, and no more than a lead beyond it at each end
    lead = 2 * 0.9 * radians(12) + 0.099396
    assert 2.05707 < berth.clear_length < 2.05707 + 2 * lead


def test_two_levels_as_planned_runs_like_clean_on_the_helix():
    answer = answer_of("two-levels")
    assert answer.rails == ("clean", "treated", "treated fresh", "as planned", "as planned fresh")
    assert verdicts(answer, "stone") == {
        "clean": "climbs",
        "treated": "marginal",
        "treated fresh": "stalls",
        "as planned": "climbs",
        "as planned fresh": "climbs",
    }
    assert answer.passes


def test_one_locomotive_was_measured_on_film_and_one_was_not():
    answer = answer_of("two-levels")
    basis = {(each.subject, each.name): each.basis for each in answer.figures}
    assert basis['loco "consolidation"', "standing pull, treated"] == "measured"
    assert basis['loco "tank"', "standing pull, clean"] == "measured"
    assert basis['loco "tank"', "standing pull, treated"] == "scaled"


# The yard


def test_yard_finds_the_telling_routes():
    answer = answer_of("yard")
    # By hand. From the caboose siding to two stalls; from each stall to the siding, the other stall, six tracks and
    # west 2; from tracks 1 to 3 round the loop to 4 to 6; from all six to two stalls and west 2; from west 1 to six
    # tracks, two stalls and west 2.
    assert len(answer.between) == 2 + 2 * 9 + 3 * 3 + 6 * 3 + 9
    ways = {(each.origin, each.destination): each.count for each in answer.between}
    # in on one of three tracks, either way round the loop, out on one of three
    assert ways["West 1", "West 2"] == 3 * 2 * 3
    # and to a stall by the slip or over main 2
    assert ways["West 1", "House 1"] == 3 * 2 * 3 * 2
    # one route for a pair where the easiest is the hardest, else both
    names = [each.route.name for each in answer.routes]
    assert len(set(names)) == len(names)
    assert len(answer.between) <= len(names) <= 2 * len(answer.between)
    assert all(f"{a} to {b}" in names or f"{a} to {b}, lowest ruling" in names for a, b in ways)


def test_yard_loop_bounds_what_fits():
    answer = answer_of("yard")
    through = [each for each in answer.routes if each.route.name.startswith("West 1 to West 2")]
    assert through
    car, loco = answer.plan.cars["hopper"], answer.plan.locos["tank"]
    room = radians(60 + 300 + 60) * 24 * INCH
    for route in through:
        for load in route.loads:
            assert load.fits_by == 'the loop at "Balloon"'
            assert load.fits == floor((room - loco.length) / car.length)


def test_yard_tracks_are_clear_between_the_ladders():
    answer = answer_of("yard")
    for number in range(1, 7):
        berth = next(each for each in answer.berths if each.name == f"Yard {number}")
        assert berth.basis == "map"
        # the parallel track, less at each end the stretch where the ladder is still too near
        parallel = 77.25 if number in {1, 6} else 72.0
        assert (parallel - 2 * 12) * INCH < berth.clear_length < answer.plan.lines[f"Track {number}"].length


# The mountain


def test_mountain_summit_is_in_the_tunnel():
    answer = answer_of("n-mountain")
    tops = {name: track.railhead.greatest().value for name, track in answer.alignment.tracks.items()}
    names = answer.plan.tracks
    assert names[max(tops, key=tops.__getitem__)].name.startswith("Summit tunnel")


# From drawings


def test_the_cove_is_as_it_was_drawn():
    answer = answer_of("cove")
    ruling = route_of(answer, "Up").ruling
    # 1.8 % in a curve of 610 mm, in 1:87
    assert ruling.grade == pytest.approx(0.018, rel=2e-4)
    assert ruling.curve == pytest.approx(FULL_SIZE_COEFFICIENT / 87 / 0.610, rel=2e-4)
    places = answer.alignment.positions.joints
    assert (places["Wharf switch"].pose.x, places["Wharf switch"].pose.y) == pytest.approx((0.9, 0), abs=1e-6)
    assert answer.alignment.railheads["Summit"] == pytest.approx(
        0.5 * 0.018 + pi * 0.61 * 0.018 + 0.9 * 0.022 + pi / 2 * 0.7 * 0.016
    )
    assert not any(note.place.endswith("cove.dxf") for note in answer.notes), "nothing had to be mended"


def test_the_hollow_has_the_radii_that_its_chords_were_drawn_with():
    answer = answer_of("hollow")
    radii = sorted(1 / abs(track.curvature) / INCH for track in answer.plan.tracks.values() if track.curvature)
    assert radii == pytest.approx([24, 26, 30], rel=2e-3)
    codes = sorted(note.text.partition(" (")[0] for note in answer.notes if note.place.endswith("hollow.dxf"))
    assert codes == ["Drawn twice", "Gaps closed"]
    ruling = route_of(answer, "Up").ruling
    # from 1 1/2 to 3 1/4 in over the switch's 20 in, a quarter turn of 24 in and 34 in, and the curve of 24 in
    grade = 1.75 / (20 + pi / 2 * 24 + 34)
    assert ruling.grade == pytest.approx(grade, rel=2e-3)
    assert ruling.effective == pytest.approx(grade + FULL_SIZE_COEFFICIENT / 87.1 / (24 * INCH), rel=2e-3)


# At full size
