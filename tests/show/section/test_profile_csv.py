"""The numbers along a route as a spreadsheet takes them."""

import csv
import io

import pytest

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.section import long_section
from gradehaul.plan import read_plan
from gradehaul.show.section.text import profile_csv

PLAN = """
scale = "HO"
unit = "m"
railhead.Foot = 0
[line.Hill]
from = "Foot"
to = "Top"
track = [{ straight = 1, grade = "2 %", name = "=1+1" }, { right = 2, length = 1, ease = 0.4, grade = "3 %" }]
"""


def test_a_row_for_every_element():
    section = long_section(Layout(read_plan(PLAN)), "Foot to Top")
    text = profile_csv(section, None)
    assert text.count("\r\n") == 1 + len(section.elements) == 5
    table = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [row["track"] for row in table] == ["'=1+1", "Hill:2", "Hill:2", "Hill:2"]
    for row, element in zip(table, section.elements, strict=True):
        assert float(row["from_m"]) == pytest.approx(element.start)
        assert float(row["effective_to_pct"]) == pytest.approx(100 * element.effective[1], abs=1e-4)
        assert float(row["railhead_m"]) == pytest.approx(element.railhead, rel=1e-5)
    assert [row["radius_m"] for row in table] == ["", "2.0", "2.0", "2.0"]
    assert [row["hand"] for row in table] == ["", "right", "right", "right"]
    assert [float(row["curvature_to_per_m"]) for row in table] == [0, -0.5, -0.5, 0]
