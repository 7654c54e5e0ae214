"""Percentiles are numpy's, whatever the number of values and their order."""

import numpy as np
import pytest

from gradehaul.haulage.trust.percentiles import median, quantiles


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 20, 99, 100, 1000, 1001])
def test_percentiles_are_those_of_numpy(count):
    noise = np.random.default_rng(count)
    shares = (0.0, 0.02, 0.05, 0.5, 0.7, 0.95, 1.0)
    for values in (noise.standard_normal(count), np.arange(count)[::-1] * 1.0, noise.integers(0, 4, count) * 1.0):
        assert quantiles(values, shares) == pytest.approx(np.quantile(values, shares), rel=1e-12, abs=1e-15)
        assert median(values) == pytest.approx(np.median(values), rel=1e-12, abs=1e-15)
