"""Adhesion fitted: what metal and tyred wheels pull per unit of weight on them, and what that says of other engines."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar, NamedTuple

import numpy as np

from gradehaul.haulage.bench.reduction import student
from gradehaul.plan.records import PredictedPull
from gradehaul.quantities.si import Ratio, Share
from gradehaul.track.piecewise import FloatArray

APART = 0.10
"""Least range of the share of weight on tyres over the locomotives at which tires and metal can be separated."""

_ROUNDS = 4


class Coefficients(NamedTuple):
    """Adhesion of metal and of tyred wheels, with what the scatter of locomotives says.

    `value`, shape (2,); `inverse` of the matrix of the normal equations, shape (2, 2), zero for a coefficient held at
    zero; `variance` of a locomotive's relative deviation; `freedom`.
    """

    value: FloatArray
    inverse: FloatArray
    variance: float
    freedom: int


def fit_coefficients(weights: FloatArray, pulls: FloatArray) -> Coefficients:
    """Fit pull = μ_metal W_metal + μ_tyre W_tyre by non-negative least squares of relative deviations.

    Locomotives differ from one another by a share of their pull, so each is weighed by 1 / its fitted pull, found in a
    few rounds.

    Weights are those on metal and on tyred driven wheels, N, shape (locomotives, 2), pulls the means, (locomotives,).
    """
    from scipy.optimize import nnls

    fitted = pulls
    for _ in range(_ROUNDS):
        rows = weights / fitted[:, np.newaxis]
        value = nnls(rows, pulls / fitted)[0]
        fitted = np.maximum(weights @ value, 1e-12)
    used = np.flatnonzero(value)
    inverse = np.zeros((2, 2))
    inverse[np.ix_(used, used)] = np.linalg.inv(rows[:, used].T @ rows[:, used])
    freedom = len(pulls) - used.size
    return Coefficients(value, inverse, float(((pulls / fitted - 1.0) ** 2).sum()) / max(freedom, 1), freedom)


@dataclass(frozen=True, slots=True)
class AdhesionFit:
    """Adhesion on one rail condition, fitted to the mean pulls of locomotives.

    `metal` and `tyred` are None where the data say nothing of them; `error` has their standard errors. `between` is how
    much locomotives differ among themselves, as a share, beyond the scatter of readings. Where `apart` is False tyres
    and metal cannot be separated, and only locomotives with nearly the same share of weight on tyres are predicted;
    `why` says so in words.
    """

    KEYS: ClassVar[str] = (
        "rail locos metal metal_error tyred tyred_error correlation between_locos=between freedom apart why residuals"
    )

    rail: str
    locos: tuple[str, ...]
    metal: Share | None
    tyred: Share | None
    metal_error: Share | None
    tyred_error: Share | None
    correlation: Share
    between: Ratio
    freedom: int
    apart: bool
    why: str
    shares: tuple[Share, Share]
    """Least and greatest share of weight on tyres among the locomotives."""
    residuals: tuple[Ratio, ...]
    """Each locomotive's pull over the fitted one, less 1."""
    found: Coefficients

    def predict(self, weights: tuple[float, float]) -> PredictedPull | None:
        """Return the pull of another locomotive with these weights on metal and tyred wheels, N; None where unknown.

        Its variance has both how much locomotives differ among themselves, s² pull², and how well the coefficients are
        known, s² w (AᵀA)⁻¹ wᵀ with A the weights over the fitted pulls, which all predictions of the fit share.
        """
        total = sum(weights)
        if total <= 0 or self.freedom < 1:
            return None
        share = weights[1] / total
        low, high = self.shares
        if not self.apart and not low - APART <= share <= high + APART:
            return None
        own = np.array(weights if self.apart else (total, 0.0))
        pull = float((self.found.value * own).sum())
        scatter = math.sqrt(self.found.variance)
        spreads, directions = np.linalg.eigh(self.found.inverse)
        one, other = (scatter * (own @ directions) * np.sqrt(np.maximum(spreads, 0.0))).tolist()
        return PredictedPull(pull, scatter * pull, (one, other), self.rail, self.freedom)


def interval(pull: PredictedPull) -> tuple[float, float]:
    """Return the bounds between which a predicted pull lies with 95 %, N, by Student's t."""
    half = student(pull.freedom) * deviation(pull)
    return max(0.0, pull.value - half), pull.value + half


def deviation(pull: PredictedPull) -> float:
    """Return the standard deviation of a predicted pull, N."""
    return math.hypot(pull.own, *pull.shared)


def fit_adhesion(
    rail: str, locos: tuple[str, ...], weights: list[tuple[float, float]], pulls: list[float], errors: list[float]
) -> AdhesionFit:
    """Fit the adhesion on one rail condition.

    `weights` are those on metal and on tyred driven wheels of each, N; `errors` the standard errors of the pulls, N.
    """
    w, y = np.array(weights), np.array(pulls)
    share = w[:, 1] / w.sum(axis=1)
    low, high = float(share.min()), float(share.max())
    apart = high - low >= APART and len(locos) >= 3
    by_wheel = w if apart else np.column_stack([w.sum(axis=1), 0 * y])
    found = fit_coefficients(by_wheel, y)
    fitted = by_wheel @ found.value
    covariance = found.variance * found.inverse
    deviations = np.sqrt(np.diag(covariance))
    product = float(deviations[0] * deviations[1])
    within = float(np.mean((np.array(errors) / y) ** 2))
    bare, all_tyred = high < 0.01, low > 0.99
    metal, tyred = (float(x) for x in found.value)
    return AdhesionFit(
        rail=rail,
        locos=locos,
        metal=metal if apart or bare else None,
        tyred=tyred if apart else metal if all_tyred else None,
        metal_error=float(deviations[0]) if apart or bare else None,
        tyred_error=float(deviations[1]) if apart else float(deviations[0]) if all_tyred else None,
        correlation=float(covariance[0, 1]) / product if product > 0 else 0.0,
        between=math.sqrt(max(0.0, found.variance - within)),
        freedom=found.freedom,
        apart=apart,
        why="" if apart else _why(len(locos), bare=bare, all_tyred=all_tyred),
        shares=(low, high),
        residuals=tuple(float(x) for x in y / fitted - 1),
        found=found,
    )


def _why(count: int, *, bare: bool, all_tyred: bool) -> str:
    if bare:
        return "no locomotive with traction tires was measured, so this says nothing about tires"
    if all_tyred:
        return "every locomotive measured has traction tires on all driven wheels, so this says nothing about metal"
    if count < 3:
        return "fewer than three locomotives were measured, so tires and metal cannot be separated"
    return "the locomotives all have about the same share of weight on tires, so tires and metal cannot be separated"
