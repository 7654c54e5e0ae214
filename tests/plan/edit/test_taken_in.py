"""Included files taken into the text of a plan; heights added to a line that is drawn."""

from pathlib import Path

import pytest
import tomlkit

from gradehaul.errors import PlanError
from gradehaul.plan.edit.copies import lines_taken_in
from gradehaul.plan.reader import load_plan, read_plan
from project import PLANS

LINE = '[line.Hill] # steep\nfrom = "A"\nto = "B"\ntrack = [{ straight = 2 }]\n'


def taken(folder: Path, inner: str) -> str:
    (folder / "stock.toml").write_text('[car.ore]\nmass = "100 g"\nlength = 0.1\n', encoding="utf-8")
    (folder / "hill.toml").write_text(inner, encoding="utf-8")
    plan = folder / "plan.toml"
    plan.write_text(
        'include = ["hill.toml", "stock.toml"]\nscale = "HO"\nunit = "m"\n[railhead]\nA = 0\n', encoding="utf-8"
    )
    return tomlkit.dumps(lines_taken_in(tomlkit.parse(plan.read_text(encoding="utf-8")), plan, file="plan.toml"))


def test_files_with_lines_are_taken_in_and_others_stay_included(tmp_path: Path) -> None:
    text = taken(tmp_path, f"{LINE}[railhead]\nB = 0.05\n")
    assert 'include = ["stock.toml"]' in text
    assert "# steep" in text
    plan = read_plan(text, folder=tmp_path)
    whole = load_plan(tmp_path / "plan.toml")
    assert plan.lines == whole.lines
    assert plan.railhead == whole.railhead == {"A": 0.0, "B": 0.05}
    assert list(plan.cars) == ["ore"]


def test_keys_without_a_header_would_go_astray(tmp_path: Path) -> None:
    with pytest.raises(
        PlanError, match="the tables of an included file cannot stand behind those of the plan"
    ) as caught:
        taken(tmp_path, 'line.Hill = { from = "A", to = "B", track = [{ straight = 2 }] }\n')
    assert 'got "hill.toml"; write its tables each under a header in brackets' in str(caught.value)


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
