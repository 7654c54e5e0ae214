"""Risers: the railheads of an independent walk, heights rounded each by itself, and what stands beside."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import brute_walk
from command_line import run
from gradehaul.design.risers.risers import RiserBuild, Risers, risers_along, usual_riser_build
from gradehaul.design.risers.strip import PageRoom, strip_pages
from gradehaul.design.risers.walk import walk_along
from gradehaul.errors import DesignError, GradehaulError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import load_plan, read_plan
from gradehaul.scales import scale_named
from gradehaul.track.proximity.spacing import spacing_of
from project import PLANS
from strategies import ROUTE, layouts
from strategies import Layout as Written

HO = scale_named("HO")
NEED = 0.5 * HO.stock_width + HO.side_clearance + 0.75 * 0.0254
"""Half the width of stock, the room beside it, and half a 1x2 laid flat, m."""
BUILD = RiserBuild(0.012, 0.005, 0.005, rule=0.0005, level=0.6, datum=1.0)
HEAD = 'scale = "HO"\nunit = "mm"\nrailhead.A = 0\n'


@given(layouts(lap=False, most=8), st.floats(0.05, 0.5), st.floats(0.0, 0.3), st.sampled_from([0.0005, 0.0254 / 32]))
@settings(max_examples=25, deadline=None)
def test_each_riser_is_within_half_a_step_of_an_independent_walk(
    written: Written, every: float, begin: float, rule: float
) -> None:
    layout = Layout(read_plan(written.text))
    walk = walk_along(layout, route=ROUTE)
    every, begin = every * walk.length, begin * walk.length
    build = RiserBuild(0.012, 0.005, 0.005, rule=rule, level=0.6)
    found = risers_along(walk, build, every=every, begin=begin).risers
    places = np.array([riser.at for riser in found])
    heights = brute_walk.railhead(written.chain, places)
    tops = heights - 0.022
    assert [riser.railhead for riser in found] == pytest.approx(heights.tolist(), abs=1e-7)
    for riser, top in zip(found, tops.tolist(), strict=True):
        assert abs(riser.cut - top) <= 0.5 * rule + 1e-7
        assert riser.cut / rule == pytest.approx(round(riser.cut / rule), abs=1e-6)
        assert riser.residual == pytest.approx(riser.cut - top, abs=1e-7)
    assert sum(riser.change or 0.0 for riser in found) == pytest.approx(found[-1].cut - found[0].cut, abs=1e-9)


@given(layouts(lap=False, most=8), st.floats(0.05, 0.5), st.sampled_from([0.0, 0.13]))
@settings(max_examples=40, deadline=None)
def test_risers_stand_wherever_a_deck_needs_one_and_none_twice(written: Written, every: float, begin: float) -> None:
    """At both ends, at joints, evenly between; and from one to the next the railhead is one parabola."""
    layout = Layout(read_plan(written.text))
    walk = walk_along(layout, route=ROUTE)
    every, begin = every * walk.length, begin * walk.length
    joint = 0.5 * (begin + walk.length)
    found = risers_along(walk, replace(BUILD, datum=None), every=every, begin=begin, deck_joints=[joint]).risers
    places = np.array([riser.at for riser in found])
    assert np.diff(places).min() >= 0.01
    wanted = [begin, joint, walk.length, *np.arange(begin, walk.length, every)]
    wanted += [at for at, _ in walk.joints if at >= begin]
    assert np.abs(places - np.array(wanted)[:, None]).min(axis=1).max() <= 0.01
    assert places[[0, -1]] == pytest.approx([begin, walk.length], abs=1e-9)
    for one, two in pairwise(places.tolist()):
        if two - one > 0.03:
            at = np.linspace(one + 0.011, two - 0.011, 9)
            heights = brute_walk.railhead(written.chain, at)
            parabola = np.polynomial.Polynomial.fit(at, heights, 2)(at)
            assert heights == pytest.approx(parabola, abs=1e-8)


def bent(s: np.ndarray, straight: float, radius: float, angle: float) -> np.ndarray:
    """Places, x + iy, on a straight, a left-hand curve and one more straight, written down from their geometry."""
    turned = np.clip((s - straight) / radius, 0, angle)
    beyond = np.maximum(s - straight - radius * angle, 0)
    return np.minimum(s, straight) + 1j * radius * (1 - np.exp(1j * turned)) + beyond * np.exp(1j * angle)


@given(st.floats(250, 900), st.floats(250, 700), st.integers(20, 330), st.floats(200, 1300))
@settings(max_examples=25, deadline=None)
def test_a_level_with_the_block_under_its_low_end_reads_level(
    straight: float, radius: float, degrees: int, level: float
) -> None:
    """The two ends of the level are as far along the track from the riser, and a level apart: all in mm, by trial."""
    angle = math.radians(degrees)
    length = 2 * straight + radius * angle
    track = f"[{{ straight = {straight} }}, {{ left = {radius}, angle = {degrees} }}, {{ straight = {straight} }}]"
    line = f'line.Hill = {{ from = "A", to = "B", track = {track} }}'
    layout = Layout(read_plan(f"{HEAD}railhead.B = {0.04 * length}\n{line}"))
    build = RiserBuild(0, 0, 0, rule=0.0005, level=level / 1000)
    found = risers_along(walk_along(layout), build, every=0.13 * length / 1000)
    halves = np.arange(0, min(level, length / 2), 0.1)
    longest = [level]
    for riser in found.risers:
        behind = np.clip(1000 * riser.at - halves, 0, length - 2 * halves)
        chords = np.abs(bent(behind + 2 * halves, straight, radius, angle) - bent(behind, straight, radius, angle))
        most = chords[chords >= halves].max()
        assume(abs(most - level) > 2)
        longest.append(min(level, most))
        if most < level:
            assert riser.block is None
        else:
            assert riser.block is not None
            assert riser.low_end == "behind"
            half = halves[(chords >= level) & (halves >= level / 2 - 0.1)].min()
            assert 1000 * riser.block == pytest.approx(0.04 * 2 * half, abs=0.02)
    if min(longest) < level:
        assert found.longest_level is not None
        assert 1000 * found.longest_level == pytest.approx(min(longest), abs=1.5)
    else:
        assert found.longest_level is None


@pytest.mark.parametrize("falls", [10, 30, 50])
def test_over_a_summit_the_level_rests_on_it_and_on_the_block(falls: int) -> None:
    """A level is held by the highest place under it and by the block, one on either side of its middle."""
    track = "[{ straight = 1510, rise = 60 }, { straight = 1490 }]"
    line = f'line.Hill = {{ from = "A", to = "B", track = {track} }}'
    layout = Layout(read_plan(f"{HEAD}railhead.B = {60 - falls}\n{line}"))
    found = risers_along(walk_along(layout), BUILD, every=0.1)
    for riser in found.risers:
        start = min(max(riser.at - 0.3, 0.0), 2.4)
        at = np.linspace(start, start + 0.6, 6001)
        track = np.interp(at, [0.0, 1.51, 3.0], [0.0, 0.06, 0.06 - falls / 1000])
        raised = 0 if riser.low_end == "behind" else -1
        assert riser.block == pytest.approx(track.max() - track[raised], abs=1e-5)
        assert abs(at[raised] - at[track.argmax()]) >= 0.3 - 1e-4


@pytest.mark.parametrize(("radius", "longest"), [(280, "550 mm"), (300, "590 mm"), (301, None)])
def test_a_level_longer_than_the_curve_is_wide_has_no_block(radius: int, longest: str | None, tmp_path: Path) -> None:
    """As an arc of the curve up to its diameter, 2 R asin(L / 2R); beyond that it does not lie on the track."""
    plan = tmp_path / "helix.toml"
    track = f"{{ left = {radius}, angle = 1080 }}"
    text = f'{HEAD}railhead.B = 200\nline.Hill = {{ from = "A", to = "B", track = [{track}] }}'
    plan.write_text(text, encoding="utf-8")
    said = " ".join(run("risers", str(plan), "--every", "500").stdout.split())
    assert (" –" in said) == (longest is not None)
    if longest:
        assert f"the level is too long to lie on the track: --level '{longest}' is" in said
        arc = 2 * radius * math.asin(float(longest.removesuffix(" mm")) / 2 / radius)
        shown = json.loads(run("risers", str(plan), "--every", "500", "--level", longest, "--json").stdout)
        blocks = [riser["block_m"] for riser in shown["risers"]]
        assert blocks[3:-3] == pytest.approx([arc * 0.2 / (radius * 6 * math.pi)] * len(blocks[3:-3]), abs=1e-5)


def on_plan(name: str, *, line: str | None = None, route: str | None = None, **mm: float) -> Risers:
    layout = Layout(load_plan(PLANS / f"{name}.toml"))
    lengths = {key: value / 1000 for key, value in mm.items()}
    every = lengths.pop("every")
    return risers_along(
        walk_along(layout, line=line, route=route), usual_riser_build(layout.plan, "metric", **lengths), every=every
    )


def test_railheads_are_those_of_check_along_a_line() -> None:
    found = on_plan("two-levels", every=250.0, line="Helix", datum=900.0)
    tracks = found.walk.layout.alignment.tracks
    begin = 0.0
    for track in found.walk.layout.plan.lines["Helix"].tracks:
        for riser in found.risers:
            if begin <= riser.at <= begin + track.length:
                assert riser.railhead == pytest.approx(float(tracks[track.id].railhead(riser.at - begin)), abs=1e-12)
        begin += track.length


def test_a_route_run_back_has_the_same_heights() -> None:
    layout = Layout(load_plan(PLANS / "n-mountain.toml"))
    up, down = walk_along(layout, route="Southbound"), walk_along(layout, route="Northbound")
    at = np.linspace(0, up.length, 41)
    assert up.length == pytest.approx(down.length)
    assert up.railhead.at(at) == pytest.approx(down.railhead.at(up.length - at), abs=1e-9)
    there, headings, curvature = up.places(at)
    back, turned, other = down.places(up.length - at)
    assert np.abs(there - back).max() < 1e-6
    assert np.cos(headings - turned) == pytest.approx(-1.0, abs=1e-9)
    assert [name for _, name in up.joints] == [name for _, name in down.joints][::-1]
    inside = [n for n in range(41) if curvature[n] and other[n]]
    assert curvature[inside] == pytest.approx(-other[inside], abs=0.02)


def test_places_count_from_the_joint_before() -> None:
    found = on_plan("n-mountain", every=500.0, route="Southbound")
    joints = {name: at for at, name in found.walk.joints}
    for riser in found.risers:
        assert riser.at == pytest.approx(joints[riser.joint] + riser.after)
        assert all(not joints[riser.joint] < at <= riser.at - 1e-6 for at in joints.values())


def test_a_second_track_stands_beside_with_its_own_railhead() -> None:
    text = f"""{HEAD}
