"""Propagation and statistics against published figures, scipy and Monte Carlo."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from daq.measure import uncertainty
from daq.measure.calibration import assumed_calibration
from daq.measure.orifice import CRITICAL_RATIO
from daq.measure.reading import stable_reading
from daq.measure.stability import StableWindow, line_fit
from daq.records import Instrument

PSI = 6894.757293168361

# Supply and cylinder psi, correlation, standard uncertainty of the loss. Two sensors of +-0.5 % of 150 psi,
# rectangular. Figures computed with two metrology packages (GTC and uncertainties), which agree to all digits.
PROPAGATED = [
    (100, 95, 0.0, 0.597259),
    (100, 95, 0.5, 0.422604),
    (100, 95, 0.9, 0.189984),
    (100, 95, 0.99, 0.063492),
    (100, 90, 0.0, 0.582559),
    (100, 90, 0.5, 0.413068),
    (100, 90, 0.9, 0.188746),
    (100, 90, 0.99, 0.072457),
]


@pytest.mark.parametrize(("supply", "cylinder", "correlation", "expected"), PROPAGATED)
def test_propagation_with_correlation(supply: float, cylinder: float, correlation: float, expected: float) -> None:
    """JCGM 100, 5.2.2."""
    u = uncertainty.rectangular(0.005 * 150)
    assert u == pytest.approx(0.433013, abs=5e-7)
    errors = uncertainty.independent((u, u), ((1.0, correlation), (correlation, 1.0)))
    found = errors @ uncertainty.loss_sensitivities(supply, cylinder)
    assert np.linalg.norm(found) == pytest.approx(expected, abs=6e-7)


@pytest.mark.parametrize(("cylinder_psi", "expected"), [(95, 0.597259), (90, 0.582559)])
def test_a_stable_reading_of_two_unpaired_sensors(cylinder_psi: float, expected: float) -> None:
    instrument = Instrument(0.001016, 0.8, CRITICAL_RATIO, 101_325.0, 293.15, 100 * PSI, 2 * PSI)
    window = StableWindow(0, 0.0, 0.7, 15, 100 * PSI, cylinder_psi * PSI, 0.0, 0.0)
    found = stable_reading(window, instrument, assumed_calibration(), at_s=0.0, resolution_pa=0.0)
    assert found.u_loss_pct == pytest.approx(expected, abs=6e-7)


@pytest.mark.parametrize("degrees", [1, 1.3, 2, 2.7, 3, 4, 5, 8, 13, 16.72, 23, 38, 100, 400.5, 9e3, np.inf])
@pytest.mark.parametrize("probability", [0.6, 0.9, 0.95, 0.975, 0.995])
def test_quantiles_of_student_against_scipy(probability: float, degrees: int) -> None:
    expected = stats.t.ppf(probability, degrees)
    assert uncertainty.student_t(probability, degrees) == pytest.approx(expected, rel=1e-9)


def test_a_quantile_of_the_printed_tables() -> None:
    """JCGM 100, table G.2: 8 degrees of freedom, 95 %: 2.31."""
    assert round(uncertainty.student_t(0.975, 8), 2) == 2.31


def test_one_rectangular_distribution_and_two_equal_ones() -> None:
    """A part known by limits alone: 0.95 sqrt(3), in print as 1.65 (JCGM 100, 4.3.7 and G.1.3); two equal ones are a
    triangle, sqrt(6) (1 - sqrt(0.05))."""
    assert uncertainty.coverage_factor(np.inf, [1.0]) == pytest.approx(0.95 * np.sqrt(3), rel=2e-4)
    two = [np.sqrt(0.5), np.sqrt(0.5)]
    assert uncertainty.coverage_factor(np.inf, two) == pytest.approx(np.sqrt(6) * (1 - np.sqrt(0.05)), rel=2e-4)
    assert uncertainty.coverage_factor(np.inf, [1e-3]) == pytest.approx(1.959964, abs=1e-6)


@pytest.mark.parametrize("limited", [(0.9,), (0.7, 0.6), (0.5,), (0.6, 0.6, 0.4), (0.3, 0.9)])
def test_the_factor_of_a_mixture_against_monte_carlo(limited: tuple[float, ...]) -> None:
    """Ref: JCGM 101. What is not limited is normal."""
    rng, draws = np.random.default_rng(11), 1_000_000
    rest = np.sqrt(1 - np.square(limited).sum())
    total = rest * rng.standard_normal(draws)
    total += sum(u * np.sqrt(3) * rng.uniform(-1, 1, draws) for u in limited)
    assert uncertainty.coverage_factor(np.inf, limited) == pytest.approx(np.quantile(np.abs(total), 0.95), rel=4e-3)


def test_few_degrees_of_freedom_widen_what_is_limited_too() -> None:
    few, many = (uncertainty.coverage_factor(degrees, (0.9,)) for degrees in (8, np.inf))
    assert few / many == pytest.approx(stats.t.ppf(0.975, 8) / stats.norm.ppf(0.975), rel=1e-9)


def test_a_line_against_scipy() -> None:
    """Slope and standard error as of scipy.stats.linregress; the widening for autocorrelation is taken off again."""
    t = np.arange(10.0)
    y = np.array([50.0, 50.1, 49.9, 50.2, 50.1, 50.3, 50.2, 50.4, 50.3, 50.5])
    slope, se, mean, _ = line_fit(t[None, :], y[None, :])
    expected = stats.linregress(t, y)
    assert float(slope[0]) == pytest.approx(0.052121212121, abs=1e-12)
    assert float(slope[0]) == pytest.approx(expected.slope, rel=1e-12)
    assert float(mean[0]) == pytest.approx(y.mean(), rel=1e-15)
    residual = y - expected.intercept - expected.slope * t
    lag1 = (residual[1:] * residual[:-1]).sum() / (residual**2).sum() + 2 / 10
    assert lag1 < 0  # the ups and downs alternate, so nothing is widened here
    assert float(se[0]) == pytest.approx(0.010722306675, abs=1e-12)
    assert float(se[0]) == pytest.approx(expected.stderr, rel=1e-12)


def test_many_lines_against_scipy() -> None:
    rng = np.random.default_rng(7)
    t, y = np.sort(rng.uniform(0, 2, (200, 25)), axis=1), rng.standard_normal((200, 25))
    slope, se, _, _ = line_fit(t, y)
    expected = [stats.linregress(a, b) for a, b in zip(t, y, strict=True)]
    np.testing.assert_allclose(slope, [e.slope for e in expected], rtol=1e-9, atol=1e-12)
    plain = np.array([e.stderr for e in expected])
    assert (se >= plain * (1 - 1e-9)).all() and np.isclose(se, plain, rtol=1e-9).sum() > 20
