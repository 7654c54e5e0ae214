"""The same page for a file and for a terminal."""

from __future__ import annotations

import pytest

from gradehaul.show.base.page import Page
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.check.text import check_page


def test_a_terminal_that_is_wide_enough_shows_what_a_file_holds(answer, odd_answer):
    for each in (answer, odd_answer):
        page = check_page(each, units_of("in"))
        assert page.text(width=2000) == page.text()


@pytest.mark.parametrize("name", ["plain", "[red]x[/]", "中文 wide", "🚂", "\u05d0\u05d1"])
def test_columns_line_up_whatever_the_width_of_a_character(name):
    page = Page()
    page.table(["of", "value>"], [[name, "1"], ["longer than the name", "22"]])
    assert page.text(width=200) == page.text()
