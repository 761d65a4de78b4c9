"""The stated uncertainty against GTC and `uncertainties`: two packages of others, given the whole model of errors."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import GTC
import numpy as np
import pytest
import uncertainties
from uncertainties import umath

from daq.measure.orifice import ANR_DENSITY, CRITICAL_RATIO
from daq.measure.reading import stable_reading
from daq.measure.stability import StableWindow
from daq.records import Calibration, StableReading
from tests.outside.error_model import (
    AT_S,
    CALIBRATED,
    CLASS,
    INSTRUMENT,
    PAIRING,
    PSI,
    RESTRICTOR,
    Errors,
    loss_pct,
)

NOISE_PA, TICKS = (90.0, 130.0), 20
SQRT3 = math.sqrt(3)


def read(calibration: Calibration, cylinder_psi: float, noise_pa: tuple[float, float] = NOISE_PA) -> StableReading:
    window = StableWindow(0, 9.0, 1.0, TICKS, 100 * PSI, cylinder_psi * PSI, *noise_pa)
    return stable_reading(window, INSTRUMENT, calibration, AT_S, resolution_pa=0.0)


def own_span(channel: Any) -> tuple[float, float]:
    """The span without the reference gauge, and its correlation with the zero."""
    own = math.sqrt(channel.u_span**2 - channel.u_reference_span**2)
    return own, channel.zero_span_correlation * channel.u_span / own


def gtc_pair(u: tuple[float, float], correlation: float, degrees: float) -> tuple[Any, Any]:
    one, other = GTC.multiple_ureal((0.0, 0.0), u, degrees)
    GTC.set_correlation(correlation, one, other)
    return one, other


def bow(calibration: Calibration, p1: float, p2: float) -> tuple[float, Any, Any]:
    """How alike what the line leaves is at both pressures; alike at equal ones, unrelated 0.354 of full scale apart."""
    apart = (p1 - p2) / (0.354 * calibration.supply.full_scale_pa)
    return (
        max(0.0, 1 - apart**2),
        calibration.supply.nonlinearity_pa / SQRT3,
        calibration.cylinder.nonlinearity_pa / SQRT3,
    )


def gtc_errors(calibration: Calibration, p1: float, p2: float) -> Errors:
    supply, cylinder = calibration.supply, calibration.cylinder
    errors = Errors()
    own, r = own_span(supply)
    errors.zero_1_pa, errors.span_1 = gtc_pair((supply.u_zero_pa, own), r, supply.degrees_of_freedom)
    own, r = own_span(cylinder)
    errors.zero_2_pa, errors.span_2 = gtc_pair((cylinder.u_zero_pa, own), r, cylinder.degrees_of_freedom)
    errors.reference_gauge = GTC.ureal(0, supply.u_reference_span)
    place = GTC.ureal(0, 0.5 / SQRT3)
    errors.hysteresis_1_pa, errors.hysteresis_2_pa = place * supply.hysteresis_pa, place * cylinder.hysteresis_pa
    errors.drift_1_pa = GTC.ureal(0, 0.5 * supply.drift_pa_per_year / SQRT3)
    errors.drift_2_pa = GTC.ureal(0, 0.5 * cylinder.drift_pa_per_year / SQRT3)
    errors.noise_1_pa, errors.noise_2_pa = (GTC.ureal(0, u, TICKS - 2) for u in NOISE_PA)
    alike, u_1, u_2 = bow(calibration, p1, p2)
    errors.bow_1_pa = GTC.ureal(0, u_1)
    errors.bow_2_pa = GTC.ureal(0, u_2)
    if calibration.pairing:
        pairing = calibration.pairing
        errors.bow_2_pa = alike * errors.bow_1_pa + math.sqrt(1 - alike**2) * GTC.ureal(0, u_1)
        fit = GTC.multiple_ureal((0, 0, 0), (pairing.u_offset_pa, pairing.u_gain, pairing.residual_pa), 6)
        GTC.set_correlation(pairing.correlation, fit[0], fit[1])
        errors.offset_pa, errors.gain, errors.residual_pa = fit
        errors.pairing_drift_pa = GTC.ureal(0, 5 * pairing.drift_pa_per_day / SQRT3)
    return errors


@pytest.mark.parametrize("cylinder_psi", [99.5, 95.0, 90.0, 75.0, 40.0])
def test_calibrated_against_gtc(cylinder_psi: float) -> None:
    """Uncertainty, effective degrees of freedom, and no wider an interval; two fits with correlation, one gauge."""
    p1, p2 = 100 * PSI, cylinder_psi * PSI
    errors = gtc_errors(CALIBRATED, p1, p2)
    expected = loss_pct(errors.supply(p1), errors.cylinder(p2))
    found = read(CALIBRATED, cylinder_psi)
    assert found.u_loss_pct == pytest.approx(expected.u, rel=1e-9)
    assert found.degrees_of_freedom == pytest.approx(expected.df, rel=1e-6)
    narrower = GTC.rp.k_factor(expected.df) / found.coverage_factor  # it takes what is rectangular for normal
    assert 1 - 1e-9 <= narrower < 1.03
    assert found.expanded_u_loss_pct == pytest.approx(found.coverage_factor * found.u_loss_pct, rel=1e-12)


@pytest.mark.parametrize("cylinder_psi", [99.5, 95.0, 90.0, 75.0, 40.0])
def test_paired_against_gtc(cylinder_psi: float) -> None:
    calibration = replace(CALIBRATED, pairing=PAIRING)
    p1, p2 = 100 * PSI, cylinder_psi * PSI
    errors = gtc_errors(calibration, p1, p2)
    expected = loss_pct(errors.supply(p1), errors.paired_cylinder(p2))
    found = read(calibration, cylinder_psi)
    assert found.u_loss_pct == pytest.approx(expected.u, rel=1e-9)
    assert found.degrees_of_freedom == pytest.approx(expected.df, rel=1e-6)


@pytest.mark.parametrize(("cylinder_psi", "unpaired_pct"), [(95.0, 0.597259), (90.0, 0.582559)])
@pytest.mark.parametrize(("correlation", "rows"), [(0.99, (0.063492, 0.072457)), (0.9, (0.189984, 0.188746))])
def test_what_pairing_buys(
    cylinder_psi: float, unpaired_pct: float, correlation: float, rows: tuple[float, float]
) -> None:
    """Two sensors of 0.5 % of 150 psi: +-1.2 points alone, +-0.15 paired so well that their errors correlate by 0.99.

    The rows for a correlation were computed with GTC and `uncertainties`, which agree to all digits. A pairing that
    leaves the difference uncertain by u sqrt(2 (1 - r)) is the same to first order in 1 - r.
    """
    assert read(CLASS, cylinder_psi, (0.0, 0.0)).u_loss_pct == pytest.approx(unpaired_pct, abs=6e-7)
    left_pa = 0.75 * PSI / SQRT3 * math.sqrt(2 * (1 - correlation))
    pairing = replace(PAIRING, u_offset_pa=left_pa, u_gain=0.0, residual_pa=0.0, drift_pa_per_day=0.0, correlation=0.0)
    pairing = replace(pairing, degrees_of_freedom=math.inf)
    found = read(replace(CLASS, pairing=pairing), cylinder_psi, (0.0, 0.0))
    row = rows[0 if cylinder_psi == 95.0 else 1]
    besides = ("supply bow", "difference of hysteresis")
    left_pct = math.hypot(*(each.contribution_pct for each in found.budget if each.component not in besides))
    assert row <= left_pct <= row * (1 + 6 * (1 - correlation))
    if correlation == 0.99:
        assert 0.12 < found.expanded_u_loss_pct < 0.17
    assert 1.96 * unpaired_pct == pytest.approx(1.157, abs=0.016)


def flow_function(ratio: Any, critical_ratio: Any) -> Any:
    """Isentropic nozzle, gamma 1.4, unchoked, stretched to this critical ratio; by plain arithmetic."""
    stretched = 1 - (1 - ratio) * (1 - CRITICAL_RATIO) / (1 - critical_ratio)
    peak = CRITICAL_RATIO ** (2 / 1.4) - CRITICAL_RATIO ** (2.4 / 1.4)
    return umath.sqrt((stretched ** (2 / 1.4) - stretched ** (2.4 / 1.4)) / peak)


def choked_flux(temperature: Any) -> Any:
    return umath.sqrt(1.4 / (287.05 * temperature)) * (2 / 2.4) ** 3


@pytest.mark.parametrize("cylinder_psi", [95.0, 90.0, 75.0])
def test_converted_quantities_against_uncertainties(cylinder_psi: float) -> None:
    """Area ratio, area, flow and loss at the published restrictor; restrictor with correlated C and b, leak choked."""
    calibration = replace(CALIBRATED, pairing=PAIRING, restrictor=RESTRICTOR)
    found = read(calibration, cylinder_psi)
    p1, p2 = 100 * PSI, cylinder_psi * PSI
    errors = uncertain_errors(calibration, p1, p2)
    supply, cylinder = errors.supply(p1), errors.paired_cylinder(p2)
    atmosphere, temperature = uncertainties.ufloat(101_325.0, 500.0), uncertainties.ufloat(293.15, 3.0)
    covariance = RESTRICTOR.correlation * RESTRICTOR.u_conductance_m3_s_pa * RESTRICTOR.u_critical_ratio
    conductance, b = uncertainties.correlated_values(
        (RESTRICTOR.conductance_m3_s_pa, RESTRICTOR.critical_ratio),
        ((RESTRICTOR.u_conductance_m3_s_pa**2, covariance), (covariance, RESTRICTOR.u_critical_ratio**2)),
    )
    area = conductance * ANR_DENSITY / choked_flux(293.15) * uncertainties.ufloat(1.0, 0.003 / SQRT3)
    supply_abs, cylinder_abs = supply + atmosphere, cylinder + atmosphere
    relative = supply_abs * flow_function(cylinder_abs / supply_abs, b)
    k = relative / cylinder_abs
    flow = relative * area * choked_flux(temperature)
    expected = {"area_ratio": k, "leak_area_m2": k * area, "flow_kg_s": flow}
    for name, value in expected.items():
        assert getattr(found, name) == pytest.approx(value.n, rel=1e-9), name
        assert getattr(found, f"u_{name}") == pytest.approx(value.s, rel=2e-3), name
    slope = d_reference_loss(found.leak_area_m2)
    assert found.u_reference_loss_pct == pytest.approx(slope * (k * area).s, rel=3e-3)


def uncertain_errors(calibration: Calibration, p1: float, p2: float) -> Errors:
    """For a paired bench."""
    pairing, supply, cylinder = calibration.pairing, calibration.supply, calibration.cylinder
    assert pairing
    ufloat, errors = uncertainties.ufloat, Errors()
    own, r = own_span(supply)
    u = np.array((supply.u_zero_pa, own))
    covariance = np.outer(u, u) * ((1, r), (r, 1))
    errors.zero_1_pa, errors.span_1 = uncertainties.correlated_values((0, 0), covariance)
    errors.reference_gauge = ufloat(0, supply.u_reference_span)
    place = ufloat(0, 0.5 / SQRT3)
    errors.hysteresis_1_pa, errors.hysteresis_2_pa = place * supply.hysteresis_pa, place * cylinder.hysteresis_pa
    errors.drift_1_pa = ufloat(0, 0.5 * supply.drift_pa_per_year / SQRT3)
    errors.noise_1_pa, errors.noise_2_pa = (ufloat(0, noise) for noise in NOISE_PA)
    alike, u_1, _ = bow(calibration, p1, p2)
    errors.bow_1_pa = ufloat(0, u_1)
    errors.bow_2_pa = alike * errors.bow_1_pa + math.sqrt(1 - alike**2) * ufloat(0, u_1)
    u = np.array((pairing.u_offset_pa, pairing.u_gain))
    covariance = np.outer(u, u) * ((1, pairing.correlation), (pairing.correlation, 1))
    errors.offset_pa, errors.gain = uncertainties.correlated_values((0, 0), covariance)
    errors.residual_pa = ufloat(0, pairing.residual_pa)
    errors.pairing_drift_pa = ufloat(0, 5 * pairing.drift_pa_per_day / SQRT3)
    return errors


def d_reference_loss(area_m2: float) -> float:
    """Slope of the loss behind 0.040 in, coefficient 0.8, 80 psi, over the area: from k = N(r) / r, leak choked."""
    published_m2, supply = 0.8 * math.pi / 4 * 0.001016**2, 80 * PSI + 101_325.0

    def area_at(loss: float) -> float:
        r = 1 - loss / 100 * 80 * PSI / supply
        return published_m2 * flow_function(r, CRITICAL_RATIO) / r

    low, high = 0.0, 60.0
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if area_at(middle) < area_m2 else (low, middle)
    return 0.02 / (area_at(low + 0.01) - area_at(low - 0.01))
