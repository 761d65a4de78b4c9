from dataclasses import replace

import numpy as np
import pytest

from daq.measure.calibration import assumed_calibration
from daq.measure.reading import stable_reading
from daq.measure.stability import StableWindow
from daq.records import RestrictorCalibration

PSI = 6894.757293168361
AT_S = 1.7e9


def window(supply_psi: float, cylinder_psi: float, u_pa: float = 0.0) -> StableWindow:
    return StableWindow(2, 12.5, 0.7, 15, supply_psi * PSI, cylinder_psi * PSI, u_pa, u_pa)


def test_a_stable_reading_says_everything(instrument) -> None:
    calibration = assumed_calibration()
    found = stable_reading(window(100.0, 90.0), instrument, calibration, AT_S, 0.0)
    assert (found.segment, found.t_s, found.window_s) == (2, 12.5, 0.7)
    assert found.loss_pct == pytest.approx(10) and found.loss_at_set_pct == pytest.approx(10)
    assert found.calibration_id == calibration.calibration_id and found.cylinder is None and found.phase == ""
    assert found.flow_anr_m3_s == pytest.approx(found.flow_kg_s / 1.185)
    assert found.leak_area_m2 == pytest.approx(found.area_ratio * 0.8 * np.pi / 4 * 0.001016**2)
    assert all(isinstance(getattr(found, name), float) for name in found.__slots__ if name.endswith(("_pct", "_s")))


def test_noise_adds_to_the_class_of_the_sensors(instrument) -> None:
    calibration = assumed_calibration()
    quiet = stable_reading(window(100.0, 90.0), instrument, calibration, AT_S, 0.0)
    noisy = stable_reading(window(100.0, 90.0, u_pa=0.3 * PSI), instrument, calibration, AT_S, 0.0)
    noise = np.hypot(0.9, 1.0) * 0.3
    assert noisy.u_loss_pct == pytest.approx(np.hypot(quiet.u_loss_pct, noise), rel=1e-9)


def test_no_leak_at_all_is_a_reading_too(instrument) -> None:
    found = stable_reading(window(100.0, 100.02), instrument, assumed_calibration(), AT_S, 0.0)
    assert found.loss_pct == pytest.approx(-0.02, abs=1e-9)
    assert found.leak_area_m2 == found.flow_kg_s == found.reference_loss_pct == 0


def test_without_a_leak_the_area_is_uncertain_by_what_the_pressures_allow(instrument) -> None:
    found = stable_reading(window(100.0, 100.0), instrument, assumed_calibration(), AT_S, 0.0)
    assert found.area_ratio == 0 and 0 < found.u_area_ratio < 0.2
    assert 0 < found.u_leak_area_m2 < 2e-7 and 0 < found.u_reference_loss_pct < 1.0


def test_an_open_end_has_no_area_but_a_loss_and_a_flow(instrument) -> None:
    found = stable_reading(window(100.0, 0.0), instrument, assumed_calibration(), AT_S, 0.0)
    assert found.loss_pct == 100 and found.u_loss_pct > 0 and found.u_flow_kg_s > 0
    assert np.isnan([found.area_ratio, found.u_area_ratio, found.u_leak_area_m2, found.u_reference_loss_pct]).all()


def test_an_assumed_restrictor_is_most_of_the_uncertainty_of_the_area(instrument) -> None:
    """0.06 of 0.8 is 7.5 %; a calibrated one to 1 % leaves the loss as it was and makes the area certain."""
    assumed = stable_reading(window(100.0, 75.0), instrument, assumed_calibration(), AT_S, 0.0)
    assert assumed.u_leak_area_m2 / assumed.leak_area_m2 == pytest.approx(0.075, rel=0.05)
    assert assumed.u_flow_kg_s / assumed.flow_kg_s == pytest.approx(0.075, rel=0.05)
    restrictor = RestrictorCalibration("r", AT_S, 1.29e-9, 0.5283, 1.29e-11, 0.005, 0.0, 6.0)
    found = stable_reading(
        window(100.0, 75.0), instrument, replace(assumed_calibration(), restrictor=restrictor), AT_S, 0.0
    )
    assert found.u_loss_pct == pytest.approx(assumed.u_loss_pct, rel=1e-12)
    assert found.u_leak_area_m2 / found.leak_area_m2 < 0.02
    assert found.leak_area_m2 == pytest.approx(assumed.leak_area_m2 * 1.29e-9 / 1.29194935e-9, rel=1e-4)


def test_the_degrees_of_freedom_are_those_of_the_window_where_noise_is_all(instrument) -> None:
    noisy = stable_reading(window(100.0, 90.0, u_pa=50 * PSI), instrument, assumed_calibration(), AT_S, 0.0)
    assert 13 < noisy.degrees_of_freedom < 27 and 2.05 < noisy.coverage_factor < 2.17
    assert noisy.noise_pct == pytest.approx(noisy.u_loss_pct, rel=1e-3)
