"""Copies of a plan: what they name is found from another folder or refused."""

from pathlib import Path

import pytest

from gradehaul.errors import PlanError
from gradehaul.plan.edit.copies import lead_from
from gradehaul.plan.reader import load_plan, read_plan
from project import PLANS


def test_readings_and_drawings_are_led_to(tmp_path: Path) -> None:
    document = {"include": ["a.toml"], "bench": {"csv": ["bench.csv", "more/bench.csv"]}, "drawing": {"file": "d.dxf"}}
    lead_from(document, tmp_path / "plans" / "p.toml", tmp_path, file="p.toml")
    assert document == {
        "include": ["plans/a.toml"],
        "bench": {"csv": ["plans/bench.csv", "plans/more/bench.csv"]},
        "drawing": {"file": "plans/d.dxf"},
    }


def test_a_copy_beside_the_plan_stays_as_it_is(tmp_path: Path) -> None:
    document = {"include": ["a.toml"]}
    lead_from(document, tmp_path / "p.toml", tmp_path / "." / "", file="p.toml")
    assert document == {"include": ["a.toml"]}


def test_what_does_not_stand_below_the_copy_is_told_with_the_cure(tmp_path: Path) -> None:
    document = {"include": ["a.toml"], "drawing": {"file": "d.dxf"}}
    with pytest.raises(PlanError) as caught:
        lead_from(document, tmp_path / "p.toml", tmp_path / "else", file="p.toml")
    assert str(caught.value) == (
        "p.toml: a copy in another folder would not find the files that the plan names: they must be beside it or "
        f'below it, got "a.toml", "d.dxf"; write -o with a name in the folder of the plan, {tmp_path}, or copy '
        "these files to "
        f"{tmp_path / 'else'} first"
    )


def test_heights_are_added_to_those_of_a_drawn_line() -> None:
    text = (PLANS / "cove.toml").read_text(encoding="utf-8")
    drawn = load_plan(PLANS / "cove.toml").lines["Quay track"]
    half = 1000 * drawn.length / 2
    more = text.replace('berth = "Quay"', f'berth = "Quay"\nrailhead_at = [[{half}, 3]]', 1)
    line = read_plan(more, file="cove.toml", folder=PLANS).lines["Quay track"]
    wanted = sorted([*drawn.railhead_at, (half / 1000, 0.003)])
    assert [each for pair in line.railhead_at for each in pair] == pytest.approx(
        [each for pair in wanted for each in pair]
    )
    assert [track.length for track in line.tracks] == [track.length for track in drawn.tracks]
