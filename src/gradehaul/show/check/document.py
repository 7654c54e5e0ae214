"""The answer to the main job as one JSON document."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import Any

from gradehaul import __version__
from gradehaul.haulage.answers.berths import BerthAnswer
from gradehaul.haulage.answers.check import CheckAnswer, RouteAnswer, TrainAnswer
from gradehaul.haulage.answers.judged import outcome_of
from gradehaul.haulage.answers.misfits import Misfit
from gradehaul.haulage.longest import Binds, Load
from gradehaul.haulage.outcome import Outcome
from gradehaul.haulage.trust.load import LoadSpread
from gradehaul.haulage.trust.train import TrainTrust
from gradehaul.haulage.verdict import Stretch, Verdict
from gradehaul.network.route import Between
from gradehaul.quantities import Kind
from gradehaul.show.base.digits import rounded
from gradehaul.treatment.dividing import Doubling
from gradehaul.treatment.ways_over import WaysOver

_SI: dict[Kind, str] = {"length": "m", "angle": "rad", "mass": "kg", "force": "N", "grade": "1", "share": "1"}


def check_json(answer: CheckAnswer, ways: Sequence[WaysOver] = ()) -> str:
    """Return the answer as JSON text in plain ASCII, ending with a line break.

    Keys are lower case with their SI unit as suffix; ``_pct`` is per cent. They are stable: others may be added.
    """
    return json.dumps(check_document(answer, ways), indent=1, allow_nan=False) + "\n"


def check_document(answer: CheckAnswer, ways: Sequence[WaysOver] = ()) -> dict[str, Any]:
    """Return the answer as the document that `check_json` writes."""
    plan = answer.plan
    return {
        "gradehaul": __version__,
        "plan": plan.title,
        "file": plan.file,
        "scale": {"name": plan.scale.name, "ratio": rounded(plan.scale.ratio), "gauge_m": rounded(plan.scale.gauge)},
        "practice": plan.practice,
        "curve_coefficient_m": rounded(answer.coefficient),
        "curve_model": plan.curve_resistance.model,
        "rails": list(answer.rails),
        "judged_rails": list(answer.judged_rails),
        "passes": answer.passes,
        "not_judged": list(answer.unjudged),
        "not_checked": list(answer.not_checked),
        "routes": [_route(route) for route in answer.routes],
        "between": [_between(between) for between in answer.between],
        "trains": [_train(train) for train in answer.trains],
        "ways_over": [_way_over(way) for way in ways],
        "berths": [_berth(berth) for berth in answer.berths],
        "figures": [
            {
                "subject": figure.subject,
                "name": figure.name,
                "value": rounded(figure.value),
                "unit": _SI[figure.kind],
                "basis": figure.basis,
            }
            for figure in answer.figures
        ],
        "doubts": [str(note) for note in answer.doubts],
        "notes": [str(note) for note in answer.notes],
    }


def _pct(ratio: float) -> float:
    return rounded(100 * ratio)


def _route(answer: RouteAnswer) -> dict[str, Any]:
    route, profile, ruling = answer.route, answer.profile, answer.ruling
    return {
        "name": route.name,
        "from": route.origin,
        "to": route.destination,
        "lap": route.lap,
        "start_berth": route.start_berth,
        "end_berth": route.end_berth,
        "length_m": rounded(profile.length),
        "climb_m": rounded(profile.climb),
        "fall_m": rounded(profile.fall),
        "tracks": list(profile.tracks),
        "reversals": [
            {
                "at_m": rounded(start),
                "in": tail.name,
                "tail_length_m": rounded(tail.length),
                "run_round_m": None if tail.round_room is None else rounded(tail.round_room),
            }
            for tail, (_, start) in zip(route.tails, profile.runs[1:], strict=True)
        ],
        "ruling": {
            "effective_pct": _pct(ruling.effective),
            "grade_pct": _pct(ruling.grade),
            "curve_pct": _pct(ruling.curve),
            "from_m": rounded(ruling.start),
            "to_m": rounded(ruling.stop),
            "track": ruling.track,
        },
        "ruling_under_train": [
            {
                "train_length_m": rounded(under.train_length),
                "effective_pct": _pct(under.effective),
                "at_m": rounded(under.at),
            }
            for under in answer.under_trains
        ],
        "loads": [_load(load, spread) for load, spread in zip(answer.loads, answer.spreads, strict=True)],
    }


def _load(load: Load, spread: LoadSpread) -> dict[str, Any]:
    return {
        "power": load.power,
        "car": load.car,
        "rail": load.rail,
        "told_cars": load.told,
        "rated_cars": load.rated,
        "limit_cars": load.limit,
        "told_low": load.held(spread.rated_low),
        "told_high": load.held(spread.rated_high),
        "rated_low": spread.rated_low,
        "rated_high": spread.rated_high,
        "limit_low": spread.limit_low,
        "limit_high": spread.limit_high,
        "fits_cars": load.fits,
        "fits_by": load.fits_by,
        "engine": load.engine,
        "holds_back": load.holds_back,
        "basis": load.basis,
        "slipping_basis": load.slipping_basis,
        "binds": None if load.binds is None else _binds(load.binds),
    }


def _binds(binds: Binds) -> dict[str, Any]:
    return {
        "by": "pull",
        "test": binds.test,
        "cars": binds.cars,
        "track": binds.track,
        "at_m": rounded(binds.at),
        "demand_n": rounded(binds.demand),
        "pull_n": rounded(binds.pull),
    }


def _between(between: Between) -> dict[str, Any]:
    return {
        "from": between.origin,
        "to": between.destination,
        "routes": between.count,
        "exact": between.exact,
        "highest_ruling_bound_pct": _pct(between.highest_bound),
    }


def _train(train: TrainAnswer) -> dict[str, Any]:
    return {
        "name": train.name,
        "route": train.route,
        "rail": train.rail,
        "length_m": rounded(train.length),
        **verdict_document(train.verdict, train.misfits),
        **_trust(train.trust),
    }


def _trust(trust: TrainTrust) -> dict[str, Any]:
    measure = trust.next_measurement
    return {
        "stall_probability": rounded(trust.stall_probability),
        "draws": trust.draws,
        "margin_low_n": rounded(trust.margin_low),
        "margin_high_n": rounded(trust.margin_high),
        "unsure_of": [
            {"of": cause.what, "share": rounded(cause.share), "measuring_removes": rounded(cause.narrows)}
            for cause in trust.causes
        ],
        "measure_next": None if measure is None else measure.measure,
    }


def _way_over(way: WaysOver) -> dict[str, Any]:
    return {
        "train": way.train,
        "rail": way.rail,
        "cars": way.cars,
        "leave_cars": way.leave,
        # a train is doubled only where berths at both ends hold its parts
        "doubling": {
            "front_cars": way.double.front,
            "rear_cars": way.double.rear,
            "foot_holds": True,
            "summit_holds": True,
        }
        if isinstance(way.double, Doubling)
        else None,
        "no_doubling": None if isinstance(way.double, Doubling) else way.double,
        "helpers": [
            {
                "loco": each.loco,
                "leg": each.leg or None,
                "where": each.where,
                "enough": each.enough,
                "fits": each.fits,
                "obstacle": each.obstacle,
                "districts": [
                    {"on": d.on, "on_m": rounded(d.on_at), "off": d.off, "off_m": rounded(d.off_at)}
                    for d in each.districts
                ],
            }
            for each in way.help
        ],
    }


def verdict_document(verdict: Verdict, misfits: Sequence[Misfit], outcome: Outcome | None = None) -> dict[str, Any]:
    """Return a verdict as it stands in every document: forces in N, places of the head in m.

    ``outcome`` is the worst of all that happens to the train, here unless another is given for the whole route;
    ``verdict`` is what becomes of it uphill alone.
    """
    return {
        "outcome": outcome or outcome_of(verdict, misfits),
        "verdict": verdict.climb,
        "margin_n": rounded(verdict.margin),
        "margin_at_m": rounded(verdict.margin_at),
        "at_m": rounded(verdict.at),
        "track": verdict.track,
        "no_stopping_m": _stretches(verdict.no_stopping),
        "no_recovery_m": _stretches(verdict.no_recovery),
        "stalling_m": _stretches(verdict.stalling),
        "running_away_m": _stretches(verdict.running_away),
        "holds_back": verdict.holds_back,
        "runs_away_at_m": None if verdict.runs_away_at is None else rounded(verdict.runs_away_at),
        "misfits": [
            {
                "place": each.place,
                "kind": each.kind,
                "length_m": rounded(each.length),
                "available_m": rounded(each.available),
            }
            for each in misfits
        ],
        "basis": verdict.basis,
        "slipping_basis": verdict.slipping_basis,
    }


def _stretches(stretches: Iterable[Stretch]) -> list[list[float]]:
    return [[rounded(stretch.start), rounded(stretch.stop)] for stretch in stretches]


def _berth(berth: BerthAnswer) -> dict[str, Any]:
    return {
        "name": berth.name,
        "clear_length_m": rounded(berth.clear_length),
        "clear_length_basis": berth.basis,
        "steepest_pct": _pct(berth.steepest),
        "cars_fit": dict(berth.cars_fit),
        "cars_stay": dict(berth.cars_stay),
        "rolls": {
            car: [
                {
                    "toward": roll.toward,
                    "runs_m": rounded(roll.length),
                    "stops_on": roll.track,
                    "end_of_track": roll.end,
                }
                for roll in rolls
            ]
            for car, rolls in berth.rolls.items()
        },
    }
