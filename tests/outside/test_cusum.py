"""Run lengths of the cumulative sum that watches the zero, against published ones."""

from __future__ import annotations

import math

import numpy as np
import pytest

from daq.measure.cusum import ALARM, SLACK, Cusum, DriftWatch

SERIES = 20_000

# Two-sided, k = 0.5, h = 4, from zero: Lucas and Crosier 1982, table 1.
LUCAS_CROSIER = [
    (0.0, 168.0), (0.25, 74.2), (0.5, 26.6), (0.75, 13.3), (1.0, 8.38), (1.5, 4.75), (2.0, 3.34), (2.5, 2.62),
    (3.0, 2.19), (4.0, 1.71),
]  # fmt: skip
# h = 5: 465 and 10.4 in textbooks of quality control (values from memory); the integral equation of Page gives these.
FIVE = [(0.0, 465.4435), (0.5, 37.9961), (1.0, 10.3760), (2.0, 4.0089)]


def mean_run_length(watch: Cusum | DriftWatch, shift: float, before: int = 0) -> tuple[float, float]:
    """Of many series, each up to its first alarm after the first `before` values, and its standard error."""
    rng = np.random.default_rng(1954)
    length = np.zeros(SERIES)
    for _ in range(before):
        watch.feed(rng.standard_normal(SERIES))
    for n in range(1, 100_000):
        told = watch.feed(shift + rng.standard_normal(SERIES)).any
        length[told & (length == 0)] = n
        if length.all():
            return float(length.mean()), float(length.std() / math.sqrt(SERIES))
    raise AssertionError("some series never raised an alarm")


@pytest.mark.parametrize(("shift", "published"), LUCAS_CROSIER)
def test_four_standard_deviations(shift: float, published: float) -> None:
    found, error = mean_run_length(Cusum(SERIES, 0.5, 4.0), shift)
    assert found == pytest.approx(published, abs=4 * error + 0.005 * published)


@pytest.mark.parametrize(("shift", "published"), FIVE)
def test_five_standard_deviations_are_the_default(shift: float, published: float) -> None:
    assert (SLACK, ALARM) == (0.5, 5.0)
    found, error = mean_run_length(Cusum(SERIES), shift)
    assert found == pytest.approx(published, abs=4 * error)


@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_the_approximation_of_siegmund(shift: float) -> None:
    """One side: (exp(-2 d b) + 2 d b - 1) / (2 d^2), d = shift - k, b = h + 1.166; good to about one percent."""

    def one_side(d: float) -> float:
        b = 5 + 1.166
        return (math.exp(-2 * d * b) + 2 * d * b - 1) / (2 * d * d)

    both = 1 / (1 / one_side(shift - 0.5) + 1 / one_side(-shift - 0.5))
    found, _ = mean_run_length(Cusum(SERIES), shift)
    assert found == pytest.approx(both, rel=0.02)


def test_a_mean_that_nobody_knows_makes_no_more_alarms() -> None:
    """Self-starting: the values held against the mean of those before are as good as those of a known mean."""
    found, error = mean_run_length(DriftWatch(np.ones(SERIES)), 0.0)
    assert found == pytest.approx(465.4435 + 1, abs=5 * error)
