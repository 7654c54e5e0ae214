"""Adhesion fitted: known coefficients found again, intervals that hold, and data that cannot tell."""

import numpy as np
import pytest

from gradehaul.haulage.bench.adhesion_fit import deviation, fit_adhesion, fit_coefficients, interval
from gradehaul.haulage.bench.reduction import student

METAL, TYRED = 0.22, 0.40
TRIALS = 2_000
FLEET = np.array([[2.2, 0.0], [1.6, 1.1], [3.0, 0.9], [0.9, 1.2], [2.6, 0.0], [1.3, 1.3], [2.0, 0.7]])
"""Weight on metal and on tyred drivers, N."""


def readings(noise, count: int = 5, between: float = 0.10, within: float = 0.03):
    """Mean pulls of the fleet in many trials: locomotives differ by 10 %, readings of one by 3 %."""
    own = FLEET @ [METAL, TYRED] * (1 + between * noise.standard_normal((TRIALS, len(FLEET))))
    return own * (1 + within / np.sqrt(count) * noise.standard_normal(own.shape))


def test_the_prediction_of_an_unmeasured_locomotive_holds_the_truth_in_19_cases_of_20():
    noise = np.random.default_rng(11)
    fits = [fit(FLEET.tolist(), pulls) for pulls in readings(noise)]
    for unread in ((1.8, 0.6), (2.4, 0.0), (1.0, 1.5)):
        truth = np.dot(unread, [METAL, TYRED]) * (1 + 0.10 * noise.standard_normal(TRIALS))
        low, high = np.transpose([interval(found.predict(unread)) for found in fits])
        assert 0.93 <= ((low <= truth) & (truth <= high)).mean() <= 0.97


def test_known_coefficients_are_found_again():
    fits = [fit_coefficients(FLEET, pulls) for pulls in readings(np.random.default_rng(3))]
    value = np.array([found.value for found in fits])
    assert value.mean(axis=0) == pytest.approx([METAL, TYRED], rel=0.01)
    assert np.sqrt(np.mean([found.variance for found in fits])) == pytest.approx(0.101, rel=0.03)
    exact = fit_coefficients(FLEET, FLEET @ [0.19, 0.33])
    assert exact.value == pytest.approx([0.19, 0.33])
    errors = np.sqrt([found.variance * np.diag(found.inverse) for found in fits])
    held = np.abs(value - [METAL, TYRED]) <= student(5) * errors
    assert ((held.mean(axis=0) > 0.93) & (held.mean(axis=0) < 0.97)).all()


def fit(weights, pulls=None, rail="clean"):
    w = np.array(weights)
    y = w @ [METAL, TYRED] * (1 + 0.03 * np.resize([1, -1, 0.5, -0.5], len(w))) if pulls is None else pulls
    names = tuple(f"L{k}" for k in range(len(w)))
    return fit_adhesion(rail, names, [tuple(row) for row in weights], list(y), [0.01] * len(w))


def test_tyres_and_metal_are_told_apart_where_locomotives_differ():
    found = fit(FLEET.tolist())
    assert found.apart
    assert (found.metal, found.tyred) == (pytest.approx(METAL, rel=0.05), pytest.approx(TYRED, rel=0.08))
    assert found.correlation < 0
    told = found.predict((1.8, 0.6))
    low, high = interval(told)
    assert low < told.value < high
    own = np.array([1.8, 0.6])
    assert told.value == pytest.approx(found.found.value @ own)
    variance = found.found.variance * (told.value**2 + own @ found.found.inverse @ own)
    assert deviation(told) == pytest.approx(np.sqrt(variance))
    assert found.why == ""


