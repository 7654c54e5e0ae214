"""The loads, and the named trains, as tables for a spreadsheet."""

from __future__ import annotations

from typing import NamedTuple

from gradehaul.haulage.answers.check import CheckAnswer, RangedLoad, RouteAnswer, TrainAnswer
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.spreadsheet import table


class _Load(NamedTuple):
    on: RouteAnswer
    ranged: RangedLoad


class _Train(NamedTuple):
    train: TrainAnswer
    judged: bool
    misfits: tuple[str, ...]


_LOADS = (
    "route=on.route.name from=on.route.origin to=on.route.destination on.profile.length ruling=on.ruling.effective "
    "ranged.load.power ranged.load.car ranged.load.rail told_cars=ranged.load.to_run rated_cars=ranged.load.rated "
    "limit_cars=ranged.load.limit fits_cars=ranged.load.fits ranged.load.fits_by ranged.load.basis "
    "ranged.load.slipping_basis binds_test=ranged.load.binds.test binds_cars=ranged.load.binds.cars "
    "binds_track=ranged.load.binds.track binds_at=ranged.load.binds.at ranged.load.binds.demand ranged.load.binds.pull "
    "ranged.load.engine ranged.spread.rated_low ranged.spread.rated_high ranged.spread.limit_low "
    "ranged.spread.limit_high ranged.told_low ranged.told_high ranged.load.holds_back"
)
_TRAINS = (
    "train=train.name train.route train.rail judged train.outcome verdict=train.verdict.climb train.verdict.holds_back "
    "train.trust.stall_probability train.verdict.margin train.verdict.at train.verdict.track "
    "train.verdict.runs_away_at misfits"
)


def check_csv(answer: CheckAnswer, reader: Reader | None) -> str:
    """Return the loads as CSV (RFC 4180): a row for each route, power, car and rail condition; 999 means at least."""
    rows = (_Load(route, load) for route in answer.routes for load in route.ranged_loads)
    return table(_Load, _LOADS, rows, reader)


def trains_csv(answer: CheckAnswer, reader: Reader | None) -> str:
    """Return the named trains as CSV (RFC 4180): a row for each train and rail condition."""
    rows = (
        _Train(each, each.rail in answer.judged_rails, tuple(misfit.place for misfit in each.misfits))
        for each in answer.trains
    )
    return table(_Train, _TRAINS, rows, reader)
