"""The tables of the page: what they say is the answer, and what they sort by is its number."""

from __future__ import annotations

from gradehaul.show.base.reading_units import Reader
from gradehaul.show.report.rows import berth_rows, binding_rows, figure_rows, load_rows, verdict_rows

READER = Reader("in", "imperial")


def test_every_table_has_a_head_for_every_cell(answer, odd_answer):
    for one in (answer, odd_answer):
        tables = [
            load_rows(one),
            *(make(one, READER) for make in (verdict_rows, binding_rows, berth_rows, figure_rows)),
        ]
        assert all(len(row) == len(table.heads) for table in tables for row in table.rows)


def test_loads_and_how_sure_they_are_where_they_are_judged(answer):
    table = load_rows(answer)
    assert table.heads == ("route", "power", "car", *answer.rails)
    rows = {row[0].text: row for row in table.rows}
    for route in answer.routes:
        for load, spread in zip(route.loads, route.spreads, strict=True):
            cell = rows[route.route.name][table.heads.index(load.rail)]
            assert (cell.text, cell.sort) == (str(load.to_run), load.to_run)
            assert cell.more[0] == f"{load.rated} / {load.limit}"
            sure = [f"sure: {load.held(spread.rated_low)} to {load.held(spread.rated_high)}"]
            assert [each for each in cell.more if each.startswith("sure")] == sure * (load.rail in answer.judged_rails)


def test_verdicts_on_every_rail(answer):
    table = verdict_rows(answer, READER)
    for row, train in zip(table.rows, answer.trains, strict=True):
        assert (row[0].text, row[1].text, row[2].text) == (train.name, train.rail, train.verdict.outcome)


def test_the_least_sure_figures_come_first(answer):
    told = [row[3].text for row in figure_rows(answer, READER).rows]
    order = ["assumed", "scaled", "stated", "measured"]
    assert told == sorted(told, key=order.index)
    assert len(told) == len(answer.figures)
