"""The copy of a plan with leveled railheads, wherever its tracks are written; and laps and reversals leveled."""

from __future__ import annotations

import shutil
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from command_line import run
from demos import layout_of, leveled_of, plan_of
from gradehaul.design.level.plan_copy import leveled_plan
from gradehaul.design.level.railheads import Leveled, leveled
from gradehaul.errors import PlanError
from gradehaul.haulage.answers.check import check_layout
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.train import build_train
from gradehaul.plan import load_plan, read_plan
from gradehaul.track.alignment import align
from gradehaul.track.heights.railhead import solve_railheads
from project import PLANS

HEAD = """
scale = { ratio = 87.1, gauge = "16.5 mm" }
unit = "m"
curve_resistance = { model = "coefficient", coefficient = 0.008 }
"""
STOCK = """
[loco.mule]
mass = "400 g"
length = 0.2
pull.clean = "100 gf"
[car.ore]
mass = "100 g"
length = 0.1
"""
TRAIN = """
[route.Up]
from = "A"
to = "B"
[train.up]
route = "Up"
consist = ["mule", "4 ore"]
"""


def farthest_off(found: Leveled, copy: Path) -> float:
    """Return how far the railheads of a copy are from those found, m."""
    again = solve_railheads(load_plan(copy))
    return max(
        float(np.abs(again.lines[line].railhead - found.heights[own]).max())
        for line, (own, _) in found.stations.lines.items()
    )


@pytest.mark.parametrize(
    "name", ["bench", "cove", "first-hill", "hollow", "landing", "n-mountain", "switchback", "two-levels"]
)
def test_a_copy_holds_the_heights_found_and_its_check_shows_the_grades_reported(tmp_path: Path, name: str) -> None:
    for each in PLANS.iterdir():
        shutil.copy(each, tmp_path)
    before = replace(plan_of(name), file=str(tmp_path / f"{name}.toml"))
    same_as_reported(replace(leveled_of(name), plan=before), tmp_path)
    after = load_plan(tmp_path / "leveled.toml")
    assert list(before.tracks) == list(after.tracks)
    one, two = ([track.length for track in align(plan).tracks.values()] for plan in (before, after))
    assert one == pytest.approx(two)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(st.sampled_from([0.3, 0.7, 1.2]), st.sampled_from([0.0, 0.35, 0.6, 1.0])), min_size=3, max_size=6
    ),
    st.sampled_from([0.05, 0.1]),
    st.sampled_from([0.0, 0.05, 0.1, 0.3]),
    st.sampled_from(["m", "mm", "in"]),
)
def test_check_of_any_leveled_hill_shows_the_grades_reported(
    tracks: list[tuple[float, float]], rise: float, curve: float, unit: str
) -> None:
    rows = [
        f'{{ left = "{radius} m", length = "{length} m" }}' if radius else f'{{ straight = "{length} m" }}'
        for length, radius in tracks
    ]
    text = (
        HEAD.replace('unit = "m"', f'unit = "{unit}"').replace("coefficient = 0.008", 'coefficient = "8 mm"')
        + f'railhead = {{ A = 0, B = "{rise} m" }}\nvertical_curve.length = "{curve} m"\n'
        + f'[line.Hill]\nfrom = "A"\nto = "B"\ntrack = [{", ".join(rows)}]\n'
        + STOCK.replace("0.2", '"0.2 m"').replace("0.1", '"0.1 m"')
        + TRAIN
    )
    with TemporaryDirectory() as folder:
        file = Path(folder) / "plan.toml"
        file.write_text(text, encoding="utf-8")
        same_as_reported(leveled(Layout(load_plan(file))), Path(folder))


def same_as_reported(found: Leveled, folder: Path) -> None:
    """Write the leveled copy: it has the heights found, the reported ruling grades, and none harder under a train."""
    plan, copy = found.plan, folder / "leveled.toml"
    copy.write_text(leveled_plan(found, folder), encoding="utf-8")
    assert farthest_off(found, copy) < 2e-5
    layout = Layout(load_plan(copy))
    shown = {answer.route.name: answer.ruling.effective for answer in check_layout(layout, rails=("clean",)).routes}
    assert shown == {each.route: pytest.approx(each.leveled, abs=2e-6) for each in found.rulings}
    for each in found.hardest:
        for profile, _ in layout.profile(plan.trains[each.train].route).approached:
            first = min(profile.compensated.start, -2 * profile.length * profile.route.lap)
            at = np.linspace(first, profile.length, 4001)
            compensated = profile.with_track_behind(2 * profile.length).continued(at)
            train = build_train(plan, plan.trains[each.train]).after(profile.route.run_rounds)
            for cars in range(sum(count for _, count in train.cars) + 1):
                part = train.with_cars(0, cars)
                if part.length <= profile.length:
                    heads = np.arange(profile.first_head(part.length), profile.length, 0.01)
                    masses = [block.mass for block in part.blocks]
                    assert sampled(compensated, at, part.edges.tolist(), masses, heads) <= each.leveled + 5e-5
    harder = [each for each in (*found.hardest, *found.rulings) if each.leveled > each.even + 1e-4]
    rolls = [each for each in found.parked if each.roll_after]
    assert found.passes == (not harder and not rolls and not any(each.newly_fails for each in found.compare()))


