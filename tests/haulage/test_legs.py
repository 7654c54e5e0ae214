"""Trains on routes with reversals: each leg against a walk by sampling along it, the train turned from leg to leg."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import brute_walk as walk
from brute_walk import Chain, Piece
from checked import check
from gradehaul.errors import RouteError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.demand import gravity_and_curves, supply
from gradehaul.haulage.train import build_train, headed_by
from gradehaul.haulage.verdict import judge
from gradehaul.haulage.views.section import long_section
from gradehaul.plan import read_plan

G = walk.GRAVITY
STEP = 0.01

Track = tuple[float, float, str]
"""Length, grade in running order of its line, and rail."""


def zigzag(bottom: list[Track], tail: list[Track], top: list[Track], *, more: str = "", berth: str = "") -> str:
    """A switchback: up the bottom into the tail, and out of it backward up the top."""
    lines = []
    for name, start, end, tracks in (
        ("Bottom", "Foot", "J", bottom),
        ("Tail", "J", "Stop", tail),
        ("Top", "J", "Summit", top),
    ):
        rows = ", ".join(
            f'{{ straight = {length}, grade = "{round(100 * grade, 6)} %", rail = "{rail}"'
            + (f', berth = "{berth}" }}' if name == "Bottom" and berth and k == 0 else " }")
            for k, (length, grade, rail) in enumerate(tracks)
        )
        lines.append(f'[line.{name}]\nfrom = "{start}"\nto = "{end}"\ntrack = [{rows}]\n')
    return f"""
