"""Rail keys on a copy of a plan: on lines, tracks and pieces, all else kept."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradehaul.errors import PlanError
from gradehaul.plan import load_plan
from gradehaul.plan.edit.copies import plan_with_rails

TEXT = """
scale = "HO"   # a note
unit = "in"
railhead.A = 0
[piece.lead]
track = [ { left = 30, angle = 12 }, { straight = 4 }, { right = 30, angle = 12 } ]
[piece.pair]
track = [ { piece = "lead" }, { piece = "lead", hand = "right" } ]
[line.Main]   # the main
from = "A"
to = "B"
rail = "treated"
track = [
  { straight = 30 },   # first
  { piece = "lead" },
  { piece = "pair", hand = "right", pickup = 3, berth = "Quay" },
  { straight = 5, rail = "clean" },
]
[line.Rest]
from = "B"
to = "C"
track = [ { straight = 10 } ]
"""


@pytest.fixture
def written(tmp_path: Path) -> Path:
    path = tmp_path / "plan.toml"
    path.write_text(TEXT)
    return path


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_every_track_takes_its_rail_and_nothing_else_changes(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    path = tmp_path_factory.mktemp("rails") / "plan.toml"
    path.write_text(TEXT)
    plan = load_plan(path)
    rails = data.draw(
        st.dictionaries(st.sampled_from(list(plan.tracks)), st.sampled_from(["clean", "treated", "treated fresh"]))
    )
    text = plan_with_rails(plan, rails)
    path.write_text(text)
    again = load_plan(path)
    for key, track in plan.tracks.items():
        new = again.tracks[key]
        assert (new.rail or "clean") == rails.get(key, track.rail or "clean")
        assert (new.length, new.curvature, new.pickup) == (track.length, track.curvature, track.pickup)
    assert again.berths == plan.berths
    for comment in ("# a note", "# the main"):
        assert comment in text


def test_no_rails_leave_the_text_as_it_is(written: Path) -> None:
    assert plan_with_rails(load_plan(written), {}) == TEXT


def test_a_whole_line_takes_one_key(written: Path) -> None:
    plan = load_plan(written)
    text = plan_with_rails(plan, {"Rest:1": "treated"})
    assert 'track = [ { straight = 10 } ]\nrail = "treated"' in text


def test_lines_of_an_included_file_are_refused(tmp_path: Path) -> None:
    (tmp_path / "lines.toml").write_text('[line.Far]\nfrom = "A"\nto = "B"\ntrack = [ { straight = 3 } ]\n')
    path = tmp_path / "plan.toml"
    path.write_text('scale = "HO"\nunit = "in"\ninclude = ["lines.toml"]\nrailhead.A = 0\n')
    with pytest.raises(
        PlanError,
        match='line "Far": this is not in this file but in one that it includes or reads; write a plan with its track',
    ):
        plan_with_rails(load_plan(path), {"Far:1": "treated"})


def test_a_drawing_has_no_lines_to_change() -> None:
    plan = load_plan("plans/cove.toml")
    track = next(iter(plan.tracks))
    with pytest.raises(PlanError, match="is not in this file"):
        plan_with_rails(plan, {track: "treated"})


def test_a_rail_inside_a_piece_is_refused_where_it_cannot_be_overruled(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(TEXT.replace("{ straight = 4 }", '{ straight = 4, rail = "clean" }'))
    plan = load_plan(path)
    with pytest.raises(PlanError, match="track 3: this track is written so that its rail cannot be changed in place"):
        plan_with_rails(plan, dict.fromkeys(["Main:2", "Main:3", "Main:4"], "treated"))
