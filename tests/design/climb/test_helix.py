"""A helix: its figures against arithmetic, the exact engine and points along its own plan; and sets that cannot be."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from command_line import run
from gradehaul.design.climb.given import HelixGiven, helix_of
from gradehaul.design.climb.helix import Helix, HelixBuild, radius_in, usual_helix_build
from gradehaul.design.climb.hill import Hill, coefficient_of
from gradehaul.design.climb.search import Headroom, clears, headroom_of
from gradehaul.errors import DesignError
from gradehaul.plan.reader import read_plan
from gradehaul.plan.records import Plan
from gradehaul.track.curvature import Section
from gradehaul.track.map.positions import TrackPosition
from gradehaul.track.proximity.spacing import spacing_of

INCH = 0.0254
STOCK = """
scale = "HO"
unit = "mm"
[loco.tank]
mass = "300 g"
length = 180
pull.clean = ["75 gf", "77 gf"]
pull.treated = "55 gf"
[car.ore]
mass = "90 g"
length = 140
rolling = "2.0 +/- 0.3 %"
"""


@pytest.fixture(scope="module")
def stock() -> Plan:
    return read_plan(STOCK)


@pytest.fixture(scope="module")
def build(stock: Plan) -> HelixBuild:
    return usual_helix_build(stock)


builds = st.builds(
    lambda straight, ease, vertical: replace(
        usual_helix_build(read_plan(STOCK)), straight=straight, ease=ease, vertical=vertical
    ),
    st.sampled_from([0.0, 0.25, 0.8]),
    st.sampled_from([0.0, 0.1, 0.3]),
    st.sampled_from([0.0, 0.2]),
)
helices = st.builds(
    lambda radius, halves, grade, build: Helix(
        radius, halves / 2, grade * Helix(radius, halves / 2, 1, build).length, build
    ),
    st.floats(0.35, 1.2),
    st.integers(2, 9),
    st.floats(0.01, 0.05),
    builds,
)


@given(helices)
@settings(max_examples=25)
def test_its_figures_are_those_of_the_plan_it_writes(helix: Helix) -> None:
    stock = read_plan(STOCK)
    hill = helix.hill(stock)
    vertical = helix.vertical(stock)
    profile = hill.layout.profile("Up")
    assert profile.length == pytest.approx(helix.length + 2 * vertical, rel=1e-9)
    assert profile.climb == pytest.approx(helix.rise, rel=1e-9)
    ruling = profile.ruling()
    assert ruling.grade == pytest.approx(helix.grade, rel=1e-7)
    assert ruling.effective == pytest.approx(helix.effective_grade(coefficient_of(stock)), rel=1e-7)


@given(helices)
@settings(max_examples=25)
def test_it_lies_within_its_floor_and_the_floor_is_no_more_than_that(helix: Helix) -> None:
    """Points along the plan itself, laid in the plane, against the floor's closed form."""
    layout = helix.hill(read_plan(STOCK)).layout
    tracks = [t for t in layout.plan.lines["Helix"].tracks if t.rise is None]
    placed = np.concatenate(
        [
            np.column_stack(_along(layout.alignment.tracks[t.id].sections, layout.alignment.positions.tracks[t.id]))
            for t in tracks
        ]
    )
    spans = sorted(np.ptp(placed, axis=0) + 2 * helix.build.edge, reverse=True)
    for span, side in zip(spans, helix.floor, strict=True):
        assert span <= side * (1 + 1e-6)
        # easements are reckoned on the safe side: by their shift on both sides, at the most
        assert span >= side - helix.build.ease**2 / (4 * helix.radius) - 0.01 * helix.radius