def test_the_track_behind_a_start_is_leveled_with_the_route(tmp_path: Path) -> None:
    """The train stands on the lower part of the hill as it starts: evenly, as where the route begins at its foot."""
    lines = """
railhead = { A = 0, B = 0.12 }
vertical_curve.length = 0
[line.Lower]
from = "A"
to = "M"
track = [{ straight = 1.2 }, { left = 0.6, length = 0.6 }]
[line.Upper]
from = "M"
to = "B"
track = [{ straight = 1.2 }]
"""
    plan = tmp_path / "plan.toml"
    plan.write_text(HEAD + lines + STOCK + TRAIN.replace('from = "A"', 'from = "M"'), encoding="utf-8")
    found = leveled(Layout(load_plan(plan)))
    same_as_reported(found, tmp_path)
    assert found.hardest[0].leveled < found.hardest[0].even - 1e-3


def test_a_vertical_curve_that_takes_back_what_was_gained_is_named_and_fails_strict() -> None:
    found = run("level", PLANS / "landing.toml", "--strict", "--show", "metric")
    assert found.exit_code == 1
    words = " ".join(found.stdout.split())
    assert "The hardest grade falls for 1 of 2 trains: for empties, 4.67 to 4.55 %; for the rest it changes" in words
    assert "One spot on Creek bend has a higher effective grade (4.94 %, was 4.67 %), but averaged" in words
    assert "loads does worse on treated rail: runs away, risk 54 % before; risk >99 % after." in words
    words = " ".join(run("level", PLANS / "switchback.toml").stdout.split())
    assert "stone does worse on treated fresh rail: gets through, risk 4 % before; risk 8 % after." in words
    assert "stone none none downhill or level all the way" in words
    assert run("level", PLANS / "first-hill.toml", "--strict").exit_code == 0


def test_a_train_that_newly_runs_away_fails_strict() -> None:
    text = (PLANS / "landing.toml").read_text()
    down = 'route   = "Down to the pond"\nconsist = ["geared", "'
    found = leveled(Layout(read_plan(text.replace(f'{down}8 log"]', f'{down}10 empty log"]'))))
    (worse,) = [each for each in found.worse if each.after.name == "loads"]
    assert (worse.before.outcome, worse.after.outcome) == ("climbs", "runs away")
    assert not found.passes


