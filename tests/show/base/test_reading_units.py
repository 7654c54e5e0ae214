import pytest

from gradehaul.show.base.unit_format import UnitFormat, units_of


def test_the_plan_decides_unless_an_option_says_otherwise():
    assert units_of("ft") == UnitFormat("ft", "imperial")
    assert units_of("cm") == UnitFormat("cm", "metric")
    assert units_of("cm", "imperial") == UnitFormat("in", "imperial")
    assert units_of("ft", "imperial") == UnitFormat("ft", "imperial")
    assert units_of("yd", "metric") == UnitFormat("mm", "metric")


@pytest.mark.parametrize(
    ("grades", "climbing", "falling", "level"),
    [
        ("percent", "2.50 %", "-2.50 %", "0.00 %"),
        ("permille", "25.0 permille", "-25.0 permille", "0.0 permille"),
        ("one-in", "1 in 40.0", "-1 in 40.0", "level"),
    ],
)
def test_grades(grades, climbing, falling, level):
    units = UnitFormat("in", "imperial", grades)
    assert (units.grade(0.025), units.grade(-0.025), units.grade(-1e-18)) == (climbing, falling, level)


def test_forces_are_shown_as_a_balance_reads():
    metric, imperial = units_of("mm"), units_of("in")
    assert metric.force(0.0980665) == "10.0 gf"
    assert imperial.force(0.27801385095378125) == "1.00 ozf"
    assert metric.force(980.665) == "100.00 kgf"
    assert imperial.force(4448.2216152605) == "1000.00 lbf"


def test_a_small_shortfall_does_not_read_as_nothing():
    assert units_of("in").force(-0.001) == "-0.004 ozf"
    assert units_of("in").force(-1e-9) == "0.00 ozf"


@pytest.mark.parametrize("unit", ["mm", "cm", "m", "km", "in", "ft", "yd", "mile"])
def test_every_unit_of_a_plan_is_shown(unit):
    assert units_of(unit).length(1.0).endswith(f" {unit}")


def test_every_kind_is_shown():
    units = units_of("mm")
    assert units.quantity(0.5, "mass") == "500 g"
    assert units.quantity(0.9, "share") == "90.00 %"
    assert units.quantity(0.02, "grade") == "2.00 %"
    assert units.quantity(3.141592653589793, "angle") == "180.0 deg"