scale = "HO"
unit = "m"
railhead.Foot = 0
carry_over.length = 0
{"".join(lines)}
[turnout.J]
toe = "Tail"
legs = ["Bottom", "Top"]
[route.Up]
from = "{berth or "Foot"}"
to = "Summit"
reversals = 1
{more}
"""


STOCK = """
[loco.mule]
mass = "300 g"
length = 0.2
pull = { clean = "PULL N", treated = "FILM N" }
slipping = { clean = "SLIP N", treated = "SLID N" }
[car.ore]
mass = "100 g"
length = 0.1
rolling = "1.5 %"
starting = "2 %"
[train.Mixed]
route = "Up"
consist = ["mule", "CARS ore"]
"""


def stock(pull: float, slip: float, film: float, cars: int) -> str:
    found = STOCK.replace("PULL", f"{pull!r}").replace("FILM", f"{pull * film!r}")
    return (
        found.replace("SLIP", f"{pull * slip!r}").replace("SLID", f"{pull * film * slip!r}").replace("CARS", str(cars))
    )


tracks = st.lists(
    st.tuples(
        st.sampled_from([0.15, 0.4, 0.7, 1.3]),
        st.integers(-30, 40).map(lambda permille: permille / 1000),
        st.sampled_from(["clean", "treated"]),
    ),
    min_size=1,
    max_size=4,
)


def turned(run: list[Track]) -> list[Track]:
    return [(length, -grade, rail) for length, grade, rail in reversed(run)]


def legs_of(bottom: list[Track], tail: list[Track], top: list[Track], *, berth: bool) -> list[Chain]:
    def pieces(run: list[Track]) -> tuple[Piece, ...]:
        return tuple(Piece(length, grade=round(grade, 8), rail=rail) for length, grade, rail in run)

    out, back = Chain(pieces(bottom + tail)), Chain(pieces(turned(tail) + top))
    return [replace(out, berth=berth), replace(back, berth=True)]


def locomotive(pull: float, slip: float, film: float) -> walk.Loco:
    standing = {"clean": pull, "treated": pull * film}
    return walk.Loco(0.3, 0.2, standing, {rail: force * slip for rail, force in standing.items()})


@given(
    tracks, tracks, tracks, st.booleans(), st.integers(1, 4), st.floats(0.2, 1.2), st.floats(0.5, 1), st.floats(0.4, 1)
)
@settings(max_examples=30, deadline=None)
def test_a_train_is_judged_by_its_worst_leg(bottom, tail, top, berth, cars, pull, slip, film) -> None:
    tail = [*tail, (0.8, 0.0, "clean")]
    bottom = [(0.9, 0.0, "clean"), *bottom]
    text = zigzag(bottom, tail, top, more=stock(pull, slip, film, cars), berth="Dock" if berth else "")
    layout = Layout(read_plan(text))
    verdict = layout.verdict("Mixed", rail="as planned")
    load = walk.Car(0.1, 0.1, 0.015, 0.02, 0.4 * 0.015)
    vehicles = (locomotive(pull, slip, film), *(load,) * cars)
    chains = legs_of(bottom, tail, top, berth=berth)
    walked = [
        walk.walk(chain, walk.Train(order), STEP)
        for chain, order in zip(chains, (vehicles, vehicles[::-1]), strict=True)
    ]
    # without curves and vertical curves a sample misses nothing
    least = [met.least("stand") for met in walked]
    assert verdict.margin == pytest.approx(min(value for value, _ in least), abs=1e-8)
    starts = [0.0, chains[0].length]
    if abs(least[0][0] - least[1][0]) > 1e-6:
        worst = min(range(2), key=lambda leg: least[leg][0])
        assert starts[worst] - 1e-9 <= verdict.margin_at <= starts[worst] + chains[worst].length + 1e-9
    spare = min(met.least(test)[0] for met in walked for test in ("stand", "restart", "slip", "hold"))
    assert verdict.spare == pytest.approx(spare, abs=1e-8)
    assert (verdict.spare < 0) == (verdict.outcome != "climbs")
    there = [
        met.left_at(verdict.spare_by, verdict.spare_at - start)
        for met, start in zip(walked, starts, strict=True)
        if met.head[0] - 1e-9 <= verdict.spare_at - start <= met.head[-1] + 1e-9
    ]
    assert min(there) == pytest.approx(verdict.spare, abs=1e-8)
    for test, stretches in (
        ("stand", verdict.stalling),
        ("restart", verdict.no_stopping),
        ("slip", verdict.no_recovery),
    ):
        margin = min(met.least(test)[0] for met in walked)
        if abs(margin) > 1e-6:
            assert bool(stretches) == (margin < 0)
            sampled = [
                (a + start, b + start)
                for met, start in zip(walked, starts, strict=True)
                for a, b in met.stretches(test)
            ]
            exact = [(stretch.start, stretch.stop) for stretch in stretches]
            assert walk.mismatch(exact, sampled) <= 2 * STEP * (len(exact) + len(sampled) + 2)
    held = min(met.least("hold")[0] for met in walked)
    if abs(held) > 1e-6:
        assert verdict.holds_back == (held > 0)


FLAT: list[Track] = [(2.0, 0.0, "clean")]


def test_pushing_and_pulling_differ_where_the_hill_is_short() -> None:
    # up out of the tail: with its locomotive behind, the train has its cars on the hump first
    text = zigzag(FLAT, FLAT, [(0.3, 0.04, "clean"), (1.0, 0.0, "clean")], more=stock(0.33, 1.0, 1.0, 2))
    layout = Layout(read_plan(text))
    led, pushed = (layout.longest_train("Up", "mule", "ore", engine=engine) for engine in ("leading", "trailing"))
    assert (led.engine, pushed.engine) == ("leading", "trailing")
    assert led.binds is not None
    assert pushed.binds is not None
    # leg 2 begins at 4 m; whichever end leads there, the heavy locomotive binds when it stands on the hump
    assert led.binds.at > 4.0
    assert pushed.binds.at > 4.0
    assert led.binds.at != pytest.approx(pushed.binds.at)


def test_a_pushed_train_pulls_by_the_rail_under_its_locomotive_behind_all_its_cars() -> None:
    # film lies where the longest train has its cars, with the locomotive still on clean rail before the hill
    top = [(0.5, 0.04, "clean"), (0.5, 0.0, "treated"), (3.0, 0.0, "clean")]
    layout = Layout(read_plan(zigzag(FLAT, FLAT, top, more=stock(0.5, 1.0, 0.5, 1))))
    plan, profile = layout.plan, layout.profile("Up")
    trains = [headed_by(plan, plan.powers["mule"], plan.cars["ore"], count) for count in range(1, 10)]
    outcomes = [judge(profile, train, "as planned", layout.pulls).climb for train in trains]
    assert outcomes == ["climbs"] * 6 + ["marginal"] * 2 + ["stalls"]
    load = layout.longest_train("Up", "mule", "ore", rail="as planned")
    assert (load.rated, load.limit) == (6, 8)


def test_the_tail_bounds_the_train_and_is_named() -> None:
    text = zigzag(FLAT, [(0.75, 0.0, "clean")], FLAT, more=stock(1.0, 1.0, 1.0, 5))
    layout = Layout(read_plan(text))
    load = layout.longest_train("Up", "mule", "ore")
    assert (load.fits, load.fits_by, load.to_run) == (5, 'the tail at "Stop"', 5)
    assert {each.engine for each in check(layout.plan).routes[0].loads} == {"leading", "trailing"}
    assert not any(train.misfits for train in check(layout.plan).trains)
    found = check(read_plan(text.replace("5 ore", "6 ore")))
    assert {(one.place, one.kind) for train in found.trains for one in train.misfits} == {
        ('the tail at "Stop"', "tail")
    }


def test_a_train_is_followed_over_one_leg() -> None:
    layout = Layout(read_plan(zigzag(FLAT, FLAT, FLAT, more=stock(1.0, 1.0, 1.0, 5))))
    train = build_train(layout.plan, layout.plan.trains["Mixed"])
    whole = layout.profile("Up")
    for asked in (lambda: gravity_and_curves(whole, train), lambda: supply(whole, train, "clean", layout.pulls)):
        with pytest.raises(
            RouteError, match=r'over one leg of a route with reversals; write "Up, leg 1" or "Up, leg 2"'
        ):
            asked()
    assert whole.length == pytest.approx(8.0)
    assert [leg.length for leg in whole.legs] == pytest.approx([4.0, 4.0])


def test_a_long_section_shows_a_leg_with_the_train_as_it_runs_there() -> None:
    layout = Layout(read_plan(zigzag(FLAT, FLAT, [(2.0, 0.02, "clean")], more=stock(1.0, 1.0, 1.0, 5))))
    with pytest.raises(
        RouteError, match=r'one leg of a route with a reversal, got "Up"; write "Up, leg 1" or "Up, leg 2"'
    ):
        long_section(layout, "Up")
    section = long_section(layout, "Up, leg 2", rails=["clean"])
    assert (section.route.origin, section.route.destination) == ("Stop", "Summit")
    assert section.haul is not None
    assert [block.vehicle.name for block in section.haul.train.blocks] == ["ore", "mule"]
    assert section.haul.running.start == pytest.approx(0.7)  # all of it in the tail
    whole = layout.verdict("Mixed")
    given = next(each for each in section.haul.given if each.rail == "clean")
    assert given.verdict.margin == pytest.approx(whole.margin)
    assert given.verdict.margin_at + 4.0 == pytest.approx(whole.margin_at)


@pytest.mark.parametrize("steep", ["bottom", "top"])
def test_where_a_train_runs_away_is_told_from_the_start_of_the_route(steep: str) -> None:
    # 0.8 kg on 7 % downhill ask some 0.55 N of wheels that hold back 0.33 N
    hill: list[Track] = [(1.2, 0.0, "clean"), (0.8, -0.07, "clean")]
    bottom, top = (hill, FLAT) if steep == "bottom" else (FLAT, hill)
    layout = Layout(read_plan(zigzag(bottom, FLAT, top, more=stock(0.33, 1.0, 1.0, 5))))
    whole = layout.verdict("Mixed")
    legs = []
    for name in ("Up, leg 1", "Up, leg 2"):
        haul = long_section(layout, name, rails=["clean"]).haul
        assert haul is not None
        (given,) = haul.given
        assert given.outcome == "runs away"  # of the whole route, whatever the leg
        legs.append(given.verdict)
    worse, other, start = (*legs, 0.0) if steep == "bottom" else (*legs[::-1], 4.0)
    assert (worse.holds_back, other.holds_back, whole.holds_back) == (False, True, False)
    assert worse.runs_away_at is not None
    assert other.runs_away_at is None
    assert whole.runs_away_at == pytest.approx(start + worse.runs_away_at)
    begins = 1.2 if steep == "bottom" else 4.0 + 2.0 + 1.2
    assert begins <= whole.runs_away_at <= begins + 0.8
