"""The pictures of leveling and of surveyed hills: the figures of the answer, drawn where they belong."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from gradehaul.command import main
from gradehaul.design.level.railheads import leveled
from gradehaul.design.level.shims import corrected_surveys
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import load_plan, read_plan
from gradehaul.show.base.picture import drawing_rules
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.level.picture import drawn_routes, level_figure, level_picture
from gradehaul.show.level.shims_picture import shims_figure
from project import PLANS
from show.drawn import check_sheet, drawn_texts, figures, svg_texts
from show.level.surveyed_hill import SURVEYED


def drawn(figure, gid: str):
    (line,) = [each for each in figure.findobj() if each.get_gid() == gid]
    return line


def texts(figure) -> list[str]:
    return [text for text, _ in drawn_texts(figure)]


@pytest.mark.parametrize("size", ["a4", "phone"])
@pytest.mark.parametrize("name", ["n-mountain", "two-levels", "switchback", "first-hill"])
def test_the_height_of_every_riser_and_its_change_are_those_of_the_document(name: str, size: str) -> None:
    plan = load_plan(PLANS / f"{name}.toml")
    found, read = leveled(Layout(plan)), units_of(plan.unit, None)
    shown = svg_texts(level_picture("svg", found, read, size=size))
    told = json.loads(json.dumps(found.to_dict()))
    heights = {(each["line"], round(each["at_m"], 3)): each for each in told["stations"]}
    names = {
        number: (line, round(float(at), 3))
        for line, (numbers, distance) in found.stations.lines.items()
        for number, at in zip(numbers.tolist(), distance, strict=True)
    }

    def number(value: float, *, fine: bool = True) -> str:
        return read.length(value, fine=fine).split(" ")[0]

    columns = {tuple(shown[k : k + 3]) for k in range(len(shown))}
    missing = 0
    for route in drawn_routes(found)[:4]:
        for station, at in zip(route.order.tolist(), route.places.tolist(), strict=True):
            own = heights[names[station]]
            change = own["railhead_m"] - own["string_m"]
            column = (number(at, fine=False), number(own["railhead_m"]))
            here = [each[2] for each in columns if each[:2] == column]
            missing += not here
            if abs(change) > 1e-4:  # such a one is never left out
                assert f"{'+' if change > 0 else ''}{number(change)}" in here
    unsaid = [int(figures(text)[0]) for text in shown if text.endswith("more places do not fit here")]
    assert missing <= sum(unsaid)
    assert not unsaid or size == "phone"
    for each in told["trains"]:
        said = f"{each['name']}: hardest effective grade {read.grade(each['string_pct'] / 100)} even, "
        assert f"{said}{read.grade(each['leveled_pct'] / 100)} leveled" in " ".join(shown)


@pytest.mark.parametrize("size", ["a4", "phone"])
def test_heights_and_grades_are_drawn_along_the_routes_of_trains(size: str) -> None:
    found = leveled(Layout(load_plan(PLANS / "n-mountain.toml")))
    with drawing_rules():
        figure = level_figure(found, units_of("mm", None), size=size)
        check_sheet(figure)
    routes = drawn_routes(found)
    assert {route.name for route in routes} == {"Southbound", "Northbound", "Ore south", "Mine empties"}
    for name, order, places in routes:
        told = np.array(drawn(figure, f"leveled {name}").get_xydata())
        assert told == pytest.approx(1000 * np.column_stack([places, found.heights[order]]))
        stairs = np.array(drawn(figure, f"leveled grade {name}").get_xydata())
        assert stairs[::2, 1] == pytest.approx(100 * np.diff(found.heights[order]) / np.diff(places))


def test_readings_doubt_and_shims_of_a_survey() -> None:
    plan = read_plan(SURVEYED)
    (found,) = corrected_surveys(plan, "imperial", surveys=["Main"])
    with drawing_rules():
        figure = shims_figure(plan, found, units_of("in", None))
        check_sheet(figure)
    assert "up 3/16 in" in texts(figure)
    assert "Wanted: 2.08 % at the most. The shims below reach it." in texts(figure)
    assert drawn(figure, "corrected").get_ydata() == pytest.approx([0] * 5, abs=1e-12)
    shim = drawn(figure, "shim")
    assert np.array(shim.get_xydata()) == pytest.approx(np.array([[24, -3 / 16], [24, 0]]))
    measured = np.array(drawn(figure, "measured grade").get_xydata())[::2, 1]
    assert measured == pytest.approx(100 * found.surveyed.grades)
    assert drawn(figure, "wanted").get_ydata() == pytest.approx([100 / 48] * 2)


def test_a_hill_that_is_as_wanted_has_no_shims() -> None:
    plan = read_plan(SURVEYED.replace("5/16", "1/2"))
    (found,) = corrected_surveys(plan, "imperial", surveys=["Main"])
    with drawing_rules():
        figure = shims_figure(plan, found, units_of("in", None))
    assert not [each for each in figure.findobj() if each.get_gid() in {"shim", "corrected"}]
    assert any("No riser needs a shim." in text for text in texts(figure))


def test_the_verb_writes_them(tmp_path: Path) -> None:
    plan = tmp_path / "hill.toml"
    plan.write_text(SURVEYED)
    for name, sign in (("hill.png", b"\x89PNG"), ("hill.svg", b"<?xml"), ("hill.pdf", b"%PDF")):
        for own in (["level", str(plan), "--survey", "Main"], ["level", str(PLANS / "first-hill.toml")]):
            done = CliRunner().invoke(main, [*own, "-o", str(tmp_path / name)])
            assert done.exit_code == 0
            assert "More: --more" in done.stdout
            assert (tmp_path / name).read_bytes().startswith(sign)
    done = CliRunner().invoke(main, ["level", str(plan), "--survey", "Main", "-o", str(tmp_path / "new.toml")])
    assert done.exit_code == 2
    assert ".png, .svg or .pdf" in done.output
    plan.write_text(SURVEYED + SURVEYED[SURVEYED.index("[survey") :].replace("Main", "Again"))
    two = ["level", str(plan), "--survey", "Main", "--survey", "Again", "-o", str(tmp_path / "two.svg")]
    done = CliRunner().invoke(main, two)
    assert done.exit_code == 2
    assert "one survey" in done.output