railhead.C = 12
line.Low = {{ from = "A", to = "B", track = [{{ straight = 2000, grade = "2 %" }}] }}
line.High = {{ from = "C", to = "D", at = [0, 60], track = [{{ straight = 2000, grade = "2 %" }}] }}
line.Far = {{ from = "E", to = "F", at = [0, 400], track = [{{ straight = 2000, rise = 0 }}] }}
line.Over = {{ from = "G", to = "H", at = [0, 50], track = [{{ straight = 2000, rise = 0 }}] }}
railhead.E = 0
railhead.G = 130
map.joint = "A"
"""
    layout = Layout(read_plan(text))
    for riser in risers_along(walk_along(layout, line="Low"), BUILD, every=0.5).risers:
        (beside,) = riser.beside
        assert (beside.line, beside.offset) == ("High", pytest.approx(0.060, abs=1e-6))
        assert beside.railhead == pytest.approx(riser.railhead + 0.012, abs=1e-6)


def test_a_track_that_turns_slowly_away_is_beside_until_it_ends() -> None:
    text = f"""{HEAD}
railhead.C = 12
line.Low = {{ from = "A", to = "B", track = [{{ straight = 2000, rise = 0 }}] }}
line.Aside = {{ from = "C", to = "D", at = [0, 60], heading = 2, track = [{{ straight = 1200, rise = 0 }}] }}
map.joint = "A"
"""
    found = risers_along(walk_along(Layout(read_plan(text)), line="Low"), BUILD, every=0.5)
    assert [len(riser.beside) for riser in found.risers] == [1, 1, 1, 0, 0]
    for riser in found.risers[1:3]:
        (beside,) = riser.beside
        foot = (0.060 + riser.at * math.tan(math.radians(2))) * math.cos(math.radians(2))
        assert beside.offset == pytest.approx(foot * math.cos(math.radians(2)), rel=1e-3)
    for angle, beside in ((19.5, 1), (20.5, 0)):  # more than 20 degrees is not beside
        turned = text.replace("heading = 2,", f"heading = {angle},")
        first = risers_along(walk_along(Layout(read_plan(turned)), line="Low"), BUILD, begin=0.05, every=0.5).risers[0]
        assert len(first.beside) == beside


HILL = f'{HEAD}line.Hill = {{ from = "A", to = "B", track = [{{ straight = 1000, grade = "-2 %" }}] }}\n'
WRONG = {
    "nothing": ({"every": "0"}, "--every: the spacing must be more than 0, got 0 mm"),
    "negative": ({"every": "-400"}, "--every: the spacing must be more than 0, got -400 mm"),
    "longer": ({"every": "1200"}, "--every: this is longer than Hill, got 1200 mm on 1000 mm"),
    "before": ({"every": "100", "begin": "-5"}, "--from: the first riser must stand on Hill, got -5 mm on 1000 mm"),
    "beyond": ({"every": "100", "begin": "1001"}, "--from: the first riser must stand on Hill"),
    "crowd": ({"every": "0.5"}, "--every: at most 1000 risers in one answer"),
    "floor": (
        {"every": "100", "datum": "30"},
        "--datum: riser 4, railhead -6 mm, would be cut to -1 mm, got 30 mm; write more than 45.1783 mm",
    ),
    "below 0": ({"every": "100", "datum": "-3"}, "riser 1, railhead 0 mm, would be cut to -28 mm, got -3 mm"),
    "thin": ({"every": "100", "deck": "-1"}, "--deck: deck must be 0 or more, got -1"),
    "rule": ({"every": "100", "rule": "0"}, "--rule: rule must be more than 0, got 0"),
    "words": ({"every": "often"}, "--every: "),
    "line": ({"every": "100", "line": "Hil"}, 'the plan has no line of this name, got "Hil"; write "Hill"'),
}


@pytest.mark.parametrize("name", WRONG)
def test_refused(name: str, tmp_path: Path) -> None:
    options, words = WRONG[name]
    (tmp_path / "hill.toml").write_text(HILL)
    flags = [f"--{'from' if key == 'begin' else key}={value}" for key, value in options.items()]
    result = run("risers", str(tmp_path / "hill.toml"), *flags)
    assert result.exit_code == 2
    assert words in result.output


def test_a_route_that_is_reversed_is_walked_leg_by_leg() -> None:
    layout = Layout(load_plan(PLANS / "switchback.toml"))
    whole = next(route for route in layout.routes if route.legs)
    with pytest.raises(GradehaulError, match="reversed on the way"):
        walk_along(layout, route=whole.name)
    assert walk_along(layout, route=whole.legs[1].name).length > 0


# The strip


def hill(track: str, every: float = 0.2) -> Risers:
    text = f'{HEAD}line.Hill = {{ from = "A", to = "B", track = [{track}] }}\n'
    return risers_along(walk_along(Layout(read_plan(text))), BUILD, every=every)


def test_strip_pages_hold_what_is_on_them_and_meet() -> None:
    found = hill("{ straight = 900 }, { left = 300, angle = 200, ease = 80 }, { straight = 700 }")
    paper = PageRoom(0.277, 0.16)
    pages = strip_pages(found, 99.0, paper, 0.025)
    assert pages[0].start == 0.0
    assert pages[-1].stop == pytest.approx(found.walk.length)
    assert [page.stop for page in pages[:-1]] == [page.start for page in pages[1:]]
    assert {riser.number for page in pages for _, riser in page.risers} == {riser.number for riser in found.risers}
    for page in pages:
        assert np.ptp(page.line.real) <= 0.277 + 1e-6
        assert np.abs(page.line.imag).max() <= 0.5 * 0.16
        for mark, _ in page.risers:
            assert abs(mark.place.imag) + 0.025 <= 0.08 + 1e-6
            near = np.abs(page.line - mark.place).argsort()[:2]
            along = np.diff(page.line[np.sort(near)])[0]
            assert math.remainder(np.angle(along) - mark.heading, math.tau) == pytest.approx(0.0, abs=0.01)


TOO_SMALL = {
    "mark": (PageRoom(0.277, 0.16), 0.09, "the page is too small for one riser: its mark is 180 mm wide"),
    "curve": (PageRoom(0.03, 0.16), 0.025, "the page is too small for this curve"),
}


@pytest.mark.parametrize("name", TOO_SMALL)
def test_a_page_too_small_is_refused(name: str) -> None:
    paper, half, words = TOO_SMALL[name]
    with pytest.raises(DesignError, match=words):
        strip_pages(hill("{ straight = 900 }"), 1.0, paper, half)


def test_a_strip_has_a_length_and_an_end() -> None:
    found = hill("{ straight = 90000 }", every=10.0)
    with pytest.raises(DesignError, match="a strip must be longer than 0"):
        strip_pages(found, 0.0, PageRoom(0.277, 0.16), 0.02)
    with pytest.raises(DesignError, match="at most 100 pages"):
        strip_pages(found, 90.0, PageRoom(0.277, 0.16), 0.02)


def test_risers_of_upper_turns_are_said_to_stand_over_track() -> None:
    found = on_plan("two-levels", every=500.0, line="Helix", datum=900.0)
    turn = 2 * math.pi * 0.6
    assert found.below == tuple(each.number for each in found.risers if each.at > turn + 0.15)
    assert on_plan("n-mountain", every=500.0, route="Southbound").below == ()


def test_how_much_a_turn_rises_is_said_only_over_the_turn_below() -> None:
    found = on_plan("two-levels", every=500.0, route="Up by the siding").risers
    turns = [riser.at for riser in found if riser.per_turn is not None]
    turn = 2 * math.pi * 0.6
    assert 2.75 + turn < min(turns) < 2.75 + turn + 0.5
    assert max(turns) < 14.2


def test_risers_of_a_turn_are_said_to_stand_over_the_turns_of_another_line() -> None:
    turn = "[line.%s]\nfrom = %r\nto = %r\ntrack = [{ left = 600, angle = 360 }]\n"
    heights = "[railhead]\nA = 0\nB = 100\nC = 200\n"
    plan = read_plan('scale = "H0"\nunit = "mm"\n' + heights + turn % ("Lower", "A", "B") + turn % ("Upper", "B", "C"))
    walk = walk_along(Layout(plan), line="Upper")
    found = risers_along(walk, usual_riser_build(plan, "metric", datum=0.9), every=0.5)
    assert found.below == tuple(each.number for each in found.risers)


def test_decks_counted_from_the_floor_stand_on_what_lies_above_it(tmp_path: Path) -> None:
    (tmp_path / "hill.toml").write_text(HILL.replace("A = 0", "A = 1000"))
    high, low = (
        json.loads(run("risers", tmp_path / "hill.toml", "--every", "200", "--datum", datum, "--json").stdout)["risers"]
        for datum in ("0", "-900")
    )
    assert [riser["top_m"] - 0.9 for riser in high] == pytest.approx([riser["top_m"] for riser in low], abs=1e-6)
    assert "what the risers stand on, 900 mm higher." in " ".join(
        run("risers", tmp_path / "hill.toml", "--every", "200", "--datum", "-900").stdout.split()
    )


@pytest.mark.parametrize("slope", [0.03, -0.02])
@pytest.mark.parametrize("cross", [0, 40])
def test_a_block_on_the_deck_below_never_takes_more_than_the_room_there(slope: float, cross: float) -> None:
    """A line over two on a slope, along them or across: the room over the higher, at most a car's width away."""
    text = f"""{HEAD}railhead.C = 20
railhead.E = 200
line.Low = {{ from = "A", to = "B", track = [{{ straight = 2000, grade = "{100 * slope} %" }}] }}
line.Side = {{ from = "C", to = "D", at = [0, 20], track = [{{ straight = 2000, grade = "{100 * slope} %" }}] }}
line.Over = {{ from = "E", to = "F", at = [1000, 0], heading = {cross}, track = [{{ straight = 800, grade = "1 %" }}] }}
"""
    layout = Layout(read_plan(text))
    walk = walk_along(layout, line="Over")
    wide = layout.plan.scale.stock_width
    for riser in risers_along(walk, BUILD, every=0.05).risers:
        spot = complex(walk.places(riser.at)[0][0])
        off = spot.imag - 0.02
        if abs(off) < 0.9 * wide:
            room = 0.2 + 0.01 * riser.at - (0.02 + slope * spot.real) - BUILD.deck
            assert riser.on_deck is not None
            assert room - 0.05 * wide < riser.on_deck <= room + 0.0001
        elif abs(off) > 0.02 + max(wide, NEED):
            assert riser.on_deck is None


