import csv
import io

import pytest

from gradehaul.show.check.text import check_csv


def rows(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_a_row_for_every_load(answer):
    table = rows(check_csv(answer, None))
    loads = [(route, load) for route in answer.routes for load in route.loads]
    assert len(table) == len(loads) == 6
    for row, (route, load) in zip(table, loads, strict=True):
        assert (row["route"], row["power"], row["car"], row["rail"]) == (
            route.route.name,
            load.power,
            load.car,
            load.rail,
        )
        assert (int(row["told_cars"]), int(row["rated_cars"]), int(row["limit_cars"])) == (
            load.to_run,
            load.rated,
            load.limit,
        )
        assert int(row["rated_low"]) <= load.rated <= int(row["rated_high"])
        assert int(row["told_low"]) <= load.to_run <= int(row["told_high"]) <= load.fits
        assert int(row["limit_low"]) <= load.limit <= int(row["limit_high"])
        assert row["fits_cars"] == str(load.fits)
        assert float(row["binds_at_m"]) == pytest.approx(load.binds.at, rel=1e-5)


def test_without_stock_only_the_heads(undeclared_answer):
    assert check_csv(undeclared_answer, None).startswith("route,from,to,length_m,ruling_pct,power,car,rail,")
    assert check_csv(undeclared_answer, None).count("\r\n") == 1


def test_odd_names_in_a_row(odd_answer):
    row = rows(check_csv(odd_answer, None))[0]
    assert (row["route"], row["from"], row["power"], row["car"]) == ("'+up", "'=1+1", "'@mogul", "'-ore")
    assert row["to"] == "מחצבה"
    assert not any(cell.startswith(tuple("=+-@\t\r")) for cell in row.values() if not cell.lstrip("-").isnumeric())
