"""The picture of leveling: the figures of the answer, drawn where they belong."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from command_line import run
from demos import leveled_of
from gradehaul.quantities import convert
from gradehaul.show.base.paper import SIZES
from gradehaul.show.base.picture import drawing_rules
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.level.picture import drawn_routes, level_figure, level_pages
from gradehaul.show.level.text import CAUTION
from project import PLANS
from show.drawn import check_sheet, drawn_texts, figures


def drawn(figure, gid: str):
    (line,) = [each for each in figure.findobj() if each.get_gid() == gid]
    return line


@pytest.mark.parametrize(("name", "size"), [("two-levels", "a4"), ("switchback", "phone")])
def test_heights_grades_and_risers_are_those_of_the_document(name: str, size: str) -> None:
    found = leveled_of(name)
    unit = found.plan.unit
    units = units_of(unit, None)
    with drawing_rules():
        figure = level_figure(found, units, size=size)
        shown = check_sheet(figure)
    document = json.loads(json.dumps(found.to_dict()))
    heights = {(each["line"], round(each["at_m"], 3)): each for each in document["stations"]}
    names = {
        number: (line, round(float(at), 3))
        for line, (numbers, distance) in found.stations.lines.items()
        for number, at in zip(numbers.tolist(), distance, strict=True)
    }

    def number(value: float, *, fine: bool = True) -> str:
        return units.length(value, fine=fine).split(" ")[0]

    assert CAUTION in " ".join(shown)
    columns = {tuple(shown[k : k + 3]) for k in range(len(shown))}
    missing = 0
    for route in drawn_routes(found)[:4]:
        line = np.array(drawn(figure, f"leveled {route.name}").get_xydata())
        points = np.column_stack([route.places, found.heights[route.order]])
        assert line == pytest.approx(convert(1, unit) * points)
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
        said += f"{units.grade(each['leveled_pct'] / 100)} leveled"
        climbs = each["string_pct"] or each["leveled_pct"]
        assert (said if climbs else f"{each['name']}: downhill or level all the way") in " ".join(shown)


def test_a_pdf_has_pages_of_its_size() -> None:
    found = leveled_of("switchback")
    with drawing_rules():
        pages = level_pages(found, units_of(found.plan.unit, None))
        shown = [[words for words, _ in drawn_texts(page)] for page in pages]
    size = SIZES["a4"]
    assert [tuple(page.get_size_inches()) for page in pages] == [pytest.approx((size.width, size.height))] * len(pages)
    routes = [words for page in shown for words in page if words.startswith("Route ")]
    assert routes == [f"Route {route.name}" for route in drawn_routes(found)[:4]]
    assert len(pages) > 1


def test_the_verb_writes_them(tmp_path: Path) -> None:
    done = run("level", str(PLANS / "first-hill.toml"), "-o", str(tmp_path / "hill.svg"))
    assert done.exit_code == 0
    assert "More: --more" in done.stdout
    assert (tmp_path / "hill.svg").read_bytes().startswith(b"<?xml")
