"""Tests of steadiness against published and independently calculated values."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from daq.measure.stability import line_fit
from tests.benchmarks.stability.ratio import COMMON, ratio


def test_the_ratio_of_variances_gives_the_sequence_calculated_by_hand() -> None:
    """Recursion of Cao & Rhinehart (1995) with factors 0.2, 0.1, 0.1, begun at the first value with no variance."""
    values = np.array([10, 10.2, 9.9, 10.1, 10.0, 10.3, 9.8, 10.1, 10.0, 9.9])
    expected = [1.8, 0.794285714, 0.678039113, 0.642895907, 0.999325376, 0.755885983, 0.640120797, 0.631945914]
    np.testing.assert_allclose(ratio(values)[:8], expected, rtol=1e-8)
    assert ratio(values)[8] == pytest.approx(0.690157102, rel=1e-8)


@pytest.mark.parametrize(("factors", "mean", "high"), [(COMMON, 1.0391, 1.440), ((0.05, 0.05, 0.05), 1.0238, 1.326)])
def test_the_ratio_of_steady_noise_has_its_distribution(factors, mean: float, high: float) -> None:
    """Mean and 95 % quantile of 200,000 simulated normal signals, each after 400 values."""
    rng = np.random.default_rng(8)
    found = [ratio(rng.standard_normal(400), factors)[-1] for _ in range(3000)]
    assert np.mean(found) == pytest.approx(mean, abs=0.015)
    assert np.quantile(found, 0.95) == pytest.approx(high, abs=0.04)


def test_a_signal_that_stands_still_has_no_ratio() -> None:
    assert ratio(np.full(10, 5.0)) == [0.0] * 9
    assert ratio(np.array([5.0, 5.0, 5.1]))[-1] == pytest.approx(1.8)


def test_a_line_is_that_of_scipy() -> None:
    """Its standard error is not smaller: it is widened for what is left of autocorrelation."""
    t, y = np.arange(10.0), np.array([50.0, 50.1, 49.9, 50.2, 50.1, 50.3, 50.2, 50.4, 50.3, 50.5])
    slope, error, _, _ = line_fit(t[None], y[None])
    regression = stats.linregress(t, y)
    assert slope[0] == pytest.approx(regression.slope, rel=1e-12) == pytest.approx(0.052121212121, rel=1e-9)
    assert regression.stderr == pytest.approx(0.010722306675, rel=1e-9)
    assert error[0] == pytest.approx(regression.stderr, rel=1e-9)
