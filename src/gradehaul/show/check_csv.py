"""The loads of the main job as a table for a spreadsheet."""

from __future__ import annotations

import csv
import io

from gradehaul.haulage.check import CheckAnswer, RouteAnswer
from gradehaul.haulage.longest import Load
from gradehaul.haulage.trust.load import LoadSpread
from gradehaul.show.digits import rounded

HEADS = (
    "route",
    "from",
    "to",
    "length_m",
    "ruling_pct",
    "power",
    "car",
    "rail",
    "told_cars",
    "rated_cars",
    "limit_cars",
    "fits_cars",
    "fits_by",
    "basis",
    "slipping_basis",
    "binds_test",
    "binds_cars",
    "binds_track",
    "binds_at_m",
    "demand_n",
    "pull_n",
    "engine",
    "rated_low",
    "rated_high",
    "limit_low",
    "limit_high",
    "told_low",
    "told_high",
)
"""The columns; those of the JSON document where they tell the same."""

_FORMULA = tuple("=+-@\t\r\n\uff1d\uff0b\uff0d\uff20")
"""What makes a spreadsheet take text for a formula, in full width too."""

Cell = str | int | float | None


def check_csv(answer: CheckAnswer) -> str:
    """Return the loads as CSV (RFC 4180): a row for each route, power, car and rail condition; 999 means at least."""
    stream = io.StringIO()
    table = csv.writer(stream)
    table.writerow(HEADS)
    for route in answer.routes:
        pairs = zip(route.loads, route.spreads, strict=True)
        table.writerows([harmless(cell) for cell in _row(route, load, spread)] for load, spread in pairs)
    return stream.getvalue()


def harmless(cell: Cell) -> Cell:
    """Return a cell that no spreadsheet takes for a formula: text that begins like one gets an apostrophe.

    Examples
    --------
    >>> harmless("=1+1"), harmless("ore"), harmless(-0.5)
    ("'=1+1", 'ore', -0.5)
    """
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA) else cell


def _row(answer: RouteAnswer, load: Load, spread: LoadSpread) -> tuple[Cell, ...]:
    route, binds = answer.route, load.binds
    return (
        route.name,
        route.origin,
        route.destination,
        rounded(answer.profile.length),
        rounded(100 * answer.ruling.effective),
        load.power,
        load.car,
        load.rail,
        load.told,
        load.rated,
        load.limit,
        load.fits,
        load.fits_by,
        load.basis,
        load.slipping_basis,
        *(
            (None,) * 6
            if binds is None
            else (
                binds.test,
                binds.cars,
                binds.track,
                rounded(binds.at),
                rounded(binds.demand),
                rounded(binds.pull),
            )
        ),
        load.engine,
        spread.rated_low,
        spread.rated_high,
        spread.limit_low,
        spread.limit_high,
        load.held(spread.rated_low),
        load.held(spread.rated_high),
    )
