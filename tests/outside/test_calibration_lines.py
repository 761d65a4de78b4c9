"""Calibration lines with published results, most of them as reproduced by the documentation of GTC (Measurement
Standards Laboratory of New Zealand)."""

import math

import numpy as np
import pytest
from GTC import type_a, ureal
from scipy.stats import linregress

from daq.calibrate.line import fit, terminal

PRESSURE = np.arange(0.0, 21.0, 2.0)
READING = np.array([0.0, 0.2039, 0.4080, 0.6120, 0.8160, 1.0201, 1.2242, 1.4283, 1.6325, 1.8367, 2.0410])
"""Ref: Kessel, Kacker and Sommer, Uncertainty budget for range calibration, Measurement 45 (2012) 1661-1669, table 4:
a pressure sensor against a pressure standard."""


def test_the_terminal_line_of_a_pressure_sensor() -> None:
    found = terminal((0.0, 2.0410), (0.0, 20.0), 0.00005 / math.sqrt(3), (0.0, 20 * 0.000115))
    assert found.coefficients == pytest.approx([0.0, 9.799118079372857], abs=1e-15)
    assert found.u(0) == pytest.approx(0.0002828761730473424, rel=1e-12)
    assert found.u(1) == pytest.approx(0.0011438175474686209, rel=1e-12)
    assert found.correlation == pytest.approx(-0.12117041864179227, rel=1e-10)


def test_the_deviations_from_the_terminal_line() -> None:
    found = terminal((0.0, 2.0410), (0.0, 20.0), 0.0, (0.0, 0.0))
    off = PRESSURE - (found.coefficients[0] + found.coefficients[1] * READING)
    published = [0.0, 0.00196, 0.00196, 0.00294, 0.00392, 0.0039, 0.0039, 0.0039, 0.0029, 0.0020, 0.0]
    assert off == pytest.approx(published, abs=6e-5)
    assert np.abs(off).max() == pytest.approx(0.003919647, abs=1e-9)


def test_the_expanded_uncertainty_of_the_calibrated_sensor() -> None:
    """Table 7 of the same paper, as reproduced by GTC: the line and a linearity error of at most 0.005."""
    line = terminal((0.0, 2.0410), (0.0, 20.0), 0.00005 / math.sqrt(3), (0.0, 20 * 0.000115))
    published = [0.00582812, 0.00584124, 0.00589119, 0.00597701, 0.0060972, 0.00624986, 0.00643263, 0.00664303,
                 0.00687865, 0.00713689, 0.00741554]  # fmt: skip
    ours = []
    for x in READING:
        of_line = np.array([1.0, x]) @ line.covariance @ np.array([1.0, x])
        ours.append(2 * math.sqrt(of_line + (0.005**2 + (line.coefficients[1] * 0.00005) ** 2) / 3))
    assert ours == pytest.approx(published, rel=3e-3)  # the paper goes on with rounded coefficients


def test_the_least_squares_line_of_the_same_sensor() -> None:
    found, scipy = fit(READING, PRESSURE), linregress(READING, PRESSURE)
    assert found.coefficients == pytest.approx([scipy.intercept, scipy.slope], rel=1e-12)
    assert (found.u(0), found.u(1)) == pytest.approx((scipy.intercept_stderr, scipy.stderr), rel=1e-7)
    assert np.abs(found.residuals).max() == pytest.approx(0.002716598, abs=1e-9)


def test_a_line_with_known_uncertainties() -> None:
    """Ref: ISO/TS 28037:2010, weighted least squares, the example with u = 0.5, as reproduced by GTC."""
    x, y = np.arange(1.0, 7.0), np.array([3.3, 5.6, 7.1, 9.3, 10.7, 12.1])
    found = fit(x, y, u=0.5)
    assert found.coefficients == pytest.approx([1.866666666667, 1.757142857143], abs=1e-12)
    assert (found.u(0), found.u(1)) == pytest.approx((0.465474668126, 0.119522860933), abs=1e-12)
    assert found.correlation == pytest.approx(-0.898717034273, abs=1e-12)
    assert (found.residuals**2).sum() / 0.25 == pytest.approx(1.66476, abs=1e-5)


def test_a_line_with_unequal_uncertainties_as_gtc_fits_it() -> None:
    x = np.arange(1.0, 7.0)
    y, u = np.array([3.2, 4.3, 7.6, 8.6, 11.7, 12.8]), np.array([0.5, 0.5, 0.5, 1.0, 1.0, 1.0])
    found, gtc = fit(x, y, u=u), type_a.line_fit_wls(list(x), list(y), list(u))
    assert found.coefficients == pytest.approx([gtc.a_b[0].x, gtc.a_b[1].x], rel=1e-12)
    assert (found.u(0), found.u(1)) == pytest.approx((gtc.a_b[0].u, gtc.a_b[1].u), rel=1e-12)


def test_a_terminal_line_as_gtc_propagates_it() -> None:
    x0, x1, y0, y1 = ureal(1.1, 0.02), ureal(9.3, 0.02), ureal(0.4, 0.05), ureal(17.2, 0.11)
    slope = (y1 - y0) / (x1 - x0)
    intercept = y0 - slope * x0
    found = terminal((1.1, 9.3), (0.4, 17.2), 0.02, (0.05, 0.11))
    assert (found.u(0), found.u(1)) == pytest.approx((intercept.u, slope.u), rel=1e-12)
