"""The pictures of leveling and of surveyed hills: the figures of the answer, drawn where they belong."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from gradehaul.command import main
from gradehaul.design.level.railheads import leveled
from gradehaul.design.level.risers import corrected_surveys
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import load_plan, read_plan
from gradehaul.show.base.picture import drawing_rules
from gradehaul.show.base.reading_units import reader_of
from gradehaul.show.level.picture import drawn_lines, level_figure
from gradehaul.show.level.risers_picture import risers_figure
from project import PLANS
from show.level.surveyed_hill import SURVEYED


def drawn(figure, gid: str):
    (line,) = [each for each in figure.findobj() if each.get_gid() == gid]
    return line


def texts(figure) -> list[str]:
    return [each.get_text() for each in figure.findobj() if hasattr(each, "get_text")]


@pytest.mark.parametrize("size", ["a4", "phone"])
def test_heights_and_grades_of_every_line_drawn(size: str) -> None:
    plan = load_plan(PLANS / "n-mountain.toml")
    found = leveled(Layout(plan))
    with drawing_rules():
        figure = level_figure(found, reader_of("mm", None), size=size)
    assert drawn_lines(found) == ["North grade", "Mine branch", "South grade"]
    for name in drawn_lines(found):
        numbers, distance = found.stations.lines[name]
        told = np.array(drawn(figure, f"leveled {name}").get_xydata())
        assert told == pytest.approx(1000 * np.column_stack([distance, found.heights[numbers]]))
        given = np.array(drawn(figure, f"given {name}").get_xydata())
        assert len(given) == (~found.stations.free[numbers]).sum()
        stairs = np.array(drawn(figure, f"leveled grade {name}").get_xydata())
        assert stairs[::2, 1] == pytest.approx(np.diff(found.heights[numbers]) / np.diff(distance))
    assert any("return freight" in text and "3.43 % leveled" in text for text in texts(figure))


def test_readings_doubt_and_shims_of_a_survey() -> None:
    plan = read_plan(SURVEYED)
    (found,) = corrected_surveys(plan, "imperial", surveys=["Main"])
    with drawing_rules():
        figure = risers_figure(plan, found, reader_of("in", None))
    assert "3/16 in up" in texts(figure)
    assert "Meant: 2.08 % at the most. With the shims below it is as meant." in texts(figure)
    assert drawn(figure, "corrected").get_ydata() == pytest.approx([0] * 5, abs=1e-12)
    shim = drawn(figure, "shim")
    assert np.array(shim.get_xydata()) == pytest.approx(np.array([[24, 0], [24, 3 / 16]]))
    measured = np.array(drawn(figure, "measured grade").get_xydata())[::2, 1]
    assert measured == pytest.approx(found.surveyed.grades)
    assert drawn(figure, "meant").get_ydata() == pytest.approx([1 / 48] * 2)


def test_a_hill_that_is_as_meant_has_no_shims() -> None:
    plan = read_plan(SURVEYED.replace("5/16", "1/2"))
    (found,) = corrected_surveys(plan, "imperial", surveys=["Main"])
    with drawing_rules():
        figure = risers_figure(plan, found, reader_of("in", None))
    assert not [each for each in figure.findobj() if each.get_gid() in {"shim", "corrected"}]
    assert any("No riser need be touched." in text for text in texts(figure))


def test_the_verb_writes_them(tmp_path: Path) -> None:
    plan = tmp_path / "hill.toml"
    plan.write_text(SURVEYED)
    for name, sign in (("hill.png", b"\x89PNG"), ("hill.svg", b"<?xml"), ("hill.pdf", b"%PDF")):
        for own in (["level", str(plan), "--survey", "Main"], ["level", str(PLANS / "n-mountain.toml")]):
            done = CliRunner().invoke(main, [*own, "-o", str(tmp_path / name)])
            assert done.exit_code == 0
            assert "Caution" in done.stdout
            assert (tmp_path / name).read_bytes().startswith(sign)
    done = CliRunner().invoke(main, ["level", str(plan), "--survey", "Main", "-o", str(tmp_path / "new.toml")])
    assert done.exit_code == 2
    assert ".png, .svg or .pdf" in done.output
    plan.write_text(SURVEYED + SURVEYED[SURVEYED.index("[survey") :].replace("Main", "Again"))
    two = ["level", str(plan), "--survey", "Main", "--survey", "Again", "-o", str(tmp_path / "two.svg")]
    done = CliRunner().invoke(main, two)
    assert done.exit_code == 2
    assert "one survey" in done.output