@pytest.mark.parametrize("cross", [0, 40, 90])
@pytest.mark.parametrize("side", [0, 10, 18, 30, 43, 46])
def test_no_block_stands_where_stock_passes_below(cross: float, side: float) -> None:
    """By hand: a block's center line, half a block, the room beside stock and half its width, square to the track."""
    text = f"""{HEAD}railhead.E = 200
line.Low = {{ from = "A", to = "B", at = [-1000, {-side}], track = [{{ straight = 2000, rise = 0 }}] }}
line.Over = {{ from = "E", to = "F", at = [0, 0], heading = {cross}, track = [{{ straight = 400, rise = 0 }}] }}
"""
    layout = Layout(read_plan(text))
    for riser in risers_along(walk_along(layout, line="Over"), BUILD, every=0.02).risers:
        apart = side / 1000 + riser.at * math.sin(math.radians(cross))
        below = riser.below
        if apart > NEED:
            assert below is None
            continue
        assert below is not None
        assert (below.track, below.apart) == ("Low:1", pytest.approx(apart, abs=1e-6))
        assert below.clear == pytest.approx(NEED - 0.01905)
        assert below.fits is below.beside is (not cross and side < 16.5)


def test_on_a_curve_below_a_block_keeps_clear_of_what_stock_overhangs() -> None:
    low = 'line.Low = { from = "A", to = "B", at = [0, 0], track = [{ left = 400, angle = 90 }] }\n'
    over = 'line.Over = { from = "E", to = "F", at = [200, 0], heading = 90, track = [{ straight = 300, rise = 0 }] }\n'
    layout = Layout(read_plan(f"{HEAD}railhead.B = 0\nrailhead.E = 200\n{low}{over}"))
    (least,) = {
        riser.below.clear
        for riser in risers_along(walk_along(layout, line="Over"), BUILD, every=0.02).risers
        if riser.below is not None
    }
    overhang = float(spacing_of(layout.plan).overhang(np.array(2.5)))
    assert overhang > 0.002
    assert least == pytest.approx(NEED - 0.01905 + overhang)