@pytest.mark.parametrize(
    ("weights", "words", "known"),
    [
        ([[2.0, 1.0], [3.0, 1.5], [1.0, 0.5], [2.4, 1.2]], "about the same share of weight on tires", None),
        ([[2.0, 1.0], [3.0, 1.5], [1.0, 0.5]], "about the same share of weight on tires", None),
        ([[2.0, 0.0], [3.0, 0.0], [1.0, 0.0]], "no locomotive with traction tires", METAL),
        ([[2.0, 0.0], [1.0, 2.0]], "fewer than three", None),
    ],
)
def test_data_that_cannot_tell_say_so(weights, words, known):
    found = fit(weights)
    assert not found.apart
    assert words in found.why
    assert found.tyred is None
    assert found.metal == (None if known is None else pytest.approx(known, rel=0.05))
    assert found.predict((0.5, 2.0) if weights[-1][1] < 1.9 else (0.0, 0.0)) is None
    alike = found.predict(tuple(np.array(weights[0]) * 1.2))
    assert alike is not None
    assert alike.value == pytest.approx(1.2 * np.dot(weights[0], [METAL, TYRED]), rel=0.35)


def test_locomotives_on_tyres_alone_tell_of_tyres_alone():
    found = fit([[0.0, 2.0], [0.0, 3.0], [0.0, 1.0]])
    assert "has traction tires on all driven wheels" in found.why
    assert (found.metal, found.metal_error) == (None, None)
    assert found.tyred == pytest.approx(TYRED, rel=0.05)
    assert found.predict((2.0, 0.0)) is None


def test_standard_errors_are_those_of_the_normal_equations():
    found = fit(FLEET.tolist())
    rows = FLEET / (FLEET @ [found.metal, found.tyred])[:, None]
    residual = np.array(found.residuals)
    covariance = (residual @ residual) / (len(FLEET) - 2) * np.linalg.inv(rows.T @ rows)
    assert (found.metal_error, found.tyred_error) == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-4)
    assert found.correlation == pytest.approx(covariance[0, 1] / found.metal_error / found.tyred_error, rel=1e-4)
    assert -1 < found.correlation < -0.1


@pytest.mark.parametrize("column", [0, 1])
def test_of_one_kind_of_wheel_the_error_is_that_of_a_mean(column):
    weights = np.zeros((5, 2))
    weights[:, column] = [1.0, 2.0, 3.0, 0.5, 0.8]
    found = fit(weights.tolist(), list(weights.sum(axis=1) * [0.31, 0.28, 0.30, 0.33, 0.29]))
    value, error = (found.metal, found.metal_error) if column == 0 else (found.tyred, found.tyred_error)
    residual = np.array(found.residuals)
    assert error == pytest.approx(value * np.sqrt(residual @ residual / 4 / 5), rel=1e-3)
    other = (found.tyred, found.tyred_error) if column == 0 else (found.metal, found.metal_error)
    assert other == (None, None)


def test_a_coefficient_held_at_zero_is_known_without_doubt_and_leaves_the_other_its_own():
    weights = np.array([[1.0, 2.0], [2.0, 1.0], [1.0, 0.5], [2.5, 2.0]])
    for column, pulls in ((0, [0.2, 0.5, 0.26, 0.55]), (1, [0.5, 0.2, 0.1, 0.45])):
        found = fit_coefficients(weights, np.array(pulls))
        assert found.value[1 - column] == 0
        assert found.freedom == 3
        rows = weights[:, column] / (weights @ found.value)
        expected = np.zeros((2, 2))
        expected[column, column] = 1 / (rows @ rows)
        assert found.inverse == pytest.approx(expected, rel=1e-3)


def test_one_locomotive_predicts_none_since_nothing_tells_how_they_differ():
    assert fit([[2.0, 1.0]]).predict((2.0, 1.0)) is None


def test_locomotives_that_differ_make_predictions_less_sure_than_readings_do():
    alike, unlike = (
        fit(FLEET.tolist()),
        fit(FLEET.tolist(), list(FLEET @ [METAL, TYRED] * [1.2, 0.8, 1.1, 0.9, 1, 1.1, 0.9])),
    )
    one, other = alike.predict((1.8, 0.6)), unlike.predict((1.8, 0.6))
    widths = [high - low for low, high in map(interval, (one, other))]
    assert widths[1] > 3 * widths[0]
    assert unlike.between > 0.1
