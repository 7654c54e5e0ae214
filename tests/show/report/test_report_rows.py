"""The tables of the page: what they say is the answer, and what they sort by is its number."""

from __future__ import annotations

from gradehaul.show.base.reading_units import Reader
from gradehaul.show.check.route_text import spread_words
from gradehaul.show.report.rows import berth_rows, binding_rows, figure_rows, load_rows, verdict_rows

READER = Reader("in", "imperial")


def test_every_table_has_a_head_for_every_cell(answer, odd_answer):
    for one in (answer, odd_answer):
        tables = [
            load_rows(one),
            *(make(one, READER) for make in (verdict_rows, binding_rows, berth_rows, figure_rows)),
        ]
        assert all(len(row) == len(table.heads) for table in tables for row in table.rows)


def test_loads_and_how_sure_they_are(answer):
    told = load_rows(answer)
    assert told.heads == ("route", "power", "car", *answer.rails)
    rows = {row[0].text: row for row in told.rows}
    for route in answer.routes:
        for load, spread in zip(route.loads, route.spreads, strict=True):
            cell = rows[route.route.name][told.heads.index(load.rail)]
            assert (cell.text, cell.sort) == (str(load.to_run), load.to_run)
            assert cell.more[:2] == (f"{load.rated} / {load.limit}", f"sure: {spread_words(load, spread)}")


def test_verdicts_and_how_sure_they_are(answer):
    told = verdict_rows(answer, READER)
    at = told.heads.index("risk")
    for row, train in zip(told.rows, answer.trains, strict=True):
        assert (row[0].text, row[1].text, row[2].text) == (train.name, train.rail, train.verdict.outcome)
        assert row[at].sort == train.trust.stall_probability
        assert row[at].text.endswith(" %")


def test_the_least_sure_figures_come_first(answer):
    told = [row[3].text for row in figure_rows(answer, READER).rows]
    order = ["assumed", "scaled", "stated", "measured"]
    assert told == sorted(told, key=order.index)
    assert len(told) == len(answer.figures)
