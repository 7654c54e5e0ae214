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
    """Adhesion of metal and of tyred wheels in many sets of data, with what their scatter says.

    `value`, shape (..., 2); `inverse` of the matrix of the normal equations, shape (..., 2, 2), zero for a coefficient
    held at zero; `variance` of a locomotive's relative deviation, shape (...,); `freedom`, shape (...,).
    """

    value: FloatArray
    inverse: FloatArray
    variance: FloatArray
    freedom: FloatArray


def fit_coefficients(weights: FloatArray, pulls: FloatArray) -> Coefficients:
    """Fit pull = μ_metal W_metal + μ_tyre W_tyre by non-negative least squares of relative deviations.

    Locomotives differ from one another by a share of their pull, so each is weighed by 1 / its fitted pull, found in a
    few rounds. With two coefficients the non-negative solution is the free one where both are positive, else the better
    of the two with one held at zero (Lawson and Hanson's conditions, by hand for two).

    Parameters
    ----------
    weights
        Weight on metal and on tyred driven wheels, N, shape (..., locomotives, 2).
    pulls
        Their mean pulls, N, shape (..., locomotives).

    Examples
    --------
    >>> weights = np.array([[2.0, 0.0], [3.0, 0.0], [2.0, 1.0], [1.0, 1.0]])
    >>> fit_coefficients(weights, weights @ [0.22, 0.40]).value.round(6)
    array([0.22, 0.4 ])
    """
    fitted = np.broadcast_to(pulls, np.broadcast_shapes(pulls.shape, weights.shape[:-1])).copy()
    for _ in range(_ROUNDS):
        rows = weights / fitted[..., None]
        seen = pulls / fitted
        value, inverse = _non_negative(rows, seen)
        fitted = np.maximum((weights * value[..., None, :]).sum(axis=-1), 1e-12)
    residual = pulls / fitted - 1.0
    freedom = weights.shape[-2] - (value > 0).sum(axis=-1)
    variance = (residual**2).sum(axis=-1) / np.maximum(freedom, 1)
    return Coefficients(value, inverse, variance, freedom.astype(float))


def _non_negative(rows: FloatArray, seen: FloatArray) -> tuple[FloatArray, FloatArray]:
    square = np.einsum("...ni,...nj->...ij", rows, rows)
    right = np.einsum("...ni,...n->...i", rows, seen)
    a, b, d = square[..., 0, 0], square[..., 0, 1], square[..., 1, 1]
    determinant = a * d - b * b
    singular = determinant <= 1e-12 * a * d
    safe = np.where(singular, 1.0, determinant)
    free = np.stack([d * right[..., 0] - b * right[..., 1], a * right[..., 1] - b * right[..., 0]], axis=-1)
    free = free / safe[..., None]
    inverse = np.stack([np.stack([d, -b], axis=-1), np.stack([-b, a], axis=-1)], axis=-2) / safe[..., None, None]
    alone = np.stack([right[..., 0] / np.where(a > 0, a, 1.0), right[..., 1] / np.where(d > 0, d, 1.0)], axis=-1)
    alone = np.maximum(alone, 0.0)
    gains = np.stack([right[..., 0] * alone[..., 0], right[..., 1] * alone[..., 1]], axis=-1)
    first = gains[..., 0] >= gains[..., 1]
    held = np.where(first[..., None], alone * np.array([1.0, 0.0]), alone * np.array([0.0, 1.0]))
    zero = np.zeros_like(a)
    only_first = np.stack(
        [np.stack([1.0 / np.where(a > 0, a, 1.0), zero], axis=-1), np.stack([zero, zero], axis=-1)], axis=-2
    )
    only_second = np.stack(
        [np.stack([zero, zero], axis=-1), np.stack([zero, 1.0 / np.where(d > 0, d, 1.0)], axis=-1)], axis=-2
    )
    bounded = singular | (free < 0).any(axis=-1)
    value = np.where(bounded[..., None], held, free)
    inverse = np.where(bounded[..., None, None], np.where(first[..., None, None], only_first, only_second), inverse)
    return value, inverse


def predict(found: Coefficients, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the pull of a locomotive that was not measured and the standard deviation of what it may be, N.

    The deviation has both how much locomotives differ among themselves and how well the coefficients are known:
    σ² = s² (pull² + w (AᵀA)⁻¹ wᵀ), A being the weights over the fitted pulls.
    """
    pull = (found.value * weights).sum(axis=-1)
    known = np.einsum("...i,...ij,...j->...", weights, found.inverse, weights)
    return pull, np.sqrt(found.variance * (pull**2 + known))


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
    correlation: float
    between: Ratio
    freedom: int
    apart: bool
    why: str
    shares: tuple[float, float]
    """Least and greatest share of weight on tyres among the locomotives."""
    residuals: tuple[Ratio, ...]
    """Each locomotive's pull over the fitted one, less 1."""
    found: Coefficients

    def predict(self, weights: tuple[float, float]) -> PredictedPull | None:
        """Return the pull of another locomotive with these weights on metal and tyred wheels, N; None where unknown.

        Its variance is that of `predict`: s² pull² of its own, and s² w (AᵀA)⁻¹ wᵀ of the coefficients, which all
        predictions of the fit share.
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
        scatter = math.sqrt(float(self.found.variance))
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

    Parameters
    ----------
    rail, locos
        The condition, and the names of the locomotives read on it.
    weights
        Weight on metal and on tyred driven wheels of each, N.
    pulls, errors
        Mean pull of each and its standard error, N.
    """
    w, y = np.array(weights), np.array(pulls)
    share = w[:, 1] / w.sum(axis=1)
    low, high = float(share.min()), float(share.max())
    apart = high - low >= APART and len(locos) >= 3
    found = fit_coefficients(w if apart else np.stack([w.sum(axis=1), np.zeros(len(locos))], axis=1), y)
    fitted = (found.value * (w if apart else np.stack([w.sum(axis=1), 0 * y], axis=1))).sum(axis=1)
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
        between=math.sqrt(max(0.0, float(found.variance) - within)),
        freedom=int(found.freedom),
        apart=apart,
        why="" if apart else _why(len(locos), bare=bare, all_tyred=all_tyred),
        shares=(low, high),
        residuals=tuple(float(x) for x in y / fitted - 1),
        found=found,
    )


def _why(count: int, *, bare: bool, all_tyred: bool) -> str:
    if bare:
        return "no locomotive with traction tires was read, so this says nothing about tires"
    if all_tyred:
        return (
            "every locomotive that was read has traction tires on all driven wheels, so this says nothing about metal"
        )
    if count < 3:
        return "fewer than three locomotives were read, so tires and metal cannot be separated"
    return "the locomotives all have about the same share of weight on tires, so tires and metal cannot be separated"
