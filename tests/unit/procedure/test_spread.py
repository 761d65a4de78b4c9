from __future__ import annotations

import numpy as np
import pytest

from daq.procedure.spread import CRITICAL, outliers, qn, u_from_median

TIGHT = 1e-6


def tight(n: int) -> np.ndarray:
    return np.eye(n) * TIGHT**2


@pytest.mark.parametrize("values", [[3.0], [3.0, 80.0]])
def test_one_and_two_have_no_outlier(values: list[float]) -> None:
    assert outliers(values, tight(len(values)), 0.05) == (0,) * len(values)


def test_a_burnt_valve_stands_out_of_eight_and_a_little_more_does_not() -> None:
    sound = [6.1, 5.2, 7.0, 5.8, 6.4, 7.4, 5.5]
    assert outliers([*sound, 24.0], tight(8), 0.05) == (0,) * 7 + (1,)
    assert outliers([*sound, 8.2], tight(8), 0.05) == (0,) * 8
    assert outliers([*sound, -12.0], tight(8), 0.01) == (0,) * 7 + (-1,)


def test_two_of_eight_stand_out_together() -> None:
    assert outliers([6.1, 5.2, 31.0, 29.0, 6.4, 7.4, 5.5, 7.0], tight(8), 0.05) == (0, 0, 1, 1, 0, 0, 0, 0)


def test_three_tell_only_a_gross_one() -> None:
    assert outliers([5.0, 6.0, 18.0], tight(3), 0.05) == (0, 0, 0)
    assert outliers([5.0, 6.0, 40.0], tight(3), 0.05) == (0, 0, 1)


@pytest.mark.parametrize(("u", "sign"), [(0.1, 1), (0.5, 0)])
def test_a_difference_within_the_uncertainty_is_no_outlier(u: float, sign: int) -> None:
    """The others happen to agree to a hundredth: that alone makes nothing of a point."""
    values = [5.00, 5.01, 5.00, 5.02, 5.01, 6.0]
    assert outliers(values, np.eye(6) * u**2, 0.05)[-1] == sign


def test_what_does_not_matter_does_not_stand_out() -> None:
    values = [5.00, 5.01, 5.00, 5.02, 5.01, 5.2]
    assert outliers(values, tight(6), 0.05)[-1] == 1 and outliers(values, tight(6), 0.05, 0.25)[-1] == 0


def test_values_that_are_all_equal_have_none() -> None:
    assert outliers([5.0] * 6, tight(6), 0.05) == (0,) * 6
    assert outliers([5.0] * 6, np.zeros((6, 6)), 0.05) == (0,) * 6


def test_shared_errors_cancel_in_the_distance_from_the_median() -> None:
    values, own, shared = [5.0, 6.0, 9.0, 4.0], 0.1, 2.0
    covariance = np.eye(4) * own**2 + shared**2
    u = u_from_median(values, covariance)
    assert u[2] == pytest.approx(own * 1.5**0.5) and u[0] == pytest.approx(own * 0.5**0.5)
    assert u_from_median([1.0, 2.0, 3.0], np.eye(3))[1] == 0.0


def test_the_table_covers_three_to_sixteen_and_a_smaller_risk_asks_for_more() -> None:
    assert all(len(row) == 14 for row in CRITICAL.values())
    assert all(one > five for one, five in zip(CRITICAL[0.01], CRITICAL[0.05], strict=True))


def test_half_of_the_values_may_be_anything() -> None:
    assert qn([5.0, 5.1, 5.2, 5.3, 1e6, -1e6, 5.4]) < 1.0
