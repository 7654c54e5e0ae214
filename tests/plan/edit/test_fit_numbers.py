"""Copies of plans with numbers in place of `"fit"`: what the builder wrote stays, and the copy closes as it did."""

from __future__ import annotations

import json
import math
from pathlib import Path

import ezdxf
import pytest

from command_line import run
from gradehaul.errors import PlanError
from gradehaul.plan import load_plan
from gradehaul.plan.edit.copies import plan_with_numbers
from gradehaul.track.alignment import align
from gradehaul.track.fit import fitted
from project import PLANS

TEXT = """\
# a siding
scale = "HO"
unit = "in"

[railhead]
A = 0

[piece.over]
track = [ { left = 30, angle = 10 }, { straight = "fit", rail = "treated" }, { right = 30, angle = 10 } ]

[line.Lead]
from = "A"
to = "W"
track = [ { straight = 20 } ]
[line.Main]
from = "W"
to = "E"
track = [ { straight = 120 } ]   # straight ahead
[line.Tail]
from = "E"
to = "Z"
track = [ { straight = 20 } ]

[line.Siding]
from = "W"
to = "E"
parallel = "2 in"
track = [
  { piece = "over" },       # out
  { straight = "fit" },     # along the main line
  { piece = "over", hand = "right" },
]

[turnout.W]
toe = "Lead"
legs = ["Main", "Siding"]
[turnout.E]
toe = "Tail"
legs = ["Main", "Siding"]
"""


def test_numbers_stand_where_fit_did_and_nothing_else_changes(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text(TEXT)
    plan = fitted(load_plan(tmp_path / "plan.toml"))
    copy = plan_with_numbers(plan)
    assert '"fit"' in copy.split("[line.Lead]")[0], "the piece stays as it is written"
    line = copy[copy.index("[line.Siding]") :]
    assert '"fit"' not in line
    # 2 = 2 R (1 - cos a) + s sin a, as in the demo yard
    assert line.count("straight = 6.2682") == 2
    assert line.index("right = 30") < line.rindex("left = 30")
    for kept in ("# a siding", "# straight ahead", "# along the main line"):
        assert kept in copy
    (tmp_path / "copy.toml").write_text(copy)
    again = load_plan(tmp_path / "copy.toml")
    assert not any(track.fit for track in again.tracks.values())
    assert [track.rail for track in again.tracks.values()] == [track.rail for track in plan.tracks.values()]
    for closure in align(again).positions.closures:
        assert closure.distance < 1e-6
        assert abs(closure.angle or 0.0) < 1e-7


def test_an_angle_that_fits_is_written_in_degrees(tmp_path: Path) -> None:
    out = '{ left = 30, angle = "fit" }, { straight = 5 }, { right = 30, angle = "fit" }'
    back = "{ right = 30, angle = 10 }, { straight = 5 }, { left = 30, angle = 10 }"
    head, tail = TEXT.split('parallel = "2 in"\ntrack = [\n')
    text = f'{head}track = [ {out}, {{ straight = "fit" }}, {back} ]\n{tail[tail.index("[turnout.W]") :]}'
    (tmp_path / "plan.toml").write_text(text)
    copy = plan_with_numbers(fitted(load_plan(tmp_path / "plan.toml")))
    assert copy[copy.index("[line.Siding]") :].count("angle = 10.0 }") == 2


def test_the_verb_shows_the_figures_or_writes_the_copy(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text(TEXT)
    assert run("fit", str(PLANS / "first-hill.toml")).output == 'No figure of this plan is "fit".\n'
    shown = run("fit", str(tmp_path / "plan.toml"))
    assert shown.output == "Siding: straight 2 fits at 6.268 in, straight 4 at 86.816 in, straight 6 at 6.268 in\n"
    assert run("fit", str(tmp_path / "plan.toml"), "-o", str(tmp_path / "copy.toml")).exit_code == 0
    assert "2057" not in (tmp_path / "copy.toml").read_text()
    for words in (("check", "--more", "notes"), ("map", "--more", "notes")):
        answer = run(*words[:1], str(tmp_path / "plan.toml"), *words[1:])
        assert answer.output.count("Siding: straight 2 fits at 6.268 in") == 1, words
    figures = json.loads(run("check", str(tmp_path / "plan.toml"), "--json").stdout)["figures"]
    fits = [each for each in figures if each["basis"] == "fitted"]
    assert len(fits) == 3
    assert {each["subject"] for each in fits} == {'line "Siding"'}
    closed = run("check", str(tmp_path / "copy.toml"), "--more", "notes")
    assert "fits" not in closed.output


def test_a_plan_without_unit_gets_figures_with_theirs(tmp_path: Path) -> None:
    text = (
        TEXT.replace('unit = "in"\n', "")
        .replace("straight = 20 ", 'straight = "20 in" ')
        .replace("A = 0", 'A = "0 in"')
    )
    for number in ("120", "30"):
        text = text.replace(f"= {number} ", f'= "{number} in" ').replace(f"= {number},", f'= "{number} in",')
    (tmp_path / "plan.toml").write_text(text)
    assert 'straight = "6.268' in plan_with_numbers(fitted(load_plan(tmp_path / "plan.toml")))


def test_what_cannot_be_written_is_refused(tmp_path: Path) -> None:
    (tmp_path / "closed.toml").write_text(TEXT.replace('"fit"', "1"))
    with pytest.raises(PlanError, match='no figure of this plan is "fit"'):
        plan_with_numbers(load_plan(tmp_path / "closed.toml"))
    (tmp_path / "track.toml").write_text(TEXT.replace('scale = "HO"\n', ""))
    (tmp_path / "outer.toml").write_text('scale = "HO"\nunit = "in"\ninclude = ["track.toml"]\n')
    with pytest.raises(PlanError, match="this is not in this file"):
        plan_with_numbers(fitted(load_plan(tmp_path / "outer.toml")))


def test_a_line_of_the_plan_closes_between_joints_of_a_drawing(tmp_path: Path) -> None:
    drawing = ezdxf.new(units=1)
    for first, last in ((0, 40), (160, 200)):
        drawing.modelspace().add_line((first, 5), (last, 5), dxfattribs={"layer": "TRACK"})
    drawing.saveas(tmp_path / "tarn.dxf")
    (tmp_path / "plan.toml").write_text(
        """
scale = "HO"
unit = "in"
drawing = { file = "tarn.dxf", layers = ["TRACK"] }
joint.West = { at = [40, 5] }
joint.East = { at = [160, 5] }
railhead.West = 0
piece.over = { track = [{ left = 30, angle = 10 }, { straight = 6.2682 }, { right = 30, angle = 10 }] }
line.Gap = { from = "West", to = "East",
    track = [{ piece = "over" }, { straight = "fit" }, { piece = "over", hand = "right" }] }
"""
    )
    plan = fitted(load_plan(tmp_path / "plan.toml"))
    along = 60 * math.sin(math.radians(10)) + 6.2682 * math.cos(math.radians(10))
    assert plan.lines["Gap"].tracks[3].length / 0.0254 == pytest.approx(120 - 2 * along, abs=1e-6)
    assert "straight = 86.816" in plan_with_numbers(plan)