@pytest.mark.parametrize("ease", [0, 150])
def test_on_a_helix_each_riser_has_its_turn_and_the_rise_over_the_turn_before(ease: int) -> None:
    """Against arithmetic: on the even part of a helix one turn is 2 pi R long, wherever on the turn a riser stands."""
    track = f"{{ straight = 400, rise = 0 }}, {{ right = 500, angle = 1080, ease = {ease} }}"
    text = f'{HEAD}railhead.B = 330\nline.Hill = {{ from = "A", to = "B", track = [{track}] }}\n'
    found = risers_along(walk_along(Layout(read_plan(text))), BUILD, every=0.19)
    turn = 2 * math.pi * 0.5
    grade = 0.33 / (3 * turn + ease / 1000)
    for riser in found.risers:
        along = riser.at - 0.4 - ease / 2000
        if ease / 1000 < along < 3 * turn - ease / 1000:
            assert riser.turned == pytest.approx(-along / 0.5, abs=1e-6)
            if along > turn + ease / 1000:
                assert riser.per_turn == pytest.approx(grade * turn, abs=2e-6)
        if along < turn - 1e-3:
            assert riser.per_turn is None
    head = HEAD + "railhead.B = 20\n"
    s_curve = "{ left = 500, angle = 300 }, { right = 500, angle = 300 }"
    text = f'{head}line.Hill = {{ from = "A", to = "B", track = [{s_curve}] }}\n'
    assert {riser.per_turn for riser in risers_along(walk_along(Layout(read_plan(text))), BUILD, every=0.3).risers} == {
        None
    }
    words = run("risers", PLANS / "two-levels.toml", "--line", "Helix", "--every", "471 mm").stdout
    assert re.search(r"\d+ +8949 .* 87 .* 3: 120° ", words)


