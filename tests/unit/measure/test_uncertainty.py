import math

import numpy as np
import pytest

from daq.measure import uncertainty
from daq.records import Contribution


def line(component: str, contribution: float, degrees: float = math.inf) -> Contribution:
    return Contribution(component, abs(contribution), "%", math.copysign(1, contribution), degrees)


def test_limits_of_error_become_a_standard_uncertainty() -> None:
    assert uncertainty.rectangular(0.75) == pytest.approx(0.75 / math.sqrt(3))


def test_the_sensitivities_are_the_slopes_of_the_loss() -> None:
    def loss(p1: float, p2: float) -> float:
        return 100 * (1 - p2 / p1)

    c1, c2 = uncertainty.loss_sensitivities(100.0, 90.0)
    assert c1 == pytest.approx((loss(100.001, 90) - loss(99.999, 90)) / 0.002, rel=1e-6)
    assert c2 == pytest.approx((loss(100, 90.001) - loss(100, 89.999)) / 0.002, rel=1e-6)


@pytest.mark.parametrize("r", [(0.0, 0.0, 0.0), (0.5, -0.4, 0.3), (-0.36, 0.86, -0.65)])
def test_independent_errors_have_the_covariance_of_the_inputs(r: tuple[float, float, float]) -> None:
    u, correlation = np.array([3.0, 0.2, 40.0]), np.eye(3)
    for (i, j), value in zip(((0, 1), (0, 2), (1, 2)), r, strict=True):
        correlation[i, j] = correlation[j, i] = value
    errors = uncertainty.independent(u, correlation.tolist())
    np.testing.assert_allclose(errors.T @ errors, correlation * np.outer(u, u), rtol=1e-12, atol=1e-12)
    assert errors[0, 0] == 3.0 and (errors[1:, 0] == 0).all()


@pytest.mark.parametrize("r", [1.0, -1.0])
def test_inputs_that_move_as_one_are_one_error(r: float) -> None:
    np.testing.assert_allclose(uncertainty.independent((2.0, 3.0), ((1.0, r), (r, 1.0))), [[2, 3 * r], [0, 0]])


def test_an_input_without_error_moves_nothing() -> None:
    found = uncertainty.independent((0.0, 3.0), ((1.0, 0.5), (0.5, 1.0)))
    np.testing.assert_allclose(found.T @ found, [[0, 0], [0, 9]])


def test_contributions_are_half_the_difference_of_one_error_up_and_down() -> None:
    def function(x: np.ndarray) -> np.ndarray:
        return np.stack((x[0] * x[1], x[0] ** 2))

    errors = np.array([[0.1, 0.0], [0.1, -0.5], [0.0, 0.2]])
    found = uncertainty.contributions(function, np.array([2.0, 3.0]), errors)
    np.testing.assert_allclose(found, [[0.3, 0.3 - 1.0, 0.4], [0.4, 0.4, 0.0]])


def test_a_common_gain_error_cancels_in_the_loss() -> None:
    c1, c2 = uncertainty.loss_sensitivities(100, 90)
    assert c1 * 100 + c2 * 90 == pytest.approx(0, abs=1e-12)


def test_knowledge_that_is_no_sample_has_no_end_of_degrees_of_freedom() -> None:
    assert uncertainty.effective_degrees([line("a", 3), line("b", 4)]) == math.inf
    assert uncertainty.effective_degrees([]) == math.inf
    assert uncertainty.coverage_factor(math.inf) == pytest.approx(1.959963984540054, rel=1e-12)


def test_lines_of_one_fit_count_once() -> None:
    """Two lines of one fit with 4 degrees of freedom have 4 together; as independent estimates they would have 8."""
    together = [line("pairing: offset", 2, 4), line("pairing: gain", -2, 4)]
    assert uncertainty.effective_degrees(together) == pytest.approx(4)
    assert uncertainty.effective_degrees([line("one", 2, 4), line("other", 2, 4)]) == pytest.approx(8)
    assert uncertainty.effective_degrees([line("line: a", 2, 4), line("line: b", 2, 6)]) == pytest.approx(
        64 / (4 + 16 / 6)
    )


def test_quantiles_are_symmetric_at_the_middle_and_grow() -> None:
    assert uncertainty.student_t(0.5, 7) == pytest.approx(0, abs=1e-12)
    assert uncertainty.student_t(0.975, 3) > uncertainty.student_t(0.975, 3.5) > uncertainty.student_t(0.975, 4)
    assert uncertainty.student_t(0.975, 999_999) == pytest.approx(uncertainty.student_t(0.975, 1_000_001), rel=2e-6)
