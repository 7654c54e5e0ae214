"""The bench's answer as one JSON document."""

from __future__ import annotations

import json
from typing import Any

from gradehaul import __version__
from gradehaul.haulage.answers.readings import ReadingsAnswer
from gradehaul.haulage.bench.adhesion_fit import AdhesionFit
from gradehaul.haulage.bench.film_age import Recovery
from gradehaul.haulage.bench.reduction import Mean, Reduced
from gradehaul.show.base.digits import rounded


def readings_json(answer: ReadingsAnswer) -> str:
    """Return the answer as JSON text in plain ASCII, ending with a line break; keys as in the answer of a check."""
    return json.dumps(readings_document(answer), indent=1, allow_nan=False) + "\n"


def readings_document(answer: ReadingsAnswer) -> dict[str, Any]:
    """Return the answer as the document that `readings_json` writes."""
    bench = answer.bench
    curve = bench.curve
    return {
        "gradehaul": __version__,
        "plan": answer.plan.title,
        "file": answer.plan.file,
        "pulls": [_row(row) for row in bench.rows],
        "pooled_scatter_pct": rounded(100 * bench.pooled.share),
        "adhesion": [_fit(fit) for fit in bench.fits.values()],
        "predicted": [
            {
                "loco": told.loco,
                "rail": told.rail,
                "pull_n": rounded(told.pull.value),
                "low_n": rounded(told.pull.low),
                "high_n": rounded(told.pull.high),
                "by_weight_n": rounded(told.by_weight.value),
                "by_weight_low_n": rounded(told.by_weight.low),
                "by_weight_high_n": rounded(told.by_weight.high),
            }
            for told in answer.predictions
        ],
        "films": [_film(film) for film in bench.films],
        "cars": [
            {"car": car.car, "rolling": _mean(car.rolling), "starting": _mean(car.starting)}
            for car in bench.cars.values()
        ],
        "curve": None
        if curve is None
        else {
            "coefficient_m": rounded(curve.coefficient.value),
            "error_m": rounded(curve.error),
            "rolling_assumed": curve.assumed_rolling,
        },
        "trials": [
            {
                "place": told.trial.place,
                "route": told.trial.route,
                "train": told.train,
                "rail": told.trial.rail,
                "hours": told.trial.hours,
                "outcome": told.trial.outcome,
                "model": told.outcome,
                "asks_n": rounded(told.asks),
                "gives_n": rounded(told.gives),
                "stall_probability": rounded(told.stall_probability),
                "agrees": told.agrees,
            }
            for told in answer.trials
        ],
        "remarks": [str(remark) for remark in answer.remarks],
        "measure_next": list(answer.measure_next),
    }


def _row(row: Reduced) -> dict[str, Any]:
    return {
        "loco": row.loco,
        "rail": row.rail,
        "state": row.state,
        "readings": row.count,
        "pull_n": rounded(row.mean),
        "low_n": rounded(row.low),
        "high_n": rounded(row.high),
        "scatter_n": rounded(row.scatter),
        "error_n": rounded(row.error),
        "freedom": row.freedom,
        "scatter_borrowed": row.borrowed,
        "outliers_n": [rounded(value) for value in row.outliers],
        "taken": [
            {
                "place": taken.place,
                "hours": taken.hours,
                "correction_n": rounded(taken.correction),
                "forces_n": [rounded(force.value) for force in taken.forces],
            }
            for taken in row.taken
        ],
    }


def _fit(fit: AdhesionFit) -> dict[str, Any]:
    return {
        "rail": fit.rail,
        "locos": list(fit.locos),
        "metal": None if fit.metal is None else rounded(fit.metal),
        "metal_error": None if fit.metal_error is None else rounded(fit.metal_error),
        "tyred": None if fit.tyred is None else rounded(fit.tyred),
        "tyred_error": None if fit.tyred_error is None else rounded(fit.tyred_error),
        "correlation": rounded(fit.correlation),
        "between_locos_pct": rounded(100 * fit.between),
        "freedom": fit.freedom,
        "apart": fit.apart,
        "why": fit.why,
        "residuals_pct": [rounded(100 * value) for value in fit.residuals],
    }


def _film(film: Recovery) -> dict[str, Any]:
    return {
        "loco": film.loco,
        "film": film.film,
        "form": film.form,
        "fresh_n": rounded(film.fresh),
        "settled_n": rounded(film.settled),
        "time_h": None if film.time is None else rounded(film.time),
        "clean_n": None if film.clean is None else rounded(film.clean),
        "misfit_n": rounded(film.misfit),
        "ages": [{"hours": rounded(hours), "pull_n": rounded(pull)} for hours, pull in film.ages],
    }


def _mean(mean: Mean | None) -> dict[str, Any] | None:
    if mean is None:
        return None
    return {"share": rounded(mean.value), "error": rounded(mean.error), "half_95": rounded(mean.half)}
