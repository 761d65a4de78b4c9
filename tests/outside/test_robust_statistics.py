"""Robust spread and the risk of naming a sound cylinder, against theory, scipy and simulation with fixed seeds.

Sources: Rousseeuw and Croux, JASA 88 (1993) 1273 (Qn); Croux and Rousseeuw (1992) for the factors of small samples.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import median_abs_deviation, norm

from daq.procedure.spread import critical, outliers, qn


def test_the_constant_is_that_of_the_normal_distribution() -> None:
    """1 / (sqrt 2 * the 5/8 quantile): a quarter of all differences is smaller than Qn."""
    assert 1 / (np.sqrt(2) * norm.ppf(5 / 8)) == pytest.approx(2.21914, abs=6e-6)


@pytest.mark.parametrize("n", [2, 3, 4, 5, 6, 8, 9, 12, 13, 14, 16])
def test_on_average_it_is_the_standard_deviation(n: int) -> None:
    draws = np.random.default_rng(n).standard_normal((4000, n))
    found = np.array([qn(row) for row in draws.tolist()])
    assert found.mean() == pytest.approx(1.0, abs=4 * found.std() / 4000**0.5)


def test_it_agrees_with_the_median_absolute_deviation_and_is_steadier() -> None:
    """scipy's MAD, scaled to the normal distribution, over many samples of 16 with one gross value."""
    draws = np.random.default_rng(16).normal(6.0, 1.5, (1500, 16))
    draws[:, 3] = 60.0
    ours = np.array([qn(row) for row in draws.tolist()])
    mad = median_abs_deviation(draws, axis=1, scale="normal")
    assert ours.mean() == pytest.approx(mad.mean(), rel=0.15)
    assert ours.std() < 0.95 * mad.std()


@pytest.mark.parametrize("n", [3, 4, 6, 8, 16])
@pytest.mark.parametrize("u", [0.01, 1.0, 100.0])
def test_the_risk_for_a_sound_engine_is_the_stated_one(n: int, u: float) -> None:
    """Cylinders differ by 1 point, readings are uncertain by u: at most 5 % of sound engines have an outlier."""
    times, spread = 1500, np.hypot(1.0, u)
    draws = np.random.default_rng(100 + n).normal(6.0, spread, (times, n))
    covariance = np.eye(n) * u**2
    risk = np.mean([any(outliers(row, covariance, 0.05)) for row in draws.tolist()])
    margin = 4 * (0.05 * 0.95 / times) ** 0.5
    assert risk < 0.05 + margin
    assert u > 0.1 or risk > 0.05 - margin


def test_the_critical_distance_for_three_by_integration() -> None:
    """The greater gap over the smaller of three normal values, by direct numerical integration over the angle.

    Gaps of three normal values depend on an angle that is evenly distributed: with the points written as deviations in
    a plane, the order splits it into sectors of 60 degrees, in each of which the gaps are as sin(a) and sin(60 - a).
    """
    angles = (np.arange(2_000_000) + 0.5) / 2_000_000 * np.pi / 3
    gaps = np.sin(angles), np.sin(np.pi / 3 - angles)
    ratio = np.maximum(*gaps) / np.minimum(*gaps)
    for risk in (0.05, 0.01):
        exact = np.quantile(ratio, 1 - risk) / (0.99365 * 2.21914)
        assert critical(3, risk) == pytest.approx(exact, rel=0.02)