def test_helix_risers_and_clearance_assume_one_deck(tmp_path: Path) -> None:
    """The thicker of what used to be three: 1/2 in, 1/4 in, and rail and ties of 0.512 m at full size."""
    for scale, ratio in (("HO", 87.1), ("N", 160), ("O", 48)):
        deck = 0.0127 + 0.00635 + 0.512 / ratio
        plan = tmp_path / f"{scale}.toml"
        plan.write_text(HILL.replace('"HO"', f'"{scale}"'))
        words = ["helix", "--scale", scale, "--radius", "36 in", "--rise-per-turn", "8 in", "--turns", "2", "--json"]
        assert json.loads(run(*words).stdout)["helix"]["structure_m"] == pytest.approx(deck, abs=1e-6)
        risers = json.loads(run("risers", plan, "--every", "100", "--json").stdout)
        assert sum(risers[f"{part}_m"] for part in ("deck", "roadbed", "track")) == pytest.approx(deck, abs=1e-6)
        clearance = json.loads(run("clearance", plan, "--json").stdout)["standard"]
        assert clearance["deck_m"] == pytest.approx(deck, abs=1e-6)


@pytest.mark.parametrize("begin", [0.0, 0.7, 2.0, 5.9])
def test_track_that_a_route_runs_over_again_has_its_risers_once(begin: float) -> None:
    """Out over a line, round a loop, and home over the same line."""
    round_again = """
railhead.J = 30
line.Low = { from = "A", to = "J", track = [{ straight = 700 }, { straight = 800 }] }
line.Loop = { from = "J", to = "J", track = [
    { left = 500, angle = 60 }, { right = 500, angle = 300 }, { left = 500, angle = 60 }] }
turnout.J = { toe = "Low", legs = ["Loop.from", "Loop.to"] }
route.Round = { from = "A", to = "A", via = ["Loop"] }
"""
    walk = walk_along(Layout(read_plan(HEAD + round_again)), route="Round")
    places = [riser.at for riser in risers_along(walk, BUILD, every=0.25, begin=begin).risers]
    assert places[0] == begin
    spots = walk.places(places)[0]
    twice = np.abs(spots[:, None] - spots) < 0.0099
    assert twice.sum() == len(places)
    every = walk.places(np.linspace(begin, walk.length, 2000))[0]
    assert np.abs(every[:, None] - spots).min(axis=1).max() < 0.26


@pytest.mark.parametrize("back", [False, True])
def test_a_route_turns_where_drawn_lines_part_at_an_angle(back: bool) -> None:
    """At (1000, 0) the second line leaves by 10 degrees to the left: its middle lies by hand at 1000 + 500 cos 10."""
    lines = 'line.One = { from = "A", to = "B", at = [0, 0], heading = 0, track = [{ straight = 1000 }] }\n'
    two = 'line.Two = { from = "B", to = "C", at = [1000, 0], heading = "10 degrees", track = [{ straight = 1000 }] }\n'
    ends = ("C", "A") if back else ("A", "C")
    route = f"route.Up = {{ from = {ends[0]!r}, to = {ends[1]!r} }}\n"
    walk = walk_along(Layout(read_plan(HEAD + "railhead.C = 20\n" + lines + two + route)), route="Up")
    places, headings, _ = walk.places([0.5, 1.5] if not back else [1.5, 0.5])
    turn = math.radians(10)
    assert places == pytest.approx([0.5, 1 + 0.5 * math.cos(turn) + 0.5j * math.sin(turn)])
    assert headings[1] - headings[0] == pytest.approx(turn)
