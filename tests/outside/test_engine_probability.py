"""The chance that all cylinders are below a limit, with shared errors, against scipy and by Monte Carlo.

Sources: JCGM 106, 7 (the chance of conformity); JCGM 101, 7 (propagation by Monte Carlo), here of several quantities
with common errors as in JCGM 102.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from daq.procedure.shared_errors import Errors, all_above, all_below, errors_of
from tests.unit.procedure.judged import PAIRED, UNPAIRED, draw, reading


@pytest.mark.parametrize("limit", [-0.5, 0.0, 1.0])
@pytest.mark.parametrize("kinds", [1, 3, 6])
def test_against_the_multivariate_normal_of_scipy(limit: float, kinds: int) -> None:
    rng = np.random.default_rng(kinds)
    errors = Errors(rng.uniform(0.05, 0.6, 5), rng.normal(0, 0.6, (5, kinds)))
    values = rng.normal(0, 0.5, 5)
    reference = multivariate_normal(values, errors.covariance, abseps=1e-4, releps=1e-4, seed=1)
    assert all_below(values, errors, limit) == pytest.approx(reference.cdf(np.full(5, limit)), abs=2e-3)


@pytest.mark.parametrize("calibration", [PAIRED, UNPAIRED])
@pytest.mark.parametrize("losses", [[9.6, 9.2, 8.0, 9.7], [9.9] * 8, [12.0, 3.0, 10.1], [10.3] * 16])
def test_by_monte_carlo_with_real_budgets(calibration: object, losses: list[float]) -> None:
    readings = [reading(loss, calibration) for loss in losses]  # type: ignore[arg-type]
    errors = errors_of(readings)
    true = np.array(losses) + draw(106, errors.covariance, 40_000)
    below, above = (true <= 10).all(axis=1).mean(), (true >= 10).all(axis=1).mean()
    assert all_below(np.array(losses), errors, 10.0) == pytest.approx(below, abs=0.01)
    assert all_above(np.array(losses), errors, 10.0) == pytest.approx(above, abs=0.01)


def test_independence_would_be_far_too_gloomy() -> None:
    """Eight unpaired cylinders just below the limit: taken as independent, the chance would be a fifth of the true."""
    readings = [reading(9.9, UNPAIRED) for _ in range(8)]
    errors, values = errors_of(readings), np.full(8, 9.9)
    alone = Errors(np.sqrt(np.diag(errors.covariance)), np.zeros((8, 0)))
    assert all_below(values, errors, 10.0) > 5 * all_below(values, alone, 10.0)
