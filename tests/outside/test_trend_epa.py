"""Mann-Kendall and Sen against a published example and the reference library.

Source: EPA QA/G-9S, Data Quality Assessment: Statistical Methods for Practitioners, EPA/240/B-06/003 (2006), p. 109.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.stats import kendalltau, norm, theilslopes

from daq.procedure.monotone import EXACT_TO, mann_kendall, sen_slope

EPA = [10.0, 10.0, 10.0, 5.0, 10.0, 20.0, 18.0, 17.0, 15.0, 24.0, 15.0]
HOURS = [100.0 * i for i in range(10)]
RISING = [8.1, 8.4, 8.2, 8.9, 9.1, 8.8, 9.6, 10.2, 9.9, 10.8]


def test_the_example_of_the_epa() -> None:
    """S = 22, Z = 1.685; two groups of ties, of 4 and of 2."""
    found = mann_kendall(list(range(11)), EPA)
    assert found.s == 22 and found.z == pytest.approx(1.685, abs=5e-4)
    assert found.variance == pytest.approx(155.33, abs=5e-3)


def test_the_slope_of_the_same_series_against_scipy() -> None:
    found, reference = sen_slope(list(range(11)), EPA), theilslopes(EPA, range(11))
    assert found is not None
    assert (found.slope, found.low, found.high) == (reference.slope, reference.low_slope, reference.high_slope)
    assert found.at(0.0) == pytest.approx(reference.intercept)


def test_a_rising_series_against_scipy() -> None:
    """Figures computed with scipy: S = 37, exact p = 3.57694e-4, slope 0.002833333, 95 % 0.002 to 0.003666667."""
    test, slope, reference = mann_kendall(HOURS, RISING), sen_slope(HOURS, RISING), theilslopes(RISING, HOURS)
    assert (test.s, test.variance, test.exact) == (37, 125.0, True)
    assert test.z == pytest.approx(3.219938, abs=5e-7)
    assert test.p == pytest.approx(kendalltau(HOURS, RISING, method="exact").pvalue, rel=1e-12)
    assert test.p == pytest.approx(3.57694e-4, rel=1e-5)
    assert slope is not None and slope.slope == pytest.approx(reference.slope, rel=1e-12)
    assert (slope.low, slope.high) == pytest.approx((reference.low_slope, reference.high_slope), rel=1e-12)


@pytest.mark.parametrize("n", [2, 3, 5, 8, 12, 20, EXACT_TO])
def test_exact_chances_against_scipy(n: int) -> None:
    for seed in range(5):
        y = np.random.default_rng(seed).normal(0.05 * np.arange(n), 1.0).tolist()
        expected = kendalltau(range(n), y, method="exact").pvalue
        assert mann_kendall(list(range(n)), y).p == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("y", [[1, 1, 2, 3, 3, 3], [5, 5, 5, 7], [2, 1, 2, 1, 2, 1, 3], [4, 4, 4]])
def test_exact_chances_with_ties_against_all_orders(y: list[float]) -> None:
    def s_of(order: tuple[float, ...]) -> int:
        return sum((b > a) - (b < a) for a, b in itertools.combinations(order, 2))

    orders = list(itertools.permutations(y))
    as_far = sum(abs(s_of(order)) >= abs(s_of(tuple(y))) for order in orders)
    assert mann_kendall(list(range(len(y))), y).p == pytest.approx(as_far / len(orders), rel=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_many_values_and_ties_in_both_against_scipy(seed: int) -> None:
    """scipy has no correction for continuity, so its z is compared without one."""
    rng = np.random.default_rng(seed)
    x, y = np.sort(rng.integers(0, 30, 60)).tolist(), rng.integers(0, 20, 60).tolist()
    found, reference = mann_kendall(x, y), kendalltau(x, y, method="asymptotic")
    assert not found.exact
    assert 2 * norm.sf(abs(found.s) / found.variance**0.5) == pytest.approx(reference.pvalue, rel=1e-9)
    slope, line = sen_slope(x, y), theilslopes(y, x)
    assert slope is not None and slope.slope == pytest.approx(line.slope)
    assert (slope.low, slope.high) == pytest.approx((line.low_slope, line.high_slope))


@pytest.mark.parametrize("n", [5, 6, 8, 12])
def test_the_interval_holds_the_true_slope_as_often_as_stated(n: int) -> None:
    """And not much oftener than whole numbers of slopes allow: by simulation with a fixed seed."""
    rng, x = np.random.default_rng(n), list(range(n))
    held = 0
    for _ in range(1500):
        found = sen_slope(x, (0.3 * np.arange(n) + rng.normal(size=n)).tolist())
        assert found is not None and found.low is not None and found.high is not None
        held += found.low <= 0.3 <= found.high
    assert held / 1500 > 0.95 - 4 * (0.05 * 0.95 / 1500) ** 0.5


@pytest.mark.parametrize("n", [5, 8, 40])
def test_the_risk_of_a_trend_that_is_none(n: int) -> None:
    rng = np.random.default_rng(n)
    alarms = np.mean([mann_kendall(list(range(n)), rng.normal(size=n).tolist()).p <= 0.05 for _ in range(1500)])
    assert alarms < 0.05 + 4 * (0.05 * 0.95 / 1500) ** 0.5
