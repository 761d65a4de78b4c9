from dataclasses import replace

import numpy as np
import pytest

from daq.measure.calibration import (
    assumed_calibration,
    calibrated_instrument,
    identified,
    pressures,
    resolution_pa,
    to_gauge_pa,
    to_volts,
)
from daq.measure.leakage import restrictor
from daq.measure.orifice import effective_area, sonic_conductance
from daq.records import (
    Board,
    ChannelCalibration,
    LineFormat,
    Pairing,
    ReferenceMode,
    RestrictorCalibration,
    Ticks,
)

PSI = 6894.757293168361


def ticks(supply: list[float], cylinder: list[float], low: list[float], reference: list[float]) -> Ticks:
    n = len(supply)
    columns = [np.array(c, float) for c in (supply, cylinder, low, reference)]
    return Ticks(3, np.arange(n) * 0.05, np.full(n, 10), *columns, flags=np.full(n, 4))


def test_ratiometric_volts_are_the_middle_of_the_count() -> None:
    volts = to_volts(np.array([0.0, 2047.5, 4095.0]), np.zeros(3), 12, ReferenceMode.RATIOMETRIC, 5.0)
    np.testing.assert_allclose(volts, [5 * 0.5 / 4096, 2.5, 5 * 4095.5 / 4096], rtol=1e-15)


def test_absolute_volts_follow_the_sensor_supply_and_say_when_there_is_none() -> None:
    volts = to_volts(np.array([999.5, 999.5, 999.5]), np.array([1999.5, 3999.5, 0.0]), 12, ReferenceMode.ABSOLUTE, 5.0)
    np.testing.assert_allclose(volts[:2], [2.5, 1.25], rtol=1e-15)
    assert np.isnan(volts[2])


def test_a_floor_converter_has_no_bias_left() -> None:
    true_v = np.linspace(0.5, 4.5, 4001)
    count = np.floor(true_v / 5 * 1024)
    error = to_volts(count, count, 10, ReferenceMode.RATIOMETRIC, 5.0) - true_v
    assert abs(error.mean()) < 5 / 1024 / 50
    assert np.abs(error).max() <= 0.5 * 5 / 1024 * (1 + 1e-9)


def test_a_line_of_one_channel() -> None:
    channel = ChannelCalibration(zero_v=0.5, pa_per_v=2e5, full_scale_pa=8e5, accuracy_pa=4e3)
    np.testing.assert_allclose(to_gauge_pa(np.array([0.5, 1.5, 0.4]), channel), [0.0, 2e5, -2e4], atol=1e-9)


def test_each_channel_has_its_own_line() -> None:
    base = assumed_calibration()
    calibration = replace(base, cylinder=replace(base.cylinder, zero_v=0.6))
    board = Board(LineFormat.FRAMED, bits=12)
    count = (2.5 / 5 * 4096) - 0.5
    found = pressures(ticks([count], [count], [count - 82], [0.0]), board, calibration)
    np.testing.assert_allclose(found.supply_gauge_pa, 75 * PSI, rtol=1e-12)
    np.testing.assert_allclose(found.cylinder_gauge_pa, (2.5 - 0.6) / 4 * 150 * PSI, rtol=1e-12)
    low_v = 2.5 - 82 * 5 / 4096
    np.testing.assert_allclose(found.cylinder_low_gauge_pa, (low_v - 0.6) / 4 * 150 * PSI, rtol=1e-12)
    assert found.segment == 3 and found.flags.tolist() == [4]


def test_the_assumed_sensor_says_that_it_is_assumed() -> None:
    calibration = assumed_calibration()
    assert calibration.origin == "assumed" and calibration.reference_v == 5.0
    assert calibration.supply.zero_v == pytest.approx(0.5)
    assert to_gauge_pa(np.array([4.5]), calibration.supply)[0] == pytest.approx(150 * PSI)
    assert calibration.supply.accuracy_pa == pytest.approx(0.75 * PSI)


def test_equal_content_has_an_equal_id_and_any_change_another() -> None:
    one = assumed_calibration()
    assert identified(replace(one, calibration_id="something else")).calibration_id == one.calibration_id
    assert len(one.calibration_id) == 12
    for other in (
        replace(one, date="20260101"),
        replace(one, reference_v=3.3),
        replace(one, supply=replace(one.supply, zero_v=0.5000001)),
    ):
        assert identified(other).calibration_id != one.calibration_id


def test_one_count_of_pressure() -> None:
    ten, twelve = Board(LineFormat.FRAMED, bits=10), Board(LineFormat.FRAMED, bits=12)
    assert resolution_pa(ten, assumed_calibration()) == pytest.approx(0.18310547 * PSI, rel=1e-7)
    assert resolution_pa(twelve, assumed_calibration()) == pytest.approx(0.04577637 * PSI, rel=1e-7)


def test_paired_channels_agree_at_any_pressure() -> None:
    """The cylinder channel reads offset + gain p more; whatever the supply is, that is taken off at its own p."""
    offset_pa, gain = 1500.0, 0.006
    pairing = Pairing("p", 0.0, offset_pa, gain, 0.0, 0.0, 0.0, 0.0, 5.0, 0.0, 8e5)
    base = assumed_calibration()
    calibration, board = replace(base, pairing=pairing), Board(LineFormat.FRAMED, bits=16)
    true = np.array([0.0, 20.0, 60.0, 99.0]) * PSI

    def count(gauge_pa: np.ndarray) -> list[float]:
        volts = base.cylinder.zero_v + gauge_pa / base.cylinder.pa_per_v
        return (volts / 5.0 * 65536 - 0.5).tolist()

    cylinder = count(true * (1 + gain) + offset_pa)
    found = pressures(ticks(count(np.full(4, 100 * PSI)), cylinder, cylinder, [0.0] * 4), board, calibration)
    np.testing.assert_allclose(found.cylinder_gauge_pa, true, atol=1e-6)
    np.testing.assert_allclose(found.cylinder_low_gauge_pa, true, atol=1e-6)
    np.testing.assert_allclose(found.supply_gauge_pa, 100 * PSI, rtol=1e-12)


def test_a_calibrated_restrictor_is_used_and_no_longer_assumed(instrument) -> None:
    conductance = sonic_conductance(0.9 * np.pi / 4 * 0.001016**2)
    found = RestrictorCalibration("r", 0.0, conductance, 0.47, 1e-11, 0.01, 0.0, 5.0)
    assumed = replace(instrument, assumed=("discharge_coefficient", "critical_ratio", "gas_temperature"))
    calibration = replace(assumed_calibration(), restrictor=found)
    used = calibrated_instrument(assumed, calibration)
    assert restrictor(used).effective_area_m2 == pytest.approx(effective_area(conductance), rel=1e-12)
    assert used.discharge_coefficient == pytest.approx(0.9) and used.critical_ratio == 0.47
    assert used.assumed == ("gas_temperature",)
    assert calibrated_instrument(used, calibration) == used
    assert calibrated_instrument(assumed, assumed_calibration()) is assumed
