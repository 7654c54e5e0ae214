import csv
import io

import pytest

from command_line import run
from gradehaul.quantities import convert
from gradehaul.show.base.spreadsheet import harmless
from project import PLANS


@pytest.mark.parametrize("text", ["=1+1", "+up", "-ore", "@mogul", "\tx", "\rx", "\nx", "＝1"])
def test_what_begins_like_a_formula_is_text(text):
    assert harmless(text) == f"'{text}"


@pytest.mark.parametrize("cell", ["ore", "1+1", "", None, -0.25, 7])
def test_other_cells_stay(cell):
    assert harmless(cell) == cell


TABLES = (
    ("check", "--csv"),
    ("check", "--csv-trains"),
    ("profile", "Uphill", "--csv"),
    ("map", "--csv"),
    ("treat", "--csv"),
    ("clearance", "--csv"),
    ("level", "--csv"),
)


@pytest.mark.parametrize(
    ("plan", "unit", "words"), [*(("first-hill", "in", words) for words in TABLES), ("cove", "mm", TABLES[0])]
)
def test_a_table_in_the_plans_units_says_what_the_one_in_si_units_says(plan, unit, words):
    """Every head has its unit, and each figure in that unit is the SI figure."""
    file = PLANS / f"{plan}.toml"
    verb, *options = words
    own, si = (
        list(csv.reader(io.StringIO(run(verb, str(file), *options, *more).stdout, newline="")))
        for more in ((), ("--si",))
    )
    assert len(own) == len(si) > 1
    units = []
    for head, head_si in zip(own[0], si[0], strict=True):
        name, _, last = head.rpartition("_")
        units.append(None if head == head_si else last)
        if head != head_si:
            assert head_si == f"{name}_{'n' if last.endswith('f') else 'm'}"
            assert last == unit or last.endswith("f")
        else:
            assert not head.endswith(("_m", "_n", "_kg")) or head.endswith("_per_m")
    for row, row_si in zip(own[1:], si[1:], strict=True):
        of_finding = row_si[si[0].index("in")] == "m" if verb == "clearance" else False
        for head, shown, cell, cell_si in zip(own[0], units, row, row_si, strict=True):
            if head in ("value", "passes", "fails") and of_finding:
                assert float(cell) == pytest.approx(convert(float(cell_si), unit), rel=2e-5)
            elif shown is None or not cell:
                assert cell == cell_si or head == "in"
            else:
                assert float(cell) == pytest.approx(convert(float(cell_si), shown), rel=2e-5, abs=1e-9)


def test_si_units_are_of_a_table():
    done = run("check", str(PLANS / "cove.toml"), "--si")
    assert done.exit_code == 2
    assert "--si needs --csv" in done.stderr
