"""The stated uncertainty against Monte Carlo with the whole model of errors. Ref: JCGM 101, clauses 6 and 7.

True pressures, errors drawn from their own distributions, pressures and loss as the instrument would show them; no
propagation and no linearisation anywhere.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from daq.measure import leakage, orifice
from daq.measure.budget import difference
from daq.measure.calibration import calibrated_instrument, paired
from daq.measure.reading import stable_reading
from daq.measure.stability import StableWindow
from daq.records import Calibration, ChannelCalibration, StableReading
from tests.outside.error_model import AT_S, CALIBRATED, CLASS, INSTRUMENT, PAIRING, PSI, RESTRICTOR, Errors, loss_pct

DRAWS = 400_000
ERROR_OF_SD = 5 / np.sqrt(2 * DRAWS)
"""Five standard deviations of a standard deviation from so many draws, relative."""
NOISE_PA = (90.0, 130.0)
KNOWN = float("inf")


def well_known(calibration: Calibration) -> Calibration:
    """The same with no end of degrees of freedom: the draws below have the standard deviations as stated."""
    supply, cylinder = (replace(c, degrees_of_freedom=KNOWN) for c in (calibration.supply, calibration.cylinder))
    return replace(calibration, supply=supply, cylinder=cylinder)


PAIRED = replace(well_known(CALIBRATED), pairing=replace(PAIRING, degrees_of_freedom=KNOWN))


class Draws:
    def __init__(self) -> None:
        self.rng = np.random.default_rng(20_101)

    def normal(self, u: float) -> np.ndarray:
        return u * self.rng.standard_normal(DRAWS)

    def within(self, half_width: float) -> np.ndarray:
        return self.rng.uniform(-half_width, half_width, DRAWS)

    def both(self, u: float, other: float, correlation: float) -> np.ndarray:
        covariance = ((u * u, correlation * u * other), (correlation * u * other, other * other))
        return self.rng.multivariate_normal((0, 0), covariance, DRAWS).T

    def line(self, channel: ChannelCalibration) -> np.ndarray:
        own = np.sqrt(channel.u_span**2 - channel.u_reference_span**2)
        assert channel.u_zero_pa is not None
        return self.both(channel.u_zero_pa, own, channel.zero_span_correlation * channel.u_span / own)

    def errors(self, calibration: Calibration) -> Errors:
        """Those of two calibrated channels; half a year after their calibration."""
        supply, cylinder = calibration.supply, calibration.cylinder
        errors = Errors()
        errors.zero_1_pa, errors.span_1 = self.line(supply)
        errors.zero_2_pa, errors.span_2 = self.line(cylinder)
        errors.reference_gauge = self.normal(supply.u_reference_span)
        place = self.within(0.5)
        errors.hysteresis_1_pa, errors.hysteresis_2_pa = place * supply.hysteresis_pa, place * cylinder.hysteresis_pa
        errors.drift_1_pa = self.within(0.5 * supply.drift_pa_per_year)
        errors.drift_2_pa = self.within(0.5 * cylinder.drift_pa_per_year)
        errors.bow_1_pa, errors.bow_2_pa = self.within(supply.nonlinearity_pa), self.within(cylinder.nonlinearity_pa)
        errors.noise_1_pa, errors.noise_2_pa = (self.normal(u) for u in NOISE_PA)
        return errors

    def paired_errors(self, calibration: Calibration, p1: float, p2: float) -> Errors:
        pairing, errors = calibration.pairing, self.errors(calibration)
        assert pairing
        errors.offset_pa, errors.gain = self.both(pairing.u_offset_pa, pairing.u_gain, pairing.correlation)
        errors.residual_pa = self.normal(pairing.residual_pa)
        errors.pairing_drift_pa = self.within(5 * pairing.drift_pa_per_day)
        alike = max(0.0, 1 - ((p1 - p2) / (0.354 * calibration.supply.full_scale_pa)) ** 2)
        other = self.within(calibration.supply.nonlinearity_pa)
        errors.bow_2_pa = alike * errors.bow_1_pa + np.sqrt(1 - alike**2) * other
        return errors


def read(calibration: Calibration, supply_pa: float, cylinder_pa: float) -> StableReading:
    window = StableWindow(0, 9.0, 1.0, 10_000, supply_pa, cylinder_pa, *NOISE_PA)
    return stable_reading(window, INSTRUMENT, calibration, AT_S, resolution_pa=0.0)


def agrees(found: StableReading, shown_pct: np.ndarray, true_pct: float, allowed: float = 0.0) -> None:
    """Standard uncertainty, and the chance that the stated 95 % interval holds the truth."""
    assert found.u_loss_pct == pytest.approx(shown_pct.std(), rel=ERROR_OF_SD + allowed)
    held = (np.abs(shown_pct - true_pct) <= found.expanded_u_loss_pct).mean()
    assert 0.945 < held < 0.957


@pytest.mark.parametrize("cylinder_psi", [99.5, 95.0, 90.0, 75.0, 40.0])
def test_calibrated(cylinder_psi: float) -> None:
    calibration = well_known(CALIBRATED)
    p1, p2 = 100 * PSI, cylinder_psi * PSI
    errors = Draws().errors(calibration)
    shown = loss_pct(errors.supply(p1), errors.cylinder(p2))
    agrees(read(calibration, p1, p2), shown, loss_pct(p1, p2))


@pytest.mark.parametrize("cylinder_psi", [99.5, 95.0, 90.0, 75.0, 40.0])
def test_paired(cylinder_psi: float) -> None:
    """The pairing is done and taken off as the instrument does it: by what it believes offset and gain to be."""
    p1, p2 = 100 * PSI, cylinder_psi * PSI
    errors = Draws().paired_errors(PAIRED, p1, p2)
    as_supply = errors.paired_cylinder(p2) - errors.offset_pa - errors.gain * p2
    true_offset, true_gain = PAIRING.offset_pa + errors.offset_pa, PAIRING.gain + errors.gain
    indicated = as_supply * (1 + true_gain) + true_offset
    shown = loss_pct(errors.supply(p1), paired(indicated, PAIRED.pairing))
    agrees(read(PAIRED, p1, p2), shown, loss_pct(p1, p2), allowed=PAIRING.gain)


@pytest.mark.parametrize("cylinder_psi", [95.0, 75.0])
def test_limits_of_the_data_sheets(cylinder_psi: float) -> None:
    """Two rectangular errors of +-0.5 % of full scale each, and noise."""
    p1, p2, draws = 100 * PSI, cylinder_psi * PSI, Draws()
    one, other = draws.within(0.75 * PSI), draws.within(0.75 * PSI)
    noise_1, noise_2 = (draws.normal(u) for u in NOISE_PA)
    agrees(read(CLASS, p1, p2), loss_pct(p1 + one + noise_1, p2 + other + noise_2), loss_pct(p1, p2))


@pytest.mark.parametrize("supply_psi", [98.5, 100.0, 101.5])
def test_the_uncertainty_holds_for_the_loss_at_the_set_point_too(supply_psi: float) -> None:
    """Carried by a factor near 1; the barometer comes in, and what the supply error does to the factor is little."""
    p1, p2, draws = supply_psi * PSI, 0.9 * supply_psi * PSI, Draws()
    errors = draws.errors(well_known(CALIBRATED))
    found = read(well_known(CALIBRATED), p1, p2)
    supply = errors.supply(p1)
    atmosphere = 101_325.0 + draws.normal(500.0)
    loss = loss_pct(supply, errors.cylinder(p2))
    at_set = loss * (1 + atmosphere / (100 * PSI)) / (1 + atmosphere / supply)
    assert found.u_loss_pct == pytest.approx(at_set.std(), rel=0.01)
    assert at_set.mean() == pytest.approx(found.loss_at_set_pct, abs=5 * found.u_loss_pct / np.sqrt(DRAWS))


@pytest.mark.parametrize("cylinder_psi", [97.0, 90.0, 60.0, 15.0])
def test_converted_quantities(cylinder_psi: float) -> None:
    """Restrictor with correlated C and b, barometer, gas temperature, pressures with all they have in common."""
    calibration = replace(PAIRED, restrictor=replace(RESTRICTOR, degrees_of_freedom=KNOWN))
    p1, p2, draws = 100 * PSI, cylinder_psi * PSI, Draws()
    errors = draws.paired_errors(calibration, p1, p2)
    supply, cylinder = errors.supply(p1), errors.paired_cylinder(p2)
    atmosphere, temperature = 101_325.0 + draws.normal(500.0), 293.15 + draws.normal(3.0)
    conductance, b = draws.both(RESTRICTOR.u_conductance_m3_s_pa, RESTRICTOR.u_critical_ratio, RESTRICTOR.correlation)
    area = orifice.effective_area(RESTRICTOR.conductance_m3_s_pa + conductance) * (1 + draws.within(0.003))
    supply_abs, cylinder_abs, b = supply + atmosphere, cylinder + atmosphere, RESTRICTOR.critical_ratio + b
    k = leakage.area_ratio(supply_abs, cylinder_abs, atmosphere, b)
    flow = orifice.mass_flow(area, supply_abs, cylinder_abs, critical_ratio=b) * np.sqrt(293.15 / temperature)
    reference = leakage.reference_loss_pct((k * area)[:20_000])
    found = read(calibration, p1, p2)
    assert found.u_area_ratio == pytest.approx(k.std(), rel=ERROR_OF_SD + 0.01)
    assert found.u_leak_area_m2 == pytest.approx((k * area).std(), rel=ERROR_OF_SD + 0.01)
    assert found.u_flow_kg_s == pytest.approx(flow.std(), rel=ERROR_OF_SD + 0.01)
    assert found.u_reference_loss_pct == pytest.approx(reference.std(), rel=5 / np.sqrt(2 * 20_000) + 0.01)
    part = leakage.restrictor(calibrated_instrument(INSTRUMENT, calibration))
    assert found.leak_area_m2 == pytest.approx(found.area_ratio * part.effective_area_m2, rel=1e-12)


def test_a_change_by_a_tap() -> None:
    """The same bench reads 12 % and then 10.5 %: errors of sensors and pairing nearly cancel, noise does not."""
    p1, before_pa, after_pa, draws = 100 * PSI, 88 * PSI, 89.5 * PSI, Draws()
    errors = draws.paired_errors(PAIRED, p1, 88.75 * PSI)
    shown = []
    for p2 in (before_pa, after_pa):
        errors.noise_1_pa, errors.noise_2_pa = (draws.normal(u) for u in NOISE_PA)
        shown.append(loss_pct(errors.supply(p1), errors.paired_cylinder(p2)))
    before, after = read(PAIRED, p1, before_pa), read(PAIRED, p1, after_pa)
    change_pct, u_change_pct = difference(before, after)
    assert change_pct == pytest.approx(-1.5, abs=1e-9)
    assert u_change_pct == pytest.approx((shown[1] - shown[0]).std(), rel=0.02)
    assert u_change_pct < 1.03 * np.hypot(before.noise_pct, after.noise_pct) < 0.75 * after.u_loss_pct
