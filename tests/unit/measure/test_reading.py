import numpy as np
import pytest

from daq.measure.calibration import assumed_calibration
from daq.measure.reading import stable_reading
from daq.measure.stability import StableWindow

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
