import pytest

from gradehaul.show.base.spreadsheet import harmless


@pytest.mark.parametrize("text", ["=1+1", "+up", "-ore", "@mogul", "\tx", "\rx", "\nx", "＝1"])
def test_what_begins_like_a_formula_is_text(text):
    assert harmless(text) == f"'{text}"


@pytest.mark.parametrize("cell", ["ore", "1+1", "", None, -0.25, 7])
def test_other_cells_stay(cell):
    assert harmless(cell) == cell
