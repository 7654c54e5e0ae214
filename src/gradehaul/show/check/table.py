"""The loads of the main job as a table for a spreadsheet."""

from __future__ import annotations

from gradehaul.haulage.answers.check import CheckAnswer, RouteAnswer
from gradehaul.haulage.longest import Load
from gradehaul.haulage.trust.load import LoadSpread
from gradehaul.show.base.digits import rounded
from gradehaul.show.base.spreadsheet import Cell, csv_text

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
    "holds_back",
)
"""The columns; those of the JSON document where they tell the same."""


TRAIN_HEADS = (
    "train",
    "route",
    "rail",
    "judged",
    "outcome",
    "verdict",
    "holds_back",
    "stall_probability",
    "margin_n",
    "at_m",
    "track",
    "runs_away_at_m",
    "misfits",
)
"""The columns of the trains; those of the JSON document where they tell the same."""


def trains_csv(answer: CheckAnswer) -> str:
    """Return the named trains as CSV (RFC 4180): a row for each train and rail condition."""
    rows = (
        (
            each.name,
            each.route,
            each.rail,
            "yes" if each.rail in answer.judged_rails else "no",
            each.outcome,
            each.verdict.climb,
            "yes" if each.verdict.holds_back else "no",
            rounded(each.trust.stall_probability),
            rounded(each.verdict.margin),
            rounded(each.verdict.at),
            each.verdict.track,
            None if each.verdict.runs_away_at is None else rounded(each.verdict.runs_away_at),
            "; ".join(misfit.place for misfit in each.misfits),
        )
        for each in answer.trains
    )
    return csv_text(TRAIN_HEADS, rows)


def check_csv(answer: CheckAnswer) -> str:
    """Return the loads as CSV (RFC 4180): a row for each route, power, car and rail condition; 999 means at least."""
    rows = (
        _row(route, load, spread)
        for route in answer.routes
        for load, spread in zip(route.loads, route.spreads, strict=True)
    )
    return csv_text(HEADS, rows)


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
        "yes" if load.holds_back else "no",
    )
