import numpy as np
import pytest

from daq.measure import orifice


def test_the_flow_function_is_one_when_choked_and_zero_at_equal_pressures() -> None:
    found = orifice.flow_function(np.array([0.0, 0.3, orifice.CRITICAL_RATIO, 1.0, 1.2]))
    np.testing.assert_allclose(found, [1, 1, 1, 0, 0], rtol=1e-14)


def test_it_falls_steadily() -> None:
    ratio = np.linspace(orifice.CRITICAL_RATIO, 1.0, 20_001)
    assert (np.diff(orifice.flow_function(ratio)) < 0).all()


def test_it_is_a_straight_line_near_equal_pressures_and_joins_without_a_step() -> None:
    above = orifice.flow_function(np.array([0.999, 0.9995, 0.99975]))
    np.testing.assert_allclose(above[1:], above[0] * np.array([0.5, 0.25]), rtol=1e-9)
    below, at = orifice.flow_function(np.array([0.999 - 1e-9, 0.999 + 1e-9]))
    assert below == pytest.approx(at, rel=1e-5)


def test_another_critical_ratio_stretches_the_unchoked_branch() -> None:
    choked, unchoked = orifice.flow_function(np.array([0.4, 0.41]), critical_ratio=0.4)
    assert choked == pytest.approx(1, rel=1e-14) and unchoked < 1
    middle = orifice.flow_function(0.4 + 0.6 * 0.5, critical_ratio=0.4)
    assert middle == pytest.approx(orifice.flow_function((1 + orifice.CRITICAL_RATIO) / 2), rel=1e-12)


def test_an_unknown_ratio_gives_an_unknown_flow() -> None:
    assert np.isnan(orifice.flow_function(np.array([np.nan]))).all()


def test_hot_gas_flows_less() -> None:
    cold, hot = (orifice.mass_flow(1e-6, 7e5, 3e5, t) for t in (273.15, 4 * 273.15))
    assert cold == pytest.approx(2 * hot, rel=1e-12)


def test_conductance_and_effective_area_are_inverse() -> None:
    assert orifice.effective_area(orifice.sonic_conductance(6.5e-7)) == pytest.approx(6.5e-7, rel=1e-14)


def test_the_forms_agree_when_choked() -> None:
    area = 6.5e-7
    nozzle = orifice.mass_flow(area, 7e5, 2e5, 273.15)
    iso = orifice.iso6358_mass_flow(orifice.sonic_conductance(area), 0.5, 7e5, 2e5, 273.15)
    assert nozzle == pytest.approx(float(iso), rel=1e-14)
