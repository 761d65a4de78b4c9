"""Examples of the Guide to the Expression of Uncertainty in Measurement (JCGM 100:2008) through this code.

The data and results of H.2 were read in the documentation of GTC; figures of H.1, G.4.1, 4.3.7 and table G.2 are from
memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from daq.measure import uncertainty
from daq.records import Contribution

VOLTAGE_V = (5.007, 4.994, 5.005, 4.990, 4.999)
CURRENT_A = (19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3)
PHASE_RAD = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)


def impedance(x: np.ndarray) -> np.ndarray:
    voltage, current, phase = x
    z = voltage / current
    return np.stack((z * np.cos(phase), z * np.sin(phase), z))


def test_h2_resistance_and_reactance_measured_at_once() -> None:
    """H.2, tables H.2 to H.4, three strongly correlated inputs: R = 127.732 ohm with u = 0.071, X = 219.847 with
    0.295, Z = 254.260 with 0.236; r(R, X) = -0.588, r(R, Z) = -0.485, r(X, Z) = 0.993."""
    series = np.array((VOLTAGE_V, CURRENT_A, PHASE_RAD))
    mean, u = series.mean(axis=1), series.std(axis=1, ddof=1) / math.sqrt(5)
    correlation = np.corrcoef(series)
    np.testing.assert_allclose(mean, (4.9990, 19.6610e-3, 1.04446), rtol=1e-5)
    np.testing.assert_allclose(u, (0.0032, 0.0095e-3, 0.00075), rtol=0.02)
    np.testing.assert_allclose(correlation[(0, 0, 1), (1, 2, 2)], (-0.36, 0.86, -0.65), atol=0.006)
    errors = uncertainty.independent(u.tolist(), correlation.tolist())
    effects = uncertainty.contributions(impedance, mean, errors)
    covariance = effects @ effects.T
    found_u = np.sqrt(np.diag(covariance))
    np.testing.assert_allclose(impedance(mean), (127.732, 219.847, 254.260), atol=6e-4)
    np.testing.assert_allclose(found_u, (0.071, 0.295, 0.236), atol=6e-4)
    r = covariance / np.outer(found_u, found_u)
    np.testing.assert_allclose(r[(0, 0, 1), (1, 2, 2)], (-0.588, -0.485, 0.993), atol=6e-4)
    assert found_u[0] == pytest.approx(0.071071407396995, rel=1e-6)  # GTC, from the same series


def test_h2_lines_of_one_sample_keep_its_degrees_of_freedom() -> None:
    """Five observations of all three: 4 degrees of freedom for R, however the errors are split (GTC gives 4.0)."""
    series = np.array((VOLTAGE_V, CURRENT_A, PHASE_RAD))
    u = series.std(axis=1, ddof=1) / math.sqrt(5)
    errors = uncertainty.independent(u.tolist(), np.corrcoef(series).tolist())
    effects = uncertainty.contributions(impedance, series.mean(axis=1), errors)[0]
    lines = [Contribution(f"sample: {i}", abs(e), "ohm", math.copysign(1, e), 4) for i, e in enumerate(effects)]
    assert uncertainty.effective_degrees(lines) == pytest.approx(4, rel=1e-12)


def test_h1_end_gauge() -> None:
    """H.1.6: 25 nm with 18 degrees of freedom, 9.7 with 25.6, 2.9 with 50, 16.6 with 2, and the rest: 32 nm, 16, 93 nm.

    The Guide cuts the degrees of freedom to a whole number, and takes t for 99 % of 16: 2.92.
    """
    parts = ((25, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0))
    lines = [Contribution(f"part {i}", u, "nm", 1.0, degrees) for i, (u, degrees) in enumerate(parts)]
    u = math.sqrt(sum(line.contribution_pct**2 for line in lines))
    degrees = uncertainty.effective_degrees(lines)
    assert round(u) == 32 and int(degrees) == 16
    k = uncertainty.student_t(0.995, int(degrees))
    assert round(k, 2) == 2.92 and round(k * round(u)) == 93
    assert uncertainty.student_t(0.995, degrees) < k


def test_g4_product_of_three() -> None:
    """G.4.1: relative 0.25, 0.57 and 0.82 % from 10, 5 and 15 observations: 1.03 %, 19.0 degrees, k 2.09, 2.2 %."""
    parts = ((0.25, 9.0), (0.57, 4.0), (0.82, 14.0))
    lines = [Contribution(f"x{i}", u, "%", 1.0, degrees) for i, (u, degrees) in enumerate(parts)]
    u, degrees = math.sqrt(sum(line.u**2 for line in lines)), uncertainty.effective_degrees(lines)
    assert round(u, 2) == 1.03 and round(degrees, 1) == 19.0
    k = uncertainty.coverage_factor(degrees)
    assert round(k, 2) == 2.09 and round(k * u, 1) == 2.2


@pytest.mark.parametrize(("degrees", "k"), [(1, 12.71), (2, 4.30), (5, 2.57), (8, 2.31), (16, 2.12), (50, 2.01)])
def test_table_g2(degrees: int, k: float) -> None:
    """Table G.2, column 95 %."""
    assert round(uncertainty.coverage_factor(degrees), 2) == k


def test_4_3_7_rectangular() -> None:
    """4.3.7 and its example: limits of +-0.40e-6 give u = 0.23e-6."""
    assert round(uncertainty.rectangular(0.40), 2) == 0.23