def _along(sections: Sequence[Section], position: TrackPosition) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Walk along sections by small steps, sharing no code with the positions."""
    xs, ys, x, y, heading = [], [], position.start[0], position.start[1], position.start[2]
    for section in sections:
        steps = 300
        d = section.length / steps
        for k in range(steps):
            share = (k + 0.5) / steps
            turn = (section.first + (section.last - section.first) * share) * d
            chord = d * np.sinc(turn / (2 * math.pi))
            x += chord * math.cos(heading + turn / 2)
            y += chord * math.sin(heading + turn / 2)
            heading += turn
            xs.append(x)
            ys.append(y)
    return np.array(xs), np.array(ys)


@given(helices)
@settings(max_examples=25)
def test_any_sufficient_set_gives_the_same_helix_and_any_other_is_refused(helix: Helix) -> None:
    whole: dict[str, Any] = {
        "radius": helix.radius,
        "rise_per_turn": helix.rise_per_turn,
        "rise": helix.rise,
        "turns": helix.turns,
        "grade": helix.grade,
    }
    found = 0
    for names in combinations(whole, 3):
        given = HelixGiven(**{name: whole[name] for name in names})
        try:
            again = helix_of(given, helix.build)
        except DesignError as error:
            assert "not enough is known" in str(error)  # noqa: PT017
            continue
        found += 1
        assert (again.radius, again.turns, again.rise) == pytest.approx(
            (helix.radius, helix.turns, helix.rise), rel=1e-6
        )
    assert found == 8  # of ten: radius, rise per turn and grade say nothing of its end; the rises and turns no radius
    with pytest.raises(DesignError, match="contradict one another"):
        helix_of(HelixGiven(**{**whole, "grade": helix.grade * 1.01}), helix.build)
    assert helix_of(HelixGiven(**whole), helix.build).radius == helix.radius


def test_what_is_missing_and_what_contradicts_is_told(build: HelixBuild) -> None:
    two = replace(build, two=True)
    with pytest.raises(DesignError, match=r"write one more of --turns, --rise|write one more of --rise, --turns"):
        helix_of(HelixGiven(radius=0.6, grade=0.02), build)
    with pytest.raises(
        DesignError,
        match=r"radius 24 in, rise per turn 4 in, 3 turns, grade 3 % contradict one another, got grade 2.653 %",
    ):
        helix_of(HelixGiven(radius=24 * INCH, rise_per_turn=4 * INCH, grade=0.03, turns=3), build, "in")
    with pytest.raises(DesignError, match="floor 900 mm by 900 mm contradicts radius 600 mm"):
        helix_of(HelixGiven(radius=0.6, grade=0.02, turns=3, floor=(0.9, 0.9)), build)
    with pytest.raises(DesignError, match=r"whole number of half turns.*write --turns 3\.5 and"):
        helix_of(HelixGiven(radius=0.6, grade=0.02, turns=3.3), replace(build, straight=0.3))
    with pytest.raises(DesignError, match="two tracks this close foul one another on this curve, got 54 mm"):
        helix_of(HelixGiven(radius=0.45, grade=0.02, turns=3), replace(two, centers=0.054))
    with pytest.raises(DesignError, match="must be more than 0"):
        helix_of(HelixGiven(radius=-0.6, grade=0.02, turns=3), build)
    with pytest.raises(DesignError, match="floor is too small"):
        helix_of(HelixGiven(floor=(0.04, 0.04), grade=0.02, turns=3), build)
    with pytest.raises(DesignError, match="floor is too small"):  # for its easements alone
        radius_in((0.16 + 2 * build.edge, 0.16 + 2 * build.edge), replace(build, ease=0.2))
    with pytest.raises(DesignError, match="floor must be more than 0"):
        helix_of(HelixGiven(floor=(3.0, 0.0), grade=0.02, turns=3), build)
    with pytest.raises(DesignError, match="easements are longer"):
        helix_of(HelixGiven(radius=0.1, grade=0.02, turns=1), replace(build, ease=0.9))


@pytest.mark.parametrize("straight", [0.0, 0.4])
@pytest.mark.parametrize("tracks", [{}, {"centers": 0.07}, {"centers": None}])
def test_the_radius_in_a_floor_needs_that_floor(stock: Plan, straight: float, tracks: dict[str, Any]) -> None:
    two = {"two": True, **tracks} if tracks else {}
    build = replace(usual_helix_build(stock), straight=straight, ease=0.2, **two)
    floor = (1.6, 1.3)
    helix = Helix(radius_in(floor, build), 2, 0.2, build)
    assert all(need <= side * (1 + 1e-12) for need, side in zip(helix.floor, floor, strict=True))
    wider = Helix(helix.radius + 1e-4, 2, 0.2, build)
    assert any(need > side for need, side in zip(wider.floor, floor, strict=True))


@given(helices, st.booleans())
@example(Helix(0.375, 1.5, 0.278, replace(usual_helix_build(read_plan(STOCK)), straight=0.8)), False)
@example(Helix(0.756, 2.5, 0.3, replace(usual_helix_build(read_plan(STOCK)), ease=0.3)), False)
@settings(max_examples=12)
def test_the_clear_height_left_is_the_least_of_its_own_plan_where_stock_reaches_over(helix: Helix, two: bool) -> None:
    """Sections across all track, as wide as stock takes: where two meet in plan, one track is over the other."""
    stock = read_plan(STOCK)
    if helix.turns < 1.5:
        return
    # vertical curves so long that the plan has approaches
    helix = replace(helix, build=replace(helix.build, vertical=1.4, two=two))
    layout = helix.hill(stock).layout
    room = spacing_of(stock)
    sections, heights = [], []
    for line, route in (("Outer", "Up"), ("Inner", "Up inner")) if two else (("Helix", "Up"),):
        points, start = [], 0.0
        profile = layout.profile(route)
        for track in layout.plan.lines[line].tracks:
            own = layout.alignment.tracks[track.id]
            x, y = _along(own.sections, layout.alignment.positions.tracks[track.id])
            steps = np.repeat([section.length / 300 for section in own.sections], 300)
            points.append(np.column_stack([x, y, start + np.cumsum(steps)]))
            start += track.length
        place = np.concatenate(points)
        step = np.diff(place[:, :2], axis=0)
        heading = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
        bend = np.abs(np.gradient(heading, place[1:, 2]))
        wide = 0.5 * room.fouling + room.overhang(np.where(bend < 1e-3, 0.0, bend))
        across = wide[:, None] * np.column_stack([-np.sin(heading), np.cos(heading)])
        sections.append(np.stack([place[1:, :2] - across, place[1:, :2] + across], axis=1))
        heights.append(profile.railhead.at(np.minimum(place[1:, 2], profile.length)))
    lines, height = shapely.linestrings(np.concatenate(sections)), np.concatenate(heights)
    under, over = shapely.STRtree(lines).query(lines, predicate="intersects")
    rise = height[over] - height[under]
    least = float(rise[rise > 0.4 * helix.rise_per_turn].min())
    gap = helix.clear_left(helix.vertical(stock)) + helix.build.structure
    assert gap <= least + 3e-4
    if not helix.build.straight:  # else the level approach may end under the straight side above
        longest = max(float(np.hypot(*np.diff(part.mean(axis=1), axis=0).T).max()) for part in sections)
        assert gap >= least - 3e-4 - 0.01 * helix.build.ease - helix.grade * longest


@pytest.mark.parametrize("words", ["--radius 600", "--radius 500 --ease 300", "--radius 450 --tracks 2 --ease 100"])
def test_the_least_rise_per_turn_passes_the_clearance_of_its_plan(tmp_path: Path, words: str) -> None:
    shape = ["helix", "--scale", "H0", "--unit", "mm", "--practice", "NEM", *words.split(), "--turns", 3]
    shape += ["--vertical-curve", 1000]
    low = json.loads(run(*shape, "--rise-per-turn", 60, "--json").stdout)["helix"]["headroom"]["least_rise_per_turn_m"]
    plan = tmp_path / "helix.toml"
    for less, passes in ((0, True), (2, False)):
        shown = run(*shape, "--rise-per-turn", 1000 * low - less, "-o", plan).stdout
        assert ("TOO LOW" in shown) != passes
        found = json.loads(run("clearance", plan, "--json").stdout)["places"]
        assert all(each["outcome"] == "pass" for each in found if each["rule"] == "vertical room") == passes


@given(st.floats(0.3, 1.2), st.floats(0.07, 0.14), st.integers(2, 9), builds)
@example(0.6, 0.11, 6, usual_helix_build(read_plan(STOCK)))  # a larger radius mends it, too
@settings(max_examples=60)
def test_each_cure_of_too_little_headroom_is_enough_and_a_step_less_is_not(
    radius: float, per_turn: float, halves: int, build: HelixBuild
) -> None:
    """The nearest change of each kind, by trying it and the next smaller one."""
    stock = read_plan(STOCK)
    helix = helix_of(HelixGiven(radius=radius, rise_per_turn=per_turn, turns=halves / 2), replace(build, ease=0.0))
    room = headroom_of(helix, stock)
    if clears(helix, stock):
        assert room == Headroom("pass")
        return
    assert room.outcome == "fail"
    exact = replace(helix, build=replace(helix.build, deck=helix.build.deck - room.short_by))
    assert exact.clear_left(helix.vertical(stock)) == pytest.approx(build.clear)

    def with_per_turn(length: float) -> Helix:
        return helix_of(HelixGiven(radius=radius, rise_per_turn=length, turns=halves / 2), helix.build)

    def with_radius(length: float) -> Helix:
        return helix_of(HelixGiven(radius=length, rise_per_turn=per_turn, turns=halves / 2), helix.build)

    def with_deck(length: float) -> Helix:
        return replace(helix, build=replace(helix.build, deck=length))

    for value, change, step in (
        (room.least_rise_per_turn, with_per_turn, -1e-4),
        (room.least_radius, with_radius, -1e-3),
        (room.thickest_deck, with_deck, 1e-4),
        (room.most_turns, lambda turns: replace(helix, turns=turns), 0.5 if build.straight else 0.02),
    ):
        if value is not None:
            assert clears(change(value), stock)
            assert not clears(change(value + step), stock)


def test_a_helix_that_stands_too_close_is_judged(tmp_path: Path) -> None:
    words = ["helix", "--scale", "HO", "--unit", "mm", "--radius", 660, "--rise-per-turn", 100, "--turns", "2.5"]
    answer = json.loads(run(*words, "--json").stdout)
    room = answer["helix"]["headroom"]
    assert (room["outcome"], answer["passes"]) == ("fail", False)
    assert room["short_by_m"] == pytest.approx(0.08 - answer["helix"]["clear_left_m"])
    plan = tmp_path / "low.toml"
    shown = run(*words, "--deck", 18, "-o", plan)
    assert (shown.exit_code, run(*words, "--strict").exit_code) == (0, 1)
    assert re.search(
        r"TOO LOW, by \d+.* mm: the deck above leaves .*One of these fixes it: a rise", shown.stdout, re.DOTALL
    )
    assert "# TOO LOW" in plan.read_text(encoding="utf-8")
    assert "One of these" not in run(*words[:8], 120, *words[9:]).stdout
    deck = 0.018 + 0.00635 + 0.512 / 87.1  # kept in the plan that was written, so that all others take it too
    assert json.loads(run("clearance", plan, "--json").stdout)["standard"]["deck_m"] == pytest.approx(deck, abs=1e-6)
    risers = json.loads(run("risers", plan, "--every", 400, "--line", "Helix", "--json").stdout)
    assert sum(risers[f"{part}_m"] for part in ("deck", "roadbed", "track")) == pytest.approx(deck, abs=1e-6)
    again = ["helix", "--plan", plan, "--radius", 660, "--rise-per-turn", 120, "--turns", 2, "--json"]
    assert json.loads(run(*again).stdout)["helix"]["structure_m"] == pytest.approx(deck, abs=1e-6)


def _line_points(hill: Hill, name: str) -> NDArray[np.float64]:
    tracks = [each for each in hill.plan.lines[name].tracks if each.rise is None]
    own = hill.layout.alignment
    return np.concatenate(
        [np.column_stack(_along(own.tracks[t.id].sections, own.positions.tracks[t.id])) for t in tracks]
    )


def _shares(points: NDArray[np.float64]) -> NDArray[np.float64]:
    steps = np.hypot(*np.diff(points, axis=0).T)
    return np.append(0.0, np.cumsum(steps)) / steps.sum()


@given(helices, st.sampled_from([None, 0.07]))
@example(Helix(1.0, 1.0, 0.19, replace(usual_helix_build(read_plan(STOCK)), ease=0.1, vertical=0.0)), None)
@settings(max_examples=12)
def test_of_two_tracks_the_outer_is_flatter_and_both_keep_their_distance(helix: Helix, centers: float | None) -> None:
    """Grades by the engine, and the distance and the floor by points along both tracks of the plan."""
    stock = read_plan(STOCK)
    helix = replace(helix, build=replace(helix.build, two=True, centers=centers))
    hill = helix.hill(stock)
    outer, inner = (hill.layout.profile(route).ruling() for route in ("Up", "Up inner"))
    assert outer.grade == pytest.approx(helix.outer_grade, rel=1e-7)
    assert inner.grade == pytest.approx(helix.grade, rel=1e-7)
    assert outer.effective < inner.effective
    assert outer.effective == pytest.approx(helix.effective_grade(coefficient_of(stock), outer=True), rel=1e-7)
    outside, inside = _line_points(hill, "Outer"), _line_points(hill, "Inner")
    apart = float(helix.build.apart(helix.radius))
    up_outer, up_inner = _shares(outside), _shares(inside)
    least = min(
        float(np.hypot(*(outside - point).T)[abs(up_outer - share) * helix.turns < 0.4].min())  # on the same turn
        for point, share in zip(inside[::5], up_inner[::5], strict=True)
    )
    assert least == pytest.approx(apart, rel=0.01)
    spans = sorted(np.ptp(outside, axis=0) + 2 * helix.build.edge, reverse=True)
    assert all(span <= side * (1 + 1e-6) for span, side in zip(spans, helix.floor, strict=True))
    if centers is None:
        assert apart >= float(spacing_of(stock).wanted(np.array(1 / helix.radius), np.array(1 / helix.outer_radius)))


@pytest.mark.parametrize("words", ["--tracks 2 --radius 600", "--tracks 2 --ease 200 --straight 400 --radius 560"])
def test_two_tracks_and_straight_sides_pass_the_clearance_of_their_plan(tmp_path: Path, words: str) -> None:
    plan = tmp_path / "helix.toml"
    shown = run(
        "helix", "--scale", "H0", "--unit", "mm", "--practice", "NEM", *words.split(), "--rise-per-turn", 110,
        "--turns", 3, "-o", plan,
    ).stdout  # fmt: skip
    assert "TOO LOW" not in shown
    found = json.loads(run("clearance", plan, "--json").stdout)
    beside = [each for each in found["places"] if each["rule"] == "side room"]
    assert beside
    assert {each["outcome"] for each in beside} == {"pass"}
