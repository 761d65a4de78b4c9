from dataclasses import replace

import numpy as np
import pytest

from daq.measure import leakage, orifice
from daq.records import Instrument, Pressures

PSI = 6894.757293168361
ATMOSPHERE = 101_325.0


def pressures(supply_psi: list[float], cylinder_psi: list[float]) -> Pressures:
    supply, cylinder = np.array(supply_psi) * PSI, np.array(cylinder_psi) * PSI
    n = len(supply)
    return Pressures(5, np.arange(n) * 0.05, supply, cylinder, cylinder, np.arange(n))


def shown(instrument: Instrument, supply_psi: list[float], cylinder_psi: list[float]) -> leakage.Readings:
    off = np.zeros(len(supply_psi), np.bool_)
    return leakage.readings(pressures(supply_psi, cylinder_psi), ~off, off, instrument)


def test_loss_is_the_part_of_the_supply_that_is_missing() -> None:
    np.testing.assert_allclose(leakage.loss_pct(np.array([80.0, 100.0]), np.array([60.0, 95.0])), [25, 5], rtol=1e-13)


def test_noise_may_make_a_small_negative_loss_and_no_supply_makes_none() -> None:
    found = leakage.loss_pct(np.array([100.0, 0.0, -1.0]), np.array([100.1, 0.0, 5.0]))
    assert found[0] == pytest.approx(-0.1, rel=1e-9)
    assert np.isnan(found[1:]).all()


def test_the_carry_is_the_identity_at_the_set_point() -> None:
    assert leakage.loss_at_set(12.5, 6e5, 6e5, ATMOSPHERE) == pytest.approx(12.5, rel=1e-15)


def test_the_area_ratio_has_no_meaning_at_the_atmosphere_and_is_zero_without_a_drop() -> None:
    supply = np.full(4, 8e5)
    cylinder = np.array([ATMOSPHERE, 0.9 * ATMOSPHERE, 8e5, 8.01e5])
    found = leakage.area_ratio(supply, cylinder, ATMOSPHERE)
    assert np.isnan(found[:2]).all() and found[2:].tolist() == [0, 0]


@pytest.mark.parametrize("critical_ratio", [orifice.CRITICAL_RATIO, 0.35])
@pytest.mark.parametrize("supply_psi", [10.0, 80.0, 150.0])
def test_loss_and_area_ratio_are_inverse_in_every_regime(supply_psi: float, critical_ratio: float) -> None:
    supply = supply_psi * PSI
    loss = np.concatenate((np.linspace(0.0, 0.2, 21), np.linspace(0.5, 99.5, 199)))
    cylinder = supply * (1 - loss / 100)
    k = leakage.area_ratio(supply + ATMOSPHERE, cylinder + ATMOSPHERE, ATMOSPHERE, critical_ratio)
    assert (np.diff(k) > 0).all()
    back = leakage.loss_from_area_ratio(k, supply, ATMOSPHERE, critical_ratio)
    np.testing.assert_allclose(back, loss, atol=1e-9)


def test_the_ends_of_the_inverse() -> None:
    found = leakage.loss_from_area_ratio(np.array([0.0, np.inf, np.nan]), 80 * PSI, ATMOSPHERE)
    assert found[0] == 0 and found[1] == pytest.approx(100) and np.isnan(found[2])


def test_the_inverse_takes_a_supply_for_each_row() -> None:
    found = leakage.loss_from_area_ratio(np.array([1.0, 1.0]), np.array([80, 100]) * PSI, ATMOSPHERE)
    assert found[0] > found[1] > 20


def test_readings_agree_with_the_functions_they_are_made_of(instrument: Instrument) -> None:
    found = shown(instrument, [100.0, 98.0], [90.0, 40.0])
    np.testing.assert_allclose(found.loss_pct, [10, 100 - 4000 / 98], rtol=1e-12)
    supply, cylinder = np.array([100, 98]) * PSI + ATMOSPHERE, np.array([90, 40]) * PSI + ATMOSPHERE
    area = 0.8 * np.pi / 4 * 0.001016**2
    k = leakage.area_ratio(supply, cylinder, ATMOSPHERE, instrument.critical_ratio)
    np.testing.assert_allclose(found.leak_area_m2, k * area, rtol=1e-12)
    np.testing.assert_allclose(found.flow_kg_s, orifice.mass_flow(area, supply, cylinder), rtol=1e-12)
    assert found.loss_at_set_pct[0] == pytest.approx(found.loss_pct[0], rel=1e-12)
    assert found.segment == 5 and found.flags.tolist() == [0, 1] and found.supply_held.all() and not found.stable.any()


def test_what_flows_in_flows_out(instrument: Instrument) -> None:
    found = shown(instrument, [100.0] * 3, [99.0, 60.0, 10.0])
    cylinder = found.cylinder_gauge_pa + ATMOSPHERE
    np.testing.assert_allclose(found.flow_kg_s, orifice.mass_flow(found.leak_area_m2, cylinder, ATMOSPHERE), rtol=1e-12)


def test_no_supply_no_reading(instrument: Instrument) -> None:
    found = shown(instrument, [0.0, 4.9, -0.2, np.nan], [0.0, 3.0, 0.1, 50.0])
    for column in (found.loss_pct, found.loss_at_set_pct, found.leak_area_m2, found.flow_kg_s):
        assert np.isnan(column).all()


def test_an_open_end_flows_but_has_no_area(instrument: Instrument) -> None:
    found = shown(instrument, [100.0], [-0.05])
    assert found.loss_pct[0] == pytest.approx(100.05) and np.isnan(found.leak_area_m2[0])
    assert found.flow_kg_s[0] == pytest.approx(1.21068427e-3, rel=1e-8)


def test_the_gas_temperature_changes_the_flow_only(instrument: Instrument) -> None:
    cold, hot = (shown(replace(instrument, gas_temperature_k=t), [100.0], [90.0]) for t in (280.0, 320.0))
    assert cold.flow_kg_s[0] > hot.flow_kg_s[0]
    assert cold.leak_area_m2[0] == hot.leak_area_m2[0] and cold.loss_at_set_pct[0] == hot.loss_at_set_pct[0]


def test_the_published_restrictor_reads_what_it_reads() -> None:
    own = leakage.Restrictor(leakage.PUBLISHED_RESTRICTOR.effective_area_m2)
    supply, cylinder = 80 * PSI + ATMOSPHERE, 60 * PSI + ATMOSPHERE
    leak = leakage.area_ratio(supply, cylinder, ATMOSPHERE) * own.effective_area_m2
    assert leakage.reference_loss_pct(leak) == pytest.approx(25, abs=1e-10)


def test_an_equivalent_nozzle_has_the_area() -> None:
    assert orifice.circle_area(float(leakage.equivalent_diameter(7e-7))) == pytest.approx(7e-7, rel=1e-14)
