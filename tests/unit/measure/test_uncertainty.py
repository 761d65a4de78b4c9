import math

import pytest

from daq.measure import uncertainty


def test_limits_of_error_become_a_standard_uncertainty() -> None:
    assert uncertainty.rectangular(0.75) == pytest.approx(0.75 / math.sqrt(3))


def test_contributions_add_as_squares_and_correlation_counts_for_the_first_two() -> None:
    assert uncertainty.combined((3.0, -4.0)) == 5.0
    assert uncertainty.combined((3.0, -3.0), correlation=1.0) == 0.0
    assert uncertainty.combined((3.0, 4.0, 12.0), correlation=1.0) == pytest.approx(math.hypot(7, 12))


def test_the_sensitivities_are_the_slopes_of_the_loss() -> None:
    def loss(p1: float, p2: float) -> float:
        return 100 * (1 - p2 / p1)

    c1, c2 = uncertainty.loss_sensitivities(100.0, 90.0)
    assert c1 == pytest.approx((loss(100.001, 90) - loss(99.999, 90)) / 0.002, rel=1e-6)
    assert c2 == pytest.approx((loss(100, 90.001) - loss(100, 89.999)) / 0.002, rel=1e-6)


def test_a_common_gain_error_cancels() -> None:
    assert uncertainty.u_loss_pct(100, 90, 0.01 * 100, 0.01 * 90, correlation=1.0) == pytest.approx(0, abs=1e-7)


def test_quantiles_are_symmetric_at_the_middle_and_grow() -> None:
    assert uncertainty.student_t(0.5, 7) == pytest.approx(0, abs=1e-12)
    assert uncertainty.student_t(0.975, 3) > uncertainty.student_t(0.975, 30) > 1.959963