def test_ends_within_a_piece_are_told_along_the_line(tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(
        HEAD
        + "railhead = { A = 0, B = 0.1 }\n"
        + "[piece.bend]\ntrack = [{ left = 0.6, angle = 60 }, { straight = 0.5 }, { left = 0.6, angle = 60 }]\n"
        + '[line.Hill]\nfrom = "A"\nto = "B"\n'
        + 'track = [{ straight = 1 }, { piece = "bend" }, { piece = "bend", hand = "right" }, { straight = 1 }]\n'
        + STOCK
        + TRAIN,
        encoding="utf-8",
    )
    found = leveled(Layout(load_plan(plan)))
    assert not np.allclose(found.heights, found.even, atol=1e-4)
    copy = tmp_path / "copy.toml"
    copy.write_text(leveled_plan(found, tmp_path), encoding="utf-8")
    assert farthest_off(found, copy) < 2e-5
    text = copy.read_text(encoding="utf-8")
    assert 'piece = "bend"' in text
    assert len(load_plan(copy).lines["Hill"].railhead_at) == 6  # three ends in each piece


def test_a_copy_that_does_not_hold_every_height_found_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = tmp_path / "hill.toml"
    track = "[{ straight = 2 }, { left = 0.6, angle = 150 }, { straight = 2 }]"
    hill = f'railhead = {{ A = 0, B = 0.09 }}\nline.Hill = {{ from = "A", to = "B", track = {track} }}\n'
    plan.write_text(HEAD + hill + STOCK + TRAIN)
    found = leveled(Layout(load_plan(plan)))
    assert found.heights[0] == found.even[0]  # so the first does agree
    monkeypatch.setattr("gradehaul.design.level.plan_copy._write_ends", lambda *_: None)
    with pytest.raises(PlanError, match="its railheads cannot be changed in place"):
        leveled_plan(found)


def test_lines_of_an_included_file_are_refused(tmp_path: Path) -> None:
    track = "track = [{ straight = 1 }, { left = 0.6, angle = 90 }, { straight = 1 }]"
    (tmp_path / "hill.toml").write_text(f'[line.Hill]\nfrom = "A"\nto = "B"\n{track}\n{STOCK}', encoding="utf-8")
    plan = tmp_path / "plan.toml"
    plan.write_text(f'include = ["hill.toml"]\n{HEAD}[railhead]\nA = 0\nB = 0.1\n{TRAIN}', encoding="utf-8")
    with pytest.raises(PlanError, match='line "Hill": this is not in this file'):
        leveled_plan(leveled(Layout(load_plan(plan))), tmp_path)


def sampled(
    compensated: NDArray[np.float64],
    at: NDArray[np.float64],
    edges: list[float],
    weights: list[float],
    heads: NDArray[np.float64],
) -> float:
    """The hardest averaged effective grade by sampling: weights of blocks between edges behind the head."""
    demand = np.zeros(heads.size)
    for (front, back), weight in zip(pairwise(edges), weights, strict=True):
        demand += (
            weight
            * (np.interp(heads - front, at, compensated) - np.interp(heads - back, at, compensated))
            / (back - front)
        )
    return float((demand / sum(weights)).max())


def test_a_lap_is_leveled_with_the_lap_behind_it() -> None:
    text = (
        HEAD
        + "railhead = { A = 0, B = 0.05 }\n"
        + '[line.East]\nfrom = "A"\nto = "B"\ntrack = [{ straight = 1.2 }, { left = 0.5, angle = 180 }]\n'
        + '[line.West]\nfrom = "B"\nto = "A"\ntrack = [{ straight = 1.2 }, { left = 0.5, angle = 180 }]\n'
        + STOCK
        + '[route.Around]\nlap = ["East", "West"]\n[train.up]\nroute = "Around"\nconsist = ["mule", "12 ore"]\n'
    )
    found = leveled(Layout(read_plan(text)), change=0.2)
    (up,) = found.hardest
    assert up.leveled < up.even - 0.001
    lap = 2 * (1.2 + 0.5 * np.pi)
    east, west = (found.heights[found.stations.lines[name][0]] for name in ("East", "West"))
    bends = 0.008 / 0.5 * 0.5 * np.pi
    ends = np.array([0.0, 1.2, 1.2 + 0.5 * np.pi, 2.4 + 0.5 * np.pi, lap])
    once = np.concatenate([east, west[1:]]) + np.array([0.0, 0.0, bends, bends, 2 * bends])
    at = np.concatenate([ends[:-1] - lap, ends])
    compensated = np.concatenate([once[:-1] - 2 * bends, once])
    heads = np.arange(0.0, lap, 0.002)
    worst = max(
        sampled(
            compensated, at, [0.0, 0.2, 0.2 + 0.1 * cars][: 2 + (cars > 0)], [0.4, 0.1 * cars][: 1 + (cars > 0)], heads
        )
        for cars in range(13)
    )
    assert up.leveled == pytest.approx(worst, abs=5e-5)


def test_each_leg_of_a_route_with_reversals_is_leveled_its_train_turned() -> None:
    layout, found = layout_of("switchback"), leveled_of("switchback")
    result = {each.train: each for each in found.hardest}
    assert result["empties"].leveled < result["empties"].even - 0.005
    plan = layout.plan
    again = Layout(read_plan(leveled_plan(found), file=plan.file, folder=PLANS))
    for name, each in result.items():
        assert each.leveled <= each.even + 1e-5
        # no verdict is worse by the exact engine, with vertical curves and on both ages of the film
        for rail in layout.rails:
            assert again.verdict(name, rail=rail).margin >= layout.verdict(name, rail=rail).margin - 1e-4


@pytest.mark.parametrize(("angle", "kept"), [(720, True), (340, False)])
def test_turns_over_one_another_stay_apart(angle: int, kept: bool) -> None:
    """Curves want less grade than the lead to them, so that turns would sink onto those below."""
    plan = read_plan(
        HEAD.replace('{ ratio = 87.1, gauge = "16.5 mm" }', '"HO"')
        + "railhead = { A = 0, B = 0.25 }\n[line.Hill]\nfrom = 'A'\nto = 'B'\n"
        + f"track = [{{ straight = 4 }}, {{ left = 0.6, angle = {angle} }}]\n"
        + STOCK
        + TRAIN
    )
    found = leveled(Layout(plan))
    own, _ = found.stations.lines["Hill"]
    even, after = (float(np.diff(heights[own])[-1]) for heights in (found.even, found.heights))
    assert (after == pytest.approx(even, abs=1e-4)) == kept
    assert kept or after < even - 0.005


STANDING = f"""
{HEAD}
railhead = {{ A = 0, B = 0.14 }}
[line.Hill]
from = "A"
to = "B"
track = [
  {{ left = 0.6, length = 2 }},
  {{ straight = 2, berth = "Team" }},
  {{ left = 0.6, length = 2 }},
]
{STOCK}
rolling = "6 %"
[car.free]
mass = "100 g"
length = 0.1
rolling = "2.5 %"
{TRAIN}"""


@pytest.mark.parametrize(
    ("mine", "words"),
    [
        ("6 %", "Parked ore would newly ROLL AWAY from Team, which gets steeper, 2.33 to "),
        ("12 %", "Team, where cars stand, gets steeper, 2.33 to "),
    ],
)
def test_a_berth_that_leveling_makes_steeper_is_named_with_the_cars_that_newly_roll_away(mine, words, tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text(STANDING.replace('"6 %"', f'"{mine}"'), encoding="utf-8")
    assert words in (said := " ".join(run("level", plan).stdout.split()))
    assert "free" in said
    assert "A grade or rise written on its tracks keeps it." in said
    (berth,) = leveled(Layout(load_plan(plan))).parked
    copy = tmp_path / "copy.toml"
    assert run("level", plan, "-o", copy).exit_code == 0
    before, after = (check_layout(Layout(load_plan(each))).berths[0] for each in (plan, copy))
    assert (berth.even, berth.leveled) == (pytest.approx(before.steepest), pytest.approx(after.steepest, abs=2e-6))
    assert berth.leveled > berth.even + 0.001
    for roll, found in ((berth.rolled_before, before), (berth.roll_after, after)):
        assert roll == tuple(car for car, stay in found.cars_stay.items() if not stay)
    assert run("level", plan, "--strict").exit_code == 1


CURVED_IN = f"""
{HEAD}
railhead = {{ A = 0, J = 0.1, C = 0.12 }}
vertical_curve.length = 0.4
line.Hill = {{ from = "A", to = "J", track = [{{ straight = 2HILL }}, {{ left = 2, length = 2 }}] }}
line.Mine = {{ from = "J", to = "C", track = [
  {{ straight = 3, rise = 0 }},
  {{ right = 0.6, length = 1 }},
  {{ straight = 1 }},
  BERTH,
] }}
{STOCK}
rolling = "1.5 %"
[train.turn]
route = "In"
consist = ["mule", "2 ore"]
[route.In]
from = "A"
to = "C"
"""
"""The branch needs 0.02 m over 2 m, which leveling shifts from its bend to the straight before the berth."""


@pytest.mark.parametrize("gains", [True, False])
def test_a_berth_steeper_by_the_vertical_curve_at_its_end_is_told_from_one_that_is_tilted(gains, tmp_path):
    plan = tmp_path / "plan.toml"
    text = CURVED_IN.replace("HILL", "" if gains else ', grade = "2.5 %"')
    plan.write_text(text.replace("BERTH", '{ straight = 1, rise = 0, berth = "Pit" }'), encoding="utf-8")
    found = leveled(Layout(load_plan(plan)))
    assert found.gains == gains
    said = " ".join(run("level", plan).stdout.split())
    assert "Parked ore would newly ROLL AWAY from Pit, which gets steeper, " in said
    assert "Its own grade stays: the vertical curve into the track beside it" in said
    assert "A grade or rise written" not in said
    assert ("At the railheads of --more heights: Parked" in said) != gains
    # what it advises: the berth ends where the curve begins
    cured = '{ straight = 0.2, rise = 0 }, { straight = 0.8, rise = 0, berth = "Pit" }'
    plan.write_text(text.replace("BERTH", cured), encoding="utf-8")
    assert leveled(Layout(load_plan(plan))).parked == ()


def test_a_berth_that_gets_steeper_and_holds_all_cars_passes_strict(tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text(STANDING.replace('"6 %"', '"12 %"').replace('"2.5 %"', '"12 %"'), encoding="utf-8")
    result = run("level", plan, "--strict")
    assert "Team, where cars stand, gets steeper" in result.stdout
    assert result.exit_code == 0


def test_a_berth_that_keeps_its_grade_is_not_named(tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text(STANDING.replace('berth = "Team"', 'berth = "Team", grade = "2 %"'), encoding="utf-8")
    assert leveled(Layout(load_plan(plan))).parked == ()
    assert "Team" not in run("level", plan).stdout
