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
from gradehaul.quantities import convert
from gradehaul.show.base.picture import drawing_rules, picture_bytes
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.level.picture import drawn_routes, level_figure
from gradehaul.show.level.shims_picture import shims_figure
from project import PLANS
from show.drawn import check_sheet, drawn_texts, figures, svg_texts
from show.level.surveyed_hill import SURVEYED


def drawn(figure, gid: str):
    (line,) = [each for each in figure.findobj() if each.get_gid() == gid]
    return line


def texts(figure) -> list[str]:
    return [text for text, _ in drawn_texts(figure)]


@pytest.mark.parametrize(("name", "size"), [("n-mountain", "phone"), ("two-levels", "a4"), ("switchback", "phone")])
def test_heights_grades_and_risers_are_those_of_the_document(name: str, size: str) -> None:
    plan = load_plan(PLANS / f"{name}.toml")
    found, units = leveled(Layout(plan)), units_of(plan.unit, None)
    with drawing_rules():
        figure = level_figure(found, units, size=size)
        check_sheet(figure)
        shown = svg_texts(picture_bytes(figure, "svg"))
    document = json.loads(json.dumps(found.to_dict()))
    heights = {(each["line"], round(each["at_m"], 3)): each for each in document["stations"]}
    names = {
        number: (line, round(float(at), 3))
        for line, (numbers, distance) in found.stations.lines.items()
        for number, at in zip(numbers.tolist(), distance, strict=True)
    }

    def number(value: float, *, fine: bool = True) -> str:
        return units.length(value, fine=fine).split(" ")[0]

    columns = {tuple(shown[k : k + 3]) for k in range(len(shown))}
    missing = 0
    for route in drawn_routes(found)[:4]:
        line = np.array(drawn(figure, f"leveled {route.name}").get_xydata())
        points = np.column_stack([route.places, found.heights[route.order]])
        assert line == pytest.approx(convert(1, plan.unit) * points)
        stairs = np.array(drawn(figure, f"leveled grade {route.name}").get_xydata())
        assert stairs[::2, 1] == pytest.approx(100 * np.diff(points[:, 1]) / np.diff(route.places), abs=1e-9)
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
    for each in document["trains"]:
        said = f"{each['name']}: hardest effective grade {units.grade(each['string_pct'] / 100)} even, "
        assert f"{said}{units.grade(each['leveled_pct'] / 100)} leveled" in " ".join(shown)
    names = {route.name for route in drawn_routes(found)}
    assert name != "n-mountain" or names == {"Southbound", "Northbound", "Ore south", "Mine empties"}


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
    of_survey, of_plan = ["level", str(plan), "--survey", "Main"], ["level", str(PLANS / "first-hill.toml")]
    for own, name, sign in ((of_survey, "hill.pdf", b"%PDF"), (of_plan, "hill.svg", b"<?xml")):
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
