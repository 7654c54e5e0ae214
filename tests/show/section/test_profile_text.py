"""The numbers along a route as a person reads them."""

import re

import pytest

from demos import layout_of
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.section import long_section
from gradehaul.plan import read_plan
from gradehaul.show import PROFILE
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.section.text import profile_page

PLAN = """
scale = "HO"
unit = "in"
vertical_curve.length = 12
railhead.Wharf = 0
[line.Main]
from = "Wharf"
to = "Summit"
track = [
  { straight = 40, grade = "0 %" },
  { name = "Horseshoe", left = 24, angle = 180, ease = 6, grade = "2 %" },
  { right = 30, angle = 20, grade = "2 %" },
]
[loco.mogul]
mass = "300 g"
length = "8 in"
pull.clean = "60 gf"
pull.treated = "40 gf"
[car.ore]
mass = "3.5 oz"
length = "5.5 in"
rolling = "2 %"
[train."[red]x[/]"]
route = "Up"
consist = ["mogul", "10 ore"]
[route.Up]
from = "Wharf"
to = "Summit"
[route.Down]
from = "Summit"
to = "Wharf"
"""


def page(route="Up", **rest):
    section = long_section(Layout(read_plan(PLAN)), route, **rest)
    return profile_page(section, units_of("in", force_unit="gf"), PROFILE).text()


def rows(text, head):
    """The cells of the table whose heads begin so, split where two blanks stand."""
    lines = text.splitlines()
    first = next(k for k, line in enumerate(lines) if line.split()[: len(head)] == head)
    table = []
    for line in lines[first + 1 :]:
        if not line.strip():
            break
        table.append([cell.strip() for cell in line.split("  ") if cell.strip()])
    return table


def test_a_row_for_every_element():
    table = rows(page(), ["ends", "at", "railhead"])
    assert table[0] == ["Main:1"]
    assert table[1] == ["34.0 in", "0.00 in", "0.00 %", "straight", "0.00 %"]
    assert table[2] == ["40.0 in", "0.03 in", "0.00 to 1.00 %", "straight", "0.00 to 1.00 %"]
    assert table[3] == ["Horseshoe"]
    # the vertical curve and the easement end at one place
    assert [*table[4][:1], *table[4][2:4]] == ["46.0 in", "1.00 to 2.00 %", "left to 24.0 in"]
    assert table[5][2:] == ["2.00 %", "left 24.0 in", "3.32 %"]
    assert table[6][2:4] == ["2.00 %", "left from 24.0 in"]
    assert table[7] == ["Main:3"]
    assert table[8][2:] == ["2.00 %", "right 30.0 in", "3.05 %"]
    assert table[9][0].startswith("Each row begins where")
    assert len(table) == 10


def test_hands_change_on_the_way_back():
    table = rows(page("Down"), ["ends", "at", "railhead"])
    assert [table[1][3], table[3][3]] == ["left 30.0 in", "right to 24.0 in"]
    assert table[1][2] == "-2.00 %"


def test_the_train_and_what_becomes_of_it():
    text = page(rails=["treated", "clean"])
    assert "[red]x[/], 63.0 in long" in text
    treated, clean = [line for line in text.splitlines() if line.startswith(("treated  ", "clean  "))]
    assert re.match(r"treated  STALLS .* 40.0 gf   24.0 gf$", treated)
    assert re.match(r"clean    STALLS .* 60.0 gf +\d\d\.\d gf$", clean)
    assert "    stalls from " in text


def test_what_a_train_has_to_spare_on_a_descent_is_slipping_pull_less_what_is_to_be_held():
    section = long_section(layout_of("landing"), "Down to the pond", rails=("clean",))
    text = profile_page(section, units_of("mm", force_unit="gf"), ()).text()
    (held,) = re.findall(r"([\d.]+) gf to be held back", text)
    ((spare, slipping),) = re.findall(r"^clean .*? ([\d.]+) gf .* ([\d.]+) gf$", text, re.MULTILINE)
    assert float(slipping) - float(held) == pytest.approx(float(spare), abs=0.11)


@pytest.mark.parametrize("route", ["Down"])
def test_without_a_train(route):
    assert "No train is named for this route" in page(route)
