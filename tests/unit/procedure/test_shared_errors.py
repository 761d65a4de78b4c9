from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from daq.procedure.shared_errors import Errors, all_above, all_below, errors_of
from daq.procedure.tap_effect import LEAST_U_PCT
from tests.unit.procedure.judged import PAIRED, UNPAIRED, reading


def test_the_covariance_keeps_what_each_reading_states_of_itself() -> None:
    readings = [reading(loss) for loss in (2.0, 9.0, 24.0)]
    found = np.sqrt(np.diag(errors_of(readings).covariance))
    widened = [max(r.u_loss_pct, r.expanded_u_loss_pct / 1.959963984540054) for r in readings]
    assert found == pytest.approx(widened, rel=1e-9)


def test_one_calibration_is_one_error_and_two_are_two() -> None:
    same = errors_of([reading(9.0), reading(9.0)]).covariance
    other = errors_of([reading(9.0), replace(reading(9.0), calibration_id="another")]).covariance
    assert same[0, 1] > 0.8 * same[0, 0] and other[0, 1] == 0.0


def test_what_is_shared_is_the_whole_but_the_window() -> None:
    """Two unpaired readings differ by the noise of their windows alone."""
    readings = [reading(9.0, UNPAIRED, noise_pa=60.0) for _ in range(2)]
    covariance = errors_of(readings).covariance
    difference = covariance[0, 0] + covariance[1, 1] - 2 * covariance[0, 1]
    assert difference**0.5 == pytest.approx(2**0.5 * readings[0].noise_pct, rel=0.05)


def test_a_reading_without_a_budget_shares_nothing() -> None:
    bare = replace(reading(9.0), budget=())
    found = errors_of([bare, bare])
    assert found.shared.shape == (2, 0) and found.covariance[0, 1] == 0.0


def test_a_carried_reading_carries_its_errors() -> None:
    once, twice = errors_of([reading(9.0)]), errors_of([reading(9.0)], [2.0])
    assert np.diag(twice.covariance) == pytest.approx(4 * np.diag(once.covariance))


def test_independent_chances_multiply_and_common_ones_do_not() -> None:
    values, alone = np.zeros(8), np.ones(8)
    independent = Errors(alone, np.zeros((8, 1)))
    common = Errors(np.full(8, LEAST_U_PCT), np.ones((8, 1)))
    assert all_below(values, independent, 0.0) == pytest.approx(0.5**8, rel=1e-9)
    assert all_below(values, common, 0.0) == pytest.approx(0.5, abs=2e-3)
    assert all_above(values, common, 0.0) == pytest.approx(0.5, abs=2e-3)


@pytest.mark.parametrize(("limit", "chance"), [(2.0, 0.977249868), (4.0, 0.999968329), (-1.0, 0.158655254)])
def test_independent_chances_near_certainty_multiply_too(limit: float, chance: float) -> None:
    """The normal distribution at 2, 4 and -1 standard deviations, from tables."""
    found = all_below(np.zeros(8), Errors(np.ones(8), np.zeros((8, 0))), limit)
    assert found == pytest.approx(chance**8, rel=1e-7)


def test_far_from_the_limit_it_is_certain() -> None:
    errors = errors_of([reading(5.0, PAIRED) for _ in range(16)])
    values = np.full(16, 5.0)
    assert all_below(values, errors, 10.0) == pytest.approx(1.0) and all_below(values, errors, 1.0) == 0.0
    assert all_above(values, errors, 1.0) == pytest.approx(1.0)


def test_an_error_of_the_limit_is_one_for_all() -> None:
    errors = Errors(np.full(3, LEAST_U_PCT), np.zeros((3, 0))).with_shared(0.5)
    assert errors.covariance == pytest.approx(np.full((3, 3), 0.25), abs=1e-5)
    assert all_below(np.zeros(3), errors, 0.0) == pytest.approx(0.5, abs=2e-3)


def test_the_order_of_the_readings_does_not_matter() -> None:
    rng = np.random.default_rng(5)
    values, errors = rng.normal(0, 0.5, 6), Errors(rng.uniform(0.05, 0.3, 6), rng.normal(0, 0.6, (6, 4)))
    expected = all_below(values, errors, 0.8)
    for _ in range(10):
        order = rng.permutation(6)
        found = all_below(values[order], Errors(errors.own[order], errors.shared[order]), 0.8)
        assert found == pytest.approx(expected, rel=1e-9)
